package trim

import (
	"math"

	"evenfoot/analysis/water"
)

// Foil is what follows from Inputs alone, at no particular speed.
type Foil struct {
	In          Inputs
	WingSlope   float64 // a_w, per rad
	StabSlope   float64 // a_s, per rad, before the fuselage bends
	Downwash    float64 // ε', dε/dα_w
	ZeroLift    float64 // α0 of the wing section, rad
	StabSetting float64 // δ, the unloaded stabilizer's angle at α_w = 0, rad

	wing, stab, mast surface
	cm               float64 // section moment coefficient about the quarter chord
}

// A surface is one part that water flows past.
type surface struct {
	area, chord, aspect float64 // m², m, -
	form                float64 // friction drag over a plate's
	plate               water.Plate
}

// surface is a part of the foil in its water; thickness is t/c.
func (in *Inputs) surface(area, chord, thickness float64) surface {
	return surface{area, chord, area / (chord * chord), water.FormFactor(thickness), water.NewPlate(chord, in.Viscosity, in.LaminarFraction)}
}

// NewFoil derives the foil's constants.
func NewFoil(in Inputs) Foil {
	f := Foil{
		In:   in,
		wing: in.surface(in.WingArea, in.WingArea/in.WingSpan, in.WingThickness),
		stab: in.surface(in.StabArea, in.StabArea/in.StabSpan, in.StabThickness),
		mast: in.surface(in.MastChord*in.Depth, in.MastChord, in.MastThickness/in.MastChord),
		cm:   CamberMoment(in.CamberPercent) + in.ExtraCm,
	}
	f.WingSlope = in.slope(&f.wing)
	f.StabSlope = in.slope(&f.stab)
	f.Downwash = (1 + in.DownwashFactor) * DownwashGradient(f.WingSlope, f.wing.aspect)
	f.ZeroLift = CamberZeroLift(in.CamberPercent)
	f.StabSetting = in.StabIncidence - in.StabZeroLift + f.ZeroLift
	return f
}

// slope is a surface's lift slope under the free surface, per rad.
func (in *Inputs) slope(s *surface) float64 {
	return (1 + in.LiftSlopeFactor) * LiftSlope(s.aspect) * SurfaceFactor(in.Depth/s.chord)
}

// wingLift is S_w a_w α_w, m².
func wingLift(area, slope float64) Linear { return Linear{Alpha: area * slope} }

// stabLift is S_s a_s α_s with α_s = α_w (1 - ε') + δ, m².
func stabLift(area, slope, downwash float64) Linear {
	return Linear{Alpha: area * slope * (1 - downwash), Tail: area * slope}
}

// softened is the stabilizer's lift slope on a fuselage that bends under its
// lift: at dynamic pressure q, S_s a_s (α_s - κ L_s) = L_s/q gives
//
//	a_s / (1 + q S_s a_s κ)
func softened(slope, q, area, flex float64) float64 { return slope / (1 + q*area*slope*flex) }

// A Point is a foil at one speed and load: all that a change of the trim
// leaves as it is, friction among it, so that many trims of it cost little.
type Point struct {
	foil        *Foil
	q           float64 // Pa
	load        float64 // L, N, what the foil carries
	feet, board float64 // N, normal to the deck: on the feet, and of board and foil
	wing, stab  Linear  // their lift, N
	liftArea    float64 // of both, m²
	tilt        float64 // rad, pitch less the wing's angle of attack
	section     float64 // N·m, the wing section's own couple q S_w c_w c_m
	profile     drags   // N, what does not change with lift
	induced     drags   // 1/N, what grows with the square of the surface's own lift
}

type drags struct{ wing, stab, mast float64 }

// Point is the foil at a speed through the water, m/s, and a deck-normal
// specific force, m/s² (9.80665 in level flight).
func (f *Foil) Point(speed, normal float64) Point {
	in := &f.In
	p := f.lifting(speed, normal)
	p.feet, p.board = in.RiderMass*normal-in.rigLift()-in.MastFoot, in.BoardMass*normal
	p.tilt, p.section = f.ZeroLift-in.WingIncidence, p.q*f.wing.area*f.wing.chord*f.cm
	p.profile = f.profileDrags(p.q, speed)
	p.induced.wing, p.induced.stab = f.inducedDrag(&f.wing, p.q), f.inducedDrag(&f.stab, p.q)
	return p
}

// lifting is a Point with the lift alone.
func (f *Foil) lifting(speed, normal float64) Point {
	p := Point{foil: f, q: water.DynamicPressure(f.In.Density, speed), load: f.In.Carried(normal)}
	wing, stab := f.liftLines(p.q)
	p.wing, p.stab, p.liftArea = wing.Times(p.q), stab.Times(p.q), wing.Alpha+stab.Alpha
	return p
}

// liftLines are wing's and stabilizer's L/q, m², at dynamic pressure q.
func (f *Foil) liftLines(q float64) (wing, stab Linear) {
	in := &f.In
	slope := softened(f.StabSlope, q, in.StabArea, in.FuselageFlex)
	return wingLift(in.WingArea, f.WingSlope), stabLift(in.StabArea, slope, f.Downwash)
}

