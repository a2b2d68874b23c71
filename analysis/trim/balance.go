package trim

import (
	"math"

	"evenfoot/analysis/water"
)

// Foil is what follows from Inputs alone, at no particular speed.
type Foil struct {
	In             Inputs
	WingSlope      float64 // a_w, per rad
	StabSlope      float64 // a_s, per rad
	Downwash       float64 // ε', dε/dα_w
	LiftArea       float64 // A, m² per rad
	ZeroLift       float64 // α0 of the wing section, rad
	StabSetting    float64 // δ, the stabilizer's angle at α_w = 0, rad
	NeutralPointX  float64 // x_np, m from the mast's centreline
	wingChord      float64
	wingAR, stabAR float64
}

// NewFoil derives the foil's constants (trim model §2).
func NewFoil(in Inputs) Foil {
	f := Foil{In: in}
	f.wingChord = in.WingArea / in.WingSpan
	stabChord := in.StabArea / in.StabSpan
	f.wingAR = in.WingSpan * in.WingSpan / in.WingArea
	f.stabAR = in.StabSpan * in.StabSpan / in.StabArea
	scale := 1 + in.LiftSlopeFactor
	f.WingSlope = scale * LiftSlope(f.wingAR) * SurfaceFactor(in.Depth/f.wingChord)
	f.StabSlope = scale * LiftSlope(f.stabAR) * SurfaceFactor(in.Depth/stabChord)
	f.Downwash = (1 + in.DownwashFactor) * DownwashGradient(f.WingSlope, f.wingAR)
	f.ZeroLift = CamberZeroLift(in.CamberPercent)
	f.StabSetting = in.StabIncidence - in.StabZeroLift + f.ZeroLift
	f.LiftArea = in.WingArea*f.WingSlope + in.StabArea*f.StabSlope*(1-f.Downwash)
	f.NeutralPointX = in.WingX - in.StabArm*in.StabArea*f.StabSlope*(1-f.Downwash)/f.LiftArea
	return f
}

// At is the balance at a speed through the water, m/s, and a deck-normal
// specific force, m/s² (9.80665 in level flight): trim model §2–3.
func (f Foil) At(speed, normal float64) State {
	in := f.In
	q := 0.5 * in.Density * speed * speed
	rigLift := in.RigLiftFraction * in.RiderMass * Gravity
	lift := (in.RiderMass+in.BoardMass)*normal - rigLift
	alpha := (lift/q - in.StabArea*f.StabSlope*f.StabSetting) / f.LiftArea
	clWing := f.WingSlope * alpha
	clStab := f.StabSlope * (alpha*(1-f.Downwash) + f.StabSetting)
	s := State{
		AlphaWing:     alpha,
		Pitch:         alpha + f.ZeroLift - in.WingIncidence,
		LiftArea:      f.LiftArea,
		NeutralPointX: f.NeutralPointX,
		WingLift:      q * in.WingArea * clWing,
		StabLift:      q * in.StabArea * clStab,
	}
	drag := f.drag(q, speed, clWing, clStab)
	s.Drag = drag.wing + drag.stab + drag.mast
	f.press(&s, drag, q, normal, rigLift)
	return s
}

type drags struct{ wing, stab, mast float64 }

// drag is friction, form, induced and spray drag in N (trim model §2).
func (f Foil) drag(q, speed, clWing, clStab float64) drags {
	in := f.In
	k := 1 + in.DragFactor
	surface := func(area, span, ar, t, cl float64) float64 {
		re := speed * (area / span) / in.Viscosity
		return k * q * area * (profileDrag(re, t, in.LaminarFraction) + inducedDrag(cl, ar, in.Oswald))
	}
	re := speed * in.MastChord / in.Viscosity
	mast := q*in.MastChord*in.Depth*profileDrag(re, in.MastThickness/in.MastChord, in.LaminarFraction) +
		sprayDrag(q, in.MastThickness)
	return drags{
		wing: surface(in.WingArea, in.WingSpan, f.wingAR, in.WingThickness, clWing),
		stab: surface(in.StabArea, in.StabSpan, f.stabAR, in.StabThickness, clStab),
		mast: k * mast,
	}
}

// profileDrag is C_D0 = 2 F C_f, on plan area.
func profileDrag(re, thicknessRatio, laminar float64) float64 {
	return 2 * water.FormFactor(thicknessRatio) * water.PlateFriction(re, laminar)
}

// inducedDrag is C_L²/(π AR e).
func inducedDrag(cl, ar, oswald float64) float64 { return cl * cl / (math.Pi * ar * oswald) }

// sprayDrag of a surface-piercing strut of thickness t: 0.24 q t² (Hoerner).
func sprayDrag(q, thickness float64) float64 { return 0.24 * q * thickness * thickness }

// press fills in where the feet must press (trim model §3).
func (f Foil) press(s *State, d drags, q, normal, rigLift float64) {
	in := f.In
	sin, cos := math.Sincos(s.Pitch)
	at := func(x float64) (float64, float64) {
		return x*cos + in.Mast*sin, x*sin - in.Mast*cos
	}
	xw, zw := at(in.WingX)
	xs, zs := at(in.WingX - in.StabArm)
	zm := -(in.Mast - in.Depth/2)
	cm := CamberMoment(in.CamberPercent) + in.ExtraCm
	hull := xw*s.WingLift + xs*s.StabLift + zw*d.wing + zs*d.stab + zm*d.mast +
		q*in.WingArea*f.wingChord*cm - in.BoardCG*cos*in.BoardMass*normal +
		in.ThrustArm*s.Drag
	n := in.RiderMass*normal - rigLift
	along := n*cos + s.Drag*sin
	s.FootPressureX = (hull + n*in.DeckHeight*sin - s.Drag*in.DeckHeight*cos) / along
	s.FrontShare = (s.FootPressureX - in.BackFoot) / (in.FrontFoot - in.BackFoot)
	s.NetMoment = (s.FootPressureX - (in.FrontFoot+in.BackFoot)/2) * along
	s.Stiffness = q*f.LiftArea*(s.FootPressureX-f.NeutralPointX) - (s.WingLift+s.StabLift)*in.Mast
}
