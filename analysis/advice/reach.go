package advice

import (
	"fmt"
	"math"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// A shortfall says that no shim and move in reach balances, and what would.
type shortfall struct {
	sentence string
	help     []string
}

// reachable is what shims and moves can do on this board.
func (t *task) reachable() box {
	lo, hi := t.reach()
	b := box{t.turn(-4, 1), t.turn(4, 1), lo, hi}
	if b.raiseLow > b.raiseHigh {
		b.raiseLow, b.raiseHigh = b.raiseHigh, b.raiseLow
	}
	return b
}

// bestEvenness is the evenness of every draw at the best pair within b.
func (t *task) bestEvenness(draws []trim.Inputs, b box) []float64 {
	pairs := t.w.bestEach(draws, t.w.best(draws, b), b)
	even := make([]float64, len(draws))
	for i, d := range draws {
		even[i] = t.w.evenness(trim.NewFoil(pairs[i].apply(d)))
	}
	return even
}

func chanceAbove(v []float64, limit float64) float64 {
	n := 0.0
	for _, x := range v {
		if x > limit {
			n++
		}
	}
	return n / float64(len(v))
}

// outOfReach is nil when the board, or the doubt, leaves a balance in reach.
func (t *task) outOfReach() *shortfall {
	b := t.reachable()
	even := t.bestEvenness(t.post.Draws, b)
	if chanceAbove(even, unevenAtBest) < sureBetter {
		return nil
	}
	inReach := t.w.best(t.post.Draws, b)
	free, turned := b, b
	free.moveLow, free.moveHigh = -maxMove, maxMove
	turned.raiseLow, turned.raiseHigh = -maxRaise, maxRaise
	want := t.w.best(t.post.Draws, free)
	byTurn := t.w.best(t.post.Draws, turned)
	s := &shortfall{}
	switch short := want.Move - inReach.Move; {
	case rms(t.bestEvenness(t.post.Draws, turned)) < unevenAtBest:
		s.sentence = fmt.Sprintf("Shims cannot balance this foil: the stabilizer would have to turn by %+.1f°, and four cards give %+.1f°.",
			byTurn.Raise/deg, t.turn(4*sign(byTurn.Raise), 1)/deg)
		s.help = append(s.help, fmt.Sprintf("What would help: a stabilizer mount or a tapered shim that turns it by %+.1f° (+ leading edge up) in all.", byTurn.Raise/deg))
	case math.Abs(short) > 10*mm:
		t.tooShort(s, short, moveInterval(want, t.w.bestEach(t.post.Draws, want, free)))
	default:
		s.sentence = "This foil does not balance under this rider over these speeds: the load changes with speed more than shims and moves can even out."
	}
	left := interval.FromDraws(even).Scale(100)
	s.help = append(s.help, fmt.Sprintf("At the best that is in reach the front foot's share is still %.0f (%.0f to %.0f) percentage points away from even.", left.Value, left.Low, left.High))
	s.help = append(s.help, t.otherStabilizer(b, rms(even))...)
	return s
}

func sign(v float64) float64 { return math.Copysign(1, v) }

// limit names what bounds the foil's place against the feet.
func (t *task) limit() string {
	if t.s.Stance.Fixed {
		return "the track allows"
	}
	return "the track and the feet allow"
}

// tooShort says by how much (m, + forward) the track, and the feet where they
// are free, fall short.
func (t *task) tooShort(s *shortfall, short float64, want interval.Interval) {
	feet := t.feetFor(short)
	s.sentence = fmt.Sprintf("This board and foil do not fit this rider: the mast would have to stand %s than %s.", t.further(short), t.limit())
	s.help = append(s.help,
		fmt.Sprintf("The best place for the mast is %s of today's (90 %%: from %s to %s). The track gives %s and %s.",
			t.way(want.Value*mm), t.way(want.Low*mm), t.way(want.High*mm), t.length(t.s.Board.Track[0])+" back", t.length(t.s.Board.Track[1])+" forward"),
		fmt.Sprintf("What would help: a track (or another board) that lets the mast stand %s, or both feet %s.",
			t.further(short), t.further(feet)))
}

// otherStabilizer says whether a quarter more or less stabilizer would help.
func (t *task) otherStabilizer(b box, now float64) []string {
	for _, c := range []struct {
		word  string
		scale float64
	}{{"smaller", 0.75}, {"larger", 1.25}} {
		draws := make([]trim.Inputs, len(t.post.Draws))
		for i, d := range t.post.Draws {
			d.StabArea *= c.scale
			d.StabSpan *= math.Sqrt(c.scale)
			draws[i] = d
		}
		if then := rms(t.bestEvenness(draws, b)); then < 0.75*now {
			return []string{fmt.Sprintf("A stabilizer a quarter %s (about %.0f cm²) would bring it to %.0f.", c.word, t.post.Base.StabArea*c.scale*1e4, 100*then)}
		}
	}
	return nil
}
