package site

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

func TestMain(m *testing.M) { browser.Main(m) }

// A tab is a page of the site.
type tab struct {
	*browser.Tab
	t *testing.T
}

func openTab(t *testing.T, own string) *tab { return &tab{browser.Open(t, own), t} }

// look checks that a page fits phone and desk, in light and dark, and keeps
// pictures where EVENFOOT_SHOTS names a folder, for eyes.
func (b *tab) look(name string) {
	b.t.Helper()
	for _, v := range []struct {
		name string
		w    int64
		dark bool
	}{{"390", 390, false}, {"1280", 1280, false}, {"390-dark", 390, true}} {
		b.Size(v.w, 844, v.dark)
		if over := browser.Eval[float64](b.Tab, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			b.t.Errorf("%s at %d px is %v px too wide", name, v.w, over)
		}
		b.Shot("site-"+name+"-"+v.name, true)
	}
}

// until waits for a condition in the page.
func (b *tab) until(js string) {
	b.t.Helper()
	for range 200 {
		v, err := chromedp.Run(b.Ctx, chromedp.Evaluate[bool](js)) // fails while a page is being changed
		if err == nil && v {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.t.Fatalf("never true: %s, at %s", js, browser.Eval[string](b.Tab, "document.body.innerText.slice(0,600)"))
}

// click presses an element. Where the page is still being put in the place of the
// one before, the browser's tools may look for it in that one: then once more.
func (b *tab) click(sel string) {
	b.t.Helper()
	var err error
	for range 50 {
		if err = chromedp.Do(b.Ctx, chromedp.Click(chromedp.CSS(sel))); err == nil || !strings.Contains(err.Error(), "Could not find node with given id") {
			break // else it was not found, and so not pressed
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.Must(err)
}

// TestInBrowser works the pages as a user does, with scripts switched off:
// add two outings, compare, correct, delete.
func TestInBrowser(t *testing.T) {
	alone(t)
	d := open(t, Config{})
	dir := t.TempDir()
	var logs [2][]string
	for i, o := range outings() {
		for _, f := range o.pieces() {
			path := filepath.Join(dir, string(rune('1'+i)), f.file)
			if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(f.body), 0o644)); err != nil {
				t.Fatal(err)
			}
			logs[i] = append(logs[i], path)
		}
	}
	b := openTab(t, d.url)
	browser.Call(b.Tab, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	b.Do(chromedp.Navigate(d.url + "/"))
	b.look("empty")
	for i := range logs {
		b.Do(chromedp.Navigate(d.url+"/add"), chromedp.SetUploadFiles(chromedp.CSS("#logs"), logs[i]))
		b.click("form[method=post] .do-it")
		b.until(`document.title.includes("trim sheet")`)
	}
	b.look("sheet")
	b.click("nav.read a[href*=alone]")
	b.until(`document.body.innerText.includes("Count in 1 earlier session")`)
	b.Do(chromedp.Navigate(d.url + "/session/2/more"))
	b.look("more")
	b.Do(chromedp.Navigate(d.url + "/add"))
	b.Do(chromedp.SetUploadFiles(chromedp.CSS("#setup-file"), []string{logs[0][0]}))
	b.click("form[method=post] .do-it") // a log in the place of the setup: refused
	b.until(`!!document.querySelector("[role=alert]")`)
	b.look("refused")
	b.Do(chromedp.Navigate(d.url + "/add?from=2"))
	b.look("add")
	b.Do(chromedp.Navigate(d.url + "/session/1/setup"))
	b.look("setup")
	b.Do(chromedp.Navigate(d.url + "/riders"))
	b.look("riders")
	b.Do(chromedp.Navigate(d.url + "/"))
	b.look("library")
	b.click(`input[name=id][value="1"]`)
	b.click(`input[name=id][value="2"]`)
	b.click("button.compare")
	b.until(`document.body.innerText.includes("Two sessions compared")`)
	b.look("compare")
	b.Do(chromedp.Navigate(d.url + "/session/1/delete"))
	b.look("delete")
	b.click("button.danger")
	b.until(`document.body.innerText.includes("is deleted")`)

	b.NoErrors("422") // the refusal itself
}

// TestWholeWay goes it with script at a phone's width, and looks at each page at a
// desk's too: files of two outings, sorted; the setup by the form, checked while one types; the sheet; a
// note with two touches, and the sheet anew; the list; both outings compared.
func TestWholeWay(t *testing.T) {
	axe := browser.Axe(t)
	d := open(t, Config{})
	dir := t.TempDir()
	var logs []string
	for i, o := range outings() {
		o.setup = o.setup[:strings.Index(o.setup, "[[feel]]")]
		for name, body := range map[string]string{"watch%d.gpx": string(o.gpx), "board%d.csv": string(o.csv), "setup%d.toml": o.setup} {
			file := filepath.Join(dir, fmt.Sprintf(name, i+1))
			if err := os.WriteFile(file, []byte(body), 0o644); err != nil {
				t.Fatal(err)
			}
			if !strings.HasSuffix(file, ".toml") {
				logs = append(logs, file)
			}
		}
	}
	b := openTab(t, d.url)
	b.Size(390, 844, false)
	at := func(name string) {
		t.Helper()
		if found := b.Violations(axe); found != "" {
			t.Errorf("%s:\n%s", name, found)
		}
		b.look("way-" + name)
		b.Size(390, 844, false)
	}
	b.Do(chromedp.Navigate(d.url+"/add"), chromedp.SetUploadFiles(chromedp.CSS("#logs"), logs))
	b.click(".last .do-it")
	b.until(`document.body.innerText.includes("2 outings, as it seems")`)
	at("outings")
	b.click(".do-it")
	b.until(`document.body.innerText.includes("The outings are added")`)

	// The earlier outing's setup, typed in part, mended while one types.
	b.Do(chromedp.Navigate(d.url + "/session/1/setup"))
	b.Do(chromedp.SendKeys(chromedp.CSS("#f-rider-mass_kg"), "7200"))
	b.until(`document.querySelector("#f-rider-mass_kg-e")?.textContent.includes("impossible here")`)
	if n := browser.Eval[int](b.Tab, `document.querySelectorAll(".wrong").length`); n != 1 {
		t.Errorf("%d fields are wrong after one was typed in", n)
	}
	b.look("way-typed")
	b.Size(390, 844, false)
	b.click(".last .do-it")
	b.until(`document.querySelectorAll("[aria-invalid]").length > 8`)
	at("wrong")
	b.Do(chromedp.SetUploadFiles(chromedp.CSS("#setup-file"), []string{filepath.Join(dir, "setup1.toml")}))
	browser.Eval[bool](b.Tab, `document.querySelector("#setup-file").closest("details").open = true`)
	b.click("[name=take]")
	b.until(`document.body.innerText.includes("The setup is in the fields")`)
	b.click(".last .do-it")
	b.until(`document.title.includes("trim sheet")`)
	b.look("way-sheet")
	b.Size(390, 844, false)
	browser.Eval[string](b.Tab, `document.querySelector("#tell-speed").value = "16"`)
	b.click(`.tell button[value="strong front"]`)
	b.until(`document.title.includes("trim sheet") && document.body.innerText.includes("16\u00a0kn: strong front")`)
	b.click(".tell summary")
	b.click(`.tell li li:first-child button[value=front], .tell details li:first-child button[value=front]`)
	b.until(`document.title.includes("trim sheet") && !!document.querySelector(".tell [aria-pressed=true]")`)
	b.click(".tell summary")
	at("told")

	// The later one begins with that setup, without what was felt.
	b.Do(chromedp.Navigate(d.url + "/session/2/setup"))
	b.click(".start button")
	b.until(`document.querySelector("#f-rider-mass_kg").value === "72" && document.querySelector("#f-feel-0-front").value === ""`)
	b.click(".last .do-it")
	b.until(`document.title.includes("trim sheet")`)
	b.Do(chromedp.Navigate(d.url + "/"))
	b.until(`document.querySelectorAll(".says").length === 2`)
	b.look("way-list")
	b.Size(390, 844, false)
	b.click(`input[name=id][value="1"]`)
	b.click(`input[name=id][value="2"]`)
	b.click("button.compare")
	b.until(`document.body.innerText.includes("Two sessions compared")`)
	b.look("way-compare")
	b.Size(390, 844, false)
	b.Do(chromedp.Navigate(d.url + "/riders"))
	b.until(`document.querySelectorAll(".trend line").length === 2`)
	at("riders")
	b.NoErrors("422", "202")
}

// TestPagesAccessible runs axe-core, where EVENFOOT_AXE names axe.min.js.
func TestPagesAccessible(t *testing.T) {
	axe := browser.Axe(t)
	d := open(t, Config{})
	for _, o := range outings() {
		d.added(o.pieces()...)
	}
	d.upload(piece{"logs", "no.csv", "no log"})
	d.must("/session/2")
	b := openTab(t, d.url)
	b.Size(390, 844, false)
	for _, p := range []string{"/", "/riders", "/add", "/session/2", "/session/2/more", "/session/2/setup", "/session/2/delete", "/nothing"} {
		b.Do(chromedp.Navigate(d.url + p))
		if found := b.Violations(axe); found != "" {
			t.Errorf("%s:\n%s", p, found)
		}
	}
	// The same outing in another format: the answer to the upload, and the sheet.
	b.Do(chromedp.Navigate(d.url+"/add"), chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{onDisk(t, watchFIT(t))}))
	b.click("form[method=post] .do-it")
	b.until(`document.body.innerText.includes("seems to be one outing")`)
	found := b.Violations(axe)
	b.look("twin-added")
	b.Size(390, 844, false)
	b.click(".ways .do-it")
	b.until(`document.title.includes("trim sheet") && document.body.innerText.includes("seems to be one outing")`)
	found += b.Violations(axe)
	b.look("twin")
	b.click(".twin button")
	b.until(`document.title.includes("trim sheet") && !document.body.innerText.includes("seems to be one outing")`)
	if found != "" {
		t.Errorf("an outing that came twice:\n%s", found)
	}
}

// onDisk is where a file lies for the browser to choose.
func onDisk(t *testing.T, p piece) string {
	path := filepath.Join(t.TempDir(), p.file)
	if err := os.WriteFile(path, []byte(p.body), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestValidPages runs html-validate where EVENFOOT_HTML_VALIDATE names it.
func TestValidPages(t *testing.T) {
	exe := os.Getenv("EVENFOOT_HTML_VALIDATE")
	if exe == "" {
		browser.Skip(t, "EVENFOOT_HTML_VALIDATE does not name html-validate")
	}
	d := open(t, Config{})
	o := outings()[0]
	at := d.added(o.pieces()...)
	d.added(piece{"logs", "watch.gpx", string(outings()[1].gpx)})
	d.upload(piece{"logs", "no.csv", "no log"})
	dir := t.TempDir()
	// Boxes of one list, and buttons of one form, share a name on purpose.
	const rules = `{"extends":["html-validate:recommended","html-validate:document"],"root":true,"rules":{"doctype-style":"off","form-dup-name":["error",{"shared":["radio","checkbox","submit"]}],"no-trailing-whitespace":"off","require-sri":"off"}}`
	if err := os.WriteFile(filepath.Join(dir, ".htmlvalidate.json"), []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"--config", filepath.Join(dir, ".htmlvalidate.json")}
	for i, p := range []string{"/", "/riders", "/add?from=1", at + "/more", at + "/setup", at + "/delete"} {
		file := filepath.Join(dir, string(rune('a'+i))+".html")
		if err := os.WriteFile(file, []byte(d.must(p)), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, file)
	}
	if out, err := exec.Command(exe, args...).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
