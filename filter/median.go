package filter

import (
	"math"
	"slices"
)

// Median is the middle value of x, the mean of the two in the middle of an even
// number; x is sorted. NaN of nothing.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}

// MedianStep is the usual time between samples, s, told from some two
// thousand of them spread over the log; NaN of fewer than two.
func MedianStep(t []float64) float64 {
	const enough = 2048
	d := make([]float64, 0, enough)
	for i := 1; i < len(t); i += 1 + len(t)/enough {
		if x := t[i] - t[i-1]; x == x {
			d = append(d, x)
		}
	}
	return Median(d)
}
