package advice

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

const (
	// Surely is how sure it must be that a step makes the load more even, as
	// this rider feels it.
	Surely = 0.8
	// What the trouble of a change costs, share²: tuned on 318 simulated riders
	// so that steps nobody would feel are not advised.
	priceMove = 2e-4
	priceCard = 3e-4
	priceBoth = 3e-3 // both at once: two changes that the next log cannot tell apart
	// pricePast is what a card costs more that goes past the best, for the part
	// that does: a later step would undo it.
	pricePast = 1e-3
	// onTheWay is the least part of a card's turn that must lie on the way to the
	// best: else it is a step that the next one takes back.
	onTheWay = 1.0 / 3
	// priceNotes is what another outing with notes of feel must be worth, share²:
	// 4 points off even, a little more than riders feel. Of 300 simulated riders
	// none with four notes is worth more, and all with one or none are.
	priceNotes = 1.6e-3

	// smallestMove is the least that is worth a spanner: a share of about 2
	// points, and as much as a tape measure is wrong by.
	smallestMove = 10 * mm
	smallestRest = 5 * mm // that the feet give where the track ends
	// LargestMove is as far as one step moves the foil against the feet: a
	// share of about 6 points, which a rider gets used to within an outing.
	LargestMove = 30 * mm
	// cardTurnsFar is the turn from which on half a card is on offer.
	cardTurnsFar = 1.2 * deg

	strongSigmas     = 4.0 // a conflict from here on stops the advice
	strongNoteSigmas = 3.3 // and one between notes, of which there are fewer
)

// toldTurn is the least difference of two angles that a sheet tells apart, rad.
const toldTurn = 0.1 * deg

// Advise says what to do next with the shim and the foil, together. p must be
// the posterior of the outing that s describes.
func Advise(p *trim.Posterior, s *setup.Setup, w SpeedWeights, opt Options) *Advice {
	t := newTask(p, s, w, opt)
	a := &Advice{
		StabilizerChange: interval.Unknown(), FoilMove: interval.Unknown(),
		EvennessNow: interval.Unknown(), EvennessAfter: interval.Unknown(),
		GradientNow: interval.Unknown(), GradientAfter: interval.Unknown(),
		ChanceBetter: interval.Number(math.NaN()), Overshoot: interval.Number(math.NaN()), Verdict: NotEnough,
		Options: []Option{}, Plan: []Trial{}, WorthKnowing: []Observation{}, Why: []Reason{},
	}
	if !t.answerable() {
		a.Next = Reason{Kind: SaySpeeds}
		return a
	}
	gradient := t.each(0, 0, (*flight).gradient)
	a.EvennessNow, a.GradientNow = t.post.Interval(t.evenNow), t.post.Interval(gradient)
	a.EvennessAfter, a.GradientAfter = a.EvennessNow, a.GradientNow
	a.Overshoot = interval.Number(t.chanceBelow(gradient, 0))
	t.bestEach = t.objective.bestEach(t.draws, t.best, anywhere)
	a.Options = t.options()
	a.WorthKnowing, a.Wider = t.observations(), t.wider(t.post.Derivative(nil, t.bestRaise))
	a.Plan = t.plan()
	t.decide(a)
	t.allTheWay(a)
	t.bestStops(a)
	wholeCard(a)
	t.explain(a)
	t.order(a)
	return a
}

// allTheWay writes the best pair: what the steps lead to, which is the best
// within reach; without a balance in reach, the best of all.
func (t *task) allTheWay(a *Advice) {
	all, each := t.best, t.bestEach
	if b := t.reachable(); !b.holds(t.best) && a.Verdict != CannotBalance {
		all, each = t.toward, t.objective.bestEach(t.draws, t.toward, b)
	} else if !t.hasBest() {
		return
	}
	a.StabilizerChange, a.FoilMove = t.raiseInterval(all, each), t.moveInterval(all, each)
}

// bestStops says why the best pair goes no further, where the step does not
// arrive there or go past it and the best leaves as much steadiness as the rider's
// level wants.
func (t *task) bestStops(a *Advice) {
	if a.Verdict != Change || !a.StabilizerChange.Known() || t.toward != t.best && !t.reachable().holds(t.best) || t.arrives(a) {
		return
	}
	for _, o := range a.Options {
		if g := o.Gradient; o.Best && g.Value > math.Max(t.wanted, leastTold) && a.GradientAfter.Value >= g.Value {
			a.Why = append(a.Why, Reason{Kind: BestStops, Gradient: &g, Speed: t.Top})
		}
	}
}

// leastTold is the least gradient that is told as more than none, points per knot.
const leastTold = 0.05

