// Package interval holds the one type for a number with doubt.
//
// It imports the standard library only.
package interval

import (
	"encoding/json"
	"math"
	"strconv"
)

// Z90 is the half width of a 90 % interval of a normal variable, in σ.
const Z90 = 1.6448536269514722

// An Interval is a value with its 90 % interval. The zero value is the exact
// number 0; use [Unknown] for a value that is not known.
type Interval struct{ Value, Low, High float64 }

// Unknown is the interval of a thing that is not known; it prints as null.
func Unknown() Interval { return Interval{math.NaN(), math.NaN(), math.NaN()} }

// Exact is a number without doubt.
func Exact(v float64) Interval { return Interval{v, v, v} }

// Normal is the 90 % interval of a normal estimate with standard error sd.
func Normal(mean, sd float64) Interval {
	return Interval{mean, mean - Z90*sd, mean + Z90*sd}
}

// A draw is one value of a quantity, with its weight.
type draw struct{ value, weight float64 }

// FromDraws is the median and the central 90 % of draws with weights; nil
// weighs all alike. NaN draws are left out, and no draws give [Unknown]. Draws and
// weights are not changed.
func FromDraws(draws, weights []float64) Interval {
	all, total := make([]draw, 0, len(draws)), 0.0
	for i, d := range draws {
		if math.IsNaN(d) {
			continue
		}
		w := 1.0
		if weights != nil {
			w = weights[i]
		}
		all = append(all, draw{d, w})
		total += w
	}
	if len(all) == 0 {
		return Unknown()
	}
	return Interval{quantile(all, 0.5*total), quantile(all, 0.05*total), quantile(all, 0.95*total)}
}

// quantile is the value at which the weights, summed up from the smallest
// value, reach at, linear from one draw to the next; all is put in another
// order (Hoare's quickselect, by weight).
func quantile(all []draw, at float64) float64 {
	lo, hi, below := 0, len(all), 0.0 // the draw lies in all[lo:hi], and below is what all before weighs
	for hi-lo > 1 {
		pivot := all[(lo+hi)/2].value
		i, j := lo, hi-1
		for i <= j {
			for all[i].value < pivot {
				i++
			}
			for all[j].value > pivot {
				j--
			}
			if i <= j {
				all[i], all[j] = all[j], all[i]
				i++
				j--
			}
		}
		// Now all[lo:j+1] are no larger than all[j+1:i], which equal the pivot, nor these than all[i:hi].
		for _, cut := range [3]int{j + 1, i, hi} {
			part := 0.0
			for _, d := range all[lo:cut] {
				part += d.weight
			}
			if cut > lo && below+part >= at || cut == hi {
				hi = cut
				break
			}
			below, lo = below+part, cut
		}
	}
	d := all[lo]
	if lo == 0 {
		return d.value
	}
	before := math.Inf(-1)
	for _, x := range all[:lo] {
		before = max(before, x.value)
	}
	t := max(below+d.weight-at, 0) / d.weight
	return t*before + (1-t)*d.value
}

// Known says whether the value is known.
func (i Interval) Known() bool { return !math.IsNaN(i.Value) }

// SD is the standard deviation that a normal variable with this interval has.
func (i Interval) SD() float64 { return (i.High - i.Low) / (2 * Z90) }

// Scale multiplies value and bounds by k; a negative k swaps the bounds.
func (i Interval) Scale(k float64) Interval {
	lo, hi := i.Low*k, i.High*k
	if k < 0 {
		lo, hi = hi, lo
	}
	return Interval{i.Value * k, lo, hi}
}

// Mix is the way from a to b, 0 at a and 1 at b.
func Mix(a, b Interval, t float64) Interval {
	m := func(a, b float64) float64 { return a + t*(b-a) }
	return Interval{m(a.Value, b.Value), m(a.Low, b.Low), m(a.High, b.High)}
}

// Contains says whether x lies within the bounds.
func (i Interval) Contains(x float64) bool { return i.Low <= x && x <= i.High }

type wire struct {
	Value Number `json:"value"`
	Low   Number `json:"low"`
	High  Number `json:"high"`
}

// MarshalJSON writes {"value":,"low":,"high":}, or null when not known.
func (i Interval) MarshalJSON() ([]byte, error) {
	if !i.Known() || math.IsInf(i.Value, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(wire{Number(i.Value), Number(i.Low), Number(i.High)})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (i *Interval) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*i = Unknown()
		return nil
	}
	var w wire
	if err := json.Unmarshal(b, &w); err != nil {
		return err
	}
	*i = Interval{float64(w.Value), float64(w.Low), float64(w.High)}
	return nil
}

// A Number is a float that JSON shows as null when it is not finite.
type Number float64

// MarshalJSON writes the number to seven significant digits, or null.
func (n Number) MarshalJSON() ([]byte, error) {
	f := float64(n)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return []byte("null"), nil
	}
	short, err := strconv.ParseFloat(strconv.FormatFloat(f, 'g', 7, 64), 64)
	if err != nil {
		short = f // rounded up beyond the largest float
	}
	return json.Marshal(short)
}

// UnmarshalJSON reads a number or null (NaN).
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Number(math.NaN())
		return nil
	}
	var f float64
	if err := json.Unmarshal(b, &f); err != nil {
		return err
	}
	*n = Number(f)
	return nil
}
