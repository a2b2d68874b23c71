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

// What the text of an element is kept for.
type gpxValue uint8

const (
	gpxNone gpxValue = iota
	gpxEle
	gpxTime
	gpxSpeed
	gpxCourse
	gpxMotion // an axis of a sensor
)

// A gpxExt is what an element of a point's extensions is for, by its name.
type gpxExt struct {
	value      gpxValue
	kind, axis int // of gpxMotion
	scale      float64
	unit       string
}

// A gpxPoint is the track point being read.
type gpxPoint struct {
	line     int
	depth    int
	lat, lon float64
	bad      string // why its position is of no use
	time     []byte
	alt      float64
	speed    float64
	course   float64
	axes     [2][3]float64 // accelerometer and gyroscope
	set      [2]uint8      // axes that are there, a bit each
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

	creator     string
	waypoints   int
	routepoints int
	started     bool
	zero        int64 // Unix ns of time zero
	size        int64
	day         [11]byte // date of the last time, "2026-09-20T"
	dayNS       int64    // its Unix ns
	noZone      bool
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
	x, warning := newXMLScanner(r)
	g := &gpxReader{Notes: raw.Notes{File: name}, x: x, size: size, exts: map[string]gpxExt{}}
	if warning != "" {
		g.Warn("unknown encodings", 1, -1, "%s", warning)
	}
	g.p.time = make([]byte, 0, maxValue)
	err := g.read()
	if g.x.entity > 0 {
		g.Warn("entity declarations", g.x.entity, -1, "The file declares XML entities; they are not expanded, and values that use them are not read.")
	}
	switch {
	case errors.Is(err, io.EOF) && g.depth > 0, errors.Is(err, io.ErrUnexpectedEOF):
		g.Warn("cut files", g.x.line, -1, "The file ends before its end tag; every point that is whole was read.")
	case !errors.Is(err, io.EOF):
		g.Warn("unreadable stretches", g.x.line, -1, "Reading stops here: %v. Every point before was read.", err)
	}
	return g.finish(name)
}

func (g *gpxReader) finish(name string) (*raw.Columns, error) {
	g.Drop(g.waypoints, "waypoint (not part of a track)")
	g.Drop(g.routepoints, "route point (a plan, not a track)")
	out := &g.out
	if g.started {
		out.Start = time.Unix(0, g.zero).UTC()
	}
	out.File = raw.File{Name: name, Kind: "GPX", Device: g.creator, Dropped: g.Dropped}
	out.Warnings = g.Warnings()
	if len(out.Gps.Time) > 0 {
		return out, nil
	}
	var s strings.Builder
	for _, d := range g.Dropped {
		fmt.Fprintf(&s, "; %d × %s", d.Count, d.Reason)
	}
	for _, w := range out.Warnings {
		fmt.Fprintf(&s, "; line %d: %s", w.Line, w.What)
	}
	return nil, fmt.Errorf("%s: no track point with a time and a position in this GPX file%s", name, s.String())
}

// read goes through the file's elements; it returns what ended it, io.EOF at
// the end of the file.
func (g *gpxReader) read() error {
	var value gpxValue // what the open element's text is kept for
	var ext gpxExt
	var at int // its depth
	text := make([]byte, 0, maxValue)
	for {
		var to *[]byte
		if value != gpxNone {
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
			if value == gpxNone {
				if v, e := g.start(); v != gpxNone {
					value, ext, at = v, e, g.depth
					text = text[:0]
				}
			}
		}
		if !x.close {
			continue
		}
		if value != gpxNone && g.depth <= at {
			g.value(value, ext, text)
			value = gpxNone
		}
		if g.in && (g.depth == g.p.depth || string(x.name) == "trkpt") {
			g.depth = g.p.depth
			g.point()
			g.in = false
		}
		if g.depth > 0 {
			g.depth--
		}
	}
}

