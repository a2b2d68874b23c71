// Package pitchlaw fits the straight line of pitch against lift area
// (trim model §1), robustly and together with the water's flow.
//
// It imports filter, analysis/interval, analysis/ride and gonum.
package pitchlaw

import "evenfoot/analysis/interval"

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
	FlowEast   interval.Interval            // m/s
	FlowNorth  interval.Interval            // m/s
	FlowSource string                       // "estimated" | "given" | "assumed zero"
	Covariance [2][2]float64                // of (zero, slope), flow marginalised
	RMS        float64                      // rad, of the weighted residuals
	Windows    []Window
	Draws      []Draw  // bootstrap replicates
	MinSpeed   float64 // m/s, lowest and highest speed that the fit has seen
	MaxSpeed   float64
	Bend       []Bend // tests of the straight line
	Enough     bool   // false: the intervals must not be used; Missing says why
	Missing    []string
	Notes      []string // plain sentences for the reader
}

// A Draw is one bootstrap replicate of the fit.
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
