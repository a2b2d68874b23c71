package align

import (
	"math"

	"evenfoot/filter"

	"gonum.org/v1/gonum/floats"
)

// A Series is one quantity with its times, s; NaN where it is not known.
type Series struct{ Time, Value []float64 }

// How two series of one quantity are compared.
const (
	slowest     = 3.0  // s: what changes more slowly tells no moment, and has other causes
	fineStretch = 60.0 // s, one opinion of the lag each
	leastCells  = 200  // of a stretch
	lagFloor    = 0.05 // s, 1σ that no number of stretches averages out: a rider's legs give way before they press
)

// fine is for loads, which change within a second.
var fine = grid{0.1, 1, 0.15}

// quick takes the moving mean out of cells.
func quick(x []float64) []float64 {
	out := filter.MovingMean(x, int(slowest/2/fine.step))
	floats.SubTo(out, x, out)
	return out
}

// Lag says how the clock of other stands to that of own, from a quantity that
// both show: OffsetS is other minus own, at most most. Values beyond limit are
// clipped. When no offset stands out, OK is false and Why says the reason.
func Lag(own, other Series, limit, most float64) Clock {
	if len(own.Time) == 0 || len(other.Time) == 0 {
		return noClock(Finding{Kind: NeverTogether, Offset: most, Needed: minOverlap})
	}
	span := func(s Series) float64 { return s.Time[len(s.Time)-1] - s.Time[0] }
	if d := max(span(own), span(other)); d > longestOuting {
		return noClock(Finding{Kind: TooLong, Until: d})
	}
	cells := func(s Series) []float64 {
		return quick(inCells(s.Value, func(i int) float64 { return s.Time[i] }, limit, fine.step))
	}
	a, b := cells(own), cells(other)
	apart := other.Time[0] - own.Time[0]
	lag, why := single(correlate(a, b, fine, true, nil), func(k int) float64 { return apart + float64(k-(len(a)-1))*fine.step }, fine, most)
	if why.Kind != "" {
		return noClock(why)
	}
	from := max(own.Time[0], other.Time[0]-lag)
	to := min(own.Time[len(own.Time)-1], other.Time[len(other.Time)-1]-lag)
	c := Clock{AtS: (from + to) / 2, OK: true}
	m := matchCells(a, b, own.Time[0], apart, lag)
	l := m.line(byTurn, c.AtS, (to-from)/2)
	if l.n == 0 {
		return noClock(Finding{Kind: MotionDiffers, Offset: lag})
	}
	c.OffsetS, c.OffsetSE = l.at, math.Hypot(l.atSE, lagFloor)
	c.DriftPPM, c.DriftSE = l.slope*1e6, l.slopeSE*1e6
	r := m.agreement(byTurn, func(t float64) float64 { return l.at + l.slope*(t-c.AtS) })
	c.Agreement = math.Sqrt(1 - sq(1-r*r)) // of one component, where a velocity has two
	return c
}

// matchCells compares cells of two series stretch by stretch around a lag, s;
// b's first cell is at start + apart on its own clock.
func matchCells(a, b []float64, start, apart, lag float64) *match {
	shift := int(math.Round((lag - apart - fineReach) / fine.step))
	m := &match{first: apart + float64(shift)*fine.step, step: fine.step, n: int(2*fineReach/fine.step) + 1}
	length := int(fineStretch / fine.step)
	sums := make([]lagSums, m.n)
	for at := 0; at < len(a); at += length {
		clear(sums)
		to := min(at+length, len(a))
		for i, u := range a[at:to] {
			for l := range sums {
				if k := at + i + shift + l; u == u && k >= 0 && k < len(b) && b[k] == b[k] {
					sums[l].n++
					sums[l].turns(u, b[k])
				}
			}
		}
		m.add(start+float64(at+to)/2*fine.step, sums, leastCells, fine.step) // a look is a second
	}
	return m
}
