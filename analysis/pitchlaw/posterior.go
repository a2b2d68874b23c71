package pitchlaw

import (
	"math"
	"math/rand/v2"
	"slices"

	"evenfoot/analysis/interval"
)

// A component is the law under one noise: a normal posterior of the free
// parameters and the noise's probability.
type component struct {
	noise  noise
	weight float64
	own    float64 // rad, 1σ of a window's own error
	mean   []float64
	cov    [][]float64
	root   [][]float64 // cov = root rootᵀ
}

// A posterior is the mixture over all noises that the windows allow. With few
// reaches many are allowed, and the intervals widen by themselves.
type posterior struct {
	free  []int
	parts []component
}

// infer is generalised least squares under each noise, weighted by how well
// the noise explains the residuals (restricted likelihood, Harville 1977, flat
// over the grid).
func (l *law) infer(beta []float64, grid []noise, scale float64) (posterior, []float64, error) {
	n, p := len(l.y), len(l.free)
	q := posterior{free: l.free}
	raw := make([]float64, n*(p+1))
	r, jac := make([]float64, n), make([]float64, n*p)
	pack := func(b []float64) {
		l.eval(b, r, jac)
		for i := range n {
			copy(raw[i*(p+1):], jac[i*p:(i+1)*p])
			raw[i*(p+1)+p] = r[i]
		}
	}
	rows := 0
	for _, v := range l.usable.vary {
		if !math.IsInf(v, 1) {
			rows++
		}
	}
	dof := float64(rows - p)
	if dof < 3 {
		return q, nil, errSingular
	}
	at := append([]float64(nil), beta...)
	one := func(v noise) (component, float64, bool) {
		g := l.usable.filter(v)
		data, ok := g.triangle(raw, p)
		if !ok {
			return component{}, 0, false
		}
		c, value, ok := l.under(data, at, dof, scale, g.logDet)
		c.noise = v
		return c, value, ok
	}
	// Settle the linearisation under a likely noise, weigh all noises, and do
	// both again with those that count.
	best := noise{Fading: 0.6, Tau: 40, Reach: 0.6}
	for range 2 {
		for range 10 {
			pack(at)
			c, _, ok := one(best)
			if !ok {
				return q, nil, errSingular
			}
			var moved float64
			for k := range at {
				moved = max(moved, math.Abs(c.mean[k]-at[k])/math.Sqrt(c.cov[k][k]))
			}
			at = c.mean
			if moved < 1e-2 {
				break
			}
		}
		pack(at)
		q.parts = q.parts[:0]
		var values []float64
		for _, v := range grid {
			if c, value, ok := one(v); ok {
				q.parts = append(q.parts, c)
				values = append(values, value)
			}
		}
		if len(q.parts) == 0 {
			return q, nil, errSingular
		}
		top := slices.Max(values)
		for i, v := range values {
			q.parts[i].weight = math.Exp(v - top)
		}
		q.finish()
		last := best
		if best = q.likeliest(); best == last {
			break
		}
		grid = q.noises()
	}
	return q, at, nil
}

// inferOver averages the posterior over equally likely velocities. It returns
// the point of linearisation of the middle one.
func (l *law) inferOver(versions []velocity, at []float64, grid []noise, scale float64) (posterior, []float64, error) {
	all := posterior{free: l.free}
	kept := l.velocity
	defer func() { l.velocity = kept }()
	middle := at
	for k, v := range versions {
		l.velocity = v
		q, b, err := l.infer(at, grid, scale)
		if err != nil {
			return q, nil, err
		}
		if k == len(versions)/2 {
			middle = b
		}
		for _, c := range q.parts {
			c.weight /= float64(len(versions))
			all.parts = append(all.parts, c)
		}
	}
	return all, middle, nil
}

// under is the posterior for a factored, whitened design and its log
// likelihood. Priors count in units of the noise, which the design also gives.
func (l *law) under(data triangle, at []float64, dof, scale, logDet float64) (component, float64, bool) {
	sd := scale
	var t triangle
	for range 4 {
		rows, m := l.priorRows(at, sd)
		t = data.with(rows, m)
		if t.singular() {
			return component{}, 0, false
		}
		next := math.Sqrt(t.rss / dof)
		if math.Abs(next-sd) < 1e-4*sd {
			break
		}
		sd = max(next, 1e-7)
	}
	c := component{own: sd, mean: t.solve(), cov: t.gram(), root: t.inverse()}
	for i := range c.cov {
		c.mean[i] += at[i]
		for j := range c.cov {
			c.cov[i][j] *= sd * sd
			c.root[i][j] *= sd
		}
	}
	value := -0.5 * (logDet + dof*math.Log(max(t.rss, 1e-14)) + t.logDet())
	return c, value, true
}

