package page

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

// sharer is what a phone does when a file is shared to the page: it opens the
// page with a form that is posted.
const sharer = `<!doctype html><title>another program</title><link rel="icon" href="data:,">
<form method="post" enctype="multipart/form-data" action="share"><input type="file" id="logs" name="logs" multiple></form>`

// TestShared: a FIT file that another program shares becomes an outing, without
// a network.
func TestShared(t *testing.T) {
	p := newPhone(t)
	p.until(`navigator.serviceWorker.controller !== null`)
	p.Do(chromedp.Navigate(p.origin + "/sharer"))
	p.until(`document.forms.length === 1`)
	p.cut()
	fit := filepath.Join(work(t), "demo", "2-one-card-as-fit", "outing.fit")
	p.pick("logs", fit, filepath.Join(filepath.Dir(fit), "setup.toml"))
	browser.Eval[int](p.Tab, `document.forms[0].submit(), 1`)
	p.until(`(document.body?.dataset.at ?? "").startsWith("#session/")`)
	name := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)
	want, err := os.Stat(fit)
	if err != nil {
		t.Fatal(err)
	}
	if got := p.wait(`caches.open("evenfoot shared").then(c => c.keys()).then(k => String(k.length))`); got != "0" {
		t.Errorf("%s shared files are still put aside", got)
	}
	if got := p.sizeOf(name, "outing.fit"); got != want.Size() {
		t.Errorf("the file shared has %d bytes and not %d", got, want.Size())
	}
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	p.NoErrors("ERR_CONNECTION_REFUSED") // the browser looks whether there is a newer worker
}

func (p *phone) sizeOf(session, file string) (n int64) {
	p.t.Helper()
	_, err := fmt.Sscan(p.wait(fmt.Sprintf(`(async () => {
		let d = await navigator.storage.getDirectory();
		for (const n of ["sessions", %q]) d = await d.getDirectoryHandle(n);
		return String((await (await d.getFileHandle(%q)).getFile()).size);
	})()`, session, file)), &n)
	p.Must(err)
	return n
}

