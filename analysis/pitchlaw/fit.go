// Package pitchlaw fits the straight line of pitch against lift area
// (trim model §1), robustly and together with the water's flow.
//
// The way: [MakeWindows] averages straight flight into windows; [Estimate]
// takes GPS noise out of their speeds, finds the line by an MM-estimator
// ([Regress]), frees the flow (Gauss–Newton), and then weighs the windows
// by generalised least squares whose error correlations, within reaches and
// across them, are averaged over rather than guessed. The test
// TestCoverage holds the intervals to account; its table is in
// testdata/coverage.md.
//
// It imports filter, filter/align, analysis/interval, analysis/ride and gonum.
package pitchlaw

import (
	"math"

	"evenfoot/analysis/interval"
)

// A Window is one short stretch of straight flight, averaged.
type Window struct {
	Time      float64 // s, middle
	Duration  float64 // s
	PitchCos  float64 // θ cos φ, rad
	PitchSE   float64 // 1σ of PitchCos, rad
	Normal    float64 // deck-normal specific force, m/s²
	Heel      float64 // rad
	East      float64 // m/s over ground
	North     float64 // m/s over ground
	PitchRate float64 // RMS in the rider's band, rad/s
	Tack      int     // +1 starboard, -1 port, 0 not known
	Reach     int     // index into ride.Session.Reaches
	Weight    float64 // 0..1, the fit's final weight
	Reason    string  // why Weight was lowered beforehand: "pumping", "waves", "climbing", ...; "" for none
	// Speed is through the water once the flow is known, m/s; LiftArea is
	// f_z/q, m²/kg: times the mass it is X of the trim model.
	Speed, LiftArea float64
}

// A Fit is the pitch law θ cos φ = zero + slope·X, X in m² per kg of total
// mass, so that it needs no setup. Multiply by the mass for the model's K.
type Fit struct {
	Zero       interval.Interval            // rad, mean of the tacks
	Slope      interval.Interval            // rad per (m²/kg)
	ZeroByTack map[string]interval.Interval // "port", "starboard"
	FlowEast   interval.Interval            // m/s, mid-session
	FlowNorth  interval.Interval            // m/s
	FlowSource string                       // "estimated" | "given" | "assumed zero"
	// FlowTurns is how the flow changed, east and north, m/s per hour; Unknown
	// where the flow was not estimated.
	FlowTurns [2]interval.Interval
	// Covariance is that of (zero, slope), flow marginalised, scaled so that
	// normal intervals from it are the intervals above.
	Covariance [2][2]float64
	RMS        float64 // rad, of the weighted residuals
	Windows    []Window
	Draws      []Draw  // equally likely laws, flow and all
	MinSpeed   float64 // m/s, lowest and highest speed that the fit has seen
	MaxSpeed   float64
	Density    float64  // kg/m³, of the water that LiftArea was made with
	Bend       []Bend   // tests of the straight line
	Enough     bool     // false: the intervals must not be used; Missing says why
	Missing    []string // what is missing, plain words
	Notes      []string // plain sentences for the reader
}

// A Draw is one replicate of the fit.
type Draw struct{ Zero, Slope, FlowEast, FlowNorth float64 }

// A Bend is one test of the straight line.
type Bend struct {
	Name string // "curvature", "tack difference", "drift"
	Size interval.Interval
	Unit string
	P    float64
	Says string // plain sentence; "" when it does not matter
}

// Effort is the pitch-rate RMS in the band where a rider works.
type Effort struct {
	Speed     float64           // m/s, bin centre
	Tack      string            // "" for both
	PitchRate interval.Interval // rad/s RMS
	Windows   int
}

// Params are the choices of a fit. The zero value is ready to use.
type Params struct {
	Density   float64     // kg/m³; 0 means sea water, 1025
	GivenFlow *[2]float64 // east, north, m/s: the current that the user states; nil to estimate it
	FlowSD    float64     // m/s, 1σ of the prior of each component; 0 means 0.5 about zero, or 0.1 about GivenFlow
	Level     bool        // pitch is absolute
	LevelSE   float64     // rad, 1σ of the level zero; counts when Level
	Window    float64     // s, wanted length of a window; 0 means 2.5
	Draws     int         // replicates; 0 means 400
	Seed      uint64
}

func (p Params) density() float64 {
	if p.Density > 0 {
		return p.Density
	}
	return 1025
}

// PitchAt is the pitch θ cos φ, rad, mean of the tacks, at a speed through the
// water, m/s, and a deck-normal specific force, m/s² (9.80665 in level flight).
// It is unknown when the fit has not enough to go on.
func (f *Fit) PitchAt(speed, normal float64) interval.Interval {
	if !f.Enough || !f.Zero.Known() || !f.Slope.Known() || !(speed > 0) {
		return interval.Unknown()
	}
	x := 2 * normal / (f.density() * speed * speed)
	c := f.Covariance
	v := c[0][0] + 2*x*c[0][1] + x*x*c[1][1]
	return interval.Normal(f.Zero.Value+f.Slope.Value*x, math.Sqrt(max(v, 0)))
}

func (f *Fit) density() float64 {
	if f.Density > 0 {
		return f.Density
	}
	return Params{}.density()
}
