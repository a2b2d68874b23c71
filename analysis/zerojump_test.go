package analysis

import (
	"math/rand/v2"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/ingest"
)

// TestZeroJumps: a pitch that is another after a stop is asked about, and one
// that only scatters from reach to reach is not.
func TestZeroJumps(t *testing.T) {
	const turned = 0.7 * degree
	for _, by := range []float64{0, turned} {
		asked, held := 0, 0
		for seed := range uint64(40) {
			rng := rand.New(rand.NewPCG(seed, 5))
			o := &observation{log: &ingest.Log{}, ride: &ride.Session{}, parts: []mark.Part{{}}, law: &pitchlaw.Fit{ZeroByTack: map[string]interval.Interval{}}}
			for _, tack := range tackNames {
				o.law.ZeroByTack[tack] = interval.Normal(by/2, 0.1*degree)
			}
			for k := range 24 {
				start := 60*float64(k) + 200*float64(k/6) // a stop after every sixth
				if k%6 == 0 {
					o.ride.Rides = append(o.ride.Rides, ride.Ride{Start: start, End: start + 6*60})
				}
				o.ride.Reaches = append(o.ride.Reaches, ride.Reach{Start: start, End: start + 50})
				pitch := 0.2 * degree * rng.NormFloat64()
				if k >= 12 {
					pitch += by
				}
				for i := range 20 {
					o.law.Windows = append(o.law.Windows, pitchlaw.Window{Time: start + 2*float64(i), PitchCos: pitch + 0.4*degree*rng.NormFloat64(), Tack: 1 - 2*(k%2), Reach: k, Weight: 1})
				}
			}
			o.zeroJump()
			for _, n := range Notes(o.warnings, ZeroJumps) {
				asked++
				if n.By.Contains(by) && n.At == o.ride.Rides[1].End {
					held++
				}
			}
		}
		t.Logf("turned by %.1f°: asked %d times, %d rightly", by/degree, asked, held)
		if by == 0 && asked > 1 || by > 0 && (asked < 36 || held < 30) {
			t.Error("want at most 1 of 40 without a turn, 36 and 30 with it")
		}
	}
}
