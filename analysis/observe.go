package analysis

import (
	"math"
	"slices"

	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/ingest"
)

const degree = math.Pi / 180

// An observation is what the logs of one session show, whoever rode. Each
// part is nil when the log does not hold it.
type observation struct {
	log      *ingest.Log
	motion   *align.Motion
	pair     *align.Pair // of IMU and GPS; made anew when the IMU's times move
	ride     *ride.Session
	law      *pitchlaw.Fit
	effort   []pitchlaw.Effort
	parts    []mark.Part
	marks    []mark.Mark
	told     []trim.Load   // by the marks
	forces   []*FootForces // one a deck of the log
	measured trim.Evidence // what the forces tell
	glides   glide.Outing
	drag     *glide.Fit  // nil where no glide counts
	misfit   error       // a change of the setup that the log cannot hold
	given    *[2]float64 // m/s east and north, the current that the setup states; nil when it does not
	warnings []Finding
	sound    *attitude.Samples // the IMU's samples once they were looked through
	windless bool              // the setup's rig is none that the wind drives
}

// observe goes from a log to the pitch law. It never fails: what a log cannot
// show is left out, with the reason among the warnings.
func observe(log *ingest.Log, s *setup.Setup, progress func(string)) *observation {
	o := &observation{log: log, given: statedFlow(s), windless: s != nil && (s.Rig.Kind == "tow" || s.Rig.Kind == "none")}
	if log == nil {
		o.parts, o.misfit = mark.Parts(nil, s)
		return o
	}
	o.thin()
	progress("tying the clocks")
	aid := o.tieClocks()
	progress("estimating the attitude")
	o.motion = o.board(aid, s)
	o.pair = nil
	if o.motion != nil { // only an export looks at it again
		o.motion.Track.Q, o.motion.Track.SE = nil, nil
	}
	progress("telling the rides")
	in := rideInput(log, o.motion)
	in.Slowest = slowest(s)
	o.ride = ride.Detect(in)
	o.parts, o.misfit = mark.Parts(log, s)
	o.marks = mark.Read(log, s, o.ride, o.motion, o.parts)
	glides := o.findGlides(s)
	o.tieDecks()
	if m := o.motion; m != nil && o.usable() {
		progress("fitting the pitch law")
		windows := besides(o.asAtStart(pitchlaw.MakeWindows(m, o.ride), s), glides)
		m.PitchSE, m.Normal, m.PitchRate, m.Up = nil, nil, nil, nil // what the page draws stays
		o.law = pitchlaw.Estimate(windows, pitchlaw.Params{Density: density(s), GivenFlow: o.given})
		o.effort = pitchlaw.ControlEffort(o.law.Windows)
	}
	o.readDecks(s, glides)
	if o.lawOK() {
		o.zeroJump()
	}
	o.fitGlides(glides, s)
	o.told = mark.Evidence(o.marks, o.parts, o.ride, o.flow())
	return o
}

// asAtStart takes out of the windows' pitch what a shim that was changed within
// the log does to it, by the model: little, and known.
func (o *observation) asAtStart(windows []pitchlaw.Window, s *setup.Setup) []pitchlaw.Window {
	if len(o.parts) < 2 {
		return windows
	}
	in := trimInputs(s)
	zero := func(in trim.Inputs) float64 { z, _ := trim.NewFoil(in).Law(0, 0); return z }
	for i := range windows {
		w := &windows[i]
		raised := in.Raise(o.parts[mark.PartAt(o.parts, w.Time)].Change.Raise)
		w.PitchCos -= zero(raised) - zero(in)
	}
	return windows
}

// trimInputs is the setup's foil in the setup's water.
func trimInputs(s *setup.Setup) trim.Inputs {
	w := water.Of(s.Water.Kind, s.Water.Temperature)
	return trim.FromSetup(s, w.Density, w.Viscosity)
}

// usable says whether the board's motion may be trusted for the pitch law.
func (o *observation) usable() bool { return o.motion.Mount.Rigid }

