package attitude

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// An integral sums samples up, in the sensor frame of its start.
type integral struct {
	turn   quat.Number // of the sensor since the start
	r      mat3        // its matrix
	lever  mat3        // ∫ R dt, s: how an offset of either sensor acts
	gain   mat3        // column i: ∫ R e_i ω_i dt, how gyroscope scale i acts, rad
	pull   mat3        // column i: ∫ R e_i f_i dt, how accelerometer scale i acts, m/s
	rate   r3.Vec      // Σ ω
	force  r3.Vec      // Σ f
	rate2  float64     // Σ |ω|²
	force2 float64     // Σ |f|²
	hum    float64     // Σ of squared second differences of the rate
	buzz   float64     // and of the specific force
	dw, df r3.Vec      // the last first differences
	n      int         // samples
}

func newIntegral() integral {
	return integral{turn: quat.Number{Real: 1}, r: mat3{0: 1, 4: 1, 8: 1}}
}

// add takes in an interval of dt seconds with rate w and specific force f at
// its middle, each of which differs by dw, df from the sample before:
//
//	R' = R exp(ω dt)    ∫ R f dt ← ∫ R f dt + ½ (R + R') f dt
func (s *integral) add(dt float64, w, f, dw, df r3.Vec) {
	s.turn = quat.Mul(s.turn, rotation.Exp(r3.Scale(dt, w)))
	n := matrix(s.turn)
	h := 0.5 * dt
	for c := 0; c < 9; c += 3 {
		m0, m1, m2 := (s.r[c]+n[c])*h, (s.r[c+1]+n[c+1])*h, (s.r[c+2]+n[c+2])*h
		s.lever[c] += m0
		s.lever[c+1] += m1
		s.lever[c+2] += m2
		s.gain[c] += m0 * w.X
		s.gain[c+1] += m1 * w.Y
		s.gain[c+2] += m2 * w.Z
		s.pull[c] += m0 * f.X
		s.pull[c+1] += m1 * f.Y
		s.pull[c+2] += m2 * f.Z
	}
	s.r = n
	s.rate, s.force = r3.Add(s.rate, w), r3.Add(s.force, f)
	s.rate2 += r3.Norm2(w)
	s.force2 += r3.Norm2(f)
	if s.n > 0 {
		s.hum += r3.Norm2(r3.Sub(dw, s.dw))
		s.buzz += r3.Norm2(r3.Sub(df, s.df))
	}
	s.dw, s.df = dw, df
	s.n++
}

// du is ∫ R f dt, m/s.
func (s *integral) du() r3.Vec {
	p := &s.pull
	return r3.Vec{X: p[0] + p[1] + p[2], Y: p[3] + p[4] + p[5], Z: p[6] + p[7] + p[8]}
}

// A block is one step of the filter: the samples between two corrections,
// integrated in the sensor frame of the block's start.
type block struct {
	from, to          int     // samples from..to; the next block starts at to
	dt                float64 // s
	turn              quat.Number
	du                r3.Vec // m/s
	lever, gain, pull mat3
	turnVar           float64 // extra variance of the turn, rad²: vibration, bridged gaps, clipping
	velVar            float64 // extra variance of du, (m/s)²
	rate              r3.Vec  // mean, rad/s
	rms               float64 // root mean square rate, rad/s
	gyrVar            float64 // variance of the rate within the block, all axes, (rad/s)²
	accVar            float64 // the same of the specific force, (m/s²)²
	n                 int     // samples integrated
	tick              int     // its first of the integrator's ticks
	gap               bool    // bridged: no samples within
	reset             bool    // nothing is known of the motion from from to to
}

// fill takes over what the samples came to.
func (b *block) fill(s *integral) {
	n := 1 / float64(s.n)
	b.n = s.n
	b.turn, b.du = rotation.Unit(s.turn), s.du()
	b.lever, b.gain, b.pull = s.lever, s.gain, s.pull
	b.rate = r3.Scale(n, s.rate)
	b.rms = math.Sqrt(s.rate2 * n)
	b.gyrVar = max(0, s.rate2*n-r3.Norm2(b.rate))
	b.accVar = max(0, s.force2*n-r3.Norm2(r3.Scale(n, s.force)))
	// Vibration: white noise of variance σ² has second differences of 6 σ²,
	// three axes, and what is integrated of it is σ² dt T.
	noise := n * n * b.dt * b.dt / 18
	b.turnVar, b.velVar = s.hum*noise, s.buzz*noise
}

// saturated widens the doubt for a turn, rad, and a change of velocity, m/s,
// that saturated sensors may have missed.
func (b *block) saturated(turn, velocity float64) {
	b.turnVar += sq(turn)
	b.velVar += sq(velocity)
	b.reset = turn > maxMissed
}

