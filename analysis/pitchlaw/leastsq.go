package pitchlaw

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// errSingular says that the columns do not tell the parameters apart.
var errSingular = errors.New("pitchlaw: the observations do not determine all parameters")

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
	noDescent    = 1e-7  // converged too, when the step does not descend
	mostHalved   = 40    // times that a step is
)

// minimise finds the least weighted squares by Gauss–Newton steps, halved
// until they descend. Weights that depend on the residuals make it iteratively
// reweighted least squares: each step descends on the quadratic that majorises
// the loss. A linear problem takes one step and one of iterative refinement.
func (q leastSquares) minimise(start []float64, steps int) (solution, error) {
	n, p := q.n, q.p
	s := solution{beta: slices.Clone(start), r: make([]float64, n), w: slices.Repeat([]float64{1}, n)}
	rows, trial := make([]float64, n*(p+1)), make([]float64, n*(p+1))
	squares := func(rows []float64) (sum float64) {
		for i, w := range s.w {
			r := rows[i*(p+1)+p]
			sum += w * r * r
		}
		return sum
	}
	q.eval(s.beta, rows)
	for range steps {
		for i := range n {
			s.r[i] = rows[i*(p+1)+p]
		}
		if q.weigh != nil {
			q.weigh(s.r, s.w)
		}
		s.rss = squares(rows)
		step, explained, err := descent(rows, s.w, p)
		if err != nil {
			return s, err
		}
		if s.reached = explained <= flatGradient*math.Sqrt(s.rss); s.reached {
			return s, nil
		}
		for halved := 0; ; halved++ {
			next := floats.AddTo(make([]float64, p), s.beta, step)
			if q.eval(next, trial); squares(trial) <= s.rss {
				s.beta, rows, trial = next, trial, rows
				break
			}
			if s.reached = explained <= noDescent*math.Sqrt(s.rss); s.reached || halved == mostHalved {
				return s, nil
			}
			floats.Scale(0.5, step)
		}
	}
	return s, nil
}

// leastOwn is the length, as a share of its own, that a column must have besides
// those before it.
const leastOwn = 3e-7

// descent is the least-squares step for weighted rows [J|r], and the length of
// r's part in the columns. Its normal equations square the condition; the steps
// that follow take the error back out.
func descent(rows, weights []float64, p int) (step []float64, explained float64, err error) {
	gram, right := make([]float64, p*p), mat.NewVecDense(p, nil)
	step = right.RawVector().Data
	for i, w := range weights {
		if w == 0 {
			continue
		}
		row := rows[i*(p+1) : (i+1)*(p+1)]
		for a, x := range row[:p] {
			step[a] += w * x * row[p]
			for b, y := range row[a:p] {
				gram[a*p+a+b] += w * x * y
			}
		}
	}
	x := slices.Clone(step)
	chol, ok := cholesky(p, gram)
	if !ok {
		return nil, 0, errSingular
	}
	_ = chol.SolveVecTo(right, right)
	if explained = math.Sqrt(max(floats.Dot(x, step), 0)); math.IsNaN(explained) || math.IsInf(explained, 0) {
		return nil, 0, errors.New("pitchlaw: the fit ran away from the observations")
	}
	return step, explained, nil
}

// cholesky factors a symmetric matrix given by its upper triangle, row-major;
// ok is false when a column adds nothing to those before it. What the factor
// solves comes with an error for a bad condition, which the parameters' units
// alone make.
func cholesky(n int, upper []float64) (*mat.Cholesky, bool) {
	if floats.HasNaN(upper) || math.IsInf(floats.Max(upper), 0) { // ends no comparison
		return nil, false
	}
	c := new(mat.Cholesky)
	if !c.Factorize(mat.NewSymDense(n, upper)) {
		return nil, false
	}
	u := c.RawU()
	for k := range n {
		if d := u.At(k, k); !(d*d > leastOwn*leastOwn*upper[k*n+k]) {
			return nil, false
		}
	}
	return c, true
}
