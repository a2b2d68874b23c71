// Package pace tells what sets a rider's fastest reaches apart from the rest, with
// an honest test for chance.
//
// The fastest quarter of the reaches is held against the rest in each feature by
// the difference of the means over the spread. Wind and water change within an
// outing, and so does the rider: neighbouring reaches are alike. So the speeds are
// held against the features of all reaches shifted in time by every number of
// reaches, in a ring, which keeps what neighbours share; and the largest difference
// of any feature counts, so that looking at many is no more likely to find one. A
// difference's p is the share of shifts in which chance alone does as well.
//
// It imports analysis/interval and gonum.
package pace

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
)

const (
	// Least is how many reaches are needed for a chance below Surprise.
	Least    = 24
	fastest  = 0.25 // part of the reaches
	leastOf  = 0.75 // part of the reaches in which a feature must be known
	Surprise = 0.1  // p below which a difference is told
)

// A Feature is one number of every reach, NaN where it is not known.
type Feature struct {
	Name string
	Of   []float64
}

// A Difference is what sets the fastest reaches apart in one feature.
type Difference struct {
	Name    string          `json:"name"`
	Fastest interval.Number `json:"fastest"` // means
	Rest    interval.Number `json:"rest"`
	P       interval.Number `json:"p"` // chance alone does as well
}

// Told says whether it is more than chance.
func (d Difference) Told() bool { return float64(d.P) < Surprise }

// Differences holds the fastest of reaches, in order of time, against the rest;
// nothing where there are too few.
func Differences(speed []float64, features []Feature) (out []Difference) {
	n := len(speed)
	if n < Least {
		return nil
	}
	sorted := slices.Sorted(slices.Values(speed))
	limit := stat.Quantile(1-fastest, stat.LinInterp, sorted, nil)
	var known []Feature
	for _, f := range features {
		k := 0
		for _, v := range f.Of {
			if !math.IsNaN(v) {
				k++
			}
		}
		if float64(k) >= leastOf*float64(n) {
			known = append(known, f)
		}
	}
	found := make([]float64, len(known))
	beaten := make([]int, len(known))
	for shift := range n {
		most, sizes := 0.0, make([]float64, len(known))
		for i, f := range known {
			a, b, size := apart(speed, limit, f.Of, shift)
			sizes[i], most = size, math.Max(most, size)
			if shift == 0 {
				found[i] = size
				out = append(out, Difference{Name: f.Name, Fastest: interval.Number(a), Rest: interval.Number(b)})
			}
		}
		for i := range known {
			if most >= found[i]-1e-12 {
				beaten[i]++
			}
		}
	}
	for i := range out {
		out[i].P = interval.Number(float64(beaten[i]) / float64(n))
	}
	return out
}

// apart is the mean of a shifted feature over the fastest reaches and the rest, and
// how many of its spreads lie between them.
func apart(speed []float64, limit float64, of []float64, shift int) (fast, rest, size float64) {
	n := len(speed)
	var a, b, all []float64
	for i, v := range speed {
		x := of[(i+shift)%n]
		if math.IsNaN(x) {
			continue
		}
		all = append(all, x)
		if v >= limit {
			a = append(a, x)
		} else {
			b = append(b, x)
		}
	}
	if len(a) < 2 || len(b) < 2 {
		return math.NaN(), math.NaN(), 0
	}
	fast, rest = stat.Mean(a, nil), stat.Mean(b, nil)
	if sd := stat.StdDev(all, nil); sd > 0 {
		size = math.Abs(fast-rest) / (sd * math.Sqrt(1/float64(len(a))+1/float64(len(b))))
	}
	return fast, rest, size
}
