package page

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

func TestMain(m *testing.M) {
	defer os.RemoveAll(made.dir)
	browser.Main(m)
}

// made is what all tests share: the command, the page that it built and its
// demo's sessions.
var made struct {
	once sync.Once
	dir  string
	err  error
}

func work(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("builds the page")
	}
	made.once.Do(func() {
		if made.dir, made.err = os.MkdirTemp("", "evenfoot-page-*"); made.err != nil {
			return
		}
		for _, c := range [][]string{
			{"go", "build", "-o", filepath.Join(made.dir, "evenfoot"), "evenfoot/cmd/evenfoot"},
			{filepath.Join(made.dir, "evenfoot"), "page", "--out", filepath.Join(made.dir, "page")},
			{filepath.Join(made.dir, "evenfoot"), "demo", filepath.Join(made.dir, "demo")},
		} {
			if said, err := exec.Command(c[0], c[1:]...).CombinedOutput(); err != nil {
				made.err = fmt.Errorf("%s: %w\n%s", strings.Join(c, " "), err, said)
				return
			}
		}
	})
	if made.err != nil {
		t.Fatal(made.err)
	}
	return made.dir
}

// A phone is the page in a browser of a phone's size, with a server that can be
// taken away.
type phone struct {
	*browser.Tab
	t      *testing.T
	server *httptest.Server
}

func newPhone(t *testing.T) *phone {
	t.Helper()
	files := http.FileServer(http.Dir(filepath.Join(work(t), "page")))
	s := httptest.NewServer(files)
	t.Cleanup(s.Close)
	p := &phone{browser.Open(t, s.URL), t, s}
	p.Size(390, 844, false)
	p.Do(chromedp.Navigate(s.URL + "/"))
	p.until(`document.getElementById("version").textContent !== ""`)
	return p
}

// until waits for a condition in the page.
func (p *phone) until(js string) {
	p.t.Helper()
	for end := time.Now().Add(60 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		if browser.Eval[bool](p.Tab, js) {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("never: %s\nthe page says %q", js, browser.Eval[string](p.Tab, `document.body.innerText.slice(0, 3000)`))
		}
	}
}

func (p *phone) tap(id string) {
	p.t.Helper()
	p.until(`(e => e && e.offsetParent !== null && !e.disabled)(document.getElementById("` + id + `"))`)
	browser.Eval[int](p.Tab, `document.getElementById("`+id+`").click(), 1`)
}

// wait runs JavaScript that gives a promise of a text.
func (p *phone) wait(js string) string {
	p.t.Helper()
	v, err := chromedp.Run(p.Ctx, chromedp.Evaluate[string](js, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// pick puts files into a file input.
func (p *phone) pick(id string, files ...string) {
	p.t.Helper()
	root := browser.Call(p.Tab, dom.GetDocument, dom.GetDocumentParams{})
	node := browser.Call(p.Tab, dom.QuerySelector, dom.QuerySelectorParams{NodeID: root.Root.NodeID, Selector: "#" + id})
	browser.Call(p.Tab, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: files, NodeID: node.NodeID})
}

// add picks files for a new outing and waits until it is shown.
func (p *phone) add(files ...string) string {
	p.t.Helper()
	p.open("#")
	p.pick("pick", files...)
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	return browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)
}

func (p *phone) open(hash string) {
	p.t.Helper()
	browser.Eval[int](p.Tab, `location.hash = "`+hash+`", 1`)
	p.until(`(document.body.dataset.at || "#") === (location.hash || "#") && decodeURIComponent(location.hash || "#") === "` + hash + `"`)
}

// stored is a file of an outing in the private file system.
func (p *phone) stored(session, file string) string {
	p.t.Helper()
	return p.wait(fmt.Sprintf(`(async () => {
		let d = await navigator.storage.getDirectory();
		for (const n of ["sessions", %q]) d = await d.getDirectoryHandle(n);
		return (await (await d.getFileHandle(%q)).getFile()).text();
	})()`, session, file))
}

func demoFiles(t *testing.T, session string) (out []string) {
	t.Helper()
	for _, f := range []string{"setup.toml", "logger.csv", "watch.gpx"} {
		out = append(out, filepath.Join(work(t), "demo", session, f))
	}
	return out
}

func (p *phone) offline() {
	p.until(`navigator.serviceWorker.controller !== null`)
	p.server.Close()
	browser.Call(p.Tab, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: true})
	p.Do(chromedp.Navigate(p.server.URL + "/"))
	p.until(`document.getElementById("version").textContent !== ""`)
}

// TestSameReport: offline after the first load, the page's report is the
// command's, byte for byte, evidence of an earlier outing included.
func TestSameReport(t *testing.T) {
	p := newPhone(t)
	p.offline()
	p.add(demoFiles(t, "1-no-shim")...)
	second := p.add(demoFiles(t, "2-one-card")...)
	for name, folder := range map[string]string{second: "2-one-card"} {
		p.tap("analyse")
		p.until(`!document.getElementById("answer").hidden || !document.getElementById("problem").hidden`)
		want := filepath.Join(t.TempDir(), "report.html")
		words, err := exec.Command(filepath.Join(work(t), "evenfoot"), "report", filepath.Join(work(t), "demo", folder), "--out", want).Output()
		if err != nil {
			t.Fatal(err)
		}
		html, err := os.ReadFile(want)
		if err != nil {
			t.Fatal(err)
		}
		if got := p.stored(name, "report.html"); got != string(html) {
			at := 0
			for at < min(len(got), len(html)) && got[at] == html[at] {
				at++
			}
			t.Errorf("%s: the page's report differs at byte %d of %d:\n%.200s\nthe command's:\n%.200s", folder, at, len(html), got[at:], html[at:])
		}
		if got := browser.Eval[string](p.Tab, `document.getElementById("answer").textContent`); strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(string(words)), " ") {
			t.Errorf("the words differ:\n%s\nthe command's:\n%s", got, words)
		}
	}
	p.Shot("beach-session", true)
	p.tap("open-report")
	p.until(`document.getElementById("sheet").srcdoc.length > 1000`)
	time.Sleep(500 * time.Millisecond)
	p.Shot("beach-report", false)
	p.open("#")
	browser.Eval[int](p.Tab, `document.querySelectorAll("#list input").forEach(i => i.click()), 1`)
	p.tap("compare")
	p.until(`!document.getElementById("report").hidden && /<h1/.test(document.getElementById("sheet").srcdoc)`)
	p.NoErrors()
}

// TestReproducible: the same input gives the same bytes, and the list of the
// service worker names every file.
func TestReproducible(t *testing.T) {
	a, err := Files([]byte("program"), []byte("exec"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Files([]byte("program"), []byte("exec"))
	if err != nil {
		t.Fatal(err)
	}
	for name := range a {
		if !bytes.Equal(a[name], b[name]) {
			t.Errorf("%s differs", name)
		}
		if name != "sw.js" && !bytes.Contains(a["sw.js"], []byte(`"`+name+`": "sha256-`)) {
			t.Errorf("the service worker does not keep %s", name)
		}
	}
}
