package ingest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/fit"
	"evenfoot/ingest/nmea"
	"evenfoot/ingest/scan"
)

// Kinds that have a reader; sniff's other answers are the end of a sentence.
const (
	kindFIT  = "FIT"
	kindGPX  = "GPX"
	kindNMEA = "NMEA"
	kindCSV  = "CSV"
)

// valuesOf counts, roughly, the values in a piece of a file of a kind.
var valuesOf = map[string]func(b []byte) int{
	kindFIT:  func(b []byte) int { return len(b) / 4 }, // two bytes, a third of an offset's, and a part of a message
	kindGPX:  counting("<"),
	kindNMEA: counting(","),
	kindCSV:  counting("\n,;\t"),
}

func counting(ends string) func(b []byte) int {
	return func(b []byte) (n int) {
		for i := range len(ends) {
			n += bytes.Count(b, []byte(ends[i:i+1]))
		}
		return n
	}
}

// magics begin files that are no logs.
var magics = []struct{ magic, is string }{
	{"PK\x03\x04", "is a ZIP archive: unpack it first"},
	{"\x1f\x8b", "is gzip within gzip: unpack it once first"},
	{"7z\xbc\xaf\x27\x1c", "is a 7z archive: unpack it first"},
	{"\xfd7zXZ\x00", "is an xz file: unpack it first"},
	{"BZh", "is a bzip2 file: unpack it first"},
	{"\x28\xb5\x2f\xfd", "is a zstd file: unpack it first"},
	{"SQLite format 3\x00", "is a database"},
	{"%PDF", "is a PDF document"},
	{"\x89PNG", "is a picture"},
	{"\xff\xd8\xff", "is a picture"},
	{"GIF8", "is a picture"},
	{"\x7fELF", "is a program"},
}

// tags tell one XML from another, in lower case.
var tags = []struct{ magic, is string }{
	{"<!doctype html", "is a web page"},
	{"<html", "is a web page"},
	{"<gpx", kindGPX},
	{":gpx", kindGPX},
	{"<kml", "is XML but not GPX: export it as GPX or FIT"},
	{"<trainingcenterdatabase", "is XML but not GPX: export it as GPX or FIT"},
}

// binary is what a file is that holds no text.
const binary = "is a binary file of an unknown kind"

// sniff tells what a file is by its first bytes: one of the kinds, or for
// anything else what it seems to be.
func sniff(head []byte) string {
	for _, m := range magics {
		if bytes.HasPrefix(head, []byte(m.magic)) {
			return m.is
		}
	}
	text := bytes.TrimLeft(head, " \t\r\n")
	switch {
	case fit.Is(head):
		return kindFIT
	case len(head) >= 12 && string(head[4:8]) == "ftyp":
		return "is a film or picture"
	case len(text) == 0:
		return "holds nothing but blanks"
	case bytes.IndexByte(firstLine(text), 0) >= 0: // further on a dying logger's file system may leave them in a text
		return binary
	case text[0] == '<':
		lower := bytes.ToLower(text)
		for _, m := range tags {
			if bytes.Contains(lower, []byte(m.magic)) {
				return m.is
			}
		}
		return "is XML but not GPX"
	case text[0] == '{' || text[0] == '[' && !bytes.ContainsAny(firstLine(text), ",;\t"):
		return "is JSON"
	case nmea.Is(text):
		return kindNMEA
	}
	return kindCSV
}

// noCSV says what a file is that can be taken for a CSV, should it not be read as
// one: its name may promise another kind, and its bytes be no text. It is ""
// where it looks like one.
func noCSV(name string, head []byte) string {
	ext := filepath.Ext(strings.TrimSuffix(strings.ToLower(name), ".gz"))
	switch as := strings.ToUpper(strings.TrimPrefix(ext, ".")); {
	case (as == kindFIT || as == kindGPX) && !csv.LooksLikeColumns(head):
		return "is not a " + as + " file, whatever its name says"
	case ext == ".toml" && !csv.LooksLikeColumns(head):
		return "is a setup or a column map, no log: it goes with --setup or --map, and `evenfoot setup --check` reads a setup alone"
	case bytes.ContainsFunc(firstLine(head), func(r rune) bool { return r < ' ' && r != '\t' }):
		return binary
	}
	return ""
}

func firstLine(b []byte) []byte {
	if i := bytes.IndexAny(b, "\r\n"); i >= 0 {
		return b[:i]
	}
	return b
}

// unpacked is what a file holds, as it stands or out of gzip.
func unpacked(br *bufio.Reader) (content io.Reader, packed bool, err error) {
	if magic, _ := br.Peek(2); string(magic) != "\x1f\x8b" {
		return br, false, nil
	}
	content, err = gzip.NewReader(br)
	return content, true, err
}

// headOf is the beginning of a file, unpacked.
func headOf(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r, packed, err := unpacked(bufio.NewReader(f))
	if err != nil {
		return nil, nil // damaged: no log to be known by its content
	}
	const most = 16 << 10
	text, _ := scan.Text(bufio.NewReaderSize(r, most))
	head, err := text.Peek(most)
	if err != nil && err != io.EOF && !packed {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return head, nil
}

// ProposeMap looks at a CSV whose columns have other names and guesses a column
// map for it from the names and the values: the TOML that [csv.ReadMap] reads,
// with a comment where a unit was guessed, and one that names the columns left
// over. ok is false when the file needs no map or when a time and an
// accelerometer, a position or a speed cannot be made out.
func ProposeMap(path string) (text string, ok bool) {
	head, err := headOf(path)
	if err != nil || len(head) == 0 || sniff(head) != kindCSV {
		return "", false
	}
	return csv.Propose(head, path)
}
