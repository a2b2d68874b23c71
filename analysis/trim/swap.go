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
	isNote := func(it item) bool { return it.kind == NoteKind || it.kind == MomentKind }
	for o := range p.outings {
		own := func(it item) bool { return isNote(it) && it.outing == o }
		other := func(it item) bool {
			return it.kind != SlopeKind && it.kind != ZeroKind && !own(it)
		}
		if !slices.ContainsFunc(p.items, own) || !slices.ContainsFunc(p.items, other) {
			continue
		}
		q := *p
		q.items = slices.Clone(p.items)
		for i := range q.items {
			if it := &q.items[i]; own(*it) {
				it.share, it.note.Said = 1-it.share, ""
			}
		}
		g := q.gradient(x, j)
		if q.cost(x)-mat.Inner(g, cov, g)/2 > cost {
			continue
		}
		y, err := q.maximum()
		if err != nil {
			continue
		}
		if gain := cost - q.cost(y); gain > swapGain {
			c := Conflict{Kind: SwapKind, Sigmas: math.Sqrt(2 * gain), Outing: o}
			if o > 0 {
				c.Title = p.outings[o].Setup.Title
			}
			found = append(found, c)
		}
	}
	return found
}
