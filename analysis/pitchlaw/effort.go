package pitchlaw

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"evenfoot/analysis/interval"

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
func ControlEffort(w []Window) []Effort {
	type key struct {
		tack, bin int
	}
	groups := map[key]map[int][]float64{}
	for _, o := range w {
		v := o.Speed
		if v == 0 {
			v = math.Hypot(o.East, o.North)
		}
		// Pumping is work of another kind.
		if math.IsNaN(o.PitchRate) || !(v > 0) || o.Reason == Pumping {
			continue
		}
		bin := int(math.Floor(v / effortBin))
		part := o.Reach*1000 + int(o.Time/60)%1000 // a minute of a reach
		for _, tack := range []int{0, o.Tack} {
			k := key{tack, bin}
			if groups[k] == nil {
				groups[k] = map[int][]float64{}
			}
			groups[k][part] = append(groups[k][part], o.PitchRate)
			if o.Tack == 0 {
				break
			}
		}
	}
	var out []Effort
	for k, g := range groups {
		e := Effort{Speed: (float64(k.bin) + 0.5) * effortBin, Tack: tackName(k.tack)}
		windows := 0
		for _, v := range g {
			windows += len(v)
		}
		if windows < effortLeast || len(g) < effortGroups {
			continue
		}
		e.PitchRate = rmsInterval(g, slices.Sorted(maps.Keys(g)))
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b Effort) int {
		return cmp.Or(cmp.Compare(a.Tack, b.Tack), cmp.Compare(a.Speed, b.Speed))
	})
	return out
}

// rmsInterval is the RMS over all windows with a 90 % interval from the
// scatter between groups, Student's t with one degree of freedom less than
// there are groups, on the logarithm of the mean square.
func rmsInterval(g map[int][]float64, ids []int) interval.Interval {
	var sum, n float64
	for _, id := range ids {
		for _, v := range g[id] {
			sum += v * v
			n++
		}
	}
	mean := sum / n
	if mean == 0 {
		return interval.Exact(0)
	}
	var v float64
	for _, id := range ids {
		var d float64
		for _, x := range g[id] {
			d += x*x - mean
		}
		v += d * d
	}
	k := float64(len(ids))
	v *= k / (k - 1) / (n * n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: k - 1}.Quantile(0.95)
	// RMS = √mean; its logarithm's error is half the mean's relative error.
	half := t * math.Sqrt(v) / mean / 2
	rms := math.Sqrt(mean)
	return interval.Interval{Value: rms, Low: rms * math.Exp(-half), High: rms * math.Exp(half)}
}
