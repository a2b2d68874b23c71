package site

import (
	"archive/zip"
	"database/sql"
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
	l, err := readLogs([]source{{in.stored, in.at}}, 0, nil)
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

// oldSchema is that of the last evenfoot whose library was a database.
const oldSchema = `
CREATE TABLE session (id INTEGER PRIMARY KEY AUTOINCREMENT, added INTEGER NOT NULL, start INTEGER, speeds TEXT NOT NULL DEFAULT '', title TEXT NOT NULL, rider TEXT NOT NULL, inputs TEXT NOT NULL);
CREATE TABLE summary (inputs TEXT PRIMARY KEY, body TEXT NOT NULL);
CREATE TABLE file (session INTEGER NOT NULL REFERENCES session ON DELETE CASCADE, n INTEGER NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, hash TEXT NOT NULL, size INTEGER NOT NULL, content TEXT NOT NULL DEFAULT '', PRIMARY KEY (session, n));
CREATE INDEX file_hash ON file (hash);
CREATE TABLE setup (session INTEGER NOT NULL REFERENCES session ON DELETE CASCADE, version INTEGER NOT NULL, added INTEGER NOT NULL, name TEXT NOT NULL, body BLOB NOT NULL, PRIMARY KEY (session, version));
CREATE TABLE refused (id INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, names TEXT NOT NULL, reason TEXT NOT NULL);
CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL);
PRAGMA user_version = 3;`

// oldLibrary writes one: session 2 with a setup that was corrected, 3 of the same
// watch's log with one more, 5 deleted, and a file that no session has.
func oldLibrary(t *testing.T, schema int) (dir string) {
	t.Helper()
	dir = t.TempDir()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, oldIndex))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	do := func(statement string, args ...any) {
		t.Helper()
		if _, err := db.Exec(statement, args...); err != nil {
			t.Fatal(err)
		}
	}
	do(oldSchema)
	put := func(text string) (string, int) {
		h := hash([]byte(text))
		path := filepath.Join(dir, oldFiles, h[:2], h)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
		return h, len(text)
	}
	setup := outings()[0].setup
	do("INSERT INTO session VALUES (2, 1000, ?, '5:7', 'A title', 'Odalys', 'x')", time.Date(2026, 5, 1, 11, 0, 0, 0, time.UTC).Unix())
	do("INSERT INTO session VALUES (3, 2000, NULL, '', 'watch', '', 'y')")
	do("INSERT INTO session VALUES (5, 3000, NULL, '', 'z', '', 'z'); DELETE FROM session WHERE id = 5")
	h, n := put(track(1))
	do("INSERT INTO file VALUES (2, 0, 'log', 'watch.gpx', ?1, ?2, ?1), (3, 0, 'log', 'watch.gpx', ?1, ?2, ?1)", h, n)
	h, n = put(track(2))
	do("INSERT INTO file VALUES (3, 1, 'log', 'watch.gpx', ?1, ?2, ?1)", h, n)
	put(track(9))
	do("INSERT INTO setup VALUES (2, 1, 1000, 'first.toml', ?), (2, 2, 1500, 'setup.toml', ?), (3, 1, 1600, 'setup.toml', ?), (3, 2, 1700, 'setup.toml', '')", "first", setup, "of 3")
	do("INSERT INTO setting VALUES ('units', 'mph,cm,kg'), ('key', 'secret')")
	switch schema {
	case 1:
		do("CREATE TABLE page (key TEXT PRIMARY KEY); CREATE TABLE page_of (key TEXT NOT NULL REFERENCES page ON DELETE CASCADE); INSERT INTO page VALUES ('x')")
		fallthrough
	case 2:
		do("ALTER TABLE file DROP COLUMN content")
	}
	do(fmt.Sprintf("PRAGMA user_version = %d", schema))
	return dir
}

