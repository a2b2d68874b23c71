package align

import (
	"math"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A look is about one second of the log: what mount, level and rigidity are
// told from.
type look struct {
	from, to int // samples
	t        float64
	q        quat.Number // mean attitude, sensor to earth
	acc, gyr r3.Vec      // means, sensor frame
	accVar   float64     // (m/s²)², all axes, within the look
	gyrVar   float64     // (rad/s)²

	course float64     // rad, counter-clockwise from east; NaN when not moving or not known
	speed  float64     // m/s; NaN without GPS
	rate   float64     // rad/s, course rate, counter-clockwise; NaN where unknown
	m      quat.Number // sensor to course frame (x along the course, z up); where course is known
}

const lookS = 1.0 // s

// newLooks cuts the track into looks. vel may be nil.
func newLooks(s attitude.Samples, tr *attitude.Track, vel *fixes) []look {
	var out []look
	hint := 0
	for _, seg := range tr.Segments {
		for i := seg[0]; i < seg[1]; {
			l := look{from: i}
			end := s.Time[i] + lookS
			var accSq, gyrSq, n float64
			var qs quat.Number
			for ; i < seg[1] && (i == l.from || s.Time[i] < end); i++ {
				a := s.AccAt(i)
				g := s.GyrAt(i)
				aa, gg := r3.Dot(a, a), r3.Dot(g, g)
				if bad := aa + gg; bad-bad != 0 {
					continue
				}
				n++
				l.acc, l.gyr = r3.Add(l.acc, a), r3.Add(l.gyr, g)
				accSq += aa
				gyrSq += gg
				qs = accumulate(qs, tr.Q[i])
			}
			l.to = i
			l.t = (s.Time[l.from] + s.Time[l.to-1]) / 2
			if n < 3 || s.Time[l.to-1]-s.Time[l.from] < lookS/2 {
				continue
			}
			l.q = rotation.Unit(qs)
			l.acc, l.gyr = r3.Scale(1/n, l.acc), r3.Scale(1/n, l.gyr)
			l.accVar = max(0, accSq/n-r3.Dot(l.acc, l.acc))
			l.gyrVar = max(0, gyrSq/n-r3.Dot(l.gyr, l.gyr))
			l.course, l.speed, l.rate = math.NaN(), math.NaN(), math.NaN()
			if vel != nil {
				l.addCourse(vel, tr.LatencyS, &hint)
			}
			out = append(out, l)
		}
	}
	return out
}

// accumulate adds q to a sum of quaternions, on the sum's side.
func accumulate(sum, q quat.Number) quat.Number {
	k := 1.0
	if sum.Real*q.Real+sum.Imag*q.Imag+sum.Jmag*q.Jmag+sum.Kmag*q.Kmag < 0 {
		k = -1
	}
	return quat.Number{Real: sum.Real + k*q.Real, Imag: sum.Imag + k*q.Imag, Jmag: sum.Jmag + k*q.Jmag, Kmag: sum.Kmag + k*q.Kmag}
}

func (l *look) addCourse(g *fixes, late float64, hint *int) {
	e0, n0, ok0 := g.at(l.t+late-0.4, hint)
	e, n, ok := g.at(l.t+late, hint)
	e1, n1, ok1 := g.at(l.t+late+0.4, hint)
	if !ok {
		return
	}
	if ok0 && ok1 {
		l.rate = math.Atan2(e0*n1-n0*e1, e0*e1+n0*n1) / 0.8
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

// at interpolates the velocity at time t; ok is false away from the fixes.
func (g *fixes) at(t float64, hint *int) (east, north float64, ok bool) {
	i := *hint
	for i > 0 && g.t[i] > t {
		i--
	}
	for i+1 < len(g.t) && g.t[i+1] < t {
		i++
	}
	*hint = i
	if i+1 >= len(g.t) || g.t[i] > t || g.t[i+1]-g.t[i] > maxFixGap {
		return 0, 0, false
	}
	u := (t - g.t[i]) / (g.t[i+1] - g.t[i])
	return g.east[i] + u*(g.east[i+1]-g.east[i]), g.north[i] + u*(g.north[i+1]-g.north[i]), true
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

// ridden picks out straight riding and turning among the looks.
type ridden struct {
	straight, turning []int   // indices of looks
	least             float64 // m/s, the speed from which a look counts
}

const (
	straightRate = 0.12 // rad/s, less is straight
	turningRate  = 0.17 // rad/s, more is a turn
)

// pickRidden takes what is fast for this log; hint is the least speed of
// flight when it is known.
func pickRidden(looks []look, hint float64) ridden {
	var r ridden
	r.least = hint
	if !(hint > 0) {
		var v []float64
		for i := range looks {
			if looks[i].speed > movingSpeed {
				v = append(v, looks[i].speed)
			}
		}
		r.least = max(movingSpeed, 0.55*quantile(v, 0.9))
	}
	fast := func(i int) bool {
		return i >= 0 && i < len(looks) && looks[i].speed > r.least && looks[i].rate == looks[i].rate
	}
	for i := range looks {
		if !fast(i) || !fast(i-1) || !fast(i+1) {
			continue
		}
		l := &looks[i]
		rate := math.Abs(l.rate)
		calm := rate < straightRate && math.Abs(looks[i-1].rate) < straightRate && math.Abs(looks[i+1].rate) < straightRate
		switch {
		case calm:
			r.straight = append(r.straight, i)
		case rate > turningRate:
			r.turning = append(r.turning, i)
		}
	}
	return r
}
