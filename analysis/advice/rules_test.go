package advice

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// heavyFront is a rider whose foil truly wants d degrees more, and who said so
// in four notes.
func advised(t *testing.T, d float64, change func(*setup.Setup)) (*Advice, *setup.Setup, *trim.Posterior) {
	t.Helper()
	s := gear()
	if change != nil {
		change(s)
	}
	base := trim.FromSetup(s, density, viscosity)
	even := Best(base, speeds)
	truth := even.apply(base).Raise(-d * deg)
	// The stance of the truth is what the rider measures.
	s.Stance.Front, s.Stance.Back, s.Board.CG = truth.FrontFoot, truth.BackFoot, truth.BoardCG
	truth = trim.FromSetup(s, density, viscosity)
	truth.StabIncidence = base.StabIncidence + even.Raise - d*deg
	p := infer(t, told(s, truth, 0.04, 6, 8, 10, 12))
	return Advise(p, s, speeds, Options{LawOK: true}), s, p
}

func TestShimPlace(t *testing.T) {
	for _, c := range []struct {
		mount string
		need  float64
		cards int
		place string
	}{
		{"top", 1.5, 1, "leading edge"}, {"top", -1.5, -1, "trailing edge"},
		{"bottom", 1.5, 1, "trailing edge"}, {"bottom", -1.5, -1, "leading edge"},
	} {
		a, _, _ := advised(t, c.need, func(s *setup.Setup) { s.Foil.Stabilizer.Mount = c.mount })
		if a.Verdict != Change || a.Cards != c.cards || a.ShimPlace == nil || *a.ShimPlace != c.place {
			t.Errorf("%s mount, %+.1f° needed: %s, %d cards, %v", c.mount, c.need, a.Verdict, a.Cards, a.ShimPlace)
			continue
		}
		if want := float64(c.cards) * 0.76; math.Abs(float64(a.Shim)-want) > 1e-9 {
			t.Errorf("shim %.2f mm, want %.2f", a.Shim, want)
		}
		if !strings.Contains(a.NextStep, c.place) || !strings.Contains(a.NextStep, "0.76 mm") {
			t.Errorf("%s mount: %q does not say where", c.mount, a.NextStep)
		}
		if !(a.EvennessAfter.Value < a.EvennessNow.Value) || !(a.ChanceBetter >= sureBetter) {
			t.Errorf("%s mount: evenness %v → %v, chance %.2f", c.mount, a.EvennessNow, a.EvennessAfter, a.ChanceBetter)
		}
		for i, o := range a.Options[:5] {
			if o.Cards != i*c.cards || math.Abs(float64(o.Shim)-float64(o.Cards)*0.76) > 1e-9 {
				t.Errorf("option %d: %d cards, %.2f mm", i, o.Cards, o.Shim)
			}
		}
	}
}

// A card that is fitted and one too many is taken out, wherever it sits.
func TestTakeOut(t *testing.T) {
	a, _, _ := advised(t, -1.5, func(s *setup.Setup) { s.Foil.Stabilizer.Shim = trim.Card })
	if !a.TakeOut || a.Cards != -1 || !strings.Contains(a.NextStep, "out from under the stabilizer's leading edge") {
		t.Errorf("%d cards, take out %v: %q", a.Cards, a.TakeOut, a.NextStep)
	}
	// Shims add up in thickness, not in degrees.
	if got, want := float64(a.Options[1].StabilizerDeg), -math.Atan(0.76/50)/deg; math.Abs(got-want) > 1e-9 {
		t.Errorf("taking a card out turns %.4f°, want %.4f°", got, want)
	}
}

func TestOneCardAtMost(t *testing.T) {
	a, _, _ := advised(t, 3.5, nil)
	if a.Cards != 1 || a.StabilizerChange.Value < 2.5 {
		t.Errorf("%d cards of %.1f°", a.Cards, a.StabilizerChange.Value)
	}
	if !strings.Contains(strings.Join(a.Why, " "), "one card a session") {
		t.Errorf("the reasons do not say why only one: %q", a.Why)
	}
}

