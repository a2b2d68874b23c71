package report

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"sync"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

const (
	kn  = 1852.0 / 3600
	deg = math.Pi / 180
)

func num(v float64) interval.Number { return interval.Number(v) }

// fixtureSetup is an invented rider and foil, front-heavy with speed.
func fixtureSetup() *setup.Setup {
	s := &setup.Setup{
		Title:  "Lagoon, first outing",
		File:   "lagoon/setup.toml",
		Rider:  setup.Rider{Name: "Ines", Mass: 80, Height: 1.78, Level: "advanced"},
		Stance: setup.Stance{Front: 0.33, Back: -0.20, Fixed: true},
		Board:  setup.Board{Mass: 11, CG: 0.10, DeckHeight: 0.10, Track: [2]float64{-0.04, 0.05}},
		Rig:    setup.Rig{Kind: "wing", LiftFraction: 0.08},
		Foil: setup.Foil{
			Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
			Wing: setup.Wing{Area: 0.13, Span: 0.95, Ahead: 0.12, CamberPercent: 3, ThicknessRatio: 0.12, Incidence: 1 * deg},
			Stabilizer: setup.Stabilizer{Area: 0.022, Span: 0.40, BehindWing: 0.70, ThicknessRatio: 0.10,
				Incidence: -1.5 * deg, Mount: "top", ShimSpan: 0.05},
			Finish: setup.Finish{Grit: 400, TrailingEdge: 0.0005},
		},
		Water: setup.Water{Kind: "sea", Temperature: 18},
		Feel:  []setup.Feel{{Speed: 14 * kn, Share: 0.5, SD: 0.06, Said: "even"}, {Speed: 21 * kn, Share: 0.62, SD: 0.08, Said: "front"}},
	}
	s.SetGiven("rider.mass_kg", "board.track_cm", "foil.mast_cm", "foil.wing.area_cm2", "foil.wing.span_cm", "foil.stabilizer.area_cm2",
		"foil.stabilizer.span_cm", "foil.stabilizer.behind_wing_cm", "stance.front_cm", "stance.back_cm", "foil.stabilizer.mount")
	return s
}

func fixtureInputs(s *setup.Setup) trim.Inputs {
	return trim.Inputs{
		RiderMass: s.Rider.Mass, BoardMass: s.Board.Mass, BoardCG: s.Board.CG, DeckHeight: s.Board.DeckHeight,
		FrontFoot: s.Stance.Front, BackFoot: s.Stance.Back, RigLiftFraction: s.Rig.LiftFraction,
		Mast: s.Foil.Mast, Depth: s.Foil.Depth, MastChord: s.Foil.MastChord, MastThickness: s.Foil.MastThickness,
		WingArea: s.Foil.Wing.Area, WingSpan: s.Foil.Wing.Span, WingX: s.Foil.Wing.Ahead,
		CamberPercent: s.Foil.Wing.CamberPercent, WingIncidence: s.Foil.Wing.Incidence, WingThickness: s.Foil.Wing.ThicknessRatio,
		StabArea: s.Foil.Stabilizer.Area, StabSpan: s.Foil.Stabilizer.Span, StabArm: s.Foil.Stabilizer.BehindWing,
		StabIncidence: s.Foil.Stabilizer.Incidence, StabThickness: s.Foil.Stabilizer.ThicknessRatio,
		Oswald: 0.9, LaminarFraction: 0.1, Density: 1025.5, Viscosity: 1.1e-6,
	}
}

// fixture is a whole result made from the trim model and chosen doubts, the
// caller's own.
func fixture() *analysis.Result {
	return clone(reflect.ValueOf(fixtureOnce())).Interface().(*analysis.Result)
}

