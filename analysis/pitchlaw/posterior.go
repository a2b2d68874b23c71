package pitchlaw

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/filter"

	"gonum.org/v1/gonum/mat"
)

// A component is the law under one noise: a normal posterior of the free
// parameters and the noise's probability.
type component struct {
	noise  noise
	weight float64 // its log likelihood until normalised
	own    float64 // rad, 1σ of a window's own error
	mean   *mat.VecDense
	cov    *mat.SymDense
}

// A posterior is the mixture over all noises that the windows allow. With few
// reaches many are allowed, and the intervals widen by themselves.
type posterior struct {
	free  []int
	parts []component
}

// leastWeight is the probability, over the likeliest one's, from which a noise counts.
const leastWeight = 1e-3

// infer is generalised least squares under each noise, weighted by how well
// the noise explains the residuals (restricted likelihood, Harville 1977, flat
// over the grid). It returns the point of linearisation too.
func (l *law) infer(beta []float64, grid []noise, scale float64) (q posterior, at []float64, err error) {
	p := len(l.free)
	dof := float64(-p)
	for _, v := range l.usable.vary {
		if !math.IsInf(v, 1) {
			dof++
		}
	}
	if dof < 3 {
		return q, nil, errSingular
	}
	at = slices.Clone(beta)
	rows := make([]float64, len(l.y)*(p+1))
	if !l.settleAt(at, rows, l.usable.filter(likelyNoise), dof, scale) {
		return q, nil, errSingular
	}
	parts := make([]component, len(grid))
	filter.Each(len(parts), func(i int) {
		g := l.usable.filter(grid[i])
		defer spareGains.Put(g)
		parts[i], _ = l.under(g, rows, at, dof, scale)
		parts[i].noise = grid[i]
	})
	parts = slices.DeleteFunc(parts, func(c component) bool { return c.mean == nil })
	if len(parts) == 0 {
		return q, nil, errSingular
	}
	return posterior{l.free, normalised(parts, leastWeight, func(c *component) *float64 { return &c.weight })}, at, nil
}

// likelyNoise is what the law is linearised under.
var likelyNoise = noise{Fading: 0.6, Tau: 40, Reach: 0.6}

// settleAt iterates the point of linearisation and leaves the rows there; false
// when it is not determined.
func (l *law) settleAt(at, rows []float64, g *gains, dof, scale float64) bool {
	for range 10 {
		l.eval(at, rows)
		c, ok := l.under(g, rows, at, dof, scale)
		if !ok {
			return false
		}
		moved := 0.0
		for k := range at {
			moved = max(moved, math.Abs(c.mean.AtVec(k)-at[k])/math.Sqrt(c.cov.At(k, k)))
			at[k] = c.mean.AtVec(k)
		}
		if moved < 1e-2 { // of its 1σ
			break
		}
	}
	l.eval(at, rows)
	return true
}

// under is the posterior for rows whitened by gains; its weight is the log
// likelihood. Priors count in units of the noise, which the rows also give.
func (l *law) under(g *gains, rows, at []float64, dof, scale float64) (component, bool) {
	p := len(l.free)
	gram := g.gram(rows, p+1)
	sd, rss := scale, 0.0
	step := mat.NewVecDense(p, nil)
	right := mat.NewVecDense(p, nil)
	var chol *mat.Cholesky
	for range 4 {
		precision := make([]float64, p*p)
		rss = gram[p*(p+1)+p]
		for k, j := range l.free {
			copy(precision[k*p:(k+1)*p], gram[k*(p+1):k*(p+1)+p])
			w, off := sd*sd/(l.sd[j]*l.sd[j]), l.mean[j]-at[k]
			precision[k*p+k] += w
			right.SetVec(k, gram[k*(p+1)+p]+w*off)
			rss += w * off * off
		}
		var ok bool
		if chol, ok = cholesky(p, precision); !ok {
			return component{}, false
		}
		_ = chol.SolveVecTo(step, right)
		if rss -= mat.Dot(step, right); !(rss > 0) {
			return component{}, false
		}
		next := math.Sqrt(rss / dof)
		if math.Abs(next-sd) < 1e-4*sd {
			break
		}
		sd = max(next, 1e-7)
	}
	c := component{own: sd, mean: step, cov: new(mat.SymDense)}
	_ = chol.InverseTo(c.cov)
	c.cov.ScaleSym(sd*sd, c.cov)
	for k := range at {
		step.SetVec(k, at[k]+step.AtVec(k))
	}
	c.weight = -0.5 * (g.logDet + dof*math.Log(max(rss, 1e-14)) + chol.LogDet())
	return c, true
}

