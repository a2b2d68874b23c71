package pitchlaw

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
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
	r, w    []float64 // residuals and weights, per row
	rss     float64   // weighted
	reached bool      // the gradient is down to rounding error
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
	e := newNormal(p)
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
		if err := e.fill(rows, s.w); err != nil {
			return s, err
		}
		s.rss = e.rss
		end, err := q.descend(e, &s, next, trial, &damping)
		if err != nil || end != goOn {
			s.reached = end == level
			return s, err
		}
		copy(s.beta, next)
		rows, trial = trial, rows
		if damping /= 10; damping < 1e-6 {
			damping = 0
		}
	}
	return s, nil
}

// How the search for a step may end.
const (
	goOn  = iota // with a better point
	level        // nothing is left to descend above rounding error
	stuck        // no step descends
)

// descend finds a step to a point no worse, damping it as much as that takes.
func (q leastSquares) descend(e *normal, s *solution, next, trial []float64, damping *float64) (int, error) {
	for range 40 {
		explained, err := e.step(*damping, next)
		if err != nil {
			return stuck, err
		}
		undamped := *damping == 0
		if undamped && (explained <= flatGradient*math.Sqrt(e.rss) || explained == 0) {
			return level, nil
		}
		floats.Add(next, s.beta)
		q.eval(next, trial)
		after := 0.0
		for i, w := range s.w {
			r := trial[i*(q.p+1)+q.p]
			after += w * r * r
		}
		if after <= e.rss {
			return goOn, nil
		}
		if undamped && explained <= noDescent*math.Sqrt(e.rss) {
			return level, nil
		}
		*damping = max(10**damping, 1e-3)
	}
	return stuck, nil
}

// normal are the normal equations of weighted rows [J|r], columns of J brought
// to unit length. That squares their condition; the steps that follow take the
// error back out.
type normal struct {
	gram, right, scale []float64
	rss                float64
}

func newNormal(p int) *normal {
	return &normal{gram: make([]float64, p*p), right: make([]float64, p), scale: make([]float64, p)}
}

func (e *normal) fill(rows, weights []float64) error {
	p := len(e.scale)
	clear(e.gram)
	clear(e.right)
	e.rss = 0
	for i, w := range weights {
		if w == 0 {
			continue
		}
		row := rows[i*(p+1) : (i+1)*(p+1)]
		r := w * row[p]
		e.rss += r * row[p]
		for a, x := range row[:p] {
			e.right[a] += x * r
			for b, y := range row[a:p] {
				e.gram[a*p+a+b] += w * x * y
			}
		}
	}
	if math.IsNaN(e.rss) || math.IsInf(e.rss, 0) {
		return errors.New("the fit ran away from the observations")
	}
	for a := range e.scale {
		if e.scale[a] = math.Sqrt(e.gram[a*p+a]); !(e.scale[a] > 0) || math.IsInf(e.scale[a], 0) {
			return errSingular
		}
		e.right[a] /= e.scale[a]
	}
	for a := range e.scale {
		for b := a; b < p; b++ {
			e.gram[a*p+b] /= e.scale[a] * e.scale[b]
		}
	}
	return nil
}

// step is the Levenberg–Marquardt step for unit columns, and the length of r's
// part in the columns.
func (e *normal) step(damping float64, out []float64) (explained float64, err error) {
	p := len(e.scale)
	damped := slices.Clone(e.gram)
	for a := range p {
		damped[a*p+a] += damping
	}
	chol, ok := cholesky(p, damped)
	if !ok {
		return 0, errSingular
	}
	x, right := mat.NewVecDense(p, out), mat.NewVecDense(p, e.right)
	if err := chol.SolveVecTo(x, right); err != nil && !isCondition(err) {
		return 0, errSingular
	}
	explained = math.Sqrt(max(mat.Dot(x, right), 0))
	for a, s := range e.scale {
		out[a] /= s
	}
	return explained, nil
}

// cholesky factors a symmetric matrix given by its upper triangle, row-major;
// ok is false when a column adds nothing to those before it.
func cholesky(n int, upper []float64) (*mat.Cholesky, bool) {
	for k := range n { // a sum that is not a number ends no comparison
		if d := upper[k*n+k]; math.IsNaN(d) || math.IsInf(d, 0) {
			return nil, false
		}
	}
	c := new(mat.Cholesky)
	if !c.Factorize(mat.NewSymDense(n, upper)) {
		return nil, false
	}
	u := c.RawU()
	for k := range n {
		if d := u.At(k, k); !(d*d > 1e-13*upper[k*n+k]) {
			return nil, false
		}
	}
	return c, true
}

// isCondition says that a matrix is badly conditioned, which unlike units of
// the columns alone make it.
func isCondition(err error) bool {
	_, ok := err.(mat.Condition)
	return ok
}
