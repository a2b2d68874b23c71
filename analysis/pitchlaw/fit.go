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
	Reason    Reason  // why Weight was lowered beforehand; "" for none
	// Speed is through the water once the flow is known, m/s; LiftArea is
	// X = f_z/q, m²/kg.
	Speed, LiftArea float64

	unrest unrest
}

// A Reason is what breaks the law's assumptions in a window.
type Reason string

const (
	Pumping  Reason = "pumping"   // the rider works and the board heaves
	Chop     Reason = "chop"      // the board heaves in the rider's band
	Waves    Reason = "waves"     // the board heaves slower than that
	Climbing Reason = "climbing"  // the flight path rises
	Sinking  Reason = "sinking"   // or falls
	Gusts    Reason = "gusts"     // the speed changes
	HardWork Reason = "hard work" // the pitch is never at rest
)

// A Fit is the pitch law θ cos φ = zero + slope·X, X in m² per kg of total
// mass, so that it needs no setup.
type Fit struct {
	Zero       interval.Interval            // rad, mean of the tacks
	Slope      interval.Interval            // rad per (m²/kg), systematic part included
	ZeroByTack map[string]interval.Interval // "port", "starboard"
	FlowEast   interval.Interval            // m/s, mid-session
	FlowNorth  interval.Interval            // m/s
	FlowSource string                       // "estimated" | "given" | "assumed zero"
	// FlowTurns is how the flow changed, east and north, m/s per hour; Unknown
	// where the flow was not estimated.
	FlowTurns [2]interval.Interval
	// FlowDoubt is the 1σ of the flow, m/s, along the line where it is least
	// known, which bears FlowAxis, rad from north in 0..π; NaN without a fit.
	FlowDoubt, FlowAxis float64
	// Covariance is that of (zero, slope), flow marginalised, scaled so that
	// normal intervals from it are the intervals above.
	Covariance [2][2]float64
	// Systematic is the slope's systematic part, 1σ relative: see [Estimate].
	Systematic float64
	RMS        float64 // rad, of the weighted residuals
	Windows    []Window
	MinSpeed   float64 // m/s, lowest and highest speed that the fit has seen
	MaxSpeed   float64
	Density    float64 // kg/m³, of the water that LiftArea was made with
	Bends      []Bend  // tests of the straight line
	Enough     bool    // false: the intervals must not be used; Missing says why
	Missing    []Lack
}

// A Lack is one thing that the log does not give and the law needs.
type Lack struct {
	Kind LackKind `json:"-"`
	// Have and Need are in Unit; "" where there is nothing to count.
	Have interval.Number `json:"have"`
	Need interval.Number `json:"need"`
	Unit string          `json:"unit,omitempty"`
	Tack string          `json:"tack,omitempty"` // OneTack: the one that is missing
	// Reasons are those of unsteady windows, most frequent first.
	Reasons []Reason `json:"reasons,omitempty"`
}

// A LackKind names what is missing.
type LackKind string

const (
	NoFlight       LackKind = "no straight flight"       // with attitude and GPS
	NoSpeed        LackKind = "no GPS speed"             // in straight flight
	ShortFlight    LackKind = "little straight flight"   // s
	UnsteadyFlight LackKind = "little steady flight"     // s; Need is half the flight, or the least that counts
	FewReaches     LackKind = "few reaches"              // of [LeastReach] or longer
	NarrowSpeeds   LackKind = "one speed"                // m/s: the 95th percentile, and what it had to be for the 5th
	OneTack        LackKind = "one tack"                 // the line stands for the other tack alone
	OneCourse      LackKind = "one course"               // rad, the mean course: tacks and flow hide in the line
	PitchRises     LackKind = "pitch rises with speed"   // rad per (m²/kg): the slope, which must be above 0
	VagueSlope     LackKind = "slope hardly known"       // 1σ relative
	NoAgreement    LackKind = "windows do not agree"     // too few lie on any line
	Undetermined   LackKind = "windows are all the same" // they determine no line
)

// A Bend is one test of the straight line.
type Bend struct {
	Kind BendKind
	// Size is in rad; Drift's in rad per hour.
	Size    interval.Interval
	P       float64 // that chance alone makes as much
	Matters bool    // hardly chance, and large enough for a rider to care
}

// A BendKind says how the pitch may depart from the line.
type BendKind string

const (
	Curvature      BendKind = "curvature"       // both ends of the speeds lie above (+) the line
	TackDifference BendKind = "tack difference" // starboard less port
	Drift          BendKind = "drift"           // pitch that rises (+) with time
)

// Effort is the pitch-rate RMS in the band where a rider works.
type Effort struct {
	Speed     float64           // m/s, bin centre
	Tack      string            // "" for both
	PitchRate interval.Interval // rad/s RMS
}

// Params are the choices of a fit. The zero value is ready to use.
type Params struct {
	Density   float64     // kg/m³; 0 means sea water, 1025
	GivenFlow *[2]float64 // east, north, m/s: the current that the user states; nil to estimate it
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
	if !(speed > 0) {
		return interval.Unknown()
	}
	return f.PitchAtArea(2 * normal / (Params{Density: f.Density}.density() * speed * speed))
}

// PitchAtArea is the same at a lift area X, m² per kg.
func (f *Fit) PitchAtArea(x float64) interval.Interval {
	if !f.Enough || !f.Zero.Known() || !f.Slope.Known() {
		return interval.Unknown()
	}
	c := f.Covariance
	v := c[0][0] + 2*x*c[0][1] + x*x*c[1][1]
	return interval.Normal(f.Zero.Value+f.Slope.Value*x, math.Sqrt(max(v, 0)))
}

// TackName is the name of a side, +1 or -1; "" for 0.
func TackName(side int) string {
	switch {
	case side > 0:
		return "starboard"
	case side < 0:
		return "port"
	}
	return ""
}
