package pitchlaw

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
)

// A Method is a way to fit a linear regression.
type Method int

const (
	// MM is Yohai's estimator: a start with half the data free to be wrong
	// (an S-estimate), then Tukey's bisquare at that scale. Leverage points
	// do not move it. The pitch law uses it.
	MM Method = iota
	// LTS is least trimmed squares, on the half of the data that agrees best.
	LTS
	// Huber is Huber's M-estimate with the scale med|r|/0.6745; it has no
	// defence against leverage points and serves for comparison.
	Huber
	// LeastSquares is ordinary least squares.
	LeastSquares
)

// Tuning constants: 95 % efficiency at the normal for both losses, and a 50 %
// breakdown point for the S-estimate's scale.
const (
	huberK      = 1.345
	bisquareC   = 4.685061 // Yohai 1987
	bisquareS   = 1.547645 // E ρ = 1/2 of its maximum at the normal
	consistency = 0.6745   // MAD of the standard normal, as printed in the source of checks.md 8e
)

// A Regression is a fitted linear model.
type Regression struct {
	Coef      []float64
	SE        []float64 // of Coef, as if the rows were independent; LeastSquares only
	Residuals []float64
	Weights   []float64 // 0..1: how far each row was believed
	Scale     float64   // robust 1σ of the residuals
	Objective float64   // LTS: sum of the kept squares
}

// Regress fits y = X β. X is row-major with len(y) rows; write a column of ones
// for an intercept. The result depends on nothing but its arguments: where not
// all starts can be tried, seed picks them. It fails when the rows do not
// determine β.
func Regress(x, y []float64, method Method, seed uint64) (*Regression, error) {
	n := len(y)
	if n == 0 || len(x)%n != 0 || len(x) == 0 {
		return nil, fmt.Errorf("regression: %d numbers do not make %d rows", len(x), n)
	}
	p := len(x) / n
	if n <= p {
		return nil, fmt.Errorf("regression: %d rows for %d parameters: need at least %d", n, p, p+1)
	}
	d := design{n: n, p: p, x: x, y: y}
	switch method {
	case LeastSquares:
		return d.leastSquares()
	case Huber:
		return d.huber()
	case LTS:
		return d.trimmed(seed)
	default:
		return d.mm(seed)
	}
}

type design struct {
	n, p int
	x, y []float64
}

func (d design) problem() problem {
	return problem{n: d.n, p: d.p, eval: func(beta, r, jac []float64) {
		d.residuals(beta, r)
		copy(jac, d.x)
	}}
}

func (d design) residuals(beta, r []float64) {
	for i := range d.n {
		row := d.x[i*d.p : (i+1)*d.p]
		v := d.y[i]
		for k, b := range beta {
			v -= b * row[k]
		}
		r[i] = v
	}
}

func (d design) result(s solution, scale float64) *Regression {
	return &Regression{Coef: s.beta, Residuals: s.r, Weights: s.w, Scale: scale}
}

func (d design) leastSquares() (*Regression, error) {
	s, err := d.problem().minimise(make([]float64, d.p), 20)
	if err != nil {
		return nil, fmt.Errorf("regression: %w", err)
	}
	g := d.result(s, math.Sqrt(s.rss/float64(d.n-d.p)))
	for k, c := range s.tri.gram() {
		g.SE = append(g.SE, g.Scale*math.Sqrt(c[k]))
	}
	return g, nil
}

func (d design) huber() (*Regression, error) {
	q := d.problem()
	first := true
	var scale float64
	q.weigh = func(r, w []float64) {
		if first { // the start is least squares
			first = false
			return
		}
		scale = medianAbs(r) / consistency
		for i, v := range r {
			if a := math.Abs(v); a > huberK*scale {
				w[i] = huberK * scale / a
			}
		}
	}
	s, err := q.minimise(make([]float64, d.p), 500)
	if err != nil {
		return nil, fmt.Errorf("regression: %w", err)
	}
	return d.result(s, scale), nil
}

func (d design) mm(seed uint64) (*Regression, error) {
	beta, scale, err := d.sEstimate(seed)
	if err != nil {
		return nil, err
	}
	if scale == 0 { // more than half the rows lie exactly on one plane
		r, w := make([]float64, d.n), make([]float64, d.n)
		d.residuals(beta, r)
		for i := range w {
			if r[i] == 0 {
				w[i] = 1
			}
		}
		return d.result(solution{beta: beta, r: r, w: w}, 0), nil
	}
	q := d.problem()
	q.weigh = func(r, w []float64) {
		for i, v := range r {
			w[i] = bisquare(v / scale)
		}
	}
	s, err := q.minimise(beta, 200)
	if err != nil {
		return nil, fmt.Errorf("regression: %w", err)
	}
	return d.result(s, scale), nil
}

