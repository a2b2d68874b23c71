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

// Times are the time columns of accelerometer, gyroscope, fixes and deck.
func (c *Columns) Times() [][]float64 {
	return [][]float64{c.Acc.Time, c.Gyr.Time, c.Gps.Time, c.Deck.Time}
}

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

// Push appends one sample, with its time when the series has its own.
func (s *Series) Push(t float64, v []float64, withTime bool) {
	if withTime {
		s.Time = append(s.Time, t)
	}
	s.V[0] = append(s.V[0], float32(v[0]))
	s.V[1] = append(s.V[1], float32(v[1]))
	s.V[2] = append(s.V[2], float32(v[2]))
}

// Shrink takes back all samples from index i on.
func (s *Series) Shrink(i int) {
	s.Time = s.Time[:i]
	for k := range s.V {
		s.V[k] = s.V[k][:i]
	}
}

// Pick is the samples with the given indices; nil stands for all.
func (s *Series) Pick(idx []int32) Series {
	return Series{Time: Gather(s.Time, idx), V: [3][]float32{Gather(s.V[0], idx), Gather(s.V[1], idx), Gather(s.V[2], idx)}, Unit: s.Unit}
}

// Keep leaves out the samples for which keep is false; it says how many.
func (s *Series) Keep(keep func(i int) bool) (lost int) {
	n := len(s.Time)
	*s = s.Pick(Indices(n, keep))
	return n - len(s.Time)
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

// Regrow makes room for capacity fixes.
func (f *Fixes) Regrow(capacity int) {
	f.Time, f.Lat, f.Lon = Regrow(f.Time, capacity), Regrow(f.Lat, capacity), Regrow(f.Lon, capacity)
	f.Alt, f.Speed, f.Course = Regrow(f.Alt, capacity), Regrow(f.Speed, capacity), Regrow(f.Course, capacity)
}

// Pick is the fixes with the given indices; nil stands for all.
func (f *Fixes) Pick(idx []int32) Fixes {
	g := *f
	g.Time = Gather(f.Time, idx)
	g.Lat, g.Lon = Gather(f.Lat, idx), Gather(f.Lon, idx)
	g.Alt, g.Speed, g.Course = Gather(f.Alt, idx), Gather(f.Speed, idx), Gather(f.Course, idx)
	return g
}

// Keep leaves out the fixes for which keep is false; it says how many.
func (f *Fixes) Keep(keep func(i int) bool) (lost int) {
	n := len(f.Time)
	*f = f.Pick(Indices(n, keep))
	return n - len(f.Time)
}

// values are the columns beside the times, as float64, of one fix.
func (f *Fixes) values(i int) [5]float64 {
	return [5]float64{f.Lat[i], f.Lon[i], float64(f.Speed[i]), float64(f.Course[i]), float64(f.Alt[i])}
}

// Same says that fixes i and j have the same values.
func (f *Fixes) Same(i, j int) bool {
	was, is := f.values(i), f.values(j)
	return slices.EqualFunc(was[:], is[:], Equal)
}

// Completes says that fixes i and j do not contradict each other and that one
// has a value that the other lacks.
func (f *Fixes) Completes(i, j int) bool {
	lacks := false
	was, is := f.values(i), f.values(j)
	for k, a := range was {
		b := is[k]
		if a == a && b == b && a != b {
			return false
		}
		lacks = lacks || (a == a) != (b == b)
	}
	return lacks
}

// Fold takes the values of fix j into fix i where i has none.
func (f *Fixes) Fold(i, j int) {
	if f.Lat[i] != f.Lat[i] {
		f.Lat[i], f.Lon[i] = f.Lat[j], f.Lon[j]
	}
	for _, col := range [][]float32{f.Speed, f.Course, f.Alt} {
		if col[i] != col[i] {
			col[i] = col[j]
		}
	}
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
	var done [][]float64
	for _, ts := range r.Times() {
		if len(ts) == 0 || slices.ContainsFunc(done, func(o []float64) bool { return &o[0] == &ts[0] }) {
			continue
		}
		for i := range ts {
			ts[i] += d
		}
		done = append(done, ts)
	}
}

// Equal says that a and b are the same number, or both none.
func Equal[T float32 | float64](a, b T) bool { return a == b || a != a && b != b }

// Indices lists the indices below n for which keep holds; nil when all do.
func Indices(n int, keep func(i int) bool) []int32 {
	first := 0
	for first < n && keep(first) {
		first++
	}
	if first == n {
		return nil
	}
	idx := make([]int32, 0, n)
	for i := range n {
		if i < first || i > first && keep(i) {
			idx = append(idx, int32(i))
		}
	}
	return idx
}

// Gather reorders a column; nil idx leaves it as it is.
func Gather[T any](col []T, idx []int32) []T {
	if idx == nil || col == nil {
		return col
	}
	out := make([]T, len(idx))
	for k, i := range idx {
		out[k] = col[i]
	}
	return out
}

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
