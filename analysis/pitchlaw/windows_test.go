package pitchlaw

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/analysis/ride"
	"evenfoot/filter/align"
)

// flat makes four reaches of 30 s at 50 Hz; alter gets every sample.
func flat(alter func(t float64, i int, m *align.Motion)) (*align.Motion, *ride.Session) {
	m, s := &align.Motion{}, &ride.Session{}
	const rate, seconds = 50, 140
	for i := range rate * seconds {
		t := float64(i) / rate
		m.Time = append(m.Time, t)
		m.Pitch = append(m.Pitch, 0.05)
		m.Heel = append(m.Heel, 0.2)
		m.PitchSE = append(m.PitchSE, 0.003)
		m.Normal = append(m.Normal, 9.81)
		m.PitchRate = append(m.PitchRate, 0)
		m.Up = append(m.Up, 0)
		if alter != nil {
			alter(t, i, m)
		}
	}
	m.Segments = [][2]int{{0, len(m.Time)}}
	for k := range 4 {
		tack := []string{"port", "starboard", "", "port"}[k]
		s.Reaches = append(s.Reaches, ride.Reach{Start: float64(35 * k), End: float64(35*k + 30), Tack: tack})
	}
	s.Speed = ride.SpeedSeries{Step: 0.2}
	for range seconds * 5 {
		s.Speed.East, s.Speed.North = append(s.Speed.East, 6), append(s.Speed.North, -4)
	}
	return m, s
}

func TestWindowsOfSteadyFlight(t *testing.T) {
	m, s := flat(nil)
	w := MakeWindows(m, s)
	if len(w) != 44 {
		t.Fatalf("%d windows of 4 reaches, 28 s each", len(w))
	}
	for _, o := range w {
		if o.Duration < 1 || o.Duration > 3 || o.Reason != "" || o.East != 6 || o.North != -4 ||
			math.Abs(o.PitchCos-0.05*math.Cos(0.2)) > 1e-7 || math.Abs(o.Normal-9.81) > 1e-6 || math.Abs(o.Heel-.2) > 1e-6 ||
			math.Abs(o.PitchSE-.003) > 1e-5 || o.PitchRate != 0 {
			t.Fatalf("%+v", o)
		}
		if want := []int{-1, 1, 0, -1}[o.Reach]; o.Tack != want {
			t.Fatalf("tack %d on reach %d", o.Tack, o.Reach)
		}
	}
}

func TestWindowReasons(t *testing.T) {
	in := func(t float64) bool { return t > 40 && t < 50 } // on the second reach
	for _, c := range []struct {
		says  Reason
		alter func(t float64, i int, m *align.Motion)
	}{
		{"pumping", func(t float64, i int, m *align.Motion) {
			if in(t) {
				m.Up[i] = float32(4 * math.Sin(2*math.Pi*1.1*t))
				m.PitchRate[i] = float32(0.6 * math.Sin(2*math.Pi*1.1*t))
			}
		}},
		{"waves", func(t float64, i int, m *align.Motion) {
			if in(t) {
				m.Up[i] = float32(2 * math.Sin(2*math.Pi*0.22*t))
			}
		}},
		{"climbing", func(t float64, i int, m *align.Motion) {
			// Up a metre over three seconds and down again.
			if t > 42 && t < 48 {
				m.Up[i] = float32(0.7 * math.Sin(2*math.Pi*(t-42)/3) * map[bool]float64{true: 1, false: -1}[t < 45])
			}
		}},
		{"hard work", func(t float64, i int, m *align.Motion) {
			if in(t) {
				m.PitchRate[i] = float32(0.5 * math.Sin(2*math.Pi*1.5*t))
			}
		}},
	} {
		m, s := flat(c.alter)
		found := 0
		for _, o := range MakeWindows(m, s) {
			if o.Reason == c.says {
				found++
			}
			if o.Reason != "" && (o.Time < 37 || o.Time > 53) {
				t.Errorf("%s: window at %.1f s is %q", c.says, o.Time, o.Reason)
			}
		}
		if found == 0 {
			t.Errorf("no window says %q", c.says)
		}
	}
	// Gusts show in the speed alone.
	m, s := flat(nil)
	for i := 200; i < 250; i++ {
		s.Speed.East[i] += 1.5 * float64(i-200) * s.Speed.Step
	}
	found := false
	for _, o := range MakeWindows(m, s) {
		found = found || o.Reason == "gusts"
	}
	if !found {
		t.Error(`no window says "gusts"`)
	}
}