func TestBeginnerPositionOnly(t *testing.T) {
	a, _, _ := advised(t, 1.5, func(s *setup.Setup) { s.Rider.Level = "beginner" })
	if a.Cards != 0 || a.Shim != 0 || a.ShimPlace != nil {
		t.Errorf("a beginner gets %d cards", a.Cards)
	}
	if !strings.Contains(strings.Join(a.Why, " "), "beginner") {
		t.Errorf("the reasons do not say why: %q", a.Why)
	}
	for _, o := range a.WorthKnowing {
		if strings.Contains(o.What, "card") {
			t.Errorf("a beginner is told to %s", o.What)
		}
	}
}

// Feet that stand too far back for the track: fixed straps cannot balance,
// and it says by how much; free feet step forward.
func TestTrackAndFeet(t *testing.T) {
	const off = 0.25 // m
	build := func(fixed bool) (*Advice, *setup.Setup) {
		s := gear()
		base := trim.FromSetup(s, density, viscosity)
		even := Best(base, speeds)
		s.Foil.Stabilizer.Incidence += even.Raise
		s.Stance.Front -= even.Move + off
		s.Stance.Back -= even.Move + off
		s.Board.CG -= even.Move
		s.Stance.Fixed = fixed
		p := infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12))
		return Advise(p, s, speeds, Options{LawOK: true}), s
	}
	a, s := build(true)
	if a.Verdict != CannotBalance || !strings.Contains(a.NextStep, "cm further back") {
		t.Errorf("%s: %s", a.Verdict, a.NextStep)
	}
	if why := strings.Join(a.Why, " "); !strings.Contains(why, "What would help") {
		t.Errorf("no help: %q", why)
	}
	if !(a.FoilMove.Value < s.Board.Track[0]/mm) || a.Options[0].Reachable {
		t.Errorf("move %v, reachable %v", a.FoilMove, a.Options[0].Reachable)
	}
	a, s = build(false)
	if a.Verdict != Change || a.MoveNow != -30 || a.FeetNow != 0 || !strings.Contains(strings.Join(a.Why, " "), "part of the way") {
		t.Errorf("%s: move %g mm, feet %g mm: %s %q", a.Verdict, a.MoveNow, a.FeetNow, a.NextStep, a.Why)
	}
	// Where the track gives less than a step, the feet make up for it.
	s.Board.Track = [2]float64{-0.01, 0.05}
	a = Advise(infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12)), s, speeds, Options{LawOK: true})
	if a.Verdict != Change || a.MoveNow != -10 || !(a.FeetNow > 20) || a.FeetNow > 30 || !strings.Contains(a.NextStep, "further forward") {
		t.Errorf("%s: move %g mm, feet %g mm: %s", a.Verdict, a.MoveNow, a.FeetNow, a.NextStep)
	}
}

// The range puts the weight where a racer wants it.
func TestRangeMatters(t *testing.T) {
	s := gear()
	p := infer(t, outingOf(s))
	slow, fast := Advise(p, s, Uniform(5, 7), Options{}), Advise(p, s, Uniform(10, 13), Options{})
	if !(slow.Options[0].FoilMove.Value > fast.Options[0].FoilMove.Value+20) {
		t.Errorf("the move without a shim is %v for slow and %v for fast", slow.Options[0].FoilMove, fast.Options[0].FoilMove)
	}
	if got := float64(fast.Options[0].Curve[0].Speed); got != 10 {
		t.Errorf("the curve starts at %g m/s", got)
	}
}

func TestKeep(t *testing.T) {
	a, _, _ := advised(t, 0, nil)
	if a.Verdict != Keep || a.Cards != 0 || a.MoveNow != 0 {
		t.Errorf("%s: %s (now %v)", a.Verdict, a.NextStep, a.EvennessNow)
	}
}

