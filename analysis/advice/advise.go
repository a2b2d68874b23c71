package advice

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// How sure a step must be. They are chances over the draws.
const (
	sureDirection = 0.90 // that the best shim lies on this side of today's
	sureBetter    = 0.80 // that the step makes the load more even than today
	sureCard      = 0.75 // that a card helps beyond the move alone, or a move beyond the card alone
	sureUnchecked = 0.95 // that a step helps, and of a card's direction, where no note of feel checks the model
	smallestGain  = 0.01 // of the evenness, in share: below it nobody feels it
	clearGain     = 0.03 // that makes a step worth its trouble where the load is about even
	detourGain    = 0.05 // that makes a move worth its trouble although a later step undoes it
	smallestMove  = 5 * mm
	// largestMove is as far as one step moves the foil against the feet: a
	// share of about 6 points, which a rider gets used to within an outing.
	largestMove  = 30 * mm
	evenEnough   = 0.06 // evenness that a rider takes as even
	unevenAtBest = 0.08 // evenness that no rider takes as even
	strongSigmas = 4.0  // a conflict from here on stops the advice
)

// Advise says what to do next with the shim and the foil, together (trim
// model §6). p must be the posterior of the outing that s describes.
func Advise(p *trim.Posterior, s *setup.Setup, w SpeedWeights, opt Options) *Advice {
	t := newTask(p, s, w, opt)
	a := &Advice{
		StabilizerChange: interval.Unknown(), FoilMove: interval.Unknown(),
		EvennessNow: interval.Unknown(), EvennessAfter: interval.Unknown(),
		ChanceBetter: interval.Number(math.NaN()), Verdict: NotEnough,
		Options: []Option{}, WorthKnowing: []Observation{}, Why: []string{},
	}
	if len(t.w.Speed) == 0 || len(p.Draws) == 0 {
		a.NextStep = "Say which speeds matter: log a session or give --range."
		a.Why = append(a.Why, "No speed on the foil is known, so there is nothing to weigh the load by.")
		return a
	}
	if t.hasBest() {
		a.StabilizerChange = raiseInterval(t.best, t.bestEach)
		a.FoilMove = moveInterval(t.best, t.bestEach)
	}
	a.EvennessNow = interval.FromDraws(t.nowEven)
	a.EvennessAfter = a.EvennessNow
	a.Options = t.options()
	a.WorthKnowing = t.observations()
	t.decide(a)
	t.explain(a)
	t.order(a)
	return a
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
		case t.unchecked() && !o.note:
			return 1
		}
		return 0
	}
	slices.SortStableFunc(a.WorthKnowing, func(x, y Observation) int { return cmp.Compare(rank(x), rank(y)) })
}

// unchecked says that no note of feel, of today or earlier, checks the model.
func (t *task) unchecked() bool { return t.post.FeelNotes() == 0 }

// hasBest says whether there is a best pair: at speeds that are too slow or too
// alike to tell shim from move, it runs away as far as it is let.
func (t *task) hasBest() bool {
	return math.Abs(t.best.Raise) < 0.99*maxRaise && math.Abs(t.best.Move) < 0.99*maxMove
}

// A step is a choice of cards and the move that the track and the feet allow.
type step struct {
	cards  float64
	pair   Pair
	wanted float64 // m, the move without the limit of one step
	even   []float64
	better float64 // chance that it is better than today
}

func (t *task) step(cards float64) step {
	lo, hi := t.reach()
	raise := t.turn(cards, 1)
	p := t.w.best(t.post.Draws, box{raise, raise, lo, hi})
	wanted := p.Move
	p.Move = clamp(p.Move, -largestMove, largestMove)
	if math.Abs(p.Move) < smallestMove {
		p.Move = 0
	}
	p.Move = math.Round(p.Move/mm) * mm
	st := step{cards: cards, pair: p, wanted: wanted, even: t.w.evennessOf(t.foils(cards, p.Move))}
	if cards != 0 && p.Move != 0 {
		// A move that hardly helps beside the card waits for the next session.
		alone := t.w.evennessOf(t.foils(cards, 0))
		least := smallestGain / 2
		if t.against(p.Move) {
			least = detourGain
		}
		if chanceLess(st.even, alone) < sureCard || gain(alone, st.even) < least {
			st.pair.Move, st.wanted, st.even = 0, 0, alone
		}
	}
	st.better = chanceLess(st.even, t.nowEven)
	return st
}

// against says that a move leaves the foil further from its best place than
// today, by more than anybody minds: a later step would undo it.
func (t *task) against(move float64) bool {
	return t.mayShim() && math.Abs(t.toward.Move-move)-math.Abs(t.toward.Move) > smallestMove
}

// mayShim says whether cards are for this rider and this foil.
func (t *task) mayShim() bool {
	return t.s.Rider.Level != "beginner" && t.s.Foil.Stabilizer.ShimSpan > 0
}

