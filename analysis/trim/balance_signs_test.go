package trim

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// anyFoil draws a foil, board and rider as different as they come.
func anyFoil(t *rapid.T) Inputs {
	between := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	area := between("area", 0.05, 0.2)
	stab := area * between("stabilizer to wing", 0.1, 0.25)
	mast := between("mast", 0.5, 1.1)
	back := between("back foot", -0.4, 0)
	return Inputs{
		RiderMass: between("rider", 45, 120), BoardMass: between("board", 5, 18), BoardCG: between("cg", -0.2, 0.3),
		DeckHeight: between("deck", 0.03, 0.15), BackFoot: back, FrontFoot: back + between("stance", 0.3, 0.7),
		RigLiftFraction: between("rig", 0, 0.4), Mast: mast, Depth: mast * between("depth", 0.3, 0.7),
		MastChord: 0.13, MastThickness: 0.015, WingArea: area, WingSpan: math.Sqrt(area * between("aspect", 5, 14)),
		WingX: between("wing x", 0, 0.25), CamberPercent: between("camber", 0, 5), WingIncidence: between("incidence", -0.03, 0.05),
		WingThickness: 0.12, StabArea: stab, StabSpan: math.Sqrt(stab * between("stabilizer aspect", 4, 10)),
		StabArm: between("arm", 0.5, 0.9), StabIncidence: between("stabilizer", -0.06, 0.02), StabThickness: 0.1,
		FuselageFlex: between("flex", 0, 5e-5), MastFoot: between("mast foot", 0, 120), MastFootX: 0.95, RiderZero: between("zero", -0.1, 0.1),
		Oswald: 0.9, LaminarFraction: 0.1, Density: 1025, Viscosity: 1.19e-6,
	}
}

// TestSigns: raising the stabilizer's leading edge takes load off the front
// foot, the more the faster; so does moving the foil back; a heavier rider
// pitches up; and vertical forces, moments and shares hang together.
func TestSigns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyFoil(t)
		v := rapid.Float64Range(5, 14).Draw(t, "speed")
		at := func(in Inputs, v float64) State { return NewFoil(in).At(v, Gravity) }
		s := at(in, v)
		if math.Abs(s.Pitch) > 0.25 {
			t.Skip("no board flies there")
		}
		raised, raisedFast := at(in.Raise(0.5*deg), v), at(in.Raise(0.5*deg), 1.3*v)
		if !(raised.FrontShare < s.FrontShare) {
			t.Errorf("raising the leading edge: share %.4f → %.4f", s.FrontShare, raised.FrontShare)
		}
		if fast := at(in, 1.3*v); !(fast.FrontShare-raisedFast.FrontShare > s.FrontShare-raised.FrontShare) {
			t.Errorf("a shim does less at %.1f m/s than at %.1f m/s", 1.3*v, v)
		}
		if back := at(in.MoveFoil(-0.01), v); !(back.FrontShare < s.FrontShare) {
			t.Errorf("moving the foil back: share %.4f → %.4f", s.FrontShare, back.FrontShare)
		}
		// The share is exactly linear in the move.
		a, b := at(in.MoveFoil(0.01), v).FrontShare-s.FrontShare, at(in.MoveFoil(0.03), v).FrontShare-s.FrontShare
		if math.Abs(b-3*a) > 1e-9*math.Abs(b)+1e-12 {
			t.Errorf("three times the move gives %.6g, not %.6g", b, 3*a)
		}
		// Moving the mast forward is moving the wing forward, seen from the
		// feet, but for the small tilt of deck and forces.
		w := in
		w.WingX += 0.01
		if c := at(w, v).FrontShare - s.FrontShare; math.Abs(c/a-1) > 0.1 {
			t.Errorf("the wing forward by 1 cm gives %.5f, the mast %.5f", c, a)
		}
		heavy := in
		heavy.RiderMass += 20
		if h := at(heavy, v); !(h.Pitch > s.Pitch) || !(heavy.WingAheadAt(h.Pitch) > in.WingAheadAt(s.Pitch)) {
			t.Errorf("20 kg more: pitch %.4f → %.4f", s.Pitch, h.Pitch)
		}
		lift := (in.RiderMass+in.BoardMass)*Gravity - in.RigLiftFraction*in.RiderMass*Gravity
		if got := s.WingLift + s.StabLift; math.Abs(got-lift) > 1e-9*lift {
			t.Errorf("lift %.6f N carries %.6f N", got, lift)
		}
		if (s.NetMoment > 0) != (s.FrontShare > 0.5) {
			t.Errorf("net moment %.4g N m with a front share of %.6f", s.NetMoment, s.FrontShare)
		}
	})
}