// Without evidence there is no advice to shim, and what to find out is named
// in a sentence; without a logger it says what one would add.
func TestNotEnoughEvidence(t *testing.T) {
	s := gear()
	a := Advise(infer(t, outingOf(s)), s, speeds, Options{})
	if a.Verdict != NotEnough || a.Cards != 0 || len(a.WorthKnowing) < 3 {
		t.Errorf("%s: %s, %d observations", a.Verdict, a.NextStep, len(a.WorthKnowing))
	}
	if !strings.Contains(a.NextStep, "note how the load feels") || strings.Contains(a.NextStep, "one card") && !strings.Contains(a.NextStep, "can be undone") {
		t.Errorf("next step %q", a.NextStep)
	}
	if why := strings.Join(a.Why, " "); !strings.Contains(why, "logger") || !strings.Contains(why, "°") {
		t.Errorf("it does not say what a logger would add: %q", why)
	}
	// Notes first where there is none, then what else leaves the trim alone, then
	// trials; the best buy first within each.
	last, kind := 0.0, -1
	for _, o := range a.WorthKnowing {
		k := 1
		switch {
		case strings.HasPrefix(o.What, "Note how"):
			k = 0
		case o.ChangesTrim:
			k = 2
		}
		if k < kind {
			t.Errorf("%s comes too late", o.What)
		}
		if k > kind {
			last, kind = 0, k
		}
		if float64(o.ShimSD) < last || !(o.ShimSD < o.ShimSDNow) {
			t.Errorf("%s: %.2f° of %.2f° after %.2f°", o.What, o.ShimSD, o.ShimSDNow, last)
		}
		last = float64(o.ShimSD)
	}
}

// A strong conflict stops the advice and names the input.
func TestConflictStopsAdvice(t *testing.T) {
	s := gear()
	wrong := trim.FromSetup(s, density, viscosity)
	wrong.WingArea /= 2
	o := told(s, wrong, 0.05)
	a := Advise(infer(t, o), s, speeds, Options{LawOK: true})
	if a.Verdict != NotEnough || !strings.Contains(a.NextStep, "foil.wing.area_cm2") {
		t.Errorf("%s: %s", a.Verdict, a.NextStep)
	}
}

func TestOtherRider(t *testing.T) {
	// A trim balanced for 68 kg at 7.6 m/s, under 104 kg: trim model §8. The
	// direction is common practice (no source); the size is the model's.
	s := gear()
	s.Rider.Mass = 68
	base := trim.FromSetup(s, density, viscosity)
	w := Uniform(6.8, 8.4)
	o := *s
	o.Rider.Mass, o.Rider.Name = 104, "Bo"
	r := ForRider(infer(t, told(s, base, 0.05, 7, 8)), s, &o, w, Options{LawOK: true})
	t.Logf("pitch %v°, walk %v mm, %q", r.PitchChange, r.WingWalk, r.Notes)
	if !(r.PitchChange.Low > 0.5 && r.PitchChange.High < 3) {
		t.Errorf("pitch change %v°, want about one degree up", r.PitchChange)
	}
	if !(r.WingWalk.Low > 5 && r.WingWalk.High < 45) {
		t.Errorf("wing walk %v mm, want one to four centimetres forward", r.WingWalk)
	}
	if notes := strings.Join(r.Notes, " "); !strings.Contains(notes, "rule of thumb") || !strings.Contains(notes, "not on the size") {
		t.Errorf("the reader is not told of the difference: %q", notes)
	}
	if r.Name != "Bo" || len(r.Curve) == 0 || len(r.Options) == 0 {
		t.Errorf("other rider %q, %d points, %d options", r.Name, len(r.Curve), len(r.Options))
	}
	light := ForRider(infer(t, outingOf(&o)), &o, s, w, Options{})
	if !(light.PitchChange.High < 0 && light.WingWalk.High < 0) {
		t.Errorf("a lighter rider: pitch %v, walk %v", light.PitchChange, light.WingWalk)
	}
	free := o
	free.Stance.Fixed = false
	free.Rider.Height = 1.9
	tall := ForRider(infer(t, outingOf(s)), s, &free, w, Options{})
	if !strings.Contains(strings.Join(tall.Notes, " "), "stance is taken 56.6 cm wide") {
		t.Errorf("notes %q", tall.Notes)
	}
}