// calibration corrects the sensors: ω = scale·gyr, f = accScale·acc - accBias.
// The gyroscope's offset, which drifts, is a state of the filter instead.
type calibration struct {
	gyrScale, accScale, accBias r3.Vec
}

var noCalibration = calibration{gyrScale: r3.Vec{X: 1, Y: 1, Z: 1}, accScale: r3.Vec{X: 1, Y: 1, Z: 1}}

func times(a, b r3.Vec) r3.Vec { return r3.Vec{X: a.X * b.X, Y: a.Y * b.Y, Z: a.Z * b.Z} }

// limits are the magnitudes at which the sensors are taken for saturated;
// +Inf where there is no sign of it.
type limits struct{ acc, gyr float64 }

// What tells a saturated sensor, and what it may have missed. None is tuned:
// they follow from data sheets.
const (
	minAccClip = 19  // m/s², the lowest full scale made, just under 2 g
	minGyrClip = 2.1 // rad/s, the same, 125 °/s
	clipRun    = 3   // samples running at the top that make it flat
	clipShare  = 0.5 // 1σ of what a saturated sensor misses, as a share of its range
	maxMissed  = 0.2 // rad missed in a step beyond which the attitude starts anew
)

// findLimits looks at all columns at once.
func findLimits(s *Samples) limits {
	var top [6]float64
	floor := [6]float32{minAccClip, minAccClip, minAccClip, minGyrClip, minGyrClip, minGyrClip}
	filter.Each(len(top), func(k int) { top[k] = flatTop(*s.columns()[k], floor[k]) })
	return limits{acc: min(top[0], top[1], top[2]), gyr: min(top[3], top[4], top[5])}
}

// flatTop is the range of a saturated sensor, told by its greatest magnitude
// on an axis, clipRun samples running and no less than floor; else +Inf.
func flatTop(column []float32, floor float32) float64 {
	var top, same, more float32 // the greatest, and from where one is the same, or greater
	run, best := 0, 0
	for _, x := range column {
		if x < same && x > -same || x != x { // nearly all
			run = 0
			continue
		}
		if x = max(x, -x); x > more {
			top, same, more = x, x*0.9999, x*1.0001
			run, best = 0, 0
		}
		run++
		best = max(best, run)
	}
	if best < clipRun || top < floor {
		return math.Inf(1)
	}
	return 0.98 * float64(top)
}

func peak(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }

// An integrator cuts samples into blocks and integrates them.
type integrator struct {
	s      *Samples
	lim    limits
	cal    calibration
	period float64 // usual time between samples, s
	bad    bool    // some samples cannot be used
	// The blocks' running integrals of specific force, m/s, at every so many
	// samples from a block's first on: where the fixes fall within blocks.
	ticks [][3]float32
	every int
}

const tickStep = 0.1 // s, well below the time in which a board's acceleration changes

// No sensor on a board goes further; what does is a broken record.
const (
	maxAcc = 1e4 // m/s²
	maxGyr = 1e3 // rad/s
)

// believable says that sample i holds numbers within ±limit.
func believable(cols *[3][]float32, i int, limit float32) bool {
	for _, c := range cols {
		if !(c[i] >= -limit && c[i] <= limit) {
			return false
		}
	}
	return true
}

// missing says that sample i cannot be used.
func (g *integrator) missing(i int) bool {
	return g.bad && !(believable(&g.s.Acc, i, maxAcc) && believable(&g.s.Gyr, i, maxGyr))
}

// holeFor is the time between samples, s, that makes a gap.
func holeFor(period float64) float64 { return max(5*period, 0.1) }

// layout finds the borders of blocks of so many seconds; integrate fills them.
func (g *integrator) layout(step float64) []block {
	t := g.s.Time
	n := len(t)
	hole := holeFor(g.period)
	g.every = max(1, int(math.Round(tickStep/g.period)))
	ticks := 0
	// A log may hold years of nothing: no more blocks than samples.
	blocks := make([]block, 0, int(min((t[n-1]-t[0])/step, float64(n)))+8)
	i := 0
	for i < n-1 && g.missing(i) {
		i++
	}
	for i < n-1 {
		j := i + 1
		if t[j]-t[i] > hole || g.missing(j) {
			for j < n-1 && g.missing(j) {
				j++
			}
			d := t[j] - t[i]
			blocks = append(blocks, block{from: i, to: j, dt: d, gap: true, reset: d > longestBridge || g.missing(j)})
			i = j
			continue
		}
		for j < n-1 && t[j]-t[i] < step-0.5*g.period && t[j+1]-t[j] <= hole && !g.missing(j+1) {
			j++
		}
		blocks = append(blocks, block{from: i, to: j, dt: t[j] - t[i], tick: ticks})
		ticks += (j-i-1)/g.every + 1
		i = j
	}
	g.ticks = make([][3]float32, ticks)
	return blocks
}

