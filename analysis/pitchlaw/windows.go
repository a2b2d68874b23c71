package pitchlaw

import (
	"math"
	"slices"
	"sort"

	"evenfoot/analysis/ride"
	"evenfoot/filter"
	"evenfoot/filter/align"
)

// The band where a rider works: slower is steering the height, faster is the
// board's own vibration. Hz.
const (
	bandLow  = 0.4
	bandHigh = 4.0
)

// settling is left out at both ends of a reach: the turn still rings there.
const settling = 1.0 // s

// Lengths of a window, s: wanted, and where a reach leaves no choice.
const (
	windowLength   = 2.5
	shortestWindow = 1.0
	longestWindow  = 3.0
)

// covered is the least share of a window's samples that must be there.
const covered = 0.8

// MakeWindows averages straight flight into windows of one to three seconds.
// A window that breaks the law's assumptions keeps a [Reason] and counts for
// less; none is dropped for it. Without attitude or reaches there are no windows.
func MakeWindows(m *align.Motion, s *ride.Session) []Window {
	if m == nil || s == nil || len(m.Time) == 0 {
		return nil
	}
	found := make([][]Window, len(s.Reaches))
	filter.Each(len(found), func(k int) { found[k] = inReach(m, s, k) })
	out := slices.Concat(found...)
	giveReasons(out)
	return out
}

// inReach makes the windows of one reach.
func inReach(m *align.Motion, s *ride.Session, k int) (out []Window) {
	reach := s.Reaches[k]
	start, end := reach.Start+settling, reach.End-settling
	if end-start < shortestWindow {
		return nil
	}
	count := max(int((end-start)/windowLength), 1)
	length := min((end-start)/float64(count), longestWindow)
	for _, seg := range m.Segments {
		times := m.Time[seg[0]:seg[1]]
		lo, hi := seg[0]+sort.SearchFloat64s(times, start), seg[0]+sort.SearchFloat64s(times, end)
		if hi-lo < 4 {
			continue
		}
		part := newPiece(m, lo, hi)
		for n := range count {
			t0 := start + float64(n)*length
			if w, ok := part.window(m, s, t0, t0+length); ok {
				w.Reach, w.Tack = k, Side(reach.Tack)
				out = append(out, w)
			}
		}
	}
	return out
}

// Side is +1 on starboard tack, -1 on port, 0 where the tack is not known.
func Side(tack string) int {
	switch tack {
	case "starboard":
		return 1
	case "port":
		return -1
	}
	return 0
}

// unrest is how a window departs from steady flight, besides its pitch rate.
type unrest struct {
	rise  float64 // rad, mean slope of the flight path: vertical over forward speed
	heave float64 // m/s² RMS, vertical, in the rider's band
	swell float64 // m/s² RMS, vertical, slower than that
	surge float64 // m/s², change of speed
}

// A piece is one unbroken run of samples inside a reach.
type piece struct {
	lo, hi   int
	rate     float64   // Hz
	work     []float64 // pitch rate in the rider's band, rad/s
	heave    []float64 // vertical acceleration in the band, m/s²
	slow     []float64 // and below it
	vertical []float64 // m/s, vertical velocity less its slow part
}

// heightHolds is over how long a height on a mast averages out, s: what a
// longer mean of the vertical motion holds is drift.
const heightHolds = 8

func newPiece(m *align.Motion, lo, hi int) piece {
	n := hi - lo
	c := piece{lo: lo, hi: hi, rate: float64(n-1) / (m.Time[hi-1] - m.Time[lo])}
	rate, up := make([]float64, n), make([]float64, n)
	for i := range n {
		rate[i], up[i] = finite(m.PitchRate[lo+i]), finite(m.Up[lo+i])
	}
	c.work = c.band(rate)
	c.heave = c.band(up)
	c.slow = boxes(up, c.rate/(2*bandLow))
	drift := boxes(up, heightHolds*c.rate)
	c.vertical = up // from here on
	var v float64
	for i := range n {
		c.slow[i] -= drift[i]
		v += (up[i] - drift[i]) / c.rate
		c.vertical[i] = v
	}
	trend := boxes(c.vertical, heightHolds*c.rate)
	for i := range n {
		c.vertical[i] -= trend[i]
	}
	return c
}

func finite(v float32) float64 {
	f := float64(v)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return 0
	}
	return f
}

// band keeps bandLow to bandHigh without lag: the difference of two Butterworth
// low-passes run forward and backward, whose gain is half at those frequencies.
func (c *piece) band(x []float64) []float64 {
	slow := c.lowPass(x, bandLow)
	fast := c.lowPass(x, bandHigh)
	for i := range fast {
		fast[i] -= slow[i]
	}
	return fast
}

// lowPass smooths x; what a slow logger cannot hold needs no smoothing.
func (c *piece) lowPass(x []float64, cutoffHz float64) []float64 {
	f, err := filter.LowPass(cutoffHz, c.rate)
	if err != nil {
		return slices.Clone(x)
	}
	return f.Both(x)
}