// wholeCard says why the step's card turns the stabilizer further than the best
// pair, as that is told, does.
func wholeCard(a *Advice) {
	far, best := math.Abs(a.Step.Raise), math.Abs(a.StabilizerChange.Value)*deg
	if far > best+toldTurn {
		a.Why = append(a.Why, Reason{
			Kind: WholeCard, Turn: a.Step.Raise,
			Move: a.FoilMove.Value*mm - (a.Step.Foil - a.Step.Front),
		})
	}
}

// order puts what leaves the trim alone first where no step is advised, and
// notes of feel before all else where there is none.
func (t *task) order(a *Advice) {
	if a.Verdict == Change {
		return
	}
	rank := func(o Observation) int {
		switch {
		case o.ChangesTrim:
			return 2
		case t.unchecked() && o.Kind != NoteFeel:
			return 1
		}
		return 0
	}
	slices.SortStableFunc(a.WorthKnowing, func(x, y Observation) int { return cmp.Compare(rank(x), rank(y)) })
}

// unchecked says that no note, mark or instrument, of today or earlier, checks
// the model.
func (t *task) unchecked() bool { return t.post.Told() == 0 }

// A step is a choice of cards and a move of the foil against the feet, with
// what it costs every draw and how likely it is to help. The mast goes as far
// as its track lets it, and the feet give the rest, in whole millimetres.
type step struct {
	cards, move float64   // move is what mast and feet do together, as a move of the foil, m
	foil, feet  float64   // m
	even, grow  []float64 // evenness and speed gradient of every draw
	loss        float64   // mean cost with the price, share²
	price       float64
	better      float64 // chance that it is more even than today
}

func (t *task) step(cards, move float64) step {
	s := step{cards: cards, move: move}
	s.foil, s.feet = t.parts(move)
	if s.feet == 0 {
		s.move = s.foil
	}
	moved := trim.Change{Foil: s.foil, Front: s.feet, Back: s.feet}
	s.even, s.grow = t.after(cards, moved, t.evenness), t.after(cards, moved, (*flight).gradient)
	s.better = t.chanceLess(s.even, t.evenNow)
	switch {
	case cards != 0 && s.move != 0:
		s.price = priceBoth
	case cards != 0:
		s.price = priceCard
	case s.move != 0:
		s.price = priceMove
	}
	if past := math.Abs(t.turn(cards, 1)) - math.Abs(t.toward.Raise); cards != 0 && past > 0 {
		s.price += pricePast * past / math.Abs(t.turn(cards, 1)) * math.Abs(cards)
	}
	cost := make([]float64, len(s.even))
	for i, e := range s.even {
		cost[i] = t.costOf(e, s.grow[i])
	}
	s.loss = t.mean(cost) + s.price
	return s
}

// parts divides a move of the foil against the feet into what the mast does and
// what the feet do, m; less than the smallest rest is left to neither.
func (t *task) parts(move float64) (foil, feet float64) {
	lo, hi := t.trackReach()
	foil = wholeMillimetres(clamp(move, lo, hi))
	if rest := move - foil; math.Abs(rest) > smallestRest-mm/2 {
		feet = wholeMillimetres(t.feetFor(rest))
	}
	return foil, feet
}

// wholeMillimetres rounds m; nothing has no sign.
func wholeMillimetres(m float64) float64 {
	if n := math.Round(m / mm); n != 0 {
		return n * mm
	}
	return 0
}

// steps are what is on offer: no change first, then cards, moves and both, all
// on the way to what the steps aim at.
func (t *task) steps() []step {
	cards := []float64{0}
	if t.mayShim() {
		one := t.direction()
		for _, n := range []float64{one, one / 2} {
			far := math.Abs(t.turn(one, 1)) > cardTurnsFar
			if (n == one || far) && math.Abs(t.toward.Raise) >= onTheWay*math.Abs(t.turn(n, 1)) {
				cards = append(cards, n)
			}
		}
	}
	lo, hi := t.reach()
	lo = math.Max(math.Max(lo, -LargestMove), math.Min(t.toward.Foil, 0))
	hi = math.Min(math.Min(hi, LargestMove), math.Max(t.toward.Foil, 0))
	var out []step
	for _, n := range cards {
		out = append(out, t.step(n, 0))
		turn := t.turn(n, 1)
		move := t.objective.best(t.draws, trim.Change{Raise: turn}, box{turn, turn, lo, hi}).Foil
		if s, ok := t.surestMove(n, wholeMillimetres(move)); ok {
			out = append(out, s)
		}
	}
	return out
}

