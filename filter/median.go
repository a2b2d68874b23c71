package filter

import (
	"math"
	"math/bits"
	"slices"
)

// Median is the middle value of x, the mean of the two in the middle of an even
// number; NaN of nothing. It moves the values about.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	upper := Nth(x, n/2)
	if n%2 == 1 {
		return upper
	}
	lower := x[0]
	for _, v := range x[:n/2] {
		if v > lower || lower != lower { // NaN, which slices.Max would spread, comes first
			lower = v
		}
	}
	return (lower + upper) / 2
}

// Nth is the value that x, sorted, would hold at k. It moves the values about:
// none before k is larger, and none after it smaller (C. A. R. Hoare,
// "Algorithm 65: Find", Comm. ACM 4(7), 1961). NaN comes before all numbers.
func Nth(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for i, v := range x {
		if v != v {
			x[i], x[lo] = x[lo], v
			lo++
		}
	}
	if k < lo {
		return math.NaN()
	}
	for range 2 * bits.Len(uint(len(x))) {
		if hi-lo < 12 {
			break
		}
		a, b, c := x[lo], x[(lo+hi)/2], x[hi]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for pivot < x[j] {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default: // between the parts all equal the pivot
			return pivot
		}
	}
	slices.Sort(x[lo : hi+1])
	return x[k]
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

// MovingMean is the mean of what is known within h entries to either side of
// each; NaN, which is not known, stays NaN.
func MovingMean(x []float64, h int) []float64 {
	out := make([]float64, len(x))
	var sum, n float64
	add := func(i int, sign float64) {
		if i >= 0 && i < len(x) && x[i] == x[i] {
			sum += sign * x[i]
			n += sign
		}
	}
	for i := range h {
		add(i, 1)
	}
	for i := range x {
		add(i+h, 1)
		add(i-h-1, -1)
		if out[i] = math.NaN(); x[i] == x[i] {
			out[i] = sum / n
		}
	}
	return out
}
