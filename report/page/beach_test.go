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

	"evenfoot/report/browser"
)

// setupFields is a setup as it is typed on a phone, in a country of commas.
var setupFields = map[string]string{
	"rider.mass_kg": "80,5", "stance.front_cm": "33", "stance.back_cm": "−20", "foil.mast_cm": "85", "foil.wing.area_cm2": "1300", "foil.wing.span_cm": "95",
	"foil.stabilizer.area_cm2": "220", "foil.stabilizer.span_cm": "40", "foil.stabilizer.behind_wing_cm": "70", "feel.0.speed_kn": "14", "feel.0.front": "even",
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

// TestOuting: a watch's track is shared in, the form filled in, advice given;
// the outing leaves as a zip and comes back; a hostile file does no harm.
func TestOuting(t *testing.T) {
	p := newPhone(t)
	name := p.add(filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx"))
	p.open("#setup/" + name)
	p.until(`document.querySelectorAll("#form input").length > 40 && document.getElementById("check").textContent !== ""`)
	if said := browser.Eval[string](p.Tab, `document.getElementById("check").textContent`); !strings.Contains(said, "mass_kg") {
		t.Errorf("an empty setup gets: %s", said)
	}
	for field, v := range setupFields {
		browser.Eval[int](p.Tab, fmt.Sprintf(`(e => { e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); return 1; })(document.querySelector('[name="%s"]'))`, v, field))
	}
	p.until(`document.getElementById("check").textContent.startsWith("All values")`)
	p.tap("save")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden`)
	if text := browser.Eval[string](p.Tab, `document.getElementById("answer").textContent`); !strings.Contains(text, "front foot") {
		t.Errorf("no advice in %s", text)
	}

	dir := t.TempDir()
	browser.Call(p.Tab, cdbrowser.SetDownloadBehavior, cdbrowser.SetDownloadBehaviorParams{Behavior: cdbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	p.tap("zip")
	file := filepath.Join(dir, name+".zip")
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(200 * time.Millisecond) {
		if _, err := os.Stat(file); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("no zip came")
		}
	}
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

	hostile := filepath.Join(dir, "<img src=x onerror=alert(1)>.csv")
	if err := os.WriteFile(hostile, []byte("time_s,ax_mps2\n1,\"<script>alert(1)</script>\n\x00\x00\xff"), 0o600); err != nil {
		t.Fatal(err)
	}
	p.add(hostile)
	p.tap("analyse")
	p.until(`!document.getElementById("problem").hidden`)
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("main img, main script").length`); n > 0 {
		t.Error("markup of a file's name got through")
	}
	p.open("#")
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
	p.open("#setup/" + name)
	p.until(`document.querySelectorAll("#form input").length > 40 && document.getElementById("check").textContent !== ""`)
	p.looks("setup", axe)
	p.open("#")
	p.looks("list", axe)
	p.NoErrors()
}

// TestStorageFull: what was recorded before the storage was full is kept, and the page says so.
func TestStorageFull(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	p.open("#record")
	quota := 1000.0
	browser.Call(p.Tab, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: p.server.URL, QuotaSize: &quota})
	p.tap("start")
	b.ride(3 * time.Second)
	p.until(`document.getElementById("problem").textContent.includes("storage is full")`)
}

// TestSameName: a file that is added stands beside one of its name, and what
// the page writes itself takes the place of what it wrote before.
func TestSameName(t *testing.T) {
	p := newPhone(t)
	watch := filepath.Join(work(t), "demo", "1-no-shim", "watch.gpx")
	name := p.add(watch)
	first := p.stored(name, "watch.gpx")
	p.pick("pick-more", filepath.Join(work(t), "demo", "2-one-card", "watch.gpx"))
	p.until(`document.getElementById("files").textContent.includes("watch 2.gpx")`)
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
			browser.Eval[int](p.Tab, fmt.Sprintf(`(e => { e.value = %q; return 1; })(document.querySelector('[name="%s"]'))`, v, field))
		}
		p.tap("save")
		p.until(`document.body.dataset.at.startsWith("#session/")`)
	}
	if text := p.stored(name, "setup.toml"); !strings.Contains(text, "82") || strings.Contains(text, "81") {
		t.Errorf("the setup was not written over:\n%s", text)
	}
	p.NoErrors()
}
