package ingest

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

// datedMarks counts the marks that tell UTC from the start of the columns, as
// the samples are. A mark whose clock tells no date beside samples that have
// one, or the other way round, stands at no moment of the log.
func datedMarks(r *raw.Columns) {
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
	for i := range b.r.File.Marks {
		m := &b.r.File.Marks[i]
		at := m.At
		m.At -= b.ref
		for _, j := range b.jumps {
			passed := j.unset && at >= j.to || slices.ContainsFunc(b.r.Backs[:m.Behind], func(back [2]float64) bool {
				return math.Abs(back[0]-j.from) < sameJump && math.Abs(back[1]-j.to) < sameJump
			})
			if passed {
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
