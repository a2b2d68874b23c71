package analysis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest/raw"
)

// knocking plays an outing in which the rider knocks twice on the deck about
// once a minute of flight, among what is no double knock: single blows, runs of
// chop, and slaps of the hull at every touchdown. told are the knocks.
func knocking(sc simulate.Scenario) (s *simulate.Session, told []float64) {
	quick := sc
	quick.IMURate, quick.NoIMU = 20, true
	truth := simulate.Run(quick).Truth
	r := rand.New(rand.NewPCG(sc.Seed, 77))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	blow := func(t float64) { sc.Blows = append(sc.Blows, simulate.Blow{At: t, Size: between(0.12, 0.35)}) }
	for _, f := range truth.Flights {
		for i, t := 0, f.Start+6; t < f.End-6; i, t = i+1, t+between(10, 30) {
			switch i % 3 {
			case 0:
				told = append(told, t)
				size := between(0.12, 0.35)
				for _, at := range []float64{t, t + between(0.2, 0.8)} {
					sc.Blows = append(sc.Blows, simulate.Blow{At: at, Size: size * between(0.7, 1.4)})
				}
			case 1:
				blow(t)
			default:
				for k, at := 0, t; k < 3+r.IntN(4); k, at = k+1, at+between(0.2, 0.9) {
					blow(at)
				}
			}
		}
	}
	for _, e := range truth.Events {
		if e.Kind == "touchdown" || e.Kind == "fall" {
			for range 1 + r.IntN(3) {
				blow(e.Time + between(-0.3, 1))
			}
		}
	}
	return simulate.Run(sc), told
}

// TestKnocks: double knocks are found through the whole chain, and next to
// nothing else is taken for one.
func TestKnocks(t *testing.T) {
	t.Parallel()
	seeds := 1
	if *long {
		seeds = 12
	}
	var knocks, found, alarms int
	var hours float64
	for name, make := range map[string]func() simulate.Scenario{
		"usual": simulate.Default, "rough": simulate.Rough, "kite": simulate.Kite, "beginner": simulate.Beginner,
	} {
		var n, hits, wrong int
		for seed := range seeds {
			sc := make()
			sc.Seed, sc.Duration = uint64(300+seed), 900
			s, told := knocking(sc)
			r, err := analysis.Run(analysis.Request{Log: s.Log})
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for _, m := range r.Marks {
				if m.Kind == raw.Knock {
					got = append(got, float64(m.At))
				}
			}
			for _, at := range told {
				n++
				if i := slices.IndexFunc(got, func(x float64) bool { return math.Abs(x-at) < 0.5 }); i >= 0 {
					hits++
					got = slices.Delete(got, i, i+1)
				}
			}
			wrong += len(got)
			hours += float64(r.Totals.Foiling) / 3600
		}
		t.Logf("%-8s %d of %d double knocks found, %d false alarms", name, hits, n, wrong)
		knocks, found, alarms = knocks+n, found+hits, alarms+wrong
	}
	t.Logf("together %.3f of %d found, %.2f false alarms an hour of flight", float64(found)/float64(knocks), knocks, float64(alarms)/hours)
	if knocks < 20 || float64(found) < 0.9*float64(knocks) {
		t.Errorf("%d of %d double knocks found, want nine in ten", found, knocks)
	}
	if float64(alarms) > 1+2*hours {
		t.Errorf("%d false alarms in %.1f hours of flight", alarms, hours)
	}
}
