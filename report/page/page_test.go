package page

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

func TestMain(m *testing.M) {
	made.dir, made.err = os.MkdirTemp("", "evenfoot-page-*")
	browser.Main(m, func() { os.RemoveAll(made.dir) })
}

// made is what all tests share: the command, the page that it built and, for
// those in a browser, its demo's sessions.
var made struct {
	page, demo sync.Once
	dir        string
	err        error
}

// build runs commands one after the other until one fails.
func build(t *testing.T, once *sync.Once, commands ...[]string) {
	t.Helper()
	once.Do(func() {
		for _, c := range commands {
			if said, err := exec.Command(c[0], c[1:]...).CombinedOutput(); err != nil {
				made.err = fmt.Errorf("%s: %w\n%s", strings.Join(c, " "), err, said)
				return
			}
		}
	})
	if made.err != nil {
		t.Fatal(made.err)
	}
}

func work(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("builds the page")
	}
	evenfoot := filepath.Join(made.dir, "evenfoot")
	build(t, &made.page, []string{"go", "build", "-o", evenfoot, "evenfoot/cmd/evenfoot"},
		[]string{evenfoot, "page", "--out", filepath.Join(made.dir, "page")})
	return made.dir
}

// A phone is the page in a browser of a phone's size, with a server that can be
// taken away.
type phone struct {
	*browser.Tab
	t      *testing.T
	server *httptest.Server
	origin string
}

// newPhone opens the page; before is JavaScript that runs before the page's own,
// such as what takes a feature of the browser away.
func newPhone(t *testing.T, before ...string) *phone {
	t.Helper()
	return openPhone(t, nil, before...)
}

// openPhone has a file of the page end otherwise the first time it is asked for.
func openPhone(t *testing.T, tails map[string]string, before ...string) *phone {
	t.Helper()
	t.Parallel()
	browser.Need(t)
	build(t, &made.demo, []string{filepath.Join(work(t), "evenfoot"), "demo", filepath.Join(made.dir, "demo")})
	mux := http.NewServeMux()
	mux.Handle("/", http.FileServer(http.Dir(filepath.Join(work(t), "page"))))
	mux.Handle("/demo/", http.StripPrefix("/demo/", http.FileServer(http.Dir(filepath.Join(work(t), "demo")))))
	mux.HandleFunc("/sharer", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, sharer)
	})
	for name, tail := range tails {
		var asked atomic.Int32
		mux.HandleFunc("/"+name, func(w http.ResponseWriter, r *http.Request) {
			text, _ := os.ReadFile(filepath.Join(work(t), "page", name))
			if asked.Add(1) == 1 {
				text = append(text, tail...)
			}
			http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(text))
		})
	}
	s := httptest.NewServer(mux)
	t.Cleanup(s.Close)
	return at(t, s, s.URL, "/", before...)
}

// at opens the page where it is served.
func at(t *testing.T, s *httptest.Server, origin, path string, before ...string) *phone {
	t.Helper()
	p := &phone{browser.Open(t, origin), t, s, origin}
	p.Size(390, 844, false)
	for _, js := range before {
		browser.Call(p.Tab, cdpage.AddScriptToEvaluateOnNewDocument, cdpage.AddScriptToEvaluateOnNewDocumentParams{Source: js})
	}
	p.Do(chromedp.Navigate(origin + path))
	p.until(`document.getElementById("version").textContent !== ""`)
	return p
}

