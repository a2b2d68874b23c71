package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenfoot/report/page"
)

// TestPageReplacesOnlyAPage: an earlier page is replaced, but no folder that
// holds anything else.
func TestPageReplacesOnlyAPage(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "site")
	files, err := page.Files([]byte("program"), []byte("exec"))
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // new, and over an earlier one
		if err := mayBePage(dir); err != nil {
			t.Fatal(err)
		}
		if err := writeFolder(dir, files); err != nil {
			t.Fatal(err)
		}
	}
	if left, _ := os.ReadDir(parent); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	foreign := filepath.Join(dir, "CNAME")
	if err := os.WriteFile(foreign, []byte("beach.example"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := mayBePage(dir); err == nil || !strings.Contains(err.Error(), "CNAME") {
		t.Errorf("a folder with a foreign file: %v", err)
	}
}
