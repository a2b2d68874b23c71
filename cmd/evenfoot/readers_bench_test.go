package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"

	"github.com/tkrajina/gpxgo/gpx"
	tormoder "github.com/tormoder/fit"
)

// readersOfFiles are what a process of BenchmarkProcess does with a file.
var readersOfFiles = map[string]func(path string) error{
	"tormoder-no-imu": func(path string) error {
		f, err := os.Open(path)
		if err == nil {
			_, err = tormoder.Decode(f)
		}
		return err
	},
	"gpxgo": func(path string) error {
		_, err := gpx.ParseFile(path)
		return err
	},
	"encoding-csv": func(path string) error { // rows alone, no number read
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		r := csv.NewReader(f)
		r.ReuseRecord = true
		r.Comment = '#'
		for err == nil {
			_, err = r.Read()
		}
		if err == io.EOF {
			err = nil
		}
		return err
	},
}

// TestReadOnce is a process of BenchmarkProcess; alone it does nothing.
func TestReadOnce(t *testing.T) {
	args := processArgs(t)
	if args[0] == "evenfoot" {
		_, errs := ingest.OpenAll(args[1:], ingest.Options{})
		if err := errors.Join(errs...); err != nil {
			t.Fatal(err)
		}
		return
	}
	for _, path := range args[1:] {
		if err := readersOfFiles[args[0]](path); err != nil {
			t.Fatal(err)
		}
	}
}

// BenchmarkProcess reads the files of a two-hour session, each in a process of
// its own, beside the libraries: wall and processor time of a cold start, and
// peak memory. The test binary itself is in all of the figures.
func BenchmarkProcess(b *testing.B) {
	dir := b.TempDir()
	file := func(name string, fill func(io.Writer, *ingest.Log) error, l *ingest.Log) string {
		var w bytes.Buffer
		if err := fill(&w, l); err != nil {
			b.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, w.Bytes(), 0o600); err != nil {
			b.Fatal(err)
		}
		return path
	}
	two := simulate.Demo()[1]
	two.Duration, two.GPSRate = 7200, 1
	session := simulate.Run(two).Log
	two.GPSRate = 10
	track := simulate.Run(two).GPSLog
	for _, c := range []struct {
		path string
		by   []string
	}{
		{file("two-hours.fit", write.FIT, session), []string{"evenfoot", "tormoder-no-imu"}},
		{file("two-hours.gpx", func(w io.Writer, l *ingest.Log) error { return write.GPX(w, l) }, track), []string{"evenfoot", "gpxgo"}},
		{file("two-hours.csv", write.CSV, session), []string{"evenfoot", "encoding-csv"}},
	} {
		for _, by := range c.by {
			b.Run(filepath.Ext(c.path)[1:]+"/"+by, func(b *testing.B) {
				processBench(b, "TestReadOnce", by, c.path)
			})
		}
	}
}
