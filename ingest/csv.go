package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
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
	last    int // last column in use
	sharesG bool
	sharesM bool

	decimals [16]uint8 // of the last field in recent rows
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
		cols, err := c.m.columns(c.head)
		if err != nil {
			return fmt.Errorf("%s, line %d: %w. The header is: %s", c.notes.file, c.headN, err, sentenceHeader(c.head))
		}
		c.cols = cols
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
	known := hasSlot(c.cols, slotTime) || hasSlot(c.cols, slotUTC)
	measured := false
	for i, col := range c.cols {
		if col.slot != slotIgnore {
			c.last = i
			measured = measured || (col.slot < slotCount && col.slot != slotAlt && col.slot != slotCourse)
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
		case slotSpeed:
			c.out.gps.speedUnit = col.unit
		}
	}
	return nil
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

var nan = math.NaN()

var blankRow = [slotCount]float64{nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan}

// Groups of a row, as bits: what is wrong with which sensor.
const (
	groupAcc = 1 << iota
	groupGyr
	groupMag
	groupGPS
	groupTime
	groupNone = 0
)

func groupOf(slot int) uint8 {
	switch {
	case slot < 0:
		return groupNone
	case slot < slotGyr:
		return groupAcc
	case slot < slotMag:
		return groupGyr
	case slot < slotLat:
		return groupMag
	case slot < slotCount:
		return groupGPS
	}
	return groupTime
}

var groupNames = map[uint8]string{groupAcc: "accelerometer", groupGyr: "gyroscope",
	groupMag: "magnetometer", groupGPS: "GPS fix", groupTime: "row"}

// row takes one row in. whole is false when the file ended inside it.
func (c *csvReader) row(line []byte, whole bool) {
	c.rowsN++
	v := blankRow
	var bad, notFinite uint8
	var stamp, utc []byte
	i, n := 0, 0
	lastAt := 0
	for n < len(c.cols) {
		col := &c.cols[n]
		for i < len(line) && line[i] == ' ' {
			i++
		}
		from := i
		if n == c.last {
			lastAt = i
		}
		switch {
		case col.slot == slotIgnore:
			i = fieldEnd(line, i, c.delim)
		case col.slot >= slotCount:
			i = fieldEnd(line, i, c.delim)
			if col.slot == slotTime {
				stamp = line[from:i]
			} else {
				utc = line[from:i]
			}
		default:
			x, next, kind := scanNumber(line, i, c.delim, c.dec)
			i = next
			if kind == fieldNumber {
				if col.scale == 1 {
					if col.slot != slotLat && col.slot != slotLon {
						x = toFloat32(x, line[from:i], c.dec)
					}
					v[col.slot] = x
				} else {
					v[col.slot] = x * col.scale
				}
			} else if kind != fieldEmpty {
				c.badField(col, kind, line[from:i], &bad, &notFinite)
			}
		}
		n++
		if i >= len(line) {
			break
		}
		i++ // the delimiter
		if i == len(line) && n < len(c.cols) {
			n++ // an empty last field
			break
		}
	}
	if n <= c.last || len(trim(line[min(i, len(line)):])) > 0 {
		c.raggedRow(line, n, whole)
		return
	}
	if !whole && !c.trusted(line[lastAt:]) {
		g := groupOf(c.cols[c.last].slot)
		c.notes.warn("lines cut off", c.lines.line, c.lines.pos,
			"The file ends inside this line; the value %s may be cut, so the %s of this line is left out.",
			quote(line[lastAt:]), groupNames[g])
		c.notes.drop(1, "the file ends inside the line")
		bad |= g
		if g == groupTime {
			return
		}
	}
	c.decimals[c.rowsN%len(c.decimals)] = decimalsOf(line[lastAt:], c.delim, c.dec)

	t, ok := c.time.read(stamp, utc, c.dec)
	if !ok {
		text := stamp
		if len(bare(text)) == 0 {
			text = utc
		}
		if len(bare(text)) == 0 {
			c.notes.warn("rows without a time", c.lines.line, c.lines.pos, "The row has no time and is left out.")
			c.notes.drop(1, "no time")
			return
		}
		c.notes.warn("rows whose time cannot be read", c.lines.line, c.lines.pos, "The time %s cannot be read; the row is left out.", quote(text))
		c.notes.drop(1, "time cannot be read")
		return
	}
	c.add(t, &v, bad, notFinite)
}

