package advice

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter"
)

const (
	// feetReach is how far feet that are free to stand elsewhere may go, m.
	feetReach = 0.10
	// mostCards are weighed, and asked of the screws.
	mostCards = 4
)

// A task is one question: these foils, under this setup, over these speeds.
type task struct {
	objective
	post  *trim.Posterior
	s     *setup.Setup
	opt   Options
	cards []float64 // one thickness for each draw, in cards
	draws []*flight // of the posterior

	evenNow  []float64
	best     trim.Change   // averaged over the draws
	bestEach []trim.Change // of each draw; [Advise] fills it in
	// toward is what the steps aim at: the best pair where cards, track and feet
	// reach it, else the best that they do reach.
	toward trim.Change
}

func newTask(p *trim.Posterior, s *setup.Setup, w SpeedWeights, opt Options) *task {
	t := &task{objective: objective{w.clean(), GradientWanted(s.Rider.Level)}, post: p, s: s, opt: opt}
	if !t.answerable() {
		return t
	}
	// A card is 0.76 ± 0.08 mm; one buys from one stack, so all cards of a
	// draw are off alike.
	rng := rand.New(rand.NewPCG(7, 810))
	t.cards = make([]float64, len(p.Draws))
	for i := range t.cards {
		t.cards[i] = 1 + trim.CardSD/trim.Card*rng.NormFloat64()
	}
	t.draws = t.flyAll(p.Draws, p.Weights, t.curveSpeeds())
	t.evenNow = t.each(0, 0, t.evenness)
	t.best = t.objective.best(t.draws, trim.Change{}, anywhere)
	t.toward = t.objective.best(t.draws, t.best, t.reachable())
	return t
}

// answerable says that there are speeds and foils to weigh.
func (t *task) answerable() bool { return len(t.Speed) > 0 && len(t.post.Draws) > 0 }

// mayShim says whether cards are for this rider and this foil.
func (t *task) mayShim() bool {
	return t.s.Rider.Level != "beginner" && t.s.Foil.Stabilizer.ShimSpan > 0
}

// turn is the stabilizer's change (rad) by n cards of k times the nominal
// thickness, on top of the shim that is fitted.
func (t *task) turn(n, k float64) float64 {
	st := t.s.Foil.Stabilizer
	return trim.ShimAngle(st.Shim+n*k*trim.Card, st.ShimSpan) - trim.ShimAngle(st.Shim, st.ShimSpan)
}

// each computes f of every draw with n cards and a move of the foil.
func (t *task) each(n, move float64, f func(x *flight, c trim.Change) float64) []float64 {
	return t.after(n, trim.Change{Foil: move}, f)
}

// after computes f of every draw with n cards, as thick as that draw has them, and
// what c changes besides, on all cores.
func (t *task) after(n float64, c trim.Change, f func(x *flight, c trim.Change) float64) []float64 {
	v := make([]float64, len(t.draws))
	filter.InParts(len(v), func(from, to int) {
		for i := from; i < to; i++ {
			own := c
			own.Raise += t.turn(n, t.cards[i])
			v[i] = f(t.draws[i], own)
		}
	})
	return v
}

func (t *task) sharesWith(n, move, speed float64) []float64 {
	return t.each(n, move, func(x *flight, c trim.Change) float64 {
		p := x.foil.Point(speed, trim.Gravity)
		return p.With(c).FrontShare
	})
}

// direction is +1 when the leading edge must go up, -1 when down; for a rider
// who may not shim, as the best of all has it.
func (t *task) direction() float64 {
	if t.toward.Raise == 0 {
		return math.Copysign(1, t.best.Raise)
	}
	return math.Copysign(1, t.toward.Raise)
}

// reach is how far the foil can move against the feet, m: the track, and the
// feet where they are free.
func (t *task) reach() (lo, hi float64) {
	lo, hi = t.trackReach()
	if !t.s.Stance.Fixed {
		lo, hi = lo-feetReach, hi+feetReach
	}
	return lo, hi
}

// trackReach is how far the mast can slide, m, in whole millimetres.
func (t *task) trackReach() (lo, hi float64) {
	whole := func(v float64) float64 { return math.Trunc(v/mm+math.Copysign(1e-6, v)) * mm }
	return math.Min(0, whole(t.s.Board.Track[0])), math.Max(0, whole(t.s.Board.Track[1]))
}

// beyondReach is by how much, m, + forward, a move lies outside the reach.
func (t *task) beyondReach(move float64) float64 {
	lo, hi := t.reach()
	if over := move - clamp(move, lo, hi); math.Abs(over) > slack {
		return over
	}
	return 0
}

// reachable is what this rider's shims and moves can do on this board.
func (t *task) reachable() box {
	lo, hi := t.reach()
	b := box{t.turn(-mostCards, 1), t.turn(mostCards, 1), lo, hi}
	if !t.mayShim() {
		b.raiseLow, b.raiseHigh = 0, 0
	}
	return b
}

// hasBest says whether there is a best pair: at speeds that are too slow or too
// alike to tell shim from move, it runs away as far as it is let.
func (t *task) hasBest() bool {
	return math.Abs(t.best.Raise) < 0.99*maxRaise && math.Abs(t.best.Foil) < 0.99*maxMove
}

