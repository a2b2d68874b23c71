package simulate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/num/quat"
)

// A Session is a scenario played: what the devices logged, and the truth.
type Session struct {
	Scenario Scenario
	// Log is the whole outing as read from perfect files. Its Start is the
	// scenario's. With a clock offset or drift, Log.IMU.Time is on the IMU's
	// own clock (it may be negative) and Clock.Tied is false.
	Log *ingest.Log
	// IMULog and GPSLog are the two devices apart, for writing files. IMULog
	// starts at its first sample, by its own clock.
	IMULog, GPSLog *ingest.Log
	DeckLog        *ingest.Log // insoles and mast, by their own clock; nil without
	Truth          Truth
}

// Truth is what really happened. The columns are one value an IMU sample, in
// step with Log.IMU's (with NoIMU: what a logger would have had).
type Truth struct {
	Time        []float64 // s since Scenario.Start on the GPS clock
	Pitch       []float32 // rad, the board's, bow-up
	Heel        []float32 // rad, starboard side down
	Heading     []float32 // rad true, where the bow points, clockwise from north
	Speed       []float32 // m/s through the water
	East, North []float32 // m/s over ground
	Normal      []float32 // m/s², deck-normal specific force over the mast
	PitchRate   []float32 // rad/s, bow-up
	Up          []float32 // m/s², vertical acceleration
	QSensor     []quat.Number
	Flying      []bool

	Phases  []Phase
	Flights []Span
	Reaches []Reach
	Turns   []Turn // between reaches of different tack
	Events  []Event
	Glides  []Glide

	Zero       float64 // rad, θ0 of the pitch law: mean of the tacks
	Slope      float64 // rad per m², K of the pitch law, (1-λ')/A
	SlopePerKg float64 // rad per (m²/kg): Slope times the total mass
	FlowAt     func(t float64) (east, north float64)
	Flow       [2]float64 // m/s, mean over the session
	WindFrom   float64    // rad true
	Mount      quat.Number
	MountAfter quat.Number // of a sensor that shifted; else Mount
	ShiftAt    float64     // s; +Inf when it does not
	FoilingS   float64
}

type Span struct{ Start, End float64 } // s

// A Phase has the kinds of package ride: flight, taxi, swim, carry, rest.
type Phase struct {
	Start, End float64
	Kind       string
}

type Reach struct {
	Span
	Course float64 // rad true, through the water
	Tack   string  // the side the wind comes from
}

type Turn struct {
	Span
	Flown bool
}

type Event struct {
	Time float64 // s
	Kind string  // "take-off" | "touchdown" | "breach" | "fall"
}

// Run plays the scenario.
func Run(sc Scenario) *Session {
	rate := sc.IMURate
	if rate <= 0 {
		rate = 50
		sc.IMURate, sc.NoIMU = rate, true
	}
	dt := 1 / (rate * (1 + sc.DriftPPM*1e-6)) // the logger's clock sets the sampling
	script := write(&sc)
	m := move(&sc, script, dt)
	defer m.free()
	q := m.rotations(0)
	for i := range q {
		q[i] = m.board(i)
	}
	hold := newHolder(&sc, dt)
	imu, sensor, index := m.imu(&sc, q, hold)
	gps := m.gps(&sc)

	s := &Session{Scenario: sc}
	s.truth(m, script, q, sensor, index, hold)
	s.logs(imu, gps)
	s.deckLogs(m.deck(&sc, script, index, imu.Time))
	return s
}

func (s *Session) truth(m *motion, script *script, q, sensor []quat.Number, index []int, hold *holder) {
	sc := &s.Scenario
	t := &s.Truth
	*t = script.t
	n := len(index)
	t.Time, t.QSensor, t.Flying = make([]float64, n), make([]quat.Number, n), make([]bool, n)
	for _, c := range []*[]float32{&t.Pitch, &t.Heel, &t.Heading, &t.Speed, &t.East, &t.North, &t.Normal, &t.PitchRate, &t.Up} {
		*c = make([]float32, n)
	}
	for i := range n {
		k := index[i]
		t.Time[i] = float64(k) * m.dt
		t.Pitch[i], t.Heel[i] = float32(m.pitch[k]), float32(math.Remainder(m.heel[k], 2*math.Pi))
		t.Heading[i] = float32(wrap2(math.Pi/2 - m.yaw[k]))
		t.Speed[i], t.East[i], t.North[i] = float32(m.speed[k]), float32(m.vE[k]), float32(m.vN[k])
		t.Normal[i], t.Up[i] = float32(m.normal[k]), float32(m.acc[2][k])
		t.PitchRate[i] = float32(slope(m.pitch, k, m.dt))
		t.QSensor[i] = sensor[k]
		t.Flying[i] = m.fly[k] >= 0.5
	}
	in := sc.Foil
	mass := in.RiderMass + in.BoardMass
	t.Slope = m.slope * (1 - in.RigLiftFraction*in.RiderMass/mass)
	t.SlopePerKg = t.Slope * mass
	t.Zero = 0.5 * (m.zeroPort + m.zeroStb)
	t.FlowAt = sc.flowAt
	e, no := sc.flowAt(sc.Duration / 2)
	t.Flow = [2]float64{e, no}
	t.WindFrom = wrap2(sc.WindFrom)
	t.Mount, t.MountAfter, t.ShiftAt = sc.Mount, hold.after, hold.shiftAt
	for _, f := range t.Flights {
		t.FoilingS += f.End - f.Start
	}
}

