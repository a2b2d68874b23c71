package report

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestPageInBrowser loads the page from a file with the network off and works
// the read-out by mouse, touch and keyboard.
func TestPageInBrowser(t *testing.T) {
	b := openTab(t, sessionPage(t))
	for _, w := range []int64{390, 768, 1440} {
		b.size(w, 844, false)
		if over := eval[float64](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("at %d px the page is %v px too wide", w, over)
		}
		b.shot("screen-"+itoa(w), false)
		b.shot("page-"+itoa(w), true)
	}
	// The whole answer is on the first screen of a phone.
	b.size(390, 844, false)
	for _, sel := range []string{"h1", ".step.shim .draw", ".step.move .draw"} {
		if bottom := eval[float64](b, `document.querySelector("`+sel+`").getBoundingClientRect().bottom`); bottom > 844 {
			t.Errorf("%s ends at %v px, below the first screen of a phone", sel, bottom)
		}
	}

	b.size(1280, 800, false)
	read := func() string { return eval[string](b, `document.querySelector("#fig-share .read p").textContent`) }
	slider := `document.querySelector("#fig-share input")`
	x, y, w, h := b.box("#fig-share svg.wide")
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+w*0.4, y+h*0.3))
	first := read()
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+w*0.9, y+h*0.3))
	second := read()
	if first == second || !strings.Contains(first, "today") || !strings.Contains(first, "speed") {
		t.Errorf("mouse: the read-out says %q, then %q", first, second)
	}
	b.do(chromedp.Focus(chromedp.CSS("#fig-share input")), chromedp.KeyEvent(kb.ArrowLeft))
	third := read()
	if third == second || eval[string](b, slider+`.getAttribute("aria-valuetext")`) != third {
		t.Errorf("keyboard: the read-out stays at %q", third)
	}
	b.size(390, 844, false)
	x, y, w, h = b.box("#fig-share svg.narrow")
	call(b, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
	call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: x + w*0.5, Y: y + h*0.4}}})
	call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}})
	if s := read(); s == third {
		t.Errorf("touch: the read-out stays at %q", s)
	}
	if v := eval[float64](b, `+document.querySelector("#fig-share svg.narrow .cursor").getAttribute("x1")`); math.Abs(v-narrowWidth/2) > 30 {
		t.Errorf("touch in the middle put the cursor at %v of %v", v, narrowWidth)
	}
	b.do(chromedp.Focus(chromedp.CSS("#fig-session input")), chromedp.KeyEvent(kb.ArrowRight))
	if s := eval[string](b, `document.querySelector("#fig-session .read p").textContent`); !strings.Contains(s, "speed") || !strings.Contains(s, "pitch") {
		t.Errorf("session read-out: %q", s)
	}
	light := eval[string](b, `getComputedStyle(document.body).backgroundColor`)
	b.size(1280, 800, true)
	if dark := eval[string](b, `getComputedStyle(document.body).backgroundColor`); dark == light {
		t.Errorf("dark mode keeps the background %s", dark)
	}
	b.shot("dark", true)
	b.size(390, 844, true)
	b.shot("dark-390", true)
	b.noErrors()
}

// TestPrint prints to A4 and Letter.
func TestPrint(t *testing.T) {
	b := openTab(t, sessionPage(t))
	for name, paper := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
		pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper), chromedp.PDFPrintBackground()))
		b.must(err)
		if len(pdf) < 10_000 || string(pdf[:5]) != "%PDF-" {
			t.Errorf("%s: printed %d bytes", name, len(pdf))
		}
		b.keep(name+".pdf", pdf)
	}
	b.noErrors()
}

// TestComparisonInBrowser looks at two and at forty sessions, and sorts.
func TestComparisonInBrowser(t *testing.T) {
	for _, n := range []int{2, 40} {
		b := openTab(t, comparedPage(t, n))
		for _, w := range []int64{390, 1280} {
			b.size(w, 844, false)
			if over := eval[float64](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				t.Errorf("%d sessions at %d px: the page is %v px too wide", n, w, over)
			}
			b.shot("compare-"+itoa(int64(n))+"-"+itoa(w), true)
		}
		first := `document.querySelector("table.sort tbody th").textContent`
		b.do(chromedp.Click(chromedp.CSS("table.sort th:first-child button")))
		if s := eval[string](b, first); s != "A" {
			t.Errorf("%d sessions sorted by letter start with %q", n, s)
		}
		b.do(chromedp.Click(chromedp.CSS("table.sort th:first-child button")))
		if s := eval[string](b, first); s == "A" {
			t.Errorf("%d sessions sorted the other way start with A too", n)
		}
		b.noErrors()
	}
}

// TestAccessible runs axe-core, where EVENFOOT_AXE names axe.min.js, on the
// page, narrow and light, wide and dark, with everything unfolded.
func TestAccessible(t *testing.T) {
	axe := os.Getenv("EVENFOOT_AXE")
	if axe == "" {
		skip(t, "EVENFOOT_AXE does not name axe-core's axe.min.js")
	}
	source, err := os.ReadFile(axe)
	if err != nil {
		t.Fatal(err)
	}
	for name, html := range map[string][]byte{"session": sessionPage(t), "comparison": comparedPage(t, 3)} {
		b := openTab(t, html)
		eval[int](b, string(source)+";document.querySelectorAll('details').forEach(function(d){d.open=true});1")
		for _, dark := range []bool{false, true} {
			w := int64(390)
			if dark {
				w = 1280
			}
			b.size(w, 844, dark)
			found, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`axe.run({resultTypes:["violations"]}).then(function(r){return r.violations.map(function(v){return v.id+": "+v.help+": "+v.nodes.slice(0,3).map(function(n){return n.html.slice(0,160)}).join(" | ")}).join("\n")})`, chromedp.EvalAwaitPromise))
			b.must(err)
			if found != "" {
				t.Errorf("%s, %d px, dark %v:\n%s", name, w, dark, found)
			}
		}
	}
}