// directionChance is the chance that the best shim lies on the side of need.
func (t *task) directionChance() float64 {
	n := 0.0
	for _, p := range t.towardEach {
		if p.Raise*t.direction() > 0 {
			n++
		}
	}
	return n / float64(len(t.towardEach))
}

// decide sets verdict and next step.
func (t *task) decide(a *Advice) {
	if t.opt.hold != "" {
		a.Verdict = NotEnough
		a.NextStep = t.opt.hold
		return
	}
	if c, ok := t.strongConflict(); ok {
		a.Verdict = NotEnough
		a.NextStep = "Change nothing yet: first check " + c.What + "."
		return
	}
	if says := t.notRideable(); says != "" {
		a.Verdict = NotEnough
		a.NextStep = "Change nothing yet: first check the setup and the speeds. " + says
		return
	}
	if short := t.outOfReach(); short != nil {
		a.Verdict = CannotBalance
		a.NextStep = short.sentence
		a.Why = append(a.Why, short.help...)
		return
	}
	still := t.step(0)
	chosen, ok := t.chooseCard(still)
	if !ok {
		chosen, ok = still, t.helps(still)
	}
	even := a.EvennessNow.Value <= evenEnough
	switch {
	case ok && t.unchecked() && !t.sureAlone(chosen):
		a.Verdict = NotEnough
		a.NextStep = fmt.Sprintf("Change nothing yet: no note of feel checks what the setup and the model say. First note how the load feels on the feet at %s, %s and %s.",
			t.speedText(t.w.Low), t.speedText(t.w.mid()), t.speedText(t.w.Top))
	case ok && even && gain(t.nowEven, chosen.even) < clearGain:
		a.Verdict = Keep
		a.NextStep = "Keep the trim as it is: the load is about even over these speeds, and no step in reach would gain enough to be felt."
	case ok:
		a.Verdict = Change
		t.take(a, chosen)
	case even && a.EvennessNow.High <= 2*evenEnough:
		a.Verdict = Keep
		a.NextStep = "Keep the trim as it is: the load is about even over these speeds."
	default:
		a.Verdict = NotEnough
		a.NextStep = t.findOut(a.WorthKnowing)
	}
}

// helps says whether a move alone is worth making.
func (t *task) helps(still step) bool {
	least := smallestGain
	if t.against(still.pair.Move) {
		least = detourGain
	}
	return still.pair.Move != 0 && still.better >= sureBetter && gain(t.nowEven, still.even) >= least
}

// sureAlone says whether setup and model are sure enough of a step by
// themselves.
func (t *task) sureAlone(st step) bool {
	return st.better > sureUnchecked && (st.cards == 0 || t.directionChance() > sureUnchecked)
}

// findOut is the next step where no step is sure enough: what leaves the trim
// alone first; a trial of a card, where it tells most, as an experiment.
func (t *task) findOut(worth []Observation) string {
	quiet := func(o Observation) bool { return !o.ChangesTrim && (o.note || !t.unchecked()) }
	says := "Change nothing yet: the evidence does not say which way."
	if i := slices.IndexFunc(worth, quiet); i >= 0 {
		says = "Change nothing yet; first find out more: " + lowerFirst(worth[i].What) + "."
	}
	if len(worth) > 0 && worth[0].ChangesTrim {
		says += " What would tell most is an experiment that can be undone: " + lowerFirst(worth[0].What) + "; then put the stabilizer back as it was."
	}
	return says
}

// notRideable says at which speed nobody could hold today's load, "" when
// there is none: a foot cannot pull, so a share far outside 0 to 1 means that
// the foil is not as the setup says, or was never ridden so fast. Where no note
// of feel bears the load out, a middle value outside is enough.
func (t *task) notRideable() string {
	const beyond = 0.75
	for _, v := range []float64{t.w.Top, t.w.Low} {
		s := shareAt(t.now, v)
		// Without a note of feel the setup has only this to be held against.
		unlikely := t.unchecked() && (s.Value > 1 || s.Value < 0)
		if s.Value > 1+beyond || s.Value < -beyond || unlikely {
			return fmt.Sprintf("At %s they put %.0f %% of the load on the front foot, which nobody can hold.", t.speedText(v), 100*s.Value)
		}
	}
	return ""
}

func (t *task) strongConflict() (trim.Conflict, bool) {
	for _, c := range t.post.Conflicts {
		if c.Sigmas >= strongSigmas && t.post.Widened > 1 || c.Notes && c.Sigmas >= 3.3 {
			return c, true
		}
	}
	return trim.Conflict{}, false
}

// chooseCard weighs one card, with its move, against the move alone.
func (t *task) chooseCard(still step) (step, bool) {
	if !t.mayShim() {
		return step{}, false
	}
	one := t.step(t.direction())
	enough := math.Abs(t.toward.Raise) >= 0.5*math.Abs(t.turn(t.direction(), 1))
	return one, enough && t.directionChance() >= sureDirection && one.better >= sureBetter &&
		chanceLess(one.even, still.even) >= sureCard && gain(still.even, one.even) >= smallestGain/2 && gain(t.nowEven, one.even) >= smallestGain
}

