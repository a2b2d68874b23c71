package trim

import (
	"math"
	"testing"
)

// TestSuction: a NACA 0012 without lift has its suction peak at C_p = -0.411, where
// (v/V)² is 1.411 (Abbott & von Doenhoff, Theory of Wing Sections, 1959, appendix
// I, from memory), and lift, camber's own apart, only adds to it.
func TestSuction(t *testing.T) {
	if got := suction(0, 0, 0.12); math.Abs(got-0.411) > 0.002 {
		t.Errorf("a NACA 0012 at no lift has -C_p %.3f, not 0.411", got)
	}
	if a, b := suction(0.2, 0, 0.12), suction(0.5, 0, 0.12); !(a > 0.411 && b > a) {
		t.Errorf("lift does not add suction: %.3f at 0.2, %.3f at 0.5", a, b)
	}
	if off, ideal := suction(0, 3, 0.12), suction(idealLift*3, 3, 0.12); !(off > ideal) {
		t.Errorf("a cambered section off its lift has less suction, %.3f, than at it, %.3f", off, ideal)
	}
}

// TestCavitationSpeed: at that speed the peak's pressure is the vapour's, and a
// thinner wing or a deeper one has it later.
func TestCavitationSpeed(t *testing.T) {
	in := usual()
	v := speedOf(in, 18)
	if v < 12 || v > 25 {
		t.Errorf("a usual wing cavitates at %.1f m/s", v)
	}
	thin, deep := in, in
	thin.WingThickness, deep.Depth = 0.09, in.Depth+0.3
	if a, b := speedOf(thin, 18), speedOf(deep, 18); !(a > v && b >= v) {
		t.Errorf("thinner %.1f m/s, deeper %.1f m/s, and %.1f as it is", a, b, v)
	}
	if warm := speedOf(in, 30); warm > v {
		t.Errorf("warm water cavitates later, at %.1f m/s", warm)
	}
}

// usual is an 80 kg rider on a mid-sized foil.
func usual() Inputs {
	return Inputs{
		RiderMass: 80, BoardMass: 11, BoardCG: 0.1, DeckHeight: 0.1, FrontFoot: 0.33, BackFoot: -0.2,
		Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
		WingArea: 0.13, WingSpan: 0.95, WingX: 0.1, CamberPercent: 3, WingIncidence: 0.0175, WingThickness: 0.12,
		StabArea: 0.022, StabSpan: 0.4, StabArm: 0.7, StabIncidence: -0.026, StabThickness: 0.1,
		Oswald: 0.9, LaminarFraction: 0.1, Density: 1025, Viscosity: 1.1e-6,
	}
}

func speedOf(in Inputs, celsius float64) float64 {
	f := NewFoil(in)
	return f.CavitationSpeed(celsius)
}

// TestDrags: the parts of a drag are all of it, and its least is where a step to
// either side drags more.
func TestDrags(t *testing.T) {
	f := NewFoil(usual())
	for _, v := range []float64{5, 8, 12} {
		p := f.Point(v, Gravity)
		s := p.With(Change{Raise: 0.01})
		d := p.Drags(s)
		if sum := d.Wing + d.Stab + d.Mast + d.Spray; math.Abs(sum/s.Drag-1) > 1e-12 || !(d.Lift > 0 && d.Lift < s.Drag) {
			t.Errorf("at %.0f m/s the parts %+v are %.3f N of %.3f", v, d, sum, s.Drag)
		}
	}
	v := f.LeastDragSpeed()
	least := f.At(v, Gravity).Drag
	if f.At(v+0.3, Gravity).Drag < least || (v > f.SlowestFlight() && f.At(v-0.3, Gravity).Drag < least) {
		t.Errorf("%.1f m/s is not where the drag is least", v)
	}
}

// TestNoSpeed: a limit of the search is not told as the speed of least drag, and
// no speed of cavitation lies beyond its own.
func TestNoSpeed(t *testing.T) {
	in := usual()
	in.WingArea, in.WingSpan = 0.0005, 0.06 // flies beyond both limits
	f := NewFoil(in)
	if v := f.LeastDragSpeed(); !math.IsNaN(v) {
		t.Errorf("the least drag at %.1f m/s, and the foil flies from %.1f on", v, f.SlowestFlight())
	}
	if v := f.CavitationSpeed(15); v != CavitationSearched {
		t.Errorf("cavitates at %.1f m/s", v)
	}
}
