package trim

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	// Draws is how many foils the program draws.
	Draws       = 800
	leastPoints = 4 // pairs of points an unknown from which on their covariance can be set right
)

// draw fills in whole foils from the posterior: points of Laplace's normal,
// each weighted by how much likelier than that normal the true posterior has it
// (importance sampling). Chance has no part in it: the points are the same for
// every posterior of as many unknowns, and nothing is picked, so neighbouring
// inputs give neighbouring foils and weights, and every mean and quantile over
// them goes smoothly with the inputs. A posterior in conflict is raised to the
// power 1/Widened, which inflates its covariance by Widened. No weight is above
// √n times the mean one (Ionides, Truncated importance sampling, 2008, from
// memory).
func (post *Posterior) draw(x []float64, cov *mat.SymDense, n int) {
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return
	}
	var l mat.TriDense
	chol.LTo(&l)
	l.ScaleTri(math.Sqrt(post.Widened), &l)
	z := normalPoints(n/2, len(x))
	var lz mat.VecDense
	y := make([]float64, len(x))
	logw := make([]float64, 0, n)
	for i := range n / 2 {
		row := z.RowView(i)
		lz.MulVec(&l, row)
		for _, sign := range []float64{1, -1} {
			for k := range y {
				y[k] = x[k] + sign*lz.AtVec(k)
			}
			logw = append(logw, mat.Dot(row, row)/2-post.problem.cost(y)/post.Widened)
			post.Draws = append(post.Draws, post.problem.inputs(0, y))
		}
	}
	post.Weights = weights(logw)
}

// normalPoints are m standard normal points of n unknowns, the rows, always the
// same. With their mirror images their mean is zero, and their covariance is
// made exactly one where there are enough of them.
func normalPoints(m, n int) *mat.Dense {
	rng := rand.New(rand.NewPCG(1, 0))
	z := mat.NewDense(m, n, nil)
	for i := range m {
		for k := range n {
			z.Set(i, k, rng.NormFloat64())
		}
	}
	if m < leastPoints*n {
		return z
	}
	second := mat.NewSymDense(n, nil)
	second.SymOuterK(1/float64(m), z.T())
	var chol mat.Cholesky
	if chol.Factorize(second) {
		var l mat.TriDense
		chol.LTo(&l)
		// L⁻¹ Σ L⁻ᵀ = 1 of the rows z L⁻ᵀ.
		var white mat.Dense
		if white.Solve(&l, z.T()) == nil {
			z.Copy(white.T())
		}
	}
	return z
}

// weights are those of these logarithms, with a mean of one.
func weights(logw []float64) []float64 {
	top := slices.Max(logw)
	w := make([]float64, len(logw))
	sum := 0.0
	for i, l := range logw {
		w[i] = math.Exp(l - top)
		sum += w[i]
	}
	n := float64(len(w))
	most, left := sum/n*math.Sqrt(n), 0.0
	for i := range w {
		w[i] = math.Min(w[i], most)
		left += w[i]
	}
	for i := range w {
		w[i] *= n / left
	}
	return w
}
