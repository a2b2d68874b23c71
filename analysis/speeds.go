package analysis

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// The speeds that count by default: percentiles of foiling speed,
// so that a stray fix or a touchdown does not count, and how finely they are cut.
const (
	lowPercentile = 0.05
	topPercentile = 0.98
	speedBins     = 24
	curvePoints   = 25
	// NearRidden is how far the speeds that count may go past what was ridden or
	// noted, m/s (2 kn): further out nothing checks the model.
	NearRidden = 2 * knot
	knot       = 1852.0 / 3600
)

// A SpeedError says that no advice can be given for the speeds that were asked
// for, or ridden, or that none is known.
type SpeedError struct {
	Why   Kind       // no speed is known: NoLog, NoGPS or NoFlight; "" where speeds are known
	Asked [2]float64 // m/s; zero when not asked for
	Known [2]float64 // m/s, what was ridden or noted, and near it
	// Slowest is the least speed at which a wing of WingArea (m²) carries Mass
	// (kg), m/s, where nothing flies; else 0, and the range lies beyond what is known.
	Slowest, WingArea, Mass float64
}

// Error is for a programmer; package report/words says it to a rider.
func (e *SpeedError) Error() string {
	return fmt.Sprintf("analysis: no advice for the speeds: %+v", *e)
}

// decideSpeeds takes the range asked for, as far as anything checks it, else what
// was ridden. Without a log every speed of the range weighs the same.
func (r *Result) decideSpeeds(asked [2]float64) error {
	flown := r.seen.foilingSpeeds()
	low, high := asked[0], asked[1]
	isAsked, cut := high > low, false
	switch {
	case isAsked:
		known := r.seen.known(flown, r.Setup.Feel)
		low, high = max(low, known[0]), min(high, known[1])
		cut = low > asked[0] || high < asked[1]
		if high <= low {
			return &SpeedError{Asked: asked, Known: known}
		}
	case len(flown) == 0:
		return &SpeedError{Why: r.seen.whyNoSpeeds()}
	default:
		low = stat.Quantile(lowPercentile, stat.LinInterp, flown, nil)
		high = stat.Quantile(topPercentile, stat.LinInterp, flown, nil)
		if high-low < 0.2 { // one speed only
			mid := (low + high) / 2
			low, high = mid-0.1, mid+0.1
		}
	}
	step := (high - low) / speedBins
	w := advice.SpeedWeights{Low: low, Top: high}
	for i := range speedBins {
		lo := low + float64(i)*step
		w.Speed = append(w.Speed, lo+step/2)
		w.Weight = append(w.Weight, countBetween(flown, lo, lo+step))
	}
	if total := floats.Sum(w.Weight); total == 0 {
		floats.AddConst(1, w.Weight)
	} else if isAsked {
		// The rider asked for these speeds: none of them may count for nothing.
		floats.AddConst(0.5*total/speedBins, w.Weight)
	}
	r.cut, r.weights = cut, w
	r.RangeLow, r.RangeHigh, r.SpeedHistogram = low, high, r.seen.histogram(flown)
	return nil
}

// known is the speeds that were flown or noted, and what lies near them, m/s;
// without either all speeds.
func (o *observation) known(flown []float64, notes []setup.Feel) [2]float64 {
	low, high := math.Inf(1), math.Inf(-1)
	if n := len(flown); n > 0 {
		low, high = flown[0], flown[n-1]
		if a, b, ok := o.flown(); ok {
			low, high = max(low, min(a, b)), max(b, stat.Quantile(topPercentile, stat.LinInterp, flown, nil))
		}
	}
	for _, n := range notes {
		if len(flown) == 0 {
			low, high = min(low, n.Speed), max(high, n.Speed)
		}
	}
	if low > high {
		return [2]float64{0, math.Inf(1)}
	}
	return [2]float64{low - NearRidden, high + NearRidden}
}

// whyNoSpeeds is what is missing.
func (o *observation) whyNoSpeeds() Kind {
	switch {
	case o.log == nil:
		return NoLog
	case len(o.log.GPS.Time) == 0:
		return NoGPS
	}
	return NoFlight
}

// foilingSpeeds is the sorted speed through the water over all flight.
func (o *observation) foilingSpeeds() []float64 { return o.speedsAgainst(o.flow()) }

// speedsAgainst is the sorted speed over all flight against something that
// flows, one value a step of the speed series.
func (o *observation) speedsAgainst(flow mark.Flow) []float64 {
	if o.ride == nil {
		return nil
	}
	s := o.ride.Speed
	var v []float64
	for _, r := range o.ride.Rides {
		from := max(0, int(math.Ceil((r.Start-s.Start)/s.Step)))
		for i := from; i < len(s.East) && s.Start+float64(i)*s.Step < r.End; i++ {
			if u := math.Hypot(s.East[i]-flow.East, s.North[i]-flow.North); !math.IsNaN(u) {
				v = append(v, u)
			}
		}
	}
	slices.Sort(v)
	return v
}

// histogram cuts sorted speeds in flight into bins of half a metre a second.
func (o *observation) histogram(sorted []float64) (bins []SpeedBin) {
	const width = 0.5
	if len(sorted) == 0 {
		return nil
	}
	for lo := math.Floor(sorted[0]/width) * width; lo <= sorted[len(sorted)-1]; lo += width {
		bins = append(bins, SpeedBin{Low: lo, High: lo + width, Seconds: o.ride.Speed.Step * countBetween(sorted, lo, lo+width)})
	}
	return bins
}

// countBetween counts sorted values in [lo, hi).
func countBetween(sorted []float64, lo, hi float64) float64 {
	a, _ := slices.BinarySearch(sorted, lo)
	b, _ := slices.BinarySearch(sorted, hi)
	return float64(b - a)
}

// grid is the speeds that count at which curves are told, low to high.
func (r *Result) grid() []float64 {
	return floats.Span(make([]float64, curvePoints), r.RangeLow, r.RangeHigh)
}
