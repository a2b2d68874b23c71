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

var groupNames = map[uint8]string{groupAcc: unit.SensorNames[unit.Acc], groupGyr: unit.SensorNames[unit.Gyr],
	groupGPS: "GPS fix", groupDeck: unit.FootForces, groupTime: "row"}

func groupOf(slot int) uint8 {
	switch {
	case slot < unit.SlotGyr:
		return groupAcc
	case slot < unit.SlotLat:
		return groupGyr
	case slot < unit.SlotFeet:
		return groupGPS
	case slot < unit.SlotCount:
		return groupDeck
	}
	return groupTime
}

// values are what one row holds.
type values struct {
	v              [unit.SlotCount]float64 // NaN where there is nothing
	text           [unit.SlotMark + 1 - unit.SlotCount][]byte
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
	if !now.timed && !c.when() {
		return
	}
	begins := math.IsInf(c.latest, -1)
	if begins {
		c.first = now.t
	}
	c.back(now.t)
	if c.has[unit.SlotMark] {
		c.noted(whole || c.cols[n-1].slot != unit.SlotMark || line[len(line)-1] == c.delim)
	}
	if begins {
		c.firstMark = c.marked
	}
	c.add()
}

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

// oddNumber is the value of a field that is no plain number: NaN, and told, for
// most.
func (c *piece) oddNumber(col *column, kind scan.Kind, text []byte) float64 {
	g := groupOf(col.slot)
	switch kind {
	case scan.IsEmpty:
		return raw.NaN
	case scan.IsNotFinite:
		c.now.notFinite |= g
		return raw.NaN
	}
	if v, ok := col.loose(text, c.dec); ok {
		return v
	}
	w := raw.Warning{Kind: raw.NotNumber, Text: []string{string(text), col.name}}
	if col.slot != unit.SlotAlt && col.slot != unit.SlotCourse { // without which the rest counts
		c.now.bad |= g
		w.Sensor = groupNames[g]
	}
	c.warn(w)
	return raw.NaN
}

