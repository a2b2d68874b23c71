package advice

import (
	"math"

	"evenfoot/analysis/trim"
)

// A Pair is the two knobs that are advised together: the change of the
// stabilizer's incidence (rad, + leading edge up) and the move of the foil
// (m, + forward).
type Pair struct{ Raise, Move float64 }

func (p Pair) apply(in trim.Inputs) trim.Inputs { return in.Raise(p.Raise).MoveFoil(p.Move) }

const (
	deg      = math.Pi / 180
	maxRaise = 8 * deg // far beyond what any shim does
	maxMove  = 0.5     // m
	// ridge ties the pair to "no change" where the speeds are too alike to
	// tell shim from move; per degree and per centimetre, in share².
	ridge = 1e-6
)

// A quadratic is Σ w (share - 0.5)² of one foil about a pair, by a linear
// share: value + g·p + ½ p·H·p, p in (rad, m).
type quadratic struct{ c, g0, g1, h00, h01, h11 float64 }

func (q *quadratic) add(o quadratic) {
	q.c += o.c
	q.g0 += o.g0
	q.g1 += o.g1
	q.h00 += o.h00
	q.h01 += o.h01
	q.h11 += o.h11
}

// expand is the quadratic of one foil about the pair at, in steps from it.
// The share is exactly linear in the move, and nearly so in the raise, which
// is left out when the shim is fixed.
func (w SpeedWeights) expand(in trim.Inputs, at Pair, fixedShim bool) quadratic {
	const hi, hx = 0.25 * deg, 0.005
	f := trim.NewFoil(in)
	var q quadratic
	for k, v := range w.Speed {
		p := f.Point(v, trim.Gravity)
		felt := func(di, dx float64) float64 {
			return p.With(trim.Change{Raise: at.Raise + di, Foil: at.Move + dx}).FeltShare
		}
		s, a := felt(0, 0), 0.0
		if !fixedShim {
			a = (felt(hi, 0) - s) / hi
		}
		b := (felt(0, hx) - s) / hx
		wt, e := w.Weight[k], s-0.5
		q.add(quadratic{wt * e * e, 2 * wt * e * a, 2 * wt * e * b, 2 * wt * a * a, 2 * wt * a * b, 2 * wt * b * b})
	}
	return q
}

// usable is false for a foil that the water cannot carry at some speed.
func (q quadratic) usable() bool { return finite(q.c) && finite(q.h00) && finite(q.h11) }

func (q quadratic) times(k float64) quadratic {
	return quadratic{q.c * k, q.g0 * k, q.g1 * k, q.h00 * k, q.h01 * k, q.h11 * k}
}

// ridged adds the tie to no change, about the pair at.
func (q quadratic) ridged(at Pair) quadratic {
	const ri, rx = 2 * ridge / (deg * deg), 2 * ridge / (0.01 * 0.01)
	q.h00 += ri
	q.h11 += rx
	q.g0 += ri * at.Raise
	q.g1 += rx * at.Move
	return q
}

// A box bounds the pair.
type box struct{ raiseLow, raiseHigh, moveLow, moveHigh float64 }

var anywhere = box{-maxRaise, maxRaise, -maxMove, maxMove}

// exactly fixes the shim.
func exactly(raise float64) box { return box{raise, raise, -maxMove, maxMove} }

func (b box) fixedShim() bool { return b.raiseLow == b.raiseHigh }

// start is the pair in b that is nearest to no change.
func (b box) start() Pair {
	return Pair{clamp(0, b.raiseLow, b.raiseHigh), clamp(0, b.moveLow, b.moveHigh)}
}

// minimum is the pair in b that makes q (about at) least.
func (q quadratic) minimum(at Pair, b box) Pair {
	q = q.ridged(at)
	det := q.h00*q.h11 - q.h01*q.h01
	best, least := at, math.Inf(1)
	try := func(di, dx float64) {
		di = clamp(at.Raise+di, b.raiseLow, b.raiseHigh) - at.Raise
		dx = clamp(at.Move+dx, b.moveLow, b.moveHigh) - at.Move
		v := q.g0*di + q.g1*dx + (q.h00*di*di+2*q.h01*di*dx+q.h11*dx*dx)/2
		if v < least {
			best, least = Pair{at.Raise + di, at.Move + dx}, v
		}
	}
	moveFor := func(di float64) float64 { return -(q.g1 + q.h01*di) / q.h11 }
	raiseFor := func(dx float64) float64 { return -(q.g0 + q.h01*dx) / q.h00 }
	inside := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	if det > 0 && b.raiseHigh > b.raiseLow {
		di := (-q.g0*q.h11 + q.g1*q.h01) / det
		dx := (-q.g1*q.h00 + q.g0*q.h01) / det
		if inside(at.Raise+di, b.raiseLow, b.raiseHigh) && inside(at.Move+dx, b.moveLow, b.moveHigh) {
			return Pair{at.Raise + di, at.Move + dx}
		}
	}
	for _, e := range []float64{b.raiseLow, b.raiseHigh} {
		try(e-at.Raise, moveFor(e-at.Raise))
	}
	for _, e := range []float64{b.moveLow, b.moveHigh} {
		try(raiseFor(e-at.Move), e-at.Move)
	}
	return best
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }

// Best is the pair that makes the load of one foil the most even.
func Best(in trim.Inputs, w SpeedWeights) Pair { return w.clean().best([]trim.Inputs{in}, anywhere) }

// best minimises Σ w (share - 0.5)², averaged over the foils, within b: a few
// Newton steps settle it.
func (w SpeedWeights) best(foils []trim.Inputs, b box) Pair {
	at := b.start()
	for range 6 {
		var q quadratic
		n := 0.0
		for _, in := range foils {
			if e := w.expand(in, at, b.fixedShim()); e.usable() {
				q.add(e)
				n++
			}
		}
		if n == 0 {
			return at
		}
		next := q.times(1/n).minimum(at, b)
		done := b.fixedShim() || math.Abs(next.Raise-at.Raise) < 0.01*deg && math.Abs(next.Move-at.Move) < 1e-4
		at = next
		if done {
			break
		}
	}
	return at
}

// bestEach is the best pair of every foil, in steps from start: one is exact
// where the shim is fixed, two are enough elsewhere.
func (w SpeedWeights) bestEach(foils []trim.Inputs, start Pair, b box) []Pair {
	steps := 2
	if b.fixedShim() {
		steps = 1
	}
	pairs := make([]Pair, len(foils))
	for i, in := range foils {
		at := start
		for range steps {
			if e := w.expand(in, at, b.fixedShim()); e.usable() {
				at = e.minimum(at, b)
			}
		}
		pairs[i] = at
	}
	return pairs
}
