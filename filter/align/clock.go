package align

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/filter/attitude"
)

// ClockParams bound the search for the clock's offset. The zero value is the
// default throughout.
type ClockParams struct {
	// Expected is the offset about which to search, s.
	Expected float64
	// MaxOffset is how far from Expected the offset may lie, s. Default 3,700
	// (an hour: a time zone or summer time wrong by one); +Inf tries every
	// offset at which the logs overlap.
	MaxOffset float64
	// MaxDriftPPM is the largest drift to expect. Default 150.
	MaxDriftPPM float64
}

func (p ClockParams) withDefaults() ClockParams {
	if !(p.MaxOffset > 0) {
		p.MaxOffset = 3700
	}
	if !(p.MaxDriftPPM > 0) {
		p.MaxDriftPPM = 150
	}
	return p
}

// A Clock says how the IMU's clock stands to the GPS clock:
//
//	t_imu = t_gps + OffsetS + DriftPPM·1e-6·(t_gps − AtS)
//
// The receiver's latency is part of the offset: a fix that reports the
// velocity of 0.3 s ago makes the offset 0.3 s smaller than the clocks'.
type Clock struct {
	OffsetS   float64 // IMU minus GPS at AtS, s
	OffsetSE  float64 // 1σ, s
	DriftPPM  float64 // IMU against GPS, parts per million
	DriftSE   float64 // 1σ
	AtS       float64 // the middle of the common motion, s on the GPS clock
	OverlapS  float64 // how long both logs run together, s
	Agreement float64 // correlation of the velocity changes at the offset found, 0..1
	OK        bool
	Why       string // why the offset cannot be told, "" when OK
	// LatencyNote says in a sentence what the offset includes.
	LatencyNote string
}

// ToGPS turns a time on the IMU's clock into GPS time.
func (c Clock) ToGPS(imu float64) float64 {
	d := c.DriftPPM * 1e-6
	return c.AtS + (imu-c.AtS-c.OffsetS)/(1+d)
}

const latencyNote = "The offset includes the receiver's latency: it ties the moments at which both devices show the same motion."

// EstimateClock finds the IMU clock's offset (IMU minus GPS) and drift from
// the motion itself: yaw rate against course rate, and horizontal specific
// force against the change of velocity. Neither needs to know how the sensor
// is mounted. When the motions do not single out one offset, OK is false and
// Why says the reason.
func EstimateClock(s attitude.Samples, aid attitude.Aid, p ClockParams) Clock {
	p = p.withDefaults()
	no := func(format string, args ...any) Clock {
		nan := math.NaN()
		return Clock{OffsetS: nan, OffsetSE: nan, DriftPPM: nan, DriftSE: nan, Why: fmt.Sprintf(format, args...)}
	}
	b := newBins(s)
	if b == nil {
		return no("The IMU log is too short to compare its motion with the GPS.")
	}
	g := newFixes(aid)
	if len(g.t) < 30 {
		return no("The GPS log has %d usable fixes; at least 30 are needed to compare its motion with the IMU.", len(g.t))
	}
	if g.moving < 20 {
		return no("The GPS shows hardly any motion: it moves faster than %.1f m/s for %d s; at least 20 s are needed.", movingSpeed, int(g.moving))
	}
	peak := b.coarseClock(g, p, 1)
	if !peak.found && b.hasGyr {
		// A gyroscope of the other hand spoils the estimate of up.
		if other := b.coarseClock(g, p, -1); other.found {
			peak = other
		}
	}
	if peak.why != "" {
		return no("%s", peak.why)
	}
	return fineClock(b, g, peak, p)
}

// movingSpeed is the least speed at which a course is worth having, m/s.
const movingSpeed = 2.0

// fixes are the GPS velocities that can be used, and what they say of motion.
type fixes struct {
	t, east, north []float64 // s, m/s
	sd             float64
	step           int       // fixes between the two ends of a difference: about one second
	rate           []float64 // rad/s, course rate, counter-clockwise; NaN where too slow
	accel          []float64 // m/s², size of the acceleration; NaN at holes
	moving         float64   // s, time spent above movingSpeed
}

// maxFixGap is the longest wait between two fixes that may be differenced, s.
const maxFixGap = 3.0

func newFixes(aid attitude.Aid) *fixes {
	g := &fixes{sd: aid.SD}
	if !(g.sd > 0) {
		g.sd = 0.1
	}
	last := math.Inf(-1)
	for i, t := range aid.Time[:min(len(aid.Time), len(aid.East), len(aid.North))] {
		if v := aid.East[i] + aid.North[i]; v-v != 0 || !(t > last) || math.IsInf(t, 0) {
			continue
		}
		g.t = append(g.t, t)
		g.east = append(g.east, aid.East[i])
		g.north = append(g.north, aid.North[i])
		last = t
	}
	n := len(g.t)
	if n < 2 {
		return g
	}
	gaps := make([]float64, n-1)
	for i := range gaps {
		gaps[i] = g.t[i+1] - g.t[i]
		if gaps[i] < maxFixGap && math.Hypot(g.east[i], g.north[i]) > movingSpeed {
			g.moving += gaps[i]
		}
	}
	g.step = max(1, int(math.Round(1/median(gaps))))
	g.rate, g.accel = make([]float64, n), make([]float64, n)
	for i := range n {
		g.rate[i], g.accel[i] = math.NaN(), math.NaN()
		lo, hi := i-g.step, i+g.step
		if lo < 0 || hi >= n || g.t[hi]-g.t[lo] > 2*maxFixGap {
			continue
		}
		dt := g.t[hi] - g.t[lo]
		ae, an := (g.east[hi]-g.east[lo])/dt, (g.north[hi]-g.north[lo])/dt
		g.accel[i] = math.Hypot(ae, an)
		if math.Hypot(g.east[lo], g.north[lo]) > movingSpeed && math.Hypot(g.east[hi], g.north[hi]) > movingSpeed {
			g.rate[i] = g.turn(lo, hi) / dt
		}
	}
	return g
}

