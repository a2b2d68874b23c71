// Package filter holds the few pieces of signal processing that the rooms
// behind it share: a Butterworth low-pass filter without lag, median and
// moving mean, the usual step between times, a loop over all cores. Slices in,
// slices out.
//
// It imports the standard library only, and knows no Log.
package filter

import (
	"fmt"
	"math"
	"slices"
)

// A Biquad is a second-order section,
//
//	y[n] = B0 x[n] + B1 x[n-1] + B2 x[n-2] - A1 y[n-1] - A2 y[n-2]
type Biquad struct{ B0, B1, B2, A1, A2 float64 }

// LowPass designs a Butterworth low-pass filter of second order with -3 dB at
// cutoffHz for samples at rateHz: the analogue prototype
//
//	W² / (s² + √2 W s + W²),   W = tan(π cutoff / rate)
//
// by the bilinear transform s = (1 - 1/z)/(1 + 1/z).
func LowPass(cutoffHz, rateHz float64) (*Biquad, error) {
	if !(cutoffHz > 0 && cutoffHz < rateHz/2) {
		return nil, fmt.Errorf("filter: cut-off at %g Hz for samples at %g Hz: it must lie between 0 and half the rate", cutoffHz, rateHz)
	}
	w := math.Tan(math.Pi * cutoffHz / rateHz)
	d := 1 + math.Sqrt2*w + w*w
	b := w * w / d
	return &Biquad{b, 2 * b, b, 2 * (w*w - 1) / d, (1 - math.Sqrt2*w + w*w) / d}, nil
}

// run filters x in place, in direct form II transposed, from the steady state
// of x[0], as if that had lasted for ever.
func (f *Biquad) run(x []float64) {
	// For a constant input u and gain 1: s1 = (1 - B0) u, s2 = (B2 - A2) u.
	u := x[0]
	s1, s2 := (1-f.B0)*u, (f.B2-f.A2)*u
	for i, v := range x {
		y := f.B0*v + s1
		s1 = f.B1*v - f.A1*y + s2
		s2 = f.B2*v - f.A2*y
		x[i] = y
	}
}

// bothPad is how many samples the ends are drawn out by before filtering.
const bothPad = 9

// Both filters x forward and backward: no delay, the square of the gain. The
// ends are drawn out, turned about the end points, as is usual. Stretches
// between values that are not numbers are filtered each on its own, and those
// values stay.
func (f *Biquad) Both(x []float64) []float64 {
	out := slices.Clone(x)
	work := make([]float64, 0, len(x)+2*bothPad)
	for from := 0; from < len(x); from++ {
		to := from
		for to < len(x) && x[to]-x[to] == 0 {
			to++
		}
		if to > from {
			work = f.both(out[from:to], work[:0])
			from = to
		}
	}
	return out
}

func (f *Biquad) both(x, work []float64) []float64 {
	n := len(x)
	pad := min(bothPad, n-1)
	for i := pad; i > 0; i-- {
		work = append(work, 2*x[0]-x[i])
	}
	work = append(work, x...)
	for i := 1; i <= pad; i++ {
		work = append(work, 2*x[n-1]-x[n-1-i])
	}
	f.run(work)
	slices.Reverse(work)
	f.run(work)
	slices.Reverse(work)
	copy(x, work[pad:pad+n])
	return work
}
