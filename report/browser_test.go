package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"evenfoot/report/browser"
)

func TestMain(m *testing.M) { browser.Main(m) }

// TestPageInBrowser loads the page from a file with the network off and works
// the read-out by mouse, touch and keyboard.
func TestPageInBrowser(t *testing.T) {
	browser.Need(t)
	b := browser.OpenFile(t, sessionPage(t))
	for _, w := range []int64{390, 768, 1440} {
		b.Size(w, 844, false)
		if over := browser.Eval[float64](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("at %d px the page is %v px too wide", w, over)
		}
		b.Shot("screen-"+itoa(w), false)
		b.Shot("page-"+itoa(w), true)
	}
	// The whole answer is on the first screen of a phone.
	b.Size(390, 844, false)
	for _, sel := range []string{"h1", ".step.shim .draw", ".step.move .draw"} {
		if bottom := browser.Eval[float64](b, `document.querySelector("`+sel+`").getBoundingClientRect().bottom`); bottom > 844 {
			t.Errorf("%s ends at %v px, below the first screen of a phone", sel, bottom)
		}
	}

	// What, why, how sure and what to mind: within two screens. The rest is
	// folded, and rider and day stay in sight.
	if bottom := browser.Eval[float64](b, `document.querySelector(".weigh .mind").getBoundingClientRect().bottom`); bottom > 2*844 {
		t.Errorf("the caution ends at %v px, below the second screen of a phone", bottom)
	}
	if h := browser.Eval[float64](b, `document.documentElement.scrollHeight`); h > 9000 {
		t.Errorf("the page is %v px long on a phone", h)
	}
	if s := browser.Eval[string](b, `document.querySelector(".block").innerText`); !strings.Contains(s, "Ines, 80") || !strings.Contains(s, "2026") {
		t.Errorf("the title block of a phone says %q", s)
	}

	b.Size(1280, 800, false)
	read := func() string {
		return browser.Eval[string](b, `document.querySelector("#fig-share .read p").textContent`)
	}
	slider := `document.querySelector("#fig-share input")`
	x, y, w, h := b.Box("#fig-share svg.wide")
	b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+w*0.4, y+h*0.3))
	first := read()
	b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+w*0.9, y+h*0.3))
	second := read()
	if first == second || !strings.Contains(first, "today") || !strings.Contains(first, "speed") {
		t.Errorf("mouse: the read-out says %q, then %q", first, second)
	}
	b.Do(chromedp.Focus(chromedp.CSS("#fig-share input")), chromedp.KeyEvent(kb.ArrowLeft))
	third := read()
	if third == second || browser.Eval[string](b, slider+`.getAttribute("aria-valuetext")`) != third {
		t.Errorf("keyboard: the read-out stays at %q", third)
	}
	b.Size(390, 844, false)
	x, y, w, h = b.Box("#fig-share svg.narrow")
	browser.Call(b, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
	browser.Call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: x + w*0.5, Y: y + h*0.4}}})
	browser.Call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}})
	if s := read(); s == third {
		t.Errorf("touch: the read-out stays at %q", s)
	}
	if v := browser.Eval[float64](b, `+document.querySelector("#fig-share svg.narrow .cursor").getAttribute("x1")`); math.Abs(v-narrowWidth/2) > 30 {
		t.Errorf("touch in the middle put the cursor at %v of %v", v, narrowWidth)
	}
	if n := browser.Eval[float64](b, `document.querySelectorAll(".fold:not([open]) svg[data-lo]").length`); n < 3 {
		t.Errorf("%v folded pictures", n)
	}
	browser.Eval[bool](b, `document.querySelector("#fig-session .fold").open = true`)
	b.Do(chromedp.Focus(chromedp.CSS("#fig-session input")), chromedp.KeyEvent(kb.ArrowRight))
	if s := browser.Eval[string](b, `document.querySelector("#fig-session .read p").textContent`); !strings.Contains(s, "speed") || !strings.Contains(s, "pitch") {
		t.Errorf("session read-out: %q", s)
	}
	light := browser.Eval[string](b, `getComputedStyle(document.body).backgroundColor`)
	b.Size(1280, 800, true)
	if dark := browser.Eval[string](b, `getComputedStyle(document.body).backgroundColor`); dark == light {
		t.Errorf("dark mode keeps the background %s", dark)
	}
	b.Shot("dark", true)
	b.Size(390, 844, true)
	b.Shot("dark-390", true)
	b.NoErrors()
}

// TestPrint prints to A4 and Letter.
func TestPrint(t *testing.T) {
	browser.Need(t)
	b := browser.OpenFile(t, sessionPage(t))
	for name, paper := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
		pdf, err := chromedp.Run(b.Ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper), chromedp.PDFPrintBackground()))
		b.Must(err)
		// A page for the answer, and at most six for what is behind it.
		if n := bytes.Count(pdf, []byte("/Type /Page\n")); n > 7 {
			t.Errorf("%s: %d pages", name, n)
		}
		if len(pdf) < 10_000 || string(pdf[:5]) != "%PDF-" {
			t.Errorf("%s: printed %d bytes", name, len(pdf))
		}
		b.Keep(name+".pdf", pdf)
	}
	b.NoErrors()
}

// TestComparisonInBrowser looks at two and at forty sessions, and sorts.
func TestComparisonInBrowser(t *testing.T) {
	browser.Need(t)
	for _, n := range []int{2, 40} {
		b := browser.OpenFile(t, comparedPage(t, n))
		for _, w := range []int64{390, 1280} {
			b.Size(w, 844, false)
			if over := browser.Eval[float64](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				t.Errorf("%d sessions at %d px: the page is %v px too wide", n, w, over)
			}
			b.Shot("compare-"+itoa(int64(n))+"-"+itoa(w), true)
		}
		browser.Eval[bool](b, `document.querySelector("table.sort").closest("details").open = true`)
		first := `document.querySelector("table.sort tbody th").textContent`
		b.Do(chromedp.Click(chromedp.CSS("table.sort th:first-child button")))
		if s := browser.Eval[string](b, first); s != "A" {
			t.Errorf("%d sessions sorted by letter start with %q", n, s)
		}
		b.Do(chromedp.Click(chromedp.CSS("table.sort th:first-child button")))
		if s := browser.Eval[string](b, first); s == "A" {
			t.Errorf("%d sessions sorted the other way start with A too", n)
		}
		b.NoErrors()
	}
}

// TestAccessible runs axe-core, where EVENFOOT_AXE names axe.min.js, on the
// page, narrow and light, wide and dark, with everything unfolded.
func TestAccessible(t *testing.T) {
	axe := browser.Axe(t)
	for name, html := range map[string][]byte{"session": sessionPage(t), "comparison": comparedPage(t, 3)} {
		b := browser.OpenFile(t, html)
		for _, dark := range []bool{false, true} {
			w := int64(390)
			if dark {
				w = 1280
			}
			b.Size(w, 844, dark)
			if found := b.Violations(axe); found != "" {
				t.Errorf("%s, %d px, dark %v:\n%s", name, w, dark, found)
			}
		}
	}
}
