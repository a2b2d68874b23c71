package trim

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// draw fills in whole foils from the posterior. Proposals come from Laplace's
// normal, a little wider; importance weights against the true posterior and
// systematic resampling correct what is not normal (Rubin's
// sampling/importance resampling). A posterior in conflict is raised to the
// power 1/Widened, which inflates its covariance by Widened.
func (post *Posterior) draw(x []float64, cov *mat.SymDense, opt InferOptions) {
	n := opt.Draws
	if n <= 0 {
		n = 400
	}
	seed := opt.Seed
	if seed == 0 {
		seed = 1
	}
	const (
		perDraw = 8
		wider   = 1.1 // of the proposal, in σ: its tails must cover the target's
	)
	p := post.problem
	rng := rand.New(rand.NewPCG(seed, 0x7e57))
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return
	}
	var l mat.TriDense
	chol.LTo(&l)
	temper := math.Sqrt(post.Widened)
	m := perDraw * n
	xs := make([][]float64, m)
	logw := make([]float64, m)
	z := mat.NewVecDense(len(x), nil)
	var lz mat.VecDense
	for i := range m {
		half := 0.0
		// Antithetic pairs: the second of each mirrors the first about the MAP.
		sign := 1.0
		if i%2 == 1 {
			sign = -1
		}
		for k := range x {
			if sign > 0 {
				z.SetVec(k, rng.NormFloat64())
			}
			half += z.AtVec(k) * z.AtVec(k) / 2
		}
		lz.MulVec(&l, z)
		y := make([]float64, len(x))
		for k := range x {
			y[k] = x[k] + sign*wider*temper*lz.AtVec(k)
		}
		xs[i], logw[i] = y, half-p.cost(y)/post.Widened
	}
	pick, effective := resample(logw, n, rng.Float64())
	post.Effective = effective
	post.Draws = make([]Inputs, 0, n)
	for _, i := range pick {
		post.Draws = append(post.Draws, p.inputs(0, xs[i]))
	}
}

// resample picks n of the weighted items, systematically, u in [0,1). It also
// gives the effective share of the weights, (Σw)²/(N Σw²).
func resample(logw []float64, n int, u float64) ([]int, float64) {
	top := slices.Max(logw)
	w := make([]float64, len(logw))
	sum, squares := 0.0, 0.0
	for i, l := range logw {
		w[i] = math.Exp(l - top)
		sum += w[i]
		squares += w[i] * w[i]
	}
	pick := make([]int, 0, n)
	acc, j := w[0], 0
	for k := range n {
		at := (float64(k) + u) / float64(n) * sum
		for acc < at && j < len(w)-1 {
			j++
			acc += w[j]
		}
		pick = append(pick, j)
	}
	return pick, sum * sum / squares / float64(len(w))
}
