package advice

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// heavyFront is a rider whose foil truly wants d degrees more, and who said so
// in four notes.
func advised(t *testing.T, d float64, change func(*setup.Setup), feet ...float64) (*Advice, *setup.Setup, *trim.Posterior) {
	t.Helper()
	s := gear()
	if change != nil {
		change(s)
	}
	base := trim.FromSetup(s, density, viscosity)
	even := Best(base, speeds, "advanced")
	truth := applied(even, base).Raise(-d * deg)
	// The stance of the truth is what the rider measures.
	s.Stance.Front, s.Stance.Back, s.Board.CG = truth.FrontFoot, truth.BackFoot, truth.BoardCG
	for _, f := range feet { // forward of where they balance
		s.Stance.Front, s.Stance.Back = s.Stance.Front+f, s.Stance.Back+f
	}
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
		if a.Verdict != Change || a.Cards != float64(c.cards) || a.ShimPlace == nil || *a.ShimPlace != c.place {
			t.Errorf("%s mount, %+.1f° needed: %s, %g cards, %v", c.mount, c.need, a.Verdict, a.Cards, a.ShimPlace)
			continue
		}
		if want := float64(c.cards) * 0.76; math.Abs(float64(a.Shim)-want) > 1e-9 {
			t.Errorf("shim %.2f mm, want %.2f", a.Shim, want)
		}
		if !(a.EvennessAfter.Value < a.EvennessNow.Value) || !(a.ChanceBetter >= Surely) {
			t.Errorf("%s mount: evenness %v → %v, chance %.2f", c.mount, a.EvennessNow, a.EvennessAfter, a.ChanceBetter)
		}
		for i, o := range a.Options[:5] {
			if o.Cards != float64(i*c.cards) || math.Abs(float64(o.Shim)-o.Cards*0.76) > 1e-9 {
				t.Errorf("option %d: %g cards, %.2f mm", i, o.Cards, o.Shim)
			}
		}
	}
}

// A card that is fitted and one too many is taken out, wherever it sits.
func TestTakeOut(t *testing.T) {
	a, _, _ := advised(t, -1.5, func(s *setup.Setup) { s.Foil.Stabilizer.Shim = trim.Card })
	if !a.TakeOut || a.Cards != -1 || *a.ShimPlace != "leading edge" {
		t.Errorf("%g cards, take out %v: %q", a.Cards, a.TakeOut, a.Next.Kind)
	}
	// Shims add up in thickness, not in degrees.
	if got, want := float64(a.Options[1].StabilizerDeg), -math.Atan(0.76/50)/deg; math.Abs(got-want) > 1e-9 {
		t.Errorf("taking a card out turns %.4f°, want %.4f°", got, want)
	}
}

func TestOneCardAtMost(t *testing.T) {
	a, _, _ := advised(t, 2.4, nil)
	if a.Cards != 1 || a.StabilizerChange.Value < 1.5 {
		t.Errorf("%g cards of %.1f°", a.Cards, a.StabilizerChange.Value)
	}
	if reason(a.Why, MoreCards) == nil {
		t.Errorf("the reasons do not say why only one: %v", a.Why)
	}
}

func TestBeginnerPositionOnly(t *testing.T) {
	a, _, _ := advised(t, 1.5, func(s *setup.Setup) { s.Rider.Level = "beginner" })
	if a.Cards != 0 || a.Shim != 0 || a.ShimPlace != nil {
		t.Errorf("a beginner gets %g cards", a.Cards)
	}
	if reason(a.Why, PositionOnly) == nil {
		t.Errorf("the reasons do not say why: %v", a.Why)
	}
	for _, o := range a.WorthKnowing {
		if o.Kind == RideCard {
			t.Errorf("a beginner is told to %s", o.Kind)
		}
	}
}

