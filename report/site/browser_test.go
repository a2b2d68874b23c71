package site

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// skip skips, or fails where EVENFOOT_CI=1 says that nothing may be skipped.
func skip(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("EVENFOOT_CI") == "1" {
		t.Fatal("must not be skipped here: " + why)
	}
	t.Skip(why)
}

// A tab is a page in Debian's chromium.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu   sync.Mutex
	says []string // what the browser complains of, and requests to elsewhere
}

func openTab(t *testing.T, own string) *tab {
	t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		skip(t, "no chromium on this machine")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx}
	b.must(chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := ev.(type) {
		case *log.EventEntryAdded:
			b.says = append(b.says, e.Entry.Text)
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, own) && !strings.HasPrefix(u, "data:") {
				b.says = append(b.says, "asks for "+u)
			}
		}
	}))
	call(b, log.Enable, cdp.Empty{})
	call(b, network.Enable, network.EnableParams{})
	return b
}

func (b *tab) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	b.must(chromedp.Do(b.ctx, steps...))
}

func call[P, R any](b *tab, c cdp.Command[P, R], params P) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, c, params)
	b.must(err)
}

func eval[T any](b *tab, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// look checks that a page fits phone and desk, in light and dark, and keeps
// pictures where EVENFOOT_SHOTS names a folder, for eyes.
func (b *tab) look(name string) {
	b.t.Helper()
	for _, v := range []struct {
		name   string
		w      int64
		scheme string
	}{{"390", 390, "light"}, {"1280", 1280, "light"}, {"390-dark", 390, "dark"}} {
		call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: v.w, Height: 844, DeviceScaleFactor: 1})
		call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: v.scheme}}})
		if over := eval[float64](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			b.t.Errorf("%s at %d px is %v px too wide", name, v.w, over)
		}
		dir := os.Getenv("EVENFOOT_SHOTS")
		if dir == "" {
			continue
		}
		png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
		b.must(err)
		b.must(os.WriteFile(filepath.Join(dir, "site-"+name+"-"+v.name+".png"), png, 0o644))
	}
}

// until waits for a condition in the page.
func (b *tab) until(js string) {
	b.t.Helper()
	for range 200 {
		v, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](js)) // fails while a page is being changed
		if err == nil && v {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.t.Fatalf("never true: %s, at %s", js, eval[string](b, "document.body.innerText.slice(0,600)"))
}

func (b *tab) click(sel string) { b.t.Helper(); b.do(chromedp.Click(chromedp.CSS(sel))) }

// TestInBrowser works the pages as a user does, with scripts switched off:
// add two outings, compare, correct, delete.
func TestInBrowser(t *testing.T) {
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
	call(b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	b.do(chromedp.Navigate(d.url + "/"))
	b.look("empty")
	for i := range logs {
		b.do(chromedp.Navigate(d.url+"/add"), chromedp.SetUploadFiles(chromedp.CSS("#logs"), logs[i]))
		b.click("form[method=post] .do-it")
		b.until(`document.title.includes("trim sheet")`)
	}
	b.look("sheet")
	b.click("nav.read a[href*=with]")
	b.until(`document.body.innerText.includes("Leave out 1 earlier session")`)
	b.do(chromedp.Navigate(d.url + "/session/2/more"))
	b.look("more")
	b.do(chromedp.Navigate(d.url + "/add"))
	b.do(chromedp.SetUploadFiles(chromedp.CSS("#setup-file"), []string{logs[0][0]}))
	b.click("form[method=post] .do-it") // a log in the place of the setup: refused
	b.until(`!!document.querySelector("[role=alert]")`)
	b.look("refused")
	b.do(chromedp.Navigate(d.url + "/add?from=2"))
	b.look("add")
	b.do(chromedp.Navigate(d.url + "/session/1/setup"))
	b.look("setup")
	b.do(chromedp.Navigate(d.url + "/riders"))
	b.look("riders")
	b.do(chromedp.Navigate(d.url + "/"))
	b.look("library")
	b.click(`input[name=id][value="1"]`)
	b.click(`input[name=id][value="2"]`)
	b.click("form[action='/compare'] button")
	b.until(`document.body.innerText.includes("Two sessions compared")`)
	b.look("compare")
	b.do(chromedp.Navigate(d.url + "/session/1/delete"))
	b.look("delete")
	b.click("button.danger")
	b.until(`document.body.innerText.includes("is deleted")`)

	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.says {
		if !strings.Contains(s, "422") { // the refusal itself
			t.Errorf("the browser says: %s", s)
		}
	}
}

// TestPagesAccessible runs axe-core, where EVENFOOT_AXE names axe.min.js.
func TestPagesAccessible(t *testing.T) {
	axe := os.Getenv("EVENFOOT_AXE")
	if axe == "" {
		skip(t, "EVENFOOT_AXE does not name axe-core's axe.min.js")
	}
	source, err := os.ReadFile(axe)
	if err != nil {
		t.Fatal(err)
	}
	d := open(t, Config{})
	for _, o := range outings() {
		d.added(o.pieces()...)
	}
	d.upload(piece{"logs", "no.csv", "no log"})
	d.must("/session/2")
	b := openTab(t, d.url)
	call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: 390, Height: 844, DeviceScaleFactor: 1})
	for _, p := range []string{"/", "/riders", "/add", "/template", "/session/2", "/session/2/more", "/session/2/setup", "/session/2/delete", "/nothing"} {
		b.do(chromedp.Navigate(d.url + p))
		eval[int](b, string(source)+";document.querySelectorAll('details').forEach(function(d){d.open=true});1")
		found, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`axe.run({resultTypes:["violations"]}).then(function(r){return r.violations.map(function(v){return v.id+": "+v.help+": "+v.nodes.slice(0,3).map(function(n){return n.html.slice(0,160)}).join(" | ")}).join("\n")})`, chromedp.EvalAwaitPromise))
		b.must(err)
		if found != "" {
			t.Errorf("%s:\n%s", p, found)
		}
	}
}

// TestValidPages runs html-validate where EVENFOOT_HTML_VALIDATE names it.
func TestValidPages(t *testing.T) {
	exe := os.Getenv("EVENFOOT_HTML_VALIDATE")
	if exe == "" {
		skip(t, "EVENFOOT_HTML_VALIDATE does not name html-validate")
	}
	d := open(t, Config{})
	o := outings()[0]
	at := d.added(o.pieces()...)
	d.added(piece{"logs", "watch.gpx", string(o.gpx)})
	d.upload(piece{"logs", "no.csv", "no log"})
	dir := t.TempDir()
	// Boxes of one list share a name on purpose.
	const rules = `{"extends":["html-validate:recommended","html-validate:document"],"root":true,"rules":{"doctype-style":"off","form-dup-name":["error",{"shared":["radio","checkbox"]}],"no-trailing-whitespace":"off","require-sri":"off"}}`
	if err := os.WriteFile(filepath.Join(dir, ".htmlvalidate.json"), []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"--config", filepath.Join(dir, ".htmlvalidate.json")}
	for i, p := range []string{"/", "/riders", "/add?from=1", "/template", at + "/more", at + "/setup", at + "/delete"} {
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