func (s *Session) logs(imu ingest.IMU, gps ingest.GPS) {
	sc := &s.Scenario
	gpsFile := ingest.File{Name: "watch.gpx", Kind: "GPX", Device: "simulated watch", Read: len(gps.Time), Channels: []ingest.Channel{
		{Name: "position", Unit: "deg", Samples: len(gps.Time), RateHz: gps.Rate},
	}}
	imuFile := ingest.File{Name: "board.csv", Kind: "CSV", Device: "simulated logger", Read: len(imu.Time), Channels: []ingest.Channel{
		{Name: "accelerometer", Unit: "m/s²", Samples: len(imu.Time), RateHz: imu.Rate},
		{Name: "gyroscope", Unit: "rad/s", Samples: len(imu.Time), RateHz: imu.Rate},
	}}
	stamp := func(f *ingest.File, t []float64) {
		if len(t) > 0 {
			f.First, f.Last = sc.Start.Add(seconds(t[0])), sc.Start.Add(seconds(t[len(t)-1]))
		}
	}
	stamp(&gpsFile, gps.Time)
	stamp(&imuFile, imu.Time)
	s.GPSLog = &ingest.Log{Start: sc.Start, GPS: gps, Files: []ingest.File{gpsFile}}
	s.Log = &ingest.Log{Start: sc.Start, GPS: gps, Files: []ingest.File{gpsFile}}
	s.IMULog = &ingest.Log{}
	if sc.NoIMU || len(imu.Time) == 0 {
		return
	}
	s.Log.IMU = imu
	s.Log.IMU.File = 1
	s.Log.Files = append(s.Log.Files, imuFile)
	if sc.ClockOffset == 0 && sc.DriftPPM == 0 {
		s.Log.Clock = ingest.Clock{Tied: true, How: "both UTC", OffsetSE: math.NaN()}
	} else {
		s.Log.Clock = ingest.Clock{OffsetSE: math.NaN(), DriftSE: math.NaN()}
	}
	apart := imu
	t0 := imu.Time[0]
	apart.Time = fromStart(imu.Time)
	apart.Gaps = gaps(apart.Time, 1/sc.IMURate)
	s.IMULog = &ingest.Log{Start: sc.Start.Add(seconds(t0)), IMU: apart, Files: []ingest.File{imuFile}}
}

// fromStart are times since the first of them.
func fromStart(t []float64) []float64 {
	t = slices.Clone(t)
	floats.AddConst(-t[0], t)
	return t
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// Share is the true front foot's share at a speed through the water.
func (s *Session) Share(speed float64) float64 {
	return trim.NewFoil(s.Scenario.Foil).At(speed, trim.Gravity).FrontShare
}

// Felt is what this rider calls the front foot's share at a speed, 0..1: the
// true one through the rider's own zero and scale, which the true foil holds.
func (s *Session) Felt(speed float64) float64 {
	return min(max(s.Scenario.Foil.Said(s.Share(speed)), 0), 1)
}

// FeelNotes are honest notes at the given speeds, m/s: what the rider feels
// with an error of sd (1σ), said in percent.
func (s *Session) FeelNotes(speeds []float64, sd float64) []setup.Feel {
	r := stream(s.Scenario.Seed, 50)
	out := make([]setup.Feel, 0, len(speeds))
	for _, v := range speeds {
		share := min(max(s.Felt(v)+sd*r.NormFloat64(), 0), 1)
		out = append(out, setup.Feel{Speed: v, Share: share, SD: sd, Said: fmt.Sprintf("%.0f%%", 100*share)})
	}
	return out
}