// clone is a deep copy, but for what lies behind unexported fields.
func clone(v reflect.Value) reflect.Value {
	to := reflect.New(v.Type()).Elem()
	to.Set(v)
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			to.Set(reflect.New(v.Type().Elem()))
			to.Elem().Set(clone(v.Elem()))
		}
	case reflect.Interface:
		if !v.IsNil() {
			to.Set(clone(v.Elem()))
		}
	case reflect.Slice:
		if !v.IsNil() {
			to.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		}
		switch v.Type().Elem().Kind() {
		case reflect.Float32, reflect.Float64, reflect.Uint8:
			reflect.Copy(to, v)
		default:
			for i := range v.Len() {
				to.Index(i).Set(clone(v.Index(i)))
			}
		}
	case reflect.Map:
		if !v.IsNil() {
			to.Set(reflect.MakeMap(v.Type()))
		}
		for _, k := range v.MapKeys() {
			to.SetMapIndex(k, clone(v.MapIndex(k)))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				to.Field(i).Set(clone(v.Field(i)))
			}
		}
	}
	return to
}

var fixtureOnce = sync.OnceValue(func() *analysis.Result {
	rng := rand.New(rand.NewPCG(7, 11))
	s := fixtureSetup()
	base := fixtureInputs(s)
	draws := make([]trim.Inputs, 160)
	for i := range draws {
		d := base
		d.StabIncidence += 0.25 * deg * rng.NormFloat64()
		d.WingX += 0.006 * rng.NormFloat64()
		d.BoardCG += 0.05 * rng.NormFloat64()
		d.ExtraCm += 0.002 * rng.NormFloat64()
		draws[i] = d
	}
	start := time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)
	r := &analysis.Result{
		Schema: analysis.Schema,
		Session: analysis.Session{Title: s.Title, Start: &start, Duration: 2700, GPSHz: 10, IMUHz: 100,
			Files: []string{"/home/someone/secret place/watch.gpx", "logger.csv"}, ClockOffset: interval.Normal(3.42, 0.01),
			Warnings: []analysis.Finding{"watch.gpx, line 812: two fixes share one time; the second was left out."}},
		Mount: &analysis.Mount{Heading: interval.Normal(91.2, 0.6), Tilt: 3.1, AccelerometerSign: 1, LevelZero: true,
			LevelFrom: align.Finding{Kind: align.LevelStill, At: 12, Until: 31, Heel: 0.005, Sway: 0.0002}, Rigid: true},
		Setup: s, RangeLow: 11 * kn, RangeHigh: 23 * kn,
		Posterior: &trim.Posterior{Base: base, MAP: base, Draws: draws},
		WaterFlow: &analysis.WaterFlow{East: interval.Normal(-0.22, 0.09), North: interval.Normal(0.05, 0.1), Source: "estimated"},
	}
	fixtureSession(r, rng, trim.NewFoil(base))
	fixtureAdvice(r, draws)
	fixtureLoad(r)
	r.Balance()
	for i, a := range []struct {
		name, unit string
		sd, after  float64
		effect     float64
	}{{"stabilizer incidence", "deg", 0.4, 0.26, -0.4}, {"stabilizer zero-lift angle", "deg", 0.7, 0.5, 0.5}, {"section moment beyond camber", "", 0.01, 0.006, 0.45},
		{"camber", "%", 1, 0.8, 0.3}, {"board centre of gravity", "mm", 80, 71, -0.12}, {"thrust line", "mm", 50, 46, 0.1},
		{"rig's vertical lift", "", 0.05, 0.045, 0.08}, {"drag", "%", 20, 19, 0.05}, {"front foot", "mm", 15, 14, -0.02}} {
		r.Assumptions = append(r.Assumptions, analysis.Assumption{Name: a.name, Unit: a.unit, Prior: interval.Normal(0, a.sd),
			Posterior: interval.Normal(0.2*a.sd, a.after), ShimDegPerSigma: num(a.effect), ShimDegPerSigmaAfter: num(a.effect * a.after / a.sd), Default: i%2 == 1})
	}
	return r
})

