package ingest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"github.com/dustin/go-humanize"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/fit"
	"evenfoot/ingest/gpx"
	"evenfoot/ingest/nmea"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
)

const (
	// readSize is the reader's buffer, and so the longest line of a CSV.
	readSize = 128 << 10
	// defaultMaxBytes bounds what one file may expand to.
	defaultMaxBytes = 4 << 30
	// A packed file may grow freely to freeExpansion; beyond that only MaxRatio
	// times. Logs shrink 3 to 30 times; deflate's utmost is 1032.
	freeExpansion = 64 << 20
	MaxRatio      = 200
	// defaultMaxValues bounds what becomes memory, some 8 bytes a value: a day of
	// accelerometer and gyroscope at 200 Hz is 121 million.
	defaultMaxValues = 200e6
)

// ExpandsMost is how many bytes a file or archive that is packed into so many may
// expand to.
func ExpandsMost(packed int64) int64 { return max(freeExpansion, MaxRatio*packed) }

// Options of reading.
type Options struct {
	Map *csv.Map // column map for a foreign CSV; nil = NAME.map.toml beside the log if there is one
	// Outing is the number of the outing to read of a log that holds several, from
	// 1; 0 reads the one with the most samples.
	Outing int
	// MaxBytes bounds what one file may expand to; 0 means the default of 4 GiB.
	MaxBytes int64
	// MaxValues bounds the values, cells of a table or their like, that one file
	// may hold; 0 means the default of 200 million.
	MaxValues int64
}

// Open reads one log file, FIT, GPX, NMEA 0183 or CSV, or any of them through gzip: by
// what it holds, not by its name. The log comes mended: in order of time,
// without repeats, with its gaps, rates and doubtful fixes marked, and with a
// warning for everything that was done or left out. An error means that
// nothing could be used; it says why and what to do.
func Open(path string, opt Options) (*Log, error) {
	r, err := readFile(path, opt)
	if err != nil {
		return nil, err
	}
	return build(r)
}

// OpenAll reads logs as [Open] does, on all cores; logs and errors stand in the
// order of paths.
func OpenAll(paths []string, opt Options) ([]*Log, []error) {
	logs, errs := make([]*Log, len(paths)), make([]error, len(paths))
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for i, path := range paths {
		free <- struct{}{}
		wait.Go(func() {
			logs[i], errs[i] = Open(path, opt)
			<-free
		})
	}
	wait.Wait()
	return logs, errs
}

// readFile finds out what a file is and lets its reader loose.
func readFile(path string, opt Options) (*raw.Columns, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, not a log; name the log files in it", path)
	}
	if opt.Map == nil {
		if opt.Map, err = csv.LoadBeside(path); err != nil {
			return nil, err
		}
	}
	return read(f, path, info.Size(), opt)
}

// read reads a log from a stream of size bytes.
func read(src io.Reader, name string, size int64, opt Options) (*raw.Columns, error) {
	if opt.MaxBytes <= 0 {
		opt.MaxBytes = defaultMaxBytes
	}
	if opt.MaxValues <= 0 {
		opt.MaxValues = defaultMaxValues
	}
	counted := &counter{r: src}
	br := bufio.NewReaderSize(counted, readSize)
	bound := &bounded{r: br, max: opt.MaxBytes, maxValues: opt.MaxValues}
	content, packed, err := unpacked(br)
	if err != nil {
		return nil, fmt.Errorf("%s: starts like a gzip file, but its header is damaged: %w", name, err)
	}
	if packed {
		bound.r, bound.packed = content, counted
		size = -1
	} else if size > opt.MaxBytes {
		return nil, fmt.Errorf("%s: is %s long, more than the bound of %s for one file", name, humanize.IBytes(uint64(size)), humanize.IBytes(uint64(opt.MaxBytes)))
	}
	r, err := dispatch(bufio.NewReaderSize(bound, readSize), bound, name, size, opt)
	if bound.err != nil { // before err: a reader may have wrapped it or taken it for an end
		return nil, fmt.Errorf("%s: %w", name, bound.err)
	}
	if err != nil {
		if bound.broken != nil {
			return nil, fmt.Errorf("%w (and the gzip data is damaged: %v)", err, bound.broken)
		}
		return nil, err
	}
	r.File.Gzip, r.Outing = packed, opt.Outing
	r.File.Bytes = counted.n
	if bound.broken != nil {
		r.Warnings = append(r.Warnings, Warning{Kind: raw.GzipDamaged, File: name, Byte: counted.n, Count: int(bound.n), Text: []string{bound.broken.Error()}})
	}
	return r, nil
}

