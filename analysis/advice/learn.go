package advice

import (
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// learning is what noting the feel at three speeds is worth, share²: by how
// much the mean cost of the best trim within reach falls when it is chosen after
// the notes, averaged over what they may say (preposterior analysis: Raiffa &
// Schlaifer, Applied Statistical Decision Theory, 1961, from memory). Where the
// reach does not bind it is a matter of the doubt alone, not of how far off the
// best is: so keeping and finding out do not take turns as the best moves off.
func (t *task) learning() float64 {
	n := len(t.draws)
	var mean quadratic
	slope := [2][]float64{make([]float64, n), make([]float64, n)} // of each draw's cost, by raise and by move
	for i, q := range t.expandEach(t.draws, t.toward, true) {
		if q.known() {
			mean.add(q, t.draws[i].weight/float64(n))
			slope[0][i], slope[1][i] = q.g0, q.g1
		}
	}
	if !t.tellByNotes(slope[:]) {
		return 0
	}
	total, reach := 0.0, t.reachable()
	for i, f := range t.draws {
		q := mean
		q.g0 += slope[0][i]
		q.g1 += slope[1][i]
		p := q.minimum(1, t.toward, reach)
		total += f.weight * (q.c - q.at(p.Raise-t.toward.Raise, p.Foil-t.toward.Foil))
	}
	return total / float64(n)
}

// tellByNotes puts in place of each quantity of the draws how far off its mean
// the notes would have it that the rider may take, were this draw true: by linear
// regression on notes at low, middle and top speed with their own errors.
func (t *task) tellByNotes(quantities [][]float64) bool {
	rng := rand.New(rand.NewPCG(5, 77))
	notes := t.notesAt([]float64{t.Low, t.mid(), t.Top}, 0, 3)
	for _, n := range notes {
		floats.AddConst(-t.mean(n.of), n.of)
	}
	r, ok := t.regress(quantities, notes)
	if !ok {
		return false
	}
	r.shown.Apply(func(_, _ int, v float64) float64 { return v + noteSD*rng.NormFloat64() }, r.shown)
	var told mat.Dense
	told.Mul(r.shown, r.by)
	for j := range quantities {
		mat.Col(quantities[j], j, &told)
	}
	return true
}
