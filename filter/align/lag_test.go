package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestLag: a load that two devices show, one of which starts two minutes after
// the other; a clock drifts.
func TestLag(t *testing.T) {
	const offset, drift, late = 3.7, 40e-6, 123.4
	rng := rand.New(rand.NewPCG(5, 2))
	load, x, v := make([]float64, 9000), 0.0, 0.0 // every 0.1 s
	for i := range load {
		v += 0.3*rng.NormFloat64() - 0.2*v - 0.3*x
		x += 0.3 * v
		load[i] = 0.2 * x
	}
	at := func(t float64) float64 {
		u := t / 0.1
		k := min(int(u), len(load)-2)
		return load[k] + (u-float64(k))*(load[k+1]-load[k])
	}
	var own, other Series
	for u := 0.0; u < 890; u += 0.04 {
		own.Time, own.Value = append(own.Time, u), append(own.Value, at(u)+0.01*rng.NormFloat64())
	}
	for u := late; u < 890; u += 0.05 {
		other.Time = append(other.Time, u+offset+drift*(u-450))
		other.Value = append(other.Value, at(u)+0.01*rng.NormFloat64())
	}
	for _, most := range []float64{10, math.Inf(1)} {
		c := Lag(own, other, 0.5, most)
		if want := offset + drift*(c.AtS-450); !c.OK || math.Abs(c.OffsetS-want) > 3*c.OffsetSE || c.OffsetSE > 0.1 {
			t.Errorf("within %g s: offset %.3f ± %.3f s, want %.3f; %+v", most, c.OffsetS, c.OffsetSE, want, c)
		}
	}
}