func TestSensitivity(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	p := infer(t, told(s, base, 0.05, 6, 8, 10, 12))
	e := Sensitivity(p, speeds)
	if len(e) != len(p.Unknowns) {
		t.Fatalf("%d effects of %d unknowns", len(e), len(p.Unknowns))
	}
	for k, x := range e {
		if x.Name != p.Unknowns[k].Name || math.Abs(x.After) > math.Abs(x.Before)*1.3+0.02 {
			t.Errorf("%s: %+.3f before, %+.3f after", x.Name, x.Before, x.After)
		}
	}
	// One degree of incidence is one degree of shim, by the prior's 0.4°.
	if math.Abs(e[0].Before+0.4) > 0.02 {
		t.Errorf("stabilizer incidence moves the shim %.3f° per σ, want -0.4°", e[0].Before)
	}
}

func TestCompare(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	truth := base.Raise(-0.7 * deg)
	law := func(in trim.Inputs) (zero, slope interval.Interval) {
		f := trim.NewFoil(in)
		return interval.Normal(zeroPitch(f), 0.1*deg), interval.Normal(pitchSlope(f), 0.03*pitchSlope(f))
	}
	effort := func(rate float64) []EffortAt {
		return []EffortAt{{8, interval.Normal(rate, 0.002)}, {10, interval.Normal(rate*1.2, 0.002)}}
	}
	side := func(s *setup.Setup, in trim.Inputs, rate float64) (Side, trim.Outing) {
		o := told(s, in, 0.05, 7, 9, 11)
		z, k := law(in)
		return Side{Setup: s, Posterior: infer(t, o), HasLaw: true, LevelZero: true, Zero: z, Slope: k,
			Effort: effort(rate), MeanSpeed: interval.Normal(8, 0.1), TopSpeed: interval.Normal(11, 0.1)}, o
	}
	before, ob := side(s, truth, 0.05)
	s2 := gear()
	s2.Foil.Stabilizer.Shim = trim.Card
	turn := trim.ShimAngle(trim.Card, 0.05)

	after, oa := side(s2, truth.Raise(turn), 0.04)
	r := Compare(before, after, infer(t, oa, ob), false, speeds, Options{LawOK: true})
	if r.Verdict != AsPredicted || r.ChanceBetter < 0.9 || r.Next == nil {
		t.Errorf("%s (%s), chance %.2f", r.Verdict, r.Says, r.ChanceBetter)
	}
	if len(r.Changed) != 1 || !strings.Contains(r.Changed[0], "shim") {
		t.Errorf("changed %q", r.Changed)
	}
	have := map[string]bool{}
	for _, row := range r.Rows {
		have[row.What] = true
		t.Logf("%-45s %v → %v %s: %s", row.What, row.Predicted, row.Observed, row.Unit, row.Says)
	}
	for _, want := range []string{"pitch at zero lift", "slope of the pitch law", "front foot's share at 17 kn", "change of the front foot's share at 17 kn", "control effort (pitch rate)", "mean speed on the foil", "best speed"} {
		if !have[want] {
			t.Errorf("no row %q", want)
		}
	}

	// The shim turned the other way: on the wrong side of a bottom mount, say.
	after, oa = side(s2, truth.Raise(-turn), 0.06)
	r = Compare(before, after, infer(t, oa, ob), false, speeds, Options{LawOK: true})
	if r.Verdict != NotAsPredicted {
		t.Errorf("a shim the wrong way round: %s (%s)", r.Verdict, r.Says)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}

	// No notes after, no level: it cannot tell.
	s3 := gear()
	s3.Foil.Stabilizer.Shim = trim.Card
	dumb := Side{Setup: s3, Posterior: infer(t, outingOf(s3)), Zero: interval.Unknown(), Slope: interval.Unknown(), MeanSpeed: interval.Unknown(), TopSpeed: interval.Unknown()}
	r = Compare(before, dumb, infer(t, outingOf(s3), ob), false, speeds, Options{})
	if r.Verdict != CannotTell || !strings.Contains(r.Says, "no notes of feel") {
		t.Errorf("%s (%s)", r.Verdict, r.Says)
	}
}

