package ingest

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// TestContent: neither name nor packing makes another log.
func TestContent(t *testing.T) {
	dir := t.TempDir()
	text := []byte("time_s,ax_g,ay_g,az_g\n0,0,0,1\n")
	z := gz(t, text)
	seen := map[string]string{}
	for name, b := range map[string][]byte{"a.csv": text, "b.txt": text, "c.csv.gz": z, "other.csv": append(text, '#'), "cut.gz": z[:len(z)-3]} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		h, err := Content(path)
		if err != nil || len(h) != 64 {
			t.Errorf("%s: %q, %v", name, h, err)
		}
		seen[name] = h
	}
	if seen["a.csv"] != seen["b.txt"] || seen["a.csv"] != seen["c.csv.gz"] {
		t.Error("the same log is told apart from itself")
	}
	if seen["a.csv"] == seen["other.csv"] || seen["a.csv"] == seen["cut.gz"] {
		t.Error("another log is taken for the same")
	}
}

// TestValuesBound: a small packed file cannot fill the memory, as whatever kind
// it comes.
func TestValuesBound(t *testing.T) {
	const most = 1_000_000
	csv := gzRepeat(t, "time_s,ax_g,ay_g,az_g\n", "1,0,0,1\n", 2*most)
	gpx := gzRepeat(t, `<gpx version="1.1"><trk><trkseg>`, `<trkpt lat="1" lon="1"><time>2026-01-01T00:00:00Z</time></trkpt>`, most/2)
	fit := gzRepeat(t, "\x0e\x10\x00\x00\xff\xff\xff\x7f.FIT\x00\x00", "\x00\x01", 3*most)
	for name, packed := range map[string][]byte{"trap.csv.gz": csv, "trap.gpx.gz": gpx, "trap.fit.gz": fit} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, packed, 0o600); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Open(path, Options{MaxValues: most})
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), name+": holds more than 1 million values") {
			t.Errorf("%s: %v", name, err)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 100*most {
			t.Errorf("%s: %d bytes were used for %d values", name, used, most)
		}
	}
}
