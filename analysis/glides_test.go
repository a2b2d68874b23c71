package analysis_test

import (
	"flag"
	"math"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
)

var glideSessions = flag.Int("glide.sessions", 2, "sessions with glides through the whole chain")

// coasting is an outing with glides whose foil drags 20 % more than its model.
func coasting(seed uint64, n int) simulate.Scenario {
	sc := simulate.Default()
	sc.Seed, sc.Duration = seed, 1500
	sc.IMURate, sc.GPSRate = 50, []float64{1, 5}[seed%2]
	sc.Rest, sc.Carry, sc.Swim = 20, 5, 5
	sc.Coast = simulate.Coasts(n)
	stated := sc.Foil
	sc.Gear.Stated = &stated
	sc.Foil.DragFactor = 0.2
	return sc
}

func glided(t *testing.T, sc simulate.Scenario) (*simulate.Session, *analysis.Result) {
	t.Helper()
	s := simulate.Run(sc)
	set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(nil)))
	if err != nil {
		t.Fatal(err)
	}
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	return s, r
}

// TestGlides goes from a log with glides to the drag through the whole chain.
func TestGlides(t *testing.T) {
	for seed := range *glideSessions {
		s, r := glided(t, coasting(uint64(seed+1), 10))
		for _, g := range r.Glides {
			t.Logf("glide %.1f to %.1f s, %.1f to %.1f m/s, course %.0f, rise %.2f, off %.2f weight %.2f %s %s", g.Start, g.End, g.From, g.To, g.Course, g.Rise, g.Drag, g.Weight, g.By, g.Why)
		}
		for _, g := range s.Truth.Glides {
			t.Logf("true %.1f to %.1f pull %.0f", g.Start, g.End, g.Pull)
		}
		if r.Drag == nil {
			t.Error("no drag")
			continue
		}
		d := r.Drag
		in := s.Scenario.Foil
		in.RigLiftFraction = 0
		v := float64(d.Speed)
		truth := 2 * trim.NewFoil(in).At(v, trim.Gravity).Drag / (in.Density * v * v)
		t.Logf("%d glides of %d: area %.4f at %.1f m/s, true %.4f (%+.1f %%); air %.2f wind %.1f scatter %.1f smallest %.1f, of 20 %.1f, least drag %.1f, cavitation %.1f", d.Glides, len(s.Truth.Glides), d.Area, v, truth, 100*(d.Area.Value/truth-1), d.Air, d.Wind, d.Scatter, d.Smallest, d.SmallestTwenty, d.LeastDrag, d.Cavitation)
		t.Logf("flow %v, options %v", r.WaterFlow, d.Options)
		if math.IsNaN(d.Area.Value) {
			t.Error("not known")
		}
	}
}