// compared is the pair of IMU and GPS; aid may be nil.
func (o *observation) compared(aid *attitude.Aid) *align.Pair {
	if o.pair == nil {
		o.pair = align.NewPair(o.samples(), aid)
	}
	return o.pair
}

// tieClocks brings the IMU onto GPS time and returns the velocity aid, nil
// when there is no GPS or the clocks cannot be tied.
func (o *observation) tieClocks() *attitude.Aid {
	log := o.log
	if len(log.GPS.Time) == 0 {
		return nil
	}
	aid := Velocity(&log.GPS)
	if len(log.IMU.Time) == 0 {
		return aid
	}
	p := align.ClockParams{}
	switch {
	case log.Clock.Tied:
		p.MaxOffset, p.SaidEqual = tiedSearch, true
	case log.Clock.How != ingest.BothUTC:
		p.MaxOffset = math.Inf(1) // an IMU without a date may start anywhere
	}
	clock := o.compared(aid).Clock(p)
	switch {
	case log.Clock.Tied: // by the device's own word: small lags are the receiver's latency, which the filter finds
		if clock.OK && math.Abs(clock.OffsetS) > align.PlainLag {
			o.warn(Note{Kind: StampedApart, Apart: math.Abs(clock.OffsetS)})
			o.shift(clock)
		}
	case clock.OK:
		o.shift(clock)
	case log.Clock.How == ingest.BothUTC:
		o.warn(Note{Kind: ClocksUnproved, Why: clock.Why})
		log.ShiftIMU(0, 0, 0, math.NaN(), math.NaN(), ingest.Unchecked)
		o.pair = nil
	default:
		o.warn(Note{Kind: ClocksApart, Why: clock.Why, Guess: log.IMU.GyrGuess})
		return nil
	}
	return aid
}

// tiedSearch is how far, s, the clocks of one device are searched apart.
const tiedSearch = 60

func (o *observation) shift(clock align.Clock) {
	o.log.ShiftIMU(clock.AtS, clock.OffsetS, clock.DriftPPM, clock.OffsetSE, clock.DriftSE, ingest.ByMotion)
	o.pair = nil
}

// board is the board's own motion; nil when there is no IMU.
func (o *observation) board(aid *attitude.Aid, s *setup.Setup) *align.Motion {
	if len(o.log.IMU.Time) == 0 {
		return nil
	}
	if aid == nil && len(o.log.GPS.Time) > 0 {
		return nil // clocks apart: nothing may be merged
	}
	zero := math.NaN()
	if s != nil && s.Given("sensor.pitch_zero_deg") {
		zero = s.Sensor.PitchZero
	}
	if !hasGyroscope(&o.log.IMU) {
		o.warn(Note{Kind: NoGyroscope})
		return nil
	}
	m, err := o.compared(aid).Board(zero)
	if err != nil {
		o.warn(Note{Kind: NoPitch, Why: err.Error()})
		return nil
	}
	for _, n := range m.Notes {
		o.warn(n)
	}
	if !m.Mount.Rigid {
		o.warn(Note{Kind: NotRigid, Why: m.Mount.Why})
	}
	return m
}

func (o *observation) warn(f Finding) { o.warnings = append(o.warnings, f) }

// hasGyroscope says whether any sample holds a rate of turn.
func hasGyroscope(m *ingest.IMU) bool {
	return slices.ContainsFunc(m.Gyr[0], func(v float32) bool { return v == v })
}

// still is a speed below which a receiver's course means nothing, m/s.
const still = 0.3

// Velocity is the velocity over ground of each fix, NaN where it is flagged
// or unknown.
func Velocity(g *ingest.GPS) *attitude.Aid {
	a := &attitude.Aid{Time: g.Time, East: make([]float64, len(g.Time)), North: make([]float64, len(g.Time)), SD: g.SpeedSD}
	for i := range g.Time {
		v, c := float64(g.Speed[i]), float64(g.Course[i])
		switch {
		case g.Flags[i] != 0 || math.IsNaN(v):
			a.East[i], a.North[i] = math.NaN(), math.NaN()
		case math.IsNaN(c) && v > still:
			a.East[i], a.North[i] = math.NaN(), math.NaN()
		case math.IsNaN(c):
			a.East[i], a.North[i] = 0, 0
		default:
			sin, cos := math.Sincos(c * degree)
			a.East[i], a.North[i] = v*sin, v*cos
		}
	}
	return a
}

