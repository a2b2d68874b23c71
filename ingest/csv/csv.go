// Package csv reads CSV logs: those of the contract by the names of their
// columns, any other through a column map, which it can also guess.
//
// Of this module it imports only near, raw, scan and unit.
package csv

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// Read reads a log of the contract, or any CSV through a column map. It looks at
// each byte once, keeps nothing but the columns, and leaves out a row, or one
// sensor of a row, that it cannot read: with a warning and its line. No line may
// be longer than the buffer of r.
func Read(r *bufio.Reader, name string, size int64, m *Map) (*raw.Columns, error) {
	c := &reader{r: r, size: size, block: max(blockBytes, 2*r.Size())}
	c.layout = &layout{m: m, longest: r.Size(), eol: '\n'}
	c.notes.File, c.out.File = name, raw.File{Name: name, Kind: "CSV"}
	return c.read()
}

// blockBytes is how much of a file is read in one go: the numbers of so many
// bytes stay in a core's cache.
const blockBytes = 256 << 10

// usualLines are enough to see how a program writes its numbers.
const usualLines = 60

type reader struct {
	piece
	r     *bufio.Reader
	size  int64
	block int // bytes
}

// A layout is what holds for all rows of a file.
type layout struct {
	m          *Map // empty where the names of the columns are ours
	head       []string
	headN      int // line of the header
	cols       []column
	last       int // last column in use
	has        [unit.SlotMark + 1]bool
	eol        byte
	delim, dec byte // dec: the decimal mark besides the point
	longest    int  // bytes of a line
	deckToo    bool // it has what presses on the deck
	oneFoot    bool // it has the force of one alone
	part       bool // its acceleration is without gravity, or gravity alone
}

func (c *reader) read() (*raw.Columns, error) {
	c.now.v = unit.Blank
	head, _ := c.r.Peek(c.r.Size())
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		c.eol = '\r'
	}
	if c.m == nil {
		var names []string
		if c.m, names, c.part = recognise(head[:min(len(head), sampleBytes)], c.notes.File); c.m != nil {
			c.notes.Warn(raw.Warning{Kind: raw.Recognised, Text: names})
		} else {
			c.m = new(Map)
		}
	}
	line, err := c.header()
	if err != nil {
		return nil, err
	}
	if err := c.choose(); err != nil {
		return nil, err
	}
	if c.m.noHeader { // the line was a row
		c.row(line, true)
	}
	if err := c.rows(); err != nil {
		return nil, err
	}
	return c.finish()
}

// header reads up to and with the header line and settles its names.
func (c *reader) header() (line []byte, err error) {
	var sep byte
	for line == nil {
		b, err := c.r.ReadSlice(c.eol)
		c.line++
		switch {
		case err == bufio.ErrBufferFull:
			return nil, fmt.Errorf("%s, line %d: the line is longer than %d bytes; this is not a CSV log", c.notes.File, c.line, c.longest)
		case err == io.EOF && len(b) == 0:
			return nil, fmt.Errorf("%s: holds no header row; a CSV log starts with the names of its columns: %s", c.notes.File, acceptedColumns)
		case err != nil && err != io.EOF:
			return nil, fmt.Errorf("%s: %w", c.notes.File, err)
		}
		b = bytes.TrimSuffix(bytes.TrimSuffix(b, []byte{c.eol}), []byte{'\r'})
		t, h := scan.Trim(b), hashHeader(b)
		switch {
		case c.line <= c.m.skip:
		case len(t) == 5 && strings.EqualFold(string(t[:4]), "sep="): // what spreadsheets write
			sep = t[4]
		case h != nil:
			line = h
		case len(t) == 0 || t[0] == '#':
			c.comment(t)
		default:
			line = b
		}
	}
	c.headN = c.line
	c.delim = cmp.Or(c.m.delimiter, sep, findDelimiter(line))
	if c.dec = c.m.decimal; c.dec == 0 && c.delim != ',' {
		c.dec = ','
	}
	c.dec = cmp.Or(c.dec, '.')
	c.head = fields(line, c.delim)
	return line, nil
}

