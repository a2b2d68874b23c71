package trim

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenfoot/analysis/setup"
)

// TestTransfer: a draw that is off by known errors keeps them under any other
// setup, so it is there what the other setup off by the same errors is.
func TestTransfer(t *testing.T) {
	from := FromSetup(gear(), 1025.5, 1.1e-6)
	for name, change := range map[string]func(s *setup.Setup){
		"nothing":          func(*setup.Setup) {},
		"rider":            func(s *setup.Setup) { s.Rider.Mass = 66 },
		"board":            func(s *setup.Setup) { s.Board.Mass, s.Board.CG, s.Board.DeckHeight = 8, 0.05, 0.06 },
		"stance":           func(s *setup.Setup) { s.Stance.Front, s.Stance.Back = 0.40, -0.10 },
		"rig":              func(s *setup.Setup) { s.Rig.LiftFraction = 0.25 },
		"sail":             func(s *setup.Setup) { s.Rig = setup.Rig{Kind: "sail", MastFoot: 1.1} },
		"mast":             func(s *setup.Setup) { s.Foil.Mast, s.Foil.Depth = 0.72, 0.3 },
		"wing's position":  func(s *setup.Setup) { s.Foil.Wing.Ahead = 0.14 },
		"wing's incidence": func(s *setup.Setup) { s.Foil.Wing.Incidence = 2 * deg },
		"arm":              func(s *setup.Setup) { s.Foil.Stabilizer.BehindWing = 0.62 },
		"stabilizer":       func(s *setup.Setup) { s.Foil.Stabilizer.Incidence = -0.5 * deg },
		"shim":             func(s *setup.Setup) { s.Foil.Stabilizer.Shim, s.Foil.Stabilizer.ShimSpan = Card, 0.03 },
	} {
		other := gear()
		change(other)
		to := FromSetup(other, 1000, 1.3e-6)
		off := func(in Inputs) Inputs {
			in.RiderMass += 1
			in.BoardCG += 0.03
			in.FrontFoot -= 0.01
			in.BackFoot += 0.012
			in.RigLiftFraction += 0.02
			in.WingX += 0.015
			in.WingIncidence -= 0.3 * deg
			in.StabArm -= 0.01
			in.StabIncidence += 0.4 * deg
			in.CamberPercent -= 0.5
			in.LiftSlopeFactor, in.DownwashFactor, in.DragFactor = 0.05, -0.1, 0.2
			in.ExtraCm, in.ThrustArm = 0.004, -0.03
			return in
		}
		got, want := NewFoil(Transfer(off(from), from, to)), NewFoil(off(to))
		for _, v := range []float64{6, 11} {
			a, b := got.At(v, Gravity), want.At(v, Gravity)
			if math.Abs(a.FrontShare-b.FrontShare) > 1e-9 || math.Abs(a.Pitch-b.Pitch) > 1e-12 || math.Abs(a.Drag/b.Drag-1) > 1e-9 {
				t.Errorf("%s, %g m/s: share %.6f, pitch %.6f, drag %.3f; want %.6f, %.6f, %.3f", name, v, a.FrontShare, a.Pitch, a.Drag, b.FrontShare, b.Pitch, b.Drag)
			}
		}
	}
}

// TestPriors: 1σ of every unknown, for values that somebody gave and for
// defaults.
func TestPriors(t *testing.T) {
	sds := func(s *setup.Setup) map[string]float64 {
		m := map[string]float64{}
		for _, u := range mustInfer(t, outingOf(s)).Unknowns {
			m[u.Name] = u.PriorSD
		}
		return m
	}
	s := gear()
	s.SetGiven("foil.wing.ahead_cm", "foil.stabilizer.zero_lift_deg", "foil.fuselage.flex_deg_per_100n")
	s.Foil.Stabilizer.Shim = Card
	bare := *gear()
	bare = setup.Setup{Rider: bare.Rider, Stance: bare.Stance, Board: bare.Board, Rig: bare.Rig, Foil: bare.Foil}
	given, defaults := sds(s), sds(&bare)
	for name, want := range map[string][2]float64{ // given, default
		"stabilizer incidence":              {0.4 * deg, 1.0 * deg},
		"wing camber":                       {1, 1.2},
		"stabilizer zero-lift angle":        {0.7 * deg, 0.8 * deg},
		"wing section moment beyond camber": {0.01, 0.01},
		"thrust line":                       {0.05, 0.05},
		"downwash":                          {0.15, 0.15},
		"lift area":                         {0.08, 0.08},
		"drag":                              {0.20, 0.20},
		"stabilizer area":                   {0.05 * 0.022, 0.05 * 0.022},
		"stabilizer arm":                    {15 * mm, 15 * mm},
		"wing position":                     {15 * mm, 30 * mm},
		"wing incidence":                    {0.7 * deg, 1.0 * deg},
		"fuselage flex":                     {0.5e-5, 2e-5},
		"board balance point":               {80 * mm, 100 * mm},
		"front foot":                        {15 * mm, 15 * mm},
		"back foot":                         {15 * mm, 15 * mm},
	} {
		near(t, name+", given", given[name], want[0], 1e-12)
		near(t, name+", default", defaults[name], want[1], 1e-12)
	}
	// 90 % of cards within ± 0.08 mm of 0.76 mm.
	near(t, "thickness of the fitted shim", given["thickness of the fitted shim"], 0.08/1.645/0.76, 1e-12)
	if _, fitted := defaults["thickness of the fitted shim"]; fitted {
		t.Error("a shim's thickness is in doubt where none is fitted")
	}
	for kind, want := range map[string]float64{"wing": 0.05, "kite": 0.12, "sail": 0.03, "tow": 0.02, "none": 0.01} {
		c := gear()
		c.Rig.Kind = kind
		got := sds(c)
		near(t, kind+"'s lift", got["rig's lift"], want, 1e-12)
		load := 0.0
		if kind == "sail" {
			load = 50
		}
		near(t, kind+"'s mast foot", got["load on the mast foot"], load, 1e-12)
	}
}

