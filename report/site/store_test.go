package site

import (
	"archive/zip"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/ingest"
)

// A tested is a store under test, and what it said.
type tested struct {
	*store
	said []string
}

func openShelf(t *testing.T, dir string) *tested {
	t.Helper()
	sh := &tested{}
	st, err := openStore(dir, "test", false, func(f string, a ...any) { sh.said = append(sh.said, fmt.Sprintf(f, a...)) })
	if err != nil {
		t.Fatal(err)
	}
	sh.store = st
	t.Cleanup(func() { st.close() })
	return sh
}

// track is a log of ten fixes that differs from all others by n.
func track(n int) string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
	for i := range 10 {
		at := time.Date(2026, 5, 1, 10, 0, i, 0, time.UTC).Add(time.Duration(n) * time.Minute)
		fmt.Fprintf(&b, `<trkpt lat="%.6f" lon="8.0"><time>%s</time></trkpt>`, 54+float64(i)*5e-5, at.Format(time.RFC3339))
	}
	b.WriteString(`</trkseg></trk></gpx>`)
	return b.String()
}

// put adds a session with one log and a setup, as an upload does.
func (sh *tested) put(log, text string) (*session, error) {
	in, err := sh.receive("watch.gpx", kindLog, strings.NewReader(log))
	if err != nil {
		return nil, err
	}
	defer sh.discard([]*incoming{in})
	ses := &session{Added: time.Now().UTC().Truncate(time.Second), Files: []stored{in.stored}, Name: "mine.toml"}
	if text != "" {
		ses.Setup = []byte(text)
	}
	set, _, err := ses.parseSetup()
	if err != nil {
		return nil, err
	}
	l, err := readLogs([]source{in.source}, 0, nil)
	if err != nil {
		return nil, err
	}
	ses.describe(set, l)
	id, _, err := sh.add(ses, []*incoming{in})
	if err != nil {
		return nil, err
	}
	return sh.session(id)
}

// revised gives a session another setup, as a form does.
func (sh *tested) revised(id int64, text string) error {
	ses, err := sh.session(id)
	if err != nil {
		return err
	}
	base := ses.Version
	ses.Setup, ses.Name = []byte(text), ingest.SetupName
	if text == "" {
		ses.Setup = nil
	}
	set, _, err := ses.parseSetup()
	if err != nil {
		return err
	}
	ses.describe(set, nil)
	return sh.correct(ses, base)
}

// titled is a setup that a number tells from others.
func titled(t *testing.T, n int) string {
	t.Helper()
	text, err := setup.Template("wing")
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("title = \"title %d\"\n%s", n, strings.Replace(text, "title =", "# title =", 1))
}