// loose reads a value with its unit or hemisphere behind it.
func (col *column) loose(text []byte, dec byte) (float64, bool) {
	v, suffix, ok := scan.Loose(text, dec)
	if !ok || suffix == "" || col.q == nil {
		return 0, false
	}
	if col.slot != unit.SlotLat && col.slot != unit.SlotLon {
		u := unit.Find(col.q.Units, suffix)
		if u == nil {
			return 0, false
		}
		return v * u.Scale * col.scale, true
	}
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

// degrees turns degrees and minutes run together into degrees.
func degrees(ddmm float64) float64 {
	whole := math.Trunc(ddmm / 100)
	return whole + (ddmm-100*whole)/60
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
//
// A program that always writes the same number of decimals, zeros at the end
// included, never writes fewer, so that a number with fewer was cut.
func (c *piece) lastValue(field []byte) (goes bool) {
	if c.last < len(c.cols)-1 && bytes.IndexByte(field, c.delim) >= 0 {
		return true // a delimiter closes it
	}
	g := groupOf(c.cols[c.last].slot)
	holds := g == groupTime || c.now.bad&g != 0
	for slot, v := range c.now.v {
		holds = holds || groupOf(slot) == g && v == v
	}
	if !holds {
		return true // the row has nothing of the sensor
	}
	usual, zero, varies := 0, false, false
	for line := range bytes.SplitSeq(c.before, []byte{c.eol}) {
		texts := fields(bytes.TrimSuffix(line, []byte{'\r'}), c.delim)
		if len(texts) < len(c.cols) || texts[c.last] == "" {
			continue // no row, or one of another kind
		}
		d := c.decimalsOf(texts[c.last])
		varies = varies || d == 0 || usual != 0 && d != usual
		usual, zero = d, zero || strings.HasSuffix(texts[c.last], "0")
	}
	fixed := zero && !varies
	if fixed && c.decimalsOf(string(scan.Bare(field))) == usual {
		return true
	}
	if fixed {
		c.refuse(raw.Warning{Kind: raw.CutLine, Sensor: groupNames[g], Text: []string{string(field)}})
	} else {
		c.notes.Drop(1, raw.NoLineEnd, groupNames[g])
	}
	for slot := range c.now.v {
		if groupOf(slot) == g {
			c.now.v[slot] = raw.NaN
		}
	}
	return g != groupTime
}

// decimalsOf counts the digits behind the decimal mark, 0 for anything else.
func (c *piece) decimalsOf(number string) int {
	i := strings.IndexAny(number, "."+string(c.dec))
	if i < 0 || strings.Trim(number[i+1:], "0123456789") != "" {
		return 0
	}
	return len(number) - 1 - i
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
	w := raw.Warning{Kind: raw.NoTime}
	if len(said) > 0 {
		w = raw.Warning{Kind: raw.BadTime, Text: []string{string(said)}}
	}
	c.notes.Drop(1, w.Kind, "")
	if v, kind := scan.SlowNumber(said, c.dec); kind == scan.IsNumber && v >= timeMost && c.time.digits == 0 {
		w.Kind = raw.BigTime
	} else if w.Kind == raw.BadTime {
		if c.unread++; c.unread == 1 {
			c.unreadLine, c.firstUnread = c.line, raw.Clip(string(said), 40)
		}
	}
	c.warn(w)
	return false
}

// maxMarks bounds how many marks are kept, and how many times that fall back;
// maxMarkText what is kept of a mark, bytes.
const maxMarks, maxMarkText = 1000, 80

// back notes the time of a row, and where it falls back.
func (c *piece) back(t float64) {
	if t < c.latest-1 && len(c.out.Backs) < maxMarks {
		c.out.Backs = append(c.out.Backs, [2]float64{c.latest, t})
	}
	c.latest = t
}

// noted takes the row's mark in: a text that the row before does not have.
func (c *piece) noted(whole bool) {
	text := string(scan.Bare(c.now.text[unit.SlotMark-unit.SlotCount]))
	if slices.Contains([]string{"0", "0.0", "false"}, strings.ToLower(text)) {
		text = "" // none
	}
	switch marks := &c.out.File.Marks; {
	case text == c.marked:
		return
	case !whole:
		c.notes.Drop(1, raw.NoLineEnd, "mark")
		return
	case text != "" && len(*marks) < maxMarks:
		*marks = append(*marks, raw.Mark{At: c.now.t, Kind: raw.Noted, Behind: len(c.out.Backs), Text: raw.Clip(text, maxMarkText)})
	}
	c.marked = text
}

// uncount takes the text off marks that a logger counts: 1, 2, 3 is no share
// of anything.
func uncount(marks []raw.Mark) {
	for i, m := range marks {
		if n, err := strconv.Atoi(m.Text); err != nil || n != i+1 || len(marks) == 1 {
			return
		}
	}
	for i := range marks {
		marks[i].Text = ""
	}
}

// add appends what the row holds to the columns.
func (c *piece) add() {
	t, v := c.now.t, &c.now.v
	if c.has[unit.SlotFix] && v[unit.SlotFix] != 1 { // what there is of the GPS is interpolated
		v[unit.SlotLat], v[unit.SlotLon], v[unit.SlotSpeed] = raw.NaN, raw.NaN, raw.NaN
	}
	took := c.axes(t, unit.SlotAcc, groupAcc, &c.out.Acc)
	took = c.axes(t, unit.SlotGyr, groupGyr, &c.out.Gyr) || took
	if c.now.bad&groupGPS != 0 {
		c.notes.Drop(1, raw.NotNumber, groupNames[groupGPS])
	} else if v[unit.SlotLat] == v[unit.SlotLat] || v[unit.SlotLon] == v[unit.SlotLon] || v[unit.SlotSpeed] == v[unit.SlotSpeed] {
		c.out.Gps.Append(t, v[unit.SlotLat], v[unit.SlotLon], v[unit.SlotAlt], v[unit.SlotSpeed], v[unit.SlotCourse])
		took = true
	}
	took = c.deckToo && c.deck(t) || took
	if !took && c.now.notFinite != 0 {
		c.notes.Drop(1, raw.NotFinite, "")
	}
}

// axes appends a sensor of which the row holds all three axes, and counts rows
// that hold one or two.
func (c *piece) axes(t float64, slot int, group uint8, to *raw.Series) bool {
	v := c.now.v[slot : slot+3]
	x, y, z := v[0] == v[0], v[1] == v[1], v[2] == v[2]
	switch {
	case c.now.bad&group != 0:
		c.notes.Drop(1, raw.NotNumber, groupNames[group])
	case x && y && z:
		to.Push(t, v)
		return true
	case !x && !y && !z:
	case c.now.notFinite&group != 0:
		c.notes.Drop(1, raw.NotFinite, groupNames[group])
	default:
		c.notes.Drop(1, raw.AxisMissing, groupNames[group])
	}
	return false
}

// deck appends what presses on the deck; a foot counts only beside the other.
func (c *piece) deck(t float64) bool {
	if c.now.bad&groupDeck != 0 {
		c.notes.Drop(1, raw.NotNumber, unit.FootForces)
		return false
	}
	at := unit.SlotFeet
	if c.out.Sides {
		at += 2
	}
	x := [3]float64{c.now.v[at], c.now.v[at+1], c.now.v[unit.SlotMoment]}
	var known [3]bool
	for k := range x {
		f := float32(x[k])
		if known[k] = f-f == 0; !known[k] {
			x[k] = raw.NaN
		}
	}
	if known[0] != known[1] && !c.oneFoot {
		c.notes.Drop(1, raw.FootMissing, unit.FootForces)
		x[0], x[1], known[0], known[1] = raw.NaN, raw.NaN, false, false
	}
	if !known[0] && !known[1] && !known[2] {
		return false
	}
	c.out.Deck.Push(t, x[:])
	return true
}
