package ride

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/filter/align"
)

// Input is what a session is told from. Times are seconds on one clock.
type Input struct {
	Time        []float64     // s, of the fixes, increasing
	East, North []float64     // m/s over ground; NaN for a flagged fix
	Gaps        [][2]float64  // s, spans without fixes
	SpeedSD     float64       // m/s, 1σ of a speed
	Slowest     float64       // m/s, below it this foil cannot fly; 0 when the foil is not known
	Motion      *align.Motion // nil: GPS alone
}

// Detect tells the session apart. It never fails: what cannot be told is
// missing, and a log without flight has no rides.
func Detect(in Input) *Session {
	s := &Session{WindFrom: interval.Unknown(), BestSpeeds: noSpeeds()}
	g := newGrid(&in)
	if g == nil {
		return s
	}
	s.Speed = g.SpeedSeries
	sp := splitSpeeds(g, math.Max(slowestFlight, in.Slowest))
	st := states(g, sp)
	d := &detector{g: g, split: sp, state: st, in: &in, s: s}
	d.flights()
	turns := d.findTurns()
	d.reaches(turns)
	s.WindFrom = wind(d.legs(), turns)
	d.finishTurns(turns)
	d.rides()
	d.totals()
	s.BestSpeeds = bestSpeeds(g, in.SpeedSD, func(int) bool { return true })
	s.BestByTack = d.byTack()
	return s
}

// byTack are the best speeds within the reaches of each tack.
func (d *detector) byTack() map[string]BestSpeeds {
	on := make([]string, d.g.n)
	for _, r := range d.s.Reaches {
		for i := d.g.index(r.Start); i <= d.g.index(r.End); i++ {
			on[i] = r.Tack
		}
	}
	out := map[string]BestSpeeds{}
	for _, tack := range []string{"port", "starboard"} {
		if slices.Contains(on, tack) {
			out[tack] = bestSpeeds(d.g, d.in.SpeedSD, func(i int) bool { return on[i] == tack })
		}
	}
	return out
}

// detector holds the working state of one detection.
type detector struct {
	g     *grid
	split split
	state []uint8
	in    *Input
	s     *Session
	runs  []run // flights, in steps
}

// A run is a stretch of steps [from, to).
type run struct{ from, to int }

// runsOf are the stretches where ok holds.
func runsOf(n int, ok func(i int) bool) []run {
	var out []run
	for i := 0; i < n; i++ {
		if !ok(i) {
			continue
		}
		j := i
		for j < n && ok(j) {
			j++
		}
		out = append(out, run{i, j})
		i = j
	}
	return out
}

// A flight, s: the shortest that is told with the board's motion, and by speed alone.
const shortestFlight, shortestByGPS = 1.5, 3.0

// flights finds the flights and what begins and ends them.
func (d *detector) flights() {
	g := d.g
	shortest := g.samples(shortestFlight)
	if g.imu == nil {
		shortest = g.samples(shortestByGPS)
	}
	for _, r := range runsOf(g.n, func(i int) bool { return d.state[i] == aloft }) {
		if r.to-r.from >= shortest {
			d.runs = append(d.runs, r)
			continue
		}
		for i := r.from; i < r.to; i++ {
			d.state[i] = afloat
		}
	}
	for _, r := range d.runs {
		if r.from > 0 && d.state[r.from-1] == afloat {
			d.event(r.from, "take-off")
		}
		d.breaches(r)
		if r.to < g.n && d.state[r.to] == afloat {
			kind := "touchdown"
			if d.fell(r.to) {
				kind = "fall"
			}
			d.event(r.to, kind)
		}
	}
}

// before is the speed in the second before step i.
func (d *detector) before(i int) float64 {
	top := 0.0
	for _, v := range d.g.speed[max(i-d.g.samples(1), 0):min(i+1, d.g.n)] {
		if v > top {
			top = v
		}
	}
	return top
}

func (d *detector) event(i int, kind string) {
	d.s.Events = append(d.s.Events, Event{d.g.at(i), kind})
}

// What a fall looks like. Tuned on the simulator's beginner and rough outings.
const (
	stopsWithin  = 6.0      // s from landing until the board is slow
	deadWithin   = 2.2      // s: a stop as sudden is a fall
	deadBraking  = 2.0      // m/s²: as is one as hard
	tumbleWithin = 8.0      // s
	onItsSide    = 50 * deg // rad of heel
)

// fell says whether the landing at step i threw the rider off: the board
// stops dead, or tumbles.
func (d *detector) fell(i int) bool {
	g := d.g
	after := func(s float64, from int) int { return min(from+g.samples(s), g.n) }
	braking := slices.IndexFunc(g.speed[i:after(stopsWithin, i)], func(v float64) bool { return v < d.split.slow })
	if braking < 0 {
		return false
	}
	if t := float64(braking) * g.Step; t <= deadWithin || (d.before(i)-d.split.slow)/t > deadBraking {
		return true
	}
	return g.imu != nil && slices.ContainsFunc(g.imu.heel[i:after(tumbleWithin, i)], func(heel float64) bool { return math.Abs(heel) > onItsSide })
}

// breaches finds where the wing left the water: for a tenth of a second at
// least the board nearly falls free.
func (d *detector) breaches(r run) {
	f := d.g.imu
	if f == nil {
		return
	}
	const free = 0.22 * 9.80665 // m/s²: nearly all of the weight gone
	end := min(r.to+d.g.samples(0.6), d.g.n)
	for i := r.from; i < end; i++ {
		if !(f.lowest[i] < free) || math.Abs(f.heel[i]) > onItsSide { // on its side it is a fall
			continue
		}
		low := i
		for k := i; k < min(i+d.g.samples(1), end); k++ {
			if f.lowest[k] < f.lowest[low] {
				low = k
			}
		}
		d.event(low, "breach")
		i = low + d.g.samples(1)
	}
}
