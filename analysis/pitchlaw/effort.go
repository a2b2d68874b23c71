package pitchlaw

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"evenfoot/analysis/interval"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	effortBin    = 1.0 // m/s
	effortLeast  = 8   // windows
	effortGroups = 3   // reaches, or parts of one a minute long
)

// ControlEffort is how hard the rider works to hold the board: the RMS of the
// pitch rate between 0.4 and 4 Hz against speed, for both tacks together
// (Tack "") and for each. Windows of one reach count as one group in the
// interval. Speeds are through the water where the windows come from
// [Fit.Windows], else over ground. Bins with too few windows or groups are
// left out.
func ControlEffort(w []Window) (out []Effort) {
	type key struct{ tack, bin int }
	type sums struct{ n, squares float64 }
	groups := map[key]map[int]sums{} // by minute of a reach
	for _, o := range w {
		v := o.Speed
		if v == 0 {
			v = math.Hypot(o.East, o.North)
		}
		// Pumping is work of another kind.
		if math.IsNaN(o.PitchRate) || !(v > 0) || o.Reason == Pumping {
			continue
		}
		minute := o.Reach*1000 + int(o.Time/60)%1000
		for _, tack := range slices.Compact([]int{0, o.Tack}) {
			k := key{tack, int(math.Floor(v / effortBin))}
			if groups[k] == nil {
				groups[k] = map[int]sums{}
			}
			g := groups[k][minute]
			groups[k][minute] = sums{g.n + 1, g.squares + o.PitchRate*o.PitchRate}
		}
	}
	for k, g := range groups {
		var n, squares []float64
		for _, minute := range slices.Sorted(maps.Keys(g)) {
			n, squares = append(n, g[minute].n), append(squares, g[minute].squares)
		}
		if floats.Sum(n) >= effortLeast && len(n) >= effortGroups {
			out = append(out, Effort{(float64(k.bin) + 0.5) * effortBin, TackName(k.tack), rmsInterval(n, squares)})
		}
	}
	slices.SortFunc(out, func(a, b Effort) int {
		return cmp.Or(cmp.Compare(a.Tack, b.Tack), cmp.Compare(a.Speed, b.Speed))
	})
	return out
}

// rmsInterval is the RMS over groups of n values, of which the sums of squares are
// given, with a 90 % interval from the scatter between groups, Student's t with one
// degree of freedom less than there are groups, on the logarithm of the mean square.
func rmsInterval(n, squares []float64) interval.Interval {
	total, k := floats.Sum(n), float64(len(n))
	mean := floats.Sum(squares) / total
	if mean == 0 {
		return interval.Exact(0)
	}
	var v float64
	for i := range n {
		d := squares[i] - n[i]*mean
		v += d * d
	}
	v *= k / (k - 1) / (total * total)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: k - 1}.Quantile(0.95)
	// RMS = √mean; its logarithm's error is half the mean's relative error.
	half := t * math.Sqrt(v) / mean / 2
	rms := math.Sqrt(mean)
	return interval.Interval{Value: rms, Low: rms * math.Exp(-half), High: rms * math.Exp(half)}
}
