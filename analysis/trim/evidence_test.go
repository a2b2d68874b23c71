package trim

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/setup"
)

// TestLawEvidence: slope and zero of a law weigh together as their joint normal
// says, with the doubt of the level in the zero: Σ r² = dᵀ (C + level²)⁻¹ d.
func TestLawEvidence(t *testing.T) {
	truth := FromSetup(gear(), 1025.5, 1.1e-6)
	zero, k := NewFoil(truth).Law(6, 10)
	o := outingOf(gear())
	o.Ev.HasLaw, o.Ev.LevelZero, o.Ev.LawSpeeds = true, true, [2]float64{6, 10}
	o.Ev.Slope, o.Ev.Zero = 1.04*k, zero+0.4*deg
	o.Ev.Cov = [2][2]float64{{3e-5, -0.9e-4 * k}, {-0.9e-4 * k, 0.0009 * k * k}}
	for _, level := range []float64{0, 0.8 * deg} {
		o.Ev.LevelSD = level
		p := newProblem([]Outing{o})
		r := p.residuals(make([]float64, len(p.params)))
		if len(r) != 2 {
			t.Fatalf("%d residuals", len(r))
		}
		if level == 0 {
			level = 0.3 * deg
		}
		var chol mat.Cholesky
		c := o.Ev.Cov
		if !chol.Factorize(mat.NewSymDense(2, []float64{c[0][0] + level*level, c[0][1], c[1][0], c[1][1]})) {
			t.Fatal("the covariance is none")
		}
		d := stat.Mahalanobis(mat.NewVecDense(2, []float64{o.Ev.Zero - zero, o.Ev.Slope - k}), mat.NewVecDense(2, nil), &chol)
		near(t, "χ²", r[0]*r[0]+r[1]*r[1], d*d, 1e-9)
	}
}

// TestLoadEvidence: a note is of what the rider says, a null of what the rider
// feels, a measured share of the true one; each after its change of the trim,
// and only what the rider told is in doubt of its speed.
func TestLoadEvidence(t *testing.T) {
	o := outingOf(gear())
	o.In.RiderZero, o.In.RiderScale = 0.08, 0.5
	f := NewFoil(o.In)
	change := Change{Raise: 0.4 * deg, Foil: -0.02}
	point := f.Point(9, Gravity)
	plain, changed := point.With(Change{}).FrontShare, point.With(change).FrontShare
	o.Ev.Feel = []setup.Feel{{Speed: 9, Share: 0.5 + 1.5*(plain+0.08-0.5) - 0.03, SD: 0.06}}
	o.Ev.Loads = []Load{
		{Kind: NullKind, Speed: 9, Change: change, Value: 0.5, SD: 0.04},
		{Kind: MeasuredKind, Speed: 9, Value: changed - 0.02, Change: change, SD: 0.01},
	}
	residuals := func() []float64 {
		p := newProblem([]Outing{o})
		return p.residuals(make([]float64, len(p.params)))
	}
	r := residuals()
	near(t, "note", r[0], 0.03/0.06, 1e-9)
	near(t, "null", r[1], (changed+0.08-0.5)/0.04, 1e-9)
	near(t, "measured", r[2], 0.02/0.01, 1e-9)
	o.Ev.NoteSpeedSD = 0.7
	slope := f.Gradient(9)
	d := residuals()
	near(t, "note, speed in doubt", d[0], 0.03/math.Hypot(0.06, 1.5*slope*0.7), 1e-4)
	near(t, "measured, speed in doubt", d[2], r[2], 0)
	near(t, "null, a note's speed in doubt", d[1], r[1], 0)
	o.Ev.Loads[0].SpeedSD = 0.7
	d = residuals()
	if !(math.Abs(d[1]) < math.Abs(r[1])) {
		t.Errorf("null %.3f, its speed in doubt %.3f", r[1], d[1])
	}
	// What is no evidence does not count.
	o.Ev.Loads = []Load{{Kind: NullKind, Speed: 0.5, Value: 0.5, SD: 0.04}, {Kind: MeasuredKind, Speed: 9, Value: 0.5}}
	if got := residuals(); len(got) != 1 {
		t.Errorf("%d pieces of evidence, want the note alone", len(got))
	}
}

// TestModelErrors: every error of the model acts the way its sign says.
func TestModelErrors(t *testing.T) {
	in := FromSetup(gear(), 1025.5, 1.1e-6)
	in.FuselageFlex = 0
	s := NewFoil(in).At(9, Gravity)
	with := func(spoil func(*Inputs)) State {
		c := in
		spoil(&c)
		return NewFoil(c).At(9, Gravity)
	}
	near(t, "drag", with(func(in *Inputs) { in.DragFactor = 0.2 }).Drag/s.Drag, 1.2, 1e-9)
	near(t, "lift area", with(func(in *Inputs) { in.LiftSlopeFactor = 0.1; in.DownwashFactor = 1/1.1 - 1 }).LiftArea/s.LiftArea, 1.1, 1e-9)
	q := 0.5 * in.Density * 81
	near(t, "couple, N m", with(func(in *Inputs) { in.ExtraCm = 0.01 }).NetMoment-s.NetMoment, 0.01*q*in.WingArea*in.WingArea/in.WingSpan, 1e-6)
	near(t, "thrust line, N m", with(func(in *Inputs) { in.ThrustArm = 0.05 }).NetMoment-s.NetMoment, 0.05*s.Drag, 1e-6)
	if d := with(func(in *Inputs) { in.DownwashFactor = 0.15 }); !(d.StabLift < s.StabLift) {
		t.Errorf("more downwash: the stabilizer lifts %.2f N, %.2f N before", d.StabLift, s.StabLift)
	}
}

// TestSwapped: notes with front and back mixed up are found by the marks of an
// even load, honest ones are not, and alone no notes are.
func TestSwapped(t *testing.T) {
	o := outingOf(gear())
	truth := o.In
	truth.StabIncidence -= 0.8 * deg
	f := NewFoil(truth)
	for _, v := range []float64{6, 8, 10, 11} {
		o.Ev.Feel = append(o.Ev.Feel, setup.Feel{Speed: v, Share: f.At(v, Gravity).FrontShare, SD: 0.05})
	}
	for _, v := range []float64{6.5, 8.5, 10.5} { // the foil stands where it feels even
		p := f.Point(v, Gravity)
		share := func(dx float64) float64 { return p.With(Change{Foil: dx}).FrontShare }
		dx := (0.5 - share(0)) / (share(0.01) - share(0)) * 0.01
		o.Ev.Loads = append(o.Ev.Loads, Load{Kind: NullKind, Value: 0.5, Speed: v, Change: Change{Foil: dx}, SD: 0.015})
	}
	found := func(o Outing) bool {
		return slices.ContainsFunc(mustInfer(t, o).Conflicts, func(c Conflict) bool { return c.Kind == SwapKind })
	}
	if found(o) {
		t.Error("honest notes are called swapped")
	}
	mirrored := o
	mirrored.Ev.Feel = slices.Clone(o.Ev.Feel)
	for i := range mirrored.Ev.Feel {
		mirrored.Ev.Feel[i].Share = 1 - mirrored.Ev.Feel[i].Share
	}
	if !found(mirrored) {
		t.Error("swapped notes are not found")
	}
	mirrored.Ev.Loads = nil
	if found(mirrored) {
		t.Error("swapped notes are found without other evidence")
	}
}
