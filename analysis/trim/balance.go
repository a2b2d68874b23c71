package trim

import (
	"math"

	"evenfoot/analysis/water"
)

// Foil is what follows from Inputs alone, at no particular speed.
type Foil struct {
	In            Inputs
	WingSlope     float64 // a_w, per rad
	StabSlope     float64 // a_s, per rad
	Downwash      float64 // ε', dε/dα_w
	LiftArea      float64 // A, m² per rad
	ZeroLift      float64 // α0 of the wing section, rad
	StabSetting   float64 // δ, the stabilizer's angle at α_w = 0, rad
	NeutralPointX float64 // x_np, m from the mast's centreline

	wing, stab surface
	mast       surface
	cm         float64 // section moment coefficient about the quarter chord
	lift       Linear  // L/q, m², in α_w and δ
	moment     Linear  // M/q about the mast's centreline, m³, in α_w and δ
}

// A surface is one part that water flows past.
type surface struct {
	area, chord, aspect, thickness float64 // m², m, -, t/c
}

func newSurface(area, span, thickness float64) surface {
	return surface{area, area / span, span * span / area, thickness}
}

// NewFoil derives the foil's constants (trim model §2).
func NewFoil(in Inputs) Foil {
	f := Foil{
		In:   in,
		wing: newSurface(in.WingArea, in.WingSpan, in.WingThickness),
		stab: newSurface(in.StabArea, in.StabSpan, in.StabThickness),
		mast: surface{in.MastChord * in.Depth, in.MastChord, 0, in.MastThickness / in.MastChord},
		cm:   CamberMoment(in.CamberPercent) + in.ExtraCm,
	}
	f.WingSlope = in.slope(f.wing)
	f.StabSlope = in.slope(f.stab)
	f.Downwash = (1 + in.DownwashFactor) * DownwashGradient(f.WingSlope, f.wing.aspect)
	f.ZeroLift = CamberZeroLift(in.CamberPercent)
	f.StabSetting = in.StabIncidence - in.StabZeroLift + f.ZeroLift
	f.lift = wingLift(in.WingArea, f.WingSlope).Plus(stabLift(in.StabArea, f.StabSlope, f.Downwash))
	f.LiftArea = f.lift.Alpha
	volume := TailVolume(in.StabArm, in.StabArea, f.wing.chord, in.WingArea)
	aboutWing := Linear{Const: f.cm}.Plus(TailMoment(volume, f.StabSlope, f.Downwash)).Times(in.WingArea * f.wing.chord)
	f.moment = MomentAbout(f.lift, aboutWing, -in.WingX)
	f.NeutralPointX = AerodynamicCentre(f.lift, f.moment)
	return f
}

// slope is a surface's lift slope under the free surface, per rad.
func (in Inputs) slope(s surface) float64 {
	return (1 + in.LiftSlopeFactor) * LiftSlope(s.aspect) * SurfaceFactor(in.Depth/s.chord)
}

// wingLift is S_w a_w α_w, m².
func wingLift(area, slope float64) Linear { return Linear{Alpha: area * slope} }

// stabLift is S_s a_s α_s with α_s = α_w (1 - ε') + δ, m².
func stabLift(area, slope, downwash float64) Linear {
	return Linear{Alpha: area * slope * (1 - downwash), Tail: area * slope}
}

// At is the balance at a speed through the water, m/s, and a deck-normal
// specific force, m/s² (9.80665 in level flight): trim model §2–3.
func (f Foil) At(speed, normal float64) State {
	in := f.In
	q := water.DynamicPressure(in.Density, speed)
	rig := in.rigLift()
	alpha := f.lift.SolveAlpha(((in.RiderMass+in.BoardMass)*normal-rig)/q, f.StabSetting)
	s := State{
		AlphaWing:     alpha,
		Pitch:         alpha + f.ZeroLift - in.WingIncidence,
		LiftArea:      f.LiftArea,
		NeutralPointX: f.NeutralPointX,
		WingLift:      q * wingLift(in.WingArea, f.WingSlope).At(alpha, f.StabSetting),
		StabLift:      q * stabLift(in.StabArea, f.StabSlope, f.Downwash).At(alpha, f.StabSetting),
	}
	d := f.drag(q, speed, s)
	s.Drag = d.wing + d.stab + d.mast
	f.press(&s, d, q, in.RiderMass*normal-rig, in.BoardMass*normal)
	return s
}

// rigLift is R_z = λ m_r g, N.
func (in Inputs) rigLift() float64 { return in.RigLiftFraction * in.RiderMass * Gravity }

// ZeroPitch is the pitch at zero lift, rad: θ0 of the pitch law (trim model §1).
func (f Foil) ZeroPitch() float64 {
	return f.lift.SolveAlpha(0, f.StabSetting) + f.ZeroLift - f.In.WingIncidence
}

// PitchSlope is the pitch law's slope per kilogram of rider and board,
// rad per (m²/kg), in flight near 1 g:
//
//	K (m_r + m_b) = (m_r + m_b - λ m_r) / A
func (f Foil) PitchSlope() float64 {
	in := f.In
	return (in.RiderMass + in.BoardMass - in.RigLiftFraction*in.RiderMass) / f.LiftArea
}

