package trim

import "math"

// Gravity is the standard acceleration g_n, m/s² (ISO 80000-3).
const Gravity = 9.80665

// Inputs are one foil, board, rider and water, in SI units and radians.
// Positions are along the deck from the mast's centreline, + to the nose.
type Inputs struct {
	RiderMass       float64 `json:"rider_mass_kg"`
	BoardMass       float64 `json:"board_mass_kg"`
	BoardCG         float64 `json:"board_cg_m"`
	DeckHeight      float64 `json:"deck_height_m"`
	FrontFoot       float64 `json:"front_foot_m"`
	BackFoot        float64 `json:"back_foot_m"`
	RigLiftFraction float64 `json:"rig_lift_fraction"`
	Mast            float64 `json:"mast_m"`
	Depth           float64 `json:"depth_m"`
	MastChord       float64 `json:"mast_chord_m"`
	MastThickness   float64 `json:"mast_thickness_m"`
	WingArea        float64 `json:"wing_area_m2"`
	WingSpan        float64 `json:"wing_span_m"`
	WingX           float64 `json:"wing_x_m"`
	CamberPercent   float64 `json:"camber_percent"`
	WingIncidence   float64 `json:"wing_incidence_rad"`
	WingThickness   float64 `json:"wing_thickness_ratio"`
	StabArea        float64 `json:"stab_area_m2"`
	StabSpan        float64 `json:"stab_span_m"`
	StabArm         float64 `json:"stab_arm_m"`
	StabIncidence   float64 `json:"stab_incidence_rad"`
	StabZeroLift    float64 `json:"stab_zero_lift_rad"`
	StabThickness   float64 `json:"stab_thickness_ratio"`
	Oswald          float64 `json:"oswald"`
	LaminarFraction float64 `json:"laminar_fraction"`
	FuselageFlex    float64 `json:"fuselage_flex_rad_per_n"` // incidence per newton of the stabilizer's lift
	MastFoot        float64 `json:"mast_foot_n"`             // what a sail's mast foot carries
	MastFootX       float64 `json:"mast_foot_x_m"`
	Density         float64 `json:"density"`
	Viscosity       float64 `json:"viscosity"`

	// The shim that StabIncidence holds already, for the doubt of its thickness.
	Shim     float64 `json:"-"` // m, + raises the leading edge
	ShimSpan float64 `json:"-"` // m, from the shim to the opposite contact

	// The model's own errors, which the inference varies; 0 is none.
	LiftSlopeFactor float64 `json:"-"` // relative error of the lift area
	DownwashFactor  float64 `json:"-"` // relative error of the downwash gradient
	DragFactor      float64 `json:"-"` // relative error of the drag
	ExtraCm         float64 `json:"-"` // section moment beyond camber
	ThrustArm       float64 `json:"-"` // m, moment per newton of drag that the model lacks

	// The rider as an instrument: what feels even is a share of 0.5 - RiderZero,
	// and what the rider says of it is out by the scale.
	RiderZero  float64 `json:"-"` // b
	RiderScale float64 `json:"-"` // s - 1
	// Instruments: [Inputs.Shown] and [Inputs.ShownMoment].
	ShareLean  float64 `json:"-"` // what a share of 0.5 is shown too high by
	MastGain   float64 `json:"-"` // relative error of the mast's moment
	MastOffset float64 `json:"-"` // N·m
}

// A Change is what may be changed of a trim, counted from what is fitted.
type Change struct {
	Raise       float64 // rad, the stabilizer's leading edge, + up
	Foil        float64 // m, the foil along the deck, + to the nose
	Front, Back float64 // m, each foot, + to the nose
}

// Said is what the rider says of a front foot's share: 0.5 + s (share + b - 0.5).
func (in *Inputs) Said(share float64) float64 {
	return 0.5 + (1+in.RiderScale)*(share+in.RiderZero-0.5)
}

// Shown is the front foot's share that foot forces show of a true one: gains
// that differ from side to side by a part ε show share + ε share (1 - share).
func (in *Inputs) Shown(share float64) float64 { return share + in.ShareLean*4*share*(1-share) }

// ShownMoment is what an instrumented mast shows of a true moment, N·m.
func (in *Inputs) ShownMoment(moment float64) float64 {
	return (1+in.MastGain)*moment + in.MastOffset
}

// A State is what the balance asks for at one speed.
type State struct {
	Pitch         float64 `json:"pitch_rad"`
	AlphaWing     float64 `json:"alpha_wing_rad"`
	LiftArea      float64 `json:"lift_area_m2"`
	Drag          float64 `json:"drag_n"`
	WingLift      float64 `json:"wing_lift_n"`
	StabLift      float64 `json:"stab_lift_n"`
	FootPressureX float64 `json:"foot_pressure_x_m"`
	FrontShare    float64 `json:"front_share"`
	FeltShare     float64 `json:"-"` // the front foot's share as this rider feels it, 0.5 = even
	NetMoment     float64 `json:"net_moment_nm"`
	MastMoment    float64 `json:"-"` // N·m, bow-up, of the foil about the mast's head
}

// LiftSlope is Helmbold's lift-curve slope of a straight wing, per radian
//
//	a = 2π AR / (2 + √(AR² + 4))
//
// (H. B. Helmbold, Der unverwundene Ellipsenflügel als tragende Fläche, 1942).
func LiftSlope(aspectRatio float64) float64 {
	return 2 * math.Pi * aspectRatio / (2 + math.Sqrt(aspectRatio*aspectRatio+4))
}

// SurfaceFactor is the loss of lift near a free surface at high Froude number,
// d depth, c chord (Hough & Moran, as Faltinsen gives it, Hydrodynamics of
// High-Speed Marine Vehicles, 2005):
//
//	(1 + 16 (d/c)²) / (2 + 16 (d/c)²)
func SurfaceFactor(depthOverChord float64) float64 {
	k := 16 * depthOverChord * depthOverChord
	return (1 + k) / (2 + k)
}

// CamberZeroLift is the zero-lift angle (rad) of a NACA 4-digit mean line of
// camber percent, maximum at 40 % chord, by thin-aerofoil theory.
func CamberZeroLift(camberPercent float64) float64 {
	return -1.0386 * camberPercent * math.Pi / 180
}

// CamberMoment is the same mean line's moment coefficient about the quarter chord.
func CamberMoment(camberPercent float64) float64 { return -0.02656 * camberPercent }

// DownwashGradient is dε/dα behind an elliptic wing: 2a/(π AR).
func DownwashGradient(liftSlope, aspectRatio float64) float64 {
	return 2 * liftSlope / (math.Pi * aspectRatio)
}