// start takes in a start tag; it returns what to keep the text for.
func (g *gpxReader) start() (gpxValue, gpxExt) {
	x := g.x
	if g.in {
		if g.depth > g.p.depth+1 {
			return g.extension()
		}
		switch string(x.name) {
		case "ele":
			return gpxEle, gpxExt{}
		case "time":
			return gpxTime, gpxExt{}
		case "speed":
			return gpxSpeed, gpxExt{scale: 1}
		case "course":
			return gpxCourse, gpxExt{scale: 1}
		case "trkpt":
			g.Warn("points inside points", x.at, -1, "A track point starts inside another, which is not closed; the outer one is not read.")
			g.begin()
		}
		return gpxNone, gpxExt{}
	}
	switch string(x.name) {
	case "trkpt":
		g.begin()
	case "wpt":
		g.waypoints++
	case "rtept":
		g.routepoints++
	case "gpx":
		if v, ok := unescape(attr(x.attrs, "creator")); ok && g.creator == "" {
			g.creator = strings.ToValidUTF8(strings.TrimSpace(string(v[:min(len(v), 200)])), "")
		}
	}
	return gpxNone, gpxExt{}
}

// begin starts a track point.
func (g *gpxReader) begin() {
	nan := math.NaN()
	g.p = gpxPoint{line: g.x.at, depth: g.depth, time: g.p.time[:0], alt: nan, speed: nan, course: nan}
	g.acc = g.acc[:0]
	g.in = true
	lat, lon := attr(g.x.attrs, "lat"), attr(g.x.attrs, "lon")
	var ok1, ok2 bool
	g.p.lat, ok1 = gpxNumber(lat)
	g.p.lon, ok2 = gpxNumber(lon)
	switch {
	case lat == nil || lon == nil:
		g.p.bad = "lacks its latitude or longitude"
	case !ok1 || !ok2 || math.Abs(g.p.lat) > 90 || math.Abs(g.p.lon) > 180:
		g.p.bad = fmt.Sprintf("is at latitude %s, longitude %s, no place on Earth", raw.Quote(lat), raw.Quote(lon))
	}
}

// gpxNumber reads a finite decimal number.
func gpxNumber(b []byte) (float64, bool) {
	v, next, kind := scan.Number(b, 0, 0, '.')
	if kind == scan.IsNumber && next == len(b) {
		return v, true
	}
	b, ok := unescape(bytes.TrimSpace(b))
	if !ok {
		return math.NaN(), false
	}
	v, next, kind = scan.Number(b, 0, 0, '.')
	if kind != scan.IsNumber || next != len(b) || math.IsInf(v, 0) || math.IsNaN(v) {
		return math.NaN(), false
	}
	return v, true
}

// value takes in the text of an element.
func (g *gpxReader) value(v gpxValue, e gpxExt, text []byte) {
	if v == gpxTime { // cut at maxValue it is no time
		g.p.time = append(g.p.time[:0], text...)
		return
	}
	x, ok := gpxNumber(text)
	if !ok || len(text) == maxValue || math.Abs(x)*max(e.scale, 1) > math.MaxFloat32 {
		if len(bytes.TrimSpace(text)) > 0 {
			what := [...]string{gpxEle: "altitude", gpxSpeed: "speed", gpxCourse: "course", gpxMotion: "acceleration or turn rate"}[v]
			g.Warn("unreadable values", g.x.line, -1, "The %s %s is not a usable number; it is left out.", what, raw.Quote(text))
		}
		return
	}
	switch v {
	case gpxEle:
		g.p.alt = x
	case gpxSpeed:
		if x >= 0 { // below zero stands for unknown
			g.p.speed = x * e.scale
			g.out.Gps.SpeedUnit = e.unit
		}
	case gpxCourse:
		if x >= 0 && x <= 360 {
			g.p.course = math.Mod(x*e.scale, 360)
		}
	case gpxMotion:
		g.p.axes[e.kind][e.axis] = x * e.scale
		g.p.set[e.kind] |= 1 << e.axis
	}
}

