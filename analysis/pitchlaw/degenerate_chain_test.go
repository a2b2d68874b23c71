package pitchlaw_test

import (
	"strings"
	"testing"

	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/simulate"
)

// TestChainDegenerate: outings that cannot give a law say what is missing,
// and give no number.
func TestChainDegenerate(t *testing.T) {
	for _, c := range []struct {
		name string
		m    func(*simulate.Scenario)
		says []string // any of
	}{
		{"no flight", func(s *simulate.Scenario) { s.NoFlight = true }, []string{"straight flight", "straight reaches"}},
		{"one tack", func(s *simulate.Scenario) { s.OneTack = true }, []string{"tack", "the other way"}},
		{"two minutes", func(s *simulate.Scenario) { s.Duration, s.Rest, s.Carry, s.Swim = 120, 5, 0, 0 }, []string{"time in straight flight", "straight reaches"}},
		{"one speed", func(s *simulate.Scenario) {
			s.SpeedLow, s.SpeedHigh, s.Variation, s.Gust, s.VelocitySD = 8, 8, 0, 0.02, 0.03
		}, []string{"speed"}},
		{"one reach", func(s *simulate.Scenario) {
			s.ReachMin, s.ReachMax, s.Duration = 700, 720, 700
			s.Touchdowns, s.Breaches, s.Falls, s.Pumping = 0, 0, 0, 0
		}, []string{"straight reaches"}},
		{"all gusts", func(s *simulate.Scenario) { s.Gust, s.Variation, s.Wave, s.Pumping = 2, 1.2, 0.35, 60 }, []string{"steady flight"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sc := simulate.Default()
			sc.IMURate, sc.Duration = 50, 1200
			c.m(&sc)
			s := simulate.Run(sc)
			w, _, p := chain(t, s)
			f := pitchlaw.Estimate(w, p)
			t.Logf("%d windows, missing %q, slope %v (true %.0f)", len(w), f.Missing, f.Slope, s.Truth.SlopePerKg)
			if f.Enough {
				t.Fatalf("enough: slope %v, zero %v, notes %q", f.Slope, f.Zero, f.Notes)
			}
			found := false
			for _, x := range c.says {
				found = found || strings.Contains(strings.Join(f.Missing, "; "), x)
			}
			if !found {
				t.Errorf("missing %q names none of %q", f.Missing, c.says)
			}
			if f.PitchAt(8, 9.81).Known() {
				t.Error("a pitch is given")
			}
		})
	}
}

// TestChainRecovers: the ordinary outing gives slope and flow end to end.
func TestChainRecovers(t *testing.T) {
	sc := simulate.Default()
	sc.IMURate, sc.Duration = 50, 1500
	sc.Flow = [2]float64{0.35, -0.2}
	s := simulate.Run(sc)
	w, _, p := chain(t, s)
	f := pitchlaw.Estimate(w, p)
	if !f.Enough {
		t.Fatal(f.Missing)
	}
	t.Logf("slope %v (true %.1f), flow %v %v, notes %q, bends %+v", f.Slope, s.Truth.SlopePerKg, f.FlowEast, f.FlowNorth, f.Notes, f.Bend)
	if e := f.Slope.Value/s.Truth.SlopePerKg - 1; e > .08 || e < -.08 {
		t.Errorf("slope off by %.1f %%", 100*e)
	}
	if !f.Slope.Contains(s.Truth.SlopePerKg) {
		t.Errorf("slope %v does not hold %.1f", f.Slope, s.Truth.SlopePerKg)
	}
	for k, i := range []float64{f.FlowEast.Value, f.FlowNorth.Value} {
		if d := i - sc.Flow[k]; d > .25 || d < -.25 {
			t.Errorf("flow off by %.2f m/s", d)
		}
	}
}
