// Package csv reads CSV logs: those of the contract by the names of their
// columns, any other through a column map, which it can also guess.
//
// Of this module it imports only raw, scan and unit.
package csv

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// Read reads a log of the contract, or any CSV through a column map. It looks at
// each byte once, keeps nothing but the columns, and leaves out a row, or one
// sensor of a row, that it cannot read: with a warning and its line.
func Read(r *bufio.Reader, name string, size int64, m *Map) (*raw.Columns, error) {
	c := &reader{
		lines: lineReader{r: r},
		notes: raw.Notes{File: name},
		out:   &raw.Columns{File: raw.File{Name: name, Kind: "CSV"}},
		size:  size,
		m:     m,
	}
	if m == nil {
		head, _ := r.Peek(min(r.Size(), sampleBytes))
		var names []string
		if c.m, names = recognise(head, name); c.m != nil {
			c.notes.Warn(raw.Warning{Kind: raw.Recognised, Text: names})
		} else {
			c.m = new(Map)
		}
	}
	if err := c.header(); err != nil {
		return nil, err
	}
	if err := c.rows(); err != nil {
		return nil, err
	}
	return c.finish()
}

type reader struct {
	lines lineReader
	notes raw.Notes
	out   *raw.Columns
	size  int64
	m     *Map // empty where the names of the columns are ours
	head  []string
	headN int // line of the header
	cols  []column
	delim byte
	dec   byte // decimal mark besides the point

	time    timeReader
	rowsN   int // rows looked at
	ragged  int
	last    int     // last column in use
	export  bool    // there is a column that marks the rows with a fix
	oneFoot bool    // it has the force of one alone
	shares  bool    // the gyroscope has the accelerometer's times
	latest  float64 // time of the row before
	marked  string  // the mark of the row before: a button held down is one

	tail lastField
	now  values // of the row at hand
}

// A lineReader hands out lines without their ends. It never holds more than
// the reader's buffer.
type lineReader struct {
	r    *bufio.Reader
	eol  byte
	line int   // number of the line handed out last
	pos  int64 // offset of its first byte
	next int64
}

// read returns the next line; whole is false when the file ends inside it, and
// long is true when it does not fit the buffer and was skipped. The bytes are
// valid until the next call.
func (l *lineReader) read() (b []byte, whole, long bool, err error) {
	if l.eol == 0 {
		l.eol = '\n'
		if ahead, _ := l.r.Peek(l.r.Size()); bytes.IndexByte(ahead, '\n') < 0 && bytes.IndexByte(ahead, '\r') >= 0 {
			l.eol = '\r'
		}
	}
	l.pos = l.next
	l.line++
	b, err = l.r.ReadSlice(l.eol)
	l.next += int64(len(b))
	for err == bufio.ErrBufferFull {
		long = true
		b, err = l.r.ReadSlice(l.eol)
		l.next += int64(len(b))
	}
	if err != nil {
		if err == io.EOF && (len(b) > 0 || long) {
			return b, false, long, nil
		}
		return nil, false, long, err
	}
	b = b[:len(b)-1]
	if n := len(b); n > 0 && b[n-1] == '\r' {
		b = b[:n-1]
	}
	return b, true, long, nil
}