// surestMove is the step of n cards and as much of the move as surely helps: the
// less the foil moves, the surer it is that it does not go too far. Where none of
// it does, it is the whole move; false where that is not worth a spanner.
func (t *task) surestMove(n, move float64) (step, bool) {
	whole := t.step(n, move)
	for s := whole; math.Abs(s.move) >= smallestMove; s = t.step(n, move) {
		if s.better >= Surely {
			return s, true
		}
		move -= math.Copysign(2*mm, move)
	}
	return whole, math.Abs(whole.move) >= smallestMove
}

// decide sets verdict and next step.
func (t *task) decide(a *Advice) {
	if stop := t.stopped(); stop != nil {
		a.Next = *stop
		return
	}
	if t.cannotBalance(a, t.inTime()) {
		return
	}
	steps := t.steps()
	chosen := t.choose(steps, false)
	if chosen == &steps[0] {
		chosen = t.choose(steps, true) // one change, unless only two together help
	}
	switch {
	case chosen != &steps[0]:
		a.Verdict, a.Next.Kind = Change, TakeStep
		t.take(a, chosen)
	case t.mustWait() && t.cannotBalance(a, t.reachable()):
	case t.learning() < priceNotes:
		a.Verdict, a.Next.Kind = Keep, KeepTrim
	case t.unchecked():
		a.Next = Reason{Kind: SayNotes, Speeds: []float64{t.Low, t.mid(), t.Top}}
	default:
		a.Next.Kind = FindOut
	}
}

// cannotBalance writes that nothing in b balances, and what would help, where
// that is sure.
func (t *task) cannotBalance(a *Advice, b box) bool {
	short, help := t.outOfReach(b)
	if short == nil {
		return false
	}
	a.Verdict, a.Next = CannotBalance, *short
	a.Why = append(a.Why, help...)
	return true
}

// choose is the step of least mean cost that surely helps, with two changes or
// with one; no change where none does.
func (t *task) choose(steps []step, two bool) *step {
	chosen := &steps[0]
	for i := range steps[1:] {
		s := &steps[1+i]
		if both := s.cards != 0 && s.move != 0; both == two && s.better >= Surely && s.loss < chosen.loss {
			chosen = s
		}
	}
	return chosen
}

// stopped is what must be cleared up before any step, nil for nothing.
func (t *task) stopped() *Reason {
	if t.opt.Hold != nil {
		return t.opt.Hold
	}
	for _, c := range t.post.Conflicts {
		if c.Sigmas >= strongSigmas && t.post.Widened > 1 || c.OfNotes() && c.Sigmas >= strongNoteSigmas {
			return &Reason{Kind: CheckConflict, Conflict: &c}
		}
	}
	return t.notRideable()
}

// notRideable tells a speed at which nobody could hold today's load, and the
// keys of the setup that most likely make it so, those that are odd by themselves
// before those that the load hangs on: a foot cannot pull, so a share
// outside 0 to 1 means that the foil is not as the setup says, or was never
// ridden so.
func (t *task) notRideable() *Reason {
	for _, v := range append([]float64{t.Top, t.Low}, t.Speed...) {
		share := t.post.Interval(t.sharesWith(0, 0, v)).Value
		if share >= 0 && share <= 1 {
			continue
		}
		most, key := 0.0, ""
		for k, d := range t.post.Derivative(nil, func(in trim.Inputs) float64 { return trim.NewFoil(in).At(v, trim.Gravity).FrontShare }) {
			if u := t.post.Unknowns[k]; t.s.Given(u.Key) && math.Abs(d) > most {
				most, key = math.Abs(d), u.Key
			}
		}
		return &Reason{Kind: CheckLoad, Speed: v, Share: share, Key: cmp.Or(strings.Join(t.s.Odd, ", "), key)}
	}
	return nil
}

// take writes the chosen step.
func (t *task) take(a *Advice, c *step) {
	a.Cards = c.cards
	a.Shim = interval.Number(c.cards * trim.Card / mm)
	if c.cards != 0 {
		place := t.edge(c.cards)
		a.ShimPlace = &place
		a.TakeOut = t.takesOut(c.cards)
	}
	a.MoveNow, a.FeetNow = interval.Number(math.Round(c.foil/mm)), interval.Number(math.Round(c.feet/mm))
	a.Step = trim.Change{Raise: t.turn(c.cards, 1), Foil: c.foil, Front: c.feet, Back: c.feet}
	a.EvennessAfter, a.GradientAfter = t.post.Interval(c.even), t.post.Interval(c.grow)
	a.ChanceBetter, a.Overshoot = interval.Number(c.better), interval.Number(t.chanceBelow(c.grow, 0))
	if t.unchecked() {
		a.Why = append(a.Why, Reason{Kind: Unchecked})
	} else if !t.post.HasRider() {
		a.Why = append(a.Why, Reason{Kind: Weighed})
	}
	if c.cards != 0 && c.move != 0 {
		a.Why = append(a.Why, Reason{Kind: BothAtOnce})
	}
	if math.Abs(c.move) >= LargestMove && math.Abs(t.toward.Foil) > LargestMove+smallestRest {
		a.Why = append(a.Why, Reason{Kind: PartOfTheWay, Move: t.toward.Foil, Limit: LargestMove})
	}
}

