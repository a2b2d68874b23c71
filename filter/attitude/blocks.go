package attitude

import (
	"math"
	"slices"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A block is one step of the two-sided form: the samples between two
// corrections, integrated in the sensor frame of the block's start.
type block struct {
	from, to int         // samples from..to; the next block starts at to
	dt       float64     // s
	turn     quat.Number // sensor frame at to, seen from the frame at from
	du       r3.Vec      // ∫ R f dt, m/s
	lever    mat         // ∫ R dt, s: how an offset of either sensor acts
	gain     mat         // column i: ∫ R e_i ω_i dt, how gyroscope scale i acts, rad
	pull     mat         // column i: ∫ R e_i f_i dt, how accelerometer scale i acts, m/s
	turnVar  float64     // extra variance of the turn, rad²: vibration, bridged gaps, clipping
	velVar   float64     // extra variance of du, (m/s)²
	rate     r3.Vec      // mean rate, rad/s
	rms      float64     // root mean square rate, rad/s
	gyrVar   float64     // variance of the rate within the block, all axes, (rad/s)²
	accVar   float64     // the same of the specific force, (m/s²)²
	n        int         // samples integrated
	gap      bool        // bridged: no samples within
	reset    bool        // nothing is known of the motion from from to to
}

// calibration corrects the sensors: ω = scale·gyr, f = accScale·acc - accBias.
// The gyroscope's offset, which drifts, is a state of the filter instead.
type calibration struct {
	gyrScale, accScale, accBias [3]float64 // per axis
}

var noCalibration = calibration{gyrScale: [3]float64{1, 1, 1}, accScale: [3]float64{1, 1, 1}}

// limits are the magnitudes at which the sensors are taken for saturated;
// +Inf where there is no sign of it.
type limits struct{ acc, gyr float64 }

// Lowest full scales made, just under 2 g and 125 °/s: nothing smaller clips.
const (
	minAccClip = 19
	minGyrClip = 2.1
)

// findLimits tells a saturated sensor by its flat top: its greatest magnitude
// three samples running on one axis, and no less than any sensor's range.
func findLimits(s *Samples) limits {
	return limits{acc: flatTop(&s.Acc, minAccClip), gyr: flatTop(&s.Gyr, minGyrClip)}
}

func flatTop(cols *[3][]float32, floor float32) float64 {
	limit := math.Inf(1)
	for _, c := range cols {
		var top float32
		run, best := 0, 0
		for _, x := range c {
			x = max(x, -x)
			switch {
			case x > top*1.0001:
				top, run, best = x, 1, 1
			case x >= top*0.9999:
				run++
				best = max(best, run)
			default:
				run = 0
			}
		}
		if best >= 3 && top >= floor {
			limit = min(limit, 0.98*float64(top))
		}
	}
	return limit
}

// medianStep returns the usual time between samples, s.
func medianStep(t []float64) float64 {
	n := min(len(t)-1, 2001)
	d := make([]float64, 0, n)
	stride := max(1, (len(t)-1)/n)
	for i := 0; i+1 < len(t) && len(d) < n; i += stride {
		d = append(d, t[i+1]-t[i])
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// builder cuts samples into blocks.
type builder struct {
	s     *Samples
	p     *Params
	lim   limits
	cal   calibration
	step  float64 // usual sample period, s
	bad   bool    // some samples cannot be used
	ticks *ticks  // velocity within blocks, for the aid; nil without
}

// A ticks holds the running integral of specific force at a finer grid than
// the blocks, in the frame of the block's start.
type ticks struct {
	time  []float64
	du    [][3]float32
	first []int // first tick of each block
}

const tickStep = 0.1 // s

func (b *builder) missing(i int) bool {
	return !believable(&b.s.Acc, i, maxAcc) || !believable(&b.s.Gyr, i, maxGyr)
}

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

// layout finds the blocks' borders; integrate fills them.
func (b *builder) layout() []block {
	t := b.s.Time
	n := len(t)
	hole := max(5*b.step, 0.1)
	// A log may hold years of nothing: no more blocks than samples.
	blocks := make([]block, 0, int(min((t[n-1]-t[0])/b.p.Step, float64(n)))+8)
	i := 0
	for i < n-1 && b.bad && b.missing(i) {
		i++
	}
	for i < n-1 {
		if t[i+1]-t[i] > hole || b.bad && b.missing(i+1) {
			j := i + 1
			for b.bad && j < n-1 && b.missing(j) {
				j++
			}
			if b.bad && b.missing(j) { // the log ends in missing samples
				j = n - 1
			}
			d := t[j] - t[i]
			blocks = append(blocks, block{from: i, to: j, dt: d, gap: true, reset: d > b.p.Bridge || j == n-1 && b.bad && b.missing(j)})
			i = j
			continue
		}
		j := i + 1
		for j < n-1 && t[j]-t[i] < b.p.Step-0.5*b.step && t[j+1]-t[j] <= hole && !(b.bad && b.missing(j+1)) {
			j++
		}
		blocks = append(blocks, block{from: i, to: j, dt: t[j] - t[i]})
		i = j
	}
	return blocks
}

// integrate fills the blocks from the samples.
//
//	R ← R exp(ω dt)    U ← U + ½(R_i + R_i+1) f dt    J ← J + ½(R_i + R_i+1) dt
//
// with ω and f taken at the interval's middle, later by the sensors' delay.
func (b *builder) integrate(blocks []block) {
	if b.ticks != nil {
		b.ticks.first = b.ticks.first[:0]
		b.ticks.time = b.ticks.time[:0]
		b.ticks.du = b.ticks.du[:0]
	}
	var calm r3.Vec // rms about the mean of the last block with samples: rate, force
	for k := range blocks {
		bl := &blocks[k]
		if b.ticks != nil {
			b.ticks.first = append(b.ticks.first, len(b.ticks.time))
		}
		if bl.gap {
			b.bridge(bl, calm.X, calm.Y)
			continue
		}
		b.integrateOne(bl)
		calm.X, calm.Y = math.Sqrt(bl.gyrVar)+0.1*bl.rms, math.Sqrt(bl.accVar)
	}
	if b.ticks != nil {
		b.ticks.first = append(b.ticks.first, len(b.ticks.time))
	}
}

// bridge fills a block without samples: rate and force as at its ends, and a
// variance that holds what may have happened.
func (b *builder) bridge(bl *block, rateSD, accSD float64) {
	g0, a0 := b.sample(bl.from)
	g1, a1 := g0, a0
	if !(b.bad && b.missing(bl.to)) {
		g1, a1 = b.sample(bl.to)
	}
	w := r3.Scale(0.5, r3.Add(g0, g1))
	f := r3.Scale(0.5, r3.Add(a0, a1))
	h := rotation.Exp(r3.Vec{X: w.X * bl.dt / 2, Y: w.Y * bl.dt / 2, Z: w.Z * bl.dt / 2})
	bl.turn = quat.Mul(h, h)
	r := matrix(h)
	bl.du = r3.Scale(bl.dt, r.mulVec(f))
	for i := range 3 {
		for j := range 3 {
			bl.lever[3*i+j] = r[3*i+j] * bl.dt
			bl.gain[3*i+j] = r[3*i+j] * xyz(w)[j] * bl.dt
			bl.pull[3*i+j] = r[3*i+j] * xyz(f)[j] * bl.dt
		}
	}
	rateSD += 0.5 * r3.Norm(r3.Sub(g1, g0))
	accSD += 0.5 * r3.Norm(r3.Sub(a1, a0))
	bl.rate, bl.rms = w, r3.Norm(w)
	bl.turnVar = sq(rateSD * bl.dt)
	bl.velVar = sq(accSD * bl.dt)
	bl.gyrVar, bl.accVar = rateSD*rateSD, accSD*accSD
}

// sample returns the calibrated rate and specific force of one sample.
func (b *builder) sample(i int) (g, a r3.Vec) {
	sg, sa, o := &b.cal.gyrScale, &b.cal.accScale, &b.cal.accBias
	g, a = b.s.GyrAt(i), b.s.AccAt(i)
	g = r3.Vec{X: g.X * sg[0], Y: g.Y * sg[1], Z: g.Z * sg[2]}
	a = r3.Vec{X: a.X*sa[0] - o[0], Y: a.Y*sa[1] - o[1], Z: a.Z*sa[2] - o[2]}
	return g, a
}

// lag is how far, in samples and as a fraction of one, to look ahead of an
// interval's middle for a sensor that is late by delay.
func lag(delay, dt float64) (int, float64) {
	x := 0.5 + delay/dt
	j := math.Floor(x)
	return int(j), x - j
}

func (b *builder) integrateOne(bl *block) {
	t := b.s.Time
	gx, gy, gz := b.s.Gyr[0], b.s.Gyr[1], b.s.Gyr[2]
	ax, ay, az := b.s.Acc[0], b.s.Acc[1], b.s.Acc[2]
	sg, sa, ba := b.cal.gyrScale, b.cal.accScale, b.cal.accBias
	mean := bl.dt / float64(bl.to-bl.from)
	gj, gf := lag(b.p.GyroDelay, mean)
	aj, af := lag(b.p.AccDelay, mean)
	last := bl.to // later samples only where they follow without a gap
	for last < len(t)-1 && last < bl.to+max(gj, aj)+1 && t[last+1]-t[last] < 2*mean && !(b.bad && b.missing(last+1)) {
		last++
	}
	q := quat.Number{Real: 1}
	r := matrix(q)
	var u, sumW, sumF r3.Vec
	var j mat
	var gain, pull mat
	var ww, ff, clipTurn, clipVel float64
	var hum, buzz float64 // squared second differences of rate and force
	var gd, ad [3]float32 // the last first differences
	nextTick := t[bl.from]
	for i := bl.from; i < bl.to; i++ {
		dt := t[i+1] - t[i]
		if b.ticks != nil && t[i] >= nextTick {
			b.ticks.time = append(b.ticks.time, t[i])
			b.ticks.du = append(b.ticks.du, [3]float32{float32(u.X), float32(u.Y), float32(u.Z)})
			nextTick = t[i] + tickStep - 0.5*mean
		}
		k := min(i+gj, last)
		k1 := min(k+1, last)
		d := [3]float32{gx[k1] - gx[k], gy[k1] - gy[k], gz[k1] - gz[k]}
		wx := (float64(gx[k]) + gf*float64(d[0])) * sg[0]
		wy := (float64(gy[k]) + gf*float64(d[1])) * sg[1]
		wz := (float64(gz[k]) + gf*float64(d[2])) * sg[2]
		if i > bl.from {
			hum += square3(d[0]-gd[0], d[1]-gd[1], d[2]-gd[2])
		}
		gd = d
		k = min(i+aj, last)
		k1 = min(k+1, last)
		d = [3]float32{ax[k1] - ax[k], ay[k1] - ay[k], az[k1] - az[k]}
		fx := (float64(ax[k])+af*float64(d[0]))*sa[0] - ba[0]
		fy := (float64(ay[k])+af*float64(d[1]))*sa[1] - ba[1]
		fz := (float64(az[k])+af*float64(d[2]))*sa[2] - ba[2]
		if i > bl.from {
			buzz += square3(d[0]-ad[0], d[1]-ad[1], d[2]-ad[2])
		}
		ad = d

		q = quat.Mul(q, rotation.Exp(r3.Vec{X: wx * dt, Y: wy * dt, Z: wz * dt}))
		n := matrix(q)
		hdt := 0.5 * dt
		m := mat{
			(r[0] + n[0]) * hdt, (r[1] + n[1]) * hdt, (r[2] + n[2]) * hdt,
			(r[3] + n[3]) * hdt, (r[4] + n[4]) * hdt, (r[5] + n[5]) * hdt,
			(r[6] + n[6]) * hdt, (r[7] + n[7]) * hdt, (r[8] + n[8]) * hdt,
		}
		r = n
		u.X += m[0]*fx + m[1]*fy + m[2]*fz
		u.Y += m[3]*fx + m[4]*fy + m[5]*fz
		u.Z += m[6]*fx + m[7]*fy + m[8]*fz
		for c := range 3 {
			j[3*c] += m[3*c]
			j[3*c+1] += m[3*c+1]
			j[3*c+2] += m[3*c+2]
			gain[3*c] += m[3*c] * wx
			gain[3*c+1] += m[3*c+1] * wy
			gain[3*c+2] += m[3*c+2] * wz
			pull[3*c] += m[3*c] * fx
			pull[3*c+1] += m[3*c+1] * fy
			pull[3*c+2] += m[3*c+2] * fz
		}
		w2 := wx*wx + wy*wy + wz*wz
		f2 := fx*fx + fy*fy + fz*fz
		sumW.X += wx
		sumW.Y += wy
		sumW.Z += wz
		sumF.X += fx
		sumF.Y += fy
		sumF.Z += fz
		ww += w2
		ff += f2
		if w2 >= sq(b.lim.gyr) && peak(wx, wy, wz) >= b.lim.gyr {
			clipTurn += dt
		}
		if f2 >= sq(b.lim.acc) && peak(fx, fy, fz) >= b.lim.acc {
			clipVel += dt
		}
	}
	n := float64(bl.to - bl.from)
	bl.n = bl.to - bl.from
	bl.turn = rotation.Unit(q)
	bl.du, bl.lever, bl.gain, bl.pull = u, j, gain, pull
	bl.rate = r3.Scale(1/n, sumW)
	bl.rms = math.Sqrt(ww / n)
	bl.gyrVar = max(0, ww/n-sq(r3.Norm(bl.rate)))
	bl.accVar = max(0, ff/n-sq(r3.Norm(r3.Scale(1/n, sumF))))
	// Vibration: white noise of variance σ² has second differences of 6 σ²,
	// three axes, and what is integrated of it is σ² dt T.
	bl.turnVar = hum / 18 / n * mean * bl.dt
	bl.velVar = buzz / 18 / n * mean * bl.dt
	if clipTurn > 0 {
		missed := clipShare * b.lim.gyr * clipTurn
		bl.turnVar += sq(missed)
		bl.reset = missed > maxMissed
	}
	if clipVel > 0 {
		bl.velVar += sq(clipShare * b.lim.acc * clipVel)
	}
}

// clipShare is the 1σ of what a saturated sensor misses, as a share of its range.
const clipShare = 0.5

// maxMissed is the turn, rad, that a saturated gyroscope may have missed in a
// step before the attitude starts anew, as after a long gap.
const maxMissed = 0.2

func peak(x, y, z float64) float64 {
	return max(math.Abs(x), math.Abs(y), math.Abs(z))
}

func square3(x, y, z float32) float64 { return float64(x*x + y*y + z*z) }

func sq(x float64) float64 { return x * x }
