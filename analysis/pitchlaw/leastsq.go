package pitchlaw

import (
	"errors"
	"math"
)

// errSingular says that the columns do not tell the parameters apart.
var errSingular = errors.New("the observations do not determine all parameters")

// triangle is an upper triangular factor R of a weighted design, with Qᵀr
// beside it: everything that a least-squares step needs, p numbers square.
type triangle struct {
	p   int
	r   []float64 // p×p row-major, upper
	c   []float64 // p, Qᵀ of the right-hand side
	rss float64   // squared length of what the columns do not explain
}

// factor is a Householder QR of the n×(p+1) row-major matrix [A|b], in place.
func factor(a []float64, n, p int) triangle {
	w := p + 1
	t := triangle{p: p, r: make([]float64, p*p), c: make([]float64, p)}
	dots := make([]float64, w)
	for k := range min(p, n) {
		var norm float64
		for i := k; i < n; i++ {
			norm += a[i*w+k] * a[i*w+k]
		}
		if norm == 0 {
			continue
		}
		norm = math.Sqrt(norm)
		if a[k*w+k] > 0 {
			norm = -norm
		}
		// The reflector is v = x - norm·e, kept in the column itself.
		a[k*w+k] -= norm
		head := a[k*w+k]
		clear(dots)
		for i := k; i < n; i++ {
			row := a[i*w : i*w+w]
			v := row[k]
			for j := k + 1; j < w; j++ {
				dots[j] += v * row[j]
			}
		}
		for j := k + 1; j < w; j++ {
			dots[j] /= head * norm
		}
		for i := k; i < n; i++ {
			row := a[i*w : i*w+w]
			v := row[k]
			for j := k + 1; j < w; j++ {
				row[j] += dots[j] * v
			}
		}
		t.r[k*p+k] = norm
		for j := k + 1; j < p; j++ {
			t.r[k*p+j] = a[k*w+j]
		}
		t.c[k] = a[k*w+p]
	}
	for i := p; i < n; i++ {
		t.rss += a[i*w+p] * a[i*w+p]
	}
	return t
}

// with appends rows [A|b] (m of them, row-major, p+1 wide) to the factored ones.
func (t triangle) with(rows []float64, m int) triangle {
	p, w := t.p, t.p+1
	a := make([]float64, (p+m)*w)
	for k := range p {
		copy(a[k*w:k*w+p], t.r[k*p:k*p+p])
		a[k*w+p] = t.c[k]
	}
	copy(a[p*w:], rows)
	u := factor(a, p+m, p)
	u.rss += t.rss
	return u
}

// singular says whether a column adds nothing to those before it.
func (t triangle) singular() bool {
	for k := range t.p {
		var col float64
		for i := range k + 1 {
			col = math.Hypot(col, t.r[i*t.p+k])
		}
		if !(math.Abs(t.r[k*t.p+k]) > 1e-13*col) {
			return true
		}
	}
	return false
}

// solve is R⁻¹c.
func (t triangle) solve() []float64 {
	x := append([]float64(nil), t.c...)
	t.back(x)
	return x
}

// back overwrites x by R⁻¹x.
func (t triangle) back(x []float64) {
	p := t.p
	for k := p - 1; k >= 0; k-- {
		for j := k + 1; j < p; j++ {
			x[k] -= t.r[k*p+j] * x[j]
		}
		x[k] /= t.r[k*p+k]
	}
}

// inverse is R⁻¹, whose product with its transpose is (AᵀA)⁻¹.
func (t triangle) inverse() [][]float64 {
	inv := make([][]float64, t.p)
	for i := range inv {
		inv[i] = make([]float64, t.p)
	}
	x := make([]float64, t.p)
	for j := range t.p {
		clear(x)
		x[j] = 1
		t.back(x)
		for i := range x {
			inv[i][j] = x[i]
		}
	}
	return inv
}

// logDet is log|AᵀA|.
func (t triangle) logDet() float64 {
	var s float64
	for k := range t.p {
		s += 2 * math.Log(math.Abs(t.r[k*t.p+k]))
	}
	return s
}

// gram is R⁻¹R⁻ᵀ = (AᵀA)⁻¹.
func (t triangle) gram() [][]float64 {
	inv := t.inverse()
	g := make([][]float64, t.p)
	for i := range g {
		g[i] = make([]float64, t.p)
		for j := range g[i] {
			for k := range t.p {
				g[i][j] += inv[i][k] * inv[j][k]
			}
		}
	}
	return g
}

