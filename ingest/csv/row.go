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
	t              float64 // s, where timed
	timed          bool
	bad, notFinite uint8 // groups
}

// row takes one row in. whole is false when the file ended inside it.
func (c *piece) row(line []byte, whole bool) {
	c.rowsN++
	now := &c.now
	now.timed, now.bad, now.notFinite = false, 0, 0
	i, n, lastAt := 0, 0, 0
	plainTime := c.time.plain()
	for ; n < len(c.cols) && i <= len(line); n++ {
		col := &c.cols[n]
		for i < len(line) && line[i] == ' ' {
			i++
		}
		from := i
		if n == c.last {
			lastAt = i
		}
		switch {
		case col.slot >= 0 && col.slot < unit.SlotCount:
			i = c.number(col, line, i)
		case col.slot == unit.SlotTime && plainTime:
			var kind scan.Kind
			now.t, i, kind = scan.Number(line, i, c.delim, c.dec)
			now.timed = kind == scan.IsNumber && math.Abs(now.t) < timeMost
			now.text[unit.SlotTime-unit.SlotCount] = line[from:i]
		default:
			i = scan.FieldEnd(line, i, c.delim)
			if col.slot != unit.SlotIgnore {
				now.text[col.slot-unit.SlotCount] = line[from:i]
			}
		}
		i++ // the delimiter
	}
	if n <= c.last || len(scan.Trim(line[min(i, len(line)):])) > 0 {
		c.raggedRow(line, n, whole)
		return
	}
	if !whole && c.cols[c.last].slot != unit.SlotMark && !c.lastValue(line[lastAt:]) {
		return
	}
	if !c.tail.varies {
		c.tail.note(line[lastAt:], c.delim, c.dec)
	}
	if !now.timed && !c.when() {
		return
	}
	begins := math.IsInf(c.latest, -1)
	if begins {
		c.first = now.t
	}
	c.back(now.t)
	if c.has[unit.SlotMark] {
		c.noted(now.t, now.text[unit.SlotMark-unit.SlotCount], whole || !c.endsInMark(n, line))
	}
	if begins {
		c.firstMark = c.marked
	}
	c.add(now.t, &now.v, now.bad, now.notFinite)
}

// back notes the time of a row, and where it falls back.
func (c *piece) back(t float64) {
	if t < c.latest-1 && len(c.out.Backs) < maxMarks {
		c.out.Backs = append(c.out.Backs, [2]float64{c.latest, t})
	}
	c.latest = t
}

// maxMarks bounds how many marks are kept.
const maxMarks = 1000

// endsInMark says whether a row of n columns ends inside its mark.
func (c *piece) endsInMark(n int, line []byte) bool {
	return c.cols[n-1].slot == unit.SlotMark && len(line) > 0 && line[len(line)-1] != c.delim
}