// turn is the change of course between two fixes, rad, counter-clockwise.
func (g *fixes) turn(i, k int) float64 {
	return math.Atan2(g.east[i]*g.north[k]-g.north[i]*g.east[k], g.east[i]*g.east[k]+g.north[i]*g.north[k])
}

// A clockPeak is the outcome of the coarse search.
type clockPeak struct {
	lag   float64 // s, IMU minus GPS
	corr  float64
	found bool
	why   string
}

// longestOuting bounds the memory and time of the coarse search, s.
const longestOuting = 30 * 3600.0

// coarseStep is the grid of the coarse search, s.
const coarseStep = 0.5

func (b *bins) coarseClock(g *fixes, p ClockParams, gyrSign float64) clockPeak {
	c := b.carry(1, gyrSign)
	span := max(b.t[len(b.t)-1]-b.t[0], g.t[len(g.t)-1]-g.t[0])
	if span > longestOuting {
		return clockPeak{why: fmt.Sprintf("A log spans %.0f hours; give the files of one outing.", span/3600)}
	}
	imu0, gps0 := b.t[0], g.t[0]
	// Channels on an even grid: yaw and course rate, then the sizes of the
	// horizontal accelerations.
	const tooFast = 1.5 // rad/s and, times 4, m/s²: what no board does, clipped
	yaw := onGrid(b.t, imu0, func(i int) float64 { return clip(c.yaw[i], tooFast) })
	acc := onGrid(b.t, imu0, func(i int) float64 { return clip(c.horiz[i], 4*tooFast) })
	rate := onGrid(g.t, gps0, func(i int) float64 { return clip(g.rate[i], tooFast) })
	accel := onGrid(g.t, gps0, func(i int) float64 { return clip(g.accel[i], 4*tooFast) })
	smoothGrid(yaw)
	smoothGrid(acc)
	smoothGrid(acc)
	if g.step == 1 {
		fillGrid(rate)
		fillGrid(accel)
	}
	var scores []lagScore
	if b.hasGyr {
		scores = correlate(rate, yaw, false, nil)
	}
	scores = correlate(accel, acc, true, scores)
	// A shift of the grids against each other is a lag: imu = gps + lag.
	base := imu0 - gps0
	lagOf := func(k int) float64 { return base + float64(k-(len(rate)-1))*coarseStep }
	best, usable := -1, 0
	for k := range scores {
		if math.Abs(lagOf(k)-p.Expected) > p.MaxOffset || scores[k].overlap < minOverlap {
			scores[k].score = 0
			continue
		}
		usable++
		if best < 0 || scores[k].score > scores[best].score {
			best = k
		}
	}
	if usable == 0 || best < 0 {
		return clockPeak{why: fmt.Sprintf("Within %.0f s of each other's clock the logs never move together for %.0f s.", p.MaxOffset, minOverlap)}
	}
	second := -1
	for k := range scores {
		if math.Abs(float64(k-best))*coarseStep > 8 && (second < 0 || scores[k].score > scores[second].score) {
			second = k
		}
	}
	top, next := scores[best].score, 0.0
	if second >= 0 {
		next = scores[second].score
	}
	pk := clockPeak{lag: lagOf(best), corr: scores[best].corr}
	switch {
	case top < minScore || pk.corr < minCorr:
		pk.why = fmt.Sprintf("The motion in the two logs does not match at any offset (best correlation %.2f at %+.1f s).", pk.corr, pk.lag)
	case next > 0.75*top || top-next < minLead:
		pk.why = fmt.Sprintf("The motion matches about as well at an offset of %+.1f s as at %+.1f s; it does not single out one.", lagOf(second), pk.lag)
	default:
		pk.found = true
	}
	return pk
}

const (
	minOverlap = 60.0 // s of common motion
	minScore   = 18.0 // log likelihood over none; noise over 8,000 offsets reaches about 10
	minLead    = 8.0  // log likelihood over the next best offset
	minCorr    = 0.35
)

func clip(x, lim float64) float64 { return max(-lim, min(lim, x)) }

// onGrid averages values onto cells of coarseStep from t0; NaN where none fall.
func onGrid(t []float64, t0 float64, value func(int) float64) []float64 {
	n := int((t[len(t)-1]-t0)/coarseStep) + 1
	sum, cnt := make([]float64, n), make([]float64, n)
	for i := range t {
		if v := value(i); v == v {
			k := int((t[i] - t0) / coarseStep)
			sum[k] += v
			cnt[k]++
		}
	}
	for k := range sum {
		sum[k] /= cnt[k] // 0/0 is the NaN that is wanted
	}
	return sum
}

// smoothGrid averages over two seconds, the span of a GPS difference.
func smoothGrid(x []float64) {
	w := int(math.Round(1 / coarseStep))
	src := slices.Clone(x)
	for k := w; k < len(x)-w; k++ {
		s := 0.0
		for j := -w; j <= w; j++ {
			v := src[k+j]
			if j == -w || j == w {
				v /= 2
			}
			s += v
		}
		x[k] = s / float64(2*w)
	}
}

// fillGrid bridges the empty cells between fixes a second or so apart.
func fillGrid(x []float64) {
	last := -1
	for k := range x {
		if x[k] != x[k] {
			continue
		}
		if gap := k - last; last >= 0 && gap > 1 && float64(gap)*coarseStep <= maxFixGap {
			for j := last + 1; j < k; j++ {
				x[j] = x[last] + (x[k]-x[last])*float64(j-last)/float64(gap)
			}
		}
		last = k
	}
}
