package analysis

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"

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

// speedRange is the time spent at each speed through the water and the part
// of it that the advice is for.
type speedRange struct {
	low, high float64    // m/s
	bins      []SpeedBin // all foiling time
	cut       bool       // the range asked for went too far beyond what was ridden or noted
	weights   advice.SpeedWeights
}

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

// speedsThatCount takes the range asked for, as far as anything checks it,
// else what was ridden. Without a log every speed of the range weighs the same.
func speedsThatCount(o *observation, s *setup.Setup, asked [2]float64) (speedRange, error) {
	flown := o.foilingSpeeds()
	r := speedRange{low: asked[0], high: asked[1]}
	if r.high > r.low {
		known := o.known(flown, s.Feel)
		r.low, r.high = max(r.low, known[0]), min(r.high, known[1])
		r.cut = r.low > asked[0] || r.high < asked[1]
		if r.high <= r.low {
			return r, &SpeedError{Asked: asked, Known: known}
		}
	} else {
		if len(flown) == 0 {
			return r, &SpeedError{Why: o.whyNoSpeeds()}
		}
		r.low = stat.Quantile(lowPercentile, stat.LinInterp, flown, nil)
		r.high = stat.Quantile(topPercentile, stat.LinInterp, flown, nil)
		if r.high-r.low < 0.2 { // one speed only
			mid := (r.low + r.high) / 2
			r.low, r.high = mid-0.1, mid+0.1
		}
	}
	step := (r.high - r.low) / speedBins
	w := advice.SpeedWeights{Low: r.low, Top: r.high}
	for i := range speedBins {
		lo := r.low + float64(i)*step
		n := countBetween(flown, lo, lo+step)
		w.Speed = append(w.Speed, lo+step/2)
		w.Weight = append(w.Weight, n)
	}
	if total := sum(w.Weight); total == 0 {
		for i := range w.Weight {
			w.Weight[i] = 1
		}
	} else if asked[1] > asked[0] {
		// The rider asked for these speeds: none of them may count for nothing.
		for i := range w.Weight {
			w.Weight[i] += 0.5 * total / speedBins
		}
	}
	r.weights = w
	r.bins = histogram(flown, o.speedStep())
	return r, nil
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
// moves at (fe, fn), m/s, one value a step of the speed series.
func (o *observation) speedsAgainst(fe, fn float64) []float64 {
	if o.ride == nil {
		return nil
	}
	s := o.ride.Speed
	var v []float64
	for _, r := range o.ride.Rides {
		from := max(0, int(math.Ceil((r.Start-s.Start)/s.Step)))
		for i := from; i < len(s.East) && s.Start+float64(i)*s.Step < r.End; i++ {
			if u := math.Hypot(s.East[i]-fe, s.North[i]-fn); !math.IsNaN(u) {
				v = append(v, u)
			}
		}
	}
	slices.Sort(v)
	return v
}

func (o *observation) speedStep() float64 {
	if o.ride == nil {
		return 0
	}
	return o.ride.Speed.Step
}

// histogram cuts sorted speeds into bins of half a metre a second.
func histogram(sorted []float64, seconds float64) []SpeedBin {
	if len(sorted) == 0 {
		return nil
	}
	const width = 0.5
	var bins []SpeedBin
	for lo := math.Floor(sorted[0]/width) * width; lo <= sorted[len(sorted)-1]; lo += width {
		bins = append(bins, SpeedBin{Low: lo, High: lo + width, Seconds: seconds * countBetween(sorted, lo, lo+width)})
	}
	return bins
}

// countBetween counts sorted values in [lo, hi).
func countBetween(sorted []float64, lo, hi float64) float64 {
	a, _ := slices.BinarySearch(sorted, lo)
	b, _ := slices.BinarySearch(sorted, hi)
	return float64(b - a)
}

func sum(v []float64) (s float64) {
	for _, x := range v {
		s += x
	}
	return s
}

// grid is the speeds at which curves are told, low to high.
func (r speedRange) grid() []float64 {
	g := make([]float64, curvePoints)
	for i := range g {
		g[i] = r.low + (r.high-r.low)*float64(i)/(curvePoints-1)
	}
	return g
}
