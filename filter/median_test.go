package filter_test

import (
	"math"
	"slices"
	"testing"

	"evenfoot/filter"

	"pgregory.net/rapid"
)

// Selection finds what sorting finds, whatever repeats.
func TestMedianAndSelectAgreeWithSorting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.SampledFrom([]float64{0, 1, math.Inf(1), math.Inf(-1)})), 1, 200).Draw(t, "x")
		sorted := slices.Sorted(slices.Values(x))
		n := len(x)
		want := sorted[n/2]
		if n%2 == 0 {
			want = (sorted[n/2-1] + sorted[n/2]) / 2
		}
		if got := filter.Median(slices.Clone(x)); got != want && !(got != got && want != want) {
			t.Errorf("median of %v is %g, want %g", x, got, want)
		}
		k := rapid.IntRange(0, n-1).Draw(t, "k")
		if got := filter.Select(slices.Clone(x), k); got != sorted[k] {
			t.Errorf("number %d of %v is %g, want %g", k, x, got, sorted[k])
		}
	})
	if m := filter.Median(nil); m == m {
		t.Errorf("median of nothing is %g", m)
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