// choose settles which column goes where.
func (c *reader) choose() error {
	byMap, what := len(c.m.cols) > 0, ""
	if byMap {
		if err := c.mapped(); err != nil {
			return err
		}
	} else {
		var strangers []string
		c.cols, strangers, what = ownColumns(c.head, c.firstRow())
		if what == "" && len(strangers) > 0 && len(strangers) < len(c.head) {
			c.warn(raw.Warning{Kind: raw.UnknownColumns, Text: strangers})
		}
	}
	for _, w := range incomplete(c.cols) {
		c.warn(w)
	}
	known, measured := enough(c.cols)
	switch {
	case what != "":
	case !known && !measured:
		what = "no column is known"
	case !known:
		what = "there is no time column"
	case !measured:
		what = "there is a time but no accelerometer, position or speed, nor forces of the feet"
	}
	if what != "" && c.part {
		return &headerError{plain: fmt.Sprintf("%s, line %d: acceleration without gravity, or gravity alone: log the total acceleration",
			c.notes.File, c.headN), part: true}
	}
	if what != "" {
		return &headerError{plain: fmt.Sprintf("%s, line %d: %s. The header is: %s. Accepted columns: %s.",
			c.notes.File, c.headN, what, sentenceHeader(c.head), acceptedColumns), ours: byMap && (known || measured)}
	}
	c.time.zone = c.m.zone
	for i, col := range c.cols {
		if col.slot == unit.SlotIgnore {
			continue
		}
		c.last, c.has[col.slot] = i, true
		switch col.slot {
		case unit.SlotAcc:
			c.out.Acc.Unit = col.unit.Name
		case unit.SlotGyr:
			c.out.Gyr.Unit, c.out.Gyr.Guessed = col.unit.Name, c.m.gyrGuessed
		case unit.SlotFeet, unit.SlotFeet + 1, unit.SlotFeet + 2, unit.SlotFeet + 3, unit.SlotMoment:
			c.out.Deck.Unit = cmp.Or(c.out.Deck.Unit, col.unit.Name)
			c.deckToo = true
		case unit.SlotUTC:
			name := strings.ToLower(col.name)
			c.time.saysUTC = strings.Contains(name, "utc") || strings.Contains(name, "gmt")
		case unit.SlotTime:
			c.time.digits = col.unit.Digits
		case unit.SlotSpeed:
			c.out.Gps.SpeedUnit, c.out.Gps.SpeedColumn = col.unit.Name, col.name
			_, own, _ := unit.Split(col.name)
			c.out.Gps.SpeedMapped = own == nil
		}
	}
	left, right := c.has[unit.SlotFeet+2], c.has[unit.SlotFeet+3] // or both are in front and at the back
	c.oneFoot, c.out.Sides = left != right, left || right
	c.time.both = c.has[unit.SlotUTC] || c.has[unit.SlotDate]
	return nil
}

// firstRow is the row below the header, not read yet.
func (c *reader) firstRow() []string {
	ahead, _ := c.r.Peek(c.r.Size())
	for line := range bytes.Lines(ahead) {
		if line = scan.Trim(bytes.TrimRight(line, "\r\n")); len(line) > 0 && line[0] != '#' {
			return fields(line, c.delim)
		}
	}
	return nil
}

// mapped settles the columns by the map. A file that has our own names is read
// by them when the map is for another file of the session.
func (c *reader) mapped() error {
	cols, absent, err := c.m.columns(c.head)
	if err == nil {
		c.cols = cols
		for _, sensor := range absent {
			c.warn(raw.Warning{Kind: raw.MapLacks, Sensor: sensor, Lacks: sensor})
		}
		return nil
	}
	if readable(c.head, nil) && !c.m.noHeader {
		c.cols, _, _ = ownColumns(c.head, nil)
		c.warn(raw.Warning{Kind: raw.MapUnfit})
		return nil
	}
	return fmt.Errorf("%s, line %d: %w. The header is: %s", c.notes.File, c.headN, err, sentenceHeader(c.head))
}

