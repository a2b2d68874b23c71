package ingest

import (
	"bytes"
	"math"
	"slices"
)

var nan = math.NaN()

var blankRow = [slotCount]float64{nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan}

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
	c.tail.note(line[lastAt:], c.delim, c.dec)

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
		hint := ""
		if v, kind := slowNumber(bare(text), c.dec); kind == fieldNumber && v >= 1e11 && c.time.digits == 0 {
			hint = " It is too large for seconds: name the column time_ms, time_us or time_ns if it counts those."
		}
		c.notes.warn("rows whose time cannot be read", c.lines.line, c.lines.pos, "The time %s cannot be read; the row is left out.%s", quote(text), hint)
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
		"The row has %s where the header has %d; it is left out.", count(n, "field"), len(c.head))
	c.notes.drop(1, "too few or too many fields")
}

// trusted says whether the last value of a line without an end is whole.
func (c *csvReader) trusted(field []byte) bool {
	if c.last < len(c.cols)-1 && bytes.IndexByte(field, c.delim) >= 0 {
		return true // a delimiter closes it
	}
	d, _ := decimalsOf(field, c.delim, c.dec)
	return d > 0 && d == c.tail.decimals && c.tail.zero && !c.tail.varies
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
	i := 0
	for i < len(field) && field[i] != '.' && field[i] != dec {
		if field[i] == delim {
			return 0, false
		}
		i++
	}
	for i++; i < len(field) && field[i]-'0' <= 9; i++ {
		n++
		zero = field[i] == '0'
	}
	if i < len(field) && field[i] != delim {
		return 0, false
	}
	return n, zero
}

// add appends what a row holds to the columns.
func (c *csvReader) add(t float64, v *[slotCount]float64, bad, notFinite uint8) {
	took := false
	if c.export && v[slotFix] != 1 { // what there is of the GPS is interpolated
		v[slotLat], v[slotLon], v[slotSpeed] = nan, nan, nan
	}
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
