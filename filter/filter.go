// Package filter holds the plain pieces of signal processing that the rest
// builds on: Butterworth low-pass filters, once or forward and backward,
// Savitzky–Golay fits, derivatives on uneven times, resampling that minds
// gaps, running root mean squares. Slices of float64 in, slices of float64 out.
//
// It imports the standard library only, and knows no Log.
package filter

import (
	"fmt"
	"math"
)

// A Biquad is a second-order section,
//
//	y[n] = B0 x[n] + B1 x[n-1] + B2 x[n-2] - A1 y[n-1] - A2 y[n-2]
type Biquad struct{ B0, B1, B2, A1, A2 float64 }

// A Cascade is a filter made of sections, one after the other.
type Cascade struct {
	Sections []Biquad
	order    int
}

// LowPass designs a Butterworth low-pass filter of the given order, 1 to 12,
// with -3 dB at cutoffHz for samples at rateHz: the analogue prototype's poles
//
//	p_k = W exp(iπ (2k + order + 1) / (2 order)),   W = tan(π cutoff / rate)
//
// in conjugate pairs, by the bilinear transform z = (1 + s)/(1 - s).
func LowPass(order int, cutoffHz, rateHz float64) (*Cascade, error) {
	if order < 1 || order > 12 {
		return nil, fmt.Errorf("filter: order %d of a low-pass filter: it must be 1 to 12", order)
	}
	if !(cutoffHz > 0 && cutoffHz < rateHz/2) {
		return nil, fmt.Errorf("filter: cut-off at %g Hz for samples at %g Hz: it must lie between 0 and half the rate", cutoffHz, rateHz)
	}
	w := math.Tan(math.Pi * cutoffHz / rateHz)
	c := &Cascade{order: order}
	for k := range order / 2 {
		// s² + 2 ζ W s + W², ζ = -cos of the pole's angle
		zeta := math.Sin(math.Pi * float64(2*k+1) / float64(2*order))
		d := 1 + 2*zeta*w + w*w
		b := w * w / d
		c.Sections = append(c.Sections, Biquad{b, 2 * b, b, 2 * (w*w - 1) / d, (1 - 2*zeta*w + w*w) / d})
	}
	if order%2 == 1 {
		d := 1 + w
		c.Sections = append(c.Sections, Biquad{B0: w / d, B1: w / d, A1: (w - 1) / d})
	}
	return c, nil
}

// Forward filters x once, with the delay that this brings. It starts as if
// x[0] had lasted for ever.
func (c *Cascade) Forward(x []float64) []float64 {
	y := make([]float64, len(x))
	copy(y, x)
	c.run(y)
	return y
}

// run filters x in place, in direct form II transposed, from the steady state
// of x[0].
func (c *Cascade) run(x []float64) {
	if len(x) == 0 {
		return
	}
	for _, s := range c.Sections {
		// For a constant input u and gain 1: s1 = (1 - B0) u, s2 = (B2 - A2) u.
		u := x[0]
		s1, s2 := (1-s.B0)*u, (s.B2-s.A2)*u
		for i, v := range x {
			y := s.B0*v + s1
			s1 = s.B1*v - s.A1*y + s2
			s2 = s.B2*v - s.A2*y
			x[i] = y
		}
	}
}

// Both filters x forward and backward: no delay, the square of the gain. The
// ends are drawn out by up to 3 (order + 1) samples, turned about the end
// points, as is usual. Stretches between values that are not numbers are
// filtered each on its own, and those values stay.
func (c *Cascade) Both(x []float64) []float64 {
	out := make([]float64, len(x))
	copy(out, x)
	var work []float64
	for _, r := range runs(x) {
		work = c.both(out[r[0]:r[1]], work)
	}
	return out
}

func (c *Cascade) both(x, work []float64) []float64 {
	n := len(x)
	pad := min(3*(c.order+1), n-1)
	work = work[:0]
	for i := pad; i > 0; i-- {
		work = append(work, 2*x[0]-x[i])
	}
	work = append(work, x...)
	for i := 1; i <= pad; i++ {
		work = append(work, 2*x[n-1]-x[n-1-i])
	}
	c.run(work)
	reverse(work)
	c.run(work)
	reverse(work)
	copy(x, work[pad:pad+n])
	return work
}

func reverse(x []float64) {
	for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
		x[i], x[j] = x[j], x[i]
	}
}

// runs lists the stretches [from, to) of x that hold numbers.
func runs(x []float64) (list [][2]int) {
	from := -1
	for i, v := range x {
		switch number := v-v == 0; {
		case number && from < 0:
			from = i
		case !number && from >= 0:
			list = append(list, [2]int{from, i})
			from = -1
		}
	}
	if from >= 0 {
		list = append(list, [2]int{from, len(x)})
	}
	return list
}

// RMS is the root mean square of the numbers in x, NaN when there are none.
func RMS(x []float64) float64 {
	s, n := 0.0, 0
	for _, v := range x {
		if v-v == 0 {
			s += v * v
			n++
		}
	}
	return math.Sqrt(s / float64(n))
}

// RunningRMS is the root mean square of the numbers among the width samples
// about each, fewer at the ends; width is taken as odd. NaN where there are none.
func RunningRMS(x []float64, width int) []float64 {
	half := max(width, 1) / 2
	sum := make([]float64, len(x)+1)
	cnt := make([]int, len(x)+1)
	for i, v := range x {
		sum[i+1], cnt[i+1] = sum[i], cnt[i]
		if v-v == 0 {
			sum[i+1] += v * v
			cnt[i+1]++
		}
	}
	out := make([]float64, len(x))
	for i := range x {
		lo, hi := max(0, i-half), min(len(x), i+half+1)
		out[i] = math.Sqrt(max(0, sum[hi]-sum[lo]) / float64(cnt[hi]-cnt[lo]))
	}
	return out
}