// finish drops what does not count and normalises.
func (q *posterior) finish() {
	q.parts = slices.DeleteFunc(q.parts, func(c component) bool { return c.weight < 1e-3 })
	var sum float64
	for _, c := range q.parts {
		sum += c.weight
	}
	for i := range q.parts {
		q.parts[i].weight /= sum
	}
}

// noises are those that count.
func (q *posterior) noises() []noise {
	var g []noise
	for _, c := range q.parts {
		if !slices.Contains(g, c.noise) {
			g = append(g, c.noise)
		}
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

// along is the distribution of a linear combination of the parameters: mean
// and 1σ under each noise.
func (q *posterior) along(a *[parCount]float64) (means, sds []float64) {
	for _, c := range q.parts {
		var m, v float64
		for i, ji := range q.free {
			m += a[ji] * c.mean[i]
			for k, jk := range q.free {
				v += a[ji] * a[jk] * c.cov[i][k]
			}
		}
		means, sds = append(means, m), append(sds, math.Sqrt(max(v, 0)))
	}
	return means, sds
}

// interval is the mean and central 90 % of a linear combination, plus an
// error of its own with 1σ extra.
func (q *posterior) interval(a *[parCount]float64, extra float64) interval.Interval {
	means, sds := q.along(a)
	var mean float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, c := range q.parts {
		sds[i] = math.Hypot(sds[i], extra)
		mean += c.weight * means[i]
		lo, hi = min(lo, means[i]-4*sds[i]), max(hi, means[i]+4*sds[i])
	}
	return interval.Interval{Value: mean, Low: q.quantile(means, sds, 0.05, lo, hi), High: q.quantile(means, sds, 0.95, lo, hi)}
}

func (q *posterior) quantile(means, sds []float64, p, lo, hi float64) float64 {
	if !(hi > lo) {
		return lo
	}
	for range 60 {
		mid := (lo + hi) / 2
		if q.below(means, sds, mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// below is the probability that the combination is less than x.
func (q *posterior) below(means, sds []float64, x float64) float64 {
	var s float64
	for i, c := range q.parts {
		s += c.weight * 0.5 * math.Erfc((means[i]-x)/(sds[i]*math.Sqrt2))
	}
	return s
}

// pValue is two-sided, for the combination being zero.
func (q *posterior) pValue(a *[parCount]float64) float64 {
	means, sds := q.along(a)
	b := q.below(means, sds, 0)
	return min(1, 2*min(b, 1-b))
}

// moments are the mean and covariance of two combinations.
func (q *posterior) moments(a [2]*[parCount]float64) (mean [2]float64, cov [2][2]float64) {
	type pair struct{ m [2]float64 }
	all := make([]pair, len(q.parts))
	for n, c := range q.parts {
		for s := range a {
			for i, j := range q.free {
				all[n].m[s] += a[s][j] * c.mean[i]
			}
			mean[s] += c.weight * all[n].m[s]
		}
	}
	for n, c := range q.parts {
		for s := range a {
			for t := range a {
				v := (all[n].m[s] - mean[s]) * (all[n].m[t] - mean[t])
				for i, ji := range q.free {
					for k, jk := range q.free {
						v += a[s][ji] * a[t][jk] * c.cov[i][k]
					}
				}
				cov[s][t] += c.weight * v
			}
		}
	}
	return mean, cov
}

// draws are equally likely laws.
func (q *posterior) draws(count int, seed uint64) [][parCount]float64 {
	rng := rand.New(rand.NewPCG(seed, 0xd1a5))
	out := make([][parCount]float64, count)
	for n := range out {
		// Stratified over the noises, so that few draws stand for all of them.
		u := (float64(n) + rng.Float64()) / float64(count)
		c := q.parts[len(q.parts)-1]
		for _, part := range q.parts {
			if u -= part.weight; u < 0 {
				c = part
				break
			}
		}
		z := make([]float64, len(q.free))
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		for i, j := range q.free {
			v := c.mean[i]
			for k := range z {
				v += c.root[i][k] * z[k]
			}
			out[n][j] = v
		}
	}
	rng.Shuffle(count, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}
