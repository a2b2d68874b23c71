// Package gpx reads the tracks of GPX files, and inertial samples in their
// extensions.
//
// Of this module it imports only raw, scan and unit.
package gpx

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

const (
	maxDepth = 1000 // of nested elements
	maxValue = 128  // bytes of the text of one value
	maxNames = 1000 // of elements whose meaning is kept
)

// Texts that are kept besides numbers, by slots of their own.
const (
	slotName = 100 + iota
	slotSport
)

// A use is what an element is read for.
type use struct {
	slot   int
	direct bool // only as a child of a point
	vector bool // all axes of the sensor whose x axis the slot is, as attributes
	scale  float64
	unit   string
}

var none = use{slot: unit.SlotIgnore}

// A point is the track point being read.
type point struct {
	line     int
	depth    int
	way      bool // a waypoint, not of the track
	lat, lon float64
	place    []string // latitude and longitude as written, of a bad position
	name     string
	time     []byte
	v        [unit.SlotCount]float64 // NaN where there is nothing
	samples  []sample
}

// A sample is an inertial one, held until its point's time is known.
type sample struct {
	kind int
	ms   float64 // after the point
	v    [3]float64
}

type reader struct {
	raw.Notes
	x     *scanner
	out   raw.Columns
	size  int64
	depth int
	in    bool // inside a point
	p     point
	uses  map[string]use // by an element's name

	kept   use // what the open element's text is kept for
	at     int // its depth
	sport  string
	zero   time.Time // of the first track point
	noZone bool
}

// Read reads the tracks of a GPX 1.0 or 1.1 file. It returns an error only
// when no track point is of use; a file that is cut short gives the points
// that are whole, with a warning.
func Read(r *bufio.Reader, name string, size int64) (*raw.Columns, error) {
	x, unknown := newScanner(r)
	g := &reader{Notes: raw.Notes{File: name}, x: x, size: size, uses: map[string]use{}}
	out := &g.out
	out.File.Name, out.File.Kind = name, "GPX"
	if unknown != "" {
		g.Warn(raw.Warning{Kind: raw.UnknownEncoding, Line: 1, Text: []string{unknown}})
	}
	err := x.next()
	for ; err == nil; err = x.next() {
		if x.open {
			g.start()
		}
		if g.depth > maxDepth {
			err = fmt.Errorf("elements are nested more than %d deep", maxDepth)
			break
		}
		if x.close {
			g.end()
		}
	}
	if x.entity > 0 {
		g.Warn(raw.Warning{Kind: raw.Entities, Line: x.entity})
	}
	switch {
	case err == io.EOF && g.depth > 0, err == io.ErrUnexpectedEOF:
		g.Warn(raw.Warning{Kind: raw.CutXML, Line: x.line})
	case err != io.EOF:
		g.Warn(raw.Warning{Kind: raw.BadXML, Line: x.line, Text: []string{err.Error()}})
	}
	out.Start = g.zero
	g.Settle(out)
	if len(out.Gps.Time) > 0 {
		return out, nil
	}
	return nil, out.Useless("no track point with a time and a position in this GPX file")
}

// start takes in a start tag.
func (g *reader) start() {
	x := g.x
	g.depth++
	track := string(x.name) == "trkpt"
	if x.broken && !track { // of a point its position tells
		g.Warn(raw.Warning{Kind: raw.BrokenTag, Line: x.at, Text: []string{string(x.name)}})
	}
	if x.keep {
		return
	}
	switch {
	case g.in && track && g.depth == g.p.depth+1:
		g.Warn(raw.Warning{Kind: raw.NestedPoint, Line: x.at})
		g.begin()
	case g.in:
		g.kept, g.at, x.text = g.inside(x.name), g.depth, x.text[:0]
		x.keep = g.kept.slot != unit.SlotIgnore
	case track, string(x.name) == "wpt":
		g.begin()
		g.p.way = !track
	case string(x.name) == "type" && g.depth == 3: // of gpx, trk
		g.kept, g.at, x.text, x.keep = use{slot: slotSport}, g.depth, x.text[:0], true
	case string(x.name) == "rtept":
		g.Drop(1, raw.RoutePoint, "")
	case string(x.name) == "gpx" && g.out.File.Device == "":
		if v, ok := unescape(attr(x.attrs, "creator")); ok {
			g.out.File.Device = strings.ToValidUTF8(strings.TrimSpace(string(v[:min(len(v), 200)])), "")
		}
	}
}

