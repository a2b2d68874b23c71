package page

import (
	"archive/zip"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	cdbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

// setupFields is a setup as it is typed on a phone, in a country of commas.
var setupFields = map[string]string{
	"rider.mass_kg": "80,5", "stance.front_cm": "33", "stance.back_cm": "−20", "foil.mast_cm": "85", "foil.wing.area_cm2": "1300", "foil.wing.span_cm": "95",
	"foil.stabilizer.area_cm2": "220", "foil.stabilizer.span_cm": "40", "foil.stabilizer.behind_wing_cm": "70", "feel.0.speed_kn": "14", "feel.0.front": "even",
}

// fill types into a field of the form.
func (p *phone) fill(field, v string) {
	p.t.Helper()
	browser.Eval[int](p.Tab, fmt.Sprintf(`(e => { e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); return 1; })(document.querySelector('[name="%s"]'))`, v, field))
}

// looks checks a place at both widths of a phone: nothing is cut off, and
// axe-core finds nothing.
func (p *phone) looks(name, axe string) {
	p.t.Helper()
	for _, w := range []int64{360, 390} {
		for _, dark := range []bool{false, true} {
			p.Size(w, 780, dark)
			if over := browser.Eval[float64](p.Tab, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				p.t.Errorf("%s at %d px is %v px too wide", name, w, over)
			}
			p.Shot(fmt.Sprintf("beach-%s-%d-dark-%v", name, w, dark), true)
			if axe == "" || w != 360 {
				continue
			}
			if v := p.Violations(axe); v != "" {
				p.t.Errorf("%s, dark %v: %s", name, dark, v)
			}
		}
	}
}

// TestOuting: a watch's track is picked, the form filled in, advice given;
// the outing leaves as a zip and comes back.
func TestOuting(t *testing.T) {
	p := newPhone(t)
	name := p.add(filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx"))
	p.open("#setup/" + name)
	p.until(`document.querySelectorAll("#form input").length > 40 && document.getElementById("check").textContent !== ""`)
	if said := browser.Eval[string](p.Tab, `document.getElementById("check").textContent`); !strings.Contains(said, "mass_kg") {
		t.Errorf("an empty setup gets: %s", said)
	}
	for field, v := range setupFields {
		p.fill(field, v)
	}
	p.until(`document.getElementById("check").textContent.startsWith("All values")`)
	p.tap("save")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden`)
	if text := browser.Eval[string](p.Tab, `document.getElementById("answer").textContent`); !strings.Contains(text, "front foot") {
		t.Errorf("no advice in %s", text)
	}

	file := p.download("zip", name+".zip")
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	var holds []string
	for _, f := range z.File {
		holds = append(holds, f.Name)
	}
	z.Close()
	for _, want := range []string{name + "/watch.gpx", name + "/setup.toml"} {
		if !slices.Contains(holds, want) {
			t.Errorf("the zip holds %v, not %s", holds, want)
		}
	}
	again := p.add(file)
	if again != name+" 2" || p.stored(again, "setup.toml") != p.stored(name, "setup.toml") || p.stored(again, "watch.gpx") != p.stored(name, "watch.gpx") {
		t.Errorf("the zip came back as %q, or not as it was", again)
	}
	p.NoErrors()
}

// download taps what saves a file of that name, and waits for it.
func (p *phone) download(id, name string) string {
	p.t.Helper()
	dir := p.t.TempDir()
	browser.Call(p.Tab, cdbrowser.SetDownloadBehavior, cdbrowser.SetDownloadBehaviorParams{Behavior: cdbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	p.tap(id)
	file := filepath.Join(dir, name)
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(200 * time.Millisecond) {
		if _, err := os.Stat(file); err == nil {
			return file
		}
		if time.Now().After(end) {
			p.t.Fatalf("no %s came", name)
		}
	}
}

// everything is what the phone holds: every file with its size and hash.
func (p *phone) everything() string {
	p.t.Helper()
	return p.wait(`(async () => {
		const lines = [], root = await navigator.storage.getDirectory();
		for await (const [session, dir] of (await root.getDirectoryHandle("sessions")).entries()) for await (const [name, h] of dir.entries()) {
			const bytes = await (await h.getFile()).arrayBuffer();
			lines.push([session, name, bytes.byteLength, ...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].join(" "));
		}
		return lines.sort().join("\n");
	})().catch(() => "")`)
}

// TestBackup: all that the phone holds, logs, setups with what was marked and
// felt, answers, leaves as one file, is lost, and comes back as it was.
func TestBackup(t *testing.T) {
	p := newPhone(t)
	p.add(demoFiles(t, "1-no-shim")...)
	p.tap("analyse")
	p.until(`document.querySelector("#moment-list select") !== null && document.getElementById("busy").hidden`)
	browser.Eval[int](p.Tab, `(e => { e.value = "front"; e.dispatchEvent(new Event("change")); return 1; })(document.querySelector("#moment-list select"))`)
	p.until(`document.getElementById("moment-list").textContent.includes("counts as a note: front") && document.getElementById("busy").hidden`)
	p.add(filepath.Join(work(t), "demo", "2-one-card", "watch.gpx"))
	had := p.everything()
	if n := strings.Count(had, "\n") + 1; n != 6 {
		t.Fatalf("there are %d files:\n%s", n, had)
	}
	p.open("#")
	file := p.download("backup", "evenfoot "+time.Now().UTC().Format("2006-01-02")+".zip")
	browser.Call(p.Tab, storage.ClearDataForOrigin, storage.ClearDataForOriginParams{Origin: p.origin, StorageTypes: "all"})
	p.Do(chromedp.Navigate(p.origin + "/"))
	p.until(`document.getElementById("version").textContent !== "" && !document.getElementById("none").hidden`)
	if left := p.everything(); left != "" {
		t.Fatalf("not all is lost:\n%s", left)
	}
	p.pick("pick", file)
	p.until(`document.querySelectorAll("#list a").length === 2 && document.getElementById("busy").hidden`)
	if back := p.everything(); back != had {
		t.Errorf("what came back is not what there was:\n%s\nbut\n%s", had, back)
	}
	p.NoErrors()
}

// TestLooks at each place, at a phone's widths, in light and dark.
func TestLooks(t *testing.T) {
	axe := browser.Axe(t)
	p := newPhone(t)
	p.looks("empty", axe)
	p.open("#record")
	p.looks("record", axe)
	name := p.add(demoFiles(t, "1-no-shim")...)
	p.looks("session", axe)
	p.tap("plan")
	p.until(`!document.getElementById("answer").hidden`)
	p.looks("plan", axe)
	p.tap("analyse")
	p.until(`document.getElementById("busy").hidden && /^From|front foot/.test(document.getElementById("answer").textContent)`)
	p.looks("advice", axe)
	p.tap("open-report")
	p.until(`document.getElementById("sheet").srcdoc.length > 1000`)
	p.looks("sheet", axe)
	p.open("#setup/" + name)
	p.until(`document.querySelectorAll("#form input").length > 40 && document.getElementById("check").textContent !== ""`)
	p.looks("setup", axe)
	table := filepath.Join(t.TempDir(), "foreign.csv")
	p.Must(os.WriteFile(table, []byte("Zeit;Tempo\n1;30\n2;31\n"), 0o600))
	p.add(table)
	p.tap("analyse")
	p.until(`document.querySelector("#map-list textarea") !== null`)
	p.looks("map", axe)
	p.open("#")
	p.looks("list", axe)
	p.NoErrors()
}

// TestSameName: a file that is added stands beside one of its name, and a setup
// takes the place of the one before, which stays beside it.
func TestSameName(t *testing.T) {
	p := newPhone(t)
	watch := filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx")
	name := p.add(watch)
	first := p.stored(name, "watch.gpx")
	holds := func(file string) {
		t.Helper()
		p.until(`document.getElementById("files").textContent.includes("` + file + `,")`)
	}
	p.pick("pick-more", filepath.Join(work(t), "demo", "2-one-card", "watch.gpx"))
	holds("watch 2.gpx")
	if p.stored(name, "watch.gpx") != first || p.stored(name, "watch 2.gpx") == first {
		t.Error("the file that was there is not kept beside the new one")
	}
	for _, mass := range []string{"", "81", "82"} {
		p.open("#setup/" + name)
		p.until(`!document.getElementById("save").disabled`)
		for field, v := range setupFields {
			if mass != "" && strings.HasSuffix(field, "mass_kg") {
				v = mass
			}
			p.fill(field, v)
		}
		p.tap("save")
		p.until(`document.body.dataset.at.startsWith("#session/")`)
	}
	typed := p.stored(name, "setup.toml")
	if !strings.Contains(typed, "82") || strings.Contains(typed, "81") {
		t.Errorf("the setup was not written over:\n%s", typed)
	}
	// As a browser names a file that it saves a second time.
	text, err := os.ReadFile(filepath.Join(work(t), "demo", "1-no-shim", "setup.toml"))
	if err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "setup (1).toml")
	if err := os.WriteFile(again, text, 0o600); err != nil {
		t.Fatal(err)
	}
	p.pick("pick-more", again)
	holds("setup before.toml")
	if p.stored(name, "setup.toml") != string(text) || p.stored(name, "setup before.toml") != typed {
		t.Error("the setup that was added is not the outing's, or the one before it is lost")
	}
	p.NoErrors()
}

// TestDelete: it takes two taps, both on the same outing.
func TestDelete(t *testing.T) {
	p := newPhone(t)
	watch := filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx")
	first, second := p.add(watch), p.add(watch)
	p.tap("delete")
	p.open("#session/" + first)
	p.tap("delete")
	p.open("#")
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("#list a").length`); n != 2 {
		t.Fatalf("one tap on each of two outings left %d", n)
	}
	p.open("#session/" + second)
	p.tap("delete")
	p.tap("delete")
	p.until(`document.querySelectorAll("#list a").length === 1`)
	if left := browser.Eval[string](p.Tab, `document.querySelector("#list a").textContent`); left != first {
		t.Errorf("%s is left, and not %s", left, first)
	}
	p.NoErrors()
}

// TestTwice: what the same page in a second window holds is told of, and can be
// had once that lets go.
func TestTwice(t *testing.T) {
	p := newPhone(t)
	name := p.add(filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx"))
	other := at(t, p.server, p.origin, "/")
	other.wait(fmt.Sprintf(`(async () => {
		let d = await navigator.storage.getDirectory();
		for (const n of ["sessions", %q]) d = await d.getDirectoryHandle(n);
		globalThis.held = await (await d.getFileHandle("watch.gpx")).createWritable();
		return "";
	})()`, name))
	p.tap("analyse")
	p.until(`document.getElementById("problem").textContent.includes("open a second time")`)
	other.wait(`held.abort().then(() => "")`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden`)
	p.NoErrors()
}
