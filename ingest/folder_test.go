package ingest

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func TestFolder(t *testing.T) {
	dir := t.TempDir()
	csv := []byte(imuHeader + imuRows(0, 100, 20))
	gpx := []byte(`<?xml version="1.0"?><gpx version="1.1"><trk/></gpx>`)
	fit := append([]byte{14, 0x20, 0, 0, 0, 0, 0, 0}, ".FIT"...)
	for name, b := range map[string][]byte{
		"b.log": csv, "a.watch": gpx, "c.bin": append(fit, 0, 0), "d.gz": gz(t, csv), "foreign.csv": []byte("T,X,Y,Z\n0,1,2,9\n1,1,2,9\n"),
		"mapped": []byte("x y\n"), "mapped.map.toml": []byte("time_s = \"x\"\n"),
		SetupName: []byte("title = 1\n"), "other.toml": nil, ".hidden.csv": csv, "report.html": []byte("<!DOCTYPE html><p>1,2,3"),
		"result.json": []byte(`{"schema": "evenfoot/1"}`), "notes.txt": []byte("Windy today.\nGusts, chop.\n"), "diary.gpx": []byte("Dear diary,\nthe wind was fine.\n"), "empty": nil,
		"export.csv": []byte("# evenfoot export\n" + imuHeader + imuRows(0, 100, 20)), "photo.jpg": []byte("\xff\xd8\xff\xe0"),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "older.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := Folder(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, l := range f.Logs {
		names = append(names, filepath.Base(l))
	}
	want := []string{"a.watch", "b.log", "c.bin", "d.gz", "foreign.csv", "mapped"}
	if !slices.Equal(names, want) || f.Setup != filepath.Join(dir, SetupName) {
		t.Errorf("logs %v, setup %q; want %v", names, f.Setup, want)
	}
	if a := f.Aside.Text; !slices.Equal(a, []string{"diary.gpx", "is not a GPX file, whatever its name says", "notes.txt", "holds no columns of numbers under names"}) {
		t.Errorf("left aside: %q", a)
	}
	// A file that looks like a log and is none is named; the others are read.
	logs, err := f.Open(Options{})
	if err != nil || len(logs) < 2 {
		t.Fatalf("%d logs, %v", len(logs), err)
	}
	for _, name := range []string{"notes.txt", "a.watch", "c.bin", "foreign.csv", "mapped"} {
		if !slices.Contains(f.Aside.Text, name) {
			t.Errorf("%s is not named among %q", name, f.Aside.Text)
		}
	}
	if _, err := Folder(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("a folder that is not there must be an error")
	}

	alone := t.TempDir()
	if err := os.WriteFile(filepath.Join(alone, "export.csv"), []byte("# evenfoot export\n"+imuHeader+"0,1,2,3,4,5,6\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if f, err := Folder(alone); err != nil || len(f.Logs) != 1 || f.Setup != "" {
		t.Errorf("an export alone is a log: %+v %v", f, err)
	}
}