// Strange but possible setups and speeds give numbers or nulls, and no panic.
func TestExtremes(t *testing.T) {
	for name, change := range map[string]func(*setup.Setup){
		"ar 25":         func(s *setup.Setup) { s.Foil.Wing.Span = math.Sqrt(25 * s.Foil.Wing.Area) },
		"300 kg":        func(s *setup.Setup) { s.Rider.Mass = 300 },
		"15 kg":         func(s *setup.Setup) { s.Rider.Mass = 15 },
		"kite lifts":    func(s *setup.Setup) { s.Rig = setup.Rig{Kind: "kite", LiftFraction: 0.9} },
		"tiny wing":     func(s *setup.Setup) { s.Foil.Wing.Area, s.Foil.Wing.Span = 0.005, 0.1 },
		"huge wing":     func(s *setup.Setup) { s.Foil.Wing.Area, s.Foil.Wing.Span = 1, 4 },
		"no shim span":  func(s *setup.Setup) { s.Foil.Stabilizer.ShimSpan = 0 },
		"short arm":     func(s *setup.Setup) { s.Foil.Stabilizer.BehindWing = 0.15 },
		"narrow stance": func(s *setup.Setup) { s.Stance.Front, s.Stance.Back = 0.03, -0.03 },
		"one track end": func(s *setup.Setup) { s.Board.Track = [2]float64{0, 0} },
		"odd notes": func(s *setup.Setup) {
			s.Feel = []setup.Feel{{Speed: 0, Share: 0.5, SD: 0.06}, {Speed: 90, Share: 1, SD: 0.01}, {Speed: 5, Share: 0, SD: 0}}
		},
	} {
		s := gear()
		change(s)
		p, err := trim.Infer(outingOf(s), nil, trim.InferOptions{Draws: 40})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, w := range []SpeedWeights{{}, Uniform(0, 0), Uniform(8, 8), Uniform(2, 30), {Speed: []float64{math.NaN(), 7}, Weight: []float64{1, math.Inf(1)}}} {
			a := Advise(p, s, w, Options{})
			if a.NextStep == "" || a.Verdict == "" || strings.Contains(a.NextStep+strings.Join(a.Why, ""), "NaN") {
				t.Errorf("%s: %q %q %q", name, a.Verdict, a.NextStep, a.Why)
			}
			if _, err := json.Marshal(a); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if _, err := json.Marshal(ForRider(p, s, s, w, Options{})); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			Sensitivity(p, w)
		}
	}
}

// A stabilizer so far off that four cards do not mend it: it says how far.
func TestMoreThanFourCards(t *testing.T) {
	s := gear()
	s.Foil.Stabilizer.Incidence = -7 * deg
	a := Advise(infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12)), s, speeds, Options{LawOK: true})
	if a.Verdict != CannotBalance || !strings.Contains(a.NextStep, "four cards give +3.5°") || !strings.Contains(strings.Join(a.Why, " "), "tapered shim") {
		t.Errorf("%s: %s %q", a.Verdict, a.NextStep, a.Why)
	}
}

// Notes that contradict each other stop the advice, in words that say so.
func TestContradictionStopsAdvice(t *testing.T) {
	s := gear()
	s.Feel = []setup.Feel{{Speed: 9, Share: 0.75, SD: 0.10, Said: "strong front"}, {Speed: 9.2, Share: 0.25, SD: 0.10, Said: "strong back"}}
	a := Advise(infer(t, outingOf(s)), s, speeds, Options{})
	if a.Verdict != NotEnough || !strings.Contains(a.NextStep, "contradict each other") || len(a.Why) == 0 {
		t.Errorf("%s: %s %q", a.Verdict, a.NextStep, a.Why)
	}
}

