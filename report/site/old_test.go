package site

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

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
			if two.Title != "A title" || two.Rider != "Odalys" || two.Speeds != (speeds{5, 7}) || two.Start.Hour() != 11 || two.Added.Unix() != 1000 || two.Version != 2 || string(two.Setup) != outings()[0].setup || two.known == nil || two.Files[0].Name != "watch.gpx" {
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