// TestDropped: files that are dropped are a new outing on the list, and belong
// to the outing that is open.
func TestDropped(t *testing.T) {
	p := newPhone(t)
	drop := func(file string) {
		t.Helper()
		p.wait(`fetch("demo/` + file + `").then(r => r.blob()).then(b => {
			const data = new DataTransfer();
			data.items.add(new File([b], "` + filepath.Base(file) + `"));
			dispatchEvent(new DragEvent("drop", { dataTransfer: data, cancelable: true }));
			return "";
		})`)
	}
	drop("1-no-shim/watch.gpx")
	p.until(`document.body.dataset.at === "#session/watch" && document.getElementById("files").textContent.includes("watch.gpx")`)
	drop("1-no-shim/setup.toml")
	p.until(`document.getElementById("files").textContent.includes("setup.toml")`)
	p.open("#")
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("#list a").length`); n != 1 {
		t.Errorf("%d outings of two drops on one", n)
	}
	p.NoErrors()
}

// TestHostile: files that mean harm are told of, and do none.
func TestHostile(t *testing.T) {
	p := newPhone(t)
	dir := t.TempDir()
	write := func(name string, text []byte) string {
		t.Helper()
		file := filepath.Join(dir, name)
		p.Must(os.WriteFile(file, text, 0o600))
		return file
	}
	p.add(write("<img src=x onerror=alert(1)>.csv", []byte("time_s,ax_mps2\n1,\"<script>alert(1)</script>\n\x00\x00\xff")))
	p.tap("analyse")
	p.until(`!document.getElementById("problem").hidden`)
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("main img, main script").length`); n > 0 {
		t.Error("markup of a file's name got through")
	}
	fit, err := os.ReadFile(filepath.Join(work(t), "demo", "2-one-card-as-fit", "outing.fit"))
	p.Must(err)
	p.add(write("cut.fit", append([]byte{14, 0xff}, fit[2:400]...)))
	p.tap("analyse")
	p.until(`!document.getElementById("problem").hidden || !document.getElementById("answer").hidden`)

	// Archives: none at all, too many files, more than it may expand to, other than it says, out of the folder.
	const outings = 2
	p.refuses(write("none.zip", []byte("PK\x03\x04 and nothing else")), "no archive")
	for _, n := range []int{2001, 40_000} {
		p.refuses(write("many.zip", archive(t, n, func(i int) string { return fmt.Sprint("a/", i) })), "more than 2000 files")
	}
	p.refuses(write("bomb.zip", says(t, 3<<30)), "more than 200 times its size")
	p.refuses(write("lies.zip", says(t, 10)), "a.csv cannot be unpacked")
	out := p.add(write("out.zip", archive(t, 3, func(i int) string { return strings.Repeat("../", i) + "x.csv" })))
	if out != "out" {
		t.Errorf("the archive became %q", out)
	}
	// Folders of the same name are outings of their own; what is hidden is none.
	names := []string{"anna/1/a.csv", "ben/1/a.csv", ".cache/2/a.csv", "ben/.old/a.csv"}
	p.pick("pick", write("both.zip", archive(t, len(names), func(i int) string { return names[i] })))
	p.open("#")
	p.until(fmt.Sprintf(`document.querySelectorAll("#list a").length >= %d`, outings+3))
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("#list a").length`); n != outings+3 {
		t.Errorf("%d outings, and not %d: an archive that was refused left something", n, outings+3)
	}
	if left := p.wait(`navigator.storage.getDirectory().then(async d => { const n = []; for await (const k of d.keys()) n.push(k); return n.sort().join(); })`); left != "part,sessions" {
		t.Errorf("the storage holds %s", left)
	}
	p.NoErrors()
}

// refuses picks a file that cannot be taken.
func (p *phone) refuses(file, why string) {
	p.t.Helper()
	p.open("#")
	p.pick("pick", file)
	p.until(fmt.Sprintf(`document.getElementById("problem").textContent.includes(%q)`, why))
}

// TestProgramEnds: where the program ends, the page says so, begins it anew and
// goes on.
func TestProgramEnds(t *testing.T) {
	p := openPhone(t, map[string]string{"worker.js": `
{ // the first file that is read: no answer ever comes, and the program falls
	const read = fs.read;
	fs.read = () => { fs.read = read; setTimeout(() => { throw new Error("out of memory"); }); };
}`})
	p.add(demoFiles(t, "1-no-shim")...)
	p.tap("analyse")
	p.until(`document.getElementById("problem").textContent.includes("out of memory") && document.getElementById("busy").hidden`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	p.NoErrors("out of memory", "exception")
}

// says is a zip whose one file of 5 MB is said to have size bytes.
func says(t *testing.T, size uint64) []byte {
	t.Helper()
	var b, packed bytes.Buffer
	z := zip.NewWriter(&b)
	d, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err == nil {
		_, err = d.Write(make([]byte, 5_000_000))
	}
	err = errors.Join(err, d.Close())
	f, werr := z.CreateRaw(&zip.FileHeader{Name: "a/a.csv", Method: zip.Deflate, CompressedSize64: uint64(packed.Len()), UncompressedSize64: size})
	if werr == nil {
		_, werr = f.Write(packed.Bytes())
	}
	if err := errors.Join(err, werr, z.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// archive is a zip with n files.
func archive(t *testing.T, n int, name func(int) string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := range n {
		f, err := z.Create(name(i))
		if err == nil {
			_, err = f.Write([]byte("time_s\n1\n"))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestForeign: a table with other column names is read once its map is kept; of
// a file with two outings the one that is asked for is; and the foil is advised
// for under somebody else, in the page's words.
func TestForeign(t *testing.T) {
	p := newPhone(t)
	dir := t.TempDir()
	write := func(name, text string) string {
		file := filepath.Join(dir, name)
		p.Must(os.WriteFile(file, []byte(text), 0o600))
		return file
	}
	var table, twice strings.Builder
	table.WriteString("Zeit [s];Tempo [km/h];Breite;Laenge\n")
	twice.WriteString("# start: 2026-06-01T10:00:00Z\ntime_s,lat_deg,lon_deg,speed_mps\n")
	for s := range 600 {
		fmt.Fprintf(&table, "%d;%.1f;%.6f;%.6f\n", s, 30+5*math.Sin(float64(s)/20), 54+float64(s)*8/111e3, 10.0)
	}
	for _, from := range []int{0, 20_000} {
		for s := range 600 {
			fmt.Fprintf(&twice, "%d,%.6f,10,%.2f\n", from+s, 54+float64(s)*8/111e3, 8.0)
		}
	}
	name := p.add(write("foreign.csv", table.String()))
	p.tap("analyse")
	p.until(`document.querySelector("#map-list textarea") !== null`)
	p.Shot("beach-map", true)
	browser.Eval[int](p.Tab, `(e => { e.value = 'time_s = "Zeit [s]"\nspeed_kmh = "Tempo [km/h]"\nlat_deg = "Breite"\nlon_deg = "Laenge"\n'; document.querySelector("#map-list button").click(); return 1; })(document.querySelector("#map-list textarea"))`)
	p.until(`!document.getElementById("answer").hidden && document.getElementById("maps").hidden && document.getElementById("answer").textContent.includes("add a setup")`)
	if kept := p.stored(name, "foreign.csv.map.toml"); !strings.Contains(kept, "Laenge") {
		t.Errorf("the map is kept as\n%s", kept)
	}

	p.add(write("twice.csv", twice.String()))
	choose := func(field, v string) {
		t.Helper()
		browser.Eval[string](p.Tab, fmt.Sprintf(`document.getElementById(%q).value = %q`, field, v))
	}
	for n, want := range map[string]string{"1": "Number 1 is read", "2": "Number 2 is read", "3": "there is no outing 3", "x": "is no number"} {
		choose("outing", n)
		p.tap("analyse")
		p.until(fmt.Sprintf(`document.getElementById("busy").hidden && (document.getElementById("warnings").textContent + document.getElementById("problem").textContent).includes(%q)`, want))
	}
	if said := browser.Eval[string](p.Tab, `document.getElementById("session").textContent`); strings.Contains(said, "--outing") {
		t.Errorf("the page speaks of the command line: %s", said)
	}

	p.add(demoFiles(t, "1-no-shim")...)
	if v := browser.Eval[string](p.Tab, `document.getElementById("outing").value`); v != "" {
		t.Errorf("outing %s of another file would be read", v)
	}
	choose("mass", "62,5")
	choose("rider-level", "beginner")
	p.tap("analyse")
	p.until(`document.getElementById("answer").textContent.includes("For 62.5")`)
	choose("mass", "heavy")
	p.tap("analyse")
	p.until(`document.getElementById("problem").textContent.includes("is not a number with its unit")`)
	p.NoErrors()
}
