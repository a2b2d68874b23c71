package trim

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

// A parameter is one unknown of the inference: how far it may be off, and how
// that acts on the inputs (see the package's table).
type parameter struct {
	name    string
	unit    string
	show    float64                     // factor from SI to unit
	centre  float64                     // SI, what the setup says
	sd      float64                     // SI, 1σ of the prior
	above0  bool                        // it is never below zero
	given   bool                        // the setup says so; else it is a default
	key     string                      // of the setup, "" when there is none
	on      []int                       // the outings that it acts on; nil for all
	applyTo func(in *Inputs, v float64) // v is the error, SI
}

// maxRigLift bounds the share of the rider's weight that the rig may carry:
// above it nobody stands on the board.
const maxRigLift = 0.85

const (
	deg = math.Pi / 180
	mm  = 1e-3
)

func (q parameter) actsOn(outing int) bool { return q.on == nil || slices.Contains(q.on, outing) }

// rigLiftSD is 1σ of the rig's vertical lift, as a share of the rider's weight.
func rigLiftSD(kind string) float64 {
	switch kind {
	case "kite":
		return 0.12
	case "sail":
		return 0.03
	case "tow":
		return 0.02
	case "none":
		return 0.01
	}
	return 0.05
}

// foilParameters are the unknowns that all outings on the foil share. A
// default is a guess about an average foil, so its prior is wider than that
// of a value which somebody read or measured.
func foilParameters(s *setup.Setup, in Inputs) []parameter {
	or := func(key string, given, otherwise float64) (float64, bool, string) {
		if s.Given(key) {
			return given, true, key
		}
		return otherwise, false, key
	}
	var ps []parameter
	add := func(name, unit string, show, centre float64, sd float64, given bool, key string, f func(*Inputs, float64)) {
		ps = append(ps, parameter{name: name, unit: unit, show: show, centre: centre, sd: sd, given: given, key: key, applyTo: f})
	}
	sd, given, key := or("foil.stabilizer.incidence_deg", 0.4*deg, 1.0*deg)
	add("stabilizer incidence", "deg", 1/deg, in.StabIncidence, sd, given, key, func(in *Inputs, v float64) { in.StabIncidence += v })
	sd, given, key = or("foil.wing.camber_percent", 1, 1.2)
	add("wing camber", "%", 1, in.CamberPercent, sd, given, key, func(in *Inputs, v float64) { in.CamberPercent += v })
	sd, given, key = or("foil.stabilizer.zero_lift_deg", 0.7*deg, 0.8*deg)
	add("stabilizer zero-lift angle", "deg", 1/deg, in.StabZeroLift, sd, given, key, func(in *Inputs, v float64) { in.StabZeroLift += v })
	add("wing section moment beyond camber", "c_m", 1, 0, 0.01, true, "", func(in *Inputs, v float64) { in.ExtraCm += v })
	add("thrust line", "mm", 1/mm, 0, 0.05, true, "", func(in *Inputs, v float64) { in.ThrustArm += v })
	add("downwash", "%", 100, 0, 0.15, true, "", func(in *Inputs, v float64) { in.DownwashFactor += v })
	add("lift area", "%", 100, 0, 0.08, true, "", func(in *Inputs, v float64) { in.LiftSlopeFactor += v })
	add("drag", "%", 100, 0, 0.20, true, "", func(in *Inputs, v float64) { in.DragFactor += v })
	add("stabilizer area", "cm²", 1e4, in.StabArea, 0.05*in.StabArea, true, "foil.stabilizer.area_cm2",
		func(in *Inputs, v float64) { in.StabArea = math.Max(0.2*in.StabArea, in.StabArea+v) })
	add("stabilizer arm", "mm", 1/mm, in.StabArm, 15*mm, true, "foil.stabilizer.behind_wing_cm", func(in *Inputs, v float64) { in.StabArm += v })
	sd, given, key = or("foil.wing.ahead_cm", 15*mm, 30*mm)
	add("wing position", "mm", 1/mm, in.WingX, sd, given, key, func(in *Inputs, v float64) { in.WingX += v })
	sd, given, key = or("foil.wing.incidence_deg", 0.7*deg, 1.0*deg)
	add("wing incidence", "deg", 1/deg, in.WingIncidence, sd, given, key, func(in *Inputs, v float64) { in.WingIncidence += v })
	sd, given, key = or("foil.fuselage.flex_deg_per_100n", 0.5e-5, 2e-5)
	add("fuselage flex", "°/100 N", 100/deg, in.FuselageFlex, sd, given, key, func(in *Inputs, v float64) { in.FuselageFlex = neverBelowZero(in.FuselageFlex, v) })
	ps[len(ps)-1].above0 = true
	sd, given, key = or("board.cg_cm", 80*mm, 100*mm)
	add("board balance point", "mm", 1/mm, in.BoardCG, sd, given, key, func(in *Inputs, v float64) { in.BoardCG += v })
	return ps
}

