package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestNotAsNamed: what is no log is refused as what its name promised, and no
// bytes of it are shown.
func TestNotAsNamed(t *testing.T) {
	t.Parallel()
	for _, x := range []struct{ name, text, want string }{
		{"diary.gpx", "Dear diary, today the wind was fine.\n", "is not a GPX file"},
		{"junk.fit", "\x8f\x03\xfe,\x01\xab\xcdZ;q\n\x99", "is not a FIT file"},
		{"junk.csv", "\x8f\x03\xfe,\x01\xab\xcdZ;q\n\x99", "is a binary file"},
		{"diary.csv", "Dear diary, today the wind was fine.\n", "olumn"},
		{"setup.toml", "title = \"Friday\"\n[rider]\nmass_kg = 80\n", "is a setup or a column map"},
	} {
		path := filepath.Join(t.TempDir(), x.name)
		if err := os.WriteFile(path, []byte(x.text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Open(path, Options{})
		if err == nil || !strings.Contains(err.Error(), x.want) || strings.Contains(err.Error(), "Z;q") {
			t.Errorf("%s: %v", x.name, err)
		}
	}
}
