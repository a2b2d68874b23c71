package pitchlaw_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
)

const deg = math.Pi / 180

// Long studies, in full:
//
//	go test ./analysis/pitchlaw -run ChainCoverage -v -timeout 2h -pitchlaw.sessions 300 -pitchlaw.first 1000
//
// Its table is in testdata/coverage.md.
var (
	sessions = flag.Int("pitchlaw.sessions", 2, "simulated logs in the end-to-end coverage study")
	first    = flag.Int("pitchlaw.first", 0, "the first of them, to draw others")
)

// chain takes a simulated log as far as windows, the way the analysis does.
func chain(t testing.TB, s *simulate.Session) ([]pitchlaw.Window, *align.Motion, pitchlaw.Params) {
	t.Helper()
	g := &s.Log.GPS
	aid := &attitude.Aid{Time: g.Time, SD: g.SpeedSD}
	for i := range g.Time {
		v, c := float64(g.Speed[i]), float64(g.Course[i])*deg
		switch {
		case g.Flags[i] != 0 || math.IsNaN(v) || math.IsNaN(c) && v > 0.3:
			v, c = math.NaN(), 0
		case math.IsNaN(c):
			v, c = 0, 0
		}
		aid.East, aid.North = append(aid.East, v*math.Sin(c)), append(aid.North, v*math.Cos(c))
	}
	m, err := align.Board(attitude.Samples{Time: s.Log.IMU.Time, Acc: s.Log.IMU.Acc, Gyr: s.Log.IMU.Gyr}, aid, align.Options{})
	if err != nil {
		t.Fatal(err)
	}
	in := ride.Input{Time: g.Time, East: aid.East, North: aid.North, SpeedSD: g.SpeedSD, Motion: m}
	if m.Track != nil {
		in.Time = nil
		for _, x := range g.Time {
			in.Time = append(in.Time, x-m.Track.LatencyS)
		}
	}
	p := pitchlaw.Params{Density: s.Scenario.Foil.Density, Level: m.Mount.LevelZero}
	return pitchlaw.MakeWindows(m, ride.Detect(in), p), m, p
}

// outing draws a session's length, wind, current and noise.
func outing(k int) simulate.Scenario {
	rng := rand.New(rand.NewPCG(uint64(k), 3))
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	sc := simulate.Default()
	switch k % 6 {
	case 1:
		sc = simulate.Calm()
	case 2:
		sc = simulate.Kite()
	case 3:
		sc = simulate.Rough()
	}
	sc.Seed = uint64(k) + 1
	sc.Duration = u(15, 60) * 60
	sc.IMURate = 50
	sc.WindFrom = u(0, 2*math.Pi)
	width := u(0.3, 0.9)
	middle := u(80, 105) * deg
	sc.Angles = [2]float64{middle - width, middle + width}
	sc.Flow = [2]float64{0.35 * rng.NormFloat64(), 0.35 * rng.NormFloat64()}
	if rng.Float64() < 0.3 {
		sc.FlowEnd = &[2]float64{sc.Flow[0] + 0.2*rng.NormFloat64(), sc.Flow[1] + 0.2*rng.NormFloat64()}
	}
	sc.TackZero = 0.3 * deg * rng.NormFloat64()
	sc.LeewayOnPitch = rng.Float64()
	sc.ZeroDrift = 0.1 * deg * rng.NormFloat64()
	sc.VelocitySD = u(0.05, 0.15)
	sc.PitchNoise *= u(0.7, 2)
	sc.LevelError = 0.2 * deg * rng.NormFloat64()
	return sc
}

type tally struct {
	name             string
	hits, n          int
	square, sum, abs float64
}

func (c *tally) add(i interval.Interval, truth float64) {
	c.n++
	if i.Contains(truth) {
		c.hits++
	}
	z := (i.Value - truth) / i.SD()
	c.square += z * z
	c.sum += z
	c.abs += i.High - i.Low
}

