package raw

import (
	"slices"

	"evenfoot/ingest/unit"
)

// A Table is columns of one length: what series and fixes consist of.
type Table struct {
	Times []*[]float64 // one column; twice where two series share it
	Wide  []*[]float64
	Cols  []*[]float32
}

// A Stream is a table of what is stamped together.
type Stream struct {
	Table
	Name string
}

// Streams are the parts of a log that have samples, accelerometer and gyroscope
// as one where they share their times, as those of one row do.
func (c *Columns) Streams() []Stream {
	acc, gyr := Stream{c.Acc.Table(), unit.SensorNames[unit.Acc]}, Stream{c.Gyr.Table(), unit.SensorNames[unit.Gyr]}
	if SameTimes(c.Acc.Time, c.Gyr.Time) {
		c.Gyr.Time = c.Acc.Time // of one array: what is done to its values is done to both
		acc = Stream{Table{Times: append(acc.Times, gyr.Times...), Cols: append(acc.Cols, gyr.Cols...)}, "accelerometer and gyroscope"}
		gyr.Times = []*[]float64{new([]float64)}
	}
	all := []Stream{acc, gyr, {c.Gps.Table(), "GPS"}, {c.Deck.Table(), unit.FootForces}}
	return slices.DeleteFunc(all, func(s Stream) bool { return len(s.Time()) == 0 })
}

// SameTimes says whether two series have the same times.
func SameTimes(a, b []float64) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0] || slices.Equal(a, b))
}

// Time is the table's time.
func (t Table) Time() []float64 { return *t.Times[0] }

// SetTime gives the table another time.
func (t Table) SetTime(x []float64) {
	for _, p := range t.Times {
		*p = x
	}
}

// Pick keeps the rows with the given indices; nil stands for all. Values are
// moved in place where none comes earlier; times, which others may share, never.
func (t Table) Pick(idx []int32) {
	t.SetTime(Gather(t.Time(), idx))
	sorted := slices.IsSorted(idx)
	for _, c := range t.Wide {
		*c = gather(*c, idx, sorted)
	}
	for _, c := range t.Cols {
		*c = gather(*c, idx, sorted)
	}
}

// Keep leaves out the rows for which keep is false; it says how many.
func (t Table) Keep(keep func(i int) bool) (lost int) {
	n := len(t.Time())
	t.Pick(Indices(n, keep))
	return n - len(t.Time())
}

// Resize makes the table n rows long, with room for capacity where it has none
// for them: fewer, or more that are still to be filled in.
func (t Table) Resize(n, capacity int) {
	t.SetTime(resize(t.Time(), n, capacity))
	for _, c := range t.Wide {
		*c = resize(*c, n, capacity)
	}
	for _, c := range t.Cols {
		*c = resize(*c, n, capacity)
	}
}

func resize[T any](s []T, n, capacity int) []T {
	if cap(s) < n {
		s = append(make([]T, 0, max(n, capacity)), s...)
	}
	return s[:n]
}

// Join adds the rows of a table like it, in columns of its own.
func (t Table) Join(o Table) {
	t.SetTime(slices.Concat(t.Time(), o.Time()))
	for k, c := range t.Wide {
		*c = slices.Concat(*c, *o.Wide[k])
	}
	for k, c := range t.Cols {
		*c = slices.Concat(*c, *o.Cols[k])
	}
}

// Add appends the rows of a table like it.
func (t Table) Add(o Table) {
	t.SetTime(append(t.Time(), o.Time()...))
	for k, c := range t.Wide {
		*c = append(*c, *o.Wide[k]...)
	}
	for k, c := range t.Cols {
		*c = append(*c, *o.Cols[k]...)
	}
}

// values are a row beside its time.
func (t Table) values(i int) (v [6]float64) {
	for k, c := range t.Wide {
		v[k] = (*c)[i]
	}
	for k, c := range t.Cols {
		v[len(t.Wide)+k] = float64((*c)[i])
	}
	return v
}

// Same says that rows i and j have the same values.
func (t Table) Same(i, j int) bool {
	was, is := t.values(i), t.values(j)
	return slices.EqualFunc(was[:], is[:], Equal)
}

// Completes says that rows i and j do not contradict each other and that one
// has a value that the other lacks.
func (t Table) Completes(i, j int) bool {
	lacks := false
	was, is := t.values(i), t.values(j)
	for k, a := range was {
		b := is[k]
		if a == a && b == b && a != b {
			return false
		}
		lacks = lacks || (a == a) != (b == b)
	}
	return lacks
}

// Fold takes the values of row j into row i where i has none.
func (t Table) Fold(i, j int) {
	for _, c := range t.Wide {
		fold(*c, i, j)
	}
	for _, c := range t.Cols {
		fold(*c, i, j)
	}
}

func fold[T float32 | float64](col []T, i, j int) {
	if col[i] != col[i] {
		col[i] = col[j]
	}
}

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

// Gather is a new column in another order; nil idx leaves it as it is.
func Gather[T any](col []T, idx []int32) []T { return gather(col, idx, false) }

func gather[T any](col []T, idx []int32, inPlace bool) []T {
	if idx == nil || col == nil {
		return col
	}
	out := col
	if !inPlace {
		out = make([]T, len(idx))
	}
	for k, i := range idx {
		out[k] = col[i]
	}
	return out[:len(idx)]
}
