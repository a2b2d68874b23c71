package ride

import (
	"math"
	"slices"
)

const deg = math.Pi / 180

// A bend is a stretch in which the course changes one way.
type bend struct {
	from, to             int     // steps
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

// A way is a stretch in which the board moves fast enough to have a course.
type way struct {
	run
	course []float64 // rad true, unwrapped, from step run.from on
	rate   []float64 // rad/s
}

// ways unwraps the course where the board moves.
func (d *detector) ways() []way {
	g := d.g
	var out []way
	for _, r := range runsOf(g.n, func(i int) bool { return g.speed[i] > d.split.slow }) {
		n := r.to - r.from
		if n < g.samples(3) {
			continue
		}
		w := way{run: r, course: make([]float64, n), rate: make([]float64, n)}
		for k := range n {
			c := math.Atan2(g.se[r.from+k], g.sn[r.from+k])
			if k > 0 {
				c = w.course[k-1] + wrapPi(c-w.course[k-1])
			}
			w.course[k] = c
		}
		h := g.samples(0.6)
		for k := range n {
			a, b := max(k-h, 0), min(k+h, n-1)
			w.rate[k] = (w.course[b] - w.course[a]) / (float64(b-a) * g.step)
		}
		out = append(out, w)
	}
	return out
}

// What counts as turning. Tuned on the simulator's ordinary, beginner, kite and
// rough outings.
const (
	// The course turns where its rate is above so many times the median, at
	// least and at most so much, rad/s: how much this course wanders anyway.
	turnWander  = 4.0
	turnSlowest = 3 * deg
	turnFastest = 9 * deg
	turnPeak    = 1.5      // times that, the least peak of a bend
	turnLeast   = 40 * deg // of a bend
	besideTurn  = 4.0      // s, over which the course before and after is taken
	pauseInTurn = 2.0      // s between pieces of one bend
)

// turningFrom is the course's rate, rad/s, from which it turns; 0 where there
// is no course.
func turningFrom(ways []way) float64 {
	var rates []float64
	for _, w := range ways {
		for k := 0; k < len(w.rate); k += 5 { // one a second tells enough
			rates = append(rates, math.Abs(w.rate[k]))
		}
	}
	if len(rates) == 0 {
		return 0
	}
	slices.Sort(rates)
	return math.Min(math.Max(turnWander*rates[len(rates)/2], turnSlowest), turnFastest)
}

// findTurns finds every bend of the course that is more than wandering.
func (d *detector) findTurns() []bend {
	if !d.split.ok {
		return nil
	}
	ways := d.ways()
	low := turningFrom(ways)
	var out []bend
	for _, w := range ways {
		for _, p := range d.join(w, w.oneWay(low)) {
			b := d.bendOf(w, p)
			if w.peak(p) >= turnPeak*low && math.Abs(b.by) >= turnLeast {
				out = append(out, b)
			}
		}
	}
	return out
}

// oneWay are the stretches that turn faster than low, each in one direction.
func (w *way) oneWay(low float64) []run {
	var pieces []run
	for _, r := range runsOf(len(w.rate), func(k int) bool { return math.Abs(w.rate[k]) > low }) {
		for a := r.from; a < r.to; {
			b := a
			for b < r.to && w.rate[b]*w.rate[a] > 0 {
				b++
			}
			pieces = append(pieces, run{a, b})
			a = b
		}
	}
	return pieces
}

// peak is the highest rate in a piece, rad/s.
func (w *way) peak(p run) float64 {
	top := 0.0
	for _, v := range w.rate[p.from:p.to] {
		top = math.Max(top, math.Abs(v))
	}
	return top
}

// bendOf is the bend over a piece of a way.
func (d *detector) bendOf(w way, p run) bend {
	b := bend{from: w.from + p.from, to: w.from + p.to, by: w.course[p.to-1] - w.course[p.from]}
	beside := d.g.samples(besideTurn)
	b.courseFrom = d.meanCourse(max(b.from-beside, w.from), b.from, w.course[p.from])
	b.courseTo = d.meanCourse(b.to, min(b.to+beside, w.to), w.course[p.to-1])
	return b
}

// join puts together pieces of one turn: same sign and hardly a pause.
func (d *detector) join(w way, pieces []run) []run {
	change := func(p run) float64 { return w.course[p.to-1] - w.course[p.from] }
	var out []run
	for _, p := range pieces {
		if n := len(out); n > 0 && change(out[n-1])*change(p) > 0 && p.from-out[n-1].to <= d.g.samples(pauseInTurn) {
			out[n-1].to = p.to
			continue
		}
		out = append(out, p)
	}
	return out
}

// meanCourse is the direction of the mean velocity over steps [a, b).
func (d *detector) meanCourse(a, b int, otherwise float64) float64 {
	var e, n float64
	for i := a; i < b; i++ {
		if v := d.g.east[i] + d.g.north[i]; !math.IsNaN(v) {
			e, n = e+d.g.east[i], n+d.g.north[i]
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
