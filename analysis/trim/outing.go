package trim

import (
	"cmp"
	"math"
	"strings"

	"evenfoot/analysis/setup"
)

// FromSetup is the foil, board, rider and water of a setup, the shim that is
// fitted included:
//
//	i_s + atan(shim / shim span)
//
// density is in kg/m³, viscosity (kinematic) in m²/s. A depth that is not given is
// half the mast.
func FromSetup(s *setup.Setup, density, viscosity float64) Inputs {
	in := Inputs{Oswald: 0.9, LaminarFraction: 0.1, Density: density, Viscosity: viscosity, ShimSpan: s.Foil.Stabilizer.ShimSpan}
	for _, x := range Keyed {
		*x.At(&in) = s.Number(x.Key)
	}
	in.StabIncidence += ShimAngle(in.Shim, in.ShimSpan)
	in.Depth = cmp.Or(in.Depth, in.Mast/2)
	if s.Rig.Kind == "sail" {
		in.MastFoot, in.MastFootX = usualMastFoot, s.Rig.MastFoot
	}
	return in
}

// Keyed are the inputs that stand in a setup, each under its key: StabIncidence there
// without the shim.
var Keyed = []struct {
	Key string
	At  func(in *Inputs) *float64
}{
	{"rider.mass_kg", func(in *Inputs) *float64 { return &in.RiderMass }},
	{"board.mass_kg", func(in *Inputs) *float64 { return &in.BoardMass }},
	{"board.cg_cm", func(in *Inputs) *float64 { return &in.BoardCG }},
	{"board.deck_height_cm", func(in *Inputs) *float64 { return &in.DeckHeight }},
	{"stance.front_cm", func(in *Inputs) *float64 { return &in.FrontFoot }},
	{"stance.back_cm", func(in *Inputs) *float64 { return &in.BackFoot }},
	{"rig.lift_fraction", func(in *Inputs) *float64 { return &in.RigLiftFraction }},
	{"foil.mast_cm", func(in *Inputs) *float64 { return &in.Mast }},
	{"foil.depth_cm", func(in *Inputs) *float64 { return &in.Depth }},
	{"foil.mast_chord_mm", func(in *Inputs) *float64 { return &in.MastChord }},
	{"foil.mast_thickness_mm", func(in *Inputs) *float64 { return &in.MastThickness }},
	{"foil.wing.area_cm2", func(in *Inputs) *float64 { return &in.WingArea }},
	{"foil.wing.span_cm", func(in *Inputs) *float64 { return &in.WingSpan }},
	{"foil.wing.ahead_cm", func(in *Inputs) *float64 { return &in.WingX }},
	{"foil.wing.camber_percent", func(in *Inputs) *float64 { return &in.CamberPercent }},
	{"foil.wing.incidence_deg", func(in *Inputs) *float64 { return &in.WingIncidence }},
	{"foil.wing.thickness_percent", func(in *Inputs) *float64 { return &in.WingThickness }},
	{"foil.stabilizer.area_cm2", func(in *Inputs) *float64 { return &in.StabArea }},
	{"foil.stabilizer.span_cm", func(in *Inputs) *float64 { return &in.StabSpan }},
	{"foil.stabilizer.behind_wing_cm", func(in *Inputs) *float64 { return &in.StabArm }},
	{"foil.stabilizer.incidence_deg", func(in *Inputs) *float64 { return &in.StabIncidence }},
	{"foil.stabilizer.zero_lift_deg", func(in *Inputs) *float64 { return &in.StabZeroLift }},
	{"foil.stabilizer.thickness_percent", func(in *Inputs) *float64 { return &in.StabThickness }},
	{"foil.stabilizer.shim_mm", func(in *Inputs) *float64 { return &in.Shim }},
	{"foil.fuselage.flex_deg_per_100n", func(in *Inputs) *float64 { return &in.FuselageFlex }},
}

// usualMastFoot is what a sail's mast foot carries, N.
const usualMastFoot = 60.0

// ShimAngle is the turn (rad) of a stabilizer that a shim of thickness t
// gives at distance span from the opposite contact: atan(t/s). No span, no turn.
func ShimAngle(t, span float64) float64 {
	if span <= 0 {
		return 0
	}
	return math.Atan(t / span)
}

// Raise is the same foil and rider with the stabilizer's leading edge raised by da rad.
func (in Inputs) Raise(da float64) Inputs {
	in.StabIncidence += da
	return in
}

