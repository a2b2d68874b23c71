package filter_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenfoot/filter"
)

func TestMedian(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		x    []float64
		want float64
	}{
		{[]float64{3, -1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5}, {[]float64{7}, 7},
		{[]float64{math.Inf(1), 5, math.Inf(-1)}, 5}, {nil, math.NaN()},
	} {
		if got := filter.Median(c.x); got != c.want && (got == got || c.want == c.want) {
			t.Errorf("median of %v is %g, want %g", c.x, got, c.want)
		}
	}
}

// TestNth holds every rank of awkward series against sorting them.
func TestNth(t *testing.T) {
	t.Parallel()
	for n := 1; n < 200; n += 1 + n/7 {
		r := rand.New(rand.NewPCG(uint64(n), 1))
		series := map[string]func(i int) float64{
			"random": func(int) float64 { return r.NormFloat64() },
			"few":    func(int) float64 { return float64(r.IntN(4)) },
			"rising": func(i int) float64 { return float64(i) },
			"roof":   func(i int) float64 { return float64(min(i, n-i)) },
			"holes":  func(i int) float64 { return []float64{math.NaN(), r.Float64(), math.Inf(1), -1}[r.IntN(4)] },
		}
		for name, at := range series {
			x := make([]float64, n)
			for i := range x {
				x[i] = at(i)
			}
			want := slices.Clone(x)
			slices.Sort(want)
			for k := range x {
				if got := filter.Nth(slices.Clone(x), k); got != want[k] && (got == got || want[k] == want[k]) {
					t.Fatalf("%s: rank %d of %d is %g, want %g", name, k, n, got, want[k])
				}
			}
			middle := (want[(n-1)/2] + want[n/2]) / 2
			if got := filter.Median(slices.Clone(x)); got != middle && (got == got || middle == middle) {
				t.Fatalf("%s: the median of %d is %g, want %g", name, n, got, middle)
			}
		}
	}
}

func TestMedianStep(t *testing.T) {
	t.Parallel()
	at := []float64{0}
	for i := range 20000 {
		step := 0.01
		if i%7 == 0 {
			step = 3 // a hole now and then is not the step
		}
		at = append(at, at[i]+step)
	}
	if s := filter.MedianStep(at); math.Abs(s-0.01) > 1e-9 {
		t.Errorf("step %g s, want 0.01", s)
	}
	if s := filter.MedianStep(at[:1]); s == s {
		t.Errorf("step of one sample is %g", s)
	}
}

func TestMovingMean(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	got := filter.MovingMean([]float64{1, 2, 6, nan, 4}, 1)
	for i, want := range []float64{1.5, 3, 4, nan, 4} {
		if got[i] != want && (got[i] == got[i] || want == want) {
			t.Errorf("entry %d is %g, want %g", i, got[i], want)
		}
	}
}