// A problem is a weighted least-squares problem, linear or not.
type problem struct {
	n, p int
	// eval fills r with observed minus model and jac (n×p row-major) with the
	// model's derivatives.
	eval func(beta, r, jac []float64)
	// weigh fills w with the weights that the residuals r get; nil means 1.
	weigh func(r, w []float64)
}

// solution is where minimise ended.
type solution struct {
	beta    []float64
	r, w    []float64 // residuals and weights, per row
	tri     triangle  // of the weighted rows, columns unscaled
	rss     float64   // weighted
	reached bool      // the gradient is down to rounding error
}

// minimise finds the least weighted squares by Gauss–Newton steps, damped
// (Levenberg–Marquardt) when a step does not descend. Weights that depend on
// the residuals make it iteratively reweighted least squares: each step
// descends on the quadratic that majorises the loss. A linear problem takes
// one step and one of iterative refinement.
func (q problem) minimise(start []float64, maxIter int) (solution, error) {
	n, p := q.n, q.p
	beta := append([]float64(nil), start...)
	r, w := make([]float64, n), make([]float64, n)
	jac := make([]float64, n*p)
	aug := make([]float64, n*(p+1))
	trial := make([]float64, n)
	trialJac := make([]float64, n*p)
	scale := make([]float64, p)
	var s solution
	lambda := 0.0
	q.eval(beta, r, jac)
	for range maxIter {
		for i := range w {
			w[i] = 1
		}
		if q.weigh != nil {
			q.weigh(r, w)
		}
		rss := fillAugmented(aug, jac, r, w, scale, n, p)
		t := factor(aug, n, p)
		if t.singular() {
			return s, errSingular
		}
		if math.IsNaN(rss) || math.IsInf(rss, 0) {
			return s, errors.New("the fit ran away from the observations")
		}
		explained := norm(t.c)
		s = solution{beta: append([]float64(nil), beta...), r: r, w: w, tri: t.unscale(scale), rss: rss}
		if explained <= 1e-11*math.Sqrt(rss) || explained == 0 {
			s.reached = true
			return s, nil
		}
		accepted := false
		for range 40 {
			step := t.damped(lambda)
			next := make([]float64, p)
			for k := range next {
				next[k] = beta[k] + step[k]/scale[k]
			}
			q.eval(next, trial, trialJac)
			var after float64
			for i, v := range trial {
				after += w[i] * v * v
			}
			if after <= rss {
				accepted = true
				beta = next
				r, trial = trial, r
				jac, trialJac = trialJac, jac
				lambda /= 10
				if lambda < 1e-6 {
					lambda = 0
				}
				break
			}
			if explained <= 1e-7*math.Sqrt(rss) {
				// No descent left above rounding error.
				s.reached = true
				return s, nil
			}
			lambda = max(10*lambda, 1e-3)
		}
		if !accepted {
			return s, nil
		}
	}
	return s, nil
}

// fillAugmented builds the weighted [J|r] with columns of unit length and
// returns the weighted sum of squares.
func fillAugmented(aug, jac, r, w, scale []float64, n, p int) float64 {
	clear(scale)
	var rss float64
	for i := range n {
		sw := math.Sqrt(w[i])
		row := aug[i*(p+1) : (i+1)*(p+1)]
		for k := range p {
			row[k] = sw * jac[i*p+k]
			scale[k] += row[k] * row[k]
		}
		row[p] = sw * r[i]
		rss += row[p] * row[p]
	}
	for k := range scale {
		scale[k] = math.Sqrt(scale[k])
		if scale[k] == 0 {
			scale[k] = 1
		}
	}
	for i := range n {
		for k := range p {
			aug[i*(p+1)+k] /= scale[k]
		}
	}
	return rss
}

// unscale undoes columns that were divided by scale.
func (t triangle) unscale(scale []float64) triangle {
	u := triangle{p: t.p, r: make([]float64, t.p*t.p), c: t.c, rss: t.rss}
	for i := range t.p {
		for j := range t.p {
			u.r[i*t.p+j] = t.r[i*t.p+j] * scale[j]
		}
	}
	return u
}

// damped is the Levenberg–Marquardt step for unit columns.
func (t triangle) damped(lambda float64) []float64 {
	if lambda == 0 {
		return t.solve()
	}
	w := t.p + 1
	rows := make([]float64, t.p*w)
	for k := range t.p {
		rows[k*w+k] = math.Sqrt(lambda)
	}
	return t.with(rows, t.p).solve()
}

func norm(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s)
}