// Carried is L, N: what the foil carries at a deck-normal specific force, m/s².
func (in *Inputs) Carried(normal float64) float64 {
	return (in.RiderMass+in.BoardMass)*normal - in.rigLift()
}

// At is the balance at a speed through the water, m/s, and a deck-normal
// specific force, m/s².
func (f Foil) At(speed, normal float64) State {
	p := f.Point(speed, normal)
	return p.With(Change{})
}

// With is the balance after a change of the trim. The shares of the feet are
// exactly linear in the moves of foil and feet.
func (p *Point) With(c Change) State {
	f := p.foil
	in := &f.In
	alpha, wing, stab := p.lifts(c.Raise)
	s := State{AlphaWing: alpha, Pitch: alpha + p.tilt, LiftArea: p.liftArea, WingLift: wing, StabLift: stab}
	var along float64
	s.Drag, s.MastMoment, s.FootPressureX, along, _ = p.press(alpha, wing, stab, c.Foil)
	front, back := in.feet(c)
	s.FrontShare = (s.FootPressureX - back) / (front - back)
	s.FeltShare = s.FrontShare + in.RiderZero
	s.NetMoment = (s.FootPressureX - (front+back)/2) * along
	return s
}

// Share is the front foot's share after a change of the trim and what a metre
// more of the foil's move adds to it: [Point.With] without the rest.
func (p *Point) Share(c Change) (share, perMetre float64) {
	alpha, wing, stab := p.lifts(c.Raise)
	_, _, x, _, lean := p.press(alpha, wing, stab, c.Foil)
	front, back := p.foil.In.feet(c)
	return (x - back) / (front - back), (1 + lean) / (front - back)
}

// Felt is the same of the share as this rider feels it.
func (p *Point) Felt(c Change) (share, perMetre float64) {
	share, perMetre = p.Share(c)
	return share + p.foil.In.RiderZero, perMetre
}

// feet are where they stand along the deck, m: it and they move against the
// mast by minus the foil's move.
func (in *Inputs) feet(c Change) (front, back float64) {
	return in.FrontFoot - c.Foil + c.Front, in.BackFoot - c.Foil + c.Back
}

// lifts are the wing's angle of attack that carries the load with the
// stabilizer raised, and the lifts of wing and stabilizer, N.
func (p *Point) lifts(raise float64) (alpha, wing, stab float64) {
	setting := p.foil.StabSetting + raise
	alpha = (p.load - p.stab.Tail*setting) / (p.wing.Alpha + p.stab.Alpha)
	return alpha, p.wing.Alpha * alpha, p.stab.Alpha*alpha + p.stab.Tail*setting
}

// press is where the feet must press, x, with the foil moved: drag and the feet's
// load along their own axis, N, the foil's moment about the mast's head, N·m,
//
//	X_w L_w + X_s L_s + Z_w D_w + Z_s D_s + Z_m D_m + q S_w c_w c_m + drag · its arm,  Z_m = -(H - d/2)
//
// and how far the load on the deck leads x per metre of the foil's move. Load and
// thrust reach the board at deck height h, with a moment of N h sin θ - D h cos θ.
func (p *Point) press(alpha, wing, stab, move float64) (drag, mast, x, along, lean float64) {
	f := p.foil
	in := &f.In
	wingDrag, stabDrag, drag := p.drags(wing, stab)
	sin, cos := sincos(alpha + p.tilt)
	xw, zw := in.place(in.WingX, sin, cos)
	xs, zs := in.place(in.WingX-in.StabArm, sin, cos)
	mast = xw*wing + xs*stab + zw*wingDrag + zs*stabDrag - (in.Mast-in.Depth/2)*p.profile.mast + p.section + in.ThrustArm*drag
	deck := (in.BoardCG-move)*p.board + (in.MastFootX-move)*in.MastFoot
	along = p.feet*cos + drag*sin
	x = (mast - cos*deck + in.DeckHeight*(p.feet*sin-drag*cos)) / along
	return drag, mast, x, along, (p.board + in.MastFoot) * cos / along
}

// drags are wing's, stabilizer's and the whole drag under these lifts, N.
func (p *Point) drags(wing, stab float64) (ofWing, ofStab, all float64) {
	ofWing, ofStab = p.profile.wing+p.induced.wing*wing*wing, p.profile.stab+p.induced.stab*stab*stab
	return ofWing, ofStab, ofWing + ofStab + p.profile.mast
}

// sincos is math.Sincos, by its series (error below 1e-15) where a board flies.
func sincos(x float64) (sin, cos float64) {
	if !(math.Abs(x) < 0.25) {
		return math.Sincos(x)
	}
	x2 := x * x
	sin = x * (1 - x2*(1.0/6-x2*(1.0/120-x2*(1.0/5040-x2*(1.0/362880-x2*(1.0/39916800))))))
	cos = 1 - x2*(1.0/2-x2*(1.0/24-x2*(1.0/720-x2*(1.0/40320-x2*(1.0/3628800-x2*(1.0/479001600))))))
	return sin, cos
}