// TestShimThickness: what is unsure about a fitted shim is how far it turns.
func TestShimThickness(t *testing.T) {
	s := gear()
	s.Foil.Stabilizer.Shim, s.Foil.Stabilizer.ShimSpan = 2*Card, 25*mm
	p := mustInfer(t, outingOf(s))
	for k, u := range p.Unknowns {
		if u.Name != "thickness of the fitted shim" {
			continue
		}
		x := make([]float64, len(p.Mean))
		x[k] = 1.645
		if u.Prior.Value != 0 || u.Default {
			t.Errorf("the fitted shim: %+v", u)
		}
		near(t, "turn of two thick cards, deg", (p.At(x).StabIncidence-p.Base.StabIncidence)/deg,
			(math.Atan(1.68/25)-math.Atan(1.52/25))/deg, 1e-9)
		return
	}
	t.Error("the shim's thickness is not among the unknowns")
}

// What cannot be negative never is, has no edge at its mean, and is the
// setup's value there.
func TestNeverBelowZero(t *testing.T) {
	const mean, h = 60, 1e-6
	near(t, "at the mean", neverBelowZero(mean, 0), mean, 0)
	near(t, "slope above", (neverBelowZero(mean, h)-mean)/h, 1, 1e-6)
	near(t, "slope below", (mean-neverBelowZero(mean, -h))/h, 1, 1e-6)
	for v := -1000.0; v < 200; v += 10 {
		if got := neverBelowZero(mean, v); got < 0 || got > neverBelowZero(mean, v+1) {
			t.Errorf("off by %g it is %g", v, got)
		}
	}
	near(t, "of nothing", neverBelowZero(0, -1), 0, 0)
	near(t, "above nothing", neverBelowZero(0, 1e-5), 1e-5, 0)
}

// However far a draw goes, somebody stands on the board and the stabilizer is there.
func TestBounds(t *testing.T) {
	s := gear()
	s.Rig = setup.Rig{Kind: "kite", LiftFraction: 0.25}
	p := mustInfer(t, outingOf(s))
	far := func(name string, sigmas float64) Inputs {
		x := make([]float64, len(p.Mean))
		for k, u := range p.Unknowns {
			if u.Name == name {
				x[k] = sigmas
			}
		}
		return p.At(x)
	}
	near(t, "rig's lift at 3σ", far("rig's lift", 3).RigLiftFraction, 0.25+3*0.12, 1e-12)
	near(t, "rig's lift at 8σ", far("rig's lift", 8).RigLiftFraction, 0.85, 1e-12)
	near(t, "stabilizer at -40σ", far("stabilizer area", -40).StabArea, 0.2*0.022, 1e-12)
	near(t, "flex at -5σ", far("fuselage flex", -5).FuselageFlex, 2e-5*math.Exp(-5), 1e-12)
	near(t, "scale at -9σ", 1+far(riderScale, -9).RiderScale, math.Exp(-9*0.25), 1e-12)
}

// What a setup leaves open: half the mast is in the water, and a sail presses
// on its mast foot.
func TestFromSetup(t *testing.T) {
	s := gear()
	s.Foil.Depth = 0
	wing := FromSetup(s, 1025.5, 1.1e-6)
	near(t, "depth", wing.Depth, 0.425, 1e-12)
	near(t, "a wing's mast foot", wing.MastFoot, 0, 0)
	s.Rig = setup.Rig{Kind: "sail", MastFoot: 1.1}
	sail := FromSetup(s, 1025.5, 1.1e-6)
	near(t, "a sail's mast foot, N", sail.MastFoot, 60, 1e-12)
	near(t, "where it stands", sail.MastFootX, 1.1, 1e-12)
	near(t, "moved with the board", sail.MoveFoil(0.02).MastFootX, 1.08, 1e-12)
}

