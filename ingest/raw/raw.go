// Package raw holds what a reader of one format hands on: columns in SI units
// in the order of the file, nothing mended yet, with the warnings about them and
// their places in the file. It also has the sliding window that readers look
// through.
//
// It imports nothing of this module.
package raw

import (
	"math"
	"slices"
	"time"
)

// Columns are what one file's reader hands on: columns in file order, already in
// SI units, nothing mended yet. Times are seconds since start (or since the
// log's own zero when start is the zero Time).
type Columns struct {
	File  File // Name, Kind, Device and Dropped; the rest is filled in later
	Start time.Time
	Acc   Series // m/s²
	Gyr   Series // rad/s
	// Deck is what the feet press with, N, the front or left one first, and the
	// mast's pitch moment, N·m; NaN where a row lacks one. Sides says that the
	// feet are left and right.
	Deck  Series
	Sides bool

	Gps      Fixes
	Warnings []Warning
	// Outing is the number of the outing that is wanted of several, from 1; 0 is
	// the one with the most samples.
	Outing int
	// Backs are where the times of the file's rows fall back: before and after.
	// A mark stands behind so many of them.
	Backs [][2]float64
	// NoZone says that Start is a local time of a zone that the file does not tell.
	NoZone bool
}

// A Series is one three-axis sensor on its own time base.
type Series struct {
	Time []float64
	V    [3][]float32
	Unit string // the file's own unit

	Guessed bool // the file does not tell the unit
}

// Fixes are GPS records; NaN where a record lacks a value.
type Fixes struct {
	Time     []float64
	Lat, Lon []float64
	Alt      []float32
	Speed    []float32 // m/s, NaN when the receiver gave none
	Course   []float32 // deg true
	// SpeedUnit is the file's own unit of speed; "" stands for m/s.
	SpeedUnit string
	// SpeedColumn is the header of the speed's column, "" where the format has
	// none; speedMapped says that a column map gave its unit.
	SpeedColumn string
	SpeedMapped bool
	// Computed says that the file tells its speeds were computed from positions.
	Computed bool
}

var NaN = math.NaN()

// Sensor is the series of a kind, unit.Acc or unit.Gyr.
func (c *Columns) Sensor(kind int) *Series {
	return [...]*Series{&c.Acc, &c.Gyr}[kind]
}

// Extent is the first and last of several columns of ascending times; the first
// is infinite and the greater where all are empty.
func Extent(times ...[]float64) (first, last float64) {
	first, last = math.Inf(1), math.Inf(-1)
	for _, t := range times {
		if n := len(t); n > 0 {
			first, last = min(first, t[0]), max(last, t[n-1])
		}
	}
	return first, last
}

// Push appends one sample.
func (s *Series) Push(t float64, v []float64) {
	s.Time = append(s.Time, t)
	s.V[0] = append(s.V[0], float32(v[0]))
	s.V[1] = append(s.V[1], float32(v[1]))
	s.V[2] = append(s.V[2], float32(v[2]))
}

// Cut makes the series n samples long, within the room it has.
func (s *Series) Cut(n int) {
	s.Time = s.Time[:n]
	for k := range s.V {
		s.V[k] = s.V[k][:n]
	}
}

// Table is the series as a table.
func (s *Series) Table() Table {
	return Table{Times: []*[]float64{&s.Time}, Cols: []*[]float32{&s.V[0], &s.V[1], &s.V[2]}}
}

// Grow makes room for a fix where there is none: for as many as capacity says
// when so many are wanted.
func (f *Fixes) Grow(capacity func(want int) int) {
	if n := len(f.Time); n == cap(f.Time) {
		f.Table().Resize(n+1, capacity(n+1))
		f.Table().Resize(n, 0)
	}
}

// Append adds a fix; missing values are NaN, and so is what overflows a column.
func (f *Fixes) Append(t, lat, lon, alt, speed, course float64) {
	f.Time = append(f.Time, t)
	f.Lat, f.Lon = append(f.Lat, lat), append(f.Lon, lon)
	f.Alt, f.Speed, f.Course = append(f.Alt, narrow(alt)), append(f.Speed, narrow(speed)), append(f.Course, narrow(course))
}

// narrow returns v as a float32, NaN where that overflows.
func narrow(v float64) float32 {
	if math.Abs(v) > math.MaxFloat32 {
		return float32(NaN)
	}
	return float32(v)
}

// Table is the fixes as a table.
func (f *Fixes) Table() Table {
	return Table{Times: []*[]float64{&f.Time}, Wide: []*[]float64{&f.Lat, &f.Lon}, Cols: []*[]float32{&f.Speed, &f.Course, &f.Alt}}
}

// ShiftAll adds d to all times of a raw log; shared times once.
func ShiftAll(r *Columns, d float64) {
	for i := range r.File.Marks {
		r.File.Marks[i].At += d
	}
	for i := range r.Backs {
		r.Backs[i][0] += d
		r.Backs[i][1] += d
	}
	for _, s := range r.Streams() {
		for i := range s.Time() {
			s.Time()[i] += d
		}
	}
}

// Equal says that a and b are the same number, or both none.
func Equal[T float32 | float64](a, b T) bool { return a == b || a != a && b != b }

// Median is the median of v, which it reorders; NaN for none.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}