// dispatch picks the reader by the first bytes.
func dispatch(br *bufio.Reader, bound *bounded, name string, size int64, opt Options) (*raw.Columns, error) {
	br, same := scan.Text(br)
	if !same {
		size = -1
	}
	head, err := br.Peek(4096)
	if len(head) == 0 {
		if err != nil && err != io.EOF {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return nil, fmt.Errorf("%s: the file is empty", name)
	}
	kind := sniff(head)
	if size < 0 || size > opt.MaxValues { // else it has too few bytes for too many values
		bound.values = valuesOf[kind]
	}
	switch kind {
	case kindFIT:
		return fit.Read(br, name, size)
	case kindGPX:
		return gpx.Read(br, name, size)
	case kindNMEA:
		return nmea.Read(br, name, size)
	case kindCSV:
		isNone := noCSV(name, head) // before the reader overwrites head
		r, err := csv.Read(br, name, size, opt.Map)
		if err == nil || isNone == "" || opt.Map != nil {
			return r, err
		}
		kind = isNone
	}
	return nil, fmt.Errorf("%s: %s; evenfoot reads FIT, GPX, NMEA 0183 and CSV, plain or through gzip", name, kind)
}

// noCSV says what a file is that can be taken for a CSV, should it not be read as
// one; "" where it looks like one.
func noCSV(name string, head []byte) string {
	switch as := Promised(name); {
	case as != "" && !csv.LooksLikeColumns(head):
		return "is not a " + as + " file, whatever its name says"
	case bytes.ContainsFunc(firstLine(head), func(r rune) bool { return r < ' ' && r != '\t' }):
		return "is a binary file of an unknown kind"
	}
	return ""
}

// Promised is the kind of a log, FIT or GPX, that the name of a file promises; ""
// where it promises none.
func Promised(name string) string {
	ext := filepath.Ext(strings.TrimSuffix(strings.ToLower(name), ".gz"))
	if kind := strings.ToUpper(strings.TrimPrefix(ext, ".")); kind == kindFIT || kind == kindGPX {
		return kind
	}
	return ""
}

// Kinds that have a reader; sniff's other answers are the end of a sentence.
const (
	kindFIT  = "FIT"
	kindGPX  = "GPX"
	kindNMEA = "NMEA"
	kindCSV  = "CSV"
)

// valuesOf counts, roughly, the values in a piece of a file of a kind.
var valuesOf = map[string]func(b []byte) int{
	kindFIT:  func(b []byte) int { return len(b) / 2 }, // samples are of two bytes
	kindGPX:  func(b []byte) int { return bytes.Count(b, []byte("<")) },
	kindNMEA: func(b []byte) int { return bytes.Count(b, []byte(",")) },
	kindCSV: func(b []byte) (n int) {
		for _, end := range []string{"\n", ",", ";", "\t"} {
			n += bytes.Count(b, []byte(end))
		}
		return n
	},
}

// sniff tells what a file is by its first bytes: one of the kinds, or for
// anything else what it seems to be.
func sniff(head []byte) string {
	if fit.Is(head) {
		return kindFIT
	}
	for _, m := range []struct{ magic, is string }{
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
	} {
		if bytes.HasPrefix(head, []byte(m.magic)) {
			return m.is
		}
	}
	if len(head) >= 12 && string(head[4:8]) == "ftyp" {
		return "is a film or picture"
	}
	text := bytes.TrimLeft(head, " \t\r\n")
	switch {
	case len(text) == 0:
		return "holds nothing but blanks"
	case bytes.IndexByte(firstLine(text), 0) >= 0: // further on a dying logger's file system may leave them in a text
		return "is a binary file of an unknown kind"
	case text[0] == '<':
		lower := bytes.ToLower(text)
		for _, m := range []struct{ holds, is string }{
			{"<!doctype html", "is a web page"}, {"<html", "is a web page"}, {"<gpx", kindGPX}, {":gpx", kindGPX},
			{"<kml", "is XML but not GPX: export it as GPX or FIT"}, {"<trainingcenterdatabase", "is XML but not GPX: export it as GPX or FIT"},
		} {
			if bytes.Contains(lower, []byte(m.holds)) {
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

// A counter counts the bytes that were read through it.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// bounded reads a stream up to its bounds. Damage in packed data is an end of the
// stream to its reader, and kept in broken.
type bounded struct {
	r            io.Reader
	packed       *counter // nil where nothing is packed
	n, max       int64
	values       func(b []byte) int // nil until it is known what the file is
	v, maxValues int64
	err          error // a bound was passed
	broken       error
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.err != nil {
		return 0, b.err
	}
	if b.broken != nil {
		return 0, io.EOF
	}
	n, err := b.r.Read(p)
	b.n += int64(n)
	if b.values != nil {
		b.v += int64(b.values(p[:n]))
	}
	switch {
	case b.v > b.maxValues:
		b.err = fmt.Errorf("holds more than %d million values, the bound for one file; cut it into outings", b.maxValues/1e6)
		return 0, b.err
	case b.packed == nil:
		return n, err
	case b.n > b.max:
		b.err = fmt.Errorf("expands to more than %s, the bound for one file", humanize.IBytes(uint64(b.max)))
		return 0, b.err
	case b.n > ExpandsMost(b.packed.n):
		b.err = fmt.Errorf("expands to more than %d times its size; no log does, so this is taken for a trap", MaxRatio)
		return 0, b.err
	case err != nil && err != io.EOF:
		b.broken = err
		return n, io.EOF
	}
	return n, err
}

// ProposeMap looks at a CSV whose columns have other names and guesses a column
// map for it from the names and the values: the TOML that [ReadMap] reads, with
// a comment where a unit was guessed, and one that names the columns left over. ok is false when the file needs no map or
// when a time and an accelerometer, a position or a speed cannot be made out.
func ProposeMap(path string) (text string, ok bool) {
	head, err := headOf(path)
	if err != nil || len(head) == 0 || sniff(head) != kindCSV {
		return "", false
	}
	return csv.Propose(head, path)
}

// A Map tells which column of a foreign CSV holds what.
type Map = csv.Map

// ReadMap reads a column map, a TOML file; [csv.ReadMap] tells its form.
func ReadMap(path string) (*Map, error) { return csv.ReadMap(path) }

// MapName is the name under which a log's column map is looked for first.
func MapName(path string) string { return csv.MapName(path) }

// MapBeside is the name of the column map beside a log; "" when there is none.
func MapBeside(path string) string { return csv.Beside(path) }

// NeedsMap says whether err is [Open]'s refusal of a CSV for the names of its
// columns, so that a column map may read it; what is the refusal alone, without
// the advice to make one.
func NeedsMap(err error) (what string, needs bool) { return csv.NeedsMap(err) }