// feetFor is the move of the feet (m, + forward) that does what a move of the
// foil by dx does to the load at the middle speed. The mast also goes ahead of
// the weight of the board and of what a sail's mast foot carries, so that in
// level trim it is
//
//	-dx (1 + (m_b g + P) / (m_r g (1 - λ) - P))
func (t *task) feetFor(dx float64) float64 {
	f := trim.NewFoil(t.post.MAP)
	p := f.Point(t.mid(), trim.Gravity)
	share := func(c trim.Change) float64 { return p.With(c).FrontShare - p.With(trim.Change{}).FrontShare }
	// The share is exactly linear in both moves.
	return dx * share(trim.Change{Foil: 1}) / share(trim.Change{Front: 1, Back: 1})
}

// ShimPlace is the edge under which a shim raises (or lowers) the leading
// edge: behind, under the trailing edge, where the stabilizer hangs below.
func ShimPlace(mount string, raise bool) string {
	if (mount == "bottom") == raise {
		return "trailing edge"
	}
	return "leading edge"
}

// leftToTurn and leftToMove are what is left to do at the best trim: as much
// as a shim or a tape measure is wrong by.
const (
	leftToTurn = 0.3 * deg
	leftToMove = 10 * mm
)

// arrives says that the step ends at the best pair itself, which no limit of a
// step, the cards, the track or the rider's level kept from being better.
func (t *task) arrives(a *Advice) bool {
	return math.Abs(t.best.Raise-a.Step.Raise) < leftToTurn && math.Abs(t.best.Foil-a.Step.Foil+a.Step.Front) < leftToMove
}

// takesOut says whether the cards (+ to raise the leading edge) are fitted now
// and come out.
func (t *task) takesOut(cards float64) bool {
	fitted := t.s.Foil.Stabilizer.Shim
	return cards*fitted < 0 && math.Abs(fitted) >= math.Abs(cards)*(trim.Card-trim.CardTolerance)
}

// edge is where the hand goes for the card: under which edge it is put, or
// from under which it is taken.
func (t *task) edge(cards float64) string {
	return ShimPlace(t.s.Foil.Stabilizer.Mount, (cards > 0) != t.takesOut(cards))
}

// explain adds the reasons that are not the next step itself.
func (t *task) explain(a *Advice) {
	why := func(r Reason) { a.Why = append(a.Why, r) }
	if a.Verdict == Change || a.Verdict == Keep {
		left := Reason{Kind: Stops, Gradient: &a.GradientAfter, Left: t.wanted, Speed: t.Top}
		switch g := a.GradientAfter.Value; {
		case g < 0 || g < t.wanted:
			left.Kind = Unsteady
			a.Why = slices.Insert(a.Why, 0, left)
		case t.arrives(a):
			why(left)
		}
	}
	for _, c := range t.post.Conflicts {
		why(Reason{Kind: InConflict, Conflict: &c})
	}
	if t.s.Rider.Level == "beginner" {
		why(Reason{Kind: PositionOnly})
	} else if n := math.Abs(t.shimFor(t.toward.Raise)) / trim.Card; a.Verdict == Change && a.Cards != 0 && n >= 1.5 {
		why(Reason{Kind: MoreCards, Cards: n})
	}
	over := t.beyondReach(t.best.Foil)
	beyond := over != 0 && t.hasBest() && (a.Verdict == Change || a.Verdict == Keep)
	if !t.hasBest() {
		why(Reason{Kind: NoBestPair})
	} else if beyond {
		why(Reason{Kind: BestBeyond, Move: over, Turn: t.toward.Raise})
	}
	lo, hi := t.trackReach()
	track := clamp(t.toward.Foil, lo, hi)
	rest := t.toward.Foil - track
	feet := math.Abs(rest) >= smallestRest && a.Verdict == Change && a.FeetNow == 0
	if feet {
		why(Reason{Kind: FeetRest, Move: t.toward.Foil, Limit: math.Abs(track), Feet: t.feetFor(rest)})
	}
	if t.s.Foil.Stabilizer.ShimSpan <= 0 {
		why(Reason{Kind: NoShimSpan})
	}
	if !t.opt.LawOK {
		why(t.withoutLogger())
	}
	if !t.s.Given("board.track_cm") && (a.MoveNow != 0 || feet || beyond || a.Next.Kind == TrackShort) {
		why(Reason{Kind: TrackAssumed})
	}
}
