package advice

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// anyGear is a possible setup and speeds that its foil flies at.
func anyGear(rng *rand.Rand) (*setup.Setup, SpeedWeights) {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	pick := func(v ...string) string { return v[rng.IntN(len(v))] }
	s := gear()
	s.Rider.Mass, s.Rider.Level = between(45, 115), pick("beginner", "intermediate", "advanced")
	s.Rig.Kind = pick("wing", "kite", "sail", "tow", "none")
	s.Rig.LiftFraction = map[string]float64{"wing": 0.08, "kite": 0.25}[s.Rig.Kind]
	w, st := &s.Foil.Wing, &s.Foil.Stabilizer
	w.Area = between(0.05, 0.22)
	w.Span = math.Sqrt(between(5, 11) * w.Area)
	w.Ahead, w.CamberPercent = between(0.02, 0.22), between(1, 4)
	st.Area = w.Area * between(0.12, 0.25)
	st.Span = math.Sqrt(between(4, 9) * st.Area)
	st.BehindWing, st.Incidence = between(0.5, 0.85), between(-4, 1)*deg
	st.Mount, st.ShimSpan = pick("top", "bottom"), between(0.03, 0.08)
	st.Shim = []float64{0, 0, 1, -1, 2, 0.6}[rng.IntN(6)] * trim.Card
	s.Stance.Fixed = rng.IntN(2) == 0
	s.Board.Track = [2]float64{-between(0, 0.08), between(0, 0.08)}
	if rng.IntN(5) == 0 {
		s.Board.Track = [2]float64{}
	}
	slow := math.Sqrt(2 * (s.Rider.Mass + s.Board.Mass) * trim.Gravity / (density * w.Area * 0.9))
	return s, Uniform(slow, slow*between(1.2, 1.9))
}

// Verdict, sentence, cards, shim, place, move and options say one thing,
// whatever the setup: no reader of one part may do other than a reader of another.
func TestPartsAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(42, 6))
	seen := map[string]int{}
	for k := range 60 {
		s, w := anyGear(rng)
		base := trim.FromSetup(s, density, viscosity)
		truth := base.Raise(0.5 * deg * rng.NormFloat64())
		o := outingOf(s)
		if k%3 > 0 {
			o = told(s, truth, 0.05, w.Low, (w.Low+w.Top)/2, w.Top)
			for i := range s.Feel {
				s.Feel[i].Share = clamp(s.Feel[i].Share, 0, 1)
			}
		}
		p, err := trim.Infer(o, nil, 60)
		if err != nil {
			t.Fatal(err)
		}
		a := Advise(p, s, w, Options{LawOK: o.Ev.HasLaw})
		seen[a.Verdict]++
		if a.Cards != 0 {
			seen["card"]++
		}
		if a.TakeOut {
			seen["take out"]++
		}
		if a.FeetNow != 0 {
			seen["feet"]++
		}
		if slices.ContainsFunc(a.Plan, func(x Trial) bool { return x.Shim < 0 }) {
			seen["a lowering card in the plan"]++
		}
		if bad := disagreements(a, s, p); len(bad) > 0 {
			t.Errorf("setup %d (%s, %s, shim %.2f mm, track %v, fixed %v):\n  %s\n  %s: %s", k, s.Rider.Level, s.Foil.Stabilizer.Mount,
				s.Foil.Stabilizer.Shim/mm, s.Board.Track, s.Stance.Fixed, strings.Join(bad, "\n  "), a.Verdict, a.Next.Kind)
		}
	}
	t.Log(seen)
	for _, what := range []string{Change, Keep, CannotBalance, NotEnough, "card", "take out", "feet", "a lowering card in the plan"} {
		if seen[what] == 0 {
			t.Errorf("no setup came to %q: the test does not see it", what)
		}
	}
}