// fixtureSession rides up and down for 45 minutes.
func fixtureSession(r *analysis.Result, rng *rand.Rand, foil trim.Foil) {
	const hz, dur = 5, 2700
	log := &ingest.Log{Start: *r.Session.Start}
	m := &align.Motion{Mount: align.Mount{LevelZero: true, Rigid: true}}
	rs := &ride.Session{}
	law := &pitchlaw.Fit{Enough: true, FlowSource: "estimated", ZeroByTack: map[string]interval.Interval{}}
	mass := r.Setup.Rider.Mass + r.Setup.Board.Mass
	bins := map[int]float64{}
	lat, lon := 47.831, 12.462
	for lap := 0; lap*90 < dur-200; lap++ {
		t0 := 60 + float64(lap)*90
		tack := []string{"port", "starboard"}[lap%2]
		rs.Rides = append(rs.Rides, ride.Ride{Start: t0, End: t0 + 80, Distance: 640, MeanSpeed: 8, MaxSpeed: 11, Tack: tack})
		rs.Reaches = append(rs.Reaches, ride.Reach{Start: t0 + 4, End: t0 + 74, Ride: lap, Course: math.Pi * float64(lap%2), Tack: tack})
		rs.Turns = append(rs.Turns, ride.Turn{Start: t0 + 74, End: t0 + 82, Complete: true})
		rs.Events = append(rs.Events, ride.Event{Time: t0, Kind: "take-off"}, ride.Event{Time: t0 + 80, Kind: "touchdown"})
	}
	rs.Speed = ride.SpeedSeries{Step: 1.0 / hz}
	for k := range dur * hz {
		t := float64(k) / hz
		lap := int((t - 60) / 90)
		v, flying := 2.0, t > 60 && lap < len(rs.Rides) && math.Mod(t-60, 90) < 80
		dir := 1 - 2*float64(max(lap, 0)%2)
		if flying {
			u := math.Mod(t-60, 90) / 80
			v = (10.5 + 13*math.Sin(math.Pi*u)*(0.75+0.25*math.Sin(float64(lap)))) * kn
			bins[int(v/kn)] += 1.0 / hz
		}
		lon += dir * v / hz / 90000
		lat += 0.1 * v / hz / 111000 * math.Sin(t/200)
		p := 0.05 + 0.002*rng.NormFloat64()
		if flying {
			p = foil.At(v, trim.Gravity).Pitch + 0.006*rng.NormFloat64()
		}
		m.Time = append(m.Time, t)
		m.Pitch = append(m.Pitch, float32(p))
		m.Heel = append(m.Heel, float32(dir*0.25+0.02*rng.NormFloat64()))
		log.GPS.Time = append(log.GPS.Time, t)
		log.GPS.Lat = append(log.GPS.Lat, lat)
		log.GPS.Lon = append(log.GPS.Lon, lon)
		log.GPS.Speed = append(log.GPS.Speed, float32(v))
		log.GPS.Course = append(log.GPS.Course, float32(90*dir))
		log.GPS.Flags = append(log.GPS.Flags, 0)
		rs.Speed.East = append(rs.Speed.East, dir*v)
		rs.Speed.North = append(rs.Speed.North, 0)
		if flying && k%(2*hz) == 0 && v > 9*kn {
			w := pitchlaw.Window{Time: t, Duration: 2, PitchCos: p, PitchSE: 0.004, Normal: trim.Gravity, East: dir * v, Tack: int(-dir), Reach: lap,
				Weight: 1, Speed: v, LiftArea: trim.Gravity / (0.5 * 1025.5 * v * v), PitchRate: 0.02 + 0.001*v}
			if rng.Float64() < 0.05 {
				w.Reason, w.Weight, w.PitchCos = "pumping", 0, w.PitchCos+0.02
			}
			law.Windows = append(law.Windows, w)
		}
	}
	log.GPS.Rate, log.GPS.SpeedFrom, log.GPS.SpeedSD = hz, "receiver", 0.1
	log.Files = []ingest.File{{Name: "watch.gpx", Kind: "GPX", Bytes: 812000, Read: dur * hz, Channels: []ingest.Channel{{Name: "position", Unit: "deg", Samples: dur * hz, RateHz: hz}},
		Dropped: []ingest.Dropped{{Count: 1, Reason: "shared a time with the fix before"}}},
		{Name: "logger.csv", Kind: "CSV", Bytes: 9120000, Read: 270000, Device: "board logger", Channels: []ingest.Channel{{Name: "accelerometer", Unit: "g", Samples: 270000, RateHz: 100}, {Name: "gyroscope", Unit: "dps", Samples: 270000, RateHz: 100, Gaps: 2, LongestGapS: 1.4}}}}
	log.Clock = ingest.Clock{Tied: true, How: "estimated from the motion", OffsetS: 3.42, OffsetSE: 0.01, DriftPPM: 12}
	m.Segments = [][2]int{{0, len(m.Time)}}
	k := (1 - 0.08*80/mass) / foil.At(8, trim.Gravity).LiftArea * mass
	law.Slope = interval.Normal(k, 0.02*k)
	zero := foil.At(50, trim.Gravity).Pitch
	law.Zero = interval.Normal(zero, 0.15*deg)
	law.ZeroByTack["port"], law.ZeroByTack["starboard"] = interval.Normal(zero+0.1*deg, 0.2*deg), interval.Normal(zero-0.1*deg, 0.2*deg)
	law.MinSpeed, law.MaxSpeed, law.RMS = 10*kn, 23.5*kn, 0.35*deg
	law.FlowEast, law.FlowNorth = interval.Normal(-0.22, 0.09), interval.Normal(0.05, 0.1)
	law.Covariance = [2][2]float64{{2e-6, -1e-4}, {-1e-4, 0.02}}
	r.Log, r.Motion, r.Ride, r.Law = log, m, rs, law
	r.PitchLaw = &analysis.PitchLaw{Zero: law.Zero.Scale(1 / deg), Slope: law.Slope.Scale(1 / deg / mass), SlopePerKg: law.Slope.Scale(1 / deg),
		Windows: len(law.Windows), RMS: 0.35, ByTack: map[string]interval.Interval{"port": law.ZeroByTack["port"].Scale(1 / deg), "starboard": law.ZeroByTack["starboard"].Scale(1 / deg)}, Enough: true}
	for _, x := range rs.Rides {
		tack := x.Tack
		r.Rides = append(r.Rides, analysis.Ride{Start: num(x.Start), End: num(x.End), Distance: num(x.Distance), MeanSpeed: num(x.MeanSpeed), MaxSpeed: num(x.MaxSpeed), Tack: &tack})
	}
	r.Totals = analysis.Totals{Foiling: 2240, Straight: 1990, Distance: 17800, Rides: len(rs.Rides), Turns: len(rs.Turns), Touchdowns: len(rs.Rides)}
	r.BestSpeeds = analysis.BestSpeeds{TwoSeconds: 12.1, TenSeconds: 11.9, Metres500: 10.8, NauticalMile: num(math.NaN())}
	keys := []int{}
	for b := range bins {
		keys = append(keys, b)
	}
	slices.Sort(keys)
	for _, b := range keys {
		r.SpeedHistogram = append(r.SpeedHistogram, analysis.SpeedBin{Low: float64(b) * kn, High: float64(b+1) * kn, Seconds: bins[b]})
	}
	for v := 10.0; v <= 23; v++ {
		r.PitchCurve = append(r.PitchCurve, analysis.PitchPoint{Speed: num(v * kn), Pitch: interval.Normal(foil.At(v*kn, trim.Gravity).Pitch/deg, 0.15)})
		for i, tack := range []string{"port", "starboard"} {
			e := 1 + 0.004*(v-14)*(v-14) + 0.15*float64(i)
			r.ControlEffort = append(r.ControlEffort, analysis.EffortPoint{Speed: num(v * kn), PitchRate: num(e), Interval: interval.Normal(e, 0.08), Tack: tack})
		}
	}
}

