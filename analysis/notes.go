package analysis

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
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

// oddNotes are the notes at speeds that a foil of this size under this weight
// is hardly ridden at, where another unit would put them within what is usual:
// km/h typed as knots show so.
func oddNotes(s *setup.Setup) (odd []StrayNote) {
	slow := slowest(s)
	usual := [2]float64{slow, hardlyFaster * slow / slowestMargin}
	within := func(v float64) bool { return v >= usual[0] && v <= usual[1] }
	for i, n := range s.Feel {
		if within(n.Speed) {
			continue
		}
		if fits := fitsAs(n, within); len(fits) > 0 {
			odd = append(odd, StrayNote{Kind: NotUsual, FitsAs: fits, Number: i + 1, Speed: n.Speed, Flown: usual})
		}
	}
	return odd
}

// Unmeasured ranks the keys of the setup that are left to their defaults by
// the doubt of the best stabilizer change that each would take away.
func (r *Result) Unmeasured() []advice.Measurement {
	if r.Posterior == nil {
		return nil
	}
	return advice.Measurements(r.Posterior, r.outing.Setup, r.speeds.weights)
}

// BestAngleDoubt is half the 90 % interval, degrees, of the stabilizer change
// that would be best of all, whether or not this rider's cards reach it; 0
// where it is not known.
func (r *Result) BestAngleDoubt() float64 {
	if r.Posterior == nil {
		return 0
	}
	return interval.Z90 * advice.AngleDoubt(r.Posterior, r.outing.Setup, r.speeds.weights)
}

// flown is the slowest and the fastest speed over ground, m/s, that a note may
// speak of: 5 % of the flight and the best 2 s with its doubt; false without a
// flight.
func (o *observation) flown() (low, top float64, ok bool) {
	over := o.speedsAgainst(0, 0)
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

// countingNotes parts the notes of feel into those that count and the strays.
// Without a flight nothing is known against any.
func (o *observation) countingNotes(notes []setup.Feel) (counting []setup.Feel, strays []StrayNote) {
	low, top, ok := o.flown()
	if !ok {
		return notes, nil
	}
	within := func(v float64) bool { return v >= low-noteSlack && v <= top+noteSlack }
	for i, n := range notes {
		if within(n.Speed) {
			counting = append(counting, n)
			continue
		}
		strays = append(strays, StrayNote{Kind: NotFlown, FitsAs: fitsAs(n, within), Number: i + 1, Speed: n.Speed, Flown: [2]float64{low, top}})
	}
	return counting, strays
}

// fitsAs are the keys under which the number of a note's speed would be within.
func fitsAs(n setup.Feel, within func(float64) bool) []string {
	keys := []string{}
	for _, r := range n.Readings() {
		if within(r.Speed) {
			keys = append(keys, r.Key)
		}
	}
	return keys
}
