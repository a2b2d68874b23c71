// Package gpx reads the tracks of GPX files, and inertial samples in their
// extensions.
//
// Of this module it imports only raw, scan and unit.
package gpx

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// maxDepth bounds how deep the elements of a GPX file are nested.
const maxDepth = 1000

// maxValue bounds the text of one value, in bytes.
const maxValue = 128

// Texts that are kept besides numbers, by slots of their own.
const (
	slotName = 100 + iota
	slotSport
)

// A gpxExt is what an element is for, by its name: the slot of its value.
type gpxExt struct {
	slot   int
	vector bool // all axes of the sensor whose x axis the slot is
	scale  float64
	unit   string
}

var none = gpxExt{slot: unit.SlotIgnore}

// children are the elements of a point that are read, besides its extensions.
var children = map[string]gpxExt{
	"ele":    {slot: unit.SlotAlt, scale: 1},
	"time":   {slot: unit.SlotTime},
	"speed":  {slot: unit.SlotSpeed, scale: 1},
	"course": {slot: unit.SlotCourse, scale: 1},
	"name":   {slot: slotName},
}

// A gpxPoint is the track point being read.
type gpxPoint struct {
	line     int
	depth    int
	lat, lon float64
	bad      bool     // its position is of no use
	way      bool     // a waypoint, not of the track
	place    []string // latitude and longitude as written, of a bad position
	name     string
	time     []byte
	v        [unit.SlotCount]float64 // NaN where there is nothing
}

type gpxReader struct {
	raw.Notes
	x     *xmlScanner
	out   raw.Columns
	depth int
	in    bool // inside a track point
	p     gpxPoint
	exts  map[string]gpxExt
	acc   []gpxSample

	creator string
	sport   string // of the track, until its first point
	started bool
	zero    int64 // Unix ns of time zero
	size    int64
	noZone  bool
}

// A gpxSample is an inertial sample with a time offset, held until its point's
// time is known.
type gpxSample struct {
	kind int
	ms   float64
	v    [3]float64
}

// Read reads the tracks of a GPX 1.0 or 1.1 file. It returns an error only
// when no track point is of use; a file that is cut short gives the points
// that are whole, with a warning.
func Read(r *bufio.Reader, name string, size int64) (*raw.Columns, error) {
	x, unknown := newXMLScanner(r)
	g := &gpxReader{Notes: raw.Notes{File: name}, x: x, size: size, exts: map[string]gpxExt{}}
	if unknown != "" {
		g.Warn(raw.Warning{Kind: raw.UnknownEncoding, Line: 1, Text: []string{unknown}})
	}
	g.p.time = make([]byte, 0, maxValue)
	err := g.read()
	if g.x.entity > 0 {
		g.Warn(raw.Warning{Kind: raw.Entities, Line: g.x.entity})
	}
	switch {
	case errors.Is(err, io.EOF) && g.depth > 0, errors.Is(err, io.ErrUnexpectedEOF):
		g.Warn(raw.Warning{Kind: raw.CutXML, Line: g.x.line})
	case !errors.Is(err, io.EOF):
		g.Warn(raw.Warning{Kind: raw.BadXML, Line: g.x.line, Text: []string{err.Error()}})
	}
	return g.finish(name)
}

func (g *gpxReader) finish(name string) (*raw.Columns, error) {
	out := &g.out
	if g.started {
		out.Start = time.Unix(0, g.zero).UTC()
	}
	out.File.Name, out.File.Kind, out.File.Device = name, "GPX", g.creator
	g.Settle(out)
	if len(out.Gps.Time) > 0 {
		return out, nil
	}
	return nil, out.Useless("no track point with a time and a position in this GPX file")
}

// read goes through the file's elements; it returns what ended it, io.EOF at
// the end of the file.
func (g *gpxReader) read() error {
	kept := none // what the open element's text is kept for
	var at int   // its depth
	text := make([]byte, 0, maxValue)
	for {
		var to *[]byte
		if kept != none {
			to = &text
		}
		if err := g.x.next(to); err != nil {
			return err
		}
		x := g.x
		if x.open {
			g.depth++
			if g.depth > maxDepth {
				return fmt.Errorf("elements are nested more than %d deep", maxDepth)
			}
			g.tellBroken()
			if kept == none {
				kept, at, text = g.start(), g.depth, text[:0]
			}
		}
		if !x.close {
			continue
		}
		if kept != none && g.depth <= at {
			g.value(kept, text)
			kept = none
		}
		if g.in && (g.depth == g.p.depth || string(x.name) == "trkpt" || string(x.name) == "wpt") {
			g.depth = g.p.depth
			g.point()
			g.in = false
		}
		if g.depth > 0 {
			g.depth--
		}
	}
}

// tellBroken tells of a broken tag; of a point's its position tells.
func (g *gpxReader) tellBroken() {
	if g.x.broken && string(g.x.name) != "trkpt" {
		g.Warn(raw.Warning{Kind: raw.BrokenTag, Line: g.x.at, Text: []string{string(g.x.name)}})
	}
}

