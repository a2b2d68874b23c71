package pitchlaw

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// errSingular says that the columns do not tell the parameters apart.
var errSingular = errors.New("the observations do not determine all parameters")

// leastSquares is a weighted least-squares problem, linear or not.
type leastSquares struct {
	n, p int
	// eval fills one row an observation, p+1 wide: the model's derivatives and
	// observed minus model.
	eval func(beta, rows []float64)
	// weigh fills w with the weights that the residuals r get; nil means 1.
	weigh func(r, w []float64)
}

// solution is where minimise ended.
type solution struct {
	beta    []float64
	r, w    []float64         // residuals and weights, per row
	upper   blas64.Triangular // R of the weighted rows: RᵀR = JᵀWJ
	rss     float64           // weighted
	reached bool              // the gradient is down to rounding error
}

// How near to rounding error the gradient must come, relative to the residuals.
const (
	flatGradient = 1e-11 // converged
	noDescent    = 1e-7  // converged too, when no step descends any more
)

// minimise finds the least weighted squares by Gauss–Newton steps, damped
// (Levenberg–Marquardt) when a step does not descend. Weights that depend on
// the residuals make it iteratively reweighted least squares: each step
// descends on the quadratic that majorises the loss. A linear problem takes
// one step and one of iterative refinement.
func (q leastSquares) minimise(start []float64, steps int) (solution, error) {
	n, p := q.n, q.p
	s := solution{beta: slices.Clone(start), r: make([]float64, n), w: make([]float64, n)}
	rows, trial := make([]float64, n*(p+1)), make([]float64, n*(p+1))
	f := newFactor(n, p)
	next := make([]float64, p)
	damping := 0.0
	q.eval(s.beta, rows)
	for range steps {
		for i := range n {
			s.r[i], s.w[i] = rows[i*(p+1)+p], 1
		}
		if q.weigh != nil {
			q.weigh(s.r, s.w)
		}
		if err := f.factor(rows, s.w); err != nil {
			return s, err
		}
		s.rss, s.upper = f.rss, f.unscaled()
		if f.explained <= flatGradient*math.Sqrt(f.rss) || f.explained == 0 {
			s.reached = true
			return s, nil
		}
		after := math.Inf(1)
		for range 40 {
			f.step(damping, next)
			for k := range next {
				next[k] += s.beta[k]
			}
			q.eval(next, trial)
			after = 0
			for i, w := range s.w {
				r := trial[i*(p+1)+p]
				after += w * r * r
			}
			if after <= f.rss {
				break
			}
			if f.explained <= noDescent*math.Sqrt(f.rss) {
				s.reached = true
				return s, nil
			}
			damping = max(10*damping, 1e-3)
		}
		if !(after <= f.rss) {
			return s, nil
		}
		copy(s.beta, next)
		rows, trial = trial, rows
		if damping /= 10; damping < 1e-6 {
			damping = 0
		}
	}
	return s, nil
}

// factor is the QR of weighted rows [J|r], columns of J brought to unit length.
type factor struct {
	a              blas64.General // R, with Qᵀr in the last column
	tau, work      []float64
	scale          []float64 // lengths of the columns
	rss, explained float64   // squared length of r; length of its part in the columns
}

func newFactor(n, p int) *factor {
	w := p + 1
	return &factor{
		a:   blas64.General{Rows: n, Cols: w, Stride: w, Data: make([]float64, n*w)},
		tau: make([]float64, min(n, w)), work: make([]float64, w), scale: make([]float64, p),
	}
}

func (f *factor) factor(rows, weights []float64) error {
	p, w := len(f.scale), len(f.scale)+1
	a := f.a.Data
	clear(f.scale)
	f.rss = 0
	for i, v := range weights {
		v = math.Sqrt(v)
		for k := range p {
			a[i*w+k] = v * rows[i*w+k]
			f.scale[k] += a[i*w+k] * a[i*w+k]
		}
		r := v * rows[i*w+p]
		a[i*w+p] = r
		f.rss += r * r
	}
	if math.IsNaN(f.rss) || math.IsInf(f.rss, 0) {
		return errors.New("the fit ran away from the observations")
	}
	for k := range f.scale {
		if f.scale[k] = math.Sqrt(f.scale[k]); !(f.scale[k] > 0) || math.IsInf(f.scale[k], 0) {
			return errSingular
		}
	}
	for i := range weights {
		for k, s := range f.scale {
			a[i*w+k] /= s
		}
	}
	lapack64.Geqrf(f.a, f.tau, f.work, len(f.work))
	f.explained = 0
	for k := range p {
		if !(math.Abs(a[k*w+k]) > 1e-13) {
			return errSingular
		}
		f.explained = math.Hypot(f.explained, a[k*w+p])
	}
	return nil
}

// unscaled is R of the columns as they were.
func (f *factor) unscaled() blas64.Triangular {
	p, w := len(f.scale), len(f.scale)+1
	u := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: p, Stride: p, Data: make([]float64, p*p)}
	for i := range p {
		for k := i; k < p; k++ {
			u.Data[i*p+k] = f.a.Data[i*w+k] * f.scale[k]
		}
	}
	return u
}

// step is the Levenberg–Marquardt step for unit columns: least squares on
// [R|Qᵀr] over √damping times the unit matrix.
func (f *factor) step(damping float64, out []float64) {
	p, w := len(f.scale), len(f.scale)+1
	b := blas64.General{Rows: 2 * p, Cols: w, Stride: w, Data: make([]float64, 2*p*w)}
	for i := range p {
		copy(b.Data[i*w+i:(i+1)*w], f.a.Data[i*w+i:(i+1)*w])
		b.Data[(p+i)*w+i] = math.Sqrt(damping)
	}
	if damping > 0 {
		lapack64.Geqrf(b, make([]float64, min(2*p, w)), f.work, len(f.work))
	}
	for k := range p {
		out[k] = b.Data[k*w+p]
	}
	blas64.Trsv(blas.NoTrans, blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: p, Stride: w, Data: b.Data}, blas64.Vector{N: p, Inc: 1, Data: out})
	for k, s := range f.scale {
		out[k] /= s
	}
}