func (c *csvReader) badField(col *column, kind fieldKind, text []byte, bad, notFinite *uint8) {
	g := groupOf(col.slot)
	if kind == fieldNotFinite {
		*notFinite |= g
		return
	}
	if col.slot == slotAlt || col.slot == slotCourse {
		c.notes.warn("values that are not a number", c.lines.line, c.lines.pos,
			"%s in column %q is not a number and is left out.", quote(text), col.name)
		return
	}
	*bad |= g
	c.notes.warn("values that are not a number", c.lines.line, c.lines.pos,
		"%s in column %q is not a number; the %s of this row is left out.", quote(text), col.name, groupNames[g])
}

func (c *csvReader) raggedRow(line []byte, n int, whole bool) {
	if !whole {
		c.notes.warn("lines cut off", c.lines.line, c.lines.pos, "The file ends inside this line, which is left out.")
		c.notes.drop(1, "the file ends inside the line")
		return
	}
	c.ragged++
	if n >= len(c.cols) {
		n = len(headerNames(line, c.delim))
	}
	c.notes.warn("rows with too few or too many fields", c.lines.line, c.lines.pos,
		"The row has %d fields where the header has %d; it is left out.", n, len(c.head))
	c.notes.drop(1, "too few or too many fields")
}

// trusted says whether the last value of a line without an end is whole: all
// recent rows have the same number of decimals there, and so has it.
func (c *csvReader) trusted(field []byte) bool {
	if c.last < len(c.cols)-1 && bytes.IndexByte(field, c.delim) >= 0 {
		return true // a delimiter closes it
	}
	d := decimalsOf(field, c.delim, c.dec)
	if d == 0 || c.rowsN < 3 {
		return false
	}
	for i := range min(len(c.decimals), c.rowsN-1) {
		if c.decimals[(c.rowsN-1-i)%len(c.decimals)] != d {
			return false
		}
	}
	return true
}

// decimalsOf counts the digits behind the decimal mark; 0 for anything else.
func decimalsOf(field []byte, delim, dec byte) uint8 {
	n := 0
	for i, b := range field {
		switch {
		case b == delim:
			return uint8(min(n, 255))
		case n > 0 && b-'0' > 9:
			return 0
		case b == '.' || b == dec:
			n = len(field) - i - 1
			for j, x := range field[i+1:] {
				if x-'0' > 9 {
					if x != delim {
						return 0
					}
					n = j
					break
				}
			}
			return uint8(min(n, 255))
		}
	}
	return 0
}

// add appends what a row holds to the columns.
func (c *csvReader) add(t float64, v *[slotCount]float64, bad, notFinite uint8) {
	took := false
	acc := c.axes(v, slotAcc, groupAcc, bad, notFinite)
	gyr := c.axes(v, slotGyr, groupGyr, bad, notFinite)
	mag := c.axes(v, slotMag, groupMag, bad, notFinite)
	if acc {
		c.out.acc.push(t, v[slotAcc:slotAcc+3], true)
		took = true
	}
	took = c.follow(&c.out.gyr, &c.sharesG, acc, gyr, t, v[slotGyr:slotGyr+3]) || took
	took = c.follow(&c.out.mag, &c.sharesM, acc, mag, t, v[slotMag:slotMag+3]) || took

	if bad&groupGPS != 0 {
		c.notes.drop(1, "GPS fix with a value that is not a number")
	} else if v[slotLat] == v[slotLat] || v[slotLon] == v[slotLon] || v[slotSpeed] == v[slotSpeed] {
		g := &c.out.gps
		g.time = append(g.time, t)
		g.lat = append(g.lat, v[slotLat])
		g.lon = append(g.lon, v[slotLon])
		g.alt = append(g.alt, float32(v[slotAlt]))
		g.speed = append(g.speed, float32(v[slotSpeed]))
		g.course = append(g.course, float32(v[slotCourse]))
		took = true
	}
	if !took && notFinite != 0 {
		c.notes.drop(1, "NaN or infinite value")
	}
}

// axes says whether a row holds all three axes of a sensor, and counts those
// that hold one or two.
func (c *csvReader) axes(v *[slotCount]float64, slot int, group, bad, notFinite uint8) bool {
	x, y, z := v[slot], v[slot+1], v[slot+2]
	if x == x && y == y && z == z && bad&group == 0 {
		return true
	}
	switch {
	case bad&group != 0:
		c.notes.drop(1, groupNames[group]+" with a value that is not a number")
	case x == x || y == y || z == z:
		if notFinite&group != 0 {
			c.notes.drop(1, groupNames[group]+" with a NaN or infinite value")
		} else {
			c.notes.drop(1, groupNames[group]+" with an axis missing")
		}
	}
	return false
}