// Feet that stand too far back for the track: fixed straps cannot balance,
// and it says by how much; free feet step forward.
func TestTrackAndFeet(t *testing.T) {
	build := func(fixed bool, off float64) (*Advice, *setup.Setup) {
		s := gear()
		base := trim.FromSetup(s, density, viscosity)
		even := Best(base, speeds, "advanced")
		s.Foil.Stabilizer.Incidence += even.Raise
		s.Stance.Front -= even.Foil + off
		s.Stance.Back -= even.Foil + off
		s.Board.CG -= even.Foil
		s.Stance.Fixed = fixed
		p := infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12))
		return Advise(p, s, speeds, Options{LawOK: true}), s
	}
	a, s := build(true, 0.25)
	if a.Verdict != CannotBalance || a.Next.Kind != TrackShort || !(a.Next.Move < 0) {
		t.Errorf("%s: %s", a.Verdict, a.Next.Kind)
	}
	if reason(a.Why, RoomNeeded) == nil || reason(a.Why, BestPlace) == nil {
		t.Errorf("no help: %v", a.Why)
	}
	if !(a.FoilMove.Value < s.Board.Track[0]/mm) || a.Options[0].Reachable {
		t.Errorf("move %v, reachable %v", a.FoilMove, a.Options[0].Reachable)
	}
	a, _ = build(false, 0.16)
	if a.Verdict != Change || a.MoveNow != -30 || a.FeetNow != 0 || reason(a.Why, PartOfTheWay) == nil {
		t.Errorf("%s: move %g mm, feet %g mm: %s %v", a.Verdict, a.MoveNow, a.FeetNow, a.Next.Kind, a.Why)
	}
	// Where the track gives less than a step, the feet make up for it.
	_, s = build(false, 0.08)
	s.Board.Track = [2]float64{-0.01, 0.05}
	a = Advise(infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12)), s, speeds, Options{LawOK: true})
	if a.Verdict != Change || a.MoveNow != -10 || !(a.FeetNow > 20) || a.FeetNow > 30 {
		t.Errorf("%s: move %g mm, feet %g mm: %s", a.Verdict, a.MoveNow, a.FeetNow, a.Next.Kind)
	}
}

// A beginner in straps on a board whose mast cannot slide has no step at all:
// that is said, not "not enough evidence"; with a track there is a move.
func TestBeginnerWithoutTrack(t *testing.T) {
	for _, track := range [][2]float64{{0, 0}, {-0.04, 0.05}} {
		a, _, _ := advised(t, 0, func(s *setup.Setup) {
			s.Rider.Level, s.Board.Track = "beginner", track
		}, -0.10)
		none := track[1] == 0
		if none && (a.Verdict != CannotBalance || a.Next.Kind != TrackShort || !(a.Next.Move < -0.03)) {
			t.Errorf("track %v: %s, %+v", track, a.Verdict, a.Next)
		}
		if !none && (a.Verdict != Change || !(a.MoveNow < 0)) {
			t.Errorf("track %v: %s, %g mm", track, a.Verdict, a.MoveNow)
		}
	}
}

// What lies beyond the track is said: that the feet give the rest where they
// are free, that the best cannot be had where they are not, and that a track is
// only assumed where the setup does not say.
func TestBeyondTrackIsSaid(t *testing.T) {
	for _, c := range []struct {
		fixed bool
		off   float64
	}{{false, 0.08}, {true, 0.05}, {true, 0.045}} {
		s := gear()
		base := trim.FromSetup(s, density, viscosity)
		even := Best(base, speeds, "advanced")
		s.Foil.Stabilizer.Incidence += even.Raise
		s.Stance.Front -= even.Foil + c.off
		s.Stance.Back -= even.Foil + c.off
		s.Board.CG -= even.Foil
		s.Stance.Fixed = c.fixed
		p := infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12))
		for _, given := range []bool{true, false} {
			stated := *s
			if !given {
				stated = setup.Setup{Rider: s.Rider, Stance: s.Stance, Board: s.Board, Rig: s.Rig, Foil: s.Foil, Feel: s.Feel}
			}
			a := Advise(p, &stated, speeds, Options{LawOK: true})
			if a.Verdict != Change || !(a.MoveNow < 0) {
				t.Fatalf("%+v: %s, %g mm", c, a.Verdict, a.MoveNow)
			}
			if (reason(a.Why, TrackAssumed) == nil) != given {
				t.Errorf("%+v: track given %v, reasons %v", c, given, a.Why)
			}
			best := a.Options[len(a.Options)-1]
			beyond := best.FoilMove.Value < s.Board.Track[0]/mm-0.5
			if best.FeetToo != (beyond && !c.fixed) || best.Reachable != (!beyond || !c.fixed) {
				t.Errorf("%+v: best %.1f mm, feet too %v, reachable %v", c, best.FoilMove.Value, best.FeetToo, best.Reachable)
			}
			if c.fixed && ((reason(a.Why, BestBeyond) != nil) != beyond || a.FoilMove.Value < s.Board.Track[0]/mm-10) {
				t.Errorf("%+v: best %.1f mm, all the way %.1f mm: %v", c, best.FoilMove.Value, a.FoilMove.Value, a.Why)
			}
			if r := reason(a.Why, FeetRest); !c.fixed && (r == nil || !(r.Feet > 0) || math.Abs(r.Limit-0.04) > 1e-9) {
				t.Errorf("%+v: the feet's part is not said: %v", c, a.Why)
			}
		}
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
		t.Errorf("%s: %s (now %v)", a.Verdict, a.Next.Kind, a.EvennessNow)
	}
}

