package align

import (
	"math"

	"evenfoot/filter"
)

// A match compares the change of GPS velocity over about a second with the
// integral of the IMU's horizontal specific force over the same time, and the
// change of course with the integral of its yaw rate, in stretches short
// enough for the gyroscope to hold a heading, at a range of even lags.
type match struct {
	first, step float64 // s, IMU minus GPS: the first lag, and from one to the next
	n           int     // lags
	stretches   []lagStretch
	// mirror looks at the carried frame from below, as it must be when the
	// accelerometer has the opposite sign: up becomes down, and the horizontal
	// motion is seen in a mirror.
	mirror bool
}

// A lagStretch is one stretch's part of the comparison: the log likelihoods
// over no relation, per lag, of byAccel and byTurn, and of both mirrored.
type lagStretch struct {
	mid   float64 // s, GPS time
	looks float64 // independent pairs, one a second
	by    [4][]float64
}

const byAccel, byTurn, mirrored = 0, 1, 2

func (m *match) lag(l int) float64 { return m.first + float64(l)*m.step }

// of are the log likelihoods of one kind in stretch i.
func (m *match) of(i, by int) []float64 {
	if m.mirror {
		by += mirrored
	}
	return m.stretches[i].by[by]
}

// minPairs is how many changes of velocity a stretch must hold to be compared.
const minPairs = 20

// match compares at so many lags from first on, a bin's width apart.
func (c *carried) match(g *fixes, first float64, n int) *match {
	m := &match{first: first, step: c.dt, n: n}
	sums := make([]lagSums, n)
	for _, s := range g.stretches {
		clear(sums)
		for i := range s.changes {
			c.compare(&s.changes[i], first, sums)
		}
		m.add(s.mid, sums, minPairs, 1/float64(g.between))
	}
	return m
}

// add takes in a stretch by its sums at every lag that holds at least so many
// pairs, each worth so many looks.
func (m *match) add(mid float64, sums []lagSums, least, worth float64) {
	s := lagStretch{mid: mid}
	for l := range sums {
		if sums[l].n < least {
			continue
		}
		if s.looks == 0 {
			for k := range s.by {
				s.by[k] = make([]float64, m.n)
			}
		}
		looks := sums[l].n * worth
		s.looks = max(s.looks, looks)
		for k, ll := range sums[l].gains(looks) {
			s.by[k][l] = ll
		}
	}
	if s.looks > 0 {
		m.stretches = append(m.stretches, s)
	}
}

// compare adds one change of the GPS's to the sums of every lag at which the
// IMU saw it without a hole.
func (c *carried) compare(ch *change, first float64, sums []lagSums) {
	// An integral is held at its bin's end: bin 0's is at start + dt.
	at := func(t float64) (i int, fr float64) {
		x := (t+first-c.start)/c.dt - 1
		f := math.Floor(x)
		return int(max(min(f, 1e9), -1e9)), x - f
	}
	i1, f1 := at(ch.from)
	i2, f2 := at(ch.to)
	for l := max(0, -i1); l < min(len(sums), len(c.vx)-1-i2); l++ {
		a, b := i1+l, i2+l
		if !c.unbroken(a, b+2) {
			continue
		}
		over := func(v []float64) float64 {
			return v[b] + f2*(v[b+1]-v[b]) - v[a] - f1*(v[a+1]-v[a])
		}
		sums[l].add(over(c.vx), over(c.vy), over(c.turned), ch)
	}
}

// lagSums regress, at one lag, the GPS's change of velocity on the IMU's, as
// complex numbers with an intercept: a turn and a scale; and its turn on the
// IMU's. Seen in a mirror, y and the turn change sign: the same products serve.
type lagSums struct {
	n          float64
	x, y, e, s float64 // IMU's two components; GPS's east and north
	xe, ye     float64 // products
	xs, ys     float64
	imu, gps   float64 // squares
	p, q       float64 // turns of IMU and GPS
	pq, pp, qq float64
}

func (r *lagSums) add(x, y, p float64, ch *change) {
	r.n++
	r.x += x
	r.y += y
	r.e += ch.east
	r.s += ch.north
	r.xe += x * ch.east
	r.ye += y * ch.east
	r.xs += x * ch.north
	r.ys += y * ch.north
	r.imu += x*x + y*y
	r.gps += ch.east*ch.east + ch.north*ch.north
	r.turns(p, ch.turn)
}

func (r *lagSums) turns(p, q float64) {
	r.p += p
	r.q += q
	r.pq += p * q
	r.pp += p * p
	r.qq += q * q
}

