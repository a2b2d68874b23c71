package align

import (
	"math"
	"slices"
)

// A match compares the change of GPS velocity over about a second with the
// integral of the IMU's horizontal specific force over the same time, and the
// change of course with the integral of its yaw rate, in stretches short
// enough for the gyroscope to hold a heading, at a range of lags.
type match struct {
	lags    []float64 // s, IMU minus GPS
	stretch []stretch
}

// A stretch is one piece of the comparison. The log likelihoods are relative
// to no relation; all zero where there was nothing to compare.
type stretch struct {
	mid     float64 // s, GPS time
	pairs   float64
	byAccel []float64 // per lag
	byTurn  []float64
}

// stretchS is how long the carried heading is trusted, s.
const stretchS = 120.0

// matchAt compares at the given lags; mirror looks at the carried frame from
// below, as it must be when the accelerometer has the opposite sign.
func (c *carried) matchAt(g *fixes, lags []float64, mirror bool) *match {
	m := &match{lags: lags}
	sign := 1.0
	if mirror {
		sign = -1
	}
	for from := 0; from < len(g.t); {
		to := from + 1
		for to < len(g.t) && g.t[to] < g.t[from]+stretchS {
			to++
		}
		s := stretch{mid: (g.t[from] + g.t[to-1]) / 2, byAccel: make([]float64, len(lags)), byTurn: make([]float64, len(lags))}
		for l, lag := range lags {
			var acc cReg
			var yaw rReg
			h1, h2 := 0, 0
			for i := from; i+g.step < to; i++ {
				k := i + g.step
				if g.t[k]-g.t[i] > maxFixGap {
					continue
				}
				if math.Hypot(g.east[i], g.north[i]) < movingSpeed || math.Hypot(g.east[k], g.north[k]) < movingSpeed {
					continue
				}
				t1, t2 := g.t[i]+lag, g.t[k]+lag
				x1, r1, ok1 := c.at(c.vx, t1, &h1)
				x2, r2, ok2 := c.at(c.vx, t2, &h2)
				if !ok1 || !ok2 || r1 != r2 {
					continue
				}
				y1, _, _ := c.at(c.vy, t1, &h1)
				y2, _, _ := c.at(c.vy, t2, &h2)
				acc.add(complex(x2-x1, sign*(y2-y1)), complex(g.east[k]-g.east[i], g.north[k]-g.north[i]))
				if c.hasGyr {
					p1, _, _ := c.at(c.turned, t1, &h1)
					p2, _, _ := c.at(c.turned, t2, &h2)
					yaw.add(sign*(p2-p1), g.turn(i, k))
				}
			}
			if acc.n < 20 {
				continue
			}
			s.pairs = acc.n / float64(g.step)
			tot, res := acc.residual()
			s.byAccel[l] = gain(s.pairs, tot, res)
			if yt, yr := yaw.residual(); yaw.n >= 20 {
				s.byTurn[l] = gain(s.pairs, yt, yr) / 2
			}
		}
		if s.pairs > 0 {
			m.stretch = append(m.stretch, s)
		}
		from = to
	}
	return m
}

// gain is the log likelihood that a fit gains over none, n looks at two
// components each.
func gain(n, total, left float64) float64 {
	if !(total > 0) || !(left > 0) {
		return 0
	}
	return n * math.Log(total/left)
}

// best is the lag of greatest summed likelihood, with the likelihood.
func (m *match) best(of func(*stretch) []float64) (lag, ll float64) {
	sum := make([]float64, len(m.lags))
	for i := range m.stretch {
		for l, v := range of(&m.stretch[i]) {
			sum[l] += v
		}
	}
	l := 0
	for k := range sum {
		if sum[k] > sum[l] {
			l = k
		}
	}
	if len(sum) == 0 {
		return 0, 0
	}
	return m.lags[l], sum[l]
}

// explained is the share of the squared velocity change that the IMU explains
// along a line of lags, over all stretches, 0..1.
func (m *match) explained(lag func(t float64) float64) float64 {
	var n, sum float64
	for i := range m.stretch {
		s := &m.stretch[i]
		want, best := lag(s.mid), 0
		for l := range m.lags {
			if math.Abs(m.lags[l]-want) < math.Abs(m.lags[best]-want) {
				best = l
			}
		}
		n += s.pairs
		sum += s.byAccel[best]
	}
	if n == 0 {
		return 0
	}
	return 1 - math.Exp(-sum/n)
}