// Without evidence there is no advice to shim, and what to find out is named
// in a sentence; without a logger it says what one would add.
func TestNotEnoughEvidence(t *testing.T) {
	s := gear()
	a := Advise(infer(t, outingOf(s)), s, speeds, Options{})
	if a.Verdict != NotEnough || a.Cards != 0 || len(a.WorthKnowing) < 3 {
		t.Errorf("%s: %s, %d observations", a.Verdict, a.Next.Kind, len(a.WorthKnowing))
	}
	if a.Next.Kind != SayNotes || len(a.Next.Speeds) != 3 {
		t.Errorf("next step %v", a.Next)
	}
	if r := reason(a.Why, NoLogger); r == nil || !(r.Doubt > 0 && r.Then < r.Doubt) {
		t.Errorf("it does not say what a logger would add: %v", r)
	}
	// Notes first where there is none, then what else leaves the trim alone, then
	// trials; the best buy first within each.
	last, kind := 0.0, -1
	for _, o := range a.WorthKnowing {
		k := 1
		switch {
		case o.Kind == NoteFeel:
			k = 0
		case o.ChangesTrim:
			k = 2
		}
		if k < kind {
			t.Errorf("%s comes too late", o.Kind)
		}
		if k > kind {
			last, kind = 0, k
		}
		if float64(o.ShimSD) < last || !(o.ShimSD < o.ShimSDNow) {
			t.Errorf("%s: %.2f° of %.2f° after %.2f°", o.Kind, o.ShimSD, o.ShimSDNow, last)
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
	if a.Verdict != NotEnough || a.Next.Kind != CheckConflict || a.Next.Conflict.Kind != trim.SlopeKind {
		t.Errorf("%s: %s", a.Verdict, a.Next.Kind)
	}
}

func TestOtherRider(t *testing.T) {
	// Half as heavy again as the rider for whom it is balanced: the wing walks
	// forward under the feet. Where they press is another matter: the couple of
	// camber and stabilizer is divided by more weight.
	s := gear()
	s.Rider.Mass = 68
	base := trim.FromSetup(s, density, viscosity)
	w := Uniform(6.8, 8.4)
	o := *s
	o.Rider.Mass, o.Rider.Name = 102, "Bo"
	r := ForRider(infer(t, told(s, base, 0.05, 7, 8)), s, &o, w, Options{LawOK: true})
	t.Logf("pitch %v°, walk %v mm, pressure %v mm", r.PitchChange, r.WingWalk, r.PressureMove)
	if !(r.PitchChange.Low > 0.5 && r.PitchChange.High < 3) {
		t.Errorf("pitch change %v°, want about one degree up", r.PitchChange)
	}
	if !(r.WingWalk.Low > 5 && r.WingWalk.High < 45) {
		t.Errorf("wing walk %v mm, want one to four centimetres forward", r.WingWalk)
	}
	if !(r.PressureMove.Known() && r.PressureMove.Value < r.WingWalk.Value && r.PressureTop.Value < r.PressureMove.Value) {
		t.Errorf("the feet press %v mm from where they did, at the top %v", r.PressureMove, r.PressureTop)
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
	if n := reason(tall.Notes, StanceByHeight); n == nil || math.Abs(n.Width-0.566) > 0.001 {
		t.Errorf("notes %v", tall.Notes)
	}
}

func TestSensitivity(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	p := infer(t, told(s, base, 0.05, 6, 8, 10, 12))
	before, after := Sensitivity(p, speeds, "advanced")
	if len(before) != len(p.Unknowns) || len(after) != len(before) {
		t.Fatalf("%d effects of %d unknowns", len(before), len(p.Unknowns))
	}
	for k := range before {
		if math.Abs(after[k]) > math.Abs(before[k])*1.3+0.02 {
			t.Errorf("%s: %+.3f before, %+.3f after", p.Unknowns[k].Name, before[k], after[k])
		}
	}
	// One degree of incidence is one degree of shim, by the prior's 0.4°.
	if math.Abs(before[0]+0.4) > 0.02 {
		t.Errorf("stabilizer incidence moves the shim %.3f° per σ, want -0.4°", before[0])
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
	effort := func(rate float64) []pitchlaw.Effort {
		return []pitchlaw.Effort{{Speed: 8, PitchRate: interval.Normal(rate, 0.002)}, {Speed: 10, PitchRate: interval.Normal(rate*1.2, 0.002)}}
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
	r := Judge(before, after, infer(t, oa, ob), speeds)
	if r.Verdict != AsPredicted || r.ChanceBetter < 0.9 {
		t.Errorf("%s (%v), chance %.2f", r.Verdict, r.Says, r.ChanceBetter)
	}
	if len(r.Changed) != 1 || r.Changed[0].Key != "foil.stabilizer.shim_mm" || r.Changed[0].To != trim.Card {
		t.Errorf("changed %v", r.Changed)
	}
	have := map[Kind]bool{}
	for _, row := range r.Rows {
		have[row.Kind] = true
		t.Logf("%-45s %v → %v %s: %s", row.Kind, row.Predicted, row.Observed, row.Unit, row.Outcome)
	}
	for _, want := range []Kind{ZeroPitch, LawSlope, ShareAfter, ShareChange, Effort, MeanSpeed, BestSpeed} {
		if !have[want] {
			t.Errorf("no row %q", want)
		}
	}

	// The shim turned the other way: on the wrong side of a bottom mount, say.
	after, oa = side(s2, truth.Raise(-turn), 0.06)
	r = Judge(before, after, infer(t, oa, ob), speeds)
	if r.Verdict != NotAsPredicted {
		t.Errorf("a shim the wrong way round: %s (%v)", r.Verdict, r.Says)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}

	// No notes after, no level: it cannot tell.
	s3 := gear()
	s3.Foil.Stabilizer.Shim = trim.Card
	dumb := Side{Setup: s3, Posterior: infer(t, outingOf(s3)), Zero: interval.Unknown(), Slope: interval.Unknown(), MeanSpeed: interval.Unknown(), TopSpeed: interval.Unknown()}
	r = Judge(before, dumb, infer(t, outingOf(s3), ob), speeds)
	if r.Verdict != CannotTell || reason(r.Says, NoNotesAfter) == nil {
		t.Errorf("%s (%v)", r.Verdict, r.Says)
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
		p, err := trim.Infer(outingOf(s), nil, 40)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, w := range []SpeedWeights{{}, Uniform(0, 0), Uniform(8, 8), Uniform(2, 30), {Speed: []float64{math.NaN(), 7}, Weight: []float64{1, math.Inf(1)}}} {
			a := Advise(p, s, w, Options{})
			if a.Next.Kind == "" || a.Verdict == "" {
				t.Errorf("%s: %q %q %v", name, a.Verdict, a.Next.Kind, a.Why)
			}
			if _, err := json.Marshal(a); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if _, err := json.Marshal(ForRider(p, s, s, w, Options{})); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			Sensitivity(p, w, "")
		}
	}
}

// A stabilizer so far off that four cards do not mend it: it says how far.
func TestMoreThanFourCards(t *testing.T) {
	s := gear()
	s.Foil.Stabilizer.ShimSpan = 0.3
	s.Foil.Stabilizer.Incidence += Best(trim.FromSetup(s, density, viscosity), speeds, "advanced").Raise - 2.7*deg
	a := Advise(infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12)), s, speeds, Options{LawOK: true})
	if a.Verdict != CannotBalance || a.Next.Kind != ShimsShort || math.Abs(a.Next.Limit/deg-0.5806) > 0.001 || reason(a.Why, TurnNeeded) == nil {
		t.Errorf("%s: %s %v", a.Verdict, a.Next.Kind, a.Why)
	}
}

// Notes that contradict each other stop the advice, in words that say so.
func TestContradictionStopsAdvice(t *testing.T) {
	s := gear()
	s.Feel = []setup.Feel{{Speed: 9, Share: 0.75, SD: 0.10, Said: "strong front"}, {Speed: 9.2, Share: 0.25, SD: 0.10, Said: "strong back"}}
	a := Advise(infer(t, outingOf(s)), s, speeds, Options{})
	if a.Verdict != NotEnough || a.Next.Kind != CheckConflict || a.Next.Conflict.Kind != trim.NotePairKind || reason(a.Why, InConflict) == nil {
		t.Errorf("%s: %s %v", a.Verdict, a.Next.Kind, a.Why)
	}
}

// Where the track ends short of the best place, the steps aim at the best that
// it reaches, and the reasons say what lies beyond.
func TestTrackEndsShort(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	even := Best(base, speeds, "advanced")
	s.Foil.Stabilizer.Incidence += even.Raise
	// The best place is 60 mm forward of where the mast stands, and the track ends there.
	s.Stance.Front -= even.Foil - 0.06
	s.Stance.Back -= even.Foil - 0.06
	s.Board.CG -= even.Foil - 0.06
	s.Board.Track = [2]float64{-0.05, 0}
	p := infer(t, told(s, trim.FromSetup(s, density, viscosity), 0.04, 6, 8, 10, 12))
	a := Advise(p, s, speeds, Options{LawOK: true})
	if a.StabilizerChange.High > 0 || a.FoilMove.Value != 0 {
		t.Fatalf("the best pair is %v° and %v mm within the track, want the leading edge down and no move", a.StabilizerChange, a.FoilMove)
	}
	// Back-heavy and no room forward: more downforce behind is what helps.
	if a.Options[1].Cards != -1 || a.Verdict == Change && (reason(a.Why, BestBeyond) == nil || reason(a.Why, BestBeyond).Move < 0) {
		t.Errorf("options of %g cards, reasons %v", a.Options[1].Cards, a.Why)
	}
}

// At speeds where no foil of this size was ever ridden the model's load is
// absurd: then it is the speeds or the setup that need a look.
func TestAbsurdLoad(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	a := Advise(infer(t, told(s, base.Raise(-3*deg), 0.05, 7, 9)), s, Uniform(22, 31), Options{LawOK: true})
	if a.Verdict != NotEnough || a.Cards != 0 || a.Next.Kind != CheckLoad || !s.Given(a.Next.Key) {
		t.Errorf("%s: %s, key %q", a.Verdict, a.Next.Kind, a.Next.Key)
	}
	s.Odd = []string{"stance.front_cm", "stance.back_cm"}
	if a := Advise(infer(t, told(s, base.Raise(-3*deg), 0.05, 7, 9)), s, Uniform(22, 31), Options{LawOK: true}); a.Next.Key != "stance.front_cm, stance.back_cm" {
		t.Errorf("what is odd by itself is not named first: %q", a.Next.Key)
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

// Without any note of feel the model, with what it does not know of foil and
// rider, must be as sure as always, and the step says that nothing checks it. A
// stated incidence that is 3° wrong gives a load that nobody could have ridden
// with: no card the wrong way, and the key that is wrong among those named.
func TestNoNotes(t *testing.T) {
	seen := map[Kind]int{}
	for _, wrong := range []float64{-5, -1.2, 0, 1.2, 3} {
		for _, law := range []bool{false, true} {
			s := gear()
			base := trim.FromSetup(s, density, viscosity)
			even := Best(base, speeds, "advanced")
			s.Foil.Stabilizer.Incidence += even.Raise + wrong*deg
			o := told(s, trim.FromSetup(s, density, viscosity).Raise(-wrong*deg), 0.05)
			o.Ev.HasLaw = law
			a := Advise(infer(t, o), s, speeds, Options{LawOK: law})
			seen[a.Next.Kind]++
			switch {
			case a.Next.Kind == CheckLoad && !strings.HasPrefix(a.Next.Key, "foil."):
				t.Errorf("wrong by %+.0f°: the key is %q", wrong, a.Next.Key)
			case a.Next.Kind != CheckLoad && math.Abs(wrong) >= 3:
				t.Errorf("wrong by %+.0f°: %s", wrong, a.Next.Kind)
			case a.Verdict == Change && (a.ChanceBetter < Surely || reason(a.Why, Unchecked) == nil):
				t.Errorf("wrong by %+.0f°: chance %.2f: %v", wrong, a.ChanceBetter, a.Why)
			}
		}
	}
	t.Log(seen)
	if seen[TakeStep] == 0 || seen[CheckLoad] == 0 {
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
	a, _, _ := advised(t, 0.2, nil)
	if a.Verdict != Keep || a.Cards != 0 || a.MoveNow != 0 || a.EvennessAfter != a.EvennessNow {
		t.Errorf("off even by %v: %s, %s", a.EvennessNow, a.Verdict, a.Next.Kind)
	}
}

// What a rider's level wants left: on one foil and the same evidence, the less
// able the rider the more speed gradient the best trim leaves, and it is not
// below what is wanted.
func TestLevelLeavesGradient(t *testing.T) {
	s := gear()
	base := trim.FromSetup(s, density, viscosity)
	last := math.Inf(-1)
	for _, level := range []string{"advanced", "intermediate", "beginner"} {
		o := objective{speeds.clean(), GradientWanted(level)}
		f := o.fly(base)
		g := f.gradient(o.best([]*flight{f}, trim.Change{}, anywhere))
		if g < last-1e-9 || g < o.wanted-0.35 {
			t.Errorf("%s: %.2f points per knot are left, want about %.1f or more, and more than %.2f", level, g, o.wanted, last)
		}
		last = g
	}
}

// A card that turns far is halved where half of it is better.
func TestHalfACard(t *testing.T) {
	a, _, _ := advised(t, 0.7, func(s *setup.Setup) { s.Foil.Stabilizer.ShimSpan = 0.025 })
	// One card over 25 mm turns 1.741° (atan(0.76/25), by hand).
	if got := float64(a.Options[1].StabilizerDeg); math.Abs(got-1.741) > 0.001 {
		t.Errorf("a card turns %.3f°, want 1.741°", got)
	}
	if a.Cards != 0.5 || math.Abs(float64(a.Shim)-0.38) > 1e-9 {
		t.Errorf("%s: %g cards, %.2f mm for 0.7°", a.Verdict, a.Cards, a.Shim)
	}
}

// Twelve setups whose answer's direction is known by hand: a stabilizer that
// presses too hard loads the front foot at speed and wants its leading edge up,
// one that presses too little the reverse; feet too far forward want the foil
// forward. On top of the fuselage a card in front raises the leading edge,
// below it one behind does; a card that is fitted and one too many comes out
// from where it lies.
func TestKnownDirections(t *testing.T) {
	for name, c := range map[string]struct {
		mount   string
		fitted  float64 // cards
		wants   float64 // degrees up
		place   string
		takeOut bool
		feet    float64 // m, forward of where they balance
	}{
		"top, up":                   {"top", 0, 1.4, "leading edge", false, 0},
		"top, down":                 {"top", 0, -1.4, "trailing edge", false, 0},
		"bottom, up":                {"bottom", 0, 1.4, "trailing edge", false, 0},
		"bottom, down":              {"bottom", 0, -1.4, "leading edge", false, 0},
		"top, one in, up":           {"top", 1, 1.4, "leading edge", false, 0},
		"top, one too many":         {"top", 1, -1.4, "leading edge", true, 0},
		"bottom, one too many":      {"bottom", 1, -1.4, "trailing edge", true, 0},
		"top, one the wrong way":    {"top", -1, 1.4, "trailing edge", true, 0},
		"bottom, one the wrong way": {"bottom", -1, 1.4, "leading edge", true, 0},
		"feet forward":              {"top", 0, 0, "", false, 0.03},
		"feet back":                 {"top", 0, 0, "", false, -0.03},
		"bottom, feet back":         {"bottom", 0, 0, "", false, -0.03},
	} {
		a, _, _ := advised(t, c.wants, func(s *setup.Setup) {
			s.Foil.Stabilizer.Mount, s.Foil.Stabilizer.Shim = c.mount, c.fitted*trim.Card
			s.Board.Track = [2]float64{-0.08, 0.08}
		}, c.feet)
		if a.Verdict != Change || a.Cards*c.wants < 0 || float64(a.MoveNow)*c.feet < 0 || (a.Cards != 0) != (c.wants != 0) || (a.MoveNow != 0) != (c.feet != 0) {
			t.Errorf("%s: %s, %g cards, move %g mm", name, a.Verdict, a.Cards, a.MoveNow)
			continue
		}
		if c.wants != 0 && (*a.ShimPlace != c.place || a.TakeOut != c.takeOut) {
			t.Errorf("%s: at the %s, take out %v", name, *a.ShimPlace, a.TakeOut)
		}
	}
}
