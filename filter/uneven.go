package filter

import "math"

var nan = math.NaN()

// Derivative returns dx/dt at each sample of uneven times t, s, strictly
// increasing: the slope of the parabola through it and its neighbours, that of
// the line to the only neighbour at an end. A gap longer than maxGap seconds,
// or a value that is not a number, makes an end; a sample alone gives NaN.
//
//	x' = (h₁² (x₂-x) + h₂² (x-x₁)) / (h₁ h₂ (h₁+h₂)),   h₁ = t-t₁, h₂ = t₂-t
func Derivative(t, x []float64, maxGap float64) []float64 {
	out := make([]float64, len(x))
	joined := func(i int) bool { // i and i+1
		return i >= 0 && i+1 < len(x) && t[i+1]-t[i] <= maxGap && x[i]-x[i] == 0 && x[i+1]-x[i+1] == 0
	}
	for i := range x {
		before, after := joined(i-1), joined(i)
		switch {
		case before && after:
			h1, h2 := t[i]-t[i-1], t[i+1]-t[i]
			out[i] = (h1*h1*(x[i+1]-x[i]) + h2*h2*(x[i]-x[i-1])) / (h1 * h2 * (h1 + h2))
		case before:
			out[i] = (x[i] - x[i-1]) / (t[i] - t[i-1])
		case after:
			out[i] = (x[i+1] - x[i]) / (t[i+1] - t[i])
		default:
			out[i] = nan
		}
	}
	return out
}

// Resample interpolates x, sampled at t, linearly at the times at; both must
// increase. Values that are not numbers are left out first. Within a gap longer
// than maxGap seconds, and outside of t, the result is NaN.
func Resample(t, x, at []float64, maxGap float64) []float64 {
	out := make([]float64, len(at))
	i := -1 // the last number at or before the time
	next := advance(x, 0)
	for k, a := range at {
		for next < len(x) && t[next] <= a {
			i = next
			next = advance(x, next+1)
		}
		switch {
		case i < 0:
			out[k] = nan
		case t[i] == a:
			out[k] = x[i]
		case next == len(x) || t[next]-t[i] > maxGap:
			out[k] = nan
		default:
			out[k] = x[i] + (x[next]-x[i])*(a-t[i])/(t[next]-t[i])
		}
	}
	return out
}

// advance finds the first number of x from i on.
func advance(x []float64, i int) int {
	for i < len(x) && x[i]-x[i] != 0 {
		i++
	}
	return i
}