// header reads up to and with the header line and settles the columns.
func (c *reader) header() error {
	name := c.notes.File
	var line []byte
	var sep byte
	for line == nil {
		b, _, long, err := c.lines.read()
		switch {
		case err == io.EOF:
			return fmt.Errorf("%s: holds no header row; a CSV log starts with the names of its columns: %s", name, acceptedColumns)
		case err != nil:
			return fmt.Errorf("%s: %w", name, err)
		case long:
			return fmt.Errorf("%s, line %d: the line is longer than %d bytes; this is not a CSV log", name, c.lines.line, c.lines.r.Size())
		}
		t, h := scan.Trim(b), hashHeader(b)
		switch {
		case c.lines.line <= c.m.skip:
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
	c.headN = c.lines.line
	c.delim = cmp.Or(c.m.delimiter, sep, findDelimiter(line))
	if c.dec = c.m.decimal; c.dec == 0 && c.delim != ',' {
		c.dec = ','
	}
	c.dec = cmp.Or(c.dec, '.')
	c.head = headerNames(line, c.delim)
	if err := c.choose(); err != nil {
		return err
	}
	if c.m.noHeader { // the line was a row
		c.row(line, true)
	}
	return nil
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
		c.cols, strangers, what = contractColumns(c.head, c.firstRow())
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
	if what != "" {
		return &headerError{c.notes.File, c.headN, what, c.head, byMap && (known || measured)}
	}
	c.shares, c.time.zone = true, c.m.zone
	feet := 0
	for i, col := range c.cols {
		if col.slot != unit.SlotIgnore {
			c.last = i
		}
		switch col.slot {
		case unit.SlotAcc:
			c.out.Acc.Unit = col.unit
		case unit.SlotGyr:
			c.out.Gyr.Unit = col.unit
		case unit.SlotFeet, unit.SlotFeet + 1, unit.SlotFeet + 2, unit.SlotFeet + 3:
			c.out.Deck.Unit, c.out.Sides = cmp.Or(c.out.Deck.Unit, col.unit), col.slot > unit.SlotFeet+1
			feet++
		case unit.SlotMoment:
			c.out.Deck.Unit = cmp.Or(c.out.Deck.Unit, col.unit)
		case unit.SlotUTC:
			name := strings.ToLower(col.name)
			c.time.saysUTC = strings.Contains(name, "utc") || strings.Contains(name, "gmt")
		case unit.SlotTime:
			c.time.digits = col.digits
		case unit.SlotFix:
			c.export = true
		case unit.SlotSpeed:
			c.out.Gps.SpeedUnit, c.out.Gps.SpeedColumn = col.unit, col.name
			_, own, _ := unit.Split(col.name)
			c.out.Gps.SpeedMapped = own == nil
		}
	}
	c.oneFoot = feet == 1
	return nil
}

// firstRow is the row below the header, not read yet.
func (c *reader) firstRow() []string {
	ahead, _ := c.lines.r.Peek(c.lines.r.Size())
	for line := range bytes.Lines(ahead) {
		if line = scan.Trim(bytes.TrimRight(line, "\r\n")); len(line) > 0 && line[0] != '#' {
			return headerNames(line, c.delim)
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
	own, _, what := contractColumns(c.head, nil)
	if hasTime, measured := enough(own); what == "" && hasTime && measured && !c.m.noHeader {
		c.cols = own
		c.warn(raw.Warning{Kind: raw.MapUnfit})
		return nil
	}
	return fmt.Errorf("%s, line %d: %w. The header is: %s", c.notes.File, c.headN, err, sentenceHeader(c.head))
}

// comment looks for what evenfoot's own files say in comments.
func (c *reader) comment(b []byte) {
	key, value, found := strings.Cut(strings.TrimSpace(strings.TrimPrefix(string(b), "#")), ":")
	if !found {
		return
	}
	value = strings.TrimSpace(value)
	switch strings.ToLower(strings.TrimSpace(key)) {
	case "start":
		ns, ok := scan.Time([]byte(value))
		if !ok {
			c.warn(raw.Warning{Kind: raw.BadStart, Text: []string{value}})
			return
		}
		c.out.Start = time.Unix(0, ns).UTC()
	case "device":
		c.out.File.Device = raw.Clip(value, 80)
	case "speed":
		if strings.HasPrefix(value, "from positions") {
			c.out.Gps.Computed = true
		}
	}
}

// rows reads everything below the header.
func (c *reader) rows() error {
	for {
		b, whole, long, err := c.lines.read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s, line %d: %w", c.notes.File, c.lines.line, err)
		}
		if long {
			c.refuse(raw.Warning{Kind: raw.LongLine, Values: []float64{float64(c.lines.r.Size())}})
			continue
		}
		if len(b) == 0 {
			continue
		}
		if b[0] == '#' {
			c.comment(b)
			continue
		}
		c.row(b, whole)
		if c.rowsN == 512 && c.size > 0 {
			c.reserve()
		}
	}
}

// reserve makes room for the rows that the file's size lets expect.
func (c *reader) reserve() {
	per := float64(c.lines.next) / 512
	left := float64(c.size-c.lines.next) / per * 1.01
	for _, s := range []*raw.Series{&c.out.Acc, &c.out.Gyr} {
		n := int(left * float64(len(s.V[0])) / 512)
		s.Time = slices.Grow(s.Time, n*min(1, len(s.Time)))
		for k := range s.V {
			s.V[k] = slices.Grow(s.V[k], n)
		}
	}
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
	if c.shares {
		c.out.Gyr.Time = c.out.Acc.Time[:len(c.out.Gyr.V[0])]
	}
	c.time.settle(c.out)
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
	c.notes.Settle(c.out)
	return c.out, nil
}
