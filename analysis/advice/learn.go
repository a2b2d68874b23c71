package advice

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/trim"
)

// eitherWay is the steps that could turn out right: those on offer, and whole
// cards and moves of either way.
func (t *task) eitherWay(onOffer []step) []step {
	steps := slices.Clone(onOffer)
	if t.mayShim() {
		steps = append(steps, t.step(1, 0), t.step(-1, 0))
	}
	lo, hi := t.reach()
	for _, move := range []float64{math.Max(lo, -largestMove), math.Min(hi, largestMove)} {
		if s := t.step(0, move); math.Abs(s.move) >= smallestMove {
			steps = append(steps, s)
		}
	}
	return steps
}

// learning is what noting the feel at three speeds is worth where no step is
// sure enough today, share²: by how much the mean cost of the trim falls when
// the best step that is then sure may be taken, averaged over what the notes
// may say (preposterior analysis: Raiffa & Schlaifer, Applied
// Statistical Decision Theory, 1961, from memory). What notes tell is by linear
// regression on them.
func (t *task) learning(onOffer []step) float64 {
	notes, ok := t.foretellNotes()
	if !ok {
		return 0
	}
	today := t.step(0, 0)
	var steps []prospect
	for _, s := range t.eitherWay(onOffer) {
		steps = append(steps, notes.prospect(&s, &today))
	}
	rng := rand.New(rand.NewPCG(5, 77))
	total, n := 0.0, len(t.draws)
	told := make([]float64, len(notes.mean))
	for i := range n {
		for k := range told {
			told[k] = notes.said.At(i, k) - notes.mean[k] + noteSD*rng.NormFloat64()
		}
		best := 0.0
		for _, s := range steps {
			if gain := -s.loss.after(told); gain > best && s.chance(told) >= Surely {
				best = gain
			}
		}
		total += t.post.Weights[i] * best
	}
	return total / float64(n)
}

// A noteForecast is what each draw would have the rider note at low, middle and
// top speed today.
type noteForecast struct {
	said    *mat.Dense // a row for each draw, a column for each speed; share
	weights []float64  // of the draws
	mean    []float64
	chol    mat.Cholesky // of the covariance of the notes, their own doubt included
}

func (t *task) foretellNotes() (f noteForecast, ok bool) {
	speeds := []float64{t.Low, t.mid(), t.Top}
	f.weights = t.post.Weights
	f.said = mat.NewDense(len(t.draws), len(speeds), nil)
	for k, v := range speeds {
		said := t.each(0, 0, func(x *flight, c trim.Change) float64 {
			p := x.foil.Point(v, trim.Gravity)
			return x.foil.In.Said(p.With(c).FrontShare)
		})
		f.said.SetCol(k, said)
		f.mean = append(f.mean, t.mean(said))
	}
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, f.said, f.weights)
	for k := range speeds {
		cov.SetSym(k, k, cov.At(k, k)+noteSD*noteSD)
	}
	return f, f.chol.Factorize(&cov)
}

// A line is the regression of a quantity of the draws on the notes.
type line struct {
	mean, rest float64   // rest is the σ that the notes leave
	by         []float64 // per unit of each note off its mean
}

func (f *noteForecast) line(v []float64) line {
	with := mat.NewVecDense(len(f.mean), nil)
	for k := range f.mean {
		with.SetVec(k, stat.Covariance(v, mat.Col(nil, k, f.said), f.weights))
	}
	m, variance := stat.MeanVariance(v, f.weights)
	var by mat.VecDense
	if f.chol.SolveVecTo(&by, with) != nil {
		return line{m, math.Sqrt(variance), make([]float64, len(f.mean))}
	}
	return line{m, math.Sqrt(math.Max(0, variance-mat.Dot(with, &by))), by.RawVector().Data}
}

// after is the mean of the quantity once the notes are off their means by told.
func (l line) after(told []float64) float64 {
	v := l.mean
	for k, b := range l.by {
		v += b * told[k]
	}
	return v
}

// A prospect is what notes may make of a step.
type prospect struct {
	loss   line    // more than today's, share², with the step's price
	off    line    // evenness more than today's
	better float64 // chance today that it is more even
}

func (f *noteForecast) prospect(s, today *step) prospect {
	cost, off := make([]float64, len(s.cost)), make([]float64, len(s.even))
	for i := range cost {
		cost[i], off[i] = s.cost[i]-today.cost[i]+s.price, s.even[i]-today.even[i]
	}
	p := prospect{f.line(cost), f.line(off), s.better}
	// The normal law of the gain is held to today's chance.
	half := 0.5 / float64(len(off))
	p.off.mean = -stat.StdDev(off, f.weights) * distuv.UnitNormal.Quantile(clamp(s.better, half, 1-half))
	return p
}

// chance is that the step makes the load more even, once the notes are told.
func (p prospect) chance(told []float64) float64 {
	return distuv.UnitNormal.CDF(-p.off.after(told) / math.Max(p.off.rest, 1e-12))
}