// point closes a track point and keeps it if it is of use.
func (g *gpxReader) point() {
	p := &g.p
	if p.bad != "" {
		g.Warn("track points without a usable position", p.line, -1, "A track point %s; it is skipped.", p.bad)
		g.Drop(1, "track point without a usable position")
		return
	}
	if p.lat == 0 && p.lon == 0 {
		g.Drop(1, "position 0, 0 (no fix yet)")
		return
	}
	if len(bytes.TrimSpace(p.time)) == 0 {
		g.Drop(1, "track point without time")
		return
	}
	ns, ok := g.time(p.time)
	if !ok {
		g.Warn("unreadable times", p.line, -1, "The time %s is not readable; the point is skipped.", raw.Quote(bytes.TrimSpace(p.time)))
		g.Drop(1, "track point with an unreadable time")
		return
	}
	if !g.started {
		g.started, g.zero = true, ns
	}
	t := float64(ns-g.zero) / 1e9
	f := &g.out.Gps
	if n := len(f.Time); n == cap(f.Time) {
		c := raw.GrowTo(n+1, 16, g.size, g.x.w.Pos)
		f.Time, f.Lat, f.Lon = raw.Regrow(f.Time, c), raw.Regrow(f.Lat, c), raw.Regrow(f.Lon, c)
		f.Alt, f.Speed, f.Course = raw.Regrow(f.Alt, c), raw.Regrow(f.Speed, c), raw.Regrow(f.Course, c)
	}
	f.Time = append(f.Time, t)
	f.Lat = append(f.Lat, p.lat)
	f.Lon = append(f.Lon, p.lon)
	f.Alt = append(f.Alt, float32(p.alt))
	f.Speed = append(f.Speed, float32(p.speed))
	f.Course = append(f.Course, float32(p.course))
	for k := range p.set {
		if p.set[k] == 7 {
			g.sample(k, t, p.axes[k])
		} else if p.set[k] != 0 {
			g.Drop(1, unit.SensorNames[k]+" sample that lacks an axis")
		}
	}
	for _, s := range g.acc {
		g.sample(s.kind, t+s.ms/1000, s.v)
	}
}

// sample appends one inertial sample.
func (g *gpxReader) sample(kind int, t float64, v [3]float64) {
	s := &g.out.Acc
	if kind == unit.Gyr {
		s = &g.out.Gyr
	}
	s.Time = append(s.Time, t)
	for k := range v {
		s.V[k] = append(s.V[k], float32(v[k]))
	}
}

// time reads a point's time as Unix ns.
func (g *gpxReader) time(b []byte) (int64, bool) {
	// Nearly always it is the day of the point before, hh:mm:ss, perhaps a
	// fraction, and Z.
	if n := len(b); n >= 20 && b[n-1] == 'Z' && string(b[:11]) == string(g.day[:]) && b[13] == ':' && b[16] == ':' {
		h, m, s := twoDigits(b[11:]), twoDigits(b[14:]), twoDigits(b[17:])
		frac, scale, plain := int64(0), int64(1e9), n == 20 || b[19] == '.' && n > 21 && n <= 30
		for _, c := range b[min(20, n):max(n-1, min(20, n))] {
			plain = plain && c-'0' <= 9
			frac = frac*10 + int64(c-'0')
			scale /= 10
		}
		if plain && h < 24 && m < 60 && s < 60 {
			return g.dayNS + int64(h*3600+m*60+s)*1e9 + frac*scale, true
		}
	}
	b, ok := unescape(bytes.TrimSpace(b))
	if !ok {
		return 0, false
	}
	ns, ok := scan.Time(b)
	if !ok {
		return 0, false
	}
	if len(b) > 11 {
		if !bytes.ContainsAny(b[11:], "Zz+-UG") && !g.noZone {
			g.noZone = true
			g.Warn("times without a zone", g.p.line, -1, "Times without a zone are taken as UTC.")
		}
		copy(g.day[:], b[:11])
		g.dayNS, ok = scan.Time(append(g.day[:len(g.day):len(g.day)], "00:00:00Z"...))
		if !ok {
			g.day = [11]byte{}
		}
	}
	return ns, true
}

