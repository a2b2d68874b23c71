package ride

import (
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/align"
)

// What a double knock looks like in the force along the deck's normal. Tuned on
// the simulator's ordinary, rough, kite and beginner outings with knocks that
// change the board's velocity by 0.1 to 0.4 m/s (a foot's 1 to 4 N·s), single
// blows, runs of chop and slaps at touchdown among them.
const (
	knockRate   = 19.0 // Hz, a slower logger misses what is as short
	knockCore   = 0.04 // s to each side, the blow itself, and
	knockAround = 0.14 // s to each side, what it stands out from
	knockLeast  = 3.0  // m/s², the least that counts, and
	knockTimes  = 6.0  // times the median of what stands out anyway
	knockWindow = 4.0  // s over which the median is taken
	knockSoon   = 0.15 // s between two knocks at least: what is nearer is one, and
	knockLate   = 1.0  // s at most
	knockAlike  = 3.0  // times, how unlike two of a pair may be
	knockAlone  = 1.5  // s before and after without a third at least
	knockThird  = 0.33 // as large: chop does not stop at two
	knockInside = 1.0  // s from take-off and to landing
	knockTouch  = 1.5  // s from a touch of the water
)

// A blow is a short peak of force on the deck.
type blow struct{ t, size float64 } // s, m/s²

// Knocks are the times, s, at which the rider knocked twice on the deck: two
// short peaks of force within a second, in flight, and no third beside them.
// The first of the two is the moment.
func (s *Session) Knocks(m *align.Motion) (at []float64) {
	if m == nil || !m.Mount.Rigid {
		return nil
	}
	rate := 1 / filter.MedianStep(m.Time)
	if !(rate > knockRate) {
		return nil
	}
	blows := findBlows(m, rate)
	rides, r := s.Rides, 0
	for i := 0; i+1 < len(blows); i++ {
		a, b := blows[i], blows[i+1]
		for r < len(rides) && rides[r].End < a.t {
			r++
		}
		less := min(a.size, b.size)
		third := func(k int) bool {
			return k >= 0 && k < len(blows) && blows[k].size > knockThird*less
		}
		switch {
		case r == len(rides):
			return at
		case a.t < rides[r].Start+knockInside || b.t > rides[r].End-knockInside:
		case b.t-a.t > knockLate || max(a.size, b.size) > knockAlike*less:
		case third(i-1) && a.t-blows[i-1].t < knockAlone:
		case third(i+2) && blows[i+2].t-b.t < knockAlone:
		case slices.ContainsFunc(s.Events, func(e Event) bool { return e.Time > a.t-knockTouch && e.Time < b.t+knockTouch }):
		default:
			at = append(at, a.t)
		}
	}
	return at
}

// findBlows lists what stands out of the normal force, in order of time: the
// largest sample within knockSoon.
func findBlows(m *align.Motion, rate float64) (blows []blow) {
	t, out := m.Time, standsOut(m, rate)
	var sizes []float64
	for i := 0; i < len(t); {
		j := i
		sizes = sizes[:0]
		for ; j < len(t) && t[j]-t[i] < knockWindow; j++ {
			if out[j] == out[j] {
				sizes = append(sizes, out[j])
			}
		}
		limit := knockLeast
		if len(sizes) > 0 {
			limit = max(limit, knockTimes*filter.Median(sizes))
		}
		for k := i; k < j; k++ {
			if !(out[k] > limit) {
				continue
			}
			b := blow{t[k], out[k]}
			if n := len(blows); n == 0 || b.t-blows[n-1].t >= knockSoon {
				blows = append(blows, b)
			} else if b.size > blows[n-1].size {
				blows[n-1] = b
			}
		}
		i = j
	}
	return blows
}

// standsOut is by how much each sample of the normal force differs from the
// mean around it, m/s²; NaN beside a gap or a sample without a force.
func standsOut(m *align.Motion, rate float64) []float64 {
	out := nans(len(m.Time))
	core := int(math.Ceil(knockCore*rate - 0.01))
	around := max(core+1, int(knockAround*rate+0.01))
	sums := make([]float64, len(m.Normal)+1)
	lastGap := -1
	for i, v := range m.Normal {
		if v-v == 0 {
			sums[i+1] = sums[i] + float64(v)
		} else {
			sums[i+1], lastGap = sums[i], i
		}
		if i -= around; i < around || i-around <= lastGap || m.Time[i+around]-m.Time[i-around] > 2*knockAround+bridgedSamples {
			continue
		}
		rest := sums[i+around+1] - sums[i+core+1] + sums[i-core] - sums[i-around]
		out[i] = math.Abs(float64(m.Normal[i]) - rest/float64(2*(around-core)))
	}
	return out
}