// footParameters are the errors of where the feet press.
func footParameters(in Inputs) []parameter {
	const sd = 15 * mm
	return []parameter{
		{name: frontFoot, unit: "mm", show: 1 / mm, centre: in.FrontFoot, sd: sd, given: true, key: "stance.front_cm",
			applyTo: func(in *Inputs, v float64) { in.FrontFoot += v }},
		{name: backFoot, unit: "mm", show: 1 / mm, centre: in.BackFoot, sd: sd, given: true, key: "stance.back_cm",
			applyTo: func(in *Inputs, v float64) { in.BackFoot += v }},
	}
}

// rigParameters are the rig's vertical lift on one outing and what a sail's
// mast foot carries.
func rigParameters(s *setup.Setup, in Inputs) []parameter {
	ps := []parameter{{name: "rig's lift", unit: "%", show: 100, centre: in.RigLiftFraction, sd: rigLiftSD(s.Rig.Kind),
		given: s.Given("rig.lift_fraction"), key: "rig.lift_fraction",
		applyTo: func(in *Inputs, v float64) {
			in.RigLiftFraction = math.Min(in.RigLiftFraction+v, math.Max(maxRigLift, in.RigLiftFraction))
		}}}
	if in.MastFoot > 0 {
		ps = append(ps, parameter{name: "load on the mast foot", unit: "N", show: 1, centre: in.MastFoot, sd: mastFootSD, above0: true,
			applyTo: func(in *Inputs, v float64) { in.MastFoot = neverBelowZero(in.MastFoot, v) }})
	}
	return ps
}

const (
	zeroSD  = 0.06 // 1σ of a rider's zero b, as a share
	scaleSD = 0.25 // 1σ of a rider's scale s about 1
)

// riderParameters are the rider as an instrument, one for all that a rider
// ever said.
func riderParameters() []parameter {
	return []parameter{
		{name: riderZero, unit: "%", show: 100, sd: zeroSD, given: true, applyTo: func(in *Inputs, v float64) { in.RiderZero += v }},
		{name: riderScale, unit: "", show: 1, centre: 1, sd: scaleSD, above0: true, given: true,
			applyTo: func(in *Inputs, v float64) { in.RiderScale = neverBelowZero(1+in.RiderScale, v) - 1 }},
	}
}

// The unknowns that belong to a rider.
const (
	frontFoot  = "front foot"
	backFoot   = "back foot"
	riderZero  = "rider's zero"
	riderScale = "rider's scale"
)

// mastFootSD is 1σ of what a sail's mast foot carries, N.
const mastFootSD = 50.0

// value is the unknown when it is off by v, SI.
func (q parameter) value(v float64) float64 {
	if q.above0 {
		return neverBelowZero(q.centre, v)
	}
	return q.centre + v
}

// normal is the unknown's 90 % interval when it is off by mean ± sd, SI.
func (q parameter) normal(mean, sd float64) interval.Interval {
	i := interval.Normal(mean, sd)
	return interval.Interval{Value: q.value(i.Value), Low: q.value(i.Low), High: q.value(i.High)}
}

// neverBelowZero is a quantity that cannot be negative, off its mean by v:
//
//	mean + v above the mean        mean exp(v/mean) below it
//
// of one slope at the mean, so that Gauss–Newton meets no edge. With a mean of
// about 1σ it stays within 0.4 σ of the normal law cut off at zero.
func neverBelowZero(mean, v float64) float64 {
	switch {
	case v >= 0:
		return mean + v
	case mean > 0:
		return mean * math.Exp(v/mean)
	}
	return 0
}

// shimParameter is the error of the thickness of the shims that are fitted:
// cards of 0.76 ± 0.08 mm, one error for all outings, each by its own shim.
func shimParameter() parameter {
	return parameter{name: "thickness of the fitted shim", unit: "%", show: 100, sd: CardSD / Card, given: true, key: "foil.stabilizer.shim_mm",
		applyTo: func(in *Inputs, v float64) {
			in.StabIncidence += ShimAngle(in.Shim*(1+v), in.ShimSpan) - ShimAngle(in.Shim, in.ShimSpan)
		}}
}

// Card is the thickness of a payment card, m, within ± CardTolerance; CardSD is
// its 1σ when the tolerance is a 90 % interval (ISO/IEC 7810 ID-1).
const (
	Card          = 0.76e-3
	CardTolerance = 0.08e-3
	CardSD        = CardTolerance / 1.645
)
