package filter_test

import (
	"math"
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