// end takes in an end tag.
func (g *reader) end() {
	x := g.x
	if x.keep && g.depth <= g.at {
		g.value(g.kept, x.text)
		x.keep = false
	}
	if g.in && (g.depth == g.p.depth || string(x.name) == "trkpt" || string(x.name) == "wpt") {
		g.depth = g.p.depth
		g.in = false
		g.point()
	}
	g.depth = max(g.depth-1, 0)
}

// begin starts a point.
func (g *reader) begin() {
	p := &g.p
	*p = point{line: g.x.at, depth: g.depth, time: p.time[:0], samples: p.samples[:0], v: unit.Blank}
	g.in = true
	lat, lon := attr(g.x.attrs, "lat"), attr(g.x.attrs, "lon")
	p.lat, p.lon = number(lat), number(lon)
	if lat != nil && lon != nil && !p.placed() {
		p.place = []string{string(lat), string(lon)}
	}
}

// placed says whether the point's position is on the globe.
func (p *point) placed() bool { return math.Abs(p.lat) <= 90 && math.Abs(p.lon) <= 180 }

// number reads a finite decimal number; NaN when it is none.
func number(b []byte) float64 {
	for range 2 {
		v, next, kind := scan.Number(b, 0, 0, '.')
		if kind == scan.IsNumber && next == len(b) && v-v == 0 { // nearly always
			return v
		}
		var ok bool
		if b, ok = unescape(bytes.TrimSpace(b)); !ok {
			break
		}
	}
	return math.NaN()
}

// value takes in the text of an element.
func (g *reader) value(u use, text []byte) {
	switch u.slot {
	case unit.SlotTime: // cut at maxValue it is no time
		g.p.time = append(g.p.time[:0], bytes.TrimSpace(text)...)
		return
	case slotName, slotSport:
		t, _ := unescape(bytes.TrimSpace(text))
		if u.slot == slotName {
			g.p.name = strings.ToValidUTF8(string(t), "")
		} else {
			g.sport = strings.Join(unit.Words(string(t)), " ")
		}
		return
	}
	v := number(text)
	switch {
	case len(text) == maxValue || !(math.Abs(v)*max(u.scale, 1) <= math.MaxFloat32):
		if len(bytes.TrimSpace(text)) > 0 {
			g.Warn(raw.Warning{Kind: raw.BadValue, Line: g.x.line, Sensor: unit.Of(u.slot).Group(), Text: []string{string(text)}})
		}
		return
	case u.slot == unit.SlotSpeed && v < 0, u.slot == unit.SlotCourse && (v < 0 || v > 360): // unknown
		return
	case u.slot == unit.SlotSpeed:
		g.out.Gps.SpeedUnit = u.unit
	case u.slot == unit.SlotCourse:
		v = math.Mod(v, 360)
	}
	g.p.v[u.slot] = v * u.scale
}

// point closes a point and keeps it if it is of use.
func (g *reader) point() {
	p := &g.p
	at, timed := g.time(p.time)
	mark := raw.Mark{Time: at, Kind: raw.Waypoint, Text: p.name}
	switch {
	case p.way && timed:
		g.out.File.Marks = append(g.out.File.Marks, mark)
		return
	case p.way:
		g.Drop(1, raw.NoMoment, "")
		return
	case !p.placed():
		g.Refuse(raw.Warning{Kind: raw.NoPlace, Line: p.line, Text: p.place}, "")
		return
	case p.lat == 0 && p.lon == 0:
		g.Drop(1, raw.NoFix, "")
		return
	case len(p.time) == 0:
		g.Drop(1, raw.NoTime, "track point")
		return
	case !timed:
		g.Refuse(raw.Warning{Kind: raw.BadTime, Line: p.line, Text: []string{string(p.time)}}, "track point")
		return
	}
	if g.zero.IsZero() {
		g.zero = at
	}
	if strings.Trim(g.sport, "0123456789 ") != "" { // a number tells nobody anything
		g.out.File.Marks = append(g.out.File.Marks, raw.Mark{Time: at, Kind: raw.Session, Text: g.sport})
	}
	g.sport = ""
	t := float64(at.UnixNano()-g.zero.UnixNano()) / 1e9
	g.out.Gps.Grow(func(want int) int { return raw.GrowTo(want, 16, g.size, g.x.w.Pos()) })
	g.out.Gps.Append(t, p.lat, p.lon, p.v[unit.SlotAlt], p.v[unit.SlotSpeed], p.v[unit.SlotCourse])
	for k := range unit.SensorNames {
		v := p.v[3*k : 3*k+3]
		if x, y, z := v[0] == v[0], v[1] == v[1], v[2] == v[2]; x && y && z {
			g.out.Sensor(k).Push(t, v)
		} else if x || y || z {
			g.Drop(1, raw.AxisMissing, unit.SensorNames[k])
		}
	}
	for _, s := range p.samples {
		g.out.Sensor(s.kind).Push(t+s.ms/1000, s.v[:])
	}
}

