package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestExportKeepsOffTheScreen: every sample on a terminal helps nobody; a name,
// or the wish for it in so many words, does.
func TestExportKeepsOffTheScreen(t *testing.T) {
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil || !isTerminal(screen) {
		t.Skipf("there is no terminal to write to: %v", err)
	}
	defer screen.Close()
	dir := t.TempDir()
	log := filepath.Join(dir, "log.csv")
	text := "time_s,ax_mps2,ay_mps2,az_mps2\n0,0,0,9.8\n0.01,0,0,9.8\n0.02,0,0,9.8\n"
	if err := os.WriteFile(log, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		status int
	}{
		{[]string{"export", log}, exitUsage},
		{[]string{"export", log, "--out", "-"}, exitDone},
		{[]string{"export", log, "--out", filepath.Join(dir, "samples.csv")}, exitDone},
	} {
		var stderr bytes.Buffer
		status := run(c.args, nil, screen, &stderr)
		if status != c.status || (status == exitUsage) != strings.Contains(stderr.String(), "--out samples.csv") {
			t.Errorf("%q: status %d, %s", c.args, status, stderr.String())
		}
	}
}
