package align_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// trying is the sea that the pitch is promised on: waves, pumping, gusts of
// ±1.5 m/s² (2σ), turns at 25° heel, gyroscope offsets of 0.5 °/s that drift,
// 0.05 m/s² of accelerometer offset, GPS 0.3 s late with 0.1 m/s noise.
func trying() simulate.Scenario {
	sc := simulate.Rough()
	sc.Vibration = 0.5
	return sc
}

func TestPitchInFlight(t *testing.T) {
	rough5 := simulate.Rough()
	rough5.GPSRate = 5
	five := trying()
	five.GPSRate = 5
	rows := []struct {
		name           string
		sc             simulate.Scenario
		sample, window float64 // deg, standard deviations promised
	}{
		{"1 Hz GPS", trying(), 0.4, 0.2},
		{"5 Hz GPS", five, 0.4, 0.15},
		{"1 Hz GPS, twice the vibration", simulate.Rough(), 0.4, 0.2},
		{"default", simulate.Default(), 0.4, 0.15},
		{"kite", simulate.Kite(), 0.4, 0.15},
		{"beginner", simulate.Beginner(), 0.4, 0.2},
	}
	for i, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			sc := r.sc
			sc.Duration = 1100
			if r.name == "beginner" { // who flies half of the time
				sc.Duration = 1600
			}
			if i%2 == 1 { // loggers of either rate
				sc.IMURate = 50
			}
			m, s := boardOf(t, sc)
			alone, err := align.NewPair(samplesOf(s), nil).Board(math.NaN())
			if err != nil {
				t.Fatal(err)
			}
			_, sample := pitchError(m, s, 0)
			n, window := pitchError(m, s, 2)
			aided, unaided := accelerating(m.Track, s), accelerating(alone.Track, s)
			honest := normalised(m, s)
			t.Logf("pitch error SD %.3f° a sample, %.3f° in %d windows of 2 s; mean %+.3f°; in accelerations %.2f° against %.2f° unaided (%.1f times); error over standard error %.2f; latency found %.2f s",
				sample, window, n, meanError(m, s), aided, unaided, unaided/aided, honest, m.Track.LatencyS)
			if !(sample < r.sample) {
				t.Errorf("pitch error SD %.3f° a sample; %.2f° is promised", sample, r.sample)
			}
			if !(window < r.window) {
				t.Errorf("pitch error SD %.3f° over 2 s; %.2f° is promised", window, r.window)
			}
			if !(unaided > 3*aided) {
				t.Errorf("aiding is %.1f times better in accelerations; 3 times is promised", unaided/aided)
			}
			if honest > 1.6 || honest < 0.3 {
				t.Errorf("errors are %.2f of their standard error", honest)
			}
			if !m.Mount.LevelZero || math.Abs(meanError(m, s)) > 3*m.Mount.LevelSE/deg {
				t.Errorf("level zero %v: mean pitch error %.2f° (SE %.2f°)", m.Mount.LevelZero, meanError(m, s), m.Mount.LevelSE/deg)
			}
			checkRates(t, m, s)
		})
	}
}

// accelerating is the RMS inclination error where the velocity changes by
// more than 0.7 m/s², deg.
func accelerating(tr *attitude.Track, s *simulate.Session) float64 {
	truth := &s.Truth
	half := int(s.Scenario.IMURate / 2)
	var sum, n float64
	for i := half; i+half < len(truth.Time); i++ {
		dt := truth.Time[i+half] - truth.Time[i-half]
		a := math.Hypot(float64(truth.East[i+half]-truth.East[i-half]), float64(truth.North[i+half]-truth.North[i-half])) / dt
		if !truth.Flying[i] || a < 0.7 {
			continue
		}
		x := quat.Mul(tr.Q[i], quat.Conj(truth.QSensor[i]))
		e := 2 * math.Acos(math.Min(1, math.Hypot(x.Real, x.Kmag)))
		sum += e * e
		n++
	}
	return math.Sqrt(sum/n) / deg
}

