// Package opendata opens the open data beside the checkout, for tests alone.
//
// It imports nothing of this module.
package opendata

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
)

// Path is where the file of that name below ../shared/data lies. Without the
// folder the test is skipped; where it lies there, EVENFOOT_CI=1 makes a file
// that is missing a failure.
func Path(t testing.TB, name string) string {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	dir := filepath.Join(filepath.Dir(here), "../../../shared/data")
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
	var rows [][]string
	z, err := gzip.NewReader(f)
	if err == nil {
		rows, err = csv.NewReader(z).ReadAll()
	}
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for i, row := range rows[1:] {
		for k, cell := range row {
			v := math.NaN()
			if cell != "" {
				if v, err = strconv.ParseFloat(cell, 64); err != nil {
					t.Fatalf("%s, row %d: %v", name, i+2, err)
				}
			}
			out[rows[0][k]] = append(out[rows[0][k]], v)
		}
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