// Where the track ends short of the best place, the steps aim at the best that
// it reaches, and the reasons say what lies beyond.
func TestTrackEndsShort(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	even := Best(base, speeds)
	s.Foil.Stabilizer.Incidence += even.Raise
	// The best place is 60 mm forward of where the mast stands, and the track ends there.
	s.Stance.Front -= even.Move - 0.06
	s.Stance.Back -= even.Move - 0.06
	s.Board.CG -= even.Move - 0.06
	s.Board.Track = [2]float64{-0.05, 0}
	p := infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12))
	a := Advise(p, s, speeds, Options{LawOK: true})
	if math.Abs(a.StabilizerChange.Value) > 0.3 || math.Abs(a.FoilMove.Value-60) > 15 {
		t.Fatalf("the best pair is %v° and %v mm, want none and 60 mm", a.StabilizerChange, a.FoilMove)
	}
	// Back-heavy and no room forward: more downforce behind is what helps.
	if a.Options[1].Cards != -1 || !strings.Contains(strings.Join(a.Why, " "), "further forward than the track allows") {
		t.Errorf("options of %d cards, reasons %q", a.Options[1].Cards, a.Why)
	}
}

// At speeds where no foil of this size was ever ridden the model's load is
// absurd: then it is the speeds or the setup that need a look.
func TestAbsurdLoad(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	a := Advise(infer(t, told(s, base.Raise(-3*deg), 0.05, 7, 9)), s, Uniform(22, 31), Options{LawOK: true})
	if a.Verdict != NotEnough || a.Cards != 0 || !strings.Contains(a.NextStep, "nobody can hold") {
		t.Errorf("%s: %s", a.Verdict, a.NextStep)
	}
}

// Another rider's feet are in doubt by their own 15 mm, not by what the notes
// told of the first rider's.
func TestOtherRidersFeet(t *testing.T) {
	s := gear()
	truth := trim.FromSetup(s, density, viscosity)
	truth.FrontFoot += 0.03
	truth.BackFoot += 0.03
	p := infer(t, told(s, truth, 0.02, 6, 8, 10, 12))
	o := *s
	o.Rider.Name = "Bo"
	r := ForRider(p, s, &o, speeds, Options{LawOK: true})
	own := Advise(p, s, speeds, Options{LawOK: true})
	if !(r.EvennessNow.High-r.EvennessNow.Low > own.EvennessNow.High-own.EvennessNow.Low) {
		t.Errorf("evenness %v for the rider who was asked, %v for the other", own.EvennessNow, r.EvennessNow)
	}
}

// Lengths and speeds in the sentences are in the reader's unit.
func TestReadersUnits(t *testing.T) {
	s := gear()
	s.Stance.Front, s.Stance.Back, s.Stance.Fixed = s.Stance.Front-0.3, s.Stance.Back-0.3, false
	base := trim.FromSetup(s, density, viscosity)
	opt := Options{
		LawOK:      true,
		SpeedText:  func(mps float64) string { return fmt.Sprintf("%.1f m/s", mps) },
		LengthText: func(m float64) string { return fmt.Sprintf("%.2f in", m/0.0254) },
	}
	o := *s
	o.Rider.Mass, o.Rider.Height = 92, 1.95
	p := infer(t, told(s, base, 0.05, 7, 9, 11))
	a, r := Advise(p, s, speeds, opt), ForRider(p, s, &o, speeds, opt)
	text := a.NextStep + strings.Join(a.Why, " ") + r.NextStep + strings.Join(r.Why, " ") + strings.ReplaceAll(strings.Join(r.Notes, " "), "13 to 15 cm", "")
	for _, w := range a.WorthKnowing {
		text += w.What
	}
	if !strings.Contains(text, " in") || strings.Contains(text, " kn") || strings.Contains(strings.ReplaceAll(text, "(0.76 mm)", ""), " mm ") || strings.Contains(text, "cm further") || strings.Contains(text, "cm wide") {
		t.Errorf("other units than asked for: %q", text)
	}
}

