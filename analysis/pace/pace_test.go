package pace

import (
	"math"
	"math/rand/v2"
	"testing"
)

// drifting is a series whose neighbours are alike.
func drifting(r *rand.Rand, n int, alike float64) []float64 {
	x := make([]float64, n)
	v := r.NormFloat64()
	for i := range x {
		v = alike*v + math.Sqrt(1-alike*alike)*r.NormFloat64()
		x[i] = v
	}
	return x
}

// TestChance: where features have nothing to do with speed, and all of them drift
// over the outing, one of four is told as a difference in about one outing of ten
// and no more.
func TestChance(t *testing.T) {
	for _, alike := range []float64{0, 0.7} {
		const trials = 600
		told := 0
		for seed := range trials {
			r := rand.New(rand.NewPCG(uint64(seed), 3))
			n := Least + r.IntN(20)
			speed := drifting(r, n, alike)
			var fs []Feature
			for range 4 {
				fs = append(fs, Feature{"x", drifting(r, n, alike)})
			}
			for _, d := range Differences(speed, fs) {
				if d.P < Surprise {
					told++
					break
				}
			}
		}
		if rate := float64(told) / trials; rate > 0.13 {
			t.Errorf("with neighbours alike by %.1f chance alone is told in %.1f %% of the outings", alike, 100*rate)
		}
	}
}

// TestDifference: what moves with speed is told, with its sign, and only that.
func TestDifference(t *testing.T) {
	found, wrong := 0, 0
	for seed := range 50 {
		r := rand.New(rand.NewPCG(uint64(seed), 4))
		const n = 40
		heel, pitch := drifting(r, n, 0.5), drifting(r, n, 0.5)
		speed := make([]float64, n)
		for i := range speed {
			speed[i] = 10 - heel[i] + 0.5*r.NormFloat64()
		}
		pitch[3] = math.NaN()
		for _, d := range Differences(speed, []Feature{{"heel", heel}, {"pitch", pitch}}) {
			switch {
			case d.Name == "heel" && d.P < Surprise && d.Fastest < d.Rest:
				found++
			case d.Name == "pitch" && d.P < Surprise:
				wrong++
			}
		}
	}
	if found < 48 || wrong > 7 {
		t.Errorf("heel is told in %d of 50, pitch in %d", found, wrong)
	}
	if d := Differences(make([]float64, Least-1), nil); d != nil {
		t.Errorf("too few reaches tell %v", d)
	}
}
