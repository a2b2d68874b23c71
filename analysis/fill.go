package analysis

import (
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

func newResult(s *setup.Setup) *Result {
	r := &Result{
		Schema: Schema, Setup: s,
		Rides: []Ride{}, Marks: []mark.Mark{}, Questions: []Question{}, PitchCurve: []PitchPoint{}, FootLoad: []LoadPoint{}, Forces: []Forces{}, ControlEffort: []EffortPoint{}, Assumptions: []Assumption{},
	}
	nan := interval.Number(math.NaN())
	r.Session = Session{Duration: nan, GPSHz: nan, IMUHz: nan, ClockOffset: interval.Unknown(), Files: []string{}, Earlier: []string{}, Warnings: []Finding{}}
	r.BestSpeeds = BestSpeeds{nan, nan, nan, nan}
	if s != nil {
		r.Session.Title = s.Title
	}
	return r
}

// baseName is the last part of a path as either system writes it: where a log
// lies on the rider's disk is nobody's business.
func baseName(name string) string { return name[strings.LastIndexAny(name, `/\\`)+1:] }

func (r *Result) warn(w ...Finding) { r.Session.Warnings = append(r.Session.Warnings, w...) }

// describe writes down what the log shows, whatever the setup.
func (o *observation) describe(r *Result) {
	r.Log, r.Motion, r.Ride, r.Law = o.log, o.motion, o.ride, o.law
	if o.log == nil {
		return
	}
	o.describeSession(&r.Session)
	r.warn(o.warnings...)
	if o.motion != nil {
		r.Mount = mount(o.motion.Mount)
	}
	o.describeRides(r)
	r.Marks = append(r.Marks, o.marks...)
	if o.motion == nil && len(o.log.IMU.Time) == 0 {
		r.warn(Note{Kind: NoIMU})
	}
	if len(o.log.GPS.Time) == 0 {
		r.warn(Note{Kind: NoGPS})
	} else if len(o.ride.Rides) == 0 {
		r.warn(Note{Kind: NoFlight})
	} else {
		r.warn(o.ashore()...)
	}
	o.describeLaw(r)
	o.describeForces(r)
	r.Glides = o.glides.Glides
	o.describePace(r)
}

func (o *observation) describeSession(s *Session) {
	log := o.log
	first, last := math.Inf(1), math.Inf(-1)
	for _, t := range [][]float64{log.GPS.Time, log.IMU.Time} {
		if len(t) > 0 {
			first, last = min(first, t[0]), max(last, t[len(t)-1])
		}
	}
	if last >= first {
		s.Duration = interval.Number(last - first)
	}
	if len(log.GPS.Time) > 1 {
		s.GPSHz = interval.Number(log.GPS.Rate)
	}
	if len(log.IMU.Time) > 1 {
		s.IMUHz = interval.Number(log.IMU.Rate)
	}
	for _, f := range log.Files {
		s.Files = append(s.Files, baseName(f.Name))
	}
	if log.Clock.Tied && !math.IsNaN(log.Clock.OffsetSE) && log.Clock.OffsetSE > 0 {
		s.ClockOffset = interval.Normal(log.Clock.OffsetS, log.Clock.OffsetSE)
	}
	for _, w := range log.Warnings {
		w.File = baseName(w.File)
		s.Warnings = append(s.Warnings, w)
	}
}

// describeParts lists the parts of a log with changes, once the marks are evidence.
func (o *observation) describeParts(r *Result) {
	for k, p := range o.parts {
		from, to := max(0, p.Start), o.log.Length()
		if k+1 < len(o.parts) {
			to = o.parts[k+1].Start
		}
		x := Part{Start: *clockTime(o.log, from), End: *clockTime(o.log, to), Even: p.Even, Share: interval.Unknown()}
		if k > 0 {
			c := r.Setup.Change[k-1]
			x.Foil, x.Shim, x.Front, x.Back = num(1000*c.Foil), num(1000*c.Shim), num(1000*c.Front), num(1000*c.Back)
		}
		for _, f := range o.ride.Rides {
			x.Foiling += num(max(0, min(f.End, to)-max(f.Start, from)))
		}
		var noted, share, variance float64
		lost := map[mark.Why]int{}
		for _, m := range o.marks {
			if m.Part != k {
				continue
			}
			if !m.Counts() {
				if lost[m.Why]++; lost[m.Why] > lost[x.Why] {
					x.Why = m.Why
				}
				x.Lost++
				continue
			}
			if x.Marks++; !m.Even {
				noted, share, variance = noted+1, share+m.Says.Share, variance+m.Says.SD*m.Says.SD
			}
		}
		if noted > 0 {
			x.Share = interval.Normal(share/noted, math.Sqrt(variance)/noted)
		}
		if x.Marks > 0 {
			x.Lost, x.Why = 0, ""
		}
		r.Parts = append(r.Parts, x)
	}
}

func (o *observation) describeRides(r *Result) {
	for _, x := range o.ride.Rides {
		j := Ride{Start: num(x.Start), End: num(x.End), Distance: num(x.Distance), MeanSpeed: num(x.MeanSpeed), MaxSpeed: num(x.MaxSpeed)}
		if x.Tack != "" {
			j.Tack = &x.Tack
		}
		r.Rides = append(r.Rides, j)
	}
	t := o.ride.Totals
	r.Totals = Totals{num(t.Foiling), num(t.Straight), num(t.Distance), t.Rides, t.Turns, t.Touchdowns}
	r.BestSpeeds = bestOf(o.ride.BestSpeeds)
}

// describeLaw tells the pitch law; the slope is per square metre only when
// the setup tells the mass.
func (o *observation) describeLaw(r *Result) {
	f := o.law
	if f == nil {
		if o.given != nil {
			r.WaterFlow = &WaterFlow{East: interval.Exact(o.given[0]), North: interval.Exact(o.given[1]), Source: "given"}
		}
		return
	}
	law := &PitchLaw{
		Zero: o.levelled(degrees(f.Zero)), Slope: interval.Unknown(), SlopePerKg: degrees(f.Slope),
		Windows: len(f.Windows), RMS: num(f.RMS / degree), ByTack: map[string]interval.Interval{},
		Bend: []Bend{}, Enough: f.Enough, Missing: []Finding{},
	}
	for _, l := range f.Missing {
		law.Missing = append(law.Missing, l)
	}
	if r.Setup != nil {
		law.Slope = law.SlopePerKg.Scale(1 / (r.Setup.Rider.Mass + r.Setup.Board.Mass))
	}
	for tack, z := range f.ZeroByTack {
		law.ByTack[tack] = o.levelled(degrees(z))
	}
	for _, b := range f.Bends {
		unit := "deg"
		if b.Kind == pitchlaw.Drift {
			unit = "deg per hour"
		}
		law.Bend = append(law.Bend, Bend{b.Kind, degrees(b.Size), unit, num(b.P), b.Matters})
	}
	r.PitchLaw = law
	r.WaterFlow = &WaterFlow{East: f.FlowEast, North: f.FlowNorth, Source: f.FlowSource}
	if f.Enough {
		for i := range curvePoints {
			v := f.MinSpeed + (f.MaxSpeed-f.MinSpeed)*float64(i)/(curvePoints-1)
			r.PitchCurve = append(r.PitchCurve, PitchPoint{num(v), o.levelled(degrees(f.PitchAt(v, trim.Gravity)))})
		}
	} else {
		law.Zero, law.Slope, law.SlopePerKg = interval.Unknown(), interval.Unknown(), interval.Unknown()
	}
	for _, e := range o.effort {
		p := e.PitchRate.Scale(1 / degree)
		r.ControlEffort = append(r.ControlEffort, EffortPoint{num(e.Speed), num(p.Value), p, e.Tack})
	}
}

// levelled widens an absolute pitch (deg) by the doubt of the level zero. A
// relative pitch has no such doubt, and differences within a log do not feel it.
func (o *observation) levelled(i interval.Interval) interval.Interval {
	m := o.motion.Mount
	if !m.LevelZero || math.IsNaN(m.LevelSE) {
		return i
	}
	level := interval.Z90 * m.LevelSE / degree
	return interval.Interval{Value: i.Value, Low: i.Value - math.Hypot(i.Value-i.Low, level), High: i.Value + math.Hypot(i.High-i.Value, level)}
}

// load is the feet's load at each speed, today and after the next step, from
// all the draws.
func (r *Result) load() {
	type flying struct {
		point trim.Point
		trend trim.Trend
	}
	foils, speeds := r.Posterior.Foils(), r.grid()
	r.FootLoad = make([]LoadPoint, len(speeds))
	filter.Each(len(speeds), func(k int) {
		each := make([]flying, len(foils))
		for i := range foils {
			each[i] = flying{foils[i].Point(speeds[k], trim.Gravity), foils[i].Trend(speeds[k])}
		}
		with := func(c trim.Change) (share, gradient interval.Interval) {
			return trim.Over(r.Posterior, each, func(f *flying) float64 { return f.point.With(c).FrontShare }),
				trim.Over(r.Posterior, each, func(f *flying) float64 { return advice.PerKnot * f.trend.Gradient(c) })
		}
		p := LoadPoint{Speed: num(speeds[k])}
		p.Moment = trim.Over(r.Posterior, each, func(f *flying) float64 { return f.point.With(trim.Change{}).NetMoment })
		p.FrontShare, p.Gradient = with(trim.Change{})
		p.FrontShareAfter, p.GradientAfter = p.FrontShare, p.Gradient
		if c := r.Advice.Step; c != (trim.Change{}) {
			p.FrontShareAfter, p.GradientAfter = with(c)
		}
		r.FootLoad[k] = p
	})
}

// Balance fills in the forces at the low, middle and top speed that count, from
// all the draws. [Run] calls it.
func (r *Result) Balance() {
	r.Forces = []Forces{}
	for _, v := range []float64{r.RangeLow, (r.RangeLow + r.RangeHigh) / 2, r.RangeHigh} {
		states := make([]trim.State, len(r.Posterior.Draws))
		for i, in := range r.Posterior.Draws {
			states[i] = trim.NewFoil(in).At(v, trim.Gravity)
		}
		of := func(f func(s *trim.State) float64) interval.Interval { return trim.Over(r.Posterior, states, f) }
		r.Forces = append(r.Forces, Forces{
			Speed:      num(v),
			Pitch:      of(func(s *trim.State) float64 { return s.Pitch / degree }),
			WingLift:   of(func(s *trim.State) float64 { return s.WingLift }),
			StabLift:   of(func(s *trim.State) float64 { return s.StabLift }),
			Drag:       of(func(s *trim.State) float64 { return s.Drag }),
			FrontShare: of(func(s *trim.State) float64 { return s.FrontShare }),
			LoadPoint:  of(func(s *trim.State) float64 { return 1000 * s.FootPressureX }),
		})
	}
}

// advise advises the rider, and another one where there is one, unless
// something must be cleared up first.
func (r *Result) advise(other *setup.Setup, hold *advice.Reason) {
	w, post := r.weights, r.Posterior
	r.Advice = advice.Advise(post, r.Setup, w, advice.Options{LawOK: r.own.HasLaw, Hold: hold})
	if other != nil {
		r.OtherRider = advice.ForRider(post, r.Setup, other, w, advice.Options{LawOK: r.own.HasLaw})
	}
	before, after := advice.Sensitivity(post, w, r.Setup.Rider.Level)
	for i, u := range post.Unknowns {
		r.Assumptions = append(r.Assumptions, Assumption{
			Name: u.Name, Unit: u.Unit, Prior: u.Prior, Posterior: u.Posterior, Default: u.Default,
			ShimDegPerSigma: num(before[i]), ShimDegPerSigmaAfter: num(after[i]),
		})
	}
	if post.HasRider() {
		r.Rider = &Rider{
			Zero:  trim.Over(post, post.Draws, func(in *trim.Inputs) float64 { return in.RiderZero }),
			Scale: trim.Over(post, post.Draws, func(in *trim.Inputs) float64 { return 1 + in.RiderScale }),
		}
	}
	for _, n := range post.LeftOut {
		r.warn(n)
	}
	for _, c := range post.Conflicts {
		r.warn(c)
	}
}

// How a moment to ask about must lie, s: in the middle of calm straight flight,
// and how many are asked about.
const (
	askedApart = 60.0
	askedEdge  = 6.0
	askedMost  = 5
	askedFrom  = 60 // moments that are weighed
)

// ask picks the moments to ask about, where the rider marked none.
func (r *Result) ask() {
	o := r.seen
	if slices.ContainsFunc(r.Marks, func(m mark.Mark) bool { return m.Counts() }) || o.ride == nil || o.log.Start.IsZero() {
		return
	}
	var all []Question
	var speeds []float64
	flow := o.flow()
	last := math.Inf(-1)
	for _, x := range o.ride.Reaches {
		for at := x.Start + askedEdge; at < x.End-askedEdge; at += askedApart / 4 {
			ve, vn, _, ok := o.ride.Speed.Mean(at-1.5, at+1.5)
			if !ok || at-last < askedApart || mark.Whereabouts(o.ride, at) != "" {
				continue
			}
			last = at
			t := o.log.Start.Add(time.Duration(at) * time.Second).Truncate(time.Second)
			all = append(all, Question{Time: t, Speed: num(math.Hypot(ve, vn)), Tack: x.Tack})
			speeds = append(speeds, math.Hypot(ve-flow.East, vn-flow.North))
		}
	}
	if n := len(all); n > askedFrom { // thinned evenly
		for i := range askedFrom {
			all[i], speeds[i] = all[i*n/askedFrom], speeds[i*n/askedFrom]
		}
		speeds = speeds[:askedFrom]
	}
	for _, i := range advice.Questions(r.Posterior, r.outing.Setup, r.weights, speeds, askedMost) {
		r.Questions = append(r.Questions, all[i])
	}
	slices.SortFunc(r.Questions, func(a, b Question) int { return a.Time.Compare(b.Time) })
}

// clockTime is a moment of a dated log, s since its start, to the second; nil without a date.
func clockTime(log *ingest.Log, at float64) *time.Time {
	if log.Start.IsZero() {
		return nil
	}
	t := log.Start.UTC().Add(time.Duration(at * float64(time.Second))).Round(time.Second)
	return &t
}

func mount(m align.Mount) *Mount {
	return &Mount{
		Heading: interval.Normal(m.Heading/degree, m.HeadingSE/degree), Tilt: num(m.Tilt / degree), AccelerometerSign: m.AccelerometerSign,
		LevelZero: m.LevelZero, LevelFrom: m.LevelFrom, Rigid: m.Rigid, Why: m.Why,
	}
}

func num(v float64) interval.Number { return interval.Number(v) }
