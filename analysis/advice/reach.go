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
	s := &shortfall{}
	left := interval.FromDraws(even)
	inReach := t.w.best(t.post.Draws, b)
	free := b
	free.moveLow, free.moveHigh = -maxMove, maxMove
	want := t.w.best(t.post.Draws, free)
	short := want.Move - inReach.Move
	spread := moveInterval(want, t.w.bestEach(t.post.Draws, want, free))
	if math.Abs(short) > 10*mm {
		s.sentence = fmt.Sprintf("This board and foil do not fit this rider: the mast would have to stand %.0f cm further %s than the track%s allow.",
			math.Abs(short)*100, foreAft(short), map[bool]string{true: "", false: " and the feet"}[t.s.Stance.Fixed])
		if t.s.Stance.Fixed {
			s.sentence = fmt.Sprintf("This board and foil do not fit this rider: the mast would have to stand %.0f cm further %s than the track allows.", math.Abs(short)*100, foreAft(short))
		}
		s.help = append(s.help,
			fmt.Sprintf("The foil wants to be %.0f mm %s of today's place (90 %%: %.0f to %.0f mm forward); the track gives %.0f back to %.0f forward.",
				math.Abs(spread.Value), foreAft(spread.Value), spread.Low, spread.High, t.s.Board.Track[0]/mm, t.s.Board.Track[1]/mm),
			fmt.Sprintf("What would help: a track (or another board) that lets the mast stand %.0f mm further %s, or both feet %.0f mm further %s.",
				math.Abs(short)/mm, foreAft(short), math.Abs(t.feetFor(short))/mm, foreAft(t.feetFor(short))))
	} else {
		s.sentence = "This foil does not balance under this rider over these speeds: the load changes with speed by more than four cards and the track can even out."
	}
	s.help = append(s.help, fmt.Sprintf("At the best that is in reach the load is still %.0f (%.0f to %.0f) percent of the weight away from even.", 100*left.Value, 100*left.Low, 100*left.High))
	s.help = append(s.help, t.otherStabilizer(b, rms(even))...)
	return s
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
			return []string{fmt.Sprintf("A stabilizer a quarter %s (about %.0f cm²) would bring it to %.0f percent.", c.word, t.post.Base.StabArea*c.scale*1e4, 100*then)}
		}
	}
	return nil
}