// normalised is the RMS of pitch errors, their mean taken out, over the
// standard errors stated.
func normalised(m *align.Motion, s *simulate.Session) float64 {
	bias := meanError(m, s) * deg
	var sum, n float64
	for i, fly := range s.Truth.Flying {
		if fly {
			z := (float64(m.Pitch[i]-s.Truth.Pitch[i]) - bias) / float64(m.PitchSE[i])
			sum += z * z
			n++
		}
	}
	return math.Sqrt(sum / n)
}

// checkRates holds heel, rates and accelerations against the truth.
func checkRates(t *testing.T, m *align.Motion, s *simulate.Session) {
	t.Helper()
	tr := &s.Truth
	for _, c := range []struct {
		name        string
		got, want   []float32
		scale, most float64 // RMS of half-second means
	}{
		{"heel", m.Heel, tr.Heel, deg, 0.6},
		{"pitch rate", m.PitchRate, tr.PitchRate, deg, 1},
		{"normal force", m.Normal, tr.Normal, 1, 0.25},
		{"vertical acceleration", m.Up, tr.Up, 1, 0.25},
	} {
		size := int(s.Scenario.IMURate / 2)
		var sum, n, swing float64
		for from := 0; from+size <= len(c.got); from += size {
			var e, w float64
			fly := true
			for i := from; i < from+size; i++ {
				e += float64(c.got[i]-c.want[i]) / float64(size)
				w += float64(c.want[i]) / float64(size)
				fly = fly && tr.Flying[i]
			}
			if fly {
				sum += e * e
				swing += w * w
				n++
			}
		}
		rms := math.Sqrt(sum/n) / c.scale
		if !(rms < c.most) || !(math.Sqrt(swing/n)/c.scale > c.most/2) {
			t.Errorf("%s: RMS error %.3f, want below %.2f (the truth swings by %.2f)", c.name, rms, c.most, math.Sqrt(swing/n)/c.scale)
		}
	}
}

func TestLevelZero(t *testing.T) {
	base := simulate.Default()
	base.Duration, base.IMURate = 900, 50
	t.Run("none without a still stretch", func(t *testing.T) {
		sc := base
		sc.Rest = 0
		m, s := boardOf(t, sc)
		if m.Mount.LevelZero || !math.IsNaN(m.Mount.LevelSE) || m.Mount.LevelFrom.Kind != align.NoStill {
			t.Errorf("level zero %v, SE %g, from %+v", m.Mount.LevelZero, m.Mount.LevelSE, m.Mount.LevelFrom)
		}
		if _, sd := pitchError(m, s, 2); sd > 0.2 {
			t.Errorf("relative pitch error SD %.2f°", sd)
		}
	})
	t.Run("none from a short one", func(t *testing.T) {
		sc := base
		sc.Rest = 9
		if m, _ := boardOf(t, sc); m.Mount.LevelZero {
			t.Errorf("a level zero from 9 s: %+v", m.Mount.LevelFrom)
		}
	})
	t.Run("none from a board on its nose", func(t *testing.T) {
		sc := base
		sc.LevelError = 25 * deg
		if m, _ := boardOf(t, sc); m.Mount.LevelZero || m.Mount.LevelFrom.Kind != align.NotLevel || math.Abs(m.Mount.LevelFrom.Pitch) < 15*deg {
			t.Errorf("level zero %v from %+v", m.Mount.LevelZero, m.Mount.LevelFrom)
		}
	})
	t.Run("says how", func(t *testing.T) {
		m, s := boardOf(t, base)
		how := m.Mount.LevelFrom
		during := func(p simulate.Phase) bool {
			return p.Kind == "rest" && how.At > p.Start-2.5 && how.Until < p.End+2.5
		}
		if !m.Mount.LevelZero || how.Kind != align.LevelStill || !slices.ContainsFunc(s.Truth.Phases, during) || how.Until-how.At < 20 || how.Heel > 3*deg {
			t.Errorf("level zero %v from %+v", m.Mount.LevelZero, m.Mount.LevelFrom)
		}
		t.Logf("%+v", m.Mount.LevelFrom)
		if e := meanError(m, s); math.Abs(e) > 2*m.Mount.LevelSE/deg {
			t.Errorf("mean pitch error %.2f° with SE %.2f°", e, m.Mount.LevelSE/deg)
		}
	})
	t.Run("from the setup", func(t *testing.T) {
		sc := base
		sc.Rest = 0
		// The sensor's z axis is the nearest to the deck normal; what it shows as
		// pitch on a level deck is the slope, to the bow, of the plane across it.
		n := rotation.Rotate(sc.Mount, r3.Vec{Z: 1})
		shown := math.Atan2(-n.X, n.Z)
		s := simulate.Run(sc)
		aid := aidOf(s)
		m, err := align.NewPair(samplesOf(s), &aid).Board(shown)
		if err != nil {
			t.Fatal(err)
		}
		if !m.Mount.LevelZero || m.Mount.LevelFrom.Kind != align.LevelSetup {
			t.Errorf("level zero %v from %+v", m.Mount.LevelZero, m.Mount.LevelFrom)
		}
		if e := meanError(m, s); math.Abs(e) > 0.5 { // the accelerometer's own offset is 0.3°
			t.Errorf("mean pitch error %.2f°", e)
		}
	})
}

