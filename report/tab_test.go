package report

import (
	"context"
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
	"github.com/chromedp/cdproto/runtime"
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

// A tab is a page in Debian's chromium with the network off.
type tab struct {
	t   *testing.T
	ctx context.Context

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

func TestMain(m *testing.M) {
	code := m.Run()
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

func openTab(t *testing.T, html []byte) *tab {
	t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		skip(t, "no chromium on this machine")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "report.html")
	if err := os.WriteFile(file, html, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(theBrowser(t, exe))
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx}
	b.must(chromedp.Listen(ctx, b.listen))
	call(b, log.Enable, cdp.Empty{})
	call(b, network.Enable, network.EnableParams{})
	call(b, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: true})
	b.do(chromedp.Navigate("file://" + file))
	return b
}

func (b *tab) listen(ev any) {
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
		if !strings.HasPrefix(e.Request.URL, "file://") {
			b.says = append(b.says, "asks for "+e.Request.URL)
		}
	}
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

func call[P, R any](b *tab, c cdp.Command[P, R], params P) R {
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, c, params)
	b.must(err)
	return r
}

// eval is the value of an expression in the page.
func eval[T any](b *tab, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// size sets the screen, in CSS px.
func (b *tab) size(w, h int64, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1})
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

// shot keeps a picture where EVENFOOT_SHOTS names a folder, for eyes.
func (b *tab) shot(name string, full bool) {
	b.t.Helper()
	if os.Getenv("EVENFOOT_SHOTS") == "" {
		return
	}
	take := chromedp.CaptureScreenshot()
	if full {
		take = chromedp.FullScreenshot(100)
	}
	png, err := chromedp.Run(b.ctx, take)
	b.must(err)
	b.keep(name+".png", png)
}

func (b *tab) keep(name string, data []byte) {
	b.t.Helper()
	if dir := os.Getenv("EVENFOOT_SHOTS"); dir != "" {
		b.must(os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
}

func (b *tab) noErrors() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.says {
		b.t.Errorf("the browser says: %s", e)
	}
}

// box is where an element stands on the screen once it is scrolled to.
func (b *tab) box(sel string) (x, y, w, h float64) {
	b.t.Helper()
	b.do(chromedp.ScrollIntoView(chromedp.CSS(sel)))
	r := eval[[]float64](b, `(function(){var r=document.querySelector("`+sel+`").getBoundingClientRect();return [r.left,r.top,r.width,r.height]})()`)
	return r[0], r[1], r[2], r[3]
}
