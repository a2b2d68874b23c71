package ingest

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
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
		"result.json": []byte(`{"schema": "evenfoot/1"}`), "notes.txt": []byte("Windy today.\nGusts, chop.\n"), "empty": nil,
		"export.csv": []byte("# evenfoot export\n" + imuHeader + imuRows(0, 100, 20)), "photo.jpg": []byte("\xff\xd8\xff\xe0"),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "older.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	logs, setup, err := Folder(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, l := range logs {
		names = append(names, filepath.Base(l))
	}
	want := []string{"a.watch", "b.log", "c.bin", "d.gz", "foreign.csv", "mapped"}
	if !slices.Equal(names, want) || setup != filepath.Join(dir, SetupName) {
		t.Errorf("logs %v, setup %q; want %v", names, setup, want)
	}
	if _, _, err := Folder(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("a folder that is not there must be an error")
	}

	alone := t.TempDir()
	if err := os.WriteFile(filepath.Join(alone, "export.csv"), []byte("# evenfoot export\n"+imuHeader+"0,1,2,3,4,5,6\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if logs, setup, err := Folder(alone); err != nil || len(logs) != 1 || setup != "" {
		t.Errorf("an export alone is a log: %v %q %v", logs, setup, err)
	}
}

func TestInspect(t *testing.T) {
	l := mustRead(t, "# start: 2026-09-20T10:00:00Z\n# device: Logger 3\n"+imuHeader+imuRows(0, 100, 500)+"5.1,a,2,3,4,5,6\n"+imuRows(9, 100, 500)+
		strings.Repeat("a row that is garbled and long enough to need a second line in the text\n", 3))
	var b bytes.Buffer
	if err := WriteInspect(&b, []*Log{l, mustRead(t, imuHeader+imuRows(0, 50, 10))}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"log.csv\n  kind        CSV, ", "device      Logger 3", "2026-09-20 10:00:00 to 10:00:13 UTC, 14 s",
		"accelerometer      1,000 at 100 Hz", "m/s²", "1 gap, up to 4.01 s", "read        2,001 samples", "left out    1 × accelerometer with a value that is not a number",
		"3 × too few or too many fields", "line 504: ", "no date, 0.18 s", "problems    none"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q in\n%s", want, text)
		}
	}
	for line := range strings.Lines(text) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	b.Reset()
	if err := WriteInspectJSON(&b, []*Log{l}); err != nil {
		t.Fatal(err)
	}
	var back []Inspection
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if len(back) != 1 || back[0].Files[0].Channels[0].Samples != 1000 || !back[0].Files[0].First.Equal(l.Files[0].First) || len(back[0].Warnings) != len(l.Warnings) {
		t.Errorf("%s", b.String())
	}
	if strings.Contains(b.String(), "0001-01-01") {
		t.Error("a time that is not known is left out")
	}
}