// TestChainCoverage holds the intervals to account end to end: a simulated
// logger and watch, attitude, mount, rides, windows, fit.
func TestChainCoverage(t *testing.T) {
	names := []string{"slope", "zero", "pitch, low speed", "pitch, mid speed", "pitch, top speed", "flow east", "flow north"}
	tallies := make([]tally, len(names))
	refused := map[string]int{}
	var off, offs float64
	bent := 0
	for k := *first; k < *first+*sessions; k++ {
		sc := outing(k)
		s := simulate.Run(sc)
		w, m, p := chain(t, s)
		f := pitchlaw.Estimate(w, p)
		if !f.Enough {
			for _, x := range f.Missing {
				refused[strings.SplitN(x, ":", 2)[0]]++
			}
			if testing.Verbose() {
				t.Log(k, f.Missing)
			}
			continue
		}
		shift := mountPitchError(s, m)
		east, north := s.Truth.FlowAt((w[0].Time + w[len(w)-1].Time) / 2)
		truth := []float64{s.Truth.SlopePerKg, s.Truth.Zero + shift, 0, 0, 0, east, north}
		got := []interval.Interval{f.Slope, f.Zero, {}, {}, {}, f.FlowEast, f.FlowNorth}
		for q, share := range []float64{0.05, 0.5, 0.95} {
			v := speedAt(f, share)
			got[2+q] = f.PitchAt(v, 9.80665)
			truth[2+q] = truth[1] + s.Truth.SlopePerKg*2*9.80665/(p.Density*v*v)
		}
		if f.Bend[0].P < 0.01 {
			bent++
		}
		e := f.Slope.Value/truth[0] - 1
		off += e
		offs += e * e
		for q := range got {
			tallies[q].name = names[q]
			tallies[q].add(got[q], truth[q])
		}
		if testing.Verbose() {
			t.Logf("%3d: %.0f min, %d windows, slope %+5.1f %% (±%.1f %%, z %+.2f), zero %+.2f° (±%.2f°), flow %+.2f %+.2f (±%.2f ±%.2f)", k, sc.Duration/60, len(w),
				100*e, 100*1.645*f.Slope.SD()/truth[0], e*truth[0]/f.Slope.SD(), (f.Zero.Value-truth[1])/deg, 1.645*f.Zero.SD()/deg,
				f.FlowEast.Value-east, f.FlowNorth.Value-north, 1.645*f.FlowEast.SD(), 1.645*f.FlowNorth.SD())
		}
	}
	n := float64(tallies[0].n)
	if n == 0 {
		t.Fatalf("no session had enough: %v", refused)
	}
	t.Logf("%d sessions, %.0f with enough; slope off by %+.1f %% on average, %.1f %% rms; refused for: %v", *sessions, n, 100*off/n, 100*math.Sqrt(offs/n), refused)
	t.Logf("curvature, which is not there, has p < 0.01 in %.1f %%", 100*float64(bent)/n)
	t.Log("| 90 % interval of | holds | rms error / σ | bias / σ | mean width |")
	for _, c := range tallies {
		width := c.abs / n
		if strings.HasPrefix(c.name, "pitch") || c.name == "zero" {
			width /= deg
		}
		t.Logf("| %-16s | %5.1f %% | %5.2f | %+5.2f | %.3g |", c.name, 100*float64(c.hits)/n, math.Sqrt(c.square/n), c.sum/n, width)
		share := float64(c.hits) / n
		if slack := 3 * math.Sqrt(0.09/n); share < 0.85-slack && n < 300 || n >= 300 && (share < 0.85 || share > 0.95) {
			t.Errorf("%s: %.1f %% of the intervals hold the truth", c.name, 100*share)
		}
	}
}

// speedAt is a quantile of the windows' speeds.
func speedAt(f *pitchlaw.Fit, share float64) float64 {
	lo, hi := f.MinSpeed, f.MaxSpeed
	for range 40 {
		mid := (lo + hi) / 2
		below, all := 0.0, 0.0
		for _, w := range f.Windows {
			if w.Weight > 0 {
				all++
				if w.Speed < mid {
					below++
				}
			}
		}
		if below < share*all {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// mountPitchError is the constant that an error of the mount adds to the pitch:
// the level zero's own error, which the law is not to be blamed for.
func mountPitchError(s *simulate.Session, m *align.Motion) float64 {
	a, b := m.Mount.ToBoard, s.Truth.Mount
	return rotation.Log(quat.Mul(a, quat.Conj(b))).Y // about the axis to port
}