// spliced is the first session's inertial log up to time t, then, after a
// pause of two seconds, the second's.
func spliced(a, b *simulate.Session, t float64) attitude.Samples {
	x, y := samplesOf(a), samplesOf(b)
	var out attitude.Samples
	for i, at := range x.Time {
		from := &x
		if at >= t {
			from = &y
		}
		if at >= t && at < t+2 {
			continue
		}
		out.Time = append(out.Time, at)
		for k := range 3 {
			out.Acc[k] = append(out.Acc[k], from.Acc[k][i])
			out.Gyr[k] = append(out.Gyr[k], from.Gyr[k][i])
		}
	}
	return out
}

func TestSensorThatComesLooseIsRefusedFromThen(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 1800, 50
	fixed := simulate.Run(sc)
	for _, how := range []string{simulate.Loose, simulate.Wrist} {
		sc.Mounting = how
		loose := simulate.Run(sc)
		for _, r := range []struct {
			name          string
			first, second *simulate.Session
			at            float64
			rigid         bool // the greater part is
		}{
			{"comes loose late", fixed, loose, 1300, true},
			{"comes loose early", fixed, loose, 600, false},
			{"is fixed at last", loose, fixed, 500, true},
		} {
			s := spliced(r.first, r.second, r.at)
			aid := aidOf(fixed)
			m, err := align.NewPair(s, &aid).Board(math.NaN())
			if err != nil {
				t.Fatal(err)
			}
			said := m.Mount.Why
			if said.Kind == "" && has(m, align.PartRefused) {
				said = *find(m, align.PartRefused).Of
			}
			t.Logf("%s at %.0f s, %s: %+v", r.name, r.at, how, said)
			if m.Mount.Rigid != r.rigid || len(m.Parts) != 2 || m.Parts[0].Mount.Rigid == m.Parts[1].Mount.Rigid {
				t.Errorf("%s at %.0f s, %s: rigid %v, %d parts; %+v", r.name, r.at, how, m.Mount.Rigid, len(m.Parts), said)
				continue
			}
			if at := m.Parts[1].Start; math.Abs(at-r.at) > 100 {
				t.Errorf("%s at %.0f s, %s: told at %.0f s", r.name, r.at, how, at)
			}
			if said.Kind != align.Loose || !(max(said.Pitch, said.Heel, said.Heading) > 7*deg) {
				t.Errorf("%s, %s: no reason given: %+v", r.name, how, said)
			}
			// The refused part of a session that is good for the rest is blank.
			for i := range m.Parts {
				p := &m.Parts[i]
				mid := m.Pitch[(p.From+p.To)/2]
				if blank := mid != mid; blank != (m.Mount.Rigid && !p.Mount.Rigid) {
					t.Errorf("%s, %s: part %d blank: %v", r.name, how, i, blank)
				}
			}
		}
	}
}