// normalised turns the log likelihoods that weight points to into probabilities,
// and drops what has less than the part least of the best one's.
func normalised[T any](parts []T, least float64, weight func(*T) *float64) []T {
	top, sum := math.Inf(-1), 0.0
	for i := range parts {
		top = max(top, *weight(&parts[i]))
	}
	parts = slices.DeleteFunc(parts, func(c T) bool { return math.Exp(*weight(&c)-top) < least })
	for i := range parts {
		w := weight(&parts[i])
		*w = math.Exp(*w - top)
		sum += *w
	}
	for i := range parts {
		*weight(&parts[i]) /= sum
	}
	return parts
}

// noises are those that count.
func (q *posterior) noises() (g []noise) {
	for _, c := range q.parts {
		g = append(g, c.noise)
	}
	return g
}

// ownSD is the 1σ of what is new in every window, rad.
func (q *posterior) ownSD() float64 {
	var v float64
	for _, c := range q.parts {
		v += c.weight * c.own * c.own
	}
	return math.Sqrt(v)
}

func (q *posterior) likeliest() noise {
	best := q.parts[0]
	for _, c := range q.parts {
		if c.weight > best.weight {
			best = c
		}
	}
	return best.noise
}

// pick is a combination's coefficients of the free parameters.
func (q *posterior) pick(a params) *mat.VecDense {
	v := mat.NewVecDense(len(q.free), nil)
	for i, j := range q.free {
		v.SetVec(i, a[j])
	}
	return v
}

// mixture is the distribution of one number: normal under each noise.
type mixture struct{ weights, means, sds []float64 }

// along is the distribution of a linear combination of the parameters.
func (q *posterior) along(a params) mixture {
	v := q.pick(a)
	var m mixture
	for _, c := range q.parts {
		m.weights = append(m.weights, c.weight)
		m.means = append(m.means, mat.Dot(v, c.mean))
		m.sds = append(m.sds, math.Sqrt(max(mat.Inner(v, c.cov, v), 0)))
	}
	return m
}

// interval is the mean and central 90 % of a linear combination, plus an
// error of its own with 1σ extra.
func (q *posterior) interval(a params, extra float64) interval.Interval {
	m := q.along(a)
	var i interval.Interval
	for k, w := range m.weights {
		m.sds[k] = math.Hypot(m.sds[k], extra)
		i.Value += w * m.means[k]
	}
	i.Low, i.High = m.quantile(0.05), m.quantile(0.95)
	return i
}

func (m mixture) quantile(p float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, mean := range m.means {
		lo, hi = min(lo, mean-4*m.sds[i]), max(hi, mean+4*m.sds[i])
	}
	for range 60 { // bisection to rounding error
		mid := (lo + hi) / 2
		if m.below(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// below is the probability that the number is less than x.
func (m mixture) below(x float64) float64 {
	var s float64
	for i, w := range m.weights {
		s += w * 0.5 * math.Erfc((m.means[i]-x)/(m.sds[i]*math.Sqrt2))
	}
	return s
}

// pValue is two-sided, for the combination being zero.
func (q *posterior) pValue(a params) float64 {
	b := q.along(a).below(0)
	return min(1, 2*min(b, 1-b))
}

// covariance is that of two combinations.
func (q *posterior) covariance(a, b params) (cov [2][2]float64) {
	v := [2]*mat.VecDense{q.pick(a), q.pick(b)}
	var mean [2]float64
	for _, c := range q.parts {
		for s := range v {
			mean[s] += c.weight * mat.Dot(v[s], c.mean)
		}
	}
	for _, c := range q.parts {
		for s := range v {
			for t := range v {
				off := (mat.Dot(v[s], c.mean) - mean[s]) * (mat.Dot(v[t], c.mean) - mean[t])
				cov[s][t] += c.weight * (off + mat.Inner(v[s], c.cov, v[t]))
			}
		}
	}
	return cov
}
