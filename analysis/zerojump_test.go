package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/ingest"
)

// TestZeroJumps: a pitch that is another after a stop is asked about, and one
// that only scatters from reach to reach, or creeps by as much, is not.
func TestZeroJumps(t *testing.T) {
	const turned = 0.7 * degree
	none := func(float64) float64 { return 0 }
	for _, c := range []struct {
		name        string
		by, scatter float64
		drift       func(part float64) float64 // of the outing, 0 to 1
		most        int
	}{
		{"scatters", 0, 0.2, none, 1},
		{"turned", turned, 0.2, none, 40},
		{"creeps", 0, 0.1, func(p float64) float64 { return turned * p }, 1},
		{"settles", 0, 0.1, func(p float64) float64 { return turned * (1 - math.Exp(-4*p)) }, 1},
	} {
		asked, held := 0, 0
		for seed := range uint64(40) {
			rng := rand.New(rand.NewPCG(seed, 5))
			o := &observation{log: &ingest.Log{}, ride: &ride.Session{}, parts: []mark.Part{{}}, law: &pitchlaw.Fit{ZeroByTack: map[string]interval.Interval{}}}
			for _, tack := range []string{"starboard", "port"} {
				o.law.ZeroByTack[tack] = interval.Normal(c.by/2, 0.1*degree)
			}
			for k := range 24 {
				start := 60*float64(k) + 200*float64(k/6) // a stop after every sixth
				if k%6 == 0 {
					o.ride.Rides = append(o.ride.Rides, ride.Ride{Start: start, End: start + 6*60})
				}
				o.ride.Reaches = append(o.ride.Reaches, ride.Reach{Start: start, End: start + 50})
				pitch := c.drift(start/2040) + c.scatter*degree*rng.NormFloat64()
				if k >= 12 {
					pitch += c.by
				}
				for i := range 20 {
					o.law.Windows = append(o.law.Windows, pitchlaw.Window{Time: start + 2*float64(i), PitchCos: pitch + 0.4*degree*rng.NormFloat64(), Tack: 1 - 2*(k%2), Reach: k, Weight: 1})
				}
			}
			o.zeroJump()
			for _, n := range Notes(o.warnings, ZeroJumps) {
				asked++
				if n.By.Contains(c.by) && n.At == o.ride.Rides[1].End {
					held++
				}
			}
		}
		t.Logf("%s: asked %d times, %d rightly", c.name, asked, held)
		if asked > c.most || c.by > 0 && (asked < 36 || held < 30) {
			t.Error("want at most 1 of 40 without a turn, 36 and 30 with it")
		}
	}
}

// TestNoZeroByTack: a law that tells no tack's zero leaves nothing to ask about.
func TestNoZeroByTack(t *testing.T) {
	o := &observation{log: &ingest.Log{}, law: &pitchlaw.Fit{Windows: []pitchlaw.Window{{Tack: 1, Weight: 1}}},
		ride: &ride.Session{Reaches: make([]ride.Reach, 1), Rides: []ride.Ride{{Start: 0, End: 100}, {Start: 300, End: 400}}}}
	if o.zeroJump(); len(o.warnings) > 0 {
		t.Errorf("it tells %v", o.warnings)
	}
}
