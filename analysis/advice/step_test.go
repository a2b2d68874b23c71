package advice

import (
	"math"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// The move of the feet does what a move of the foil does, a sail's mast foot
// that the foil goes under included: by hand, moments about the mast with the
// deck level,
//
//	-dx (1 + (m_b g + P) / (m_r g (1 - λ) - P))
func TestFeetForTheFoil(t *testing.T) {
	for name, rig := range map[string]setup.Rig{"wing": {Kind: "wing", LiftFraction: 0.08}, "sail": {Kind: "sail", MastFoot: 0.95}} {
		s := gear()
		s.Rig = rig
		task := newTask(infer(t, outingOf(s)), s, speeds, Options{})
		in := task.post.MAP
		board, feet := in.BoardMass*trim.Gravity+in.MastFoot, in.RiderMass*trim.Gravity*(1-in.RigLiftFraction)-in.MastFoot
		got, want := task.feetFor(0.02), -0.02*(1+board/feet)
		if math.Abs(got-want) > 2e-4 {
			t.Errorf("%s: %.2f mm, want %.2f mm", name, got/mm, want/mm)
		}
		f := trim.NewFoil(in)
		p := f.Point(task.mid(), trim.Gravity)
		foil, feetToo := p.With(trim.Change{Foil: 0.02}).FrontShare, p.With(trim.Change{Front: got, Back: got}).FrontShare
		if math.Abs(foil-feetToo) > 1e-9 {
			t.Errorf("%s: share %.5f by the foil, %.5f by the feet", name, foil, feetToo)
		}
	}
}

// What is said of a step is said of the numbers that the rider is told: what
// the track cannot give and the feet need not is no part of it.
func TestStepIsWhatIsTold(t *testing.T) {
	s := gear()
	s.Stance.Fixed, s.Board.Track = false, [2]float64{-0.010, math.Copysign(0, -1)}
	p := infer(t, outingOf(s))
	task := newTask(p, s, speeds, Options{})
	for _, c := range []struct{ move, foil, feetLow, feetHigh float64 }{
		{-0.014, -10, 0, 0}, {-0.010, -10, 0, 0}, {-0.015, -10, 5, 7}, {-0.0302, -10, 22, 26}, {0.02, 0, -26, -22}, {0.004, 0, 0, 0}, {-0.0002, 0, 0, 0},
	} {
		one := task.step(0, c.move)
		a := &Advice{}
		task.take(a, &one)
		move, feet := float64(a.MoveNow), float64(a.FeetNow)
		if move != c.foil || feet < c.feetLow || feet > c.feetHigh || move == 0 && math.Signbit(move) || feet == 0 && math.Signbit(feet) {
			t.Errorf("%g mm: mast %g mm, feet %g mm", c.move/mm, move, feet)
		}
		even := make([]float64, len(task.draws))
		for i, x := range task.draws {
			even[i] = task.evenness(x, trim.Change{Foil: move * mm, Front: feet * mm, Back: feet * mm})
		}
		want, better := p.Interval(even), task.chanceLess(even, task.evenNow)
		if math.Abs(a.EvennessAfter.Value-want.Value) > 1e-12 || math.Abs(a.EvennessAfter.High-want.High) > 1e-12 || math.Abs(float64(a.ChanceBetter)-better) > 1e-9 {
			t.Errorf("%g mm: evenness %v with chance %.3f; the numbers told give %v and %.3f", c.move/mm, a.EvennessAfter, a.ChanceBetter, want, better)
		}
	}
}

// A beginner's options show the cards of the way that helps.
func TestBeginnersOptionsHelp(t *testing.T) {
	for _, need := range []float64{-1.5, 1.5} {
		a, _, _ := advised(t, need, func(s *setup.Setup) { s.Rider.Level = "beginner" })
		best := a.Options[len(a.Options)-1]
		if math.Signbit(a.Options[0].Cards) {
			t.Errorf("%+.1f° needed: no card has a sign", need)
		}
		if o := a.Options[1]; !best.Best || float64(best.StabilizerDeg)*need < 0 || o.Cards*need < 0 || o.Cards == 0 {
			t.Errorf("%+.1f° needed: the best is %+.2f°, the first option %+g cards", need, best.StabilizerDeg, o.Cards)
		}
	}
}

// Every speed that counts must have a load that can be held, not only the ends
// of the range.
func TestAbsurdLoadWithinTheSpeeds(t *testing.T) {
	s := gear()
	p := infer(t, told(s, trim.FromSetup(s, density, viscosity).Raise(-3*deg), 0.05, 7, 9))
	w := SpeedWeights{Speed: []float64{7, 9, 26}, Weight: []float64{1, 1, 1}, Low: 7, Top: 9}
	if a := Advise(p, s, w, Options{LawOK: true}); a.Next.Kind != CheckLoad || a.Next.Speed != 26 {
		t.Errorf("%s: %s at %g m/s", a.Verdict, a.Next.Kind, a.Next.Speed)
	}
	w.Weight[2] = 0
	if a := Advise(p, s, w, Options{LawOK: true}); a.Next.Kind == CheckLoad {
		t.Errorf("a speed without weight: %s at %g m/s", a.Next.Kind, a.Next.Speed)
	}
}

// A card that goes past the best costs more than one that does not, by the part
// that goes past, so that of two that are alike the one short of it is taken.
func TestPastTheBestCosts(t *testing.T) {
	s := gear()
	task := newTask(infer(t, outingOf(s)), s, speeds, Options{})
	turn := task.turn(1, 1)
	for _, c := range []struct{ part, price float64 }{{2, 3e-4}, {1, 3e-4}, {0.5, 8e-4}, {0.25, 10.5e-4}} {
		task.toward.Raise = c.part * turn
		one := task.step(1, 0)
		if math.Abs(one.price-c.price) > 1e-9 {
			t.Errorf("a card of %.2f of the way past: %.2e, want %.2e", 1-c.part, one.price, c.price)
		}
	}
}

// Notes are worth no more than knowing the foil would be, the same however far
// off the best trim is as long as it is within reach, less the more notes there
// are, and nothing where they tell nothing.
func TestNotesAreWorthTheDoubt(t *testing.T) {
	at := func(ahead float64, notes int) *task {
		s := gear()
		s.Foil.Wing.Ahead += ahead
		s.Board.Track = [2]float64{-maxMove, maxMove}
		o := outingOf(s)
		if notes > 0 {
			o = told(s, o.In, noteSD/math.Sqrt(float64(notes)), speeds.Low, speeds.Top)
		}
		return newTask(infer(t, o), s, speeds, Options{})
	}
	x := at(0, 0)
	worth := x.learning()
	known := 0.0
	cost := func(f *flight, c trim.Change) float64 { return x.costOf(x.evenness(f, c), f.gradient(c)) }
	for i, p := range x.objective.bestEach(x.draws, x.toward, x.reachable()) {
		known += x.post.Weights[i] * (cost(x.draws[i], x.toward) - cost(x.draws[i], p)) / float64(len(x.draws))
	}
	if worth > known || worth < 0.3*known {
		t.Errorf("notes are worth %.5f, and to know the foil %.5f", worth, known)
	}
	if far := at(0.02, 0); math.Abs(far.toward.Foil-x.toward.Foil) < 15*mm || math.Abs(far.learning()/worth-1) > 0.05 {
		t.Errorf("notes are worth %.5f, and %.5f with the best %.0f mm further off", worth, far.learning(), (far.toward.Foil-x.toward.Foil)/mm)
	}
	if one, four := at(0, 1).learning(), at(0, 4).learning(); one > worth/2 || four > one*0.9 {
		t.Errorf("notes are worth %.5f, then %.5f, then %.5f", worth, one, four)
	}
	// A rider who says the same whatever the load.
	for _, f := range x.draws {
		f.foil.In.RiderScale = -1
	}
	if v := x.learning(); v > 1e-9 {
		t.Errorf("notes that tell nothing are worth %.5f", v)
	}
}
