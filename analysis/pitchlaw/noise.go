package pitchlaw

import "math"

// A noise is the shape of the windows' errors, relative to the variance of
// the part that is new in every window: a part that fades over Tau (attitude
// error, gusts), Ornstein–Uhlenbeck and carried on through the turns, and a
// part that is constant over a reach (stance, waves on that heading).
type noise struct {
	Fading float64 // variance ratio
	Tau    float64 // s
	Reach  float64 // variance ratio
}

// noiseGrid is what the fit averages over. The ratios span what windows of
// one to three seconds can tell: from errors that are all new to errors that
// are nearly all shared.
var noiseGrid = func() []noise {
	var g []noise
	ratios := []float64{0, 0.15, 0.6, 2.5, 10}
	for _, b := range ratios {
		g = append(g, noise{0, 1, b})
		for _, a := range ratios[1:] {
			for _, tau := range []float64{10, 40} {
				g = append(g, noise{a, tau, b})
			}
		}
	}
	return g
}()

// A series is the windows' places: what correlates their errors.
type series struct {
	time  []float64 // s, rising
	reach []int
	vary  []float64 // variance of each window's own error, relative; +Inf leaves it out
}

// fresh says whether window i begins a reach.
func (s *series) fresh(i int) bool { return i == 0 || s.reach[i] != s.reach[i-1] }

// A two is a state of two numbers, or its gain.
type two [2]float64

// gains are a Kalman filter's for a state of two numbers whose weighted sum
// each window observes with its own error. They do not depend on what is
// filtered, so any number of columns can share them.
type gains struct {
	h      two
	f      [][2]two // transition into window i
	k      []two    // gain, before h is applied again
	root   []float64
	logDet float64 // Σ log S
}

// motion says how a state moves over dt seconds: the transition, and the
// state's stationary covariance, which the noise it gathers restores.
type motion interface {
	observe() two
	step(dt float64, fresh bool) (f [2]two, q [2]two)
}

func (v noise) observe() two { return two{1, 1} }

func (v noise) step(dt float64, fresh bool) (f, q [2]two) {
	f[0][0] = math.Exp(-dt / v.Tau)
	q[0][0] = v.Fading * (1 - f[0][0]*f[0][0])
	if fresh {
		q[1][1] = v.Reach
	} else {
		f[1][1] = 1
	}
	return f, q
}

// filter prepares the gains.
func (s *series) filter(v motion) gains {
	n := len(s.time)
	g := gains{h: v.observe(), f: make([][2]two, n), k: make([]two, n), root: make([]float64, n)}
	var p [2]two
	h := g.h
	for i := range n {
		dt := math.Inf(1)
		if i > 0 {
			dt = s.time[i] - s.time[i-1]
		}
		f, q := v.step(dt, s.fresh(i))
		g.f[i] = f
		// p = f p fᵀ + q
		var fp [2]two
		for a := range 2 {
			for b := range 2 {
				fp[a][b] = f[a][0]*p[0][b] + f[a][1]*p[1][b]
			}
		}
		for a := range 2 {
			for b := range 2 {
				p[a][b] = fp[a][0]*f[b][0] + fp[a][1]*f[b][1] + q[a][b]
			}
		}
		if math.IsInf(s.vary[i], 1) {
			continue
		}
		c := two{p[0][0]*h[0] + p[0][1]*h[1], p[1][0]*h[0] + p[1][1]*h[1]}
		S := h[0]*c[0] + h[1]*c[1] + s.vary[i]
		g.k[i] = two{c[0] / S, c[1] / S}
		for a := range 2 {
			for b := range 2 {
				p[a][b] -= c[a] * c[b] / S
			}
		}
		g.root[i] = 1 / math.Sqrt(S)
		g.logDet += math.Log(S)
	}
	return g
}

// whiten turns the columns of a row-major matrix into innovations of unit
// variance and hands them on row by row: least squares on them is generalised
// least squares. Windows that are left out are passed over.
func (g *gains) whiten(src []float64, cols int, row func(i int, e []float64)) {
	m := make([]two, cols)
	e := make([]float64, cols)
	for i, root := range g.root {
		f, k := &g.f[i], g.k[i]
		x := src[i*cols : (i+1)*cols]
		for c := range m {
			a := f[0][0]*m[c][0] + f[0][1]*m[c][1]
			b := f[1][0]*m[c][0] + f[1][1]*m[c][1]
			if root > 0 {
				v := x[c] - g.h[0]*a - g.h[1]*b
				a += k[0] * v
				b += k[1] * v
				e[c] = v * root
			}
			m[c] = two{a, b}
		}
		if root > 0 {
			row(i, e)
		}
	}
}

// triangle is the factored, whitened design [J|r], by way of its Gram matrix:
// exact enough here, because r is near its minimum and Cholesky's factor does
// not mind how columns are scaled.
func (g *gains) triangle(src []float64, p int) (triangle, bool) {
	w := p + 1
	gram := make([]float64, w*w)
	g.whiten(src, w, func(_ int, e []float64) {
		for a := range w {
			ea, out := e[a], gram[a*w:a*w+w]
			for b := a; b < w; b++ {
				out[b] += ea * e[b]
			}
		}
	})
	t := triangle{p: p, r: make([]float64, p*p), c: make([]float64, p)}
	for k := range p {
		d := gram[k*w+k]
		for i := range k {
			d -= t.r[i*p+k] * t.r[i*p+k]
		}
		if !(d > 1e-12*gram[k*w+k]) {
			// Nothing new in this column; the priors may still hold it.
			d = 0
			if gram[k*w+k] == 0 {
				continue
			}
			d = 1e-12 * gram[k*w+k]
		}
		d = math.Sqrt(d)
		t.r[k*p+k] = d
		for j := k + 1; j < w; j++ {
			v := gram[k*w+j]
			for i := range k {
				right := 0.0
				if j < p {
					right = t.r[i*p+j]
				} else {
					right = t.c[i]
				}
				v -= t.r[i*p+k] * right
			}
			if j < p {
				t.r[k*p+j] = v / d
			} else {
				t.c[k] = v / d
			}
		}
	}
	t.rss = gram[p*w+p]
	for _, c := range t.c {
		t.rss -= c * c
	}
	return t, t.rss > 0
}

// precision multiplies x by the inverse of its covariance matrix: the
// innovations, run backward through the filter (de Jong 1989).
func (g *gains) precision(x []float64) []float64 {
	n := len(x)
	e, u := make([]float64, n), make([]float64, n)
	g.whiten(x, 1, func(i int, v []float64) { e[i] = v[0] * g.root[i] })
	var r two // adjoint of the state after window i
	for i := n - 1; i >= 0; i-- {
		if g.root[i] > 0 {
			u[i] = e[i] - g.k[i][0]*r[0] - g.k[i][1]*r[1]
			r[0] += g.h[0] * u[i]
			r[1] += g.h[1] * u[i]
		}
		f := &g.f[i]
		r = two{f[0][0]*r[0] + f[1][0]*r[1], f[0][1]*r[0] + f[1][1]*r[1]}
	}
	return u
}
