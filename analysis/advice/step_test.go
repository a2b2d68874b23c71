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

// Where the best step is likely and not sure, notes that may make it sure are
// worth asking for, also where the step would not be taken today; notes that
// can make nothing sure are worth nothing.
func TestNotesAreWorthWhatTheyAllow(t *testing.T) {
	var task *task
	var now, best step
	for off := 0.0; best.better < 0.6 || best.better >= Surely; off += 0.1 {
		s := gear()
		s.Foil.Stabilizer.Incidence += Best(trim.FromSetup(s, density, viscosity), speeds, "advanced").Raise - off*deg
		task = newTask(infer(t, outingOf(s)), s, speeds, Options{})
		now = task.step(0, 0)
		best = now
		for _, x := range task.eitherWay(task.steps()[1:]) {
			if x.loss < best.loss {
				best = x
			}
		}
		if off > 3 {
			t.Fatal("no step is likely and not sure")
		}
	}
	if v := task.learning(task.steps()[1:]); v < priceNotes || v > now.loss {
		t.Errorf("notes are worth %.5f, where keeping costs %.4f and the best step %.4f with a chance of %.2f", v, now.loss, best.loss, best.better)
	}
	// A rider who says the same whatever the load: nothing to learn.
	for _, x := range task.draws {
		x.foil.In.RiderScale = -1
	}
	if v := task.learning(task.steps()[1:]); v != 0 {
		t.Errorf("notes that tell nothing are worth %.5f", v)
	}
}
