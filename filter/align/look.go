package align

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A look is about one second of the log: what mount, level and rigidity are
// told from.
type look struct {
	no       int // in the log
	from, to int // samples
	t        float64
	q        quat.Number // mean attitude, sensor to earth
	acc      r3.Vec      // mean, sensor frame, m/s²

	course float64     // rad, counter-clockwise from east; NaN when not moving or not known
	speed  float64     // m/s; NaN without GPS
	rate   float64     // rad/s, course rate, counter-clockwise; NaN where unknown
	m      quat.Number // sensor to course frame (x along the course, z up); where course is known
	riding riding
}

// A riding says what a look shows, as far as it is fast for its log.
type riding uint8

const (
	neither riding = iota
	straight
	turning
)

const (
	lookS      = 1.0 // s
	attitudes  = 16  // that make a look's mean
	courseSpan = 0.4 // s to either side, over which the course's rate is told
)

// newLooks cuts the track into looks. vel may be nil.
func newLooks(s attitude.Samples, tr *attitude.Track, vel *fixes) []look {
	var out []look
	for _, seg := range tr.Segments {
		for i := seg[0]; i < seg[1]; {
			l := look{no: len(out), from: i}
			for end := s.Time[i] + lookS; i < seg[1] && (i == l.from || s.Time[i] < end); i++ {
			}
			l.to = i
			l.t = (s.Time[l.from] + s.Time[l.to-1]) / 2
			if l.to-l.from >= 3 && s.Time[l.to-1]-s.Time[l.from] >= lookS/2 {
				out = append(out, l)
			}
		}
	}
	filter.InParts(len(out), func(from, to int) {
		hint := 0
		for k := from; k < to; k++ {
			l := &out[k]
			l.average(s, tr)
			l.course, l.speed, l.rate = math.NaN(), math.NaN(), math.NaN()
			if vel != nil {
				l.addCourse(vel, tr.LatencyS, &hint)
			}
		}
	})
	return out
}

// average fills the means.
func (l *look) average(s attitude.Samples, tr *attitude.Track) {
	n := 0.0
	for i := l.from; i < l.to; i++ {
		if a := s.AccAt(i); finite(a) {
			l.acc = r3.Add(l.acc, a)
			n++
		}
	}
	l.acc = r3.Scale(1/max(n, 1), l.acc)
	var sum quat.Number
	for i, by := l.from, max(1, (l.to-l.from)/attitudes); i < l.to; i += by {
		sum = accumulate(sum, tr.Q[i])
	}
	l.q = rotation.Unit(sum)
}

// accumulate adds q to a sum of quaternions, on the sum's side.
func accumulate(sum, q quat.Number) quat.Number {
	if sum.Real*q.Real+sum.Imag*q.Imag+sum.Jmag*q.Jmag+sum.Kmag*q.Kmag < 0 {
		return quat.Sub(sum, q)
	}
	return quat.Add(sum, q)
}

func (l *look) addCourse(g *fixes, late float64, hint *int) {
	e0, n0, ok0 := g.at(l.t+late-courseSpan, hint)
	e, n, ok := g.at(l.t+late, hint)
	e1, n1, ok1 := g.at(l.t+late+courseSpan, hint)
	if !ok {
		return
	}
	if ok0 && ok1 {
		l.rate = math.Atan2(e0*n1-n0*e1, e0*e1+n0*n1) / (2 * courseSpan)
		e, n = (e0+e+e1)/3, (n0+n+n1)/3
	}
	l.speed = math.Hypot(e, n)
	if l.speed < 0.5*movingSpeed {
		l.rate = math.NaN()
		return
	}
	l.course = math.Atan2(n, e)
	l.m = quat.Mul(rotation.Exp(r3.Vec{Z: -l.course}), l.q)
}

// angles are the board's, in the course frame: pitch bow-up, heel starboard
// down, and the bow to port of the course.
func (l *look) angles(toBoard quat.Number) (pitch, heel, crab float64) {
	b := quat.Mul(l.m, quat.Conj(toBoard))
	x := rotation.Rotate(b, r3.Vec{X: 1})
	y := rotation.Rotate(b, r3.Vec{Y: 1})
	z := rotation.Rotate(b, r3.Vec{Z: 1})
	return math.Asin(clip(x.Z, 1)), math.Atan2(y.Z, z.Z), math.Atan2(x.Y, x.X)
}

const (
	straightRate = 0.12 // rad/s, less is straight
	turningRate  = 0.17 // rad/s, more is a turn
	fastShare    = 0.55 // of the log's fast speeds, from which a look counts
)

// tellRiding marks straight riding and turning, where it is fast for this log.
func tellRiding(looks []look) {
	var v []float64
	for i := range looks {
		if looks[i].speed > movingSpeed {
			v = append(v, looks[i].speed)
		}
	}
	if len(v) == 0 {
		return
	}
	least := max(movingSpeed, fastShare*filter.Nth(v, len(v)*9/10))
	fast := func(l *look) bool { return l.speed > least && l.rate == l.rate }
	calm := func(l *look) bool { return math.Abs(l.rate) < straightRate }
	for i := 1; i+1 < len(looks); i++ {
		before, l, after := &looks[i-1], &looks[i], &looks[i+1]
		switch {
		case !fast(before) || !fast(l) || !fast(after):
		case calm(before) && calm(l) && calm(after):
			l.riding = straight
		case math.Abs(l.rate) > turningRate:
			l.riding = turning
		}
	}
}

// those are the looks that show one kind of riding.
func those(looks []look, r riding) (of []*look) {
	for i := range looks {
		if looks[i].riding == r {
			of = append(of, &looks[i])
		}
	}
	return of
}
