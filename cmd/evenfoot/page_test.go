package main

import (
	"bytes"
	"compress/gzip"
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

// TestPageIsSmall: a phone on the beach downloads at most 5 MB, each file as a host
// packs it.
func TestPageIsSmall(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("builds the page")
	}
	dir := filepath.Join(t.TempDir(), "page")
	var stdout, stderr bytes.Buffer
	if status := run([]string{"page", "--out", dir}, nil, &stdout, &stderr); status != exitDone {
		t.Fatalf("status %d: %s", status, stderr.String())
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0
	for _, e := range entries {
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := z.Write(text); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		sum += min(len(text), b.Len())
	}
	t.Logf("%.2f MB in %d files", float64(sum)/1e6, len(entries))
	if sum > 5e6 || len(entries) < 10 {
		t.Errorf("%d files are %.2f MB to download", len(entries), float64(sum)/1e6)
	}
}
