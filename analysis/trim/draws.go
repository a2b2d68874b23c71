package trim

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
)

const (
	usualDraws = 400
	perDraw    = 8   // proposals a draw
	wider      = 1.1 // the proposal's σ over Laplace's: its tails must cover the target's
	drawBlock  = 200 // proposals that share a seed
)

// draw fills in whole foils from the posterior. Proposals come from Laplace's
// normal, a little wider; importance weights against the true posterior and
// systematic resampling correct what is not normal (Rubin's
// sampling/importance resampling, 1988). A posterior in conflict is raised to
// the power 1/Widened, which inflates its covariance by Widened. Every block of
// proposals has its own seed, so the draws do not depend on the cores.
func (post *Posterior) draw(x []float64, cov *mat.SymDense, opt InferOptions) {
	n := opt.Draws
	if n <= 0 {
		n = usualDraws
	}
	seed := max(opt.Seed, 1)
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return
	}
	var l mat.TriDense
	chol.LTo(&l)
	l.ScaleTri(wider*math.Sqrt(post.Widened), &l)
	p := post.problem
	xs := make([][]float64, perDraw*n)
	logw := make([]float64, len(xs))
	blocks := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for from := range blocks {
				to := min(from+drawBlock, len(xs))
				propose(rand.New(rand.NewPCG(seed, uint64(from))), x, &l, xs[from:to], logw[from:to])
				for i := from; i < to; i++ {
					logw[i] -= p.cost(xs[i]) / post.Widened
				}
			}
		})
	}
	for from := 0; from < len(xs); from += drawBlock {
		blocks <- from
	}
	close(blocks)
	workers.Wait()
	pick, effective := resample(logw, n, rand.New(rand.NewPCG(seed, 0x7e57)).Float64())
	post.Effective = effective
	post.Draws = make([]Inputs, 0, n)
	for _, i := range pick {
		post.Draws = append(post.Draws, p.inputs(0, xs[i]))
	}
}

// propose fills xs with x + l z and logw with ½|z|², minus the log of their
// density. They come in antithetic pairs: the second of each mirrors the first.
func propose(rng *rand.Rand, x []float64, l *mat.TriDense, xs [][]float64, logw []float64) {
	z := mat.NewVecDense(len(x), nil)
	var lz mat.VecDense
	half, sign := 0.0, 1.0
	for i := range xs {
		if i%2 == 0 {
			half = 0
			for k := range x {
				v := rng.NormFloat64()
				z.SetVec(k, v)
				half += v * v / 2
			}
			lz.MulVec(l, z)
		}
		xs[i] = make([]float64, len(x))
		for k := range x {
			xs[i][k] = x[k] + sign*lz.AtVec(k)
		}
		logw[i] = half
		sign = -sign
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
