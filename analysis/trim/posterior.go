package trim

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/filter"
)

// A Posterior is what is known of the foil after all the evidence.
//
// Every draw is a whole foil with its rider, more or less likely by its weight: [NewFoil] of it gives load, felt
// share and speed gradient at any speed ([Foil.At], [Foil.Trend]), for any
// trim ([Foil.Point] and [Point.With], [Foil.Trend]), and [Inputs.Said] what
// this rider would note there.
type Posterior struct {
	Base      Inputs      // the setup as given, the centre of the priors
	MAP       Inputs      // the most probable foil
	Unknowns  []Unknown   // one per parameter that acts on today's outing
	Mean      []float64   // MAP, in prior σ from the prior's mean
	Cov       [][]float64 // Laplace covariance, same scale, Widened included
	Draws     []Inputs    // whole foils
	Weights   []float64   // of each draw, how likely it is; their mean is one
	Conflicts []Conflict
	Widened   float64 // factor by which the covariance was inflated for conflict, 1 = none
	LeftOut   []LeftOut
	Surprise  float64 // χ² of evidence and priors at the MAP

	problem *problem
}

// An Unknown is one parameter of the inference.
type Unknown struct {
	Name      string            `json:"name"`          // "stabilizer incidence"
	Unit      string            `json:"-"`             // printing unit: "deg", "mm", "%"
	Scale     float64           `json:"-"`             // from SI to Unit
	Key       string            `json:"key,omitempty"` // of the setup, "" when the setup has none
	Prior     interval.Interval `json:"-"`
	Posterior interval.Interval `json:"-"`
	PriorSD   float64           `json:"-"`       // SI
	Default   bool              `json:"default"` // the setup did not give it
}

// LeftOut is an earlier outing that does not count, and why.
type LeftOut struct {
	Outing int    `json:"outing"`          // among the earlier ones, from 0
	Title  string `json:"title,omitempty"` // "" for none
	Why    error  `json:"-"`
}

// fill writes MAP and covariance of what concerns today.
func (post *Posterior) fill(x []float64, cov *mat.SymDense) {
	p := post.problem
	n := p.today
	post.Mean = slices.Clone(x[:n])
	post.Cov = make([][]float64, n)
	for i := range n {
		post.Cov[i] = make([]float64, n)
		for j := range n {
			post.Cov[i][j] = cov.At(i, j) * post.Widened
		}
	}
	for k, q := range p.params[:n] {
		u := q.unknown()
		u.Posterior = q.normal(x[k]*q.sd, q.sd*math.Sqrt(post.Cov[k][k])).Scale(q.show)
		post.Unknowns = append(post.Unknowns, u)
	}
	post.MAP = p.inputs(0, x)
}

// At is today's outing with the unknowns at x, in prior σ from the prior's
// mean, one for each of Unknowns.
func (post *Posterior) At(x []float64) Inputs {
	all := make([]float64, len(post.problem.params)) // those of other outings at their prior mean
	copy(all, x)
	return post.problem.inputs(0, all)
}

// CanUseLevelZero says whether today's level zero counts as evidence.
func (post *Posterior) CanUseLevelZero() bool {
	return slices.ContainsFunc(post.problem.items, func(it item) bool { return it.Kind == ZeroKind && it.outing == 0 })
}

// Rested says whether today's log holds a rest with the deck level.
func (post *Posterior) Rested() bool { return post.problem.outings[0].Ev.LevelZero }

// FeelNotes is how many notes of feel count as evidence, in all outings.
func (post *Posterior) FeelNotes() int { return post.Count(NoteKind) }

// Told is how many things but the model tell the load: notes, marks and what
// instruments show, in all outings.
func (post *Posterior) Told() int {
	return post.Count(NoteKind, MomentKind, NullKind, MeasuredKind, MastKind)
}

// HasRider says whether the rider's zero and scale are among the unknowns.
func (post *Posterior) HasRider() bool {
	return slices.ContainsFunc(post.Unknowns, func(u Unknown) bool { return u.Name == riderZero })
}

// Count is how many pieces of evidence of some kinds count, in all outings.
func (post *Posterior) Count(kinds ...Kind) (n int) {
	if post.problem == nil { // made by hand, without an inference
		return 0
	}
	for _, it := range post.problem.items {
		if slices.Contains(kinds, it.Kind) {
			n++
		}
	}
	return n
}

// Interval is the weighted median and central 90 % of a quantity of every draw.
func (post *Posterior) Interval(each []float64) interval.Interval {
	return interval.FromDraws(each, post.Weights)
}

// Over is the weighted median and central 90 % of a quantity of what there is one a
// draw of, worked out on all cores.
func Over[T any](post *Posterior, each []T, f func(x *T) float64) interval.Interval {
	return post.Interval(OfEach(each, f))
}

// OfEach is a quantity of each, worked out on all cores.
func OfEach[T any](each []T, f func(x *T) float64) []float64 {
	v := make([]float64, len(each))
	filter.InParts(len(each), func(from, to int) {
		for i := from; i < to; i++ {
			v[i] = f(&each[i])
		}
	})
	return v
}

// Foils are the draws as foils.
func (post *Posterior) Foils() []Foil {
	foils := make([]Foil, len(post.Draws))
	for i, d := range post.Draws {
		foils[i] = NewFoil(d)
	}
	return foils
}

// Under is the same knowledge of foil and rider with another setup on: another
// shim or mast position. in is that setup's [FromSetup].
func (post *Posterior) Under(s *setup.Setup, in Inputs) *Posterior {
	q := *post
	q.Base = in
	q.MAP = Transfer(post.MAP, post.Base, in)
	q.Draws = make([]Inputs, len(post.Draws))
	for i, d := range post.Draws {
		q.Draws[i] = Transfer(d, post.Base, in)
	}
	p := *post.problem
	p.outings = slices.Clone(p.outings)
	p.outings[0].Setup, p.outings[0].In = s, in
	q.problem = &p
	return &q
}