// bisquare is Tukey's weight (1 - (t/c)²)², 0 beyond c.
func bisquare(t float64) float64 {
	u := t / bisquareC
	if u = 1 - u*u; u <= 0 {
		return 0
	}
	return u * u
}

// sEstimate finds the plane whose residuals have the least robust scale, by
// the fast-S algorithm (Salibián-Barrera & Yohai 2006).
func (d design) sEstimate(seed uint64) ([]float64, float64, error) {
	size := make([]float64, d.p)
	for k := range size {
		size[k] = d.columnSize(k)
	}
	refine := func(beta, r []float64, steps int) ([]float64, float64) {
		d.residuals(beta, r)
		s := medianAbs(r) / consistency
		for range steps {
			if s == 0 {
				break
			}
			s = mScaleStep(r, s, d.n-d.p)
			next, ok := d.weighted(r, func(v float64) float64 {
				u := v / (s * bisquareS)
				if u = 1 - u*u; u <= 0 {
					return 0
				}
				return u * u
			})
			if !ok {
				break
			}
			moved := math.Abs(s) * 1e-9
			var change float64
			for k := range next {
				change = max(change, math.Abs(next[k]-beta[k])*size[k])
			}
			beta = next
			d.residuals(beta, r)
			if change < moved {
				break
			}
		}
		return beta, mScale(r, d.n-d.p)
	}
	best := d.search(seed, refine)
	if best == nil {
		return nil, 0, fmt.Errorf("regression: %w", errSingular)
	}
	return best.beta, best.value, nil
}

// columnSize is the mean size of a column, to measure steps in the units of y.
func (d design) columnSize(k int) float64 {
	var s float64
	for i := range d.n {
		s += math.Abs(d.x[i*d.p+k])
	}
	return s / float64(d.n)
}

// trimmed is least trimmed squares by the fast-LTS algorithm (Rousseeuw & Van
// Driessen 2006), keeping h = ⌊(n+p+1)/2⌋ rows.
func (d design) trimmed(seed uint64) (*Regression, error) {
	h := (d.n + d.p + 1) / 2
	squares := make([]float64, d.n)
	objective := func(r []float64) (cut, sum float64) {
		for i, v := range r {
			squares[i] = v * v
		}
		slices.Sort(squares)
		for _, v := range squares[:h] {
			sum += v
		}
		return math.Sqrt(squares[h-1]), sum
	}
	concentrate := func(beta, r []float64, steps int) ([]float64, float64) {
		d.residuals(beta, r)
		cut, sum := objective(r)
		for range steps {
			next, ok := d.weighted(r, func(v float64) float64 {
				if math.Abs(v) <= cut {
					return 1
				}
				return 0
			})
			if !ok {
				break
			}
			d.residuals(next, r)
			c, s := objective(r)
			if s >= sum*(1-1e-14) {
				d.residuals(beta, r)
				break
			}
			beta, cut, sum = next, c, s
		}
		return beta, sum
	}
	best := d.search(seed, concentrate)
	if best == nil {
		return nil, fmt.Errorf("regression: %w", errSingular)
	}
	r, w := make([]float64, d.n), make([]float64, d.n)
	d.residuals(best.beta, r)
	cut, sum := objective(r)
	for i, v := range r {
		if math.Abs(v) <= cut {
			w[i] = 1
		}
	}
	g := d.result(solution{beta: best.beta, r: r, w: w}, medianAbs(r)/consistency)
	g.Objective = sum
	return g, nil
}

type candidate struct {
	beta  []float64
	value float64
}

const (
	exhaustive = 6000 // try every elemental start up to so many
	randomly   = 300  // else so many, picked by the seed
	coarseRows = 400  // on so many rows
	finalists  = 8
)