// Without any note of feel a step is advised only when it is nearly sure (what
// feels even to the rider is not known, so it hardly ever is), and it says that
// nothing checks it; otherwise notes come first. A stated
// incidence that is 3° and more wrong gives a load that nobody could have ridden with,
// and no card the wrong way.
func TestNoNotes(t *testing.T) {
	seen := map[string]int{}
	for _, wrong := range []float64{-3.5, -2, -1.2, 0, 1.2, 2, 3} {
		for _, law := range []bool{false, true} {
			s := gear()
			base := trim.FromSetup(s, density, viscosity)
			even := Best(base, speeds)
			s.Foil.Stabilizer.Incidence += even.Raise + wrong*deg
			o := told(s, trim.FromSetup(s, density, viscosity).Raise(-wrong*deg), 0.05)
			o.Ev.HasLaw = law
			a := Advise(infer(t, o), s, speeds, Options{LawOK: law})
			seen[a.Verdict]++
			if strings.Contains(a.NextStep, "nobody can hold") {
				seen["nobody can hold"]++
				continue
			}
			if math.Abs(wrong) >= 3 {
				t.Errorf("wrong by %+.0f°: %s", wrong, a.NextStep)
			}
			why := strings.Join(a.Why, " ")
			switch a.Verdict {
			case Change:
				if !(a.ChanceBetter > sureUnchecked) || !strings.Contains(why, "No note of feel checks this step") {
					t.Errorf("wrong by %+.0f°: %s at chance %.2f: %q", wrong, a.NextStep, a.ChanceBetter, a.Why)
				}
			case NotEnough:
				if !strings.Contains(a.NextStep, "ote how the load feels") || !strings.HasPrefix(a.WorthKnowing[0].What, "Note how") {
					t.Errorf("wrong by %+.0f°: %s; first of all %s", wrong, a.NextStep, a.WorthKnowing[0].What)
				}
			}
		}
	}
	t.Log(seen)
	if seen[NotEnough] == seen["nobody can hold"] || seen["nobody can hold"] == 0 {
		t.Errorf("verdicts %v: the test does not see all", seen)
	}
	// Notes of an earlier session count.
	s := gear()
	e := gear()
	p := infer(t, outingOf(s), told(e, trim.FromSetup(e, density, viscosity), 0.05, 7, 9))
	if p.FeelNotes() != 2 || newTask(p, s, speeds, Options{}).unchecked() {
		t.Errorf("%d notes of earlier sessions", p.FeelNotes())
	}
}

// A load that is about even is left alone, although a small step would make it
// a little more even.
func TestSmallGainIsKept(t *testing.T) {
	a, _, p := advised(t, 0.35, nil)
	one := newTask(p, gear(), speeds, Options{LawOK: true}).step(1)
	if a.EvennessNow.Value > evenEnough {
		t.Fatalf("the load is %v off even, want about even", a.EvennessNow)
	}
	if a.Verdict != Keep || a.Cards != 0 || a.MoveNow != 0 || a.EvennessAfter != a.EvennessNow {
		t.Errorf("off even by %v, a card would gain: %s, %s (one card: %.3f)", a.EvennessNow, a.Verdict, a.NextStep, rms(one.even))
	}
}

// The foil does not go one way now and back with the next card, unless much is
// gained until then, and then it says so.
func TestNoDetour(t *testing.T) {
	for _, d := range []float64{0.5, 0.7, 1.0} {
		for _, sd := range []float64{0.04, 0.10} {
			s := gear()
			base := trim.FromSetup(s, density, viscosity)
			even := Best(base, speeds)
			s.Stance.Front, s.Stance.Back, s.Board.CG = s.Stance.Front-even.Move, s.Stance.Back-even.Move, s.Board.CG-even.Move
			s.Foil.Stabilizer.Incidence += even.Raise - d*deg
			p := infer(t, told(s, trim.FromSetup(s, density, viscosity), sd, 6, 8, 10, 12))
			a := Advise(p, s, speeds, Options{LawOK: true})
			task := newTask(p, s, speeds, Options{LawOK: true})
			t.Logf("%.1f° wanted, notes ± %.2f: best %+.1f mm; %s: %s", d, sd, task.toward.Move/mm, a.Verdict, a.NextStep)
			if a.Verdict != Change || !task.against(float64(a.MoveNow)*mm) {
				continue
			}
			if rms(task.nowEven)-rms(task.w.evennessOf(task.foils(float64(a.Cards), float64(a.MoveNow)*mm))) < detourGain {
				t.Errorf("a detour of %g mm for little", a.MoveNow)
			}
			if a.Cards == 0 && !strings.Contains(strings.Join(a.Why, " "), "helps until then") {
				t.Errorf("a detour of %g mm without a word: %q", a.MoveNow, a.Why)
			}
		}
	}
}
