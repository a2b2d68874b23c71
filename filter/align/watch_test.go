package align_test

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
)

// watchOuting is an outing whose watch gives positions only, once a second,
// that wander by 1 m over 40 s, beside a 100 Hz logger in any mount, with an
// untrimmed accelerometer and a clock that is off.
func watchOuting(seed int) simulate.Scenario {
	sc := outing(seed)
	r := rand.New(rand.NewPCG(uint64(seed), 78))
	sc.IMURate, sc.GPSRate = 100, 1
	sc.PositionOnly = true
	sc.PositionSD = math.Sqrt(60 / 40.) // as fast, over the simulator's 60 s
	sc.ClockOffset = 6000 * (r.Float64() - 0.5)
	sc.DriftPPM = 40 * r.NormFloat64()
	sc.Duration = 600 + 1200*r.Float64()
	switch r.IntN(8) {
	case 1:
		sc.Rest, sc.Carry, sc.Swim = 0, 0, 5
	case 2:
		sc.Rest = 120
	case 3:
		sc.ReachMin, sc.ReachMax = 60, 120
	case 4:
		sc.FlownTurns = 0
	case 5:
		sc.Flow = [2]float64{0.8, -0.5}
	}
	for k := range 3 {
		sc.GyroBias[k] = 0.8 * deg * r.NormFloat64()
		sc.AccBias[k] = 0.15 * r.NormFloat64()
	}
	sc.GyroDrift, sc.GyroScale = 0.1*deg, 0.01
	sc.Vibration = 2 * r.Float64()
	return sc
}

// throughGPX is the session's GPS log, written as GPX without speeds and read
// again, as a velocity aid on the session's clock.
func throughGPX(t *testing.T, s *simulate.Session) attitude.Aid {
	t.Helper()
	name := filepath.Join(t.TempDir(), "watch.gpx")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	bare := *s.GPSLog
	bare.GPS.Speed = slices.Repeat([]float32{float32(math.NaN())}, len(bare.GPS.Time))
	bare.GPS.Course = bare.GPS.Speed
	if err := write.GPX(f, &bare); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(name, ingest.Options{})
	if err != nil {
		t.Fatal(err)
	}
	shift := log.Start.Sub(s.GPSLog.Start).Seconds()
	for i := range log.GPS.Time {
		log.GPS.Time[i] += shift
	}
	read := *s
	read.Log = log
	return aidOf(&read)
}

// A board's sensor whose clock could be tied to a watch that gives positions
// only is not refused, and what it states of clock and heading covers. Quick:
// seeds of which the accelerometer's offset (0.2 to 0.4 m/s²) once passed for
// errors of the GPS, and the sensor for one off the board (2 to 275), of which
// falls once outweighed riding, so that the heading slipped by a turn (663), and
// of which a heading that strayed passed for a sensor that shifted (647).
func TestWatchWithPositionsOnly(t *testing.T) {
	seeds := []int{2, 4, 14, 226, 275, 647, 663}
	if *long {
		seeds = seeds[:0]
		for i := range 320 {
			seeds = append(seeds, i+1)
		}
	}
	var mu sync.Mutex
	var tied, refused, far, clockFar, covered float64
	var sum float64
	each(len(seeds), func(i int) {
		s := simulate.Run(watchOuting(seeds[i]))
		aid, x := throughGPX(t, s), samplesOf(s)
		c := clockOf(x, aid, align.ClockParams{})
		if !c.OK {
			t.Logf("seed %d: %+v", seeds[i], c.Why)
			return
		}
		for k := range x.Time {
			x.Time[k] = c.ToGPS(x.Time[k])
		}
		m, err := align.NewPair(x, &aid).Board(math.NaN())
		mu.Lock()
		defer mu.Unlock()
		if err != nil {
			t.Errorf("seed %d: %v", seeds[i], err)
			return
		}
		tied++
		want := s.Scenario.ClockOffset + s.Scenario.DriftPPM*1e-6*(c.AtS-s.Scenario.Duration/2) - s.Scenario.GPSLatency
		if math.Abs(c.OffsetS-want) > 0.25 {
			clockFar++
		}
		if math.Abs(c.OffsetS-want) < 1.645*c.OffsetSE {
			covered++
		}
		if !m.Mount.Rigid || !m.Track.HeadingKnown {
			refused++
			t.Errorf("seed %d: refused: %+v (clock off by %.2f s, parts %d, %v)", seeds[i], m.Mount.Why, c.OffsetS-want, len(m.Parts), m.Notes)
			return
		}
		e := headingError(m.Mount.ToBoard, s.Truth.Mount)
		sum += e * e
		if math.Abs(e) > 3.5*m.Mount.HeadingSE/deg {
			far++
			t.Logf("seed %d: heading off by %.2f°, SE %.2f°, %d parts %v", seeds[i], e, m.Mount.HeadingSE/deg, len(m.Parts), m.Notes)
		}
	})
	t.Logf("%.0f of %d tied, %.0f refused; heading rms error %.2f°, %.0f beyond 3.5 SE; clock within 1.645 SE %.0f %%, %.0f off by more than 0.25 s",
		tied, len(seeds), refused, math.Sqrt(sum/max(1, tied-refused)), far, 100*covered/max(1, tied), clockFar)
	if tied < 0.8*float64(len(seeds)) {
		t.Errorf("only %.0f of %d clocks were tied", tied, len(seeds))
	}
	if *long && covered < 0.86*tied {
		t.Errorf("the clock's 90 %% interval covers %.0f %%", 100*covered/tied)
	}
	if far > 1+0.02*tied || clockFar > 1+0.03*tied {
		t.Errorf("%.0f headings beyond 3.5 SE, %.0f clocks off by more than 0.25 s", far, clockFar)
	}
}