// fixtureLoad is the load today and after the advised step.
func fixtureLoad(r *analysis.Result) {
	draws, step := r.Posterior.Draws, r.Advice.Step
	r.FootLoad = nil
	var foils []trim.Foil
	for _, d := range draws {
		foils = append(foils, trim.NewFoil(d))
	}
	for v := 10.0; v <= 23.5; v += 0.5 {
		var share, mom, grow, after, growAfter []float64
		for _, f := range foils {
			s, p, t := f.At(v*kn, trim.Gravity), f.Point(v*kn, trim.Gravity), f.Trend(v*kn)
			share, mom, grow = append(share, s.FrontShare), append(mom, s.NetMoment), append(grow, advice.PerKnot*t.Gradient(trim.Change{}))
			after, growAfter = append(after, p.With(step).FrontShare), append(growAfter, advice.PerKnot*t.Gradient(step))
		}
		r.FootLoad = append(r.FootLoad, analysis.LoadPoint{Speed: num(v * kn), FrontShare: interval.FromDraws(share, nil), Moment: interval.FromDraws(mom, nil),
			Gradient: interval.FromDraws(grow, nil), FrontShareAfter: interval.FromDraws(after, nil), GradientAfter: interval.FromDraws(growAfter, nil)})
	}
}

// fixtureOption is what cards of 0.76 mm do, with the foil moved by move metres.
func fixtureOption(draws []trim.Inputs, mm, moveM float64) advice.Option {
	turn := math.Atan(mm / 50)
	o := advice.Option{Shim: num(mm), StabilizerDeg: num(turn / deg), FoilMove: interval.Normal(moveM*1000, 6), Reachable: moveM > -0.04}
	var today, changed []trim.Foil
	for _, d := range draws {
		today = append(today, trim.NewFoil(d))
		d.StabIncidence += turn
		d.WingX += moveM
		changed = append(changed, trim.NewFoil(d))
	}
	share := func(f trim.Foil, v float64) float64 { return f.At(v, trim.Gravity).FrontShare }
	rms := func(f trim.Foil) float64 {
		var sum float64
		for v := 11.0; v <= 23; v++ {
			sum += math.Pow(share(f, v*kn)-0.5, 2) / 13
		}
		return math.Sqrt(sum)
	}
	var even, grow []float64
	better := 0
	for i, f := range changed {
		a := rms(f)
		if a < rms(today[i]) {
			better++
		}
		even = append(even, a)
		grow = append(grow, 50*kn*(share(f, 23.5*kn)-share(f, 22.5*kn))/(0.5*kn))
	}
	o.Evenness, o.Gradient, o.Overshoot = interval.FromDraws(even, nil), interval.FromDraws(grow, nil), 0.04
	o.ChanceBetter = num(float64(better) / float64(len(draws)))
	for v := 11.0; v <= 23; v++ {
		var shares []float64
		for _, f := range changed {
			shares = append(shares, share(f, v*kn))
		}
		iv := interval.FromDraws(shares, nil)
		o.Curve = append(o.Curve, advice.SharePoint{Speed: num(v * kn), Share: iv})
		switch v {
		case 11:
			o.ShareLow = iv
		case 17:
			o.ShareMid = iv
		case 23:
			o.ShareTop = iv
		}
	}
	return o
}

