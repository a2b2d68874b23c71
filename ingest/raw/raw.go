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

	Gps      Fixes
	Warnings []Warning
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

// Push appends one sample, with its time when the series has its own.
func (s *Series) Push(t float64, v []float64, withTime bool) {
	if withTime {
		s.Time = append(s.Time, t)
	}
	s.V[0] = append(s.V[0], float32(v[0]))
	s.V[1] = append(s.V[1], float32(v[1]))
	s.V[2] = append(s.V[2], float32(v[2]))
}

// Shrink takes back what extend gave from index i on.
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

// Pick is the fixes with the given indices; nil stands for all.
func (f *Fixes) Pick(idx []int32) Fixes {
	g := *f
	g.Time = Gather(f.Time, idx)
	g.Lat, g.Lon = Gather(f.Lat, idx), Gather(f.Lon, idx)
	g.Alt, g.Speed, g.Course = Gather(f.Alt, idx), Gather(f.Speed, idx), Gather(f.Course, idx)
	return g
}

func (f *Fixes) Same(i, j int) bool {
	return eq64(f.Lat[i], f.Lat[j]) && eq64(f.Lon[i], f.Lon[j]) && Eq32(f.Speed[i], f.Speed[j]) &&
		Eq32(f.Course[i], f.Course[j]) && Eq32(f.Alt[i], f.Alt[j])
}

// Completes says that fixes i and j do not contradict each other and that one
// has a value that the other lacks.
func (f *Fixes) Completes(i, j int) bool {
	lacks := false
	for _, col := range [][]float64{f.Lat, f.Lon} {
		a, b := col[i], col[j]
		if a == a && b == b && a != b {
			return false
		}
		lacks = lacks || (a == a) != (b == b)
	}
	for _, col := range [][]float32{f.Speed, f.Course, f.Alt} {
		a, b := col[i], col[j]
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
	var done [][]float64
	for _, ts := range [][]float64{r.Acc.Time, r.Gyr.Time, r.Gps.Time} {
		if len(ts) == 0 || slices.ContainsFunc(done, func(o []float64) bool { return &o[0] == &ts[0] }) {
			continue
		}
		for i := range ts {
			ts[i] += d
		}
		done = append(done, ts)
	}
}

func Eq32(a, b float32) bool { return a == b || a != a && b != b }

func eq64(a, b float64) bool { return a == b || a != a && b != b }

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