// time reads a point's time.
func (g *reader) time(b []byte) (time.Time, bool) {
	b, ok := unescape(b)
	if !ok {
		return time.Time{}, false
	}
	ns, ok := scan.Time(b)
	if ok && !g.noZone && b[len(b)-1] != 'Z' && !scan.Zoned(b) {
		g.noZone = true
		g.Warn(raw.Warning{Kind: raw.NoZone, Line: g.p.line})
	}
	return time.Unix(0, ns).UTC(), ok
}

// inside takes in a start tag inside a point; it returns what to keep the text for.
func (g *reader) inside(name []byte) use {
	u, known := g.uses[string(name)]
	if !known {
		u = meaning(string(name))
		if len(g.uses) < maxNames {
			g.uses[string(name)] = u
		}
	}
	if u.direct && g.depth > g.p.depth+1 {
		return none
	}
	if u.slot < 0 || u.slot >= unit.SlotLat {
		return u
	}
	if in := attr(g.x.attrs, "unit"); in != nil {
		u.unit = string(in)
		u.scale, _ = unit.Scale(unit.Of(u.slot).Units, u.unit)
	}
	if u.vector {
		g.vector(u)
		return none
	}
	if !g.hasUnit(u) {
		return none
	}
	return u
}

// meaning works out what an element inside a point is for by its local name.
func meaning(name string) use {
	words := unit.Words(name)
	if len(words) == 0 {
		return none
	}
	in := strings.Join(words[1:], "")
	switch words[0] {
	case "ele", "time", "name":
		if in == "" {
			slot := map[string]int{"ele": unit.SlotAlt, "time": unit.SlotTime, "name": slotName}[words[0]]
			return use{slot: slot, scale: 1, direct: true}
		}
	case "speed", "sog":
		if scale, ok := unit.Scale(unit.SpeedUnits, in); ok {
			return use{slot: unit.SlotSpeed, scale: scale, unit: in}
		} else if in == "" {
			return use{slot: unit.SlotSpeed, scale: 1}
		}
	case "course", "cog":
		if in == "" || in == "deg" {
			return use{slot: unit.SlotCourse, scale: 1}
		}
	}
	kind, axis, in, ok := unit.MotionField(name)
	if !ok {
		return none
	}
	u := use{slot: 3*kind + axis%unit.VectorAxis, vector: axis == unit.VectorAxis, unit: in}
	u.scale, _ = unit.Scale(unit.SensorUnits[kind], in)
	if name == "accel" { // of the acceleration extension, in g
		u.scale, u.unit = unit.Gravity, "g"
	}
	return u
}

// vector takes in an element with x, y, z and a time offset in ms as
// attributes.
func (g *reader) vector(u use) {
	a := g.x.attrs
	s := sample{kind: u.slot / 3}
	axes, largest := 0, 0.0
	for k, name := range []string{"x", "y", "z"} {
		if v := number(attr(a, name)); v == v {
			axes++
			s.v[k] = v * u.scale
			largest = max(largest, math.Abs(s.v[k]))
		}
	}
	if axes == 0 || !g.hasUnit(u) { // without axes it is a container
		return
	}
	if o := attr(a, "offset"); o != nil {
		s.ms = number(o)
	}
	if axes < 3 || s.ms != s.ms || largest > math.MaxFloat32 {
		g.Drop(1, raw.AxisMissing, unit.Of(u.slot).Group())
		return
	}
	g.p.samples = append(g.p.samples, s)
}

// hasUnit says whether the unit of a motion value is known, and notes it.
func (g *reader) hasUnit(u use) bool {
	if u.scale == 0 {
		g.Warn(raw.Warning{Kind: raw.NoMotionUnit, Line: g.x.at, Sensor: unit.Of(u.slot).Group(),
			Text: []string{string(g.x.name), u.unit}})
		return false
	}
	if s := g.out.Sensor(u.slot / 3); s.Unit == "" {
		s.Unit = u.unit
	}
	return true
}