// gain is by how much the root mean square of b is below a's.
func gain(a, b []float64) float64 { return rms(a) - rms(b) }

func rms(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}

// take writes the chosen step.
func (t *task) take(a *Advice, c step) {
	a.Cards = int(c.cards)
	a.Shim = interval.Number(c.cards * trim.Card / mm)
	if c.cards != 0 {
		place := t.edge(c.cards)
		a.ShimPlace = &place
		a.TakeOut = t.takesOut(c.cards)
	}
	lo, hi := t.trackReach()
	foil := clamp(c.pair.Move, lo, hi)
	a.MoveNow = interval.Number(math.Round(foil / mm))
	if rest := c.pair.Move - foil; math.Abs(rest) >= smallestMove {
		a.FeetNow = interval.Number(math.Round(t.feetFor(rest) / mm))
	}
	a.EvennessAfter = interval.FromDraws(c.even)
	a.ChanceBetter = interval.Number(c.better)
	a.NextStep = t.stepSentence(a)
	if t.unchecked() {
		a.Why = append(a.Why, "No note of feel checks this step: it rests on the setup and the model alone. Note how the feet feel before the change and after it, at the same speeds.")
	}
	if c.cards == 0 && t.against(c.pair.Move) {
		a.Why = append(a.Why, "The best pair of all has the foil elsewhere, but the stabilizer's angle is not yet sure enough for a card; this move helps until then.")
	}
	if math.Abs(c.wanted) > largestMove+smallestMove {
		a.Why = append(a.Why, fmt.Sprintf("This move is a part of the way: at this stabilizer angle the foil would best go %s in all. A step moves it %s at most. Log again, and let the new log say whether to go on.",
			t.way(c.wanted), t.length(largestMove)))
	}
}

// feetFor is the move of the feet (m, + forward) that does what a move of the
// foil by dx does. The foil also takes the board's weight along:
//
//	-dx (1 + m_b / (m_r (1 - λ)))
func (t *task) feetFor(dx float64) float64 {
	in := t.post.MAP
	if dx == 0 {
		return 0
	}
	return -dx * (1 + in.BoardMass/(in.RiderMass*(1-in.RigLiftFraction)))
}

// shimPlace is where a card goes to raise (or lower) the leading edge.
func shimPlace(mount string, raise bool) string {
	if (mount == "bottom") == raise {
		return "trailing edge"
	}
	return "leading edge"
}

// takesOut says whether the card (+1 to raise the leading edge, -1 to lower
// it) is one that is fitted now and comes out.
func (t *task) takesOut(card float64) bool {
	fitted := t.s.Foil.Stabilizer.Shim
	return card*fitted < 0 && math.Abs(fitted) >= trim.Card-trim.CardTolerance
}

// edge is where the hand goes for the card: under which edge it is put, or
// from under which it is taken.
func (t *task) edge(card float64) string {
	return shimPlace(t.s.Foil.Stabilizer.Mount, (card > 0) != t.takesOut(card))
}

// explain adds the reasons that are not the next step itself.
func (t *task) explain(a *Advice) {
	for _, c := range t.post.Conflicts {
		a.Why = append(a.Why, fmt.Sprintf("Two things that should agree are further apart than chance explains. In doubt: %s. The intervals are wider for it.", c.What))
	}
	if t.s.Rider.Level == "beginner" {
		a.Why = append(a.Why, "For a beginner the advice is the foil's position only: shims come when straight flight is steady.")
	} else if n := math.Abs(t.shimFor(t.toward.Raise)) / trim.Card; a.Verdict == Change && a.Cards != 0 && n >= 1.5 {
		a.Why = append(a.Why, fmt.Sprintf("All the way is about %.1f cards. Take one card a session, log again, and let the new log say whether to go on.", n))
	}
	if over := t.beyondReach(t.best.Move); !t.hasBest() {
		a.Why = append(a.Why, "Over these speeds the load hardly tells a turn of the stabilizer from a move of the foil, so no best pair is given. Log a wider range of speeds.")
	} else if over != 0 && a.Verdict == Change {
		a.Why = append(a.Why, fmt.Sprintf("The most even load of all would have the mast %s than %s. Within that, the best is the stabilizer's leading edge %.1f° %s.",
			t.further(over), t.limit(), math.Abs(t.toward.Raise)/deg, upDown(t.toward.Raise)))
	}
	if t.s.Foil.Stabilizer.ShimSpan <= 0 {
		a.Why = append(a.Why, "foil.stabilizer.shim_span_mm is not known, so the turn of a card is not known either: no shim is advised.")
	}
	if !t.opt.LawOK {
		a.Why = append(a.Why, t.withoutLogger())
	}
	if !t.s.Given("board.track_cm") && (a.MoveNow != 0) {
		a.Why = append(a.Why, fmt.Sprintf("board.track_cm is not given: a track that slides %s back and %s forward is taken for granted.", t.length(t.s.Board.Track[0]), t.length(t.s.Board.Track[1])))
	}
}
