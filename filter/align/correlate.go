package align

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// What singles out an offset in the coarse search.
const (
	coarseStep = 0.5  // s, its grid
	minOverlap = 60.0 // s of common motion
	minScore   = 18.0 // log likelihood over none; noise over 8,000 offsets reaches about 10
	minLead    = 8.0  // log likelihood over the next best offset
	maxSecond  = 0.75 // of the best score, the next best may reach
	apart      = 8.0  // s from the best, where the next best may lie
	tooFast    = 1.5  // rad/s and, times 4, m/s²: what no board does, clipped
)

// coarseClock finds the lag (IMU minus GPS, s) at which yaw and course rate,
// and the sizes of the horizontal accelerations, are most alike; why says that
// none stands out.
func (p *Pair) coarseClock(most, hand float64) (lag float64, why Finding) {
	b, g := p.bins, p.vel
	c := p.hand(hand)
	if span := g.t[len(g.t)-1] - g.t[0]; span > longestOuting {
		return 0, Finding{Kind: TooLong, Until: span}
	}
	middle := func(i int) float64 { return b.start + (float64(i)+0.5)*b.dt }
	t, course, accel := g.rates()
	if len(t) == 0 {
		return 0, Finding{Kind: HardlyMoves, Speed: movingSpeed, Needed: minClockMoving}
	}
	fix := func(i int) float64 { return t[i] }
	var scores []lagScore
	if b.hasGyr {
		scores = correlate(inCells(course, fix, tooFast, coarseStep), inCells(c.yaw, middle, tooFast, coarseStep), coarse, false, nil)
	}
	own := inCells(accel, fix, 4*tooFast, coarseStep)
	scores = correlate(own, inCells(c.horiz, middle, 4*tooFast, coarseStep), coarse, true, scores)
	// A shift of the grids against each other is a lag: imu = gps + lag.
	lagOf := func(k int) float64 { return middle(0) - t[0] + float64(k-(len(own)-1))*coarseStep }
	return single(scores, lagOf, coarse, most)
}

// single is the lag, s, at most most, that stands out among scores.
func single(scores []lagScore, lagOf func(k int) float64, g grid, most float64) (lag float64, why Finding) {
	top := func(allowed func(k int) bool) int {
		best := -1
		for k := range scores {
			if scores[k].overlap >= minOverlap && math.Abs(lagOf(k)) <= most && allowed(k) &&
				(best < 0 || scores[k].score > scores[best].score) {
				best = k
			}
		}
		return best
	}
	best := top(func(int) bool { return true })
	if best < 0 {
		return 0, Finding{Kind: NeverTogether, Offset: most, Needed: minOverlap}
	}
	second := top(func(k int) bool { return math.Abs(float64(k-best))*g.step > apart })
	lag = lagOf(best)
	if corr := scores[best].corr; scores[best].score < minScore || corr < g.minCorr {
		return lag, Finding{Kind: MotionDiffers, Offset: lag, Correlation: corr}
	}
	if second >= 0 {
		if s, next := scores[best].score, scores[second].score; next > maxSecond*s || s-next < minLead {
			return lag, Finding{Kind: SeveralOffsets, Offset: lag, Other: lagOf(second)}
		}
	}
	return lag, Finding{}
}

func clip(x, limit float64) float64 { return max(-limit, min(limit, x)) }

// inCells averages values, clipped, onto cells of step s from the first's
// time; NaN where none fall.
func inCells(v []float64, at func(int) float64, limit, step float64) []float64 {
	t0 := at(0)
	n := int((at(len(v)-1)-t0)/step) + 1
	sum, cnt := make([]float64, n), make([]float64, n)
	for i, x := range v {
		if x == x {
			k := int((at(i) - t0) / step)
			sum[k] += clip(x, limit)
			cnt[k]++
		}
	}
	for k := range sum {
		sum[k] /= cnt[k] // 0/0 is the NaN that is wanted
	}
	return sum
}

// A lagScore says how well two series match at one lag.
type lagScore struct {
	score   float64 // log likelihood gained over no relation
	corr    float64 // the largest correlation of the channels so far
	overlap float64 // s
}

// A grid is what series are compared on.
type grid struct {
	step    float64 // s
	hold    float64 // s, about how long what they show holds: one independent look each
	minCorr float64
}

// coarse is for turns and accelerations.
var coarse = grid{coarseStep, 4, 0.35}

// correlate scores every lag of b against a; NaN cells are left out of the
// sums, so that holes do not count (masked normalised cross-correlation,
// D. Padfield, IEEE Trans. Image Process. 21(5):2706, 2012). Entry k is b
// shifted by k-(len(a)-1) cells. oneSided ignores negative correlation.
// Scores are added to prior, which may be nil.
func correlate(a, b []float64, g grid, oneSided bool, prior []lagScore) []lagScore {
	n := len(a) + len(b) - 1
	size := 1 << bits.Len(uint(n-1))
	fft := fourier.NewFFT(size)
	spectra := func(x []float64) (v, sq, mask []complex128) {
		p, p2, m := make([]float64, size), make([]float64, size), make([]float64, size)
		for i, y := range x {
			if y == y {
				p[i], p2[i], m[i] = y, y*y, 1
			}
		}
		return fft.Coefficients(nil, p), fft.Coefficients(nil, p2), fft.Coefficients(nil, m)
	}
	av, a2, am := spectra(a)
	bv, b2, bm := spectra(b)
	cross := func(x, y []complex128) []float64 {
		prod := make([]complex128, len(x))
		for i := range x {
			prod[i] = complex(real(x[i]), -imag(x[i])) * y[i]
		}
		return fft.Sequence(nil, prod)
	}
	cnt := cross(am, bm)
	sa, sb := cross(av, bm), cross(am, bv)
	saa, sbb := cross(a2, bm), cross(am, b2)
	sab := cross(av, bv)
	out := prior
	if out == nil {
		out = make([]lagScore, n)
	}
	for k := range out {
		i := k - (len(a) - 1)
		if i < 0 {
			i += size
		}
		m := cnt[i] / float64(size)
		if m < 3 {
			continue
		}
		ma, mb := sa[i]/float64(size)/m, sb[i]/float64(size)/m
		va, vb := saa[i]/float64(size)/m-ma*ma, sbb[i]/float64(size)/m-mb*mb
		cov := sab[i]/float64(size)/m - ma*mb
		if !(va > 1e-9) || !(vb > 1e-9) {
			continue
		}
		r := cov / math.Sqrt(va*vb)
		out[k].overlap = max(out[k].overlap, m*g.step)
		if oneSided && r < 0 {
			continue
		}
		r = min(math.Abs(r), 0.999)
		looks := max(m*g.step/g.hold-3, 0)
		out[k].score -= 0.5 * looks * math.Log(1-r*r)
		out[k].corr = max(out[k].corr, r)
	}
	return out
}