// TestOldLibrary: a library of each schema that was a database becomes folders,
// once, and stays as it was under old/; cut off, it goes on.
func TestOldLibrary(t *testing.T) {
	t.Parallel()
	for schema := 1; schema <= 3; schema++ {
		dir := oldLibrary(t, schema)
		if schema == 3 { // cut off after the first session, long ago
			sh := openShelf(t, dir)
			if err := os.RemoveAll(filepath.Join(dir, "sessions", "3")); err != nil {
				t.Fatal(err)
			}
			sh.close()
			for _, name := range []string{oldIndex, oldFiles} {
				if err := os.Rename(filepath.Join(dir, oldAside, name), filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
		}
		for again := range 2 {
			sh := openShelf(t, dir)
			two, err := sh.session(2)
			three, err2 := sh.session(3)
			if err != nil || err2 != nil || len(sh.sessions()) != 2 {
				t.Fatalf("schema %d: %v, %v, %d sessions", schema, err, err2, len(sh.sessions()))
			}
			if two.Title != "A title" || two.Rider != "Odalys" || two.Speeds != "5:7" || two.Start.Hour() != 11 || two.Added.Unix() != 1000 || two.Version != 2 || string(two.Setup) != outings()[0].setup || two.known == nil || two.Files[0].Name != "watch.gpx" {
				t.Errorf("schema %d: session 2 is %+v", schema, two)
			}
			if b, err := two.textOf(two.Setups[1]); err != nil || string(b) != "first" || two.Setups[1].Name != "first.toml" {
				t.Errorf("schema %d: the first setup is %q, %v", schema, b, err)
			}
			if three.Setup != nil || three.Version != 2 || len(three.Files) != 2 || three.Files[1].At != "watch-2.gpx" || !two.sharesLog(three) {
				t.Errorf("schema %d: session 3 is %+v", schema, three)
			}
			if log, err := readLogs(three.sources(), 0, nil); err != nil || len(log.GPS.Time) != 20 {
				t.Errorf("schema %d: the logs of session 3: %v", schema, err)
			}
			if sh.setting("units") != "mph,cm,kg" || sh.setting("key") != "secret" || sh.nextID() != 6 {
				t.Errorf("schema %d: units %q, key %q, the next number is %d", schema, sh.setting("units"), sh.setting("key"), sh.nextID())
			}
			if (len(sh.said) == 1) != (again == 0) {
				t.Errorf("schema %d, opened %d times: it says %q", schema, again+1, sh.said)
			}
			sh.close()
		}
		aside := "old"
		if schema == 3 {
			aside = "old-2"
		}
		if n := fileCount(t, filepath.Join(dir, aside)); n != 4 {
			t.Errorf("schema %d: %d files are left of the old library, want all 4", schema, n)
		}
	}
}

// TestOldLibraryRead: to read the library of an earlier evenfoot changes nothing.
func TestOldLibraryRead(t *testing.T) {
	dir := oldLibrary(t, 3)
	n := fileCount(t, dir)
	if _, err := OpenLibrary(dir, "test", true, t.Logf); err == nil || !strings.Contains(err.Error(), "of an earlier evenfoot; serve takes it over") {
		t.Errorf("it says %v", err)
	}
	if got := fileCount(t, dir); got != n {
		t.Errorf("%d files are there, of %d", got, n)
	}
	if err := errors.Join(os.Mkdir(filepath.Join(dir, "sessions"), 0o700), os.Remove(filepath.Join(dir, oldIndex)), os.WriteFile(filepath.Join(dir, "incoming"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenLibrary(dir, "test", false, t.Logf); err == nil || strings.Contains(err.Error(), "earlier") {
		t.Errorf("of a new library that cannot be written it says %v", err)
	}
}

// TestDamagedOldLibrary: of an index that cannot be read, wholly or in part, no
// log is lost.
func TestDamagedOldLibrary(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		damage func(b []byte) []byte
	}{
		{"overwritten", func([]byte) []byte {
			return []byte("this is no database at all, and never was one, however long it is")
		}},
		{"emptied", func([]byte) []byte { return nil }},
		{"cut", func(b []byte) []byte { return b[:3*4096] }},
		{"pages overwritten", func(b []byte) []byte { copy(b[4096:], make([]byte, len(b)-4096)); return b }},
	} {
		dir := oldLibrary(t, 3)
		index := filepath.Join(dir, oldIndex)
		b, err := os.ReadFile(index)
		if err != nil {
			t.Fatal(err)
		}
		before := c.damage(b)
		if err := os.WriteFile(index, before, 0o600); err != nil {
			t.Fatal(err)
		}
		for again := range 2 {
			sh := openShelf(t, dir)
			found := map[string]bool{}
			for _, s := range sh.sessions() {
				for _, h := range s.logs() {
					found[h] = true
				}
				if log, err := readLogs(s.sources(), 0, nil); err != nil || log == nil {
					t.Errorf("%s: session %d: %v", c.name, s.ID, err)
				}
			}
			for _, n := range []int{1, 2, 9} {
				if !found[hash([]byte(track(n)))] {
					t.Errorf("%s: log %d is lost", c.name, n)
				}
			}
			if said := strings.Join(sh.said, "\n"); strings.Contains(said, "is damaged") != (again == 0) {
				t.Errorf("%s, opened %d times: it says %q", c.name, again+1, said)
			}
			sh.close()
		}
		if after, err := os.ReadFile(filepath.Join(dir, oldAside, oldIndex)); err != nil || string(after) != string(before) {
			t.Errorf("%s: the index was changed, %v", c.name, err)
		}
	}
}
