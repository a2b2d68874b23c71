package ride

import (
	"cmp"
	"math"
	"slices"
)

// What tells the slow phases apart. Tuned on simulated outings with and without
// a logger.
const (
	walkingPace  = 1.8      // m/s, what a taxiing board is faster than, where no flight parts the speeds
	bridgedGap   = 1.0      // s without a fix that cut no stretch
	slowStep     = 2.0      // s that are told at once, from five times as many
	stillShare   = 0.8      // of restful samples that make a rest
	stillFloor   = 0.25     // m/s, the least speed noise; it is three times the receiver's 1σ else
	stillLeast   = 8.0      // s, of a rest that only a receiver shows
	carried      = 40 * deg // rad of heel: a board under an arm
	slowestWalk  = 0.9      // m/s
	surelyWalk   = 1.1      // m/s, however the board is held
	shortestTaxi = 2.0      // s, less is given to its neighbours
	shortestSlow = 3.0      // s
	oneTackTimes = 4.0      // how much longer one tack must be for a ride to have it
)

// phases names every stretch of the outing.
func (d *detector) phases() {
	g := d.g
	kinds := make([]Kind, g.n)
	first, last := g.n, -1 // between these the rider is on the water
	for i := range kinds {
		switch {
		case d.state[i] == unknown:
			kinds[i] = Gap
		case d.state[i] == aloft:
			kinds[i] = Flight
		case g.speed[i] > d.taxiFrom():
			kinds[i] = Taxi
		default:
			kinds[i] = Swim
		}
		if kinds[i] == Flight || kinds[i] == Taxi && len(d.runs) == 0 {
			first, last = min(first, i), max(last, i)
		}
	}
	d.bridge(kinds)
	for _, r := range runsOf(g.n, func(i int) bool { return kinds[i] == Swim }) {
		d.slowKinds(kinds, r, r.from < first || r.to > last)
	}
	// Ashore nobody taxies: a short fast walk between walks is a walk.
	d.absorb(kinds, Taxi, g.samples(shortestTaxi))
	d.absorb(kinds, Swim, g.samples(shortestSlow))
	d.absorb(kinds, Carry, g.samples(shortestSlow))
	for i := 0; i < g.n-1; {
		j := i
		for j < g.n-1 && kinds[j] == kinds[i] {
			j++
		}
		d.s.Phases = append(d.s.Phases, Phase{Start: g.at(i), End: g.at(j), Kind: kinds[i]})
		i = j
	}
}

// taxiFrom is the least speed of a board under way.
func (d *detector) taxiFrom() float64 {
	if d.split.ok {
		return d.split.slow
	}
	return walkingPace
}

// bridge keeps a lost fix or two from cutting a stretch.
func (d *detector) bridge(kinds []Kind) {
	for _, r := range runsOf(len(kinds), func(i int) bool { return kinds[i] == Gap }) {
		if r.to-r.from <= d.g.samples(bridgedGap) && r.from > 0 {
			for i := r.from; i < r.to; i++ {
				kinds[i] = kinds[r.from-1]
			}
		}
	}
}

// slowKinds parts a slow stretch into rest, carry and swim, second by second.
func (d *detector) slowKinds(kinds []Kind, r run, mayBeAshore bool) {
	g := d.g
	w := g.samples(slowStep)
	noise := math.Max(3*d.in.SpeedSD, stillFloor)
	for a := r.from; a < r.to; a += w {
		b := min(a+w, r.to)
		// Two seconds' neighbourhood of ten decides.
		lo, hi := max(a-2*w, r.from), min(b+2*w, r.to)
		var v, steep, still float64
		n := float64(hi - lo)
		for i := lo; i < hi; i++ {
			v += g.speed[i] / n
			if f := g.imu; f != nil && f.restful[i] {
				still++
			}
			if f := g.imu; f != nil && math.Abs(f.heel[i]) > carried {
				steep++
			}
		}
		k := Swim
		switch {
		case g.imu != nil && still > stillShare*n:
			k = Rest
		case g.imu == nil && v < noise && r.to-r.from > g.samples(stillLeast):
			k = Rest
		case mayBeAshore && v > slowestWalk && (g.imu == nil || steep > 0.5*n || v > surelyWalk):
			k = Carry
		}
		for i := a; i < b; i++ {
			kinds[i] = k
		}
	}
}

// absorb gives short stretches of a kind to their longer neighbour.
func (d *detector) absorb(kinds []Kind, k Kind, shortest int) {
	for _, r := range runsOf(len(kinds), func(i int) bool { return kinds[i] == k }) {
		if r.to-r.from >= shortest || r.from == 0 || r.to == len(kinds) {
			continue
		}
		left, right := kinds[r.from-1], kinds[r.to]
		// Never lengthen a flight or a gap, and keep the water between flights.
		if left != right || left == Flight || left == Gap {
			continue
		}
		for i := r.from; i < r.to; i++ {
			kinds[i] = left
		}
	}
}

// rides fills in the flights' numbers.
func (d *detector) rides() {
	g := d.g
	wind, known := d.windRad()
	for k := range d.s.Reaches {
		if known {
			d.s.Reaches[k].Tack = tack(wind, d.s.Reaches[k].Course)
		}
	}
	for k, r := range d.runs {
		q := Ride{Start: g.at(r.from), End: g.at(r.to), MeanHeel: d.meanHeel(g.at(r.from), g.at(r.to))}
		var sum, n float64
		for i := r.from; i < r.to; i++ {
			v := g.speed[i]
			if math.IsNaN(v) {
				continue
			}
			sum, n = sum+g.mag[i], n+1
			q.MaxSpeed = math.Max(q.MaxSpeed, v)
		}
		q.Distance = sum * g.step
		if n > 0 {
			q.MeanSpeed = sum / n
		}
		var port, stb float64
		for _, l := range d.s.Reaches {
			if l.Ride != k {
				continue
			}
			switch l.Tack {
			case "port":
				port += l.End - l.Start
			case "starboard":
				stb += l.End - l.Start
			}
		}
		switch {
		case stb > oneTackTimes*port:
			q.Tack = "starboard"
		case port > oneTackTimes*stb:
			q.Tack = "port"
		}
		d.s.Rides = append(d.s.Rides, q)
	}
	slices.SortStableFunc(d.s.Events, func(a, b Event) int { return cmp.Compare(a.Time, b.Time) })
}

// tack is the side the wind comes from on a course.
func tack(from, course float64) string {
	if wrapPi(from-course) > 0 {
		return "starboard"
	}
	return "port"
}

func (d *detector) totals() {
	t := &d.s.Totals
	for _, r := range d.s.Rides {
		t.Foiling += r.End - r.Start
		t.Distance += r.Distance
	}
	for _, r := range d.s.Reaches {
		t.Straight += r.End - r.Start
	}
	t.Rides = len(d.s.Rides)
	for _, x := range d.s.Turns {
		if x.Complete {
			t.Turns++
		}
	}
	for _, e := range d.s.Events {
		if e.Kind == "touchdown" {
			t.Touchdowns++
		}
	}
}