// gains are the log likelihoods of a lagStretch. A turn is one component,
// where only a positive relation counts.
func (r *lagSums) gains(looks float64) (by [4]float64) {
	xe, ye := r.xe-r.x*r.e/r.n, r.ye-r.y*r.e/r.n
	xs, ys := r.xs-r.x*r.s/r.n, r.ys-r.y*r.s/r.n
	imu := r.imu - (r.x*r.x+r.y*r.y)/r.n
	if total := r.gps - (r.e*r.e+r.s*r.s)/r.n; imu > 0 {
		by[byAccel] = gain(looks, total, total-(sq(xe+ys)+sq(xs-ye))/imu)
		by[byAccel+mirrored] = gain(looks, total, total-(sq(xe-ys)+sq(xs+ye))/imu)
	}
	pq, pp := r.pq-r.p*r.q/r.n, r.pp-r.p*r.p/r.n
	if total := r.qq - r.q*r.q/r.n; pp > 0 {
		k := byTurn
		if pq < 0 {
			k += mirrored
		}
		by[k] = gain(looks, total, total-pq*pq/pp) / 2
	}
	return by
}

// gain is the log likelihood that a fit gains over none, n looks at two
// components each.
func gain(n, total, left float64) float64 {
	if !(total > 0) || !(left > 0) {
		return 0
	}
	return n * math.Log(total/left)
}

// best is the lag, of those at most most s, of greatest likelihood of one kind
// over all stretches, with the likelihood.
func (m *match) best(by int, most float64) (lag, ll float64) {
	ll = math.Inf(-1)
	for l := range m.n {
		x, sum := m.lag(l), 0.0
		if math.Abs(x) > most+1e-9 {
			continue
		}
		for i := range m.stretches {
			sum += m.of(i, by)[l]
		}
		if sum > ll {
			lag, ll = x, sum
		}
	}
	return lag, ll
}

// agreement is the correlation of velocity changes between the logs along a
// line of lags, over all stretches, 0..1.
func (m *match) agreement(by int, lag func(t float64) float64) float64 {
	var n, sum float64
	for i := range m.stretches {
		s := &m.stretches[i]
		l := int(math.Round((lag(s.mid) - m.first) / m.step))
		n += s.looks
		sum += m.of(i, by)[max(0, min(l, m.n-1))]
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(1 - math.Exp(-sum/n))
}

// A lagPoint is one stretch's own opinion of the lag.
type lagPoint struct{ t, lag, weight float64 }

// points refines each stretch's lag within reach of a guess, s, by a parabola;
// stretches that say nothing, or whose likelihood is still rising at the
// window's edge, are left out.
func (m *match) points(by int, guess, reach float64) []lagPoint {
	var pts []lagPoint
	for i := range m.stretches {
		ll := m.of(i, by)
		best := -1
		for l := range m.n {
			if math.Abs(m.lag(l)-guess) <= reach && (best < 0 || ll[l] > ll[best]) {
				best = l
			}
		}
		if best <= 0 || best >= m.n-1 || ll[best] < 3 || ll[best-1] > ll[best] || ll[best+1] > ll[best] {
			continue
		}
		curve := 2*ll[best] - ll[best-1] - ll[best+1]
		if !(curve > 0) {
			continue
		}
		shift := 0.5 * (ll[best+1] - ll[best-1]) / curve
		pts = append(pts, lagPoint{m.stretches[i].mid, m.lag(best) + shift*m.step, curve / (m.step * m.step)})
	}
	return pts
}

// A lagLine is lag = at + slope (t − mid).
type lagLine struct {
	at, slope     float64 // s, s/s
	atSE, slopeSE float64
	n             int
}

// fitLine fits a line robustly (Huber weights), its slope held near zero by a
// prior of 1σ priorSlope. The errors come from the scatter about the line.
func fitLine(pts []lagPoint, mid, priorSlope float64) lagLine {
	out := lagLine{n: len(pts), atSE: math.Inf(1), slopeSE: math.Inf(1)}
	if len(pts) == 0 {
		return out
	}
	w := make([]float64, len(pts))
	abs := make([]float64, len(pts))
	for i, p := range pts {
		w[i] = p.weight
	}
	scale := 1.0
	for range 12 {
		var s0, s1, s2, y0, y1 float64
		for i, p := range pts {
			x := p.t - mid
			s0 += w[i]
			s1 += w[i] * x
			s2 += w[i] * x * x
			y0 += w[i] * p.lag
			y1 += w[i] * x * p.lag
		}
		s2 += scale * scale / (priorSlope * priorSlope)
		det := s0*s2 - s1*s1
		if !(det > 0) {
			return out
		}
		out.at = (s2*y0 - s1*y1) / det
		out.slope = (s0*y1 - s1*y0) / det
		// Scatter in units of each point's own error; a few points cannot
		// vouch for themselves, so twice that error counts as four more.
		residual := func(p lagPoint) float64 {
			return math.Abs(p.lag-out.at-out.slope*(p.t-mid)) * math.Sqrt(p.weight)
		}
		for i, p := range pts {
			abs[i] = residual(p)
		}
		n := float64(len(abs))
		mad := 1.4826 * filter.Median(abs)
		scale = math.Sqrt((n*mad*mad + 4*4) / (n + 4))
		for i, p := range pts {
			w[i] = p.weight
			if r := residual(p) / scale; r > 1.5 {
				w[i] *= 1.5 / r
			}
		}
		out.atSE = scale * math.Sqrt(s2/det)
		out.slopeSE = scale * math.Sqrt(s0/det)
	}
	return out
}
