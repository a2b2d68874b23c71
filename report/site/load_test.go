//go:build unix

package site

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
	"evenfoot/report/words"
)

// loadSessions is how many sessions the library of BenchmarkLibrary holds: fifty
// riders with a hundred each.
const loadSessions = 5000

// bigLibrary writes one, each session with a small log, a setup and the list's line.
func bigLibrary(b *testing.B, dir string) {
	b.Helper()
	text, err := setup.Template("wing")
	if err != nil {
		b.Fatal(err)
	}
	usual, err := words.ParseUnits("")
	if err != nil {
		b.Fatal(err)
	}
	st := &store{}
	s := &Site{store: st, cfg: Config{Version: "test"}}
	var all []*session
	for n := range loadSessions {
		log := track(n)
		ses := &session{ID: int64(n + 1), Made: "test", Added: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), Start: time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC).Add(time.Duration(n) * time.Hour),
			dir:   filepath.Join(dir, "sessions", fmt.Sprint(n+1)),
			Files: []stored{{Kind: kindLog, Name: "watch.gpx", At: "watch.gpx", Hash: hash([]byte(log)), Content: hash([]byte(log)), Size: int64(len(log))}}}
		ses.Setup = []byte(strings.NewReplacer("title =", "# title =", "name =", "# name =", "[rider]", fmt.Sprintf("[rider]\nname = \"rider %d\"", n%50)).Replace(text))
		ses.Setup = fmt.Appendf(nil, "title = \"outing %d\"\n%s", n, ses.Setup)
		set, _, err := ses.parseSetup()
		if err != nil {
			b.Fatal(err)
		}
		ses.describe(set, nil)
		ses.revise(1, ses.Added, ingest.SetupName)
		if err := os.MkdirAll(ses.dir, 0o700); err != nil {
			b.Fatal(err)
		}
		for name, data := range map[string][]byte{"watch.gpx": []byte(log), ingest.SetupName: ses.Setup} {
			if err := os.WriteFile(filepath.Join(ses.dir, name), data, 0o600); err != nil {
				b.Fatal(err)
			}
		}
		all = append(all, ses)
	}
	st.publish(all)
	for _, ses := range all {
		ses.Summary = &summary{Foiling: 600, Best: [4]float64{9, 8, 7, 6}, Verdict: "change", Next: "Slide the foil 1.0 cm forward. Then ride the same speeds and log again.", Made: "test", Basis: basis(ses, s.usualEvidence(ses), usual)}
		ses.Schema = sidecarSchema
		data, err := json.Marshal(ses)
		if err == nil {
			err = os.WriteFile(filepath.Join(ses.dir, sidecarName), data, 0o600)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
}

// team adds three outings each of eight riders, and waits until all that can be
// foreseen of their comparison is; it tells that one's address.
func (d *desk) team(b *testing.B) string {
	at := "/compare?"
	for rider := range 8 {
		for day := range 3 {
			sc := simulate.Demo()[day%2]
			sc.Seed, sc.Duration, sc.GPSRate, sc.IMURate = uint64(10*rider+day), 900, 1, 50
			sc.Start = time.Date(2026, 12, 1+day, 8+rider, 0, 0, 0, time.UTC)
			sc.Gear.Name, sc.Gear.Title = fmt.Sprintf("racer %d", rider), ""
			s := simulate.Run(sc)
			var gpx, csv bytes.Buffer
			if err := errors.Join(write.GPX(&gpx, s.GPSLog), write.CSV(&csv, s.IMULog)); err != nil {
				b.Fatal(err)
			}
			o := outing{gpx.Bytes(), csv.Bytes(), s.SetupTOML(s.FeelNotes([]float64{6.5, 8.5, 10.5}, 0.04))}
			at += "id=" + strings.TrimPrefix(d.added(o.pieces()...), "/session/") + "&"
		}
	}
	d.quiet()
	had := d.laters()
	d.must(at)
	if n := d.laters() - had; n != 0 || had == 0 {
		b.Errorf("%d pieces of the comparison were not foreseen, %d were", n, had)
	}
	return at
}

// laters counts what is kept of sessions beside each other.
func (d *desk) laters() (n int) {
	d.site.laters.forget(func(*analysis.Later) bool { n++; return false })
	return n
}

// quiet waits until there has been nothing to do for a second.
func (d *desk) quiet() {
	for n := 0; n < 20; n++ {
		time.Sleep(50 * time.Millisecond)
		if d.site.queue.size()+len(d.site.queue.slots) > 0 {
			n = 0
		}
	}
}

// processorTime is what this process has used.
func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkLibrary measures what a user waits for in a library of 5,000 sessions.
// p95-ms is what counts: under 50, where nobody else uses the machine; cpu-ms/op
// tells of it where others do.
func BenchmarkLibrary(b *testing.B) {
	dir := b.TempDir()
	bigLibrary(b, dir)
	times := func(name string, most int, do func(i int)) {
		b.Run(name, func(b *testing.B) {
			var took []float64
			begin := processorTime()
			for i := 0; b.Loop(); i++ {
				if i >= most {
					continue // longer loops would fill the disk
				}
				began := time.Now()
				do(i)
				took = append(took, time.Since(began).Seconds()*1e3)
			}
			slices.Sort(took)
			b.ReportMetric(took[len(took)/2], "p50-ms")
			b.ReportMetric(took[len(took)*95/100], "p95-ms")
			b.ReportMetric((processorTime()-begin).Seconds()*1e3/float64(len(took)), "cpu-ms/op")
		})
	}
	times("open", 20, func(int) {
		st, err := openStore(dir, "test", false, b.Logf)
		if err != nil || len(st.sessions()) != loadSessions {
			b.Fatal(err)
		}
		st.close()
	})
	d := open(b, Config{Dir: dir})
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	get := func(path, says string) {
		if status, body := d.get(path); status != http.StatusOK || !strings.Contains(body, says) {
			b.Fatalf("%s: status %d\n%.2000s", path, status, body)
		}
	}
	times("list", 1000, func(i int) { get(fmt.Sprintf("/?page=%d", 1+i%100), "5,0") })
	times("search", 1000, func(i int) { get(fmt.Sprintf("/?q=rider+%d+outing", i%50), "session") })
	times("rider", 1000, func(i int) { get(fmt.Sprintf("/?rider=rider+%d", i%50), "100 sessions") })
	times("riders", 1000, func(int) { get("/riders", "rider 49") })
	times("addform", 1000, func(int) { get("/add", "logs") })
	times("add", 300, func(i int) { d.added(piece{"logs", "watch.gpx", track(loadSessions + 1 + i)}) })
	var at []string
	for _, o := range outings() {
		at = append(at, d.added(o.pieces()...))
		d.must(at[len(at)-1])
	}
	both := "/compare?id=" + strings.TrimPrefix(at[0], "/session/") + "&id=" + strings.TrimPrefix(at[1], "/session/")
	d.must(both)
	d.settled()
	times("sheet", 1000, func(int) { get(at[1], "What to do next") })
	times("more", 1000, func(int) { get(at[1]+"/more", "as evidence") })
	times("compare", 1000, func(int) { get(both, "Two sessions compared") })
	team := d.team(b)
	// Anew: no page of it is kept. First: nor what its sessions tell beside each other.
	for _, c := range []struct{ name, at, says string }{{"pair", both, "Two sessions compared"}, {"team", team, "Eight athletes side by side"}} {
		anew := func(int) {
			d.site.pages.forget(func(p *kept) bool { return len(p.ids) > 1 && p.moments == nil })
			get(c.at, c.says)
		}
		times(c.name+"anew", 200, anew)
		times(c.name+"first", 20, func(i int) {
			d.site.laters.forget(func(*analysis.Later) bool { return true })
			anew(i)
		})
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.Logf("%d MB in use before, %d MB after", before.HeapAlloc>>20, after.HeapAlloc>>20)
}
