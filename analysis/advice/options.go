package advice

import (
	"math"
	"math/rand/v2"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

const (
	mm = 1e-3
	// feetReach is how far feet that are free to stand elsewhere may go, m.
	feetReach = 0.10
)

// A task is one question: these foils, under this setup, over these speeds.
type task struct {
	post  *trim.Posterior
	s     *setup.Setup
	w     SpeedWeights
	opt   Options
	cards []float64 // one thickness for each draw, in cards

	now      []trim.Foil
	nowEven  []float64
	best     Pair   // averaged over the draws
	bestEach []Pair // of each draw
	// toward is what the steps aim at: the best pair where track and feet
	// reach it, else the best that they do reach.
	toward     Pair
	towardEach []Pair
}

func newTask(p *trim.Posterior, s *setup.Setup, w SpeedWeights, opt Options) *task {
	if opt.Cards <= 0 {
		opt.Cards = 4
	}
	t := &task{post: p, s: s, w: w.clean(), opt: opt}
	if len(t.w.Speed) == 0 || len(p.Draws) == 0 {
		return t
	}
	// A card is 0.76 ± 0.08 mm; one buys from one stack, so all cards of a
	// draw are off alike.
	rng := rand.New(rand.NewPCG(7, 810))
	t.cards = make([]float64, len(p.Draws))
	for i := range t.cards {
		t.cards[i] = 1 + trim.CardSD/trim.Card*rng.NormFloat64()
	}
	t.now = t.foils(0, 0)
	t.nowEven = t.w.evennessOf(t.now)
	t.best = t.w.best(p.Draws, anywhere)
	t.bestEach = t.w.bestEach(p.Draws, t.best, anywhere)
	t.toward, t.towardEach = t.best, t.bestEach
	if t.beyondReach(t.best.Move) != 0 {
		lo, hi := t.reach()
		b := box{-maxRaise, maxRaise, lo, hi}
		t.toward = t.w.best(p.Draws, b)
		t.towardEach = t.w.bestEach(p.Draws, t.toward, b)
	}
	return t
}

// turn is the stabilizer's change (rad) by n cards of k times the nominal
// thickness, on top of the shim that is fitted.
func (t *task) turn(n, k float64) float64 {
	st := t.s.Foil.Stabilizer
	return trim.ShimAngle(st.Shim+n*k*trim.Card, st.ShimSpan) - trim.ShimAngle(st.Shim, st.ShimSpan)
}

// foils is every draw with n cards more and the foil moved by dx.
func (t *task) foils(n float64, dx float64) []trim.Foil {
	f := make([]trim.Foil, len(t.post.Draws))
	for i, d := range t.post.Draws {
		f[i] = trim.NewFoil(Pair{t.turn(n, t.cards[i]), dx}.apply(d))
	}
	return f
}

// direction is +1 when the leading edge must go up, -1 when down.
func (t *task) direction() float64 {
	if t.toward.Raise < 0 {
		return -1
	}
	return 1
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

// beyondReach is by how much, m, + forward, a move lies outside the reach; 0
// within a centimetre of it, which nobody can tell.
func (t *task) beyondReach(move float64) float64 {
	lo, hi := t.reach()
	if over := move - clamp(move, lo, hi); math.Abs(over) > 10*mm {
		return over
	}
	return 0
}

// trackReach is how far the mast can slide, m, in whole millimetres.
func (t *task) trackReach() (lo, hi float64) {
	whole := func(v float64) float64 { return math.Trunc(v/mm+math.Copysign(1e-6, v)) * mm }
	return math.Min(0, whole(t.s.Board.Track[0])), math.Max(0, whole(t.s.Board.Track[1]))
}

// options lists 0 to opt.Cards cards in the direction of need, then the
// continuous best.
func (t *task) options() []Option {
	var out []Option
	for n := range t.opt.Cards + 1 {
		if n > 0 && t.s.Foil.Stabilizer.ShimSpan <= 0 {
			break
		}
		cards := float64(n) * t.direction()
		raise := t.turn(cards, 1)
		pair := t.w.best(t.post.Draws, exactly(raise))
		o := t.option(pair, t.foils(cards, pair.Move), t.w.bestEach(t.post.Draws, pair, exactly(raise)))
		o.Cards = int(cards)
		o.Shim = interval.Number(cards * trim.Card / mm)
		out = append(out, o)
	}
	foils := make([]trim.Foil, len(t.post.Draws))
	for i, d := range t.post.Draws {
		foils[i] = trim.NewFoil(t.best.apply(d))
	}
	o := t.option(t.best, foils, t.bestEach)
	o.Best = true
	shim := t.shimFor(t.best.Raise)
	o.Shim = interval.Number(shim / mm)
	if finite(shim) {
		o.Cards = int(math.Round(shim / trim.Card))
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

// option says what the pair does to every draw.
func (t *task) option(p Pair, after []trim.Foil, each []Pair) Option {
	lo, hi := t.reach()
	even := t.w.evennessOf(after)
	o := Option{
		StabilizerDeg: interval.Number(p.Raise / deg),
		FoilMove:      moveInterval(p, each),
		ShareLow:      shareAt(after, t.w.Low),
		ShareMid:      shareAt(after, t.w.mid()),
		ShareTop:      shareAt(after, t.w.Top),
		Evenness:      interval.FromDraws(even),
		ChanceBetter:  interval.Number(chanceLess(even, t.nowEven)),
		Reachable:     p.Move >= lo-0.5*mm && p.Move <= hi+0.5*mm,
		Curve:         t.w.curve(after),
	}
	o.StiffnessChange = t.stiffness(after)
	return o
}

// stiffness is the ratio of pitch stiffness to today's at the top speed,
// where it matters; unknown where today's may well be nothing.
func (t *task) stiffness(after []trim.Foil) interval.Interval {
	ratio := make([]float64, len(after))
	small := 0
	for i := range after {
		today := t.now[i].At(t.w.Top, trim.Gravity).Stiffness
		ratio[i] = after[i].At(t.w.Top, trim.Gravity).Stiffness / today
		if today <= 0 {
			small++
		}
	}
	if small*20 > len(after) {
		return interval.Unknown()
	}
	return interval.FromDraws(ratio)
}

// chanceLess is the share of pairs in which a is less than b.
func chanceLess(a, b []float64) float64 {
	if len(a) == 0 {
		return math.NaN()
	}
	n := 0.0
	for i := range a {
		if a[i] < b[i] {
			n++
		} else if a[i] == b[i] {
			n += 0.5
		}
	}
	return n / float64(len(a))
}

// moveInterval is the averaged move with the spread of the draws, in mm.
func moveInterval(p Pair, each []Pair) interval.Interval {
	v := make([]float64, len(each))
	for i, e := range each {
		v[i] = e.Move / mm
	}
	return centred(p.Move/mm, v)
}

func raiseInterval(p Pair, each []Pair) interval.Interval {
	v := make([]float64, len(each))
	for i, e := range each {
		v[i] = e.Raise / deg
	}
	return centred(p.Raise/deg, v)
}

// centred is the interval of the draws about a value of its own.
func centred(value float64, draws []float64) interval.Interval {
	i := interval.FromDraws(draws)
	return interval.Interval{Value: value, Low: math.Min(i.Low, value), High: math.Max(i.High, value)}
}