// options lists 0 to mostCards cards in the direction of need, then the
// continuous best.
func (t *task) options() []Option {
	var out []Option
	for n := range mostCards + 1 {
		if n > 0 && t.s.Foil.Stabilizer.ShimSpan <= 0 {
			break
		}
		cards := float64(n)*t.direction() + 0 // not -0
		fixed := exactly(t.turn(cards, 1))
		pair := t.objective.best(t.draws, t.best, fixed)
		o := t.option(cards, pair, t.objective.bestEach(t.draws, pair, fixed))
		o.Shim = interval.Number(cards * trim.Card / mm)
		out = append(out, o)
	}
	shim := t.shimFor(t.best.Raise)
	o := t.option(shim/trim.Card, t.best, t.bestEach)
	o.Best, o.Shim, o.Cards = true, interval.Number(shim/mm), 0
	if finite(shim) {
		o.Cards = math.Round(shim / trim.Card)
	}
	return append(out, o)
}

// shimFor is the change of the shim's thickness (m) that raises the leading
// edge by raise (rad); NaN when the shim's span is not known.
func (t *task) shimFor(raise float64) float64 {
	st := t.s.Foil.Stabilizer
	if st.ShimSpan <= 0 {
		return math.NaN()
	}
	return st.ShimSpan*math.Tan(trim.ShimAngle(st.Shim, st.ShimSpan)+raise) - st.Shim
}

// option says what the pair, made of cards, does to every draw. Without a
// known shim the turn is taken as exact.
func (t *task) option(cards float64, p trim.Change, each []trim.Change) Option {
	with := func(f func(x *flight, c trim.Change) float64) []float64 {
		if finite(cards) {
			return t.each(cards, p.Foil, f)
		}
		return t.after(0, p, f)
	}
	curve := make([]SharePoint, curveLen)
	for k, v := range t.curveSpeeds() {
		share := with(func(x *flight, c trim.Change) float64 {
			front, _ := x.curve[k].Share(c)
			return front
		})
		curve[k] = SharePoint{interval.Number(v), t.post.Interval(share)}
	}
	lo, hi := t.reach()
	trackLo, trackHi := t.trackReach()
	even, gradient := with(t.evenness), with((*flight).gradient)
	o := Option{
		Cards:         cards,
		StabilizerDeg: interval.Number(p.Raise / deg),
		FoilMove:      t.moveInterval(p, each),
		ShareLow:      curve[0].Share,
		ShareMid:      curve[curveLen/2].Share,
		ShareTop:      curve[curveLen-1].Share,
		Gradient:      t.post.Interval(gradient),
		Overshoot:     interval.Number(t.chanceBelow(gradient, 0)),
		Evenness:      t.post.Interval(even),
		ChanceBetter:  interval.Number(t.chanceLess(even, t.evenNow)),
		Curve:         curve,
		Reachable:     p.Foil >= lo-slack && p.Foil <= hi+slack,
	}
	o.FeetToo = o.Reachable && (p.Foil < trackLo-slack || p.Foil > trackHi+slack)
	return o
}

// chanceLess is how likely a is less than b, draw by draw.
func (t *task) chanceLess(a, b []float64) float64 { return chanceLess(a, b, t.post.Weights) }

// chanceBelow is the weight of the draws below a limit; those at it count half.
func (t *task) chanceBelow(v []float64, limit float64) float64 {
	below := make([]float64, len(v))
	for i, x := range v {
		if x < limit {
			below[i] = 1
		} else if x == limit {
			below[i] = 0.5
		}
	}
	return t.mean(below)
}

func (t *task) mean(v []float64) float64 { return stat.Mean(v, t.post.Weights) }

func (t *task) rms(v []float64) float64 { return math.Sqrt(stat.MomentAbout(2, v, 0, t.post.Weights)) }

// blur is the width of the kernel of a chance, in σ of what is compared: it
// widens the law of the draws by 1 %, and takes the steps out of it that single
// draws make, on which near ties would turn.
const blur = 0.15

// rounding is far below what can be told apart, and far above rounding error: two
// that are the same are each other's even chance.
const rounding = 1e-9

// chanceLess is how likely a is less than b, draw by draw, by a normal kernel.
func chanceLess(a, b, weights []float64) float64 {
	d := make([]float64, len(a))
	floats.SubTo(d, a, b)
	width := max(blur*stat.StdDev(d, weights), rounding)
	for i, x := range d {
		d[i] = distuv.UnitNormal.CDF(-x / width)
	}
	return stat.Mean(d, weights)
}

// moveInterval is the averaged move with the spread of the draws, in mm.
func (t *task) moveInterval(p trim.Change, each []trim.Change) interval.Interval {
	return t.centred(p, each, func(p trim.Change) float64 { return p.Foil / mm })
}

// raiseInterval is the averaged turn likewise, in degrees.
func (t *task) raiseInterval(p trim.Change, each []trim.Change) interval.Interval {
	return t.centred(p, each, func(p trim.Change) float64 { return p.Raise / deg })
}

// centred is the interval of the draws about a value of its own.
func (t *task) centred(p trim.Change, each []trim.Change, of func(trim.Change) float64) interval.Interval {
	value, i := of(p), trim.Over(t.post, each, func(e *trim.Change) float64 { return of(*e) })
	return interval.Interval{Value: value, Low: math.Min(i.Low, value), High: math.Max(i.High, value)}
}
