package filter

import "math"

// Median is the middle value of x, the mean of the two in the middle of an
// even number, found by selection; x is put in another order. NaN of nothing;
// x must not hold NaN.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	upper := Select(x, n/2)
	if n%2 == 1 {
		return upper
	}
	lower := x[0]
	for _, v := range x[1 : n/2] {
		lower = max(lower, v)
	}
	return (lower + upper) / 2
}

// Select is the value that would stand at index k were x sorted; x is put in
// an order with nothing greater before k and nothing smaller after it (Hoare's
// quickselect, median of three). x must not hold NaN.
func Select(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		mid := int(uint(lo+hi) / 2)
		pivot := max(min(x[lo], x[hi]), min(max(x[lo], x[hi]), x[mid]))
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
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
		default:
			return x[k]
		}
	}
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