// until waits for a condition in the page.
func (p *phone) until(js string) {
	p.t.Helper()
	for end := time.Now().Add(120 * time.Second); ; time.Sleep(100 * time.Millisecond) {
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

// cut takes the network away.
func (p *phone) cut() {
	p.server.Close()
	browser.Call(p.Tab, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: true})
}

// offline opens the page again without a network.
func (p *phone) offline() {
	p.until(`navigator.serviceWorker.controller !== null`)
	p.cut()
	p.Do(chromedp.Navigate(p.origin + "/"))
	p.until(`document.getElementById("version").textContent !== ""`)
}

// command runs evenfoot, and gives what it says on standard output.
func command(t *testing.T, args ...string) string {
	t.Helper()
	said, err := exec.Command(filepath.Join(work(t), "evenfoot"), args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(said)
}

// TestSameReport: offline after the first load, the page's report, plan and
// comparison are the command's, byte for byte; the second outing has the first
// as evidence.
func TestSameReport(t *testing.T) {
	p := newPhone(t)
	p.offline()
	same := func(what, got, want string) {
		t.Helper()
		if got == want {
			return
		}
		at := 0
		for at < min(len(got), len(want)) && got[at] == want[at] {
			at++
		}
		t.Errorf("%s differs at byte %d of %d:\n%.200s\nthe command's:\n%.200s", what, at, len(want), got[at:], want[at:])
	}
	answer := func() string {
		return fields(browser.Eval[string](p.Tab, `document.getElementById("answer").textContent`))
	}
	for _, folder := range []string{"1-no-shim", "2-one-card"} {
		from := filepath.Join(work(t), "demo", folder)
		name := p.add(demoFiles(t, folder)...)
		p.tap("analyse")
		p.until(`!document.getElementById("answer").hidden || !document.getElementById("problem").hidden`)
		want := filepath.Join(t.TempDir(), "report.html")
		said := command(t, "report", from, "--out", want)
		html, err := os.ReadFile(want)
		if err != nil {
			t.Fatal(err)
		}
		same(folder+": the report", p.stored(name, "report.html"), string(html))
		same(folder+": the words", answer(), onPage.Replace(fields(said)))
		if earlier := browser.Eval[string](p.Tab, `document.getElementById("warnings").textContent`); folder == "2-one-card" && !strings.Contains(earlier, "Earlier outings taken as evidence") {
			t.Errorf("the first outing is no evidence for the second: %s", earlier)
		}
	}
	p.Shot("beach-session", true)
	p.tap("open-report")
	p.until(`document.getElementById("sheet").srcdoc.length > 1000`)
	p.Shot("beach-report", false)
	p.open("#")
	browser.Eval[int](p.Tab, `document.querySelectorAll("#list input").forEach(i => i.click()), 1`)
	p.tap("compare")
	p.until(`!document.getElementById("report").hidden && /<h1/.test(document.getElementById("sheet").srcdoc)`)
	both := filepath.Join(t.TempDir(), "compare.html")
	command(t, "compare", filepath.Join(work(t), "demo", "1-no-shim"), filepath.Join(work(t), "demo", "2-one-card"), "--out", both)
	html, err := os.ReadFile(both)
	if err != nil {
		t.Fatal(err)
	}
	same("the comparison", browser.Eval[string](p.Tab, `document.getElementById("sheet").srcdoc`), string(html))
	p.NoErrors()
}

// onPage are the words of the command where the page has its own.
var onPage = strings.NewReplacer(
	"; the page lists them.", ", listed below.",
	"evenfoot plan says how.", "“Plan the next outing” says how.",
	"with [marks] means = \"even\" in the setup", "the setup says that a mark meant even",
	"with [marks] means = \"glide\" in the setup), or write each down: [[glide]] with from and to, UTC.", "the setup says that a mark meant a glide), or write the start and end of each into the setup, UTC.",
	"write each down afterwards as a [[mark]] with its time (and [marks] means = \"nothing\" in the setup, or a press that you do not write down", "choose afterwards what each meant (the setup says that a mark meant nothing, or a press of which you do not say anything",
	"[[change]] with at = the time, foil_cm = ", "as a change, with its time and the foil in cm, ",
	"[[change]] with at = the time, shim_mm = ", "as a change, with its time and the shim in mm, ",
	"Write what you remember into the setup: [[mark]] with at = the time and front = the feel.", "Choose below what you remember.")

// fields are the words alone, in signs that every terminal has.
func fields(s string) string {
	return strings.NewReplacer("±", "+/-", "−", "-", "²", "2", "→", "->", "°", " deg").Replace(strings.Join(strings.Fields(s), " "))
}

// TestPlan: the next outing on the page is the command's, but for how it is
// written down, and what is remembered
// of a moment goes into the setup and the answer.
func TestPlan(t *testing.T) {
	p := newPhone(t)
	browser.Call(p.Tab, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Asia/Tokyo"})
	name := p.add(demoFiles(t, "1-no-shim")...)
	p.tap("plan")
	p.until(`!document.getElementById("answer").hidden`)
	got := browser.Eval[string](p.Tab, `document.getElementById("answer").textContent`)
	if want := command(t, "plan", filepath.Join(work(t), "demo", "1-no-shim")); fields(got) != onPage.Replace(fields(want)) || strings.Contains(got, "[[") {
		t.Errorf("the plan differs:\n%s\nthe command's:\n%s", got, want)
	}
	if !browser.Eval[bool](p.Tab, `(() => { let n = 0; print = () => n++; document.getElementById("print").click(); return n === 1; })()`) {
		t.Error("the plan cannot be printed")
	}
	p.Shot("beach-plan", true)
	choose := func(feel string) {
		t.Helper()
		p.until(`document.querySelector("#moment-list select") !== null && document.getElementById("busy").hidden`)
		browser.Eval[int](p.Tab, `(e => { e.value = "`+feel+`"; e.dispatchEvent(new Event("change")); return 1; })(document.querySelector("#moment-list select"))`)
	}
	choose("front")
	p.until(`document.getElementById("moment-list").textContent.includes("counts as a note: front")`)
	label := browser.Eval[string](p.Tab, `document.querySelector("#moment-list label").textContent`)
	both := regexp.MustCompile(`^([0-9:]{8}) \(([0-9:]{8}) UTC\)`).FindStringSubmatch(label)
	if both == nil || both[1][2:] != both[2][2:] || both[1] == both[2] {
		t.Fatalf("the moment is not told by the device's clock: %q", label)
	}
	at := both[2]
	if text := p.stored(name, "setup.toml"); !strings.Contains(text, "[[mark]]\nat = \""+at+"\"\nfront = \"front\"") {
		t.Errorf("what was remembered of %s is not in the setup:\n%s", at, text)
	}
	choose("strong back")
	p.until(`document.getElementById("moment-list").textContent.includes("counts as a note: strong back")`)
	choose("")
	p.until(`!document.getElementById("moment-list").textContent.includes("counts as a note")`)
	if text := p.stored(name, "setup.toml"); strings.Contains(text, "[[mark]]") {
		t.Errorf("what was taken back is in the setup:\n%s", text)
	}
	p.NoErrors()
}

// TestFieldsCannotHold: what a setup holds that no field is for is named before
// the fields are saved.
func TestFieldsCannotHold(t *testing.T) {
	p := newPhone(t)
	text, err := os.ReadFile(filepath.Join(work(t), "demo", "1-no-shim", "setup.toml"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "setup.toml")
	if err := os.WriteFile(file, append([]byte("lucky_number = 7\n"), text...), 0o644); err != nil {
		t.Fatal(err)
	}
	p.open("#setup/" + p.add(file))
	p.until(`document.querySelector("#form input") !== null && /lucky_number/.test(document.getElementById("problem").textContent)`)
	p.NoErrors()
}

// TestPageIsSmall: a phone on the beach downloads at most 5 MB, each file as a host
// packs it. It weighs the page that the tests in a browser share.
func TestPageIsSmall(t *testing.T) {
	t.Parallel()
	browser.Need(t) // without one nothing else needs the page, which takes long to build
	dir := filepath.Join(work(t), "page")
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0
	for _, e := range entries {
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := z.Write(text); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		sum += min(len(text), b.Len())
	}
	t.Logf("%.2f MB in %d files", float64(sum)/1e6, len(entries))
	if sum > 5e6 || len(entries) < 10 {
		t.Errorf("%d files are %.2f MB to download", len(entries), float64(sum)/1e6)
	}
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

// TestPolicy: what the page may load and run: its own files, the program, and
// the sheets' one script and style by their hashes; nothing from elsewhere, and
// no form or text that became markup.
func TestPolicy(t *testing.T) {
	files, err := Files(nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(files["index.html"]), `<meta http-equiv="Content-Security-Policy" content="`)
	got, _, _ := strings.Cut(rest, `"`)
	const hash = `'sha256-[A-Za-z0-9+/]{43}='`
	want := "^default-src 'none'; script-src 'self' 'wasm-unsafe-eval' " + hash + "; style-src 'self' " + hash +
		"; img-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'$"
	if !regexp.MustCompile(want).MatchString(got) {
		t.Errorf("the page's policy is\n%s", got)
	}
}