func TestWithoutGPS(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 600, 50
	sc.Mount = quat.Number{Real: 1}
	s := simulate.Run(sc)
	m, err := align.NewPair(samplesOf(s), nil).Board(math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	if m.Mount.LevelZero || !math.IsNaN(m.Mount.HeadingSE) || !math.IsNaN(m.Mount.Heading) {
		t.Errorf("heading %g ± %g, level %v: none of it can be known", m.Mount.Heading, m.Mount.HeadingSE, m.Mount.LevelZero)
	}
	if !has(m, align.NoGPS) {
		t.Errorf("not said: %v", m.Notes)
	}
	// With the axes along the board's, pitch follows the truth but for a constant.
	if _, sd := pitchError(m, s, 0); sd > 3 {
		t.Errorf("pitch error SD %.1f°", sd)
	}
	tr, signs, err := align.NewPair(samplesOf(s), nil).Track()
	if err != nil || tr.HeadingKnown || len(tr.Q) != len(s.Log.IMU.Time) || signs.Accelerometer != 1 || signs.Gyroscope != 1 {
		t.Errorf("Track: heading %v, signs %+v, %v", tr.HeadingKnown, signs, err)
	}
}

// A gyroscope whose offset is far beyond the usual.
func TestLargeGyroscopeOffset(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 900, 50
	sc.GyroBias = [3]float64{4 * deg, -3 * deg, 2.5 * deg}
	sc.GyroSign = -1
	m, s := boardOf(t, sc)
	if _, sd := pitchError(m, s, 2); !(sd < 0.25) {
		t.Errorf("pitch error SD %.2f° (%v)", sd, m.Notes)
	}
	if m.Mount.GyroscopeSign != -1 {
		t.Errorf("gyroscope sign %+d", m.Mount.GyroscopeSign)
	}
	if len(m.Track.Bias) > 0 && math.Abs(m.Track.Bias[0].X+4*deg) > 0.5*deg && math.Abs(m.Track.Bias[0].X-4*deg) > 0.5*deg {
		t.Errorf("offset found %.2f °/s, want ±4", m.Track.Bias[0].X/deg)
	}
}

func TestDegenerateLogs(t *testing.T) {
	column := func(n int, f func(int) float32) []float32 {
		c := make([]float32, n)
		for i := range c {
			c[i] = f(i)
		}
		return c
	}
	nan := float32(math.NaN())
	zero := func(int) float32 { return 0 }
	up := func(int) float32 { return 9.81 }
	none := func(int) float32 { return nan }
	build := func(n int, acc, gyr func(int) float32) attitude.Samples {
		s := attitude.Samples{Time: make([]float64, n)}
		for i := range s.Time {
			s.Time[i] = float64(i) * 0.01
		}
		s.Acc = [3][]float32{column(n, zero), column(n, zero), column(n, acc)}
		s.Gyr = [3][]float32{column(n, gyr), column(n, gyr), column(n, gyr)}
		return s
	}
	aid := func(n int, speed float64) *attitude.Aid {
		a := &attitude.Aid{SD: 0.1}
		for i := range n {
			a.Time = append(a.Time, float64(i))
			a.East = append(a.East, speed)
			a.North = append(a.North, 0)
		}
		return a
	}
	wild := build(500, func(i int) float32 { return float32(i%7) * 30 }, func(i int) float32 { return float32(i%5) * 10 })
	huge := build(3, up, zero)
	huge.Time = []float64{-1e9, 0, 1e12}
	rows := []struct {
		name string
		s    attitude.Samples
		aid  *attitude.Aid
		fail bool
	}{
		{"empty", attitude.Samples{}, nil, true},
		{"empty, with GPS", attitude.Samples{}, aid(100, 5), true},
		{"one sample", build(1, up, zero), aid(100, 5), true},
		{"two samples", build(2, up, zero), aid(100, 5), false},
		{"no gyroscope", build(2000, up, none), aid(20, 5), true},
		{"nothing but NaN", build(2000, none, none), aid(20, 5), true},
		{"no accelerometer", build(2000, none, zero), aid(20, 5), true},
		{"free fall", build(2000, zero, zero), nil, false},
		{"at rest, GPS at rest", build(12000, up, zero), aid(120, 0), false},
		{"at rest, GPS moving", build(12000, up, zero), aid(120, 8), false},
		{"GPS of NaN", build(2000, up, zero), &attitude.Aid{Time: []float64{0, 1}, East: []float64{math.NaN(), math.NaN()}, North: []float64{0, 0}}, false},
		{"empty GPS", build(2000, up, zero), &attitude.Aid{}, false},
		{"GPS columns of unequal length", build(2000, up, zero), &attitude.Aid{Time: []float64{0, 1}}, true},
		{"wild", wild, aid(5, 3), false},
		{"three samples in centuries", huge, nil, false},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			m, err := align.NewPair(r.s, r.aid).Board(math.NaN())
			if r.fail != (err != nil) {
				t.Fatalf("error %v; want one: %v", err, r.fail)
			}
			if err == nil && (len(m.Pitch) != len(r.s.Time) || m.Track == nil || len(m.Parts) == 0) {
				t.Errorf("%d pitches for %d samples, %d parts", len(m.Pitch), len(r.s.Time), len(m.Parts))
			}
			if r.aid != nil && len(r.aid.East) == len(r.aid.Time) {
				if c := clockOf(r.s, *r.aid, align.ClockParams{}); c.OK || c.Why.Kind == "" {
					t.Errorf("a clock was found: %+v", c)
				}
			}
		})
	}
}