// rideInput is what the rides are told from. Fixes are moved back by the
// receiver's latency where the attitude filter has found it.
func rideInput(log *ingest.Log, m *align.Motion) ride.Input {
	g := &log.GPS
	v := Velocity(g)
	in := ride.Input{Time: g.Time, East: v.East, North: v.North, SpeedSD: g.SpeedSD, Motion: m}
	if m != nil && m.Track != nil && m.Track.LatencyS != 0 {
		in.Time = make([]float64, len(g.Time))
		for i, t := range g.Time {
			in.Time[i] = t - m.Track.LatencyS
		}
	}
	for _, gap := range g.Gaps {
		in.Gaps = append(in.Gaps, [2]float64{gap.Start, gap.End})
	}
	return in
}

// slowestMargin is for sizes that are stated wrongly.
const slowestMargin = 0.85

// slowest is the speed below which the setup's foil cannot fly, m/s, with a
// margin for sizes that are stated wrongly; 0 without a setup.
func slowest(s *setup.Setup) float64 {
	if s == nil {
		return 0
	}
	return slowestMargin * trim.NewFoil(trimInputs(s)).SlowestFlight()
}

// density is that of the setup's water, else of the sea's, kg/m³.
func density(s *setup.Setup) float64 {
	if s == nil {
		return water.Of("sea", 15).Density
	}
	return water.Of(s.Water.Kind, s.Water.Temperature).Density
}

// statedFlow is the water's velocity that a setup states, m/s east and north;
// nil when it does not.
func statedFlow(s *setup.Setup) *[2]float64 {
	if s == nil || !s.Given("water.current_kn") {
		return nil
	}
	sin, cos := math.Sincos(s.Water.CurrentTo)
	return &[2]float64{s.Water.Current * sin, s.Water.Current * cos}
}

// evidence is what the log tells the inference. A rider notes feel at speeds
// over ground, on any heading: the current is the doubt of those speeds.
func (o *observation) evidence() trim.Evidence {
	e := o.measured
	flow := o.flow()
	e.NoteSpeedSD = math.Hypot(flow.East, flow.North)
	e.Loads = slices.Concat(o.told, e.Loads)
	if o.drag != nil {
		v := o.drag.Speed()
		n, sd := o.drag.Water(v)
		e.Loads = append(e.Loads, trim.Load{Kind: trim.DragKind, Speed: v, Value: n, SD: n * sd})
	}
	if !o.lawOK() {
		return e
	}
	e.HasLaw = true
	e.Slope, e.Zero, e.Cov = o.law.Slope.Value, o.law.Zero.Value, o.law.Covariance
	// A line through the middle three fifths lies nearest to the fitted one.
	fifth := (o.law.MaxSpeed - o.law.MinSpeed) / 5
	e.LawSpeeds = [2]float64{o.law.MinSpeed + fifth, o.law.MaxSpeed - fifth}
	if m := o.motion.Mount; m.LevelZero {
		e.LevelZero, e.LevelSD = true, m.LevelSE
	}
	return e
}

// flowUnknown is 1σ of the water's velocity where nothing tells it, m/s, and
// flowStated where the setup does.
const flowUnknown, flowStated = 0.3, 0.1

// flow is the water's velocity, with its doubt along one axis: the pitch law's, else
// the setup's, else zero.
func (o *observation) flow() mark.Flow {
	f := mark.Flow{SD: flowUnknown}
	if o.given != nil {
		f = mark.Flow{East: o.given[0], North: o.given[1], SD: flowStated}
	}
	if o.lawOK() {
		if o.law.FlowEast.Known() {
			f.East, f.North = o.law.FlowEast.Value, o.law.FlowNorth.Value
		}
		if o.law.FlowDoubt > 0 {
			f.SD = o.law.FlowDoubt
		}
	}
	return f
}

func degrees(i interval.Interval) interval.Interval { return i.Scale(1 / degree) }