// search tries planes through p rows each, improves each a little, and the
// best few until they stand still.
func (d design) search(seed uint64, improve func(beta, r []float64, steps int) ([]float64, float64)) *candidate {
	var list []candidate
	r := make([]float64, d.n)
	try := func(rows []int) {
		beta, ok := d.through(rows)
		if !ok {
			return
		}
		b, v := improve(beta, r, 2)
		list = append(list, candidate{b, v})
	}
	if combinations(d.n, d.p) <= exhaustive {
		eachSubset(d.n, d.p, try)
	} else if d.n > 2*coarseRows {
		// Start on a part of the rows; the finalists see them all.
		rng := rand.New(rand.NewPCG(seed, 0x5eed))
		part := d.part(rng.Perm(d.n)[:coarseRows])
		if c := part.coarse(rng); c != nil {
			for _, k := range c {
				b, v := improve(k, r, 2)
				list = append(list, candidate{b, v})
			}
		}
	} else {
		rng := rand.New(rand.NewPCG(seed, 0x5eed))
		for range randomly {
			try(rng.Perm(d.n)[:d.p])
		}
	}
	if len(list) == 0 {
		return nil
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].value < list[j].value })
	list = list[:min(finalists, len(list))]
	best := 0
	for i, c := range list {
		list[i].beta, list[i].value = improve(c.beta, r, 15)
		if list[i].value < list[best].value {
			best = i
		}
	}
	b, v := improve(list[best].beta, r, 500)
	return &candidate{b, v}
}

// coarse returns the coefficients of the best elemental starts by median
// absolute residual.
func (d design) coarse(rng *rand.Rand) [][]float64 {
	var list []candidate
	r := make([]float64, d.n)
	for range randomly {
		rows := make([]int, d.p)
		for k := range rows {
			rows[k] = rng.IntN(d.n)
		}
		if beta, ok := d.through(rows); ok {
			d.residuals(beta, r)
			list = append(list, candidate{beta, medianAbs(r)})
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].value < list[j].value })
	var best [][]float64
	for i := range min(3*finalists, len(list)) {
		best = append(best, list[i].beta)
	}
	return best
}

func (d design) part(rows []int) design {
	s := design{n: len(rows), p: d.p}
	for _, i := range rows {
		s.x = append(s.x, d.x[i*d.p:(i+1)*d.p]...)
		s.y = append(s.y, d.y[i])
	}
	return s
}

// through is the plane through p rows.
func (d design) through(rows []int) ([]float64, bool) {
	p := d.p
	a := make([]float64, p*(p+1))
	for k, i := range rows {
		copy(a[k*(p+1):], d.x[i*p:(i+1)*p])
		a[k*(p+1)+p] = d.y[i]
	}
	t := factor(a, p, p)
	if t.singular() {
		return nil, false
	}
	return t.solve(), true
}

// weighted is the least-squares plane with a weight for each residual.
func (d design) weighted(r []float64, weight func(float64) float64) ([]float64, bool) {
	p := d.p
	a := make([]float64, 0, d.n*(p+1))
	n := 0
	for i := range d.n {
		w := weight(r[i])
		if w == 0 {
			continue
		}
		w = math.Sqrt(w)
		for _, v := range d.x[i*p : (i+1)*p] {
			a = append(a, w*v)
		}
		a = append(a, w*d.y[i])
		n++
	}
	if n < p {
		return nil, false
	}
	t := factor(a, n, p)
	if t.singular() {
		return nil, false
	}
	return t.solve(), true
}

// mScale solves Σ ρ(r/s)/dof = 1/2 for s, ρ Tukey's with maximum 1.
func mScale(r []float64, dof int) float64 {
	s := medianAbs(r) / consistency
	for range 200 {
		if s == 0 {
			return 0
		}
		next := mScaleStep(r, s, dof)
		if math.Abs(next-s) < 1e-10*s {
			return next
		}
		s = next
	}
	return s
}

func mScaleStep(r []float64, s float64, dof int) float64 {
	var sum float64
	for _, v := range r {
		u := v / (s * bisquareS)
		u *= u
		if u >= 1 {
			sum++
		} else {
			sum += u * (3 - u*(3-u))
		}
	}
	return s * math.Sqrt(2*sum/float64(dof))
}

func medianAbs(r []float64) float64 {
	a := make([]float64, len(r))
	for i, v := range r {
		a[i] = math.Abs(v)
	}
	return median(a)
}

// median reorders x; it is NaN for no numbers.
func median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}

func combinations(n, p int) int {
	c := 1
	for k := range p {
		c = c * (n - k) / (k + 1)
		if c > exhaustive {
			return exhaustive + 1
		}
	}
	return c
}

// eachSubset calls f with every choice of p out of n; f must not keep it.
func eachSubset(n, p int, f func([]int)) {
	idx := make([]int, p)
	for k := range idx {
		idx[k] = k
	}
	for {
		f(idx)
		k := p - 1
		for k >= 0 && idx[k] == n-p+k {
			k--
		}
		if k < 0 {
			return
		}
		idx[k]++
		for j := k + 1; j < p; j++ {
			idx[j] = idx[j-1] + 1
		}
	}
}
