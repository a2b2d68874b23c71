package trim

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

// A parameter is one unknown of the inference: how far it may be off, and how
// that acts on the inputs. The package's comment has the table.
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

const (
	deg = math.Pi / 180
	mm  = 1e-3
)

func (q parameter) actsOn(outing int) bool { return q.on == nil || slices.Contains(q.on, outing) }

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

// unknown is the parameter before any evidence.
func (q parameter) unknown() Unknown {
	prior := q.normal(0, q.sd).Scale(q.show)
	return Unknown{Name: q.name, Unit: q.unit, Scale: q.show, Key: q.key, Prior: prior, Posterior: prior, PriorSD: q.sd, Default: !q.given}
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

// keyed is the unknown that a key of the setup is the centre of: the table of
// keys has its name and its prior, wider for a default, which is a guess about
// an average foil, than for what somebody read or measured.
func keyed(s *setup.Setup, key, unit string, show, centre float64, apply func(*Inputs, float64)) parameter {
	k := setup.KeyNamed(key)
	sd := k.SD(s)
	if k.Prior.Relative {
		sd *= math.Abs(centre)
	}
	return parameter{name: k.Unknown, unit: unit, show: show, centre: centre, sd: sd,
		given: k.Required || s.Given(key), key: key, applyTo: apply}
}

// free is an unknown that no key of the setup tells.
func free(name, unit string, show, sd float64, apply func(*Inputs, float64)) parameter {
	return parameter{name: name, unit: unit, show: show, sd: sd, given: true, applyTo: apply}
}

// foilParameters are the unknowns that all outings on the foil share.
func foilParameters(s *setup.Setup, in Inputs) []parameter {
	flex := keyed(s, "foil.fuselage.flex_deg_per_100n", "°/100 N", 100/deg, in.FuselageFlex,
		func(in *Inputs, v float64) { in.FuselageFlex = neverBelowZero(in.FuselageFlex, v) })
	flex.above0 = true
	return []parameter{
		keyed(s, "foil.stabilizer.incidence_deg", "deg", 1/deg, in.StabIncidence, func(in *Inputs, v float64) { in.StabIncidence += v }),
		keyed(s, "foil.wing.camber_percent", "%", 1, in.CamberPercent, func(in *Inputs, v float64) { in.CamberPercent += v }),
		keyed(s, "foil.stabilizer.zero_lift_deg", "deg", 1/deg, in.StabZeroLift, func(in *Inputs, v float64) { in.StabZeroLift += v }),
		free("wing section moment beyond camber", "c_m", 1, 0.01, func(in *Inputs, v float64) { in.ExtraCm += v }),
		free("thrust line", "mm", 1/mm, 0.05, func(in *Inputs, v float64) { in.ThrustArm += v }),
		free("downwash", "%", 100, 0.15, func(in *Inputs, v float64) { in.DownwashFactor += v }),
		free("lift area", "%", 100, 0.08, func(in *Inputs, v float64) { in.LiftSlopeFactor += v }),
		free(dragName, "%", 100, dragSD, func(in *Inputs, v float64) { in.DragFactor += v }),
		keyed(s, "foil.stabilizer.area_cm2", "cm²", 1e4, in.StabArea,
			func(in *Inputs, v float64) { in.StabArea = math.Max(leastStabilizer*in.StabArea, in.StabArea+v) }),
		keyed(s, "foil.stabilizer.behind_wing_cm", "mm", 1/mm, in.StabArm, func(in *Inputs, v float64) { in.StabArm += v }),
		keyed(s, "foil.wing.ahead_cm", "mm", 1/mm, in.WingX, func(in *Inputs, v float64) { in.WingX += v }),
		keyed(s, "foil.wing.incidence_deg", "deg", 1/deg, in.WingIncidence, func(in *Inputs, v float64) { in.WingIncidence += v }),
		flex,
		keyed(s, "board.cg_cm", "mm", 1/mm, in.BoardCG, func(in *Inputs, v float64) { in.BoardCG += v }),
	}
}

// dragSD is 1σ of the drag by the model, relative, and glidedSD where glides show
// it: they are its only source then.
const dragSD, glidedSD, dragName = 0.20, 0.50, "drag"

// leastStabilizer is the smallest part of the stated area that a stabilizer
// may turn out to have: wide draws must not pass through zero.
const leastStabilizer = 0.2

// The unknowns that belong to a rider and to no foil.
const (
	riderZero  = "rider's zero"
	riderScale = "rider's scale"
	zeroSD     = 0.06 // 1σ of the zero b, as a share
	scaleSD    = 0.25 // 1σ of the scale s about 1
)

// footParameters are the errors of where the feet press.
func footParameters(s *setup.Setup, in Inputs) []parameter {
	return []parameter{
		keyed(s, "stance.front_cm", "mm", 1/mm, in.FrontFoot, func(in *Inputs, v float64) { in.FrontFoot += v }),
		keyed(s, "stance.back_cm", "mm", 1/mm, in.BackFoot, func(in *Inputs, v float64) { in.BackFoot += v }),
	}
}

// riderParameters are the rider as an instrument, one for all that a rider
// ever said.
func riderParameters() []parameter {
	scale := free(riderScale, "", 1, scaleSD, func(in *Inputs, v float64) { in.RiderScale = neverBelowZero(1+in.RiderScale, v) - 1 })
	scale.centre, scale.above0 = 1, true
	return []parameter{free(riderZero, "%", 100, zeroSD, func(in *Inputs, v float64) { in.RiderZero += v }), scale}
}

// instrumentParameters are what an outing's instruments may be out by, all
// over it.
func instrumentParameters(ev *Evidence) (ps []parameter) {
	if ev.tells(MeasuredKind) && ev.LeanSD > 0 {
		ps = append(ps, free("foot forces, front against back", "%", 100, ev.LeanSD, func(in *Inputs, v float64) { in.ShareLean += v }))
	}
	if ev.tells(MastKind) {
		ps = append(ps, free("gain of the mast's moment", "%", 100, ev.MastSD[0], func(in *Inputs, v float64) { in.MastGain += v }),
			free("zero of the mast's moment", "N·m", 1, ev.MastSD[1], func(in *Inputs, v float64) { in.MastOffset += v }))
	}
	return ps
}

const (
	// maxRigLift bounds the share of the rider's weight that the rig may
	// carry: above it nobody stands on the board.
	maxRigLift = 0.85
	mastFootSD = 50.0 // 1σ of what a sail's mast foot carries, N
)

// rigParameters are the rig's vertical lift on one outing and what a sail's
// mast foot carries.
func rigParameters(s *setup.Setup, in Inputs) []parameter {
	ps := []parameter{keyed(s, "rig.lift_fraction", "%", 100, in.RigLiftFraction, func(in *Inputs, v float64) {
		in.RigLiftFraction = math.Min(in.RigLiftFraction+v, math.Max(maxRigLift, in.RigLiftFraction))
	})}
	if in.MastFoot > 0 {
		ps = append(ps, parameter{name: "load on the mast foot", unit: "N", show: 1, centre: in.MastFoot, sd: mastFootSD, above0: true,
			applyTo: func(in *Inputs, v float64) { in.MastFoot = neverBelowZero(in.MastFoot, v) }})
	}
	return ps
}

// shimParameter is the relative error of the thickness of the shims that are
// fitted, one for all outings, each by its own shim.
func shimParameter(s *setup.Setup) parameter {
	q := keyed(s, "foil.stabilizer.shim_mm", "%", 100, 1, func(in *Inputs, v float64) {
		in.StabIncidence += ShimAngle(in.Shim*(1+v), in.ShimSpan) - ShimAngle(in.Shim, in.ShimSpan)
	})
	q.centre, q.given = 0, true
	return q
}

// Card is the thickness of a payment card, m, within ± CardTolerance; CardSD is
// its 1σ when the tolerance is a 90 % interval (ISO/IEC 7810 ID-1).
const (
	Card          = 0.76e-3
	CardTolerance = 0.08e-3
	CardSD        = CardTolerance / 1.645
)