func disagreements(a *Advice, s *setup.Setup, p *trim.Posterior) (bad []string) {
	check := func(ok bool, what string) {
		if !ok {
			bad = append(bad, what)
		}
	}
	move, feet := float64(a.MoveNow), float64(a.FeetNow)
	st := s.Foil.Stabilizer

	check(a.Cards == 0 || math.Abs(a.Cards) == 1 || math.Abs(a.Cards) == 0.5, "not half a card or one")
	check(math.Abs(float64(a.Shim)-a.Cards*trim.Card/mm) < 1e-9, "shim_mm is not the cards'")
	check((a.ShimPlace != nil) == (a.Cards != 0), "a place without a card, or a card without a place")
	check(a.Cards == 0 || s.Rider.Level != "beginner", "a card for a beginner")
	if a.Cards != 0 {
		// By hand: on top, a card in front raises the leading edge.
		raises := (*a.ShimPlace == "leading edge") == (st.Mount == "top")
		check((raises != a.TakeOut) == (a.Cards > 0), "the card at this edge turns the stabilizer the other way")
		check(a.Step.Raise*a.Cards > 0, "the step turns the other way")
		check(a.StabilizerChange.Value*a.Cards > 0, "the card goes against all the way")
		check(!a.TakeOut || math.Abs(st.Shim) > 0.9*math.Abs(a.Cards)*0.6*mm, "takes out a card that is not there")
		check(a.Options[1].Cards*a.Cards > 0, "the options go the other way")
		check(math.Abs(a.Cards) == 1 || math.Abs(float64(a.Options[1].StabilizerDeg)) > 1.2, "half a card where a card does not turn far")
	}
	for _, x := range a.Plan {
		if x.Kind == CardInOut { // by hand, as above
			raises := (x.Edge == "leading edge") == (st.Mount == "top")
			check(math.Abs(float64(x.Shim)) == trim.Card/mm && (raises != x.TakeOut) == (x.Shim > 0), "the plan's card turns the other way than it writes")
		} else {
			check(x.Shim == 0, "a card where none is asked for")
		}
	}
	check(a.MoveNow == 0 || float64(a.MoveNow)*a.FoilMove.Value > 0, "the move goes against all the way")
	check((a.Verdict == Change) == (a.Cards != 0 || move != 0 || feet != 0), "verdict against step")
	check(a.Verdict != Change || a.EvennessAfter.Value < a.EvennessNow.Value && a.ChanceBetter >= Surely, "a change that is no gain")
	check(a.Verdict == Change || a.EvennessAfter == a.EvennessNow, "no change, yet another evenness")
	if a.Verdict == Change {
		check(a.Next.Kind == TakeStep && a.Step.Foil == move*mm && a.Step.Front == feet*mm && a.Step.Back == feet*mm, "the step is another")
		check(move*feet <= 0, "mast and feet go the same way")
	} else if a.Verdict != CannotBalance {
		check(a.Step == trim.Change{}, "no change, yet a step")
		check(len(a.WorthKnowing) == 0 || !a.WorthKnowing[0].ChangesTrim || !slices.ContainsFunc(a.WorthKnowing, func(o Observation) bool { return !o.ChangesTrim }), "no change, yet another trim is to be ridden first")
	}
	check(math.Abs(move) <= 30 && (s.Stance.Fixed || math.Abs(move-feet) <= 40), "more than a small step")
	part := reason(a.Why, PartOfTheWay) != nil
	check(!part || math.Abs(move)+math.Abs(feet) >= 25, "part of the way, yet a small move")
	check(move >= s.Board.Track[0]/mm-0.5 && move <= s.Board.Track[1]/mm+0.5, "the mast leaves its track")
	check(feet == 0 || !s.Stance.Fixed && math.Abs(feet) >= 5, "feet in straps move, or hardly")

	check(len(a.Options) == 6 && a.Options[0].Cards == 0 && a.Options[5].Best, "options are not 0 to 4 cards and the best")
	for i := 1; i < 5; i++ {
		x, y := a.Options[i-1], a.Options[i]
		way := y.Cards / float64(i)
		check(math.Abs(way) == 1, "cards do not count up")
		turn := float64(y.StabilizerDeg - x.StabilizerDeg)
		check(turn*way > 0, "a card more turns the other way")
		check((y.Gradient.Value-x.Gradient.Value)*way < 0, "a leading edge higher up is not livelier")
		check(float64(y.Overshoot-x.Overshoot)*way >= -0.02, "a leading edge higher up overshoots less")
	}
	js, err := json.Marshal(a)
	check(err == nil && !strings.Contains(string(js), "NaN"), "a number that is none")
	for _, r := range append(a.Why, a.Next) {
		_, err := json.Marshal(r)
		check(err == nil, "a reason with a number that is none")
	}
	return bad
}
