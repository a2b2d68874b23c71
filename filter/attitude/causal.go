package attitude

import (
	"fmt"
	"math"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A Filter estimates the attitude sample by sample, from what came before.
// It weighs gyroscope and gravity as [TwoSided] does without aid: every
// blockStep it asks whether the change of velocity stayed in bounds. A copy
// of its value goes on from the same sample bit for bit.
type Filter struct {
	hole    float64 // s between samples that make a gap
	look    float64 // samples to look past the last gyroscope sample, of the interval's own
	started bool
	q       quat.Number // at the step's start, sensor to a frame with z up
	v       [2]float64  // horizontal velocity, m/s; zero mean
	bias    r3.Vec      // gyroscope offset, rad/s
	cov     cov
	// The step under way.
	step            integral
	elapsed         float64 // s
	turnVar, velVar float64 // from gaps, rad², (m/s)²
	missed, lost    float64 // turn and velocity that saturated sensors may have missed, rad, m/s
	gyr, acc        r3.Vec  // the last sample
	waiting         float64 // s since then without a usable one
	still           stillness
	rested          bool    // the last step was at rest
	own, pair       float64 // running variance of velocity about zero and product of successive ones, (m/s)²
}

const (
	adaptTime = 10.0 // s for which the causal filter remembers how large velocities were: best on the reference trials
	longest   = 1e6  // s between samples that is told from a longer time
	mostAlike = 0.95 // correlation of successive velocities that is still believed
)

// New returns a filter for samples at about rateHz. The rate only tells a gap
// from a sample that is a little late; Update's dt tells the time.
func New(rateHz float64) (*Filter, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 1) {
		return nil, fmt.Errorf("attitude: rate is %g Hz: it must be positive", rateHz)
	}
	return &Filter{hole: holeFor(1 / rateHz), look: min(gyroDelay*rateHz-0.5, 0.5),
		q: quat.Number{Real: 1}, step: newIntegral()}, nil
}

// Quat returns the attitude at the last sample.
func (f *Filter) Quat() quat.Number { return quat.Mul(f.q, f.step.turn) }

// Update takes in a sample: specific force acc, m/s², and rate gyr, rad/s,
// dt seconds after the last. A sample that is not a number, or beyond any
// sensor's range, counts as missing; one that takes no time is left out.
func (f *Filter) Update(dt float64, acc, gyr r3.Vec) {
	if !(dt > 0) {
		return
	}
	if !(peak(acc) <= maxAcc && peak(gyr) <= maxGyr) {
		f.waiting += dt
		return
	}
	dt = min(dt+f.waiting, longest)
	f.waiting = 0
	dw, df := r3.Sub(gyr, f.gyr), r3.Sub(acc, f.acc)
	if !f.started || dt > f.hole && dt > longestBridge {
		f.begin(dt, acc, gyr)
		return
	}
	if dt > f.hole {
		f.turnVar += sq(0.5 * r3.Norm(dw) * dt)
		f.velVar += sq(0.5 * r3.Norm(df) * dt)
	}
	f.missed += clipShare * dt * stuck(gyr, f.gyr, minGyrClip)
	f.lost += clipShare * dt * stuck(acc, f.acc, minAccClip)
	w := r3.Sub(r3.Add(gyr, r3.Scale(f.look, dw)), f.bias)
	f.step.add(dt, w, r3.Sub(acc, r3.Scale(0.5, df)), dw, df)
	f.gyr, f.acc = gyr, acc
	f.elapsed += dt
	if f.elapsed >= blockStep-0.5*dt {
		f.correct()
	}
}

// stuck is the sum over axes of values beyond the lowest full scale made that
// repeat the last one.
func stuck(v, last r3.Vec, least float64) (sum float64) {
	l := xyz(last)
	for i, x := range xyz(v) {
		if math.Abs(x) >= least && x == l[i] {
			sum += math.Abs(x)
		}
	}
	return sum
}

// begin starts at a sample, the first or one after a long gap, dt s: what was
// learnt of the gyroscope's offset stays.
func (f *Filter) begin(dt float64, acc, gyr r3.Vec) {
	fresh := startVar(velocitySD, tinyAngle)
	f.cov.anew(&fresh)
	for i := iB; i < nState; i++ {
		if f.started {
			f.cov[i][i] += sq(biasWalk) * dt
		} else {
			f.cov[i][i] = fresh[i]
		}
	}
	if !f.started {
		f.own = sq(velocitySD)
	}
	f.started = true
	f.q, f.v = rotation.Upright(acc), [2]float64{}
	f.still = stillness{}
	f.gyr, f.acc = gyr, acc
	f.clearStep()
}

func (f *Filter) clearStep() {
	f.step, f.elapsed = newIntegral(), 0
	f.turnVar, f.velVar, f.missed, f.lost = 0, 0, 0, 0
}

// correct ends a step: the errors' covariance over it, then what the velocity
// and, at rest, the gyroscope say.
func (f *Filter) correct() {
	b := block{dt: f.elapsed}
	b.fill(&f.step)
	b.turnVar += f.turnVar
	b.velVar += f.velVar
	b.saturated(f.missed, f.lost)
	if b.reset {
		f.begin(f.elapsed, f.acc, f.gyr)
		return
	}
	t, turn := newTransition(&b, f.q, r3.Vec{})
	x := state{}
	t.forward(&x, &f.cov, &state{})
	x[iV], x[iV+1] = f.v[0]+t.u.X, f.v[1]+t.u.Y

	b.rate = r3.Add(b.rate, f.bias) // as the sensor has it
	seconds, _ := f.still.next(&b)
	rest := seconds >= restTime
	if rest != f.rested {
		for i := iB; i < nState; i++ {
			f.cov[i][i] += sq(loadBias)
		}
		f.rested = rest
	}
	r := f.own * longer(f.pair, f.own, mostAlike)
	if rest {
		r = sq(restSD)
	}
	var u update
	u.take(&x, &f.cov, iV, 0, r)
	u.take(&x, &f.cov, iV+1, 0, r)
	if rest {
		for i, z := range xyz(r3.Sub(b.rate, f.bias)) {
			u.take(&x, &f.cov, iB+i, z, offsetVar(&b))
		}
	}
	f.bias = r3.Add(f.bias, r3.Vec{X: x[iB], Y: x[iB+1], Z: x[iB+2]})
	f.q = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{X: x[0], Y: x[1], Z: x[2]}), quat.Mul(f.q, turn)))
	last := f.v
	f.v = [2]float64{x[iV], x[iV+1]}
	if !rest {
		// What the velocity is, in expectation, and how slowly it changes.
		k := math.Exp(-blockStep / adaptTime)
		now := 0.5 * (sq(f.v[0]) + sq(f.v[1]) + f.cov[iV][iV] + f.cov[iV+1][iV+1])
		f.own = max(k*f.own+(1-k)*now, sq(restSD))
		f.pair = k*f.pair + (1-k)*0.5*(f.v[0]*last[0]+f.v[1]*last[1])
	}
	f.clearStep()
}