// The pitch law of a foil that does not bend is one straight line, and of one
// that does the line through the two speeds.
func TestPitchLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyFoil(t)
		in.FuselageFlex = 0
		check := func(f Foil, low, top float64, at ...float64) {
			zero, slope := f.Law(low, top)
			for _, v := range at {
				x := Gravity / (0.5 * in.Density * v * v)
				if got, want := zero+slope*x, f.At(v, Gravity).Pitch; math.Abs(got-want) > 1e-11 {
					t.Errorf("at %g m/s the law of %g to %g m/s gives %.9f, the balance %.9f", v, low, top, got, want)
				}
			}
		}
		check(NewFoil(in), 0, 0, 5, 8, 13)
		check(NewFoil(in), 6, 10, 5, 8, 13)
		stiff, _ := NewFoil(in).Law(6, 10)
		in.FuselageFlex = 4e-5
		check(NewFoil(in), 6, 10, 6, 10)
		if soft, _ := NewFoil(in).Law(6, 10); soft == stiff {
			t.Error("a fuselage that bends has the law of one that does not")
		}
	})
}

// The speed gradient is the slope of the share: held against a stencil of
// fourth order over wider steps, and against what a change of trim must do.
func TestGradient(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyFoil(t)
		f := NewFoil(in)
		v := rapid.Float64Range(6, 14).Draw(t, "speed")
		share := func(d float64) float64 { return f.At(v+d, Gravity).FrontShare }
		const h = 0.2
		want := (8*(share(h)-share(-h)) - (share(2*h) - share(-2*h))) / (12 * h)
		got := f.Gradient(v)
		if math.Abs(got-want) > 1e-3*math.Abs(want)+1e-4 {
			t.Errorf("gradient %.6f, want %.6f per m/s", got, want)
		}
		trend := f.Trend(v)
		if raised := trend.Gradient(Change{Raise: 0.3 * deg}); !(raised < got) {
			t.Errorf("raising the leading edge: gradient %.5f → %.5f", got, raised)
		}
		changed := trend.Gradient(Change{Raise: -0.4 * deg, Foil: 0.02, Front: 0.01})
		moved := in.Raise(-0.4 * deg).MoveFoil(0.02)
		moved.FrontFoot += 0.01
		if want := NewFoil(moved).Gradient(v); math.Abs(changed-want) > 1e-9 {
			t.Errorf("after a change the gradient is %.9f, of the changed foil %.9f", changed, want)
		}
	})
}

// A point after a change of trim is the changed foil.
func TestChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyFoil(t)
		f := NewFoil(in)
		v := rapid.Float64Range(5, 14).Draw(t, "speed")
		c := Change{
			Raise: rapid.Float64Range(-0.03, 0.03).Draw(t, "raise"), Foil: rapid.Float64Range(-0.05, 0.05).Draw(t, "foil"),
			Front: rapid.Float64Range(-0.05, 0.05).Draw(t, "front"), Back: rapid.Float64Range(-0.05, 0.05).Draw(t, "back"),
		}
		moved := in.Raise(c.Raise).MoveFoil(c.Foil)
		moved.FrontFoot += c.Front
		moved.BackFoot += c.Back
		p := f.Point(v, 1.2*Gravity)
		got, want := p.With(c), NewFoil(moved).At(v, 1.2*Gravity)
		for name, x := range map[string][2]float64{
			"share": {got.FrontShare, want.FrontShare}, "x_f": {got.FootPressureX, want.FootPressureX}, "pitch": {got.Pitch, want.Pitch},
			"moment": {got.NetMoment, want.NetMoment}, "drag": {got.Drag, want.Drag}, "felt": {got.FeltShare, want.FeltShare},
		} {
			if math.Abs(x[0]-x[1]) > 1e-10*(1+math.Abs(x[1])) {
				t.Errorf("%s: %.12g after the change, %.12g of the changed foil", name, x[0], x[1])
			}
		}
	})
}
