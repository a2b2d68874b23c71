package analysis_test

import (
	"math"
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
)

// A receiver that tells of 1.5 s ago: rides begin when the board took off, not
// when the receiver told of it, nor as long before.
func TestRidesAreTimedWithoutTheLatency(t *testing.T) {
	t.Parallel()
	sc := simulate.Default()
	sc.Duration, sc.IMURate, sc.GPSRate, sc.GPSLatency = 1500, 50, 5, 1.5
	s := simulate.Run(sc)
	r, err := analysis.Run(analysis.Request{Log: s.Log})
	if err != nil {
		t.Fatal(err)
	}
	fixes := r.Ride.Speed
	// The speed that the rides are told from, against the true one.
	var off []float64
	for shift := -4.0; shift <= 4; shift += 0.25 {
		sum, n := 0.0, 0.0
		for i := range fixes.East {
			k := int((fixes.Start + float64(i)*fixes.Step + shift) * sc.IMURate)
			if v := math.Hypot(fixes.East[i], fixes.North[i]); v == v && k >= 0 && k < len(s.Truth.Time) {
				d := v - math.Hypot(float64(s.Truth.East[k]), float64(s.Truth.North[k]))
				sum += d * d
				n++
			}
		}
		off = append(off, sum/n)
	}
	best := -4 + 0.25*float64(slices.Index(off, slices.Min(off)))
	t.Logf("speeds are %.2f s early", -best)
	if math.Abs(best) > 0.3 {
		t.Errorf("the speeds of the rides are off by %.2f s", best)
	}
}