// clone is a copy whose unknowns and draws may be changed.
func (post *Posterior) clone() *Posterior {
	q, p := *post, *post.problem
	q.problem = &p
	q.Mean, q.Unknowns, q.Draws = slices.Clone(post.Mean), slices.Clone(post.Unknowns), slices.Clone(post.Draws)
	q.Cov = make([][]float64, len(post.Cov))
	for i, row := range post.Cov {
		q.Cov[i] = slices.Clone(row)
	}
	return &q
}

// WithRider is the same knowledge with the rider's zero and scale among the
// unknowns, as the priors have them where no word told of them: what a rider whose
// load was only weighed will say of it.
func (post *Posterior) WithRider() *Posterior {
	if post.HasRider() {
		return post
	}
	q := post.clone()
	p, rng := q.problem, rand.New(rand.NewPCG(11, 16))
	for _, r := range riderParameters() {
		r.on = []int{0}
		p.params = slices.Insert(slices.Clone(p.params), p.today, r)
		p.today++
		q.Unknowns = append(q.Unknowns, r.unknown())
		q.Mean = append(q.Mean, 0)
		for i := range q.Cov {
			q.Cov[i] = append(q.Cov[i], 0)
		}
		q.Cov = append(q.Cov, make([]float64, p.today))
		q.afresh(r, rng)
	}
	p.sort()
	return q
}

// ForRider is the same knowledge of the foil under somebody else, whose zero,
// scale and place of the feet nothing has told yet: they come from the priors
// afresh (fixed seed).
func (post *Posterior) ForRider(s *setup.Setup, in Inputs) *Posterior {
	q := post.WithRider().Under(s, in).clone()
	blank := func(i *Inputs) {
		i.FrontFoot, i.BackFoot, i.RiderZero, i.RiderScale = in.FrontFoot, in.BackFoot, 0, 0
	}
	blank(&q.MAP)
	for i := range q.Draws {
		blank(&q.Draws[i])
	}
	rng := rand.New(rand.NewPCG(11, 15))
	for _, r := range append(footParameters(s, in), riderParameters()...) {
		q.afresh(r, rng)
	}
	return q
}

// afresh draws one of the unknowns from its prior, whatever the rest.
func (post *Posterior) afresh(r parameter, rng *rand.Rand) {
	k := slices.IndexFunc(post.Unknowns, func(u Unknown) bool { return u.Name == r.name })
	v := make([]float64, len(post.Draws))
	for i := range v {
		v[i] = rng.NormFloat64()
	}
	m, sd := stat.MeanStdDev(v, post.Weights) // with these weights, 0 and 1 but for chance
	for i := range post.Draws {
		r.applyTo(&post.Draws[i], r.sd*(v[i]-m)/sd)
	}
	post.Mean[k] = 0
	for j := range post.Cov {
		post.Cov[j][k], post.Cov[k][j] = 0, 0
	}
	post.Cov[k][k] = 1
	post.Unknowns[k] = r.unknown()
}

// An Observable is something that could be found out: what the model says it
// is, and 1σ of finding it out. A note at a speed is one
// ([Inputs.Said] of a share), a run with a card in and noted at three speeds
// is three of them, of the foil with the card: what they share, the rider's
// zero and scale, drops out of what they tell by itself.
type Observable struct {
	Of func(Inputs) float64
	SD float64
	// By is Of's [Posterior.Derivative] at the MAP; nil has it worked out.
	By []float64
}

// Observable is what is told of a load, as something that could be found out.
func (l Load) Observable() Observable {
	return Observable{SD: l.SD, Of: func(in Inputs) float64 {
		f := NewFoil(in)
		return l.Told(&f, l.Speed)
	}}
}

// derivativeStep is the step of the derivatives, in prior σ.
const derivativeStep = 0.05

// Derivative is ∂f/∂x, one for each of Unknowns, per prior σ, at x; nil for x
// is the MAP.
func (post *Posterior) Derivative(x []float64, f func(Inputs) float64) []float64 {
	if x == nil {
		x = post.Mean
	}
	y := slices.Clone(x)
	g := make([]float64, len(x))
	for k := range y {
		y[k] = x[k] + derivativeStep
		hi := f(post.At(y))
		y[k] = x[k] - derivativeStep
		lo := f(post.At(y))
		y[k] = x[k]
		if d := (hi - lo) / (2 * derivativeStep); !math.IsNaN(d) && !math.IsInf(d, 0) {
			g[k] = d
		}
	}
	return g
}

// DoubtAfter is 1σ of a quantity whose [Posterior.Derivative] is goal, once
// the observables are found out; without any, 1σ of today. It conditions the
// Laplace covariance on each in turn, linear about the MAP:
//
//	Σ' = Σ - Σ a aᵀ Σ / (σ² + aᵀ Σ a)
func (post *Posterior) DoubtAfter(goal []float64, seen ...Observable) float64 {
	n := len(post.Cov)
	c := mat.NewDense(n, n, nil)
	for i, row := range post.Cov {
		c.SetRow(i, row)
	}
	var ca mat.VecDense
	for _, o := range seen {
		if o.By == nil {
			o.By = post.Derivative(nil, o.Of)
		}
		a := mat.NewVecDense(n, o.By)
		ca.MulVec(c, a)
		c.RankOne(c, -1/(o.SD*o.SD+mat.Dot(a, &ca)), &ca, &ca)
	}
	g := mat.NewVecDense(n, goal)
	return math.Sqrt(math.Max(0, mat.Inner(g, c, g)))
}
