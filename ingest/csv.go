package ingest

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// readCSV reads a log of the contract, or any CSV through opt.Map. It looks at
// each byte once, keeps nothing but the columns, and leaves out a row, or one
// sensor of a row, that it cannot read: with a warning and its line.
func readCSV(r *bufio.Reader, name string, size int64, opt Options) (*raw, error) {
	c := &csvReader{
		lines: lineReader{r: r},
		notes: notes{file: name},
		out:   &raw{file: File{Name: name, Kind: "CSV"}},
		size:  size,
		m:     opt.Map,
		dec:   '.',
	}
	if err := c.header(); err != nil {
		return nil, err
	}
	if err := c.rows(); err != nil {
		return nil, err
	}
	return c.finish()
}

type csvReader struct {
	lines lineReader
	notes notes
	out   *raw
	size  int64
	m     *Map
	head  []string
	headN int // line of the header
	cols  []column
	delim byte
	dec   byte // decimal mark besides the point

	time    timeReader
	rowsN   int // rows looked at
	ragged  int
	last    int  // last column in use
	export  bool // there is a column that marks the rows with a fix
	sharesG bool
	sharesM bool

	tail lastField
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
func (c *csvReader) header() error {
	name := c.notes.file
	skip := 0
	if c.m != nil {
		skip = c.m.skip
	}
	var line []byte
	for {
		b, _, long, err := c.lines.read()
		if err == io.EOF {
			return fmt.Errorf("%s: holds no header row; a CSV log starts with the names of its columns: %s", name, acceptedColumns)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if long {
			return fmt.Errorf("%s, line %d: the line is longer than %d bytes; this is not a CSV log", name, c.lines.line, c.lines.r.Size())
		}
		if c.lines.line == 1 {
			b = bytes.TrimPrefix(b, []byte("\xEF\xBB\xBF"))
		}
		if c.lines.line <= skip {
			continue
		}
		if t := trim(b); len(t) == 0 || t[0] == '#' {
			c.comment(t)
			continue
		}
		line = b
		break
	}
	c.headN = c.lines.line
	c.delim = findDelimiter(line)
	if c.m != nil && c.m.delimiter != 0 {
		c.delim = c.m.delimiter
	}
	if c.delim != ',' {
		c.dec = ','
	}
	if c.m != nil && c.m.decimal != 0 {
		c.dec = c.m.decimal
	}
	c.head = headerNames(line, c.delim)
	if err := c.choose(); err != nil {
		return err
	}
	if c.m != nil && c.m.noHeader { // the line was a row
		c.row(line, true)
	}
	return nil
}

// choose settles which column goes where.
func (c *csvReader) choose() error {
	fail := func(ours bool, format string, args ...any) error {
		return &headerError{c.notes.file, c.headN, fmt.Sprintf(format, args...), c.head, ours}
	}
	if c.m != nil {
		if err := c.mapped(); err != nil {
			return err
		}
	} else {
		cols, strangers, what := contractColumns(c.head)
		if what != "" {
			return fail(false, "%s", what)
		}
		if len(strangers) > 0 && len(strangers) < len(c.head) {
			for i := range strangers {
				strangers[i] = fmt.Sprintf("%q", strangers[i])
			}
			verb := "are"
			if len(strangers) == 1 {
				verb = "is"
			}
			c.notes.warn("columns not known", c.headN, c.lines.pos, "%s %s not known and not read.", sentenceList(strangers, 8), verb)
		}
		c.cols = cols
	}
	for _, w := range incomplete(c.cols) {
		c.notes.warn("sensors that lack an axis", c.headN, c.lines.pos, "%s", w)
	}
	known, measured := enough(c.cols)
	for i, col := range c.cols {
		if col.slot != slotIgnore {
			c.last = i
		}
	}
	switch {
	case !known && !measured:
		return fail(false, "no column is known")
	case !known:
		return fail(c.m != nil, "there is no time column")
	case !measured:
		return fail(c.m != nil, "there is a time but no accelerometer, position or speed")
	}
	c.sharesG, c.sharesM = true, true
	for _, col := range c.cols {
		switch col.slot {
		case slotAcc:
			c.out.acc.unit = col.unit
		case slotGyr:
			c.out.gyr.unit = col.unit
		case slotMag:
			c.out.mag.unit = col.unit
		case slotTime:
			c.time.digits = col.digits
		case slotFix:
			c.export = true
		case slotSpeed:
			c.out.gps.speedUnit, c.out.gps.speedColumn = col.unit, col.name
			_, own, _ := splitQuantity(col.name)
			c.out.gps.speedMapped = own == nil
		}
	}
	return nil
}

// mapped settles the columns by the map. A file that has our own names is read
// by them when the map is for another file of the session.
func (c *csvReader) mapped() error {
	cols, absent, err := c.m.columns(c.head)
	if err == nil {
		c.cols = cols
		for _, sensor := range absent {
			if sensor == "alt" {
				sensor = "altitude"
			}
			c.notes.lack(sensor, "sensors of the column map that the file lacks", c.headN, c.lines.pos,
				"The file has no %s, which the column map names.", sensor)
		}
		return nil
	}
	own, _, what := contractColumns(c.head)
	if hasTime, measured := enough(own); what == "" && hasTime && measured && !c.m.noHeader {
		c.cols = own
		c.notes.warn("maps that do not fit", c.headN, c.lines.pos, "The column map does not fit this file, which is read by its own column names.")
		return nil
	}
	return fmt.Errorf("%s, line %d: %w. The header is: %s", c.notes.file, c.headN, err, sentenceHeader(c.head))
}

// comment looks for what evenfoot's own files say in comments.
func (c *csvReader) comment(b []byte) {
	key, value, found := strings.Cut(strings.TrimSpace(strings.TrimPrefix(string(b), "#")), ":")
	if !found {
		return
	}
	value = strings.TrimSpace(value)
	switch strings.ToLower(strings.TrimSpace(key)) {
	case "start":
		ns, ok := isoTime([]byte(value))
		if !ok {
			c.notes.warn("comments not understood", c.lines.line, c.lines.pos,
				"The start %q is not an ISO 8601 time such as 2026-09-20T10:00:00Z; it is ignored.", clip(value, 40))
			return
		}
		c.out.start = time.Unix(0, ns).UTC()
	case "device":
		c.out.file.Device = clip(value, 80)
	case "speed":
		if strings.HasPrefix(value, "from positions") {
			c.out.gps.computed = true
		}
	}
}

// rows reads everything below the header.
func (c *csvReader) rows() error {
	for {
		b, whole, long, err := c.lines.read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s, line %d: %w", c.notes.file, c.lines.line, err)
		}
		if long {
			c.notes.warn("lines too long", c.lines.line, c.lines.pos, "The line is longer than %d bytes and is left out.", c.lines.r.Size())
			c.notes.drop(1, "line too long")
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
func (c *csvReader) reserve() {
	per := float64(c.lines.next) / 512
	left := float64(c.size-c.lines.next) / per * 1.01
	for _, s := range []*series{&c.out.acc, &c.out.gyr, &c.out.mag} {
		n := int(left * float64(len(s.v[0])) / 512)
		s.time = slices.Grow(s.time, n*min(1, len(s.time)))
		for k := range s.v {
			s.v[k] = slices.Grow(s.v[k], n)
		}
	}
}

// finish hands the columns on.
func (c *csvReader) finish() (*raw, error) {
	if c.rowsN == 0 {
		return nil, fmt.Errorf("%s: holds a header but no rows", c.notes.file)
	}
	if c.ragged == c.rowsN {
		hint := ""
		if c.delim == ',' {
			hint = " If its numbers have a decimal comma, separate the columns by semicolons or tabs."
		}
		return nil, fmt.Errorf("%s: no row has the %d fields of the header in line %d.%s", c.notes.file, len(c.head), c.headN, hint)
	}
	if c.sharesG {
		c.out.gyr.time = c.out.acc.time[:len(c.out.gyr.v[0])]
	}
	if c.sharesM {
		c.out.mag.time = c.out.acc.time[:len(c.out.mag.v[0])]
	}
	c.time.settle(c.out)
	if c.m != nil && !c.m.start.IsZero() && c.out.start.IsZero() {
		c.out.start = c.m.start
	}
	c.out.file.Dropped = c.notes.dropped
	c.out.warnings = c.notes.warnings()
	return c.out, nil
}

// shiftAll adds d to all times of a raw log; shared times once.
func shiftAll(r *raw, d float64) {
	var done [][]float64
	for _, ts := range [][]float64{r.acc.time, r.gyr.time, r.mag.time, r.gps.time} {
		if len(ts) == 0 || slices.ContainsFunc(done, func(o []float64) bool { return &o[0] == &ts[0] }) {
			continue
		}
		for i := range ts {
			ts[i] += d
		}
		done = append(done, ts)
	}
}

// clip cuts a text for a message.
func clip(s string, n int) string {
	if len(s) > n {
		s = s[:n] + "…"
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}
