package advice

import (
	"evenfoot/analysis/trim"
	"math"
	"slices"
)

// unevenAtBest is how far off even, as a share, no rider takes as even.
const unevenAtBest = 0.08

// bestEvenness is the evenness of every foil at the best pair within b.
func (t *task) bestEvenness(foils []*flight, b box) []float64 {
	pairs := t.objective.bestEach(foils, t.toward, b)
	even := make([]float64, len(foils))
	for i, f := range foils {
		even[i] = t.evenness(f, pairs[i])
	}
	return even
}

// mustWait says that this rider is not to shim yet, but will in time.
func (t *task) mustWait() bool { return !t.mayShim() && t.s.Foil.Stabilizer.ShimSpan > 0 }

// inTime is what is reachable, with the shims that a beginner may use later.
func (t *task) inTime() box {
	b := t.reachable()
	if t.mustWait() {
		b.raiseLow, b.raiseHigh = t.turn(-mostCards, 1), t.turn(mostCards, 1)
	}
	return b
}

// outOfReach says that no shim and move in b balances, and what would help;
// nil where the board, or the doubt, leaves a balance in it.
func (t *task) outOfReach(b box) (short *Reason, help []Reason) {
	even := t.bestEvenness(t.draws, b)
	if 1-t.chanceBelow(even, unevenAtBest) < Surely {
		return nil, nil
	}
	free, turned := b, b
	free.moveLow, free.moveHigh = -maxMove, maxMove
	turned.raiseLow, turned.raiseHigh = -maxRaise, maxRaise
	inReach := t.objective.best(t.draws, trim.Change{}, b)
	want := t.objective.best(t.draws, trim.Change{}, free)
	byTurn := t.objective.best(t.draws, trim.Change{}, turned)
	switch beyond := want.Foil - inReach.Foil; {
	case b.raiseLow != b.raiseHigh && t.rms(t.bestEvenness(t.draws, turned)) < unevenAtBest:
		short = &Reason{Kind: ShimsShort, Turn: byTurn.Raise, Limit: t.turn(math.Copysign(mostCards, byTurn.Raise), 1)}
		help = append(help, Reason{Kind: TurnNeeded, Turn: byTurn.Raise})
	case math.Abs(beyond) > 10*mm:
		short = &Reason{Kind: TrackShort, Move: beyond}
		place := t.moveInterval(want, t.objective.bestEach(t.draws, want, free)).Scale(mm)
		help = append(help, Reason{Kind: BestPlace, Place: &place}, Reason{Kind: RoomNeeded, Move: beyond, Feet: t.feetFor(beyond)})
	default:
		short = &Reason{Kind: LoadVaries}
	}
	left := t.post.Interval(even)
	help = append(help, Reason{Kind: LeftUneven, Off: &left})
	return short, append(help, t.otherStabilizer(b, t.rms(even))...)
}

// otherStabilizer says whether a quarter more or less stabilizer would help.
func (t *task) otherStabilizer(b box, now float64) []Reason {
	for _, scale := range []float64{0.75, 1.25} {
		other := slices.Clone(t.post.Draws)
		for i := range other {
			other[i].StabArea *= scale
			other[i].StabSpan *= math.Sqrt(scale)
		}
		foils := t.flyAll(other, t.post.Weights, nil)
		if then := t.rms(t.bestEvenness(foils, b)); then < 0.75*now {
			return []Reason{{Kind: OtherStabilizer, Area: t.post.Base.StabArea * scale, Larger: scale > 1, Share: then}}
		}
	}
	return nil
}
