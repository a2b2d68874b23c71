package advice

import (
	"math"

	"evenfoot/analysis/trim"
	"evenfoot/filter"
)

const (
	deg  = math.Pi / 180
	mm   = 1e-3
	knot = 1852.0 / 3600

	maxRaise = 8 * deg // far beyond what any shim does
	maxMove  = 0.5     // m
	// ridge ties the pair to "no change" where the speeds are too alike to
	// tell shim from move; per degree and per centimetre, in share².
	ridge = 1e-6
	// overshootCost is how far from even, as a share, a load is that costs as
	// much as a gradient of surely one point per knot under what is wanted.
	overshootCost = 0.08
)

// PerKnot is a speed gradient (share per m/s) in points of the load per knot.
const PerKnot = 100 * knot

// GradientWanted is the speed gradient that a rider's level wants left at the
// top speed, points per knot (common practice, no source).
func GradientWanted(level string) float64 {
	switch level {
	case "beginner":
		return 1
	case "advanced":
		return 0
	}
	return 0.5
}

// An objective is what the load of a trim is judged by.
type objective struct {
	SpeedWeights
	wanted float64 // speed gradient at the top speed, points per knot
}

// A flight is one foil at the speeds that count, so that many trims of it cost
// little.
type flight struct {
	weight float64 // how likely it is
	foil   trim.Foil
	points []trim.Point // one a speed that counts
	curve  []trim.Point // one a speed at which curves are told
	top    trim.Trend
}

func (w SpeedWeights) fly(in trim.Inputs) *flight {
	f := &flight{weight: 1, foil: trim.NewFoil(in), points: make([]trim.Point, len(w.Speed))}
	for k, v := range w.Speed {
		f.points[k] = f.foil.Point(v, trim.Gravity)
	}
	f.top = f.foil.Trend(w.Top)
	return f
}

// flyAll flies draws of these weights, at the speeds of a curve too.
func (w SpeedWeights) flyAll(draws []trim.Inputs, weights, curve []float64) []*flight {
	all := make([]*flight, len(draws))
	filter.InParts(len(all), func(from, to int) {
		for i := from; i < to; i++ {
			f := w.fly(draws[i])
			f.weight = weights[i]
			f.curve = make([]trim.Point, len(curve))
			for k, v := range curve {
				f.curve[k] = f.foil.Point(v, trim.Gravity)
			}
			all[i] = f
		}
	})
	return all
}

// gradient is the speed gradient at the top speed, points per knot.
func (f *flight) gradient(c trim.Change) float64 {
	g, _ := f.gradientWith(c)
	return g
}

// gradientWith also tells what a metre more of the foil's move adds to it.
func (f *flight) gradientWith(c trim.Change) (gradient, perMetre float64) {
	gradient, perMetre = f.top.With(c)
	return PerKnot * gradient, PerKnot * perMetre
}

// evenness is the root mean square of the felt share less 0.5 over the speeds.
func (o objective) evenness(f *flight, c trim.Change) float64 {
	sum := 0.0
	for k := range f.points {
		felt, _ := f.points[k].Felt(c)
		sum += o.Weight[k] * (felt - 0.5) * (felt - 0.5)
	}
	return math.Sqrt(sum)
}

// costOf is what one foil's trim costs, share²: its evenness, and the risk of
// overshoot by its speed gradient.
func (o objective) costOf(even, gradient float64) float64 {
	short := overshootCost * math.Max(0, o.wanted-gradient)
	return even*even + short*short
}

// A quadratic is the cost of foils about a pair, by linear residuals: value +
// g·p + ½ p·H·p, p in (rad, m).
type quadratic struct{ c, g0, g1, h00, h01, h11 float64 }

// square adds w (r + a di + b dx)².
func (q *quadratic) square(w, r, a, b float64) {
	q.c += w * r * r
	q.g0 += 2 * w * r * a
	q.g1 += 2 * w * r * b
	q.h00 += 2 * w * a * a
	q.h01 += 2 * w * a * b
	q.h11 += 2 * w * b * b
}

// add adds w times another about the same pair.
func (q *quadratic) add(o quadratic, w float64) {
	q.c, q.g0, q.g1 = q.c+w*o.c, q.g0+w*o.g0, q.g1+w*o.g1
	q.h00, q.h01, q.h11 = q.h00+w*o.h00, q.h01+w*o.h01, q.h11+w*o.h11
}

// expand is the cost of one foil about the pair at, in steps from it (Gauss
// and Newton: the shares are exactly linear in the move, and nearly so in the
// raise, in which it is constant unless turns says that the raise is free).
func (o objective) expand(f *flight, at trim.Change, turns bool) (q quadratic) {
	const hi = 0.25 * deg
	ci := trim.Change{Raise: at.Raise + hi, Foil: at.Foil}
	for k := range f.points {
		felt, perMetre := f.points[k].Felt(at)
		perRaise := 0.0
		if turns {
			turned, _ := f.points[k].Felt(ci)
			perRaise = (turned - felt) / hi
		}
		q.square(o.Weight[k], felt-0.5, perRaise, perMetre)
	}
	if g, perMetre := f.gradientWith(at); g < o.wanted {
		perRaise := 0.0
		if turns {
			perRaise = (f.gradient(ci) - g) / hi
		}
		q.square(overshootCost*overshootCost, o.wanted-g, -perRaise, -perMetre)
	}
	return q
}

