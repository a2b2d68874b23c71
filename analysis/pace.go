package analysis

import (
	"math"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pace"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/trim"

	"gonum.org/v1/gonum/floats"
)

// Pace is what a racer asks of a log.
type Pace struct {
	ByTack map[string]BestSpeeds `json:"by_tack"` // within reaches; "port" | "starboard"
	// OffEven is the part of the time at TopFrom and above in which the load was
	// off what this rider feels as even by more than a note of "even" means.
	TopFrom interval.Number   `json:"top_from_mps"`
	OffEven interval.Interval `json:"off_even_at_top"`
	Reaches int               `json:"reaches"`         // that were compared, 0 for too few
	Apart   []pace.Difference `json:"fastest_reaches"` // of the fastest quarter
}

// Features of a reach that are compared.
const (
	PacePitch  = "pitch_off_law_deg" // more or less than the law asks for at this speed
	PaceHeel   = "heel_deg"          // to windward
	PaceLoad   = "load_factor"
	PaceSail   = "off_wind_deg"
	PaceEffort = "pitch_rate_rms_dps"
)

func bestOf(b ride.BestSpeeds) BestSpeeds {
	return BestSpeeds{num(b.TwoSeconds.Value), num(b.TenSeconds.Value), num(b.Metres500.Value), num(b.NauticalMile.Value)}
}

// describePace tells the speeds by tack and what the fastest reaches have apart.
func (o *observation) describePace(r *Result) {
	if len(o.ride.Reaches) == 0 {
		return
	}
	p := &Pace{ByTack: map[string]BestSpeeds{}, TopFrom: num(math.NaN()), OffEven: interval.Unknown(), Apart: []pace.Difference{}}
	for tack, b := range o.ride.BestByTack {
		p.ByTack[tack] = bestOf(b)
	}
	speeds, features := o.reaches()
	if found := pace.Differences(speeds, features); len(found) > 0 {
		p.Reaches, p.Apart = len(speeds), found
	}
	r.Pace = p
}

// reaches are the reaches' mean speeds through the water and their features, from
// the windows of the law.
func (o *observation) reaches() (speeds []float64, features []pace.Feature) {
	if !o.lawOK() {
		return nil, nil
	}
	type sums struct{ n, speed, pitch, heel, load, effort float64 }
	of := make([]sums, len(o.ride.Reaches))
	for _, w := range o.law.Windows {
		if s := &of[w.Reach]; w.Speed > 0 {
			s.n++
			s.speed += w.Speed
			s.pitch += w.PitchCos - o.law.Zero.Value - o.law.Slope.Value*w.LiftArea
			s.heel += w.Heel * float64(w.Tack) // starboard side down is to windward on starboard tack
			s.load += w.Normal / trim.Gravity
			s.effort += w.PitchRate * w.PitchRate
		}
	}
	features = []pace.Feature{{Name: PacePitch}, {Name: PaceHeel}, {Name: PaceLoad}, {Name: PaceSail}, {Name: PaceEffort}}
	for i, s := range of {
		if s.n < leastWindows {
			continue
		}
		speeds = append(speeds, s.speed/s.n)
		sail, heel := math.NaN(), math.NaN()
		if w := o.ride.WindFrom; w.Known() {
			sail, heel = math.Abs(math.Remainder(o.ride.Reaches[i].Course-w.Value*degree, 2*math.Pi))/degree, s.heel/s.n/degree
		}
		for k, v := range []float64{s.pitch / s.n / degree, heel, s.load / s.n, sail, math.Sqrt(s.effort/s.n) / degree} {
			features[k].Of = append(features[k].Of, v)
		}
	}
	return speeds, features
}

const (
	leastWindows = 3    // of a reach that is compared
	topPart      = 0.9  // of the top speed, from where on it is at top speed
	offEven      = 0.06 // share of the load, 1σ of a note of "even"
)

// topLoad is the part of the time at top speed that the load is off even.
func (r *Result) topLoad() {
	p := r.Pace
	if p == nil {
		return
	}
	from := topPart * r.RangeHigh
	var speeds, seconds []float64
	for _, b := range r.SpeedHistogram {
		if mid := (b.Low + b.High) / 2; mid >= from && b.Seconds > 0 {
			speeds, seconds = append(speeds, mid), append(seconds, b.Seconds)
		}
	}
	total := floats.Sum(seconds)
	if total == 0 {
		return
	}
	p.TopFrom = num(from)
	p.OffEven = trim.Over(r.Posterior, r.Posterior.Draws, func(in *trim.Inputs) float64 {
		f, off := trim.NewFoil(*in), 0.0
		for i, v := range speeds {
			if math.Abs(f.At(v, trim.Gravity).FeltShare-0.5) > offEven {
				off += seconds[i]
			}
		}
		return off / total
	})
}