// Times and values of any kind end in an answer or an error.
func FuzzBoardAndClock(f *testing.F) {
	f.Add(uint64(1), uint16(300), uint8(0))
	f.Add(uint64(2), uint16(2000), uint8(255))
	f.Add(uint64(3), uint16(900), uint8(0b0101_0101))
	f.Fuzz(func(t *testing.T, seed uint64, n uint16, kind uint8) {
		r := rand.New(rand.NewPCG(seed, 1))
		has := func(bit int) bool { return kind>>bit&1 == 1 }
		wild := func(sd float64) float64 {
			if has(0) && r.IntN(20) == 0 {
				return []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, 0}[r.IntN(5)]
			}
			return sd * r.NormFloat64()
		}
		var s attitude.Samples
		at := 0.0
		for range n % 4000 {
			at += 0.02
			switch {
			case has(1) && r.IntN(100) == 0:
				at += 200 * r.Float64()
			case has(2) && r.IntN(100) == 0:
				at -= r.Float64()
			case has(3) && r.IntN(300) == 0:
				at = wild(1e6)
			}
			s.Time = append(s.Time, at)
			for k := range 3 {
				s.Acc[k] = append(s.Acc[k], float32(wild(5)))
				s.Gyr[k] = append(s.Gyr[k], float32(wild(1)))
			}
		}
		if has(4) && len(s.Gyr[2]) > 0 {
			s.Gyr[2] = s.Gyr[2][:len(s.Gyr[2])/2]
		}
		aid := attitude.Aid{SD: wild(0.1)}
		at = 0
		for range n % 500 {
			if at++; has(5) {
				at += wild(2)
			}
			aid.Time = append(aid.Time, at)
			aid.East = append(aid.East, wild(8))
			aid.North = append(aid.North, wild(8))
		}
		if has(6) && len(aid.East) > 0 {
			aid.East = aid.East[1:]
		}
		clockOf(s, aid, align.ClockParams{MaxOffset: wild(1e4)})
		zero := wild(3)
		if !has(7) {
			zero = math.NaN()
		}
		m, err := align.NewPair(s, &aid).Board(zero)
		if err == nil && len(m.Pitch) != len(s.Time) {
			t.Errorf("%d pitches for %d samples", len(m.Pitch), len(s.Time))
		}
	})
}
