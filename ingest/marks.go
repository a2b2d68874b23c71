package ingest

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

// dateMarks counts the marks that tell UTC from the start of the columns, as
// the samples are. A mark whose clock tells no date beside samples that have
// one, or the other way round, stands at no moment of the log.
func (b *builder) dateMarks() {
	r := b.r
	for i := range r.File.Marks {
		m := &r.File.Marks[i]
		switch dated := !m.Time.IsZero(); {
		case dated == r.Start.IsZero():
			m.At = raw.NaN
		case dated:
			m.At = secondsBetween(r.Start, m.Time)
		}
	}
}

// mendMarks moves the marks with the samples around them, where the clock leapt
// back or was set.
func (b *builder) mendMarks() {
	if len(b.jumps) == 0 {
		return
	}
	shifts := []float64{-b.ref} // behind so many of the rows that fall back
	left := slices.Clone(b.jumps)
	for _, back := range b.r.Backs {
		shift := shifts[len(shifts)-1]
		if k := slices.IndexFunc(left, func(j jump) bool {
			return math.Abs(back[0]-j.from) < sameJump && math.Abs(back[1]-j.to) < sameJump
		}); k >= 0 {
			shift += left[k].shift
			left = slices.Delete(left, k, k+1)
		}
		shifts = append(shifts, shift)
	}
	for i := range b.r.File.Marks {
		m := &b.r.File.Marks[i]
		at := m.At
		m.At += shifts[m.Behind]
		for _, j := range left {
			if j.kind == raw.ClockSet && at >= j.to {
				m.At += j.shift
			}
		}
		if !b.r.Start.IsZero() && m.At == m.At {
			m.Time = addSeconds(b.r.Start, m.At)
		}
	}
}

// marks are the file's marks at the moments of the mended log, in order of
// time.
func (b *builder) marks() []Mark {
	var out []Mark
	for i := range b.r.File.Marks {
		m := &b.r.File.Marks[i]
		if !(math.Abs(m.At) < timeMost) {
			m.At = 0 // JSON has no NaN
			continue
		}
		out = append(out, *m)
	}
	sortMarks(out)
	return out
}

func sortMarks(m []Mark) {
	slices.SortStableFunc(m, func(a, b Mark) int { return cmp.Compare(a.At, b.At) })
}
