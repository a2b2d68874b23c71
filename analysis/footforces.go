package analysis

import (
	"math"

	"evenfoot/analysis/feet"
	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

// FootForces is what insoles, pads or an instrumented mast told.
type FootForces struct {
	ClockOffset interval.Interval `json:"clock_offset_s"` // their clock minus the log's; null when they share it
	feet.Result                   // its findings are among the session's warnings
	lost        bool              // they cannot be brought onto the log's clock
}

// shortLag is how far, s, the clock of dated forces is searched apart.
const shortLag = 3700

// tieDecks brings forces that have a clock of their own onto the log's, by the
// load that they and the accelerometer both show.
func (o *observation) tieDecks() {
	moves := o.motion != nil && o.usable()
	for i := range o.log.Decks {
		d := &o.log.Decks[i]
		f := &FootForces{ClockOffset: interval.Unknown(), Result: feet.Nothing()}
		o.forces = append(o.forces, f)
		switch {
		case o.log.SharesClock(d.File):
		case !moves && o.dated(d):
			f.Find(feet.Finding{Kind: feet.ByDate})
		case !moves || !d.HasFeet():
			f.Find(feet.Finding{Kind: feet.Alone, Of: d.HasFeet()})
			f.lost = true
		default:
			o.tieDeck(d, f)
		}
	}
}

// dated says whether a deck and the log both tell the date.
func (o *observation) dated(d *ingest.Deck) bool {
	return !o.log.Files[d.File].First.IsZero() && !o.log.Start.IsZero()
}

// levelWindows are straight flight at 1 g by the fixes alone, for the want of the board's
// motion.
func (o *observation) levelWindows(density float64) (out []pitchlaw.Window) {
	const long = 2.0 // s
	flow := o.flow()
	for k, reach := range o.ride.Reaches {
		w := pitchlaw.Window{Duration: long, Normal: trim.Gravity, Reach: k, Tack: pitchlaw.Side(reach.Tack), Weight: 1}
		for w.Time = reach.Start + long/2; w.Time < reach.End-long/2; w.Time += long {
			east, north, _, ok := o.ride.Speed.Mean(w.Time-long/2, w.Time+long/2)
			if w.Speed = math.Hypot(east-flow.East, north-flow.North); ok && w.Speed > still && mark.Whereabouts(o.ride, w.Time) == "" {
				w.LiftArea = 2 * trim.Gravity / (density * w.Speed * w.Speed)
				out = append(out, w)
			}
		}
	}
	return out
}

// restless is how far a load may be from the usual, as a part, and still
// compare: a breach or a hard landing is cut.
const restless = 0.5

func (o *observation) tieDeck(d *ingest.Deck, f *FootForces) {
	m := o.motion
	own, other := align.Series{Time: m.Time, Value: make([]float64, len(m.Time))}, align.Series{Time: d.Time, Value: feet.Loads(d)}
	flights, k := o.flights(), 0
	for i, v := range m.Normal {
		own.Value[i] = math.NaN()
		for k < len(flights) && flights[k][1] < m.Time[i] {
			k++
		}
		if k < len(flights) && m.Time[i] > flights[k][0] {
			own.Value[i] = float64(v)/trim.Gravity - 1
		}
	}
	most := math.Inf(1)
	if o.dated(d) {
		most = shortLag
	}
	c := align.Lag(own, other, restless, most)
	if !c.OK {
		f.Find(feet.Finding{Kind: feet.NoClock, Why: c.Why})
		f.lost = true
		return
	}
	f.ClockOffset = interval.Normal(c.OffsetS, c.OffsetSE)
	t := make([]float64, len(d.Time)) // the log's stay as they came
	for i, x := range d.Time {
		t[i] = c.ToGPS(x)
	}
	d.Time = t
}

// readDecks goes from forces to the front foot's share, and from a mast's
// moment to its curve. A glide is no sailing: a rig that carries no load moves it.
func (o *observation) readDecks(s *setup.Setup, glides []glide.Found) {
	told := func(kind trim.Kind, speed interval.Number, value interval.Interval, sd float64, part int) {
		o.measured.Loads = append(o.measured.Loads, trim.Load{Kind: kind, Speed: float64(speed), Value: value.Value, SD: sd, Change: o.parts[part].Change})
	}
	for i, f := range o.forces {
		if s == nil || f.lost || o.misfit != nil {
			continue
		}
		in := trimInputs(s)
		windows := besides(o.levelWindows(in.Density), glides)
		if o.lawOK() {
			windows = o.law.Windows
		}
		est := feet.Estimate(feet.Input{
			Deck: &o.log.Decks[i], Windows: windows, Density: in.Density, Flights: o.flights(), Front: s.Stance.FrontFoot,
			Part:  func(t float64) int { return mark.PartAt(o.parts, t) },
			Rider: in.RiderMass, RigLift: in.RigLiftFraction, RigSD: setup.KeyNamed("rig.lift_fraction").SD(s), MastFoot: in.MastFoot,
		})
		est.Findings = append(f.Findings, est.Findings...)
		f.Result = est
		for _, p := range est.Shares {
			told(trim.MeasuredKind, p.Speed, p.Front, p.SD, p.Part)
		}
		for _, p := range est.Moments {
			told(trim.MastKind, p.Speed, p.Moment, p.SD, p.Part)
		}
		o.measured.LeanSD = max(o.measured.LeanSD, est.LeanSD)
	}
	o.measured.MastSD = [2]float64{feet.GainSD, feet.MastZeroSD}
	for _, f := range o.forces {
		for _, x := range f.Findings {
			o.warn(x)
		}
	}
}

func (o *observation) flights() (out [][2]float64) {
	for _, r := range o.ride.Rides {
		out = append(out, [2]float64{r.Start, r.End})
	}
	return out
}

// describeForces hands on what told the most.
func (o *observation) describeForces(r *Result) {
	for _, f := range o.forces {
		if r.FootForces == nil || len(f.Shares)+len(f.Moments) > len(r.FootForces.Shares)+len(r.FootForces.Moments) {
			r.FootForces = f
		}
	}
}

// What the rest must say, in σ, of front and back that are swapped before it
// is asked about, and below what it says nothing of them.
const turnedSigmas, restingSigmas = 3.0, 2.0

// direction holds the measured shares, and the same with front and back
// swapped, against all the rest.
func (r *Result) direction() {
	switch gain := r.Posterior.Surprise - r.Posterior.Exchanged(); {
	case gain > turnedSigmas*turnedSigmas:
		r.warn(feet.Finding{Kind: feet.Turned, Sigmas: math.Sqrt(gain)})
	case gain > -restingSigmas*restingSigmas:
		r.warn(feet.Finding{Kind: feet.Resting})
	}
}