// boxes is a moving mean of the given width in samples, taken twice, without
// lag; at the ends it uses what there is.
func boxes(x []float64, width float64) []float64 {
	y := slices.Clone(x)
	half := int(math.Round((width - 1) / 2))
	if half < 1 {
		return y
	}
	n := len(x)
	sum := make([]float64, n+1)
	for range 2 {
		for i, v := range y {
			sum[i+1] = sum[i] + v
		}
		for i := range y {
			h := min(half, i, n-1-i)
			y[i] = (sum[i+h+1] - sum[i-h]) / float64(2*h+1)
		}
	}
	return y
}

// window averages one window; ok is false when it is not covered.
func (c *piece) window(m *align.Motion, s *ride.Session, t0, t1 float64) (w Window, ok bool) {
	u := &w.unrest
	times := m.Time[c.lo:c.hi]
	i, j := sort.SearchFloat64s(times, t0), sort.SearchFloat64s(times, t1)
	if j-i < 2 || float64(j-i) < covered*(t1-t0)*c.rate {
		return w, false
	}
	n := float64(j - i)
	var y, y2, se, work, rise float64
	used := 0.0
	for k := i; k < j; k++ {
		q := c.lo + k
		v := float64(m.Pitch[q]) * math.Cos(float64(m.Heel[q]))
		if math.IsNaN(v) || math.IsNaN(float64(m.Normal[q])) {
			continue
		}
		used++
		y += v
		y2 += v * v
		w.Normal += float64(m.Normal[q])
		w.Heel += float64(m.Heel[q])
		se += finite(m.PitchSE[q])
		work += c.work[k] * c.work[k]
		u.heave += c.heave[k] * c.heave[k]
		u.swell += c.slow[k] * c.slow[k]
		rise += c.vertical[k]
	}
	if used < covered*n {
		return w, false
	}
	y /= used
	w.PitchCos, w.Normal, w.Heel = y, w.Normal/used, w.Heel/used
	w.PitchRate = math.Sqrt(work / used)
	u.heave, u.swell = math.Sqrt(u.heave/used), math.Sqrt(u.swell/used)
	// The attitude's error lasts longer than a window; the spread within it
	// is correlated over about half a second.
	spread := math.Sqrt(max(y2/used-y*y, 0)) / math.Sqrt(max(2*(t1-t0), 1))
	w.PitchSE = math.Hypot(se/used, spread)
	w.Time, w.Duration = (t0+t1)/2, t1-t0
	w.East, w.North, u.surge, ok = s.Speed.Mean(t0, t1)
	if v := math.Hypot(w.East, w.North); v > 1 {
		u.rise = rise / used / v
	}
	return w, ok
}

// A limit is where unrest breaks the law: so many times the session's own
// median, but not below a floor that the law does not mind, nor above a
// ceiling: where every window is wild, the session's own measure is no excuse.
// Tuned on the simulator's calm, ordinary, rough and pumped outings.
type limit struct{ floor, times, ceiling float64 }

var (
	workLimit  = limit{0.15, 2.5, 0.5} // rad/s
	heaveLimit = limit{1.2, 2.5, 3}    // m/s²
	swellLimit = limit{0.6, 3, 1.8}    // m/s²
	riseLimit  = limit{0.015, 5, 0.06} // rad
	surgeLimit = limit{0.6, 5, 0.8}    // m/s²
)

func (l limit) of(w []Window, size func(*Window) float64) float64 {
	all := make([]float64, len(w))
	for i := range w {
		all[i] = math.Abs(size(&w[i]))
	}
	return min(max(l.floor, l.times*filter.Median(all)), l.ceiling)
}

// giveReasons marks the windows that break the law's assumptions.
func giveReasons(w []Window) {
	work := workLimit.of(w, func(w *Window) float64 { return w.PitchRate })
	heave := heaveLimit.of(w, func(w *Window) float64 { return w.unrest.heave })
	swell := swellLimit.of(w, func(w *Window) float64 { return w.unrest.swell })
	rise := riseLimit.of(w, func(w *Window) float64 { return w.unrest.rise })
	surge := surgeLimit.of(w, func(w *Window) float64 { return w.unrest.surge })
	for i := range w {
		switch u, works := w[i].unrest, w[i].PitchRate > work; {
		case works && u.heave > heave:
			w[i].Reason = Pumping
		case u.heave > heave:
			w[i].Reason = Chop
		case u.swell > swell:
			w[i].Reason = Waves
		case u.rise > rise:
			w[i].Reason = Climbing
		case u.rise < -rise:
			w[i].Reason = Sinking
		case math.Abs(u.surge) > surge:
			w[i].Reason = Gusts
		case works:
			w[i].Reason = HardWork
		}
	}
}