// expandEach expands every foil's, on all cores.
func (o objective) expandEach(foils []*flight, at trim.Change, turns bool) []quadratic {
	each := make([]quadratic, len(foils))
	filter.InParts(len(foils), func(from, to int) {
		for i := from; i < to; i++ {
			each[i] = o.expand(foils[i], at, turns)
		}
	})
	return each
}

// at is the cost a step off the pair.
func (q *quadratic) at(di, dx float64) float64 {
	return q.c + q.g0*di + q.g1*dx + (q.h00*di*di+q.h11*dx*dx)/2 + q.h01*di*dx
}

// known is false for a foil that the water cannot carry.
func (q *quadratic) known() bool { return finite(q.c) && finite(q.h00) && finite(q.h11) }

// A box bounds the two knobs that are advised together, the change of the stabilizer's
// incidence (rad, + leading edge up) and the move of the foil (m, + forward): the pair.
type box struct{ raiseLow, raiseHigh, moveLow, moveHigh float64 }

var anywhere = box{-maxRaise, maxRaise, -maxMove, maxMove}

// slack is how far beyond the reach a move still counts as within it: what a
// rounding to millimetres does.
const slack = 0.5 * mm

// nearest is the pair within the box that is nearest to p, each knob by itself.
func (b box) nearest(p trim.Change) trim.Change {
	return trim.Change{Raise: clamp(p.Raise, b.raiseLow, b.raiseHigh), Foil: clamp(p.Foil, b.moveLow, b.moveHigh)}
}

// holds says whether a pair lies within the box, to a centimetre, which nobody
// can tell.
func (b box) holds(p trim.Change) bool {
	const hardly = 10 * mm
	return p.Raise >= b.raiseLow && p.Raise <= b.raiseHigh && p.Foil >= b.moveLow-hardly && p.Foil <= b.moveHigh+hardly
}

// exactly fixes the shim.
func exactly(raise float64) box { return box{raise, raise, -maxMove, maxMove} }

// minimum is the pair in b that makes q (the mean of foils of weight n, about at) least,
// with a tie to no change.
func (q quadratic) minimum(n float64, at trim.Change, b box) trim.Change {
	const ri, rx = 2 * ridge / (deg * deg), 2 * ridge / (0.01 * 0.01)
	q = quadratic{q.c / n, q.g0/n + ri*at.Raise, q.g1/n + rx*at.Foil, q.h00/n + ri, q.h01 / n, q.h11/n + rx}
	best, least := at, math.Inf(1)
	try := func(di, dx float64) {
		p := b.nearest(trim.Change{Raise: at.Raise + di, Foil: at.Foil + dx})
		di, dx = p.Raise-at.Raise, p.Foil-at.Foil
		if v := q.at(di, dx); v < least {
			best, least = p, v
		}
	}
	det := q.h00*q.h11 - q.h01*q.h01
	free := trim.Change{Raise: at.Raise + (q.h01*q.g1-q.h11*q.g0)/det, Foil: at.Foil + (q.h01*q.g0-q.h00*q.g1)/det}
	if b.nearest(free) == free {
		return free
	}
	// The least of a convex quadratic on a box lies on its edge.
	for _, di := range []float64{b.raiseLow - at.Raise, b.raiseHigh - at.Raise} {
		try(di, -(q.g1+q.h01*di)/q.h11)
	}
	for _, dx := range []float64{b.moveLow - at.Foil, b.moveHigh - at.Foil} {
		try(-(q.g0+q.h01*dx)/q.h00, dx)
	}
	return best
}

// best is the pair within b of least mean cost over the foils, by steps from
// start; a few settle it.
func (o objective) best(foils []*flight, start trim.Change, b box) trim.Change {
	at := b.nearest(start)
	turns := b.raiseLow < b.raiseHigh
	each := make([]quadratic, len(foils))
	for range 8 {
		if len(foils) == 1 { // as for each draw by itself: at once, in this goroutine
			each[0] = o.expand(foils[0], at, turns)
		} else {
			each = o.expandEach(foils, at, turns)
		}
		var q quadratic
		n := 0.0
		for i, own := range each {
			if own.known() {
				q.add(own, foils[i].weight)
				n += foils[i].weight
			}
		}
		if n == 0 {
			return at
		}
		next := q.minimum(n, at, b)
		done := math.Abs(next.Raise-at.Raise) < 0.01*deg && math.Abs(next.Foil-at.Foil) < 1e-4
		at = next
		if done {
			break
		}
	}
	return at
}

// bestEach is the best pair of every foil.
func (o objective) bestEach(foils []*flight, start trim.Change, b box) []trim.Change {
	pairs := make([]trim.Change, len(foils))
	filter.InParts(len(foils), func(from, to int) {
		for i := from; i < to; i++ {
			pairs[i] = o.best(foils[i:i+1], start, b)
		}
	})
	return pairs
}

// Best is the pair that makes the load of one foil best for a rider's level.
func Best(in trim.Inputs, w SpeedWeights, level string) trim.Change {
	o := objective{w.clean(), GradientWanted(level)}
	return o.best([]*flight{o.fly(in)}, trim.Change{}, anywhere)
}

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
