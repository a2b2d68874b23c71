package csv

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// Groups of a row, as bits: what is wrong with which sensor.
const (
	groupAcc = 1 << iota
	groupGyr
	groupGPS
	groupDeck
	groupTime
)

// groupOf is the group of each slot of numbers.
var groupOf = func() (g [unit.SlotCount]uint8) {
	for slot := range g {
		switch {
		case slot < unit.SlotGyr:
			g[slot] = groupAcc
		case slot < unit.SlotLat:
			g[slot] = groupGyr
		case slot < unit.SlotFeet:
			g[slot] = groupGPS
		default:
			g[slot] = groupDeck
		}
	}
	return g
}()

var groupNames = map[uint8]string{groupAcc: "accelerometer", groupGyr: "gyroscope",
	groupGPS: "GPS fix", groupDeck: unit.FootForces, groupTime: "row"}

// values are what one row holds.
type values struct {
	v              [unit.SlotCount]float64 // NaN where there is nothing
	text           [unit.SlotMark - unit.SlotCount + 1][]byte
	bad, notFinite uint8 // groups
}

// row takes one row in. whole is false when the file ended inside it.
func (c *reader) row(line []byte, whole bool) {
	c.rowsN++
	now := &c.now
	*now = values{v: unit.Blank}
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
		if col.slot >= 0 && col.slot < unit.SlotCount {
			i = c.number(col, line, i)
		} else if i = scan.FieldEnd(line, i, c.delim); col.slot >= unit.SlotCount {
			now.text[col.slot-unit.SlotCount] = line[from:i]
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
	if n <= c.last || len(scan.Trim(line[min(i, len(line)):])) > 0 {
		c.raggedRow(line, n, whole)
		return
	}
	if !whole && c.cols[c.last].slot != unit.SlotMark && !c.lastValue(line[lastAt:]) {
		return
	}
	c.tail.note(line[lastAt:], c.delim, c.dec)
	t, ok := c.when()
	if !ok {
		return
	}
	if n := len(c.out.Backs); t < c.latest-1 && n < maxMarks {
		c.out.Backs = append(c.out.Backs, [2]float64{c.latest, t})
	}
	c.latest = t
	c.noted(t, now.text[unit.SlotMark-unit.SlotCount], whole || !c.endsInMark(n, line))
	c.add(t, &now.v, now.bad, now.notFinite)
}

// maxMarks bounds how many marks are kept.
const maxMarks = 1000

// endsInMark says whether a row of n columns ends inside its mark.
func (c *reader) endsInMark(n int, line []byte) bool {
	return c.cols[n-1].slot == unit.SlotMark && len(line) > 0 && line[len(line)-1] != c.delim
}

// noted takes a row's mark in: a text that the row before does not have.
func (c *reader) noted(t float64, field []byte, whole bool) {
	text := scan.Bare(field)
	if noMark(text) {
		text = nil
	}
	if string(text) == c.marked {
		return
	}
	if !whole {
		c.notes.Drop(1, raw.NoLineEnd, "mark")
		return
	}
	if c.marked = string(text); len(text) > 0 {
		c.mark(t, text)
	}
}

// noMark says whether a text of the column says that there is none.
func noMark(text []byte) bool {
	return len(text) == 0 || len(text) <= len("false") && slices.Contains([]string{"0", "0.0", "false"}, strings.ToLower(string(text)))
}

// mark keeps the text of a row's mark.
func (c *reader) mark(t float64, text []byte) {
	if m := &c.out.File.Marks; len(*m) < maxMarks {
		*m = append(*m, raw.Mark{At: t, Kind: raw.Noted, Behind: len(c.out.Backs), Text: raw.Clip(string(text), maxMarkText)})
	}
}

// uncount takes the text off marks that a logger counts: 1, 2, 3 is no share
// of anything.
func uncount(marks []raw.Mark) {
	for i, m := range marks {
		if n, err := strconv.Atoi(m.Text); err != nil || n != i+1 {
			return
		}
	}
	if len(marks) > 1 {
		for i := range marks {
			marks[i].Text = ""
		}
	}
}

// maxMarkText bounds what is kept of a mark, bytes.
const maxMarkText = 80

// number reads the number of a column at line[i]; it returns where it ends.
func (c *reader) number(col *column, line []byte, i int) int {
	x, next, kind := scan.Number(line, i, c.delim, c.dec)
	text, v := line[i:next], &c.now.v[col.slot]
	switch {
	case kind == scan.IsEmpty:
	case kind == scan.IsNumber && col.degMin:
		*v = degrees(x) * col.scale
	case kind == scan.IsNumber && col.scale != 1:
		*v = x * col.scale
	case kind == scan.IsNumber && (col.slot == unit.SlotLat || col.slot == unit.SlotLon):
		*v = x
	case kind == scan.IsNumber:
		*v = scan.ToFloat32(x, text, c.dec)
	default:
		loose, ok := 0.0, false
		if kind == scan.IsGarbled {
			loose, ok = col.loose(text, c.dec)
		}
		if ok {
			*v = loose
		} else {
			c.badField(col, kind, text)
		}
	}
	return next
}

// when is the row's time, s; false, and told, where it cannot be read.
func (c *reader) when() (t float64, ok bool) {
	text := &c.now.text
	stamp, utc, date := text[unit.SlotTime-unit.SlotCount], text[unit.SlotUTC-unit.SlotCount], text[unit.SlotDate-unit.SlotCount]
	if len(date) > 0 {
		utc = joined(scan.Bare(date), scan.Bare(utc))
	}
	if t, ok = c.time.read(stamp, utc, c.dec); ok {
		return t, true
	}
	said := scan.Bare(stamp)
	if len(said) == 0 {
		said = scan.Bare(utc)
	}
	if len(said) == 0 {
		c.refuse(raw.Warning{Kind: raw.NoTime})
		return 0, false
	}
	w := raw.Warning{Kind: raw.BadTime, Text: []string{string(said)}}
	if v, kind := scan.SlowNumber(said, c.dec); kind == scan.IsNumber && v >= 1e11 && c.time.digits == 0 {
		w.Kind = raw.BigTime
	}
	c.warn(w)
	c.notes.Drop(1, raw.BadTime, "")
	return 0, false
}

// loose reads a value with its unit or hemisphere behind it.
func (col *column) loose(text []byte, dec byte) (float64, bool) {
	v, suffix, ok := scan.Loose(text, dec)
	if !ok || suffix == "" {
		return 0, false
	}
	if col.slot == unit.SlotLat || col.slot == unit.SlotLon {
		if col.degMin {
			v = degrees(v)
		}
		switch strings.ToUpper(suffix) {
		case "N", "E", "°":
			return v * col.scale, true
		case "S", "W":
			return -v * col.scale, true
		}
		return 0, false
	}
	u := unit.Find(col.units, suffix)
	if u == nil {
		return 0, false
	}
	return v * u.Scale, true
}

// degrees turns degrees and minutes run together into degrees.
func degrees(ddmm float64) float64 {
	whole := math.Trunc(ddmm / 100)
	return whole + (ddmm-100*whole)/60
}

// refuse warns of the line at hand, which is left out.
func (c *reader) refuse(w raw.Warning) {
	w.Line = c.lines.line
	c.notes.Refuse(w, "")
}

// warn tells something about the line at hand.
func (c *reader) warn(w raw.Warning) {
	w.Line = c.lines.line
	c.notes.Warn(w)
}

func (c *reader) badField(col *column, kind scan.Kind, text []byte) {
	g := groupOf[col.slot]
	if kind == scan.IsNotFinite {
		c.now.notFinite |= g
		return
	}
	if col.slot == unit.SlotAlt || col.slot == unit.SlotCourse {
		c.warn(raw.Warning{Kind: raw.NotNumber, Text: []string{string(text), col.name}})
		return
	}
	c.now.bad |= g
	c.warn(raw.Warning{Kind: raw.NotNumber, Sensor: groupNames[g], Text: []string{string(text), col.name}})
}

func (c *reader) raggedRow(line []byte, n int, whole bool) {
	if !whole {
		c.refuse(raw.Warning{Kind: raw.CutLine})
		return
	}
	c.ragged++
	if n >= len(c.cols) {
		n = len(headerNames(line, c.delim))
	}
	c.refuse(raw.Warning{Kind: raw.Ragged, Values: []float64{float64(n), float64(len(c.head))}})
}

// lastValue looks at the last value of a line without an end: it leaves it out,
// with the rest of its sensor, where it may not be whole, and says that it is cut
// only where it shows. false when the row goes with it.
func (c *reader) lastValue(field []byte) (goes bool) {
	if c.last < len(c.cols)-1 && bytes.IndexByte(field, c.delim) >= 0 {
		return true // a delimiter closes it
	}
	d, _ := decimalsOf(field, c.delim, c.dec)
	fixed := c.tail.zero && !c.tail.varies
	if fixed && d == c.tail.decimals {
		return true
	}
	g := uint8(groupTime)
	if slot := c.cols[c.last].slot; slot < unit.SlotCount {
		g = groupOf[slot]
	}
	if fixed {
		c.refuse(raw.Warning{Kind: raw.CutLine, Sensor: groupNames[g], Text: []string{string(field)}})
	} else {
		c.notes.Drop(1, raw.NoLineEnd, groupNames[g])
	}
	for slot := range c.now.v {
		if groupOf[slot] == g {
			c.now.v[slot] = raw.NaN
		}
	}
	return g != groupTime
}

// A lastField knows how the last number of a row is written: a program that
// always writes the same number of decimals, zeros at the end included, never
// writes fewer, so that a number with fewer was cut.
type lastField struct {
	decimals int
	zero     bool // one ended in a zero
	varies   bool
}

func (l *lastField) note(field []byte, delim, dec byte) {
	d, zero := decimalsOf(field, delim, dec)
	if len(field) == 0 || field[0] == delim || l.varies {
		return // a row of another kind
	}
	l.varies = d == 0 || l.decimals != 0 && d != l.decimals
	l.decimals = d
	l.zero = l.zero || zero
}

// decimalsOf counts the digits behind the decimal mark, 0 for anything else,
// and says whether the last of them is a zero.
func decimalsOf(field []byte, delim, dec byte) (n int, zero bool) {
	if i := bytes.IndexByte(field, delim); i >= 0 {
		field = field[:i]
	}
	i := bytes.IndexByte(field, '.')
	if i < 0 {
		i = bytes.IndexByte(field, dec)
	}
	if n = len(field) - 1 - i; i < 0 || n == 0 || len(bytes.Trim(field[i+1:], "0123456789")) > 0 {
		return 0, false
	}
	return n, field[len(field)-1] == '0'
}

// add appends what a row holds to the columns.
func (c *reader) add(t float64, v *[unit.SlotCount]float64, bad, notFinite uint8) {
	took := false
	if c.export && v[unit.SlotFix] != 1 { // what there is of the GPS is interpolated
		v[unit.SlotLat], v[unit.SlotLon], v[unit.SlotSpeed] = raw.NaN, raw.NaN, raw.NaN
	}
	acc := c.axes(v, unit.SlotAcc, groupAcc, bad, notFinite)
	gyr := c.axes(v, unit.SlotGyr, groupGyr, bad, notFinite)
	if acc {
		c.out.Acc.Push(t, v[unit.SlotAcc:unit.SlotAcc+3], true)
		took = true
	}
	took = c.follow(acc, gyr, t, v[unit.SlotGyr:unit.SlotGyr+3]) || took

	if bad&groupGPS != 0 {
		c.notes.Drop(1, raw.NotNumber, groupNames[groupGPS])
	} else if v[unit.SlotLat] == v[unit.SlotLat] || v[unit.SlotLon] == v[unit.SlotLon] || v[unit.SlotSpeed] == v[unit.SlotSpeed] {
		c.out.Gps.Append(t, v[unit.SlotLat], v[unit.SlotLon], v[unit.SlotAlt], v[unit.SlotSpeed], v[unit.SlotCourse])
		took = true
	}
	took = c.deck(t, v, bad) || took
	if !took && notFinite != 0 {
		c.notes.Drop(1, raw.NotFinite, "")
	}
}

// deck appends what presses on the deck; a foot counts only beside the other.
func (c *reader) deck(t float64, v *[unit.SlotCount]float64, bad uint8) bool {
	at := unit.SlotFeet
	if c.out.Sides {
		at += 2
	}
	front, back, moment := float32(v[at]), float32(v[at+1]), float32(v[unit.SlotMoment])
	known := func(x float32) bool { return x-x == 0 }
	if bad&groupDeck != 0 {
		c.notes.Drop(1, raw.NotNumber, unit.FootForces)
		return false
	}
	both := known(front) && known(back) || c.oneFoot && (known(front) || known(back))
	if known(front) != known(back) && !c.oneFoot {
		c.notes.Drop(1, raw.FootMissing, unit.FootForces)
	}
	if !both && !known(moment) {
		return false
	}
	x := [3]float64{raw.NaN, raw.NaN, raw.NaN}
	if both {
		x[0], x[1] = v[at], v[at+1]
	}
	if known(moment) {
		x[2] = v[unit.SlotMoment]
	}
	c.out.Deck.Push(t, x[:], true)
	return true
}

// axes says whether a row holds all three axes of a sensor, and counts those
// that hold one or two.
func (c *reader) axes(v *[unit.SlotCount]float64, slot int, group, bad, notFinite uint8) bool {
	x, y, z := v[slot], v[slot+1], v[slot+2]
	if x == x && y == y && z == z && bad&group == 0 {
		return true
	}
	switch {
	case bad&group != 0:
		c.notes.Drop(1, raw.NotNumber, groupNames[group])
	case x == x || y == y || z == z:
		if notFinite&group != 0 {
			c.notes.Drop(1, raw.NotFinite, groupNames[group])
		} else {
			c.notes.Drop(1, raw.AxisMissing, groupNames[group])
		}
	}
	return false
}

// follow appends to the gyroscope, which mostly comes in the accelerometer's
// rows. While it always does, it shares that sensor's times.
func (c *reader) follow(acc, has bool, t float64, v []float64) bool {
	s := &c.out.Gyr
	if c.shares && acc != has {
		s.Time = slices.Clone(c.out.Acc.Time[:len(s.V[0])])
		c.shares = false
	}
	if has {
		s.Push(t, v, !c.shares)
	}
	return has
}