// TestWindowsThatCannotBe: gaps, NaN and missing parts make no windows there.
func TestWindowsThatCannotBe(t *testing.T) {
	m, s := flat(nil)
	if MakeWindows(nil, s) != nil || MakeWindows(m, nil) != nil || MakeWindows(&align.Motion{}, s) != nil {
		t.Error("windows of nothing")
	}
	m.Segments = [][2]int{{0, 500}, {1000, 2000}}
	for i := range s.Speed.East {
		if i > 180 && i < 190 {
			s.Speed.East[i] = math.NaN()
		}
	}
	for i := 1500; i < 1600; i++ {
		m.Pitch[i] = float32(math.NaN())
	}
	for _, o := range MakeWindows(m, s) {
		lo, hi := o.Time-o.Duration/2, o.Time+o.Duration/2
		if hi > 10.5 && lo < 19.5 || math.IsNaN(o.PitchCos) || math.IsNaN(o.East) || lo > 40 {
			t.Errorf("window %.1f to %.1f s: %+v", lo, hi, o)
		}
	}
	s.Speed = ride.SpeedSeries{}
	if w := MakeWindows(m, s); len(w) != 0 {
		t.Errorf("%d windows without GPS", len(w))
	}
}

// TestRiderBand: a sine of 1.5 Hz passes, steering and vibration do not.
func TestRiderBand(t *testing.T) {
	for _, c := range []struct{ hz, low, high float64 }{{0.05, 0, .03}, {0.4, .3, .7}, {1.5, .85, 1.1}, {4, .3, .7}, {12, 0, .05}} {
		m, s := flat(func(t float64, i int, m *align.Motion) {
			m.PitchRate[i] = float32(0.1 * math.Sqrt2 * math.Sin(2*math.Pi*c.hz*t))
		})
		w := MakeWindows(m, s)
		var sum, n float64
		for _, o := range w {
			if o.Reach == 1 && o.Time > 40 && o.Time < 60 {
				sum += o.PitchRate * o.PitchRate
				n++
			}
		}
		if g := math.Sqrt(sum/n) / 0.1; g < c.low || g > c.high {
			t.Errorf("%.2f Hz passes with gain %.3f, want %.2f to %.2f", c.hz, g, c.low, c.high)
		}
	}
}

// TestControlEffort: the interval of a bin holds the truth about nine times
// in ten, tacks are told apart, and thin bins are left out.
func TestControlEffort(t *testing.T) {
	hits, n := 0, 0
	for k := range 60 {
		rng := rand.New(rand.NewPCG(uint64(k), 2))
		var w []Window
		for reach := range 12 {
			level := 0.05 * math.Exp(0.2*rng.NormFloat64())
			for i := range 12 {
				o := Window{Time: float64(reach*60 + 3*i), Reach: reach, Tack: 1 - 2*(reach%2), East: 8.2, PitchRate: level * math.Exp(0.2*rng.NormFloat64())}
				w = append(w, o)
			}
		}
		w = append(w, Window{Time: 900, East: 12, PitchRate: 9, Tack: 1}, Window{Time: 903, East: 8.2, PitchRate: 9, Reason: "pumping"})
		e := ControlEffort(w)
		if len(e) != 3 || e[0].Tack != "" || e[1].Tack != "port" || e[2].Tack != "starboard" || e[0].Speed != 8.5 {
			t.Fatalf("%+v", e)
		}
		n++
		if e[0].PitchRate.Contains(0.05 * math.Exp(2*0.04)) { // RMS of a log-normal: √E x² with σ² = 0.08
			hits++
		}
	}
	if share := float64(hits) / float64(n); share < .78 || share > .99 {
		t.Errorf("%.0f %% of the intervals hold the truth", 100*share)
	}
}