// A lagPoint is one stretch's own opinion of the lag.
type lagPoint struct{ t, lag, weight float64 }

// points refines each stretch's lag near guess(t) by a parabola; stretches
// that say nothing, or whose likelihood is still rising at the window's edge, are left out.
func (m *match) points(of func(*stretch) []float64, guess func(float64) float64) []lagPoint {
	var pts []lagPoint
	const reach = 0.6 // s
	for i := range m.stretch {
		s := &m.stretch[i]
		ll := of(s)
		want := guess(s.mid)
		best := -1
		for l, lag := range m.lags {
			if math.Abs(lag-want) <= reach && (best < 0 || ll[l] > ll[best]) {
				best = l
			}
		}
		if best <= 0 || best >= len(ll)-1 || ll[best] < 3 || ll[best-1] > ll[best] || ll[best+1] > ll[best] {
			continue
		}
		h := m.lags[best+1] - m.lags[best]
		curve := 2*ll[best] - ll[best-1] - ll[best+1]
		if !(curve > 0) {
			continue
		}
		shift := 0.5 * (ll[best+1] - ll[best-1]) / curve
		pts = append(pts, lagPoint{s.mid, m.lags[best] + shift*h, curve / (h * h)})
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
	out := lagLine{n: len(pts), atSE: math.Inf(1), slopeSE: priorSlope}
	if len(pts) == 0 {
		return out
	}
	w := make([]float64, len(pts))
	res := make([]float64, len(pts))
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
		var abs []float64
		for i, p := range pts {
			res[i] = (p.lag - out.at - out.slope*(p.t-mid)) * math.Sqrt(p.weight)
			abs = append(abs, math.Abs(res[i]))
		}
		slices.Sort(abs)
		n := float64(len(abs))
		mad := 1.4826 * median(abs)
		scale = math.Sqrt((n*mad*mad + 4*4) / (n + 4))
		for i, p := range pts {
			w[i] = p.weight
			if r := math.Abs(res[i]) / scale; r > 1.5 {
				w[i] *= 1.5 / r
			}
		}
		out.atSE = scale * math.Sqrt(s2/det)
		out.slopeSE = scale * math.Sqrt(s0/det)
	}
	return out
}

// A cReg regresses complex y on complex x with an intercept.
type cReg struct {
	n      float64
	sx, sy complex128
	sxy    complex128 // Σ conj(x) y
	sxx    float64
	syy    float64
}

func (r *cReg) add(x, y complex128) {
	r.n++
	r.sx += x
	r.sy += y
	r.sxy += complex(real(x), -imag(x)) * y
	r.sxx += real(x)*real(x) + imag(x)*imag(x)
	r.syy += real(y)*real(y) + imag(y)*imag(y)
}

// residual is the sum of squares about the mean, before and after the fit.
func (r *cReg) residual() (total, left float64) {
	sqabs := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	sxy := r.sxy - complex(real(r.sx), -imag(r.sx))*r.sy/complex(r.n, 0)
	sxx := r.sxx - sqabs(r.sx)/r.n
	total = r.syy - sqabs(r.sy)/r.n
	if !(sxx > 0) {
		return total, total
	}
	return total, total - sqabs(sxy)/sxx
}

// An rReg regresses real y on real x with an intercept; only a positive
// relation counts.
type rReg struct{ n, sx, sy, sxy, sxx, syy float64 }

func (r *rReg) add(x, y float64) {
	r.n++
	r.sx += x
	r.sy += y
	r.sxy += x * y
	r.sxx += x * x
	r.syy += y * y
}

func (r *rReg) residual() (total, left float64) {
	sxy, sxx := r.sxy-r.sx*r.sy/r.n, r.sxx-r.sx*r.sx/r.n
	total = r.syy - r.sy*r.sy/r.n
	if !(sxx > 0) || sxy < 0 {
		return total, total
	}
	return total, total - sxy*sxy/sxx
}