// twoDigits reads two digits; 99 or more when they are none.
func twoDigits(b []byte) int {
	x, y := b[0]-'0', b[1]-'0'
	if x > 9 || y > 9 {
		return 100
	}
	return int(x)*10 + int(y)
}

// extension takes in a start tag inside a point's extensions.
func (g *gpxReader) extension() (gpxValue, gpxExt) {
	x := g.x
	e, known := g.exts[string(x.name)]
	if !known {
		e = g.meaning(string(x.name))
		if len(g.exts) < 1000 {
			g.exts[string(x.name)] = e
		}
	}
	if e.value != gpxMotion {
		return e.value, e
	}
	if e.axis == unit.VectorAxis {
		g.vector(e)
		return gpxNone, e
	}
	if u := attr(x.attrs, "unit"); u != nil {
		e.unit = string(u)
		e.scale, _ = unit.MotionScale(e.kind, e.unit)
	}
	if e.scale == 0 {
		g.noUnit(e)
		return gpxNone, e
	}
	g.unit(e)
	return gpxMotion, e
}

// meaning works out what an extension element is for by its local name.
func (g *gpxReader) meaning(name string) gpxExt {
	words := unit.Words(name)
	if len(words) == 0 {
		return gpxExt{}
	}
	in := strings.Join(words[1:], "")
	switch words[0] {
	case "speed", "sog":
		scale, ok := unit.SpeedScale(in)
		if in == "" {
			scale, ok = 1, true
		}
		if ok {
			return gpxExt{value: gpxSpeed, scale: scale, unit: in}
		}
	case "course", "cog":
		if in == "" || in == "deg" {
			return gpxExt{value: gpxCourse, scale: 1}
		}
	}
	kind, axis, in, ok := unit.MotionField(name)
	if !ok || kind > unit.Gyr {
		return gpxExt{}
	}
	e := gpxExt{value: gpxMotion, kind: kind, axis: axis, unit: in}
	e.scale, _ = unit.MotionScale(kind, in)
	if name == "accel" { // of the acceleration extension, in g
		e.scale, e.unit = unit.Gravity, "g"
	}
	return e
}

// vector takes in an element with x, y, z and a time offset in ms as
// attributes.
func (g *gpxReader) vector(e gpxExt) {
	a := g.x.attrs
	if u := attr(a, "unit"); u != nil {
		e.unit = string(u)
		e.scale, _ = unit.MotionScale(e.kind, e.unit)
	}
	x, ok1 := gpxNumber(attr(a, "x"))
	y, ok2 := gpxNumber(attr(a, "y"))
	z, ok3 := gpxNumber(attr(a, "z"))
	if !ok1 && !ok2 && !ok3 {
		return // a container
	}
	if e.scale == 0 {
		g.noUnit(e)
		return
	}
	ms := 0.0
	if o := attr(a, "offset"); o != nil {
		var ok bool
		if ms, ok = gpxNumber(o); !ok {
			ok1 = false
		}
	}
	if !ok1 || !ok2 || !ok3 || max(math.Abs(x), math.Abs(y), math.Abs(z))*e.scale > math.MaxFloat32 {
		g.Drop(1, unit.SensorNames[e.kind]+" sample that lacks an axis or its time offset")
		return
	}
	g.unit(e)
	g.acc = append(g.acc, gpxSample{e.kind, ms, [3]float64{x * e.scale, y * e.scale, z * e.scale}})
}

func (g *gpxReader) unit(e gpxExt) {
	s := &g.out.Acc
	if e.kind == unit.Gyr {
		s = &g.out.Gyr
	}
	if s.Unit == "" {
		s.Unit = e.unit
	}
}

func (g *gpxReader) noUnit(e gpxExt) {
	g.Warn("motion values without a unit", g.x.at, -1, "%s looks like a value of the %s, but its unit %s is not known; it is not read. Give the unit in the name, as in %s.",
		raw.Quote(g.x.name), unit.SensorNames[e.kind], raw.Quote([]byte(e.unit)), [2]string{"ax_mps2 or ax_g", "gx_radps or gx_dps"}[e.kind])
}
