package main

import (
	"bytes"
	"io/fs"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestForeignFiles gives every GPX and FIT file that two public modules
// carry in their test data to the whole program: a report or a clear refusal,
// never a panic and never half a page.
func TestForeignFiles(t *testing.T) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}",
		"github.com/tkrajina/gpxgo", "github.com/tormoder/fit").Output()
	if err != nil {
		t.Fatal("the modules' folders cannot be found; run `go mod download`: ", err)
	}
	reports, refusals := 0, 0
	for dir := range strings.FieldsSeq(string(out)) {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			if ext := strings.ToLower(filepath.Ext(path)); ext != ".gpx" && ext != ".fit" {
				return nil
			}
			page := filepath.Join(t.TempDir(), "page.html")
			var stdout, stderr bytes.Buffer
			status := run([]string{"report", path, "--out", page}, nil, &stdout, &stderr)
			pages, err := filepath.Glob(page)
			switch {
			case err != nil:
				return err
			case status == exitDone && len(pages) == 1 && stdout.Len() > 0:
				reports++
			case status == exitWork && len(pages) == 0 && strings.HasPrefix(lastLine(stderr.String()), "evenfoot: "):
				refusals++
			default:
				t.Errorf("%s: status %d, %d pages\n%s", path, status, len(pages), stderr.String())
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d reports, %d refusals", reports, refusals)
	if reports < 10 {
		t.Errorf("only %d of the modules' files gave a report", reports)
	}
}

// lastLine is the last line of an answer, taken together where it is wrapped.
func lastLine(s string) string {
	lines := strings.Split(strings.ReplaceAll(strings.TrimSpace(s), "\n  ", " "), "\n")
	return lines[len(lines)-1]
}
