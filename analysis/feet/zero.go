package feet

import (
	"math"
	"slices"
	"sort"

	"evenfoot/filter"
	"evenfoot/ingest"
)

// Where nobody stands on the board.
const (
	unloaded  = 0.3  // of what the feet show in flight: below it there is nobody
	offFlight = 1.0  // s from a flight
	longZero  = 3.0  // s, the shortest such stretch
	blindZero = 0.05 // of a foot's usual load: 1σ of a zero that is never seen
	noiseZero = 0.01 // of the same: what a stretch does not tell, straps and water
)

// Loads are what both feet press with over the usual load, less one; NaN where
// the board is not ridden.
func Loads(d *ingest.Deck) []float64 {
	v := make([]float64, len(d.Time))
	var all []float64
	for i := range v {
		v[i] = float64(d.Feet[0][i] + d.Feet[1][i])
		if v[i] > 0 {
			all = append(all, v[i])
		}
	}
	if len(all) == 0 {
		return v
	}
	// The upper half is loaded, whatever else there is.
	slices.Sort(all)
	usual := all[3*len(all)/4]
	for i := range v {
		v[i] = v[i]/usual - 1
		if !(v[i] > unloaded-1) {
			v[i] = math.NaN()
		}
	}
	return v
}

// A rest is one stretch without a load.
type rest struct {
	t    float64
	side [2]float64 // N, medians
}

// zeros reads the zeros off stretches without a load, takes them out of the
// looks, from stretch to stretch where they wander, and keeps their doubt.
func (e *estimate) zeros() {
	rests := e.rests()
	usual := e.usual / 2
	for j := range 2 {
		if len(rests) == 0 {
			e.zeroSD[j] = blindZero * usual
			continue
		}
		var walk float64
		for i := 1; i < len(rests); i++ {
			d := rests[i].side[j] - rests[i-1].side[j]
			walk += d * d / 2 / float64(len(rests)-1)
		}
		if len(rests) == 1 {
			walk = blindZero * blindZero / 4 * usual * usual
		}
		e.zeroSD[j] = math.Sqrt(walk + noiseZero*noiseZero*usual*usual)
	}
	if len(rests) == 0 {
		e.out.Find(Finding{Kind: NoZeros})
		return
	}
	for i := range e.looks {
		l := &e.looks[i]
		k := sort.Search(len(rests), func(k int) bool { return rests[k].t > l.w.Time })
		a, b := rests[max(k-1, 0)], rests[min(k, len(rests)-1)]
		u := 0.0
		if b.t > a.t {
			u = (l.w.Time - a.t) / (b.t - a.t)
		}
		for j := range 2 {
			zero := a.side[j] + u*(b.side[j]-a.side[j])
			l.side[j] -= zero
			e.zero[j] += zero / float64(len(e.looks))
		}
	}
	e.sum()
}

// rests are the stretches outside of flight in which both feet show next to
// nothing.
func (e *estimate) rests() (out []rest) {
	d := e.Deck
	flying := func(t float64) bool {
		k := sort.Search(len(e.Flights), func(k int) bool { return e.Flights[k][1] > t-offFlight })
		return k < len(e.Flights) && e.Flights[k][0] < t+offFlight
	}
	from := 0
	end := func(to int) {
		if to > from && d.Time[to-1]-d.Time[from] >= longZero {
			var side [2]float64
			for j := range 2 {
				var v []float64
				for _, x := range d.Feet[j][from:to] {
					v = append(v, float64(x))
				}
				side[j] = filter.Median(v)
			}
			out = append(out, rest{(d.Time[from] + d.Time[to-1]) / 2, side})
		}
		from = to + 1
	}
	for i, t := range d.Time {
		sum := float64(d.Feet[0][i] + d.Feet[1][i])
		if !(math.Abs(sum) < unloaded*e.usual) || flying(t) || i > from && t-d.Time[i-1] > 1 {
			end(i)
		}
	}
	end(len(d.Time))
	return out
}
