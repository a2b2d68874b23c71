package analysis

import (
	"time"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/finish"
	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

// Schema names the JSON's version.
const Schema = "evenfoot/2"

// Result is everything an analysis found. The tagged fields are the JSON that
// scripts rely on; the others feed the page.
type Result struct {
	Schema        string             `json:"schema"`
	Session       Session            `json:"session"`
	Mount         *Mount             `json:"mount"`
	Rides         []Ride             `json:"rides"`
	Totals        Totals             `json:"totals"`
	Marks         []mark.Mark        `json:"marks"`           // what the rider marked, in order of time
	Questions     []Question         `json:"questions"`       // about moments whose feel would narrow the answer most, where nothing was marked
	Parts         []Part             `json:"parts,omitempty"` // of a log with changes
	BestSpeeds    BestSpeeds         `json:"best_speeds"`
	Pace          *Pace              `json:"pace"`
	WaterFlow     *WaterFlow         `json:"water_flow"`
	PitchLaw      *PitchLaw          `json:"pitch_law"`
	PitchCurve    []PitchPoint       `json:"pitch_curve"`
	FootLoad      []LoadPoint        `json:"foot_load"`
	Forces        []Forces           `json:"forces"` // at the low, middle and top speed that count
	ControlEffort []EffortPoint      `json:"control_effort"`
	Advice        *advice.Advice     `json:"advice"`
	OtherRider    *advice.OtherRider `json:"other_rider"`
	Finish        *finish.Finish     `json:"finish"`
	Followed      *Followed          `json:"followed"`         // null unless the last step was the advised one
	Rider         *Rider             `json:"rider"`            // null where instruments alone tell the load
	FootForces    *FootForces        `json:"foot_forces"`      // null without
	Glides        []glide.Glide      `json:"glides,omitempty"` // where there are any
	Drag          *Drag              `json:"drag,omitempty"`   // where glides show it
	Assumptions   []Assumption       `json:"assumptions"`

	// For the page; not part of the contract.
	Setup               *setup.Setup    `json:"-"` // nil without one
	Other               *setup.Setup    `json:"-"` // the other rider's, nil unless asked for
	Log                 *ingest.Log     `json:"-"` // nil without one
	Motion              *align.Motion   `json:"-"` // nil without an IMU on the board
	Ride                *ride.Session   `json:"-"` // nil without a log
	Law                 *pitchlaw.Fit   `json:"-"`
	Posterior           *trim.Posterior `json:"-"`
	SpeedHistogram      []SpeedBin      `json:"-"` // time at speed, foiling
	RangeLow, RangeHigh float64         `json:"-"` // m/s, the speeds that count

	seen    *observation        // what the log shows; nil in a light result
	outing  trim.Outing         // as the inference took it; zero without a setup
	cut     bool                // the range asked for went too far beyond what was ridden or noted
	weights advice.SpeedWeights // what the advice is for
	glided  *glide.Fit          // nil without glides that count
	own     advice.Side         // what a judgement of a change takes of it
}

type Session struct {
	Title       string            `json:"title"`
	Start       *time.Time        `json:"start"`
	Duration    interval.Number   `json:"duration_s"`
	GPSHz       interval.Number   `json:"gps_hz"`
	IMUHz       interval.Number   `json:"imu_hz"`
	Files       []string          `json:"files"`
	Earlier     []string          `json:"earlier"` // titles of the earlier sessions that count as evidence
	ClockOffset interval.Interval `json:"clock_offset_s"`
	Warnings    []Finding         `json:"warnings"`
}

type Mount struct {
	Heading           interval.Interval `json:"heading_deg"`
	Tilt              interval.Number   `json:"tilt_deg"`
	AccelerometerSign int               `json:"accelerometer_sign"`
	LevelZero         bool              `json:"level_zero"`
	LevelFrom         align.Finding     `json:"level_from"`
	Rigid             bool              `json:"rigid"`
	Why               align.Finding     `json:"-"`
}

type Ride struct {
	Start     interval.Number `json:"start_s"`
	End       interval.Number `json:"end_s"`
	Distance  interval.Number `json:"distance_m"`
	MeanSpeed interval.Number `json:"mean_speed_mps"`
	MaxSpeed  interval.Number `json:"max_speed_mps"`
	Tack      *string         `json:"tack"`
}

// A Part is a stretch of a log with one trim, which counts from the setup at the
// log's start.
type Part struct {
	Start   time.Time         `json:"start"`
	End     time.Time         `json:"end"`
	Foil    interval.Number   `json:"foil_mm"`  // + forward, as the feet's
	Shim    interval.Number   `json:"shim_mm"`  // + raises the leading edge
	Front   interval.Number   `json:"front_mm"` // the front foot
	Back    interval.Number   `json:"back_mm"`
	Foiling interval.Number   `json:"foiling_s"`
	Marks   int               `json:"marks"`             // that count
	Even    interval.Interval `json:"even_mps"`          // through the water; null where none called the load even
	Share   interval.Interval `json:"noted_front_share"` // the mean of what the other marks say; null without any
	Lost    int               `json:"-"`                 // marks that do not count, where none does, and what became of most
	Why     mark.Why          `json:"-"`
}

type Totals struct {
	Foiling    interval.Number `json:"foiling_s"`
	Straight   interval.Number `json:"straight_s"`
	Distance   interval.Number `json:"distance_m"`
	Rides      int             `json:"rides"`
	Turns      int             `json:"turns"`
	Touchdowns int             `json:"touchdowns"`
}

type BestSpeeds struct {
	TwoSeconds   interval.Number `json:"2s"`
	TenSeconds   interval.Number `json:"10s"`
	Metres500    interval.Number `json:"500m"`
	NauticalMile interval.Number `json:"1nmi"`
}

type WaterFlow struct {
	East   interval.Interval `json:"east_mps"`
	North  interval.Interval `json:"north_mps"`
	Source string            `json:"source"`
}

type PitchLaw struct {
	Zero  interval.Interval `json:"zero_deg"`
	Slope interval.Interval `json:"slope_deg_per_m2"`
	// SlopePerKg is the same without the rider's mass, deg per (m²/kg).
	SlopePerKg interval.Interval            `json:"slope_deg_kg_per_m2"`
	Windows    int                          `json:"windows"`
	RMS        interval.Number              `json:"rms_deg"`
	ByTack     map[string]interval.Interval `json:"by_tack"`
	Bend       []Bend                       `json:"bend"`
	Enough     bool                         `json:"enough"`
	Missing    []Finding                    `json:"missing"` // pitchlaw.Lack
}

type Bend struct {
	Name    pitchlaw.BendKind `json:"name"`
	Size    interval.Interval `json:"size"`
	Unit    string            `json:"unit"`
	P       interval.Number   `json:"p"`
	Matters bool              `json:"matters"`
}

type PitchPoint struct {
	Speed interval.Number   `json:"speed_mps"`
	Pitch interval.Interval `json:"pitch_deg"`
}

type LoadPoint struct {
	Speed      interval.Number   `json:"speed_mps"`
	FrontShare interval.Interval `json:"front_share"`
	Moment     interval.Interval `json:"moment_nm"`
	// Gradient is the speed gradient of the share, points of the load per knot.
	Gradient        interval.Interval `json:"gradient_per_kn"`
	FrontShareAfter interval.Interval `json:"front_share_after"` // after the next step; today's without one
	GradientAfter   interval.Interval `json:"gradient_after_per_kn"`
}

// Forces is what acts on the foil at one speed of straight flight, today.
type Forces struct {
	Speed      interval.Number   `json:"speed_mps"`
	Pitch      interval.Interval `json:"pitch_deg"`
	WingLift   interval.Interval `json:"wing_lift_n"`
	StabLift   interval.Interval `json:"stabilizer_lift_n"` // + up
	Drag       interval.Interval `json:"drag_n"`
	FrontShare interval.Interval `json:"front_share"`
	LoadPoint  interval.Interval `json:"load_point_mm"` // where the feet's load acts, from the mast's centreline, + forward
}

type EffortPoint struct {
	Speed     interval.Number   `json:"speed_mps"`
	PitchRate interval.Number   `json:"pitch_rate_rms_dps"`
	Interval  interval.Interval `json:"pitch_rate_rms_dps_interval"`
	Tack      string            `json:"tack,omitempty"`
}

// Rider is the rider as an instrument: what feels even is a share of 0.5 less
// the zero, and notes are out by the scale.
type Rider struct {
	Zero  interval.Interval `json:"zero"`
	Scale interval.Interval `json:"scale"`
}

// Assumption is one unknown of the foil model, before and after the evidence.
type Assumption struct {
	Name      string            `json:"name"`
	Unit      string            `json:"unit"`
	Prior     interval.Interval `json:"prior"`
	Posterior interval.Interval `json:"posterior"`
	// ShimDegPerSigma is how far one prior σ moves the best stabilizer change.
	ShimDegPerSigma      interval.Number `json:"shim_deg_per_sigma"`
	ShimDegPerSigmaAfter interval.Number `json:"shim_deg_per_sigma_after"`
	Default              bool            `json:"default"` // the setup did not give it
}

// A Question is a moment of the log to ask the rider about.
type Question struct {
	Time  time.Time       `json:"time"`
	Speed interval.Number `json:"speed_mps"` // over ground, as the rider saw it
	Tack  string          `json:"tack"`
}

// SpeedBin is the foiling time spent at speeds [Low, High) m/s.
type SpeedBin struct{ Low, High, Seconds float64 }

// Light lets go of a result's samples, so that many can be kept; what
// [Compare] and its page take stays.
func (r *Result) Light() *Result {
	l := *r
	l.Log, l.seen = nil, nil
	if r.Motion != nil {
		l.Motion = &align.Motion{Mount: r.Motion.Mount}
	}
	if r.Ride != nil {
		l.Ride = &ride.Session{Rides: r.Ride.Rides, BestSpeeds: r.Ride.BestSpeeds, Totals: r.Ride.Totals}
	}
	return &l
}
