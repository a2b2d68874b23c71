package ingest

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"runtime"
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
	// expandMost bounds what one file may expand to, in bytes.
	expandMost = 4 << 30
	// A packed file may grow freely to freeExpansion; beyond that only MaxRatio
	// times. Logs shrink 3 to 30 times; deflate's utmost is 1032.
	freeExpansion = 64 << 20
	MaxRatio      = 200
	// valuesMost bounds what becomes memory, some 8 bytes a value: a day of
	// accelerometer and gyroscope at 200 Hz is 121 million.
	valuesMost = 200e6
)

// ExpandsMost is how many bytes a file or archive that is packed into so many may
// expand to.
func ExpandsMost(packed int64) int64 { return max(freeExpansion, MaxRatio*packed) }

// Options of reading.
type Options struct {
	Map *csv.Map // column map for a foreign CSV; nil = NAME.map.toml beside the log if there is one
	// Name is what the rider calls the file, for what is said of it; "" is its path.
	Name string
	// Outing is the number of the outing to read of a log that holds several, from
	// 1; 0 reads the one with the most samples.
	Outing int
	// MaxValues bounds the values, cells of a table or their like, that one file
	// may hold; 0 means the default of 200 million.
	MaxValues int64

	maxBytes int64 // to which one file may expand; 0 means the default of 4 GiB
}

// Open reads one log file, FIT, GPX, NMEA 0183 or CSV, or any of them through gzip: by
// what it holds, not by its name. The log comes mended: in order of time,
// without repeats, with its gaps, rates and doubtful fixes marked, and with a
// warning for everything that was done or left out. An error means that
// nothing could be used; it says why and what to do.
func Open(path string, opt Options) (*Log, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	name := cmp.Or(opt.Name, path)
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, not a log; name the log files in it", name)
	}
	if opt.Map == nil {
		if opt.Map, err = csv.LoadBeside(path); err != nil {
			return nil, err
		}
	}
	r, err := read(f, name, info.Size(), opt)
	if err != nil {
		return nil, err
	}
	return build(r)
}

// OpenAll reads logs as [Open] does, on all cores; logs and errors stand in the
// order of paths.
func OpenAll(paths []string, opt Options) ([]*Log, []error) {
	logs, errs := make([]*Log, len(paths)), make([]error, len(paths))
	each(len(paths), func(i int) { logs[i], errs[i] = Open(paths[i], opt) })
	return logs, errs
}

// each calls do(0) to do(n-1) on all cores. When all have ended, the panic of one
// goes on in the caller, which may recover.
func each(n int, do func(i int)) {
	faults := make([]any, n)
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for i := range n {
		free <- struct{}{}
		wait.Go(func() {
			defer func() {
				faults[i] = recover()
				<-free
			}()
			do(i)
		})
	}
	wait.Wait()
	for _, p := range faults {
		if p != nil {
			panic(p)
		}
	}
}

// read reads a log from a stream of size bytes.
func read(src io.Reader, name string, size int64, opt Options) (*raw.Columns, error) {
	in := &bounded{maxBytes: cmp.Or(opt.maxBytes, expandMost), maxValues: cmp.Or(opt.MaxValues, valuesMost)}
	came := &counter{r: src}
	content, packed, err := unpacked(bufio.NewReaderSize(came, readSize))
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: starts like a gzip file, but its header is damaged: %w", name, err)
	case packed:
		in.packed, size = came, -1
	case size > in.maxBytes:
		return nil, fmt.Errorf("%s: is %s long, more than the bound of %s for one file",
			name, humanize.IBytes(uint64(size)), humanize.IBytes(uint64(in.maxBytes)))
	}
	in.r = content
	r, err := dispatch(in, name, size, opt.Map)
	switch {
	case in.err != nil: // before err: a reader may have wrapped it or taken it for an end
		return nil, fmt.Errorf("%s: %w", name, in.err)
	case err != nil && in.broken != nil:
		return nil, fmt.Errorf("%w (and the gzip data is damaged: %v)", err, in.broken)
	case err != nil:
		return nil, err
	case in.broken != nil:
		r.Warnings = append(r.Warnings, Warning{Kind: raw.GzipDamaged, File: name,
			Byte: came.n, Count: int(in.n), Text: []string{in.broken.Error()}})
	}
	r.File.Gzip, r.File.Bytes, r.Outing = packed, came.n, opt.Outing
	return r, nil
}

// dispatch picks the reader by the first bytes.
func dispatch(in *bounded, name string, size int64, m *csv.Map) (*raw.Columns, error) {
	br, same := scan.Text(bufio.NewReaderSize(in, readSize))
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
	if size < 0 || size > in.maxValues { // else it has too few bytes for too many values
		in.values = valuesOf[kind]
	}
	switch kind {
	case kindFIT:
		return fit.Read(br, name, size)
	case kindGPX:
		return gpx.Read(br, name, size)
	case kindNMEA:
		return nmea.Read(br, name, size)
	case kindCSV:
		kind = noCSV(name, head) // before the reader overwrites head
		if r, err := csv.Read(br, name, size, m); err == nil || kind == "" || m != nil {
			return r, err
		}
	}
	return nil, fmt.Errorf("%s: %s; evenfoot reads FIT, GPX, NMEA 0183 and CSV, plain or through gzip", name, kind)
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
	counter
	packed    *counter           // nil where nothing is packed
	values    func(b []byte) int // nil until it is known what the file is
	v         int64              // values so far
	maxBytes  int64
	maxValues int64
	err       error // a bound was passed
	broken    error
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.err != nil {
		return 0, b.err
	}
	if b.broken != nil {
		return 0, io.EOF
	}
	n, err := b.counter.Read(p)
	if b.values != nil {
		b.v += int64(b.values(p[:n]))
	}
	switch {
	case b.v > b.maxValues:
		b.err = fmt.Errorf("holds more than %d million values, the bound for one file; cut it into outings", b.maxValues/1e6)
	case b.packed == nil:
		return n, err
	case b.n > b.maxBytes:
		b.err = fmt.Errorf("expands to more than %s, the bound for one file", humanize.IBytes(uint64(b.maxBytes)))
	case b.n > ExpandsMost(b.packed.n):
		b.err = fmt.Errorf("expands to more than %d times its size; no log does, so this is taken for a trap", MaxRatio)
	case err != nil && err != io.EOF:
		b.broken = err
		return n, io.EOF
	default:
		return n, err
	}
	return 0, b.err
}

// Content is what tells a log from all others: the hash of what the file holds,
// unpacked, whatever its name. A file that is packed and damaged is told by its
// packed bytes.
func Content(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	r, packed, err := unpacked(bufio.NewReaderSize(f, readSize))
	var n int64
	if err == nil {
		n, err = io.Copy(sum, io.LimitReader(r, expandMost))
	}
	if packed && (err != nil || n == expandMost) {
		sum.Reset()
		if _, err = f.Seek(0, io.SeekStart); err == nil {
			_, err = io.Copy(sum, f)
		}
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
