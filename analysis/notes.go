package analysis

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"

	"gonum.org/v1/gonum/stat"
)

// noteSlack is how far, m/s, a note may lie outside the speeds flown and still
// count: riders round to a knot and read the watch a moment later. It was
// tuned on nothing; it is one knot.
const noteSlack = 0.5

// A StrayNote is a note of feel at a speed that the log never shows, which does
// not count, or, without a log, at one that such a foil is hardly ridden at,
// which counts and is asked about.
type StrayNote struct {
	Kind   Kind       `json:"-"`         // NotFlown or NotUsual
	Number int        `json:"note"`      // in the setup, from 1
	Speed  float64    `json:"speed_mps"` // as written
	Flown  [2]float64 `json:"flown_mps"` // over ground, slowest (5 %) and fastest (best 2 s); without a log, the slowest flight and the usual top
	FitsAs []string   `json:"fits_as"`   // keys, such as "speed_kmh", under which the number would be at a speed flown: the rider is asked
}

// The speeds that a foil is mostly ridden at, as multiples of the slowest
// flight: read off the simulated riders of all rigs.
const usualSlow, usualFast = 2.0, 3.5

// hardlyFaster is from what multiple of it on a note is asked about: a quarter
// beyond the usual top. It was tuned on nothing.
const hardlyFaster = 1.25 * usualFast

// UsualRange is the speeds, m/s, to judge a setup at without a log: those of
// its notes where they span enough, else what its wing is mostly ridden at.
func UsualRange(s *setup.Setup) [2]float64 {
	slow := slowest(s) / slowestMargin
	r := [2]float64{usualSlow * slow, usualFast * slow}
	if len(s.Feel) == 0 {
		return r
	}
	bySpeed := func(a, b setup.Feel) int { return cmp.Compare(a.Speed, b.Speed) }
	low, top := slices.MinFunc(s.Feel, bySpeed).Speed, slices.MaxFunc(s.Feel, bySpeed).Speed
	if top-low >= 2 {
		return [2]float64{low, top}
	}
	return [2]float64{min(r[0], low), max(r[1], top)}
}

// Unmeasured ranks the keys of the setup that are left to their defaults by
// the doubt of the best stabilizer change that each would take away. doubt is half
// its 90 % interval, degrees, whether or not this rider's cards reach that change;
// 0 where it is not known.
func (r *Result) Unmeasured() (list []advice.Measurement, doubt float64) {
	if r.Posterior == nil {
		return nil, 0
	}
	list, sd := advice.Measurements(r.Posterior, r.outing.Setup, r.weights)
	k := r.Advice.Wider
	for i := range list {
		list[i].Now, list[i].Then = k*list[i].Now, k*list[i].Then
	}
	return list, interval.Z90 * k * sd
}

// flown is the slowest and the fastest speed over ground, m/s, that a note may
// speak of: 5 % of the flight and the best 2 s with its doubt; false without a
// flight.
func (o *observation) flown() (low, top float64, ok bool) {
	over := o.speedsAgainst(mark.Flow{})
	if len(over) == 0 {
		return 0, 0, false
	}
	low = stat.Quantile(lowPercentile, stat.LinInterp, over, nil)
	top = o.ride.BestSpeeds.TwoSeconds.High
	if math.IsNaN(top) {
		top = over[len(over)-1]
	}
	return low, top, true
}

// countingNotes parts the setup's notes of feel into those that count and the
// strays. Without a flight nothing is known against any: all count, and those are
// named too that a foil of this size under this weight is hardly ridden at, where
// another unit would put them within what is usual: km/h typed as knots show so.
func (o *observation) countingNotes(s *setup.Setup) (counting []setup.Feel, strays []Finding) {
	low, top, flown := o.flown()
	kind, slack := NotFlown, noteSlack
	if !flown {
		low = slowest(s)
		kind, top, slack = NotUsual, hardlyFaster*low/slowestMargin, 0
	}
	within := func(v float64) bool { return v >= low-slack && v <= top+slack }
	for i, n := range s.Feel {
		odd := !within(n.Speed)
		if !odd || !flown {
			counting = append(counting, n)
		}
		fits := []string{}
		for _, r := range n.Readings() {
			if within(r.Speed) {
				fits = append(fits, r.Key)
			}
		}
		if odd && (flown || len(fits) > 0) {
			strays = append(strays, StrayNote{Kind: kind, FitsAs: fits, Number: i + 1, Speed: n.Speed, Flown: [2]float64{low, top}})
		}
	}
	return counting, strays
}