// start takes in a start tag; it returns what to keep the text for.
func (g *gpxReader) start() gpxExt {
	x := g.x
	if g.in && g.depth > g.p.depth+1 {
		return g.extension()
	}
	switch name := string(x.name); {
	case g.in && name == "trkpt":
		g.Warn(raw.Warning{Kind: raw.NestedPoint, Line: x.at})
		g.begin()
	case g.in:
		if e, known := children[name]; known {
			return e
		}
	case name == "type" && g.depth == 3: // of gpx, trk
		return gpxExt{slot: slotSport}
	case name == "trkpt", name == "wpt":
		g.begin()
		g.p.way = name == "wpt"
	case name == "rtept":
		g.Drop(1, raw.RoutePoint, "")
	case name == "gpx":
		if v, ok := unescape(attr(x.attrs, "creator")); ok && g.creator == "" {
			g.creator = strings.ToValidUTF8(strings.TrimSpace(string(v[:min(len(v), 200)])), "")
		}
	}
	return none
}

// begin starts a track point.
func (g *gpxReader) begin() {
	g.p = gpxPoint{line: g.x.at, depth: g.depth, time: g.p.time[:0], v: unit.Blank}
	g.acc = g.acc[:0]
	g.in = true
	lat, lon := attr(g.x.attrs, "lat"), attr(g.x.attrs, "lon")
	var ok1, ok2 bool
	g.p.lat, ok1 = gpxNumber(lat)
	g.p.lon, ok2 = gpxNumber(lon)
	g.p.bad = lat == nil || lon == nil || !ok1 || !ok2 || math.Abs(g.p.lat) > 90 || math.Abs(g.p.lon) > 180
	if g.p.bad && lat != nil && lon != nil {
		g.p.place = []string{string(lat), string(lon)}
	}
}

// gpxNumber reads a finite decimal number.
func gpxNumber(b []byte) (float64, bool) {
	v, next, kind := scan.Number(b, 0, 0, '.')
	if kind == scan.IsNumber && next == len(b) && v-v == 0 { // nearly always
		return v, true
	}
	if b, ok := unescape(bytes.TrimSpace(b)); ok {
		v, next, kind = scan.Number(b, 0, 0, '.')
		if kind == scan.IsNumber && next == len(b) && v-v == 0 {
			return v, true
		}
	}
	return math.NaN(), false
}

// value takes in the text of an element.
func (g *gpxReader) value(e gpxExt, text []byte) {
	switch e.slot {
	case unit.SlotTime: // cut at maxValue it is no time
		g.p.time = append(g.p.time[:0], text...)
		return
	case slotName, slotSport:
		if t, ok := unescape(bytes.TrimSpace(text)); !ok {
		} else if e.slot == slotName {
			g.p.name = strings.ToValidUTF8(string(t), "")
		} else {
			g.sport = strings.Join(unit.Words(string(t)), " ")
		}
		return
	}
	x, ok := gpxNumber(text)
	switch {
	case !ok || len(text) == maxValue || math.Abs(x)*max(e.scale, 1) > math.MaxFloat32:
		if len(bytes.TrimSpace(text)) > 0 {
			g.Warn(raw.Warning{Kind: raw.BadValue, Line: g.x.line, Sensor: unit.Of(e.slot).Group(), Text: []string{string(text)}})
		}
		return
	case e.slot == unit.SlotSpeed && x < 0, e.slot == unit.SlotCourse && (x < 0 || x > 360): // unknown
		return
	case e.slot == unit.SlotSpeed:
		g.out.Gps.SpeedUnit = e.unit
	case e.slot == unit.SlotCourse:
		x = math.Mod(x, 360)
	}
	g.p.v[e.slot] = x * e.scale
}

// point closes a track point and keeps it if it is of use.
func (g *gpxReader) point() {
	p := &g.p
	if p.way {
		g.waypoint()
		return
	}
	if p.bad {
		g.Refuse(raw.Warning{Kind: raw.NoPlace, Line: p.line, Text: p.place}, "")
		return
	}
	if p.lat == 0 && p.lon == 0 {
		g.Drop(1, raw.NoFix, "")
		return
	}
	if len(bytes.TrimSpace(p.time)) == 0 {
		g.Drop(1, raw.NoTime, "track point")
		return
	}
	ns, ok := g.time(p.time)
	if !ok {
		g.Refuse(raw.Warning{Kind: raw.BadTime, Line: p.line, Text: []string{string(bytes.TrimSpace(p.time))}}, "track point")
		return
	}
	if !g.started {
		g.started, g.zero = true, ns
	}
	if strings.Trim(g.sport, "0123456789 ") != "" { // a number tells nobody anything
		g.out.File.Marks = append(g.out.File.Marks, raw.Mark{Time: time.Unix(0, ns).UTC(), Kind: raw.Session, Text: g.sport})
	}
	g.sport = ""
	t := float64(ns-g.zero) / 1e9
	g.out.Gps.Grow(func(want int) int { return raw.GrowTo(want, 16, g.size, g.x.w.Pos) })
	g.out.Gps.Append(t, p.lat, p.lon, p.v[unit.SlotAlt], p.v[unit.SlotSpeed], p.v[unit.SlotCourse])
	for k := range unit.SensorNames {
		v := p.v[3*k : 3*k+3]
		if x, y, z := v[0] == v[0], v[1] == v[1], v[2] == v[2]; x && y && z {
			g.out.Sensor(k).Push(t, v)
		} else if x || y || z {
			g.Drop(1, raw.AxisMissing, unit.SensorNames[k])
		}
	}
	for _, s := range g.acc {
		g.out.Sensor(s.kind).Push(t+s.ms/1000, s.v[:])
	}
}

