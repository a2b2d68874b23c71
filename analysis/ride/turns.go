package ride

import (
	"math"
	"slices"

	"evenfoot/filter"
)

const deg = math.Pi / 180

// A bend is a stretch in which the course changes one way.
type bend struct {
	run
	by                   float64 // rad, clockwise > 0
	courseFrom, courseTo float64 // rad true
}

// wrap brings an angle to 0..2π.
func wrap(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a
}

// wrapPi brings an angle to ±π.
func wrapPi(a float64) float64 {
	if math.Abs(a) <= math.Pi { // nearly all, and a remainder is dear
		return a
	}
	return math.Remainder(a, 2*math.Pi)
}

// What counts as turning. Tuned on the simulator's ordinary, beginner, kite and
// rough outings.
const (
	// The course turns where its rate is above so many times the median, at
	// least and at most so much, rad/s: how much this course wanders anyway.
	turnWander  = 4.0
	turnSlowest = 3 * deg
	turnFastest = 9 * deg
	turnLeast   = 40 * deg // of a bend
	besideTurn  = 4.0      // s, over which the course before and after is taken
	pauseInTurn = 2.0      // s between pieces of one bend
	leastWay    = 3.0      // s of moving that show a course
)

// courses are the course over ground, rad true, unwrapped, and its rate, rad/s;
// NaN where the board does not move.
func (d *detector) courses() (course, rate []float64) {
	g := d.g
	course, rate = nans(g.n), nans(g.n)
	h := g.samples(0.6)
	last := 0.0
	for _, r := range runsOf(g.n, func(i int) bool { return g.speed[i] > d.split.slow }) {
		if r.to-r.from < g.samples(leastWay) {
			continue
		}
		for i := r.from; i < r.to; i++ {
			last += wrapPi(math.Atan2(g.se[i], g.sn[i]) - last)
			course[i] = last
		}
		for i := r.from; i < r.to; i++ {
			a, b := max(i-h, r.from), min(i+h, r.to-1)
			rate[i] = (course[b] - course[a]) / (float64(b-a) * g.Step)
		}
	}
	return course, rate
}

// findTurns finds every bend of the course that is more than wandering, in
// order of time.
func (d *detector) findTurns() (out []bend) {
	if !d.split.ok {
		return nil
	}
	g := d.g
	course, rate := d.courses()
	var wander []float64
	for i := 0; i < g.n; i += 5 { // one a second tells enough
		if v := math.Abs(rate[i]); v == v {
			wander = append(wander, v)
		}
	}
	from := math.Min(math.Max(turnWander*filter.Median(wander), turnSlowest), turnFastest)
	pause, beside := g.samples(pauseInTurn), g.samples(besideTurn)
	for _, way := range []float64{1, -1} {
		var pieces []run // hardly a pause between them is none
		for _, r := range runsOf(g.n, func(i int) bool { return way*rate[i] > from }) {
			if n := len(pieces); n > 0 && r.from-pieces[n-1].to <= pause {
				pieces[n-1].to = r.to
			} else {
				pieces = append(pieces, r)
			}
		}
		for _, p := range pieces {
			b := bend{run: p, by: course[p.to-1] - course[p.from]}
			if math.Abs(b.by) >= turnLeast {
				b.courseFrom = d.meanCourse(max(p.from-beside, 0), p.from, course[p.from])
				b.courseTo = d.meanCourse(p.to, min(p.to+beside, g.n), course[p.to-1])
				out = append(out, b)
			}
		}
	}
	slices.SortFunc(out, func(a, b bend) int { return a.from - b.from })
	return out
}

// meanCourse is the direction of the mean velocity over steps [a, b).
func (d *detector) meanCourse(a, b int, otherwise float64) float64 {
	var e, n float64
	for i := a; i < b; i++ {
		if v := d.g.East[i] + d.g.North[i]; !math.IsNaN(v) {
			e, n = e+d.g.East[i], n+d.g.North[i]
		}
	}
	if e == 0 && n == 0 {
		return wrap(otherwise)
	}
	return wrap(math.Atan2(e, n))
}

const (
	turnMargin    = 0.6      // s about a bend that are no straight flight
	shortestReach = 4.0      // s
	flownInTurn   = 0.6      // s of flight that make a bend a turn
	completeTurn  = 75 * deg // changes tack, when the wind is not known
	acrossWind    = 50 * deg // the least of a bend across the wind
)

// reaches are the straight stretches of flight between the bends.
func (d *detector) reaches(turns []bend) {
	g := d.g
	turning := make([]bool, g.n)
	margin := g.samples(turnMargin)
	for _, t := range turns {
		for i := max(t.from-margin, 0); i < min(t.to+margin, g.n); i++ {
			turning[i] = true
		}
	}
	for k, r := range d.runs {
		for _, q := range runsOf(r.to-r.from, func(i int) bool { return !turning[r.from+i] }) {
			a, b := r.from+q.from, r.from+q.to
			if b-a < g.samples(shortestReach) {
				continue
			}
			d.s.Reaches = append(d.s.Reaches, Reach{
				Start: g.at(a), End: g.at(b), Ride: k,
				Course: d.meanCourse(a, b, 0),
			})
		}
	}
}

// finishTurns tells turns from bends now that the wind is known, or not.
func (d *detector) finishTurns(turns []bend) {
	g := d.g
	from, known := d.windRad()
	for _, b := range turns {
		flown := 0
		for _, s := range d.state[max(b.from-g.samples(2), 0):min(b.to+1, g.n)] {
			if s == aloft {
				flown++
			}
		}
		if flown < g.samples(flownInTurn) { // far from any flight it is somebody paddling about
			continue
		}
		t := Turn{Start: g.at(b.from), End: g.at(b.to), Complete: math.Abs(b.by) >= completeTurn}
		if known {
			a, z := wrapPi(from-b.courseFrom), wrapPi(from-b.courseTo)
			t.Complete = a*z < 0 && math.Abs(b.by) >= acrossWind
		}
		d.s.Turns = append(d.s.Turns, t)
	}
}

// sweeps says whether the bend passes through a direction.
func sweeps(b bend, dir float64) bool {
	x := wrapPi(dir - b.courseFrom)
	if b.by > 0 {
		return wrap(x) < b.by
	}
	return wrap(-x) < -b.by
}
