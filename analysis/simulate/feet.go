package simulate

import (
	"math"
	"math/rand/v2"

	"evenfoot/analysis/trim"
	"evenfoot/ingest"
)

// Feet are insoles, or a pad under each foot, and an instrumented mast. The
// zero value logs nothing; [Insoles] is a usual pair.
type Feet struct {
	Rate     float64    // Hz; 0 = none
	Gain     [2]float64 // relative error of each side
	Zero     [2]float64 // N, of each side at mid-session
	Drift    float64    // N RMS, slow change of each zero over ten minutes
	Noise    float64    // N RMS a sample
	Switch   bool       // the rider changes feet with the tack
	Beside   bool       // in the board logger's file, by its clock and rate
	Offset   float64    // s, own clock minus GPS clock
	Dated    bool       // the file tells a date by its own clock
	NoFeet   bool       // only the mast
	Mast     bool       // the mast's moment too
	MastGain float64    // relative error
	MastZero float64    // N·m
}

// Insoles are a pair whose gains are a few percent out, as sensors of this kind are.
func Insoles() Feet {
	return Feet{Rate: 50, Gain: [2]float64{0.04, -0.03}, Zero: [2]float64{12, -8}, Drift: 4, Noise: 6, Offset: 2371.4}
}

// What the feet do besides the balance, of no source but to be as restless as
// riders look: the share wanders by footwork about every footTime, the rig's
// lift by gusts about every rigTime, and the legs take up what is faster than
// legTime.
const (
	footWork, footTime = 0.03, 0.6 // share RMS, s
	rigWork, rigTime   = 0.03, 3.0 // of the rider's weight RMS, s
	legTime            = 0.4       // s
	stepTime           = 1.1       // s, two steps ashore
)

// deck is what insoles and mast log; index is of the logger's samples on the
// grid, imu their times.
func (m *motion) deck(sc *Scenario, script *script, index []int, imu []float64) (d ingest.Deck) {
	k := &sc.Feet
	if !(k.Rate > 0) && !k.Beside {
		return d
	}
	phases, side := script.t.Phases, m.samples(script.side, 1.5)
	in := sc.Foil
	f := trim.NewFoil(in)
	normal := m.column()
	boxMean(normal, m.normal, int(legTime/2/m.dt))
	foot := newSpline(stream(sc.Seed, 60), m.dt, footTime)
	rig := newSpline(stream(sc.Seed, 61), m.dt, rigTime)
	shaky := newSpline(stream(sc.Seed, 62), m.dt, 1.5)
	drift := [2]*spline{newSpline(stream(sc.Seed, 63), m.dt, 300), newSpline(stream(sc.Seed, 64), m.dt, 300)}
	r := stream(sc.Seed, 65)
	step := m.dt
	if !k.Beside {
		step = 1 / k.Rate
	}
	nan := float32(math.NaN())
	sample, phase := 0.0, 0
	for i := range m.n {
		t := float64(i) * m.dt
		for phase+1 < len(phases) && phases[phase].End <= t {
			phase++
		}
		work, lift, shake, zero := foot.next(), rig.next(), shaky.next(), [2]float64{drift[0].next(), drift[1].next()}
		if len(index) > 0 && k.Beside {
			if len(d.Time) == len(index) || index[len(d.Time)] != i {
				continue
			}
		} else if t < sample {
			continue
		}
		sample += step
		var state trim.State
		share, load := ashore(in.RiderMass, phases[phase].Kind, shake, t)
		if m.fly[i] > 0.5 {
			state = f.At(max(m.speed[i], 2), normal[i])
			share = state.FrontShare + footWork*work
			load = in.RiderMass*normal[i] - (in.RigLiftFraction+rigWork*lift)*in.RiderMass*trim.Gravity - in.MastFoot
		}
		press := [2]float64{max(share, 0) * load, max(1-share, 0) * load}
		if k.Switch && side[i] < 0 {
			press[0], press[1] = press[1], press[0]
		}
		at := t + k.Offset
		if k.Beside {
			at = imu[len(d.Time)]
		}
		d.Time = append(d.Time, at)
		shown := k.shown(press, zero, r)
		d.Feet[0], d.Feet[1] = append(d.Feet[0], shown[0]), append(d.Feet[1], shown[1])
		moment := nan
		if k.Mast {
			moment = float32(state.MastMoment*(1+k.MastGain) + k.MastZero + 3*r.NormFloat64())
		}
		d.Moment = append(d.Moment, moment)
	}
	d.Rate, d.Gaps = 1/step, gaps(d.Time, step)
	return d
}

// ashore is the front foot's share and the load on both, N, off the foil at t
// s, with the rider's mass in kg; shake is how the rider balances, RMS 1.
func ashore(mass float64, kind string, shake, t float64) (share, load float64) {
	switch kind {
	case "flight", "taxi":
		return 0.45 + 0.15*shake, mass * trim.Gravity * (0.9 + 0.1*shake)
	case "rest":
		return 0.5, mass * trim.Gravity
	case "carry": // from one foot to the other
		return math.Round(0.5 + 0.5*math.Sin(2*math.Pi*t/stepTime)), mass * trim.Gravity
	}
	return 0.5, 0
}

// shown is what the sensors write of what the feet press with, N, their zeros
// wandered by zero.
func (k *Feet) shown(press, zero [2]float64, r *rand.Rand) (out [2]float32) {
	for j := range press {
		v := press[j]*(1+k.Gain[j]) + k.Zero[j] + k.Drift*zero[j] + k.Noise*r.NormFloat64()
		if k.NoFeet {
			v = math.NaN()
		}
		out[j] = float32(v)
	}
	return out
}

// deckLogs adds the deck to the session's logs: to the logger's, or as a file
// of its own.
func (s *Session) deckLogs(d ingest.Deck) {
	if len(d.Time) == 0 {
		return
	}
	sc := &s.Scenario
	channels := []ingest.Channel{{Name: "foot forces", Unit: "N", Samples: len(d.Time), RateHz: d.Rate}}
	if sc.Feet.Beside && s.IMULog != nil && len(s.IMULog.Files) > 0 {
		apart := d
		apart.Time = s.IMULog.IMU.Time
		s.IMULog.Decks = []ingest.Deck{apart}
		d.File = s.Log.IMU.File
		s.Log.Decks = []ingest.Deck{d}
		return
	}
	file := ingest.File{Name: "feet.csv", Kind: "CSV", Device: "simulated insoles", Read: len(d.Time), Channels: channels}
	apart := d
	apart.Time = fromStart(d.Time)
	s.DeckLog = &ingest.Log{Decks: []ingest.Deck{apart}, Files: []ingest.File{file}}
	if sc.Feet.Dated {
		s.DeckLog.Start = sc.Start.Add(seconds(d.Time[0]))
	}
	d.File = len(s.Log.Files)
	s.Log.Decks, s.Log.Files = []ingest.Deck{d}, append(s.Log.Files, file)
}
