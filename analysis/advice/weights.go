package advice

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// SpeedWeights are the speeds through the water that count, and the time
// spent at each. Low and Top are the ends of the range, m/s; 0 means the
// lowest and highest of Speed.
type SpeedWeights struct {
	Speed  []float64 // m/s
	Weight []float64 // any unit, above zero
	Low    float64
	Top    float64
}

const (
	slowest  = 1.5 // m/s; below it no foil flies
	maxBins  = 16
	curveLen = 13 // odd: the middle speed is one of them
)

// clean sorts, drops what no foil flies at, merges to a few bins and makes the
// weights add up to one. Without any usable speed it is empty.
func (w SpeedWeights) clean() SpeedWeights {
	type bin struct{ v, t float64 }
	var bins []bin
	total := 0.0
	for i, v := range w.Speed {
		if i < len(w.Weight) && v >= slowest && v < 100 && w.Weight[i] > 0 && !math.IsInf(w.Weight[i], 0) {
			bins = append(bins, bin{v, w.Weight[i]})
			total += w.Weight[i]
		}
	}
	if len(bins) == 0 {
		return SpeedWeights{}
	}
	slices.SortFunc(bins, func(a, b bin) int { return cmp.Compare(a.v, b.v) })
	c := SpeedWeights{Low: w.Low, Top: w.Top}
	if !(c.Low >= slowest) {
		c.Low = bins[0].v
	}
	if !(c.Top >= c.Low) {
		c.Top = math.Max(c.Low, bins[len(bins)-1].v)
	}
	for chunk := range slices.Chunk(bins, (len(bins)+maxBins-1)/maxBins) {
		sv, st := 0.0, 0.0
		for _, b := range chunk {
			sv, st = sv+b.v*b.t, st+b.t
		}
		c.Speed, c.Weight = append(c.Speed, sv/st), append(c.Weight, st/total)
	}
	return c
}

func (w SpeedWeights) mid() float64 { return (w.Low + w.Top) / 2 }

// curveSpeeds are the speeds at which curves are told, low to top.
func (w SpeedWeights) curveSpeeds() []float64 {
	return floats.Span(make([]float64, curveLen), w.Low, w.Top)
}
