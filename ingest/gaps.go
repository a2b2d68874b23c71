package ingest

import (
	"cmp"
	"slices"

	"evenfoot/ingest/raw"
)

// Gaps and rates; the numbers are conventions, of no influence on a result.
const (
	// Gaps are longer than gapPeriods sample periods and than gapLeast, s.
	gapPeriods = 5
	gapLeast   = 0.25
	// gapAround is how many samples before and after tell the rate there.
	gapAround = 6
	// usualStep: a step longer than this many medians is none of the rate's.
	usualStep = 2.5
	// rateWindow is the time over which a rate is looked at, s, with rateSamples
	// samples or more over rateSpan s.
	rateWindow, rateSamples, rateSpan = 10, 20, 5
	// rateSteps steps, or up to twice as many, tell the rate of a window.
	rateSteps = 50
	// rateChanged is the factor that a rate must change by, and rateStays the one
	// within which it must then stay.
	rateChanged, rateStays = 1.25, 1.1
)

// pace finds the gaps and the usual rate, Hz, of samples at times t: the rate by
// the mean of the steps that are not much longer than the median, so that stamps
// rounded to 3 and 4 ms still give 285.7 Hz; 0 when it cannot be told.
//
// Gaps are longer than five sample periods and than 0.25 s. The period is the
// median over the log, or the one just before and after where the device sampled
// more slowly there.
func pace(t []float64) (gaps []Span, hz float64) {
	p := period(t)
	limit := gapLimit(p)
	sum, n := 0.0, 0
	for i := 1; i < len(t); i++ {
		d := t[i] - t[i-1]
		if d <= usualStep*p {
			sum += d
			n++
		}
		if d <= limit {
			continue
		}
		around := max(medianStep(t[max(0, i-gapAround):i], 1), medianStep(t[i:min(len(t), i+gapAround)], 1))
		if !(around > p && d <= gapPeriods*around) {
			gaps = append(gaps, Span{Start: t[i-1], End: t[i]})
		}
	}
	if sum > 0 {
		hz = float64(n) / sum
	}
	return gaps, hz
}

// gapLimit is the step between samples above which some are missing, s.
func gapLimit(period float64) float64 { return max(gapPeriods*period, gapLeast) }

// period is the median step of a whole series, s; NaN below two samples.
func period(t []float64) float64 { return medianStep(t, len(t)/medianMost+1) }

// medianStep is the median of every so many-th step, s; NaN below two samples.
func medianStep(t []float64, stride int) float64 {
	steps := make([]float64, 0, len(t)/stride+1)
	for i := 1; i < len(t); i += stride {
		steps = append(steps, t[i]-t[i-1])
	}
	return raw.Median(steps)
}

// A rateChange is a lasting change of a device's rate.
type rateChange struct{ at, from, to float64 } // s, Hz, Hz

// rateChanges finds where the median rate over ten seconds changes by a
// quarter or more and stays.
func rateChanges(t []float64) (out []rateChange) {
	var starts, periods []float64 // s, of each window
	for r := range blocks(t, rateWindow) {
		if n := r.b - r.a; n >= rateSamples && t[r.b-1]-t[r.a] > rateSpan {
			starts, periods = append(starts, t[r.a]), append(periods, medianStep(t[r.a:r.b], 1+n/rateSteps))
		}
	}
	if len(periods) < 4 {
		return nil
	}
	apart := func(p, q float64) float64 { return max(p/q, q/p) }
	now := periods[0]
	for k, p := range periods[:len(periods)-1] {
		if apart(p, now) > rateChanged && apart(p, periods[k+1]) < rateStays {
			out = append(out, rateChange{starts[k], 1 / now, 1 / p})
			now = p
		}
	}
	return out
}

// A run is the samples [a, b).
type run struct{ a, b int }

// runs parts n samples before each i, from 1, for which cut holds.
func runs(n int, cut func(i int) bool) (rs []run) {
	a := 0
	for i := 1; i <= n; i++ {
		if i == n || cut(i) {
			rs = append(rs, run{a, i})
			a = i
		}
	}
	return rs
}

// A stretch is samples without a long pause.
type stretch struct {
	from, to float64 // s
	n        int
}

// stretches splits times at pauses of more than pause seconds, the series taken
// together; in order of time.
func stretches(series [][]float64, pause float64) (united []stretch) {
	var all []stretch
	for _, t := range series {
		for _, r := range runs(len(t), func(i int) bool { return t[i]-t[i-1] > pause }) {
			all = append(all, stretch{t[r.a], t[r.b-1], r.b - r.a})
		}
	}
	slices.SortFunc(all, func(x, y stretch) int { return cmp.Compare(x.from, y.from) })
	for _, s := range all {
		if k := len(united) - 1; k >= 0 && s.from-united[k].to <= pause {
			united[k].to = max(united[k].to, s.to)
			united[k].n += s.n
		} else {
			united = append(united, s)
		}
	}
	return united
}
