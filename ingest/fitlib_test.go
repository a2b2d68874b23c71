package ingest_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"evenfoot/ingest"

	tormoder "github.com/tormoder/fit"
)

// skip skips, or fails where EVENFOOT_CI=1 says that nothing may be skipped.
func skip(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv("EVENFOOT_CI") == "1" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

// moduleDir returns where a module's files are.
func moduleDir(t testing.TB, path string) string {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", path).Output()
	dir := strings.TrimSpace(string(out))
	if err != nil || dir == "" {
		skip(t, "the files of module %s are not here: %v", path, err)
	}
	return dir
}

// testFiles returns the files of a module with an extension.
func testFiles(t testing.TB, module, ext string) []string {
	var files []string
	err := filepath.Walk(moduleDir(t, module), func(p string, _ os.FileInfo, err error) error {
		if strings.EqualFold(filepath.Ext(p), ext) {
			files = append(files, p)
		}
		return err
	})
	if err != nil || len(files) == 0 {
		skip(t, "module %s has no %s files: %v", module, ext, err)
	}
	return files
}

// A fix is one record for comparison.
type fix struct {
	unix     int64
	lat, lon int32 // semicircles
	speed    int64 // mm/s, -1 when unknown
}

func (f fix) String() string {
	return fmt.Sprintf("%d (%d, %d) %d mm/s", f.unix, f.lat, f.lon, f.speed)
}

// fixesOf gives a log's fixes, and what they were in the file.
func fixesOf(l *ingest.Log) []fix {
	var out []fix
	for i, at := range l.GPS.Time {
		f := fix{unix: l.Start.Unix() + int64(math.Floor(at)), lat: math.MaxInt32, lon: math.MaxInt32, speed: -1}
		if l.Start.IsZero() {
			f.unix = int64(at)
		}
		if !math.IsNaN(l.GPS.Lat[i]) {
			f.lat = int32(math.Round(l.GPS.Lat[i] / 180 * (1 << 31)))
			f.lon = int32(math.Round(l.GPS.Lon[i] / 180 * (1 << 31)))
		}
		if s := float64(l.GPS.Speed[i]); !math.IsNaN(s) {
			f.speed = int64(math.Round(s * 1000))
		}
		out = append(out, f)
	}
	return out
}

// compareFixes holds our fixes against a library's, which may have stopped
// early. The library's list has records without position and speed too, and
// 0, 0 for us is no position.
func compareFixes(t *testing.T, l *ingest.Log, lib []fix, stopped bool) {
	t.Helper()
	var want []fix
	for _, f := range lib {
		if f.lat == 0 && f.lon == 0 || f.lat == math.MaxInt32 || f.lon == math.MaxInt32 {
			f.lat, f.lon = math.MaxInt32, math.MaxInt32
		}
		if f.lat != math.MaxInt32 || f.speed >= 0 {
			want = append(want, f)
		}
	}
	got := fixesOf(l)
	if len(got) < len(want) || len(got) > len(want) && !stopped {
		t.Errorf("got %d fixes, the library %d", len(got), len(want))
	}
	if len(want) > 0 && len(got) == len(want) && l.Start.IsZero() { // no date: compare from the first
		for i, zero, ours := len(want)-1, want[0].unix, got[0].unix; i >= 0; i-- {
			want[i].unix -= zero
			got[i].unix -= ours
		}
	}
	bad := 0
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			if bad++; bad < 5 {
				t.Errorf("fix %d: got %v, the library %v", i, got[i], want[i])
			}
		}
	}
}

func TestFITAgainstTormoder(t *testing.T) {
	files := testFiles(t, "github.com/tormoder/fit", ".fit")
	compared, total := 0, 0
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		lib, err := tormoderFixes(data)
		if len(lib) == 0 {
			continue
		}
		if filepath.Base(path) == "compressed-speed-distance.fit" {
			continue // it takes the compressed field's cm/s for mm/s: 0.354 m/s for 3.54
		}
		stopped := err != nil
		t.Run(filepath.Base(path), func(t *testing.T) {
			l, err := ingest.ReadFIT(data)
			if err != nil {
				l = &ingest.Log{}
			}
			compareFixes(t, l, lib, stopped)
			compared++
			total += len(lib)
		})
	}
	t.Logf("%d files of %d compared, %d records", compared, len(files), total)
}

// tormoderFixes reads the records of a chain of activities with tormoder/fit,
// which gives what it has even when it fails.
func tormoderFixes(data []byte) ([]fix, error) {
	files, err := tormoder.DecodeChained(bytes.NewReader(data))
	if len(files) == 0 {
		var f *tormoder.File
		if f, err = tormoder.Decode(bytes.NewReader(data)); f != nil {
			files = append(files, f)
		}
	}
	var out []fix
	for _, f := range files {
		a, err := f.Activity()
		if err != nil {
			continue
		}
		for _, r := range a.Records {
			x := fix{unix: r.Timestamp.Unix(), lat: r.PositionLat.Semicircles(), lon: r.PositionLong.Semicircles(), speed: -1}
			if r.PositionLat.Invalid() || r.PositionLong.Invalid() {
				x.lat, x.lon = math.MaxInt32, math.MaxInt32
			}
			if r.Timestamp.IsZero() || tormoder.IsBaseTime(r.Timestamp) {
				continue
			}
			if r.EnhancedSpeed != math.MaxUint32 {
				x.speed = int64(r.EnhancedSpeed)
			} else if r.Speed != math.MaxUint16 {
				x.speed = int64(r.Speed)
			}
			out = append(out, x)
		}
	}
	return out, err
}