// SlowestFlight is the lowest speed, m/s, at which the wing could carry its
// load in level flight if it reached the highest lift coefficient that wings
// of this kind do:
//
//	√(2 L / (ρ S_w C_Lmax)),  C_Lmax = 1.5
//
// (NACA four-digit sections at these Reynolds numbers reach 1.2 to 1.5, Abbott
// & von Doenhoff, from memory; so below this no such foil flies).
func (f Foil) SlowestFlight() float64 {
	in := f.In
	lift := (in.RiderMass+in.BoardMass)*Gravity - in.rigLift()
	return math.Sqrt(2 * lift / (in.Density * in.WingArea * highestLift))
}

const highestLift = 1.5

type drags struct{ wing, stab, mast float64 }

// drag is friction, form, induced and spray drag in N (trim model §2).
func (f Foil) drag(q, speed float64, s State) drags {
	in := f.In
	k := 1 + in.DragFactor
	profile := func(p surface) float64 {
		return q * p.area * profileDrag(water.Reynolds(speed, p.chord, in.Viscosity), p.thickness, in.LaminarFraction)
	}
	induced := func(p surface, lift float64) float64 {
		return q * p.area * inducedDrag(lift/(q*p.area), p.aspect, in.Oswald)
	}
	return drags{
		wing: k * (profile(f.wing) + induced(f.wing, s.WingLift)),
		stab: k * (profile(f.stab) + induced(f.stab, s.StabLift)),
		mast: k * (profile(f.mast) + sprayDrag(q, in.MastThickness)),
	}
}

// profileDrag is C_D0 = 2 F C_f, on plan area.
func profileDrag(re, thicknessRatio, laminar float64) float64 {
	return 2 * water.FormFactor(thicknessRatio) * water.PlateFriction(re, laminar)
}

// inducedDrag is C_L²/(π AR e).
func inducedDrag(cl, ar, oswald float64) float64 { return cl * cl / (math.Pi * ar * oswald) }

// sprayDrag of a surface-piercing strut of thickness t: 0.24 q t², N (Hoerner).
func sprayDrag(q, thickness float64) float64 { return 0.24 * q * thickness * thickness }

// press fills in where the feet must press (trim model §3). n is the load on
// the feet and boardLoad that of board and foil, N, normal to the deck.
func (f Foil) press(s *State, d drags, q, n, boardLoad float64) {
	in := f.In
	sin, cos := math.Sincos(s.Pitch)
	hull := f.foilMoment(s, d, sin, cos) + f.sectionMoment(q) -
		boardMoment(in.BoardCG, boardLoad, cos) + in.ThrustArm*s.Drag
	along := n*cos + s.Drag*sin
	s.FootPressureX = (hull + deckMoment(n, s.Drag, in.DeckHeight, sin, cos)) / along
	s.FrontShare = (s.FootPressureX - in.BackFoot) / (in.FrontFoot - in.BackFoot)
	s.NetMoment = (s.FootPressureX - (in.FrontFoot+in.BackFoot)/2) * along
	s.Stiffness = f.stiffness(q, s.FootPressureX, s.WingLift+s.StabLift)
}

// place is where a point x along the fuselage sits in level axes, m: nose-up
// pitch carries it forward by H sin θ.
func (in Inputs) place(x, sin, cos float64) (X, Z float64) {
	return x*cos + in.Mast*sin, x*sin - in.Mast*cos
}

// foilMoment is the moment of lift and drag about the mast's top, N·m:
//
//	X_w L_w + X_s L_s + Z_w D_w + Z_s D_s + Z_m D_m,  Z_m = -(H - d/2)
func (f Foil) foilMoment(s *State, d drags, sin, cos float64) float64 {
	xw, zw := f.In.place(f.In.WingX, sin, cos)
	xs, zs := f.In.place(f.In.WingX-f.In.StabArm, sin, cos)
	zm := -(f.In.Mast - f.In.Depth/2)
	return xw*s.WingLift + xs*s.StabLift + zw*d.wing + zs*d.stab + zm*d.mast
}

// sectionMoment is the wing section's own couple q S_w c_w c_m, N·m.
func (f Foil) sectionMoment(q float64) float64 { return q * f.wing.area * f.wing.chord * f.cm }

// boardMoment is x_b cos θ · m_b f_z, N·m.
func boardMoment(cg, load, cos float64) float64 { return cg * cos * load }

// deckMoment is N h sin θ - D h cos θ, N·m: load and thrust reach the board at
// deck height h.
func deckMoment(n, drag, h, sin, cos float64) float64 { return n*h*sin - drag*h*cos }

// stiffness is the pitch stiffness under the feet, N·m/rad:
//
//	k = q A (x_f - x_np) - L H
func (f Foil) stiffness(q, footX, lift float64) float64 {
	return -q*MomentAbout(f.lift, f.moment, footX).Alpha - lift*f.In.Mast
}
