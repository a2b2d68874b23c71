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

// MakeWindows averages straight flight into windows of one to three seconds.
// A window that breaks the law's assumptions keeps a Reason, in words, and
// counts for less; none is dropped for it. Without attitude or reaches there
// are no windows.
func MakeWindows(m *align.Motion, s *ride.Session, p Params) []Window {
	if m == nil || s == nil || len(m.Time) == 0 {
		return nil
	}
	want := p.Window
	if !(want > 0) {
		want = 2.5
	}
	want = min(max(want, 1), 3)
	var out []Window
	var aux []unrest
	for k, reach := range s.Reaches {
		start, end := reach.Start+settling, reach.End-settling
		count := int((end - start) / want)
		if count < 1 && end-start >= 1 {
			count = 1
		}
		if count < 1 {
			continue
		}
		length := min((end-start)/float64(count), 3)
		for _, seg := range m.Segments {
			lo := max(seg[0], seg[0]+sort.SearchFloat64s(m.Time[seg[0]:seg[1]], start))
			hi := min(seg[1], seg[0]+sort.SearchFloat64s(m.Time[seg[0]:seg[1]], end))
			if hi-lo < 4 {
				continue
			}
			part := newPiece(m, lo, hi)
			for n := range count {
				t0 := start + float64(n)*length
				w, u, ok := part.window(m, s, t0, t0+length)
				if !ok {
					continue
				}
				w.Reach = k
				switch reach.Tack {
				case "starboard":
					w.Tack = 1
				case "port":
					w.Tack = -1
				}
				out, aux = append(out, w), append(aux, u)
			}
		}
	}
	giveReasons(out, aux)
	return out
}

// unrest is how a window departs from steady flight.
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

func newPiece(m *align.Motion, lo, hi int) piece {
	n := hi - lo
	c := piece{lo: lo, hi: hi}
	span := m.Time[hi-1] - m.Time[lo]
	if span <= 0 {
		return c
	}
	c.rate = float64(n-1) / span
	rate, up := make([]float64, n), make([]float64, n)
	for i := range n {
		rate[i], up[i] = finite(m.PitchRate[lo+i]), finite(m.Up[lo+i])
	}
	c.work = c.band(rate)
	c.heave = c.band(up)
	smooth := boxes(up, c.rate/(2*bandLow))
	// Height on a mast is bounded, so what a longer mean holds is drift.
	drift := boxes(up, 8*c.rate)
	c.slow = make([]float64, n)
	c.vertical = make([]float64, n)
	var v float64
	for i := range n {
		c.slow[i] = smooth[i] - drift[i]
		v += (up[i] - drift[i]) / c.rate
		c.vertical[i] = v
	}
	trend := boxes(c.vertical, 8*c.rate)
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
	f, err := filter.LowPass(2, cutoffHz, c.rate)
	if err != nil {
		return slices.Clone(x)
	}
	return f.Both(x)
}

// boxes is a moving mean of the given width in samples, taken twice, without
// lag; at the ends it uses what there is.
func boxes(x []float64, width float64) []float64 {
	half := int(math.Round((width - 1) / 2))
	once := func(x []float64) []float64 {
		n := len(x)
		sum := make([]float64, n+1)
		for i, v := range x {
			sum[i+1] = sum[i] + v
		}
		y := make([]float64, n)
		for i := range y {
			h := min(half, i, n-1-i)
			y[i] = (sum[i+h+1] - sum[i-h]) / float64(2*h+1)
		}
		return y
	}
	if half < 1 {
		return slices.Clone(x)
	}
	return once(once(x))
}

// window averages one window; ok is false when it is not covered.
func (c *piece) window(m *align.Motion, s *ride.Session, t0, t1 float64) (Window, unrest, bool) {
	var w Window
	var u unrest
	times := m.Time[c.lo:c.hi]
	i, j := sort.SearchFloat64s(times, t0), sort.SearchFloat64s(times, t1)
	if c.rate <= 0 || j-i < 2 || float64(j-i) < 0.8*(t1-t0)*c.rate {
		return w, u, false
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
	if used < 0.8*n {
		return w, u, false
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
	east, north, surge, ok := meanVelocity(&s.Speed, t0, t1)
	if !ok {
		return w, u, false
	}
	w.East, w.North, u.surge = east, north, surge
	if v := math.Hypot(east, north); v > 1 {
		u.rise = rise / used / v
	}
	return w, u, true
}

// meanVelocity averages the velocity over ground, with the change of speed.
func meanVelocity(v *ride.SpeedSeries, t0, t1 float64) (east, north, surge float64, ok bool) {
	if !(v.Step > 0) {
		return 0, 0, 0, false
	}
	n := min(len(v.East), len(v.North))
	i := max(int(math.Ceil((t0-v.Start)/v.Step-0.5)), 0)
	j := min(int(math.Ceil((t1-v.Start)/v.Step-0.5)), n)
	if j <= i {
		j = min(i+1, n)
	}
	var count, st, ss, stt, sts float64
	for k := i; k < j; k++ {
		if math.IsNaN(v.East[k]) || math.IsNaN(v.North[k]) {
			continue
		}
		count++
		east += v.East[k]
		north += v.North[k]
		t, speed := float64(k)*v.Step, math.Hypot(v.East[k], v.North[k])
		st += t
		ss += speed
		stt += t * t
		sts += t * speed
	}
	if count < 0.7*float64(j-i) || count == 0 {
		return 0, 0, 0, false
	}
	if d := stt - st*st/count; d > 0 {
		surge = (sts - st*ss/count) / d
	}
	return east / count, north / count, surge, true
}

// giveReasons marks the windows that break the law's assumptions. The limits
// follow the session's own unrest, above a floor that the law does not mind.
func giveReasons(w []Window, aux []unrest) {
	limit := func(of func(int) float64, floor, times float64) float64 {
		var all []float64
		for i := range w {
			all = append(all, of(i))
		}
		return max(floor, times*median(all))
	}
	work := limit(func(i int) float64 { return w[i].PitchRate }, 0.15, 2.5)
	heave := limit(func(i int) float64 { return aux[i].heave }, 1.2, 2.5)
	swell := limit(func(i int) float64 { return aux[i].swell }, 0.6, 3)
	rise := limit(func(i int) float64 { return math.Abs(aux[i].rise) }, 0.015, 5)
	surge := limit(func(i int) float64 { return math.Abs(aux[i].surge) }, 0.6, 5)
	// Where every window is wild, the session's own measure is no excuse.
	work, heave, swell, rise, surge = min(work, 0.5), min(heave, 3), min(swell, 1.8), min(rise, 0.06), min(surge, 0.8)
	for i := range w {
		u := aux[i]
		switch {
		case w[i].PitchRate > work && u.heave > heave:
			w[i].Reason = "pumping"
		case u.heave > heave:
			w[i].Reason = "chop"
		case u.swell > swell:
			w[i].Reason = "waves"
		case u.rise > rise:
			w[i].Reason = "climbing"
		case u.rise < -rise:
			w[i].Reason = "sinking"
		case math.Abs(u.surge) > surge:
			w[i].Reason = "gusts"
		case w[i].PitchRate > work:
			w[i].Reason = "hard work"
		}
	}
}