// integrate fills the blocks from the samples.
func (g *integrator) integrate(blocks []block) {
	filter.InParts(len(blocks), func(from, to int) {
		for k := from; k < to; k++ {
			if !blocks[k].gap {
				g.fill(&blocks[k])
			}
		}
	})
	var rateSD, accSD float64 // about the mean of the last block with samples
	for k := range blocks {
		if b := &blocks[k]; b.gap {
			g.bridge(b, rateSD, accSD)
		} else {
			rateSD, accSD = math.Sqrt(b.gyrVar)+0.1*b.rms, math.Sqrt(b.accVar)
		}
	}
}

// bridge fills a block without samples: rate and force as at its ends, and a
// variance that holds what may have happened.
func (g *integrator) bridge(b *block, rateSD, accSD float64) {
	g0, a0 := g.sample(b.from)
	g1, a1 := g0, a0
	if !g.missing(b.to) {
		g1, a1 = g.sample(b.to)
	}
	s := newIntegral()
	s.add(b.dt, r3.Scale(0.5, r3.Add(g0, g1)), r3.Scale(0.5, r3.Add(a0, a1)), r3.Vec{}, r3.Vec{})
	reset := b.reset
	b.fill(&s)
	b.n, b.reset = 0, reset
	rateSD += 0.5 * dist(g1, g0)
	accSD += 0.5 * dist(a1, a0)
	b.turnVar, b.velVar = sq(rateSD*b.dt), sq(accSD*b.dt)
	b.gyrVar, b.accVar = sq(rateSD), sq(accSD)
}

// sample returns the calibrated rate and specific force of one sample.
func (g *integrator) sample(i int) (rate, force r3.Vec) {
	c := &g.cal
	return times(c.gyrScale, g.s.GyrAt(i)), r3.Sub(times(c.accScale, g.s.AccAt(i)), c.accBias)
}

// ahead is how far, in samples and as a fraction of one, to look ahead of an
// interval's start for the middle of it as a sensor has it that is late by delay.
func ahead(delay, dt float64) (int, float64) {
	x := 0.5 + delay/dt
	j := math.Floor(x)
	return int(j), x - j
}

// last is the last sample, up to n after block b, that follows without a gap.
func (g *integrator) last(b *block, n int) int {
	t, i := g.s.Time, b.to
	gap := 2 * b.dt / float64(b.to-b.from)
	for i < len(t)-1 && i < b.to+n && t[i+1]-t[i] < gap && !g.missing(i+1) {
		i++
	}
	return i
}

// fill integrates a block, with rate and force taken at each interval's
// middle, later by the sensors' delay.
func (g *integrator) fill(b *block) {
	t := g.s.Time
	c := &g.cal
	mean := b.dt / float64(b.to-b.from)
	gj, gf := ahead(gyroDelay, mean)
	aj, af := ahead(accDelay, mean)
	last := g.last(b, max(gj, aj)+1)
	gyrLim2, accLim2 := sq(g.lim.gyr), sq(g.lim.acc)
	var missed, lost float64 // rad and m/s, by saturation
	s := newIntegral()
	for i := b.from; i < b.to; i++ {
		if (i-b.from)%g.every == 0 {
			u := s.du()
			g.ticks[b.tick+(i-b.from)/g.every] = [3]float32{float32(u.X), float32(u.Y), float32(u.Z)}
		}
		dt := t[i+1] - t[i]
		j := min(i+gj, last)
		w := g.s.GyrAt(j)
		dw := r3.Sub(g.s.GyrAt(min(j+1, last)), w)
		w = times(c.gyrScale, r3.Add(w, r3.Scale(gf, dw)))
		j = min(i+aj, last)
		f := g.s.AccAt(j)
		df := r3.Sub(g.s.AccAt(min(j+1, last)), f)
		f = r3.Sub(times(c.accScale, r3.Add(f, r3.Scale(af, df))), c.accBias)
		s.add(dt, w, f, dw, df)
		if r3.Norm2(w) >= gyrLim2 && peak(w) >= g.lim.gyr {
			missed += clipShare * g.lim.gyr * dt
		}
		if r3.Norm2(f) >= accLim2 && peak(f) >= g.lim.acc {
			lost += clipShare * g.lim.acc * dt
		}
	}
	b.fill(&s)
	b.saturated(missed, lost)
}