// waypoint closes a waypoint: with a time it is a mark.
func (g *gpxReader) waypoint() {
	ns, ok := g.time(g.p.time)
	if !ok {
		g.Drop(1, raw.NoMoment, "")
		return
	}
	g.out.File.Marks = append(g.out.File.Marks, raw.Mark{Time: time.Unix(0, ns).UTC(), Kind: raw.Waypoint, Text: g.p.name})
}

// time reads a point's time as Unix ns.
func (g *gpxReader) time(b []byte) (int64, bool) {
	b, ok := unescape(bytes.TrimSpace(b))
	if !ok {
		return 0, false
	}
	ns, ok := scan.Time(b)
	if ok && !g.noZone && b[len(b)-1] != 'Z' && !scan.Zoned(b) {
		g.noZone = true
		g.Warn(raw.Warning{Kind: raw.NoZone, Line: g.p.line})
	}
	return ns, ok
}

// extension takes in a start tag inside a point's extensions.
func (g *gpxReader) extension() gpxExt {
	x := g.x
	e, known := g.exts[string(x.name)]
	if !known {
		e = g.meaning(string(x.name))
		if len(g.exts) < 1000 {
			g.exts[string(x.name)] = e
		}
	}
	if e.slot < 0 || e.slot >= unit.SlotLat {
		return e
	}
	if u := attr(x.attrs, "unit"); u != nil {
		e.unit = string(u)
		e.scale, _ = unit.Scale(unit.Of(e.slot).Units, e.unit)
	}
	if e.vector {
		g.vector(e)
		return none
	}
	if !g.hasUnit(e) {
		return none
	}
	return e
}

// meaning works out what an extension element is for by its local name.
func (g *gpxReader) meaning(name string) gpxExt {
	words := unit.Words(name)
	if len(words) == 0 {
		return none
	}
	in := strings.Join(words[1:], "")
	switch words[0] {
	case "speed", "sog":
		scale, ok := unit.Scale(unit.SpeedUnits, in)
		if in == "" {
			scale, ok = 1, true
		}
		if ok {
			return gpxExt{slot: unit.SlotSpeed, scale: scale, unit: in}
		}
	case "course", "cog":
		if in == "" || in == "deg" {
			return gpxExt{slot: unit.SlotCourse, scale: 1}
		}
	}
	kind, axis, in, ok := unit.MotionField(name)
	if !ok {
		return none
	}
	e := gpxExt{slot: 3*kind + axis%unit.VectorAxis, vector: axis == unit.VectorAxis, unit: in}
	e.scale, _ = unit.Scale(unit.SensorUnits[kind], in)
	if name == "accel" { // of the acceleration extension, in g
		e.scale, e.unit = unit.Gravity, "g"
	}
	return e
}

// vector takes in an element with x, y, z and a time offset in ms as
// attributes.
func (g *gpxReader) vector(e gpxExt) {
	a := g.x.attrs
	s := gpxSample{kind: e.slot / 3}
	axes, largest := 0, 0.0
	for k, name := range []string{"x", "y", "z"} {
		if v, ok := gpxNumber(attr(a, name)); ok {
			axes++
			s.v[k] = v * e.scale
			largest = max(largest, math.Abs(s.v[k]))
		}
	}
	if axes == 0 || !g.hasUnit(e) { // without axes it is a container
		return
	}
	timed := true
	if o := attr(a, "offset"); o != nil {
		s.ms, timed = gpxNumber(o)
	}
	if axes < 3 || !timed || largest > math.MaxFloat32 {
		g.Drop(1, raw.AxisMissing, unit.Of(e.slot).Group())
		return
	}
	g.acc = append(g.acc, s)
}

// hasUnit says whether the unit of a motion value is known, and notes it.
func (g *gpxReader) hasUnit(e gpxExt) bool {
	if e.scale == 0 {
		g.Warn(raw.Warning{Kind: raw.NoMotionUnit, Line: g.x.at, Sensor: unit.Of(e.slot).Group(), Text: []string{string(g.x.name), e.unit}})
		return false
	}
	if s := g.out.Sensor(e.slot / 3); s.Unit == "" {
		s.Unit = e.unit
	}
	return true
}