// follow appends to a sensor that mostly comes in the accelerometer's rows.
// While it always does, it shares that sensor's times.
func (c *csvReader) follow(s *series, shares *bool, acc, has bool, t float64, v []float64) bool {
	if *shares && acc != has {
		n := len(s.v[0])
		s.time = slices.Clone(c.out.acc.time[:n])
		*shares = false
	}
	if has {
		s.push(t, v, !*shares)
	}
	return has
}

// push appends one sample, with its time when the series has its own.
func (s *series) push(t float64, v []float64, withTime bool) {
	if withTime {
		s.time = append(s.time, t)
	}
	s.v[0] = append(s.v[0], float32(v[0]))
	s.v[1] = append(s.v[1], float32(v[1]))
	s.v[2] = append(s.v[2], float32(v[2]))
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

// A timeReader turns stamps into seconds.
type timeReader struct {
	digits int  // of the time column's unit
	mode   byte // 0 not yet known, 'r' relative, 'u' Unix time, 'i' ISO
	zero   int64
	// A relative time column beside a UTC one: UTC of its zero.
	utcZero int64
	hasUTC  bool
}

var errRange = errors.New("out of range")

// read turns the time column, or failing that the UTC column, into seconds.
func (r *timeReader) read(stamp, utc []byte, dec byte) (float64, bool) {
	if len(stamp) > 0 {
		t, err := r.number(bare(stamp), dec)
		if err == nil {
			if r.mode == 'r' && !r.hasUTC && len(utc) > 0 {
				if ns, ok := isoTime(bare(utc)); ok {
					r.hasUTC = true
					r.utcZero = ns - int64(math.Round(t*1e9))
				}
			}
			return t, true
		}
		return 0, false
	}
	if len(utc) == 0 {
		return 0, false
	}
	ns, ok := isoTime(bare(utc))
	if !ok {
		return 0, false
	}
	if r.mode == 0 {
		r.mode, r.zero = 'i', ns
	}
	if r.mode == 'r' {
		if !r.hasUTC {
			return 0, false
		}
		return float64(ns-r.utcZero) / 1e9, true
	}
	return float64(ns-r.zero) / 1e9, true
}

func (r *timeReader) number(b []byte, dec byte) (float64, error) {
	if r.mode == 'r' && r.digits == 0 { // as it stands: nothing to lose
		if v, next, kind := scanNumber(b, 0, 0, dec); kind == fieldNumber && next == len(b) && math.Abs(v) < 1e11 {
			return v, nil
		}
		return 0, errRange
	}
	ns, ok := decimalNS(b, dec, r.digits)
	if !ok {
		v, kind := slowNumber(b, dec)
		v *= math.Pow10(-r.digits)
		if kind != fieldNumber || math.Abs(v) > 9.2e9 {
			return 0, errRange
		}
		ns = int64(v * 1e9)
	}
	if r.mode == 0 {
		if ns > 1e18 { // Unix seconds above 1e9
			r.mode, r.zero = 'u', ns
		} else {
			r.mode = 'r'
			return r.number(b, dec)
		}
	}
	if r.mode == 'u' || r.mode == 'i' {
		return float64(ns-r.zero) / 1e9, nil
	}
	return float64(ns) / 1e9, nil
}

// settle sets the start that the stamps imply.
func (r *timeReader) settle(out *raw) {
	switch {
	case r.mode == 'u' || r.mode == 'i':
		out.start = time.Unix(0, r.zero).UTC()
	case r.hasUTC:
		out.start = time.Unix(0, r.utcZero).UTC()
	}
	if r.mode != 'r' || r.hasUTC {
		return
	}
	// A clock that was set to Unix time on the way.
	zero := 0.0
	for _, ts := range [][]float64{out.acc.time, out.gyr.time, out.gps.time} {
		if i := slices.IndexFunc(ts, func(t float64) bool { return t > 1e9 }); i >= 0 && (zero == 0 || ts[i] < zero) {
			zero = math.Floor(ts[i])
		}
	}
	if zero == 0 {
		return
	}
	out.start = time.Unix(int64(zero), 0).UTC()
	shiftAll(out, -zero)
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