// TestComplete: a size that one outing's setup gives counts for those that leave it
// out, of the same foil; what is not the foil's for the same rider and rig alone.
// what is of mast or fuselage for no other one. What was given stays, and what is of one outing is never taken.
func TestComplete(t *testing.T) {
	t.Parallel()
	parse := func(name string, mast float64, more string) *setup.Setup {
		s, _, err := setup.Parse("setup.toml", fmt.Appendf(nil, `rider.name = %q
rider.mass_kg = 80
stance.front_cm = 33
stance.back_cm = -20
foil.mast_cm = %g
foil.wing.area_cm2 = 1150
foil.wing.span_cm = 92
foil.stabilizer.area_cm2 = 205
foil.stabilizer.span_cm = 38.5
foil.stabilizer.behind_wing_cm = 68
%s`, name, mast, more))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	const sizes = `foil.stabilizer.incidence_deg = -2.4
foil.stabilizer.mount = "bottom"
foil.depth_cm = 30
board.cg_cm = 15
rider.height_cm = 190
foil.wing.ahead_cm = 14
foil.fuselage.flex_deg_per_100n = 0.2
rig.lift_fraction = 0.12
`
	const ofOne = `foil.stabilizer.shim_mm = 0.76
stance.fixed = true
board.track_cm = [-2, 3]
water.temperature_c = 20
sensor.pitch_zero_deg = 1
foil.finish.grit = 600
rider.level = "advanced"
`
	all := []string{"rider.height_cm", "board.cg_cm", "rig.lift_fraction", "foil.depth_cm", "foil.wing.ahead_cm",
		"foil.stabilizer.incidence_deg", "foil.stabilizer.mount", "foil.fuselage.flex_deg_per_100n"}
	arm := func(s *setup.Setup, more float64) *setup.Setup { s.Foil.Stabilizer.BehindWing += more; return s }
	for name, c := range map[string]struct {
		s      *setup.Setup
		others []*setup.Setup
		want   []string
	}{
		"left out":       {parse("Ines", 85, ""), []*setup.Setup{nil, parse("Ines", 85, sizes)}, all},
		"given already":  {parse("Ines", 85, sizes), []*setup.Setup{parse("Ines", 85, "foil.stabilizer.incidence_deg = -1")}, nil},
		"of one outing":  {parse("Ines", 85, ""), []*setup.Setup{parse("Ines", 85, ofOne)}, nil},
		"left out twice": {parse("Ines", 85, ""), []*setup.Setup{parse("Ines", 85, sizes), parse("Ines", 85, "foil.stabilizer.incidence_deg = -1")}, all},
		"another rider":  {parse("Ines", 85, ""), []*setup.Setup{parse("Bo", 85, sizes)}, all[3:]},
		"another mast":   {parse("Ines", 95, ""), []*setup.Setup{parse("Ines", 85, sizes)}, append(slices.Clone(all[:3]), all[4:]...)},
		"another fuselage": {parse("Ines", 85, ""), []*setup.Setup{arm(parse("Ines", 85, sizes), 0.06), arm(parse("Ines", 85, sizes), -0.0006)},
			append(slices.Clone(all[:4]), all[5:7]...)},
		"measured anew": {parse("Ines", 85, ""), []*setup.Setup{arm(parse("Ines", 85, sizes), 0.0004)}, all},
		"another rig":   {parse("Ines", 85, `rig.kind = "kite"`), []*setup.Setup{parse("Ines", 85, sizes)}, append(slices.Clone(all[:2]), all[3:]...)},
		"another foil":  {parse("Ines", 85, ""), []*setup.Setup{func() *setup.Setup { o := parse("Ines", 85, sizes); o.Foil.Wing.Area *= 1.2; return o }()}, nil},
	} {
		got := Complete(c.s, c.others)
		if !slices.Equal(got.Taken, c.want) {
			t.Errorf("%s: taken are %q, want %q", name, got.Taken, c.want)
		}
		if slices.Contains(c.want, "foil.stabilizer.incidence_deg") {
			near(t, name, got.Foil.Stabilizer.Incidence, -2.4*deg, 1e-12)
			if got.Foil.Stabilizer.Mount != "bottom" || !got.Given("foil.stabilizer.incidence_deg") || c.s.Given("foil.stabilizer.incidence_deg") {
				t.Errorf("%s: %+v", name, got.Foil.Stabilizer)
			}
		}
	}
}