// Transfer carries what a draw says of the foil's errors over to another
// setup: it is the draw plus the difference between the setups. Water and the
// foil's areas are taken as in the draw's setup.
func Transfer(draw, from, to Inputs) Inputs {
	draw.RiderMass += to.RiderMass - from.RiderMass
	draw.BoardMass += to.BoardMass - from.BoardMass
	draw.BoardCG += to.BoardCG - from.BoardCG
	draw.DeckHeight += to.DeckHeight - from.DeckHeight
	draw.FrontFoot += to.FrontFoot - from.FrontFoot
	draw.BackFoot += to.BackFoot - from.BackFoot
	draw.RigLiftFraction = math.Min(draw.RigLiftFraction+to.RigLiftFraction-from.RigLiftFraction, math.Max(maxRigLift, to.RigLiftFraction))
	if from.MastFoot > 0 && to.MastFoot > 0 {
		draw.MastFoot = math.Max(0, draw.MastFoot+to.MastFoot-from.MastFoot)
	} else {
		draw.MastFoot = to.MastFoot
	}
	draw.MastFootX = to.MastFootX
	draw.Mast, draw.Depth = to.Mast, to.Depth
	draw.WingX += to.WingX - from.WingX
	draw.WingIncidence += to.WingIncidence - from.WingIncidence
	draw.StabArm += to.StabArm - from.StabArm
	draw.StabIncidence += to.StabIncidence - from.StabIncidence
	draw.Shim, draw.ShimSpan = to.Shim, to.ShimSpan
	draw.Density, draw.Viscosity = to.Density, to.Viscosity
	return draw
}

// An Outing is one session on the foil: its own rider, shim and mast position.
type Outing struct {
	Setup *setup.Setup
	In    Inputs
	Ev    Evidence
}

// SameFoil says whether two setups are of one foil, and if not, what differs.
func SameFoil(a, b *setup.Setup) error {
	x, y := a.Foil, b.Foil
	for _, c := range []struct {
		key  string
		a, b float64
	}{
		{"foil.wing.area_cm2", x.Wing.Area, y.Wing.Area}, {"foil.wing.span_cm", x.Wing.Span, y.Wing.Span},
		{"foil.stabilizer.area_cm2", x.Stabilizer.Area, y.Stabilizer.Area}, {"foil.stabilizer.span_cm", x.Stabilizer.Span, y.Stabilizer.Span},
	} {
		if math.Abs(c.a-c.b) > 0.01*math.Max(math.Abs(c.a), math.Abs(c.b)) {
			return &setup.Trouble{Kind: OtherFoil, Text: []string{c.key}, Values: []float64{c.a, c.b}}
		}
	}
	return nil
}

// sameRider says whether what two outings' riders say shares a zero and a scale.
func sameRider(a, b Outing) bool { return a.Setup.Rider.Name == b.Setup.Rider.Name }

// SameRider says whether two setups are of one rider: the same name, and not a
// weight that tells that the name is a family's.
func SameRider(a, b *setup.Setup) bool {
	const grown = 0.1
	return a.Rider.Name == b.Rider.Name && math.Abs(a.Rider.Mass-b.Rider.Mass) <= grown*a.Rider.Mass
}

// sameFeet says whether the errors of the foot positions are shared.
func sameFeet(first, o Outing) bool {
	return SameRider(first.Setup, o.Setup)
}

// Complete is a setup with the sizes that it leaves out and others of the same
// foil give, the first of them that does. What is not the foil's holds for the same
// rider alone, under the same rig, what is of the mast for one as long, and what is
// of the fuselage, where the wing sits on it too, for one with the same arm.
func Complete(s *setup.Setup, others []*setup.Setup) *setup.Setup {
	const sameArm = 0.5e-3 // m: half the last digit of a tape
	for _, o := range others {
		if o == nil || SameFoil(s, o) != nil {
			continue
		}
		own := SameRider(s, o)
		for i := range setup.Keys {
			k := &setup.Keys[i]
			of := func(table string) bool { return strings.HasPrefix(k.Name, table) }
			switch {
			case !k.Lasts, !own && !of("foil."), of("rig.") && s.Rig.Kind != o.Rig.Kind,
				(of("foil.mast") || of("foil.depth")) && s.Foil.Mast != o.Foil.Mast,
				(of("foil.wing.ahead") || of("foil.fuselage.")) && math.Abs(s.Foil.Stabilizer.BehindWing-o.Foil.Stabilizer.BehindWing) > sameArm:
				continue
			}
			s = s.With(k, o)
		}
	}
	return s
}

// WingAheadAt is how far the wing's quarter chord lies ahead of the mast's
// top in level axes, m, at a pitch in rad.
func (in Inputs) WingAheadAt(pitch float64) float64 {
	sin, cos := math.Sincos(pitch)
	x, _ := in.place(in.WingX, sin, cos)
	return x
}