// Drags are the parts of a drag, N: of each surface with what its lift costs,
// of the mast's spray, and Lift, what the lift of wing and stabilizer costs of that.
type Drags struct{ Wing, Stab, Mast, Spray, Lift float64 }

// Drags are the parts of s.Drag, s of [Point.With].
func (p *Point) Drags(s State) Drags {
	f := p.foil
	wing, stab := p.induced.wing*s.WingLift*s.WingLift, p.induced.stab*s.StabLift*s.StabLift
	spray := (1 + f.In.DragFactor) * sprayDrag(p.q, f.In.MastThickness)
	return Drags{p.profile.wing + wing, p.profile.stab + stab, p.profile.mast - spray, spray, wing + stab}
}

// rigLift is R_z = λ m_r g, N.
func (in *Inputs) rigLift() float64 { return in.RigLiftFraction * in.RiderMass * Gravity }

// A Trend is a foil just below and just above a speed, for the speed gradient
// of many trims.
type Trend struct{ below, above Point }

// trendStep is half the distance, m/s, of the central difference in speed: the
// share is so smooth in speed that the error is below 1e-4 of the gradient.
const trendStep = 0.05

// Trend is the foil around a speed, m/s, in level flight. Where the share rises with
// speed the board lifts its nose as it runs faster and steadies its own speed, where
// it falls it drops it.
func (f *Foil) Trend(speed float64) Trend {
	return Trend{f.Point(speed-trendStep, Gravity), f.Point(speed+trendStep, Gravity)}
}

// Gradient is the speed gradient after a change of the trim, share per m/s.
func (t *Trend) Gradient(c Change) float64 {
	g, _ := t.With(c)
	return g
}

// With also tells what a metre more of the foil's move adds to it.
func (t *Trend) With(c Change) (gradient, perMetre float64) {
	above, aboveBy := t.above.Share(c)
	below, belowBy := t.below.Share(c)
	return (above - below) / (2 * trendStep), (aboveBy - belowBy) / (2 * trendStep)
}

// Law is the pitch law that a log between two speeds, m/s, shows: pitch (rad)
// against the specific force over the dynamic pressure (m²/kg) in flight near
// 1 g. With a fuselage that does not bend it is one straight line for all
// speeds,
//
//	zero = -S_s a_s δ / A + α0 - i_w      slope = (m_r + m_b - λ m_r) / A
//
// and with one that does, the line through the two speeds. Without speeds they
// are those that such a foil is usually ridden at.
func (f Foil) Law(low, top float64) (zero, slope float64) {
	if !(low > 0 && top > low) {
		low, top = 2*f.SlowestFlight(), 3.5*f.SlowestFlight()
	}
	at := func(speed float64) (x, pitch float64) {
		q := water.DynamicPressure(f.In.Density, speed)
		wing, stab := f.liftLines(q)
		return Gravity / q, wing.Plus(stab).SolveAlpha(f.In.Carried(Gravity)/q, f.StabSetting) + f.ZeroLift - f.In.WingIncidence
	}
	x0, pitch0 := at(low)
	x1, pitch1 := at(top)
	slope = (pitch0 - pitch1) / (x0 - x1)
	return pitch1 - slope*x1, slope
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
	return math.Sqrt(2 * f.In.Carried(Gravity) / (f.In.Density * f.In.WingArea * highestLift))
}

const highestLift = 1.5

// profileDrags is friction, form and spray drag in N.
func (f *Foil) profileDrags(q, speed float64) drags {
	in := &f.In
	k, logSpeed := 1+in.DragFactor, math.Log10(speed)
	profile := func(s *surface) float64 {
		return k * q * s.area * 2 * s.form * s.plate.Friction(speed, logSpeed) // C_D0 = 2 F C_f, on plan area
	}
	return drags{profile(&f.wing), profile(&f.stab), profile(&f.mast) + k*sprayDrag(q, in.MastThickness)}
}

// inducedDrag of a surface is this times the square of its lift, 1/N.
func (f *Foil) inducedDrag(s *surface, q float64) float64 {
	return (1 + f.In.DragFactor) * inducedDrag(1, s.aspect, f.In.Oswald) / (q * s.area)
}

// inducedDrag is C_L²/(π AR e).
func inducedDrag(cl, ar, oswald float64) float64 { return cl * cl / (math.Pi * ar * oswald) }

// sprayDrag of a surface-piercing strut of thickness t: 0.24 q t², N (Hoerner,
// Fluid-Dynamic Drag, 1965).
func sprayDrag(q, thickness float64) float64 { return 0.24 * q * thickness * thickness }

// place is where a point x along the fuselage sits in level axes, m: nose-up
// pitch carries it forward by H sin θ.
func (in *Inputs) place(x, sin, cos float64) (X, Z float64) {
	return x*cos + in.Mast*sin, x*sin - in.Mast*cos
}
