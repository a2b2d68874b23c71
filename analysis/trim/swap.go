package trim

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// swapGain is by how much, in log likelihood, notes with front and back swapped
// must fit better to be asked about: odds of 400 to 1.
const swapGain = 6.0

// swapped finds outings whose notes fit far better with front and back
// exchanged, where something else tells: marks of an even load, an instrument,
// or the notes of another outing. x is the maximum with the notes as they are,
// j and cov stand there: one step tells where an exchange makes it worse, so
// that many outings cost little.
func (p *problem) swapped(x []float64, j *mat.Dense, cov *mat.SymDense) (found []Conflict) {
	cost := p.cost(x)
	for o := range p.outings {
		own := func(it item) bool { return (it.Kind == NoteKind || it.Kind == MomentKind) && it.outing == o }
		other := func(it item) bool {
			return it.Kind != SlopeKind && it.Kind != ZeroKind && !own(it)
		}
		if !slices.ContainsFunc(p.items, own) || !slices.ContainsFunc(p.items, other) {
			continue
		}
		q := p.exchanged(own)
		g := q.gradient(x, j)
		if q.cost(x)-mat.Inner(g, cov, g)/2 > cost {
			continue
		}
		y, err := q.maximum()
		if err != nil {
			continue
		}
		if gain := cost - q.cost(y); gain > swapGain {
			found = append(found, Conflict{Kind: SwapKind, Sigmas: math.Sqrt(2 * gain), Outing: o})
		}
	}
	return found
}

// exchanged is the same with front and back swapped in some of the evidence.
func (p *problem) exchanged(in func(item) bool) *problem {
	q := *p
	q.items = slices.Clone(p.items)
	for i := range q.items {
		if it := &q.items[i]; in(*it) {
			it.Value, it.Said = 1-it.Value, ""
		}
	}
	return &q
}

// Exchanged is [Posterior.Surprise] had today's measured shares front and back
// swapped; +Inf where there are none.
func (post *Posterior) Exchanged() float64 {
	measured := func(it item) bool { return it.Kind == MeasuredKind && it.outing == 0 }
	q := post.problem.exchanged(measured)
	y, err := q.maximum()
	if err != nil || !slices.ContainsFunc(q.items, measured) {
		return math.Inf(1)
	}
	return 2 * q.cost(y)
}
