// Package opendata opens the open data beside the checkout, for tests alone.
//
// It imports nothing of this module.
package opendata

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Path is where the file of that name below ../shared/data lies. Without the
// folder the test is skipped; where it lies there, EVENFOOT_CI=1 makes a file
// that is missing a failure.
func Path(t testing.TB, name string) string {
	t.Helper()
	root, err := filepath.Abs(".")
	for err == nil {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil || root == filepath.Dir(root) {
			break
		}
		root = filepath.Dir(root)
	}
	dir := filepath.Join(filepath.Dir(root), "shared", "data")
	path := filepath.Join(dir, filepath.FromSlash(name))
	if _, err := os.Stat(dir); err != nil {
		t.Skip("there is no folder ../shared/data with the open data beside the checkout")
	}
	if _, err := os.Stat(path); err != nil && os.Getenv("EVENFOOT_CI") == "1" {
		t.Fatalf("../shared/data lacks %s", name)
	} else if err != nil {
		t.Skipf("../shared/data lacks %s", name)
	}
	return path
}

// Table reads a packed CSV: its columns by name, NaN where a cell is empty.
func Table(t testing.TB, name string) map[string][]float64 {
	t.Helper()
	f, err := os.Open(Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows := csv.NewReader(z)
	head, err := rows.Read()
	if err != nil {
		t.Fatal(err)
	}
	rows.ReuseRecord = true
	columns := make([][]float64, len(head))
	for i := 2; ; i++ {
		row, err := rows.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for k, cell := range row {
			v := math.NaN()
			if cell != "" {
				if v, err = strconv.ParseFloat(cell, 64); err != nil {
					t.Fatalf("%s, row %d: %v", name, i, err)
				}
			}
			columns[k] = append(columns[k], v)
		}
	}
	out := map[string][]float64{}
	for k, name := range head {
		out[name] = columns[k]
	}
	return out
}

// Axes are the named columns as a sensor's three axes.
func Axes(table map[string][]float64, names ...string) (out [3][]float32) {
	for k, name := range names {
		for _, v := range table[name] {
			out[k] = append(out[k], float32(v))
		}
	}
	return out
}
