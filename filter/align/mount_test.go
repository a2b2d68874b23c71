package align_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// randomQuat is a turn drawn evenly from all.
func randomQuat(r *rand.Rand) quat.Number {
	return rotation.Unit(quat.Number{Real: r.NormFloat64(), Imag: r.NormFloat64(), Jmag: r.NormFloat64(), Kmag: r.NormFloat64()})
}

// headingError is how far found is from truth about the deck normal, deg.
func headingError(found, truth quat.Number) float64 {
	d := quat.Mul(found, quat.Conj(truth))
	return math.Remainder(2*math.Atan2(d.Kmag, d.Real), 2*math.Pi) / deg
}

// each runs f for 0..n-1 on all processors.
func each(n int, f func(int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// outing is a session of about ten minutes on the water with what differs
// from one rider and day to the next drawn at random.
func outing(seed int) simulate.Scenario {
	r := rand.New(rand.NewPCG(uint64(seed), 77))
	sc := simulate.Default()
	switch seed % 4 {
	case 1:
		sc = simulate.Kite()
	case 2:
		sc = simulate.Rough()
	case 3:
		sc = simulate.Beginner()
	}
	sc.Seed = uint64(seed)
	sc.IMURate = 50
	sc.Duration = 600 + 2*(sc.Rest+sc.Carry+sc.Swim)
	sc.Mount = randomQuat(r)
	sc.Leeway = (1 + 3*r.Float64()) * deg
	sc.LeewayOnPitch = r.Float64()
	sc.TackZero = 0.4 * r.NormFloat64() * deg
	sc.WindwardHeel = 10 * r.Float64() * deg
	sc.Flow = [2]float64{0.3 * r.NormFloat64(), 0.3 * r.NormFloat64()}
	sc.Lever = r3.Vec{X: 1.2*r.Float64() - 0.4, Y: 0.2 * r.NormFloat64(), Z: 0.03}
	if seed%5 == 0 {
		sc.AccSign = -1
	}
	if seed%7 == 0 {
		sc.GyroSign = -1
	}
	return sc
}

// Ten minutes of riding tell the heading to 2° with an interval that covers,
// whatever the mount and the signs.
func TestMountHeadingCovers(t *testing.T) {
	n := 20
	if *long {
		n = 200
	}
	var mu sync.Mutex
	var sum, levelSum, covered, levelCovered, levels float64
	worst, far := 0.0, 0
	each(n, func(i int) {
		s := simulate.Run(outing(i + 1))
		aid := aidOf(s)
		m, err := align.NewPair(samplesOf(s), &aid).Board(math.NaN())
		mu.Lock()
		defer mu.Unlock()
		if err != nil {
			t.Errorf("session %d: %v", i+1, err)
			return
		}
		if a, g := m.Mount.AccelerometerSign, m.Mount.GyroscopeSign; a != s.Scenario.AccSign || g != s.Scenario.GyroSign {
			t.Errorf("session %d: signs %+d %+d, want %+d %+d", i+1, a, g, s.Scenario.AccSign, s.Scenario.GyroSign)
			return
		}
		if !m.Mount.Rigid {
			t.Errorf("session %d: a fixed sensor was refused: %+v", i+1, m.Mount.Why)
		}
		if len(m.Parts) > 1 {
			t.Errorf("session %d: a fixed sensor was split: %v", i+1, m.Notes)
		}
		e := headingError(m.Mount.ToBoard, s.Truth.Mount)
		if math.Abs(e) > 2 {
			far++
			t.Logf("session %d: heading off by %.2f° (SE %.2f°)", i+1, e, m.Mount.HeadingSE/deg)
		}
		if testing.Verbose() {
			t.Logf("session %2d: heading error %+.2f° SE %.2f°", i+1, e, m.Mount.HeadingSE/deg)
		}
		sum += e * e
		worst = max(worst, math.Abs(e))
		if math.Abs(e) < interval.Z90*m.Mount.HeadingSE/deg {
			covered++
		}
		if m.Mount.LevelZero {
			levels++
			bias := meanError(m, s)
			levelSum += bias * bias
			if math.Abs(bias) < interval.Z90*m.Mount.LevelSE/deg {
				levelCovered++
			}
		}
	})
	k := float64(n)
	t.Logf("heading: rms error %.2f°, worst %.2f°, 90 %% interval covers %.0f %%", math.Sqrt(sum/k), worst, 100*covered/k)
	t.Logf("level zero in %.0f of %d: rms error %.2f°, 90 %% interval covers %.0f %%", levels, n, math.Sqrt(levelSum/levels), 100*levelCovered/levels)
	if far > n/100 {
		t.Errorf("%d of %d headings are off by more than 2°", far, n)
	}
	if covered/k < 0.8 {
		t.Errorf("the heading's 90 %% interval covers only %.0f %%", 100*covered/k)
	}
	if levelCovered/levels < 0.85 {
		t.Errorf("the level zero's 90 %% interval covers only %.0f %%", 100*levelCovered/levels)
	}
}

// meanError is the mean error of pitch in flight, deg.
func meanError(m *align.Motion, s *simulate.Session) float64 {
	var sum, n float64
	for i, fly := range s.Truth.Flying {
		if e := float64(m.Pitch[i] - s.Truth.Pitch[i]); fly && e == e {
			sum += e
			n++
		}
	}
	return sum / n / deg
}

func boardOf(t *testing.T, sc simulate.Scenario) (*align.Motion, *simulate.Session) {
	t.Helper()
	s := simulate.Run(sc)
	aid := aidOf(s)
	m, err := align.NewPair(samplesOf(s), &aid).Board(math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	return m, s
}

func TestLooseSensorIsRefused(t *testing.T) {
	for _, how := range []string{simulate.Loose, simulate.Wrist} {
		for seed := range seeds(1, 2) {
			sc := simulate.Default()
			sc.Seed, sc.Duration, sc.IMURate = uint64(seed+1), 1200, 50
			sc.Mounting = how
			m, _ := boardOf(t, sc)
			if m.Mount.Rigid || m.Mount.Why.Kind != align.Loose && m.Mount.Why.Kind != align.ShiftedOften && m.Mount.Why.Kind != align.Moved {
				t.Errorf("%s, seed %d: taken for fixed (%v)", how, seed+1, m.Notes)
			} else {
				t.Logf("%s: %+v", how, m.Mount.Why)
			}
		}
	}
}

func TestShiftedSensorSplitsTheSession(t *testing.T) {
	for seed := range 2 {
		for k, by := range []float64{7, 20} {
			if seed != k && !*long {
				continue
			}
			sc := simulate.Default()
			sc.Seed, sc.Duration, sc.IMURate = uint64(seed+1), 1800, 50
			sc.Mounting, sc.ShiftBy = simulate.Shifted, by*deg
			sc.ShiftAt = 600 + 150*float64(seed)
			m, s := boardOf(t, sc)
			if len(m.Parts) != 2 {
				t.Errorf("seed %d, %g°: %d parts (%v %+v)", seed+1, by, len(m.Parts), m.Notes, m.Mount.Why)
				continue
			}
			if !m.Mount.Rigid {
				t.Errorf("seed %d, %g°: refused: %+v", seed+1, by, m.Mount.Why)
			}
			at := m.Parts[1].Start
			e0 := headingError(m.Parts[0].Mount.ToBoard, s.Truth.Mount)
			e1 := headingError(m.Parts[1].Mount.ToBoard, s.Truth.MountAfter)
			_, sd := pitchError(m, s, 0)
			t.Logf("seed %d, %g°: split at %.1f s, shift at %.1f s; headings off by %+.2f° and %+.2f°; pitch error SD %.2f°, mean %.2f°; %v", seed+1, by, at, s.Truth.ShiftAt, e0, e1, sd, meanError(m, s), m.Notes)
			// A slip of a few degrees in the middle of a turn hides in the turn.
			if math.Abs(at-s.Truth.ShiftAt) > 35/by {
				t.Errorf("seed %d, %g°: split at %.1f s, the sensor shifted at %.1f s", seed+1, by, at, s.Truth.ShiftAt)
			}
			if math.Abs(e0) > 2 || math.Abs(e1) > 2 {
				t.Errorf("seed %d, %g°: headings off by %.2f° and %.2f°", seed+1, by, e0, e1)
			}
			if sd > 0.4 {
				t.Errorf("seed %d, %g°: pitch error SD %.2f° over both parts", seed+1, by, sd)
			}
			if told := find(m, align.Shifted); math.Abs(told.At-at) > 0.1 || math.Abs(told.Turn-by*deg) > 2*deg {
				t.Errorf("seed %d, %g°: the shift is not told: %v", seed+1, by, m.Notes)
			}
		}
	}
}

func TestMovedSensorIsRefusedWithTheTime(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 1800, 50
	sc.Mounting, sc.ShiftBy = simulate.Shifted, 70*deg
	m, _ := boardOf(t, sc)
	if m.Mount.Rigid || m.Mount.Why.Kind != align.Moved || math.Abs(m.Mount.Why.At-900) > 10 || math.Abs(m.Mount.Why.Turn-70*deg) > 5*deg {
		t.Errorf("rigid %v: %+v; want a refusal at about 15:00", m.Mount.Rigid, m.Mount.Why)
	}
	t.Logf("%+v", m.Mount.Why)
}

func TestOneTackIsSaid(t *testing.T) {
	var worst float64
	for seed := range seeds(2, 4) {
		sc := simulate.Default()
		sc.Seed, sc.Duration, sc.IMURate = uint64(seed+1), 1000, 50
		sc.OneTack, sc.Leeway = true, 3*deg
		m, s := boardOf(t, sc)
		e := headingError(m.Mount.ToBoard, s.Truth.Mount)
		worst = max(worst, math.Abs(e)*deg/m.Mount.HeadingSE)
		t.Logf("heading error %+.2f° SE %.2f°, level %v ±%.2f° mean pitch error %.2f°; %v", e, m.Mount.HeadingSE/deg, m.Mount.LevelZero, m.Mount.LevelSE/deg, meanError(m, s), m.Notes)
		if !has(m, align.OneTack) {
			t.Errorf("seed %d: a single tack is not told: %v", seed+1, m.Notes)
		}
		if m.Mount.HeadingSE < 1*deg {
			t.Errorf("seed %d: heading SE %.2f° on one tack", seed+1, m.Mount.HeadingSE/deg)
		}
	}
	if worst > 3 {
		t.Errorf("heading off by %.1f standard errors", worst)
	}
}

// pitchError is the standard deviation of pitch errors in flight, deg: sample
// by sample, or of means over windows of the given length in seconds.
func pitchError(m *align.Motion, s *simulate.Session, window float64) (n int, sd float64) {
	var sum, sq, k float64
	add := func(e float64) {
		sum += e
		sq += e * e
		k++
	}
	tr := &s.Truth
	if window == 0 {
		for i, fly := range tr.Flying {
			if e := float64(m.Pitch[i] - tr.Pitch[i]); fly && e == e {
				add(e)
			}
		}
	} else {
		size := int(window * s.Scenario.IMURate)
		for from := 0; from+size <= len(tr.Time); from += size {
			x, ok := 0.0, tr.Time[from+size-1]-tr.Time[from] < window
			for i := from; i < from+size; i++ {
				ok = ok && tr.Flying[i]
				x += float64(m.Pitch[i] - tr.Pitch[i])
			}
			if ok && x == x {
				add(x / float64(size))
			}
		}
	}
	return int(k), math.Sqrt(sq/k-sum*sum/k/k) / deg
}