// noted takes a row's mark in: a text that the row before does not have.
func (c *piece) noted(t float64, field []byte, whole bool) {
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
func (c *piece) mark(t float64, text []byte) {
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
func (c *piece) number(col *column, line []byte, i int) int {
	x, next, kind := scan.Number(line, i, c.delim, c.dec)
	if kind != scan.IsNumber {
		x = c.oddNumber(col, kind, line[i:next])
	} else if col.degMin {
		x = degrees(x) * col.factor
	} else if col.factor != 1 {
		x *= col.factor
	} else if col.slot != unit.SlotLat && col.slot != unit.SlotLon {
		x = scan.ToFloat32(x, line[i:next], c.dec)
	}
	c.now.v[col.slot] = x
	return next
}

// oddNumber is the value of a field that is no plain number: NaN for most.
func (c *piece) oddNumber(col *column, kind scan.Kind, text []byte) float64 {
	if kind == scan.IsEmpty {
		return raw.NaN
	}
	if kind == scan.IsGarbled {
		if v, ok := col.loose(text, c.dec); ok {
			return v
		}
	}
	c.badField(col, kind, text)
	return raw.NaN
}

// when reads the row's time; false, and told, where it cannot be read.
func (c *piece) when() (ok bool) {
	text := &c.now.text
	stamp, utc, date := text[unit.SlotTime-unit.SlotCount], text[unit.SlotUTC-unit.SlotCount], text[unit.SlotDate-unit.SlotCount]
	if len(date) > 0 {
		utc = joined(scan.Bare(date), scan.Bare(utc))
	}
	if c.now.t, ok = c.time.read(stamp, utc, c.dec); ok {
		return true
	}
	said := scan.Bare(stamp)
	if len(said) == 0 {
		said = scan.Bare(utc)
	}
	if len(said) == 0 {
		c.refuse(raw.Warning{Kind: raw.NoTime})
		return false
	}
	w := raw.Warning{Kind: raw.BadTime, Text: []string{string(said)}}
	if v, kind := scan.SlowNumber(said, c.dec); kind == scan.IsNumber && v >= timeMost && c.time.digits == 0 {
		w.Kind = raw.BigTime
	}
	c.warn(w)
	c.notes.Drop(1, raw.BadTime, "")
	return false
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
			return v * col.factor, true
		case "S", "W":
			return -v * col.factor, true
		}
		return 0, false
	}
	u := unit.Find(col.q.Units, suffix)
	if u == nil {
		return 0, false
	}
	return v * u.Scale * col.scale, true
}

// degrees turns degrees and minutes run together into degrees.
func degrees(ddmm float64) float64 {
	whole := math.Trunc(ddmm / 100)
	return whole + (ddmm-100*whole)/60
}

func (c *piece) badField(col *column, kind scan.Kind, text []byte) {
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

func (c *piece) raggedRow(line []byte, n int, whole bool) {
	if !whole {
		c.refuse(raw.Warning{Kind: raw.CutLine})
		return
	}
	c.ragged++
	if n >= len(c.cols) {
		n = len(fields(line, c.delim))
	}
	c.refuse(raw.Warning{Kind: raw.Ragged, Values: []float64{float64(n), float64(len(c.head))}})
}

// lastValue looks at the last value of a line without an end: it leaves it out,
// with the rest of its sensor, where it may not be whole, and says that it is cut
// only where it shows. false when the row goes with it.
func (c *piece) lastValue(field []byte) (goes bool) {
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
	if len(field) == 0 || field[0] == delim {
		return // a row of another kind
	}
	l.join(lastField{d, zero, d == 0})
}

// join takes in what is known of later rows.
func (l *lastField) join(o lastField) {
	if o == (lastField{}) {
		return
	}
	l.varies = l.varies || o.varies || l.decimals != 0 && o.decimals != l.decimals
	l.decimals = o.decimals
	l.zero = l.zero || o.zero
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
func (c *piece) add(t float64, v *[unit.SlotCount]float64, bad, notFinite uint8) {
	took := false
	if c.has[unit.SlotFix] && v[unit.SlotFix] != 1 { // what there is of the GPS is interpolated
		v[unit.SlotLat], v[unit.SlotLon], v[unit.SlotSpeed] = raw.NaN, raw.NaN, raw.NaN
	}
	if c.axes(v, unit.SlotAcc, groupAcc, bad, notFinite) {
		c.out.Acc.Push(t, v[unit.SlotAcc:unit.SlotAcc+3])
		took = true
	}
	if c.axes(v, unit.SlotGyr, groupGyr, bad, notFinite) {
		c.out.Gyr.Push(t, v[unit.SlotGyr:unit.SlotGyr+3])
		took = true
	}
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
func (c *piece) deck(t float64, v *[unit.SlotCount]float64, bad uint8) bool {
	if !c.deckToo {
		return false
	}
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
	c.out.Deck.Push(t, x[:])
	return true
}

// axes says whether a row holds all three axes of a sensor, and counts those
// that hold one or two.
func (c *piece) axes(v *[unit.SlotCount]float64, slot int, group, bad, notFinite uint8) bool {
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