// rows reads everything below the header, in blocks of whole lines: the first, and those until
// the times tell what they are, the others as pieces on all cores, joined in the
// order of the file.
func (c *reader) rows() (err error) {
	var spare []*piece
	var waiting []chan *piece
	take := func() {
		p := <-waiting[0]
		waiting = waiting[1:]
		if p.fault != nil {
			panic(p.fault)
		}
		c.join(p)
		spare = append(spare, p)
	}
	var begun []byte // a line without its end
	for err == nil {
		if len(waiting) > runtime.GOMAXPROCS(0) {
			take()
		}
		if len(spare) == 0 {
			spare = append(spare, &piece{text: make([]byte, c.block)})
		}
		p := spare[len(spare)-1]
		var whole, n int
		whole, n, err = c.fill(p.text, copy(p.text, begun))
		begun = append(begun[:0], p.text[whole:n]...)
		c.before = c.end(append(c.before, c.end(p.text[:whole])...))
		if c.bytes == 0 || !c.time.settled() {
			c.lines(p.text[:whole])
			if c.timeless() && c.unread > unreadMost {
				return c.noTimes()
			}
			continue
		}
		if waiting == nil {
			c.reserve(c.size)
		}
		spare = spare[:len(spare)-1]
		done := make(chan *piece, 1)
		waiting = append(waiting, done)
		p.begin(&c.piece)
		go func() {
			defer func() {
				p.fault = recover()
				done <- p
			}()
			p.lines(p.text[:whole])
		}()
	}
	for len(waiting) > 0 {
		take()
	}
	if err != io.EOF && err != io.ErrUnexpectedEOF {
		return fmt.Errorf("%s, line %d: %w", c.notes.File, c.line+1, err)
	}
	if len(begun) > 0 {
		c.one(begun, false)
	}
	return nil
}

// unreadMost is how many times that cannot be read are enough to give a file up
// that has shown none which can.
const unreadMost = 5000

// timeless says whether every row had a time that cannot be read.
func (c *reader) timeless() bool { return c.unread == c.rowsN && c.unread > 0 }

// noTimes is the error for a file of which no time can be read.
func (c *reader) noTimes() error {
	return fmt.Errorf("%s, line %d: no row has a time that can be read; the first is %q. "+
		"Accepted are numbers (a column map says the unit), 2026-10-30 12:00:47.281, with Z or an offset or neither, 30.10.2026 12:00:47.281, and 30/10/2026 or 10/30/2026 where the day is above 12: "+
		"else it could be either, and only the year first is safe", c.notes.File, c.unreadLine, c.firstUnread)
}

// fill reads on behind the first n bytes of text until there is a whole line; it
// says where the last whole one ends and how much is read. Of a line that is too
// long it keeps as much as shows that.
func (c *reader) fill(text []byte, n int) (whole, read int, err error) {
	for {
		k, err := io.ReadFull(c.r, text[n:])
		n += k
		if whole = bytes.LastIndexByte(text[:n], c.eol) + 1; whole > 0 || err != nil {
			return whole, n, err
		}
		n = c.longest
	}
}

// end are the last few of whole lines.
func (c *reader) end(text []byte) []byte {
	at := len(text) - 1
	for n := 0; n < usualLines && at >= 0; n++ {
		at = bytes.LastIndexByte(text[:at], c.eol)
	}
	return text[at+1:]
}

// finish hands the columns on.
func (c *reader) finish() (*raw.Columns, error) {
	if c.rowsN == 0 {
		return nil, fmt.Errorf("%s: holds a header but no rows", c.notes.File)
	}
	if c.ragged == c.rowsN {
		hint := ""
		if c.delim == ',' {
			hint = " If its numbers have a decimal comma, separate the columns by semicolons or tabs."
		}
		return nil, fmt.Errorf("%s: no row has the %d fields of the header in line %d.%s", c.notes.File, len(c.head), c.headN, hint)
	}
	if c.timeless() {
		return nil, c.noTimes()
	}
	c.time.settle(&c.out)
	if c.out.NoZone {
		c.notes.Warn(raw.Warning{Kind: raw.LocalTime, Line: c.headN})
	}
	if c.out.Start.IsZero() {
		c.out.Start = c.m.start
	}
	uncount(c.out.File.Marks)
	for i := range c.out.File.Marks {
		if m := &c.out.File.Marks[i]; !c.out.Start.IsZero() && math.Abs(m.At) < 9e9 { // of a Duration
			m.Time = c.out.Start.Add(time.Duration(math.Round(m.At * 1e9)))
		}
	}
	c.notes.Settle(&c.out)
	return &c.out, nil
}
