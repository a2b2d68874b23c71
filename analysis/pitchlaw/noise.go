package pitchlaw

import (
	"math"
	"slices"
	"sync"
)

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

// A hidden is three numbers whose weighted sum each window observes with an
// error of its own. The first two may drive each other; the third is apart.
type hidden [3]float64

// A transition is what becomes of hidden numbers between windows.
type transition struct {
	a, b, c, d float64 // the first two: rows [a b] and [c d]
	e          float64 // the third
}

// A process says how hidden numbers move over dt seconds, and the covariance
// that they gather meanwhile (the first two's, and the third's variance). At
// the first window of a reach, fresh is true; at the first of all, dt is +Inf.
type process interface {
	observe() hidden
	step(dt float64, fresh bool) (f transition, q transition)
}

func (v noise) observe() hidden { return hidden{1, 1, 0} }

func (v noise) step(dt float64, fresh bool) (f, q transition) {
	f.a = math.Exp(-dt / v.Tau)
	q.a = v.Fading * (1 - f.a*f.a)
	if fresh {
		q.d = v.Reach
	} else {
		f.d = 1
	}
	return f, q
}

// gains are a Kalman filter's, which do not depend on what is filtered: any
// number of columns can share them.
type gains struct {
	h      hidden
	f      []transition
	k      []hidden  // gain
	third  []hidden  // the third's covariance with all, before the window
	root   []float64 // 1/√S, 0 for a window that is left out
	logDet float64   // Σ log S
}

// spareGains are done with: their buffers serve the next filter.
var spareGains = sync.Pool{New: func() any { return new(gains) }}

// filter makes the gains of a process.
func (s *series) filter(v process) *gains {
	n := len(s.time)
	h := v.observe()
	g := spareGains.Get().(*gains)
	*g = gains{h: h, f: slices.Grow(g.f[:0], n)[:n], k: slices.Grow(g.k[:0], n)[:n],
		third: slices.Grow(g.third[:0], n)[:n], root: slices.Grow(g.root[:0], n)[:n]}
	var p00, p01, p11, p02, p12, p22 float64
	product := 1.0 // of S, as far as it fits a number: logarithms are dear
	for i := range n {
		dt := math.Inf(1)
		if i > 0 {
			dt = s.time[i] - s.time[i-1]
		}
		f, q := v.step(dt, s.fresh(i))
		a0, a1 := f.a*p00+f.b*p01, f.a*p01+f.b*p11
		c0, c1 := f.c*p00+f.d*p01, f.c*p01+f.d*p11
		p00, p01, p11 = a0*f.a+a1*f.b+q.a, a0*f.c+a1*f.d+q.b, c0*f.c+c1*f.d+q.d
		p02, p12 = (f.a*p02+f.b*p12)*f.e, (f.c*p02+f.d*p12)*f.e
		p22 = f.e*f.e*p22 + q.e
		g.f[i], g.k[i], g.third[i], g.root[i] = f, hidden{}, hidden{p02, p12, p22}, 0
		if math.IsInf(s.vary[i], 1) {
			continue
		}
		c := hidden{p00*h[0] + p01*h[1] + p02*h[2], p01*h[0] + p11*h[1] + p12*h[2], p02*h[0] + p12*h[1] + p22*h[2]}
		S := h[0]*c[0] + h[1]*c[1] + h[2]*c[2] + s.vary[i]
		k := hidden{c[0] / S, c[1] / S, c[2] / S}
		p00, p01, p11 = p00-c[0]*k[0], p01-c[0]*k[1], p11-c[1]*k[1]
		p02, p12, p22 = p02-c[0]*k[2], p12-c[1]*k[2], p22-c[2]*k[2]
		g.k[i], g.root[i] = k, 1/math.Sqrt(S)
		if product *= S; product > 1e200 || product < 1e-200 {
			g.logDet += math.Log(product)
			product = 1
		}
	}
	g.logDet += math.Log(product)
	return g
}

// whiten turns the columns of a row-major matrix into innovations of unit
// variance (0 where a window is left out) and hands them on row by row, with
// the hidden numbers expected before it: least squares on them is generalised
// least squares.
func (g *gains) whiten(src []float64, cols int, row func(i int, e []float64, before []hidden)) {
	m, before := make([]hidden, cols), make([]hidden, cols)
	e := make([]float64, cols)
	for i, root := range g.root {
		f, k, h := &g.f[i], &g.k[i], &g.h
		x := src[i*cols : (i+1)*cols]
		for c := range m {
			a := f.a*m[c][0] + f.b*m[c][1]
			b := f.c*m[c][0] + f.d*m[c][1]
			d := f.e * m[c][2]
			before[c] = hidden{a, b, d}
			v := x[c] - h[0]*a - h[1]*b - h[2]*d
			e[c] = v * root
			m[c] = hidden{a + k[0]*v, b + k[1]*v, d + k[2]*v}
		}
		row(i, e, before)
	}
}

// gram is the upper triangle of MᵀM of the whitened matrix, row-major.
func (g *gains) gram(src []float64, cols int) []float64 {
	out := make([]float64, cols*cols)
	g.whiten(src, cols, func(_ int, e []float64, _ []hidden) {
		for a, ea := range e {
			to, from := out[a*cols+a:(a+1)*cols], e[a:]
			for b, eb := range from {
				to[b] += ea * eb
			}
		}
	})
	return out
}

// smooth runs the innovations of one column backward through the filter (de
// Jong 1989). It returns the column times the inverse of its covariance
// matrix, which is each window's own error over its variance, and the best
// estimate of the third hidden number.
func (g *gains) smooth(x []float64) (own, third []float64) {
	n := len(x)
	own, third = make([]float64, n), make([]float64, n)
	g.whiten(x, 1, func(i int, e []float64, before []hidden) {
		own[i] = e[0] * g.root[i]
		third[i] = before[0][2]
	})
	var r hidden // adjoint of the hidden numbers after window i
	for i := n - 1; i >= 0; i-- {
		if g.root[i] > 0 {
			k, h := &g.k[i], &g.h
			own[i] -= k[0]*r[0] + k[1]*r[1] + k[2]*r[2]
			for j := range r {
				r[j] += h[j] * own[i]
			}
		}
		t, f := &g.third[i], &g.f[i]
		third[i] += t[0]*r[0] + t[1]*r[1] + t[2]*r[2]
		r = hidden{f.a*r[0] + f.c*r[1], f.b*r[0] + f.d*r[1], f.e * r[2]}
	}
	return own, third
}
