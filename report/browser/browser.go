// Package browser is Debian's chromium for the tests of the pages: it works a
// page, listens for what the browser complains of, and takes pictures. Only
// tests import it.
package browser

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Skip skips, or fails where EVENFOOT_CI=1 says that nothing may be skipped.
func Skip(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("EVENFOOT_CI") == "1" {
		t.Fatal("must not be skipped here: " + why)
	}
	t.Skip(why)
}

// A Tab is one page. It tells of every request to an address that does not
// begin with Own.
type Tab struct {
	Ctx context.Context
	t   *testing.T
	own string

	mu   sync.Mutex
	says []string // errors and requests
}

// One browser serves all tests: starting it costs more than a page.
var browser struct {
	once sync.Once
	ctx  context.Context
	stop func()
	err  error
}

// Main runs the tests of a package, closes the browser and tidies up.
func Main(m *testing.M, tidy ...func()) {
	code := m.Run()
	for _, f := range tidy {
		f()
	}
	if browser.stop != nil {
		browser.stop()
	}
	os.Exit(code)
}

func theBrowser(t *testing.T, exe string) context.Context {
	t.Helper()
	browser.once.Do(func() {
		opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.DisableGPU,
			chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
		all, stopAll := chromedp.NewExecAllocator(context.Background(), opts...)
		ctx, stop := chromedp.NewContext(all)
		browser.ctx, browser.stop = ctx, func() { stop(); stopAll() }
		_, browser.err = chromedp.Run(ctx, chromedp.Evaluate[int]("1"))
	})
	if browser.err != nil {
		t.Fatal(browser.err)
	}
	return browser.ctx
}

// Need is where the browser is; without one the test is skipped.
func Need(t *testing.T) (exe string) {
	t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		Skip(t, "no chromium on this machine")
	}
	return exe
}

// Open opens an empty tab; own is how the addresses begin that a page may ask for.
func Open(t *testing.T, own string) *Tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(theBrowser(t, Need(t)))
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(cancel)
	b := &Tab{t: t, Ctx: ctx, own: own}
	b.Must(chromedp.Listen(ctx, b.listen))
	Call(b, log.Enable, cdp.Empty{})
	Call(b, network.Enable, network.EnableParams{})
	return b
}

// OpenFile shows a page from a file with the network off.
func OpenFile(t *testing.T, html []byte) *Tab {
	t.Helper()
	b := Open(t, "file://")
	file := filepath.Join(t.TempDir(), "report.html")
	b.Must(os.WriteFile(file, html, 0o600))
	Call(b, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: true})
	b.Do(chromedp.Navigate("file://" + file))
	return b
}

func (b *Tab) listen(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.says = append(b.says, "exception: "+e.ExceptionDetails.Text)
	case *runtime.EventConsoleAPICalled:
		b.says = append(b.says, "console: "+string(e.Type))
	case *log.EventEntryAdded:
		b.says = append(b.says, e.Entry.Text)
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, b.own) && !strings.HasPrefix(u, "data:") {
			b.says = append(b.says, "asks for "+u)
		}
	}
}

func (b *Tab) Must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *Tab) Do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	b.Must(chromedp.Do(b.Ctx, steps...))
}

func Call[P, R any](b *Tab, c cdp.Command[P, R], params P) R {
	b.t.Helper()
	r, err := chromedp.Call(b.Ctx, c, params)
	b.Must(err)
	return r
}

// Eval is the value of an expression in the page.
func Eval[T any](b *Tab, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.Ctx, chromedp.Evaluate[T](js))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// Size sets the screen, in CSS px.
func (b *Tab) Size(w, h int64, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	Call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1})
	Call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

// Shot keeps a picture where EVENFOOT_SHOTS names a folder, for eyes.
func (b *Tab) Shot(name string, full bool) {
	b.t.Helper()
	if os.Getenv("EVENFOOT_SHOTS") == "" {
		return
	}
	take := chromedp.CaptureScreenshot()
	if full {
		take = chromedp.FullScreenshot(100)
	}
	png, err := chromedp.Run(b.Ctx, take)
	b.Must(err)
	b.Keep(name+".png", png)
}

func (b *Tab) Keep(name string, data []byte) {
	b.t.Helper()
	if dir := os.Getenv("EVENFOOT_SHOTS"); dir != "" {
		b.Must(os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
}

// NoErrors fails for what the browser complained of, but for what holds one of
// the words that are expected.
func (b *Tab) NoErrors(expected ...string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.says {
		if !slices.ContainsFunc(expected, func(w string) bool { return strings.Contains(e, w) }) {
			b.t.Errorf("the browser says: %s", e)
		}
	}
}

// Box is where an element stands on the screen once it is scrolled to.
func (b *Tab) Box(sel string) (x, y, w, h float64) {
	b.t.Helper()
	b.Do(chromedp.ScrollIntoView(chromedp.CSS(sel)))
	r := Eval[[]float64](b, `(function(){var r=document.querySelector("`+sel+`").getBoundingClientRect();return [r.left,r.top,r.width,r.height]})()`)
	return r[0], r[1], r[2], r[3]
}

// Axe is axe-core's text, where EVENFOOT_AXE names axe.min.js; else the test is skipped.
func Axe(t *testing.T) string {
	t.Helper()
	name := os.Getenv("EVENFOOT_AXE")
	if name == "" {
		Skip(t, "EVENFOOT_AXE does not name axe-core's axe.min.js")
	}
	source, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(source)
}

// Violations are what axe-core finds in the page, with everything unfolded.
func (b *Tab) Violations(axe string) string {
	b.t.Helper()
	Eval[int](b, axe+";document.querySelectorAll('details').forEach(function(d){d.open=true});1")
	found, err := chromedp.Run(b.Ctx, chromedp.Evaluate[string](`axe.run({resultTypes:["violations"]}).then(function(r){return r.violations.map(function(v){return v.id+": "+v.help+": "+v.nodes.slice(0,3).map(function(n){return n.html.slice(0,160)}).join(" | ")}).join("\n")})`, chromedp.EvalAwaitPromise))
	b.Must(err)
	return found
}
