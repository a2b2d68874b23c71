package trim

import (
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

// A Posterior is what is known of the foil after all the evidence.
type Posterior struct {
	Base      Inputs      // the setup as given, the centre of the priors
	MAP       Inputs      // the most probable foil
	Unknowns  []Unknown   // one per parameter that acts on today's outing
	Mean      []float64   // MAP, in prior σ from the prior's mean
	Cov       [][]float64 // Laplace covariance, same scale, Widened included
	Draws     []Inputs    // whole foils, equally likely; fixed seed
	Conflicts []Conflict
	Widened   float64  // factor by which the covariance was inflated for conflict, 1 = none
	Effective float64  // share of the importance weights that counts, 1 = the posterior is normal
	Notes     []string // plain sentences: what was left out and why

	problem *problem
}

// An Unknown is one parameter of the inference.
type Unknown struct {
	Name      string // "stabilizer incidence"
	Unit      string // printing unit: "deg", "mm", "%"
	Key       string // of the setup, "" when the setup has none
	Prior     interval.Interval
	Posterior interval.Interval
	PriorSD   float64 // SI
	Default   bool    // the setup did not give it
}

// A Conflict names an input that disagrees with the rest.
type Conflict struct {
	What   string // plain words, which input and what to check
	Sigmas float64
	Notes  bool // it is between notes of feel
}

// At is today's outing with the unknowns at x, in prior σ from the prior's
// mean, one for each of Unknowns.
func (post *Posterior) At(x []float64) Inputs { return post.problem.inputs(0, post.problem.pad(x)) }

// pad gives the unknowns of other outings their prior mean.
func (p *problem) pad(x []float64) []float64 {
	if len(x) == len(p.params) {
		return x
	}
	return append(append(make([]float64, 0, len(p.params)), x...), make([]float64, len(p.params)-len(x))...)
}

// CanUseLevelZero says whether today's level zero counts as evidence.
func (post *Posterior) CanUseLevelZero() bool {
	o := post.problem.outings[0]
	return o.Ev.HasLaw && o.Ev.LevelZero && o.Setup.Given("foil.wing.incidence_deg")
}

// FeelNotes is how many notes of feel count as evidence, in all outings.
func (post *Posterior) FeelNotes() int {
	n := 0
	for _, it := range post.problem.items {
		if it.kind == "note" {
			n++
		}
	}
	return n
}

// Each computes f of every draw.
func (post *Posterior) Each(f func(Inputs) float64) []float64 {
	v := make([]float64, len(post.Draws))
	for i, d := range post.Draws {
		v[i] = f(d)
	}
	return v
}

// Under is the same knowledge of the foil with another setup on it: another
// rider, shim or mast position. in is that setup's [FromSetup].
func (post *Posterior) Under(s *setup.Setup, in Inputs) *Posterior {
	q := *post
	q.Base = in
	q.MAP = Transfer(post.MAP, post.Base, in)
	q.Draws = make([]Inputs, len(post.Draws))
	for i, d := range post.Draws {
		q.Draws[i] = Transfer(d, post.Base, in)
	}
	p := *post.problem
	p.outings = append([]Outing(nil), p.outings...)
	p.outings[0].Setup, p.outings[0].In = s, in
	q.problem = &p
	return &q
}