// TestReopened: what was acknowledged is there again, whatever befell the
// sidecar; nothing is dropped, and what is odd is told.
func TestReopened(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	sh := openShelf(t, dir)
	setup := outings()[0].setup
	ses, err := sh.put(track(1), setup)
	if err != nil {
		t.Fatal(err)
	}
	lighter := strings.Replace(setup, "mass_kg = 72", "mass_kg = 60", 1)
	if err := errors.Join(sh.revised(ses.ID, lighter), sh.revised(ses.ID, ""), sh.revised(ses.ID, setup)); err != nil {
		t.Fatal(err)
	}
	was, err := sh.session(ses.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := sh.summarise(was, &summary{Foiling: 7, Made: "test"}); err != nil {
		t.Fatal(err)
	}
	sh.close()
	side, text := filepath.Join(dir, "sessions", "1", sidecarName), filepath.Join(dir, "sessions", "1", ingest.SetupName)
	whole, err := os.ReadFile(side)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name            string
		side            string // what the sidecar is; "-" for none
		setup           string // what setup.toml is
		says            string
		version         int
		mass            float64
		summary, labels bool
	}{
		{"untouched", string(whole), setup, "", 4, 72, true, true},
		{"no sidecar", "-", setup, "no .evenfoot.json", 4, 72, false, false},
		{"cut sidecar", string(whole[:len(whole)/2]), setup, "damaged", 4, 72, false, false},
		{"empty sidecar", "", setup, "damaged", 4, 72, false, false},
		{"a sidecar that names a path", strings.Replace(string(whole), `"at": "watch.gpx"`, `"at": "../watch.gpx"`, 1), setup, "damaged", 4, 72, false, false},
		{"another setup", string(whole), lighter, "", 5, 60, false, true},
		{"a setup of no sense", string(whole), "x = ", "setup cannot be used", 5, 0, false, true},
	} {
		if err := os.WriteFile(text, []byte(c.setup), 0o600); err != nil {
			t.Fatal(err)
		}
		if c.side == "-" {
			err = os.Remove(side)
		} else {
			err = os.WriteFile(side, []byte(c.side), 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		for again := range 2 { // what was mended stays so
			sh := openShelf(t, dir)
			if n := len(sh.sessions()); n != 1 {
				t.Fatalf("%s: %d sessions", c.name, n)
			}
			now, err := sh.session(1)
			if err != nil {
				t.Fatal(err)
			}
			if said := strings.Join(sh.said, "\n"); (c.says == "" || again == 1) != (said == "") || again == 0 && !strings.Contains(said, c.says) {
				t.Errorf("%s: it says %q", c.name, said)
			}
			// The number of a version that only a file's name tells is one lower where
			// the last was taken away.
			if d := c.version - now.Version; d != 0 && (c.labels || d > 1) || string(now.Setup) != c.setup || !now.Start.Equal(was.Start) || len(now.Files) != 1 || now.Files[0].Content != was.Files[0].Content || now.Rider != was.Rider {
				t.Errorf("%s: it is %+v", c.name, now)
			}
			if (now.known != nil) != (c.mass > 0) || now.known != nil && now.known.Rider.Mass != c.mass {
				t.Errorf("%s: the rider's mass is another", c.name)
			}
			if c.labels && now.Inputs == was.Inputs != c.summary {
				t.Errorf("%s: the inputs tell another story", c.name)
			}
			if b, err := now.textOf(setupVersion{Version: 1, Hash: "x"}); err != nil || string(b) != setup {
				t.Errorf("%s: the first setup, %v", c.name, err)
			}
			sh.close()
		}
	}
}

// TestFolderByHand: a session's folder that was put into the library by hand is a
// session; one without a log stays, and is told of.
func TestFolderByHand(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"of mine/a.gpx": track(1), "7/b.gpx": track(2), "007/c.gpx": track(3), "empty/readme": "x"} {
		path := filepath.Join(dir, "sessions", filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	for i, want := range []int{6, 1} { // things said: of 3 no sidecar, 2 a number, 1 left alone; then the last
		sh := openShelf(t, dir)
		var ids []int64
		for _, s := range sh.sessions() {
			ids = append(ids, s.ID)
		}
		if fmt.Sprint(ids) != "[8 7 9]" && fmt.Sprint(ids) != "[9 7 8]" || len(sh.said) != want {
			t.Errorf("opened %d times: sessions %v, said %q", i+1, ids, sh.said)
		}
		sh.close()
	}
}

// TestLeftAlone: a folder that is no session takes no number from one, and no
// path of the machine is told when a folder cannot have its name.
func TestLeftAlone(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"1/photo.jpg", "3/photo.jpg"} {
		path := filepath.Join(dir, "sessions", filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte("x"), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	sh := openShelf(t, dir)
	for n, want := range []int64{2, 4} {
		if ses, err := sh.put(track(n), ""); err != nil || ses.ID != want {
			t.Fatal(ses, err)
		}
	}
	if err := sh.delete(2); err != nil {
		t.Fatal(err)
	}
	sh.delete(4)
	sh.close()
	sh = openShelf(t, dir)
	if ses, err := sh.put(track(5), ""); err != nil || ses.ID != 5 {
		t.Fatal(ses, err)
	}
	ses, err := sh.session(5)
	if err != nil {
		t.Fatal(err)
	}
	if err := sh.place(ses, 1, map[string]string{ses.Files[0].Hash: ses.at(ses.Files[0])}, os.Link, nil); err == nil || strings.Contains(err.Error(), dir) {
		t.Errorf("a name that is taken: %v", err)
	}
}

// TestBomb: a backup that expands without measure is not unpacked.
func TestBomb(t *testing.T) {
	bomb := filepath.Join(t.TempDir(), "bomb.zip")
	f, err := os.Create(bomb)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(f)
	_, err = z.CreateRaw(&zip.FileHeader{Name: "1/a.csv", Method: zip.Deflate, UncompressedSize64: 3 << 30})
	if err := errors.Join(err, z.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := (&Library{openShelf(t, t.TempDir()).store}).Import(bomb); err == nil || !strings.Contains(err.Error(), "more than 200 times its size") {
		t.Errorf("it says %v", err)
	}
}

// TestOlderLost: a session whose older setup is lost is taken without that one,
// which is told once.
func TestOlderLost(t *testing.T) {
	dir := t.TempDir()
	sh := openShelf(t, dir)
	ses, err := sh.put(track(1), titled(t, 1))
	if err := errors.Join(err, sh.revised(1, titled(t, 2)), os.Remove(ses.oldSetup(1))); err != nil {
		t.Fatal(err)
	}
	l := &Library{openShelf(t, t.TempDir()).store}
	done, err := l.Import(ses.dir)
	if err != nil || len(done) != 1 || done[0].Err != nil || len(done[0].Odd) != 1 {
		t.Fatal(done, err)
	}
	if faults, notes := l.Check(); len(faults)+len(notes) > 0 {
		t.Error(faults, notes)
	}
}

// TestLaidByHand: a log that is laid into a session's folder is of the session, and
// the text of a setup that was written over is not missed.
func TestLaidByHand(t *testing.T) {
	dir := t.TempDir()
	sh := openShelf(t, dir)
	was, err := sh.put(track(1), titled(t, 1))
	if err != nil {
		t.Fatal(err)
	}
	sh.close()
	in := filepath.Join(dir, "sessions", "1")
	for name, text := range map[string]string{"more.gpx": track(2), "more.gpx" + mapEnding: "", "photo.jpg": "x", ingest.SetupName: titled(t, 2)} {
		if err := os.WriteFile(filepath.Join(in, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 2 {
		l, err := OpenLibrary(dir, "test", false, t.Logf)
		if err != nil {
			t.Fatal(err)
		}
		now, err := l.st.session(1)
		if err != nil {
			t.Fatal(err)
		}
		if len(now.Files) != 3 || now.Files[1].Kind != kindLog || now.Files[2].Kind != kindMap || now.Inputs == was.Inputs {
			t.Errorf("its files are %+v", now.Files)
		}
		if len(now.Setups) != 2 || !now.Setups[1].Unkept || now.Title != "title 2" {
			t.Errorf("its setups are %+v", now.Setups)
		}
		faults, notes := l.Check()
		if len(faults) > 0 || len(notes) != 1 {
			t.Errorf("checked, it has %v, %v", faults, notes)
		}
		out := filepath.Join(t.TempDir(), "out")
		if lost, err := l.Export(out); err != nil || len(lost) > 0 {
			t.Fatal(lost, err)
		}
		if _, err := os.Stat(filepath.Join(out, "1", "more.gpx")); err != nil {
			t.Error(err)
		}
		l.Close()
		if i == 0 {
			l, err := OpenLibrary(t.TempDir(), "test", false, t.Logf)
			if err != nil {
				t.Fatal(err)
			}
			if done, err := l.Import(out); err != nil || len(done) != 1 || done[0].Err != nil || len(done[0].Odd) > 0 {
				t.Errorf("imported: %+v, %v", done, err)
			}
			l.Close()
		}
	}
}

// TestNumbers: the number of a deleted session is not given again.
func TestNumbers(t *testing.T) {
	dir := t.TempDir()
	sh := openShelf(t, dir)
	for n := range 3 {
		ses, err := sh.put(track(n), "")
		if err != nil || ses.ID != int64(n+1) {
			t.Fatal(ses, err)
		}
		if err := sh.delete(ses.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := sh.session(ses.ID); !errors.Is(err, errGone) {
			t.Errorf("the deleted session: %v", err)
		}
		sh.close()
		sh = openShelf(t, dir)
	}
}

// TestPlaced: names from outside become names that any file system takes, each
// once, and a column map lies beside its log.
func TestPlaced(t *testing.T) {
	for _, c := range []struct{ came, want string }{
		{"watch.gpx", "watch.gpx"},
		{"a/b:c*?.csv", "a_b_c__.csv"}, {"CON", "logCON"}, {"com1.csv.gz", "logcom1.csv.gz"}, {"...", "log"}, {".evenfoot.json", "evenfoot.json"},
		{"setup.toml", "setup-2.toml"}, {"é ü.csv", "é ü.csv"},
		{"x.csv, X.CSV, x.csv", "x.csv, X-2.CSV, x-3.csv"},
		{"a.csv.gz, b.csv, a.map.toml", "a.csv.gz, b.csv, a.csv.gz.map.toml, b.csv.map.toml"},
		{"a.csv, b.csv, any.map.toml", "a.csv, b.csv, a.csv.map.toml, b.csv.map.toml"},
		{"a.csv, watch.gpx, pasted.map.toml", "a.csv, watch.gpx, a.csv.map.toml"},
		{"watch.gpx, any.map.toml", "watch.gpx, any.map.toml"},
		{strings.Repeat("é", 120) + ".gpx", strings.Repeat("é", 58) + ".gpx"},
	} {
		var files []stored
		for _, name := range strings.Split(c.came, ", ") {
			kind := kindLog
			if strings.HasSuffix(name, mapEnding) {
				kind = kindMap
			}
			files = append(files, stored{Kind: kind, Name: name})
		}
		var got []string
		for _, f := range placed(files) {
			got = append(got, f.At)
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s lies under %s, want %s", c.came, s, c.want)
		}
	}
}

// TestPrivate: nobody else reads the library, or the key in its settings.
func TestPrivate(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("modes are of other systems")
	}
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for range 2 { // made, then found open to all
		sh := openShelf(t, dir)
		if err := sh.set("key", "x"); err != nil {
			t.Fatal(err)
		}
		for name, want := range map[string]os.FileMode{"settings.json": 0o600, "sessions": 0o700, "incoming": 0o700, "lock": 0o600} {
			if i, err := os.Stat(filepath.Join(dir, name)); err != nil || i.Mode().Perm() != want {
				t.Errorf("%s: %v, %v", name, i.Mode(), err)
			}
		}
		sh.close()
		if err := os.Chmod(filepath.Join(dir, "settings.json"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