func fixtureAdvice(r *analysis.Result, draws []trim.Inputs) {
	const perCard = -0.014 // m of foil move that goes with a card, found by hand
	place := "leading edge"
	a := &advice.Advice{
		StabilizerChange: interval.Normal(1.5, 0.35), FoilMove: interval.Normal(-24, 9), Shim: 0.76, Cards: 1, ShimPlace: &place, MoveNow: -14,
		Verdict: advice.Change, Next: advice.Reason{Kind: advice.TakeStep}, Step: trim.Change{Raise: math.Atan(0.76 / 50), Foil: -0.014},
		Why: []advice.Reason{{Kind: advice.MoreCards, Cards: 1.7}},
		WorthKnowing: []advice.Observation{{Kind: advice.NoteFeel, Speeds: []float64{23 * kn}, ShimSDNow: 0.35, ShimSD: 0.27},
			{Kind: advice.MeasureAngle, SD: 0.2 * deg, ShimSDNow: 0.35, ShimSD: 0.31},
			{Kind: advice.RideCard, Speeds: []float64{12 * kn, 17 * kn, 22 * kn}, Edge: place, ChangesTrim: true, ShimSDNow: 0.35, ShimSD: 0.24}},
	}
	for c := range 5 {
		o := fixtureOption(draws, 0.76*float64(c), perCard*float64(c))
		o.Cards = float64(c)
		a.Options = append(a.Options, o)
	}
	best := fixtureOption(draws, 50*math.Tan(1.5*deg), perCard*50*math.Tan(1.5*deg)/0.76)
	best.Best = true
	a.Options = append(a.Options, best)
	a.ChanceBetter = a.Options[1].ChanceBetter
	a.EvennessNow, a.EvennessAfter = a.Options[0].Evenness, a.Options[1].Evenness
	a.GradientNow, a.GradientAfter, a.Overshoot = a.Options[0].Gradient, a.Options[1].Gradient, 0.04
	r.Advice = a
}
