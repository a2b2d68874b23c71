package attitude

import (
	"fmt"
	"math"
)

// A Filter estimates the attitude sample by sample, from what came before.
// It weighs gyroscope and gravity as [TwoSided] does without aid: every
// Params.Step it asks whether the change of velocity stayed in bounds.
type Filter struct {
	p Params
	c coefficients
	s State
}

// coefficients are what the parameters and the rate come to.
type coefficients struct {
	hole     float64 // s between samples that make a gap
	look     float64 // samples to look past the last gyroscope sample, of the interval's own
	phiRate  float64 // GyroNoise², rad²/s
	velRate  float64 // AccNoise², m²/s³
	biasRate float64 // BiasWalk², rad²/s³
	fresh    [nState]float64
	forget   float64 // share of the running velocity variance that a step keeps
}

// State is everything that a Filter remembers between samples: save it, and
// a Filter with the same parameters and rate goes on from it bit for bit.
type State struct {
	Q        Quat       // attitude, sensor to a frame with z up
	Velocity [2]float64 // horizontal, m/s; zero mean
	Bias     [3]float64 // gyroscope offset, rad/s
	Cov      [nState][nState]float64
	Started  bool
	// The step under way: its time, integrals in the earth frame and sums.
	Elapsed  float64
	Force    [3]float64 // ∫ R f dt, m/s
	Lever    [9]float64 // ∫ R dt, s
	Count    int
	SumGyr   [3]float64
	SumAcc   [3]float64
	SumGyr2  float64
	SumAcc2  float64
	TurnVar  float64    // from gaps and clipping, rad²
	VelVar   float64    // (m/s)²
	Missed   float64    // turn that a saturated gyroscope may have missed, rad
	Lost     float64    // change of velocity, the same, m/s
	Hum      float64    // squared second differences of rate
	Buzz     float64    // and of specific force
	GyrStep  [3]float64 // last first differences
	AccStep  [3]float64
	LastGyr  [3]float64
	LastAcc  [3]float64
	Waiting  float64 // s since the last usable sample
	RestFor  float64 // s that rest has lasted
	Rested   bool    // the last step was at rest
	RestGyr  [3]float64
	RestAcc  [3]float64
	VelMean  float64    // running variance of velocity about zero, (m/s)²
	VelPair  float64    // running product of successive ones, (m/s)²
	LastVel  [2]float64 // velocity after the last step
	Segments int        // times that a long gap made it start over
}

// adaptTime is how long, in s, the causal filter remembers how large velocities were.
const adaptTime = 10.0

// longest is the longest time between samples that is told from a longer one, s.
const longest = 1e6

// New returns a filter for samples at about rateHz. The rate only tells a gap
// from a sample that is a little late; Update's dt tells the time.
func New(p Params, rateHz float64) (*Filter, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	if !(rateHz > 0) || math.IsInf(rateHz, 1) {
		return nil, fmt.Errorf("attitude: rate is %g Hz: it must be positive", rateHz)
	}
	f := &Filter{p: p}
	f.c = coefficients{
		hole:     max(5/rateHz, 0.1),
		look:     min(p.GyroDelay*rateHz-0.5, 0.5),
		phiRate:  sq(p.GyroNoise),
		velRate:  sq(p.AccNoise),
		biasRate: sq(p.BiasWalk),
		forget:   math.Exp(-p.Step / adaptTime),
	}
	bias := p.BiasSD
	if !p.MotionBias && !p.RestBias {
		bias = 1e-6
	}
	f.c.fresh = [nState]float64{sq(tiltSD0), sq(tiltSD0), sq(tinyAngle), sq(p.VelocitySD), sq(p.VelocitySD),
		sq(bias), sq(bias), sq(bias)}
	f.s.Q = Quat{W: 1}
	return f, nil
}

// Quat returns the attitude at the last sample.
func (f *Filter) Quat() Quat { return f.s.Q }

// Bias returns the gyroscope's offset, rad/s.
func (f *Filter) Bias() [3]float64 { return f.s.Bias }

// SE returns the standard error of the inclination, rad: the root mean square
// angle between the estimated and the true vertical.
func (f *Filter) SE() float64 {
	return math.Sqrt(f.s.Cov[0][0] + f.s.Cov[1][1] + 2*sq(f.p.AccBiasSD/Gravity) + 2*sq(squareSD))
}

// State returns a copy of what the filter remembers.
func (f *Filter) State() State { return f.s }

// Restore sets what the filter remembers.
func (f *Filter) Restore(s State) { f.s = s }

// Update takes in a sample: specific force acc, m/s², and rate gyr, rad/s,
// dt seconds after the last. A sample that is not a number, or beyond any
// sensor's range, counts as missing; one that takes no time is left out.
func (f *Filter) Update(dt float64, acc, gyr [3]float64) {
	s := &f.s
	if !(dt > 0) {
		return
	}
	if !(peak(acc[0], acc[1], acc[2]) <= maxAcc && peak(gyr[0], gyr[1], gyr[2]) <= maxGyr) {
		s.Waiting += dt
		return
	}
	dt = min(dt+s.Waiting, longest)
	s.Waiting = 0
	if !s.Started {
		f.start(acc, gyr)
		return
	}
	if dt > f.c.hole {
		if dt > f.p.Bridge {
			f.restart(dt, acc, gyr)
			return
		}
		s.TurnVar += sq(0.5 * dist(gyr, s.LastGyr) * dt)
		s.VelVar += sq(0.5 * dist(acc, s.LastAcc) * dt)
	}
	l := f.c.look
	g := vec{gyr[0] - s.LastGyr[0], gyr[1] - s.LastGyr[1], gyr[2] - s.LastGyr[2]}
	a := vec{acc[0] - s.LastAcc[0], acc[1] - s.LastAcc[1], acc[2] - s.LastAcc[2]}
	s.Hum += sq(g[0]-s.GyrStep[0]) + sq(g[1]-s.GyrStep[1]) + sq(g[2]-s.GyrStep[2])
	s.Buzz += sq(a[0]-s.AccStep[0]) + sq(a[1]-s.AccStep[1]) + sq(a[2]-s.AccStep[2])
	s.GyrStep, s.AccStep = g, a
	wx, wy, wz := gyr[0]+l*g[0], gyr[1]+l*g[1], gyr[2]+l*g[2]
	if f.p.Clipping {
		f.clip(dt, &acc, &gyr)
	}
	hx, hy, hz := 0.5*dt*(wx-s.Bias[0]), 0.5*dt*(wy-s.Bias[1]), 0.5*dt*(wz-s.Bias[2])
	// Half a turn, the interval's force and lever in the frame there, half a turn.
	h := rotExp(hx, hy, hz)
	mid := s.Q.Mul(h)
	r := mid.matrix()
	fx, fy, fz := acc[0]-0.5*a[0], acc[1]-0.5*a[1], acc[2]-0.5*a[2]
	s.Force[0] += (r[0]*fx + r[1]*fy + r[2]*fz) * dt
	s.Force[1] += (r[3]*fx + r[4]*fy + r[5]*fz) * dt
	s.Force[2] += (r[6]*fx + r[7]*fy + r[8]*fz) * dt
	for i := range s.Lever {
		s.Lever[i] += r[i] * dt
	}
	s.Q = mid.Mul(h)
	for i := range 3 {
		s.SumGyr[i] += gyr[i]
		s.SumAcc[i] += acc[i]
	}
	s.SumGyr2 += gyr[0]*gyr[0] + gyr[1]*gyr[1] + gyr[2]*gyr[2]
	s.SumAcc2 += acc[0]*acc[0] + acc[1]*acc[1] + acc[2]*acc[2]
	s.Count++
	s.LastGyr, s.LastAcc = gyr, acc
	s.Elapsed += dt
	if s.Elapsed >= f.p.Step-0.5*dt {
		f.correct()
	}
}

func dist(a, b [3]float64) float64 { return norm(sub(a, b)) }

// clip widens the doubt for a sensor that repeats a value beyond the lowest
// full scale made.
func (f *Filter) clip(dt float64, acc, gyr *[3]float64) {
	s := &f.s
	for i := range 3 {
		if g := math.Abs(gyr[i]); g >= minGyrClip && gyr[i] == s.LastGyr[i] {
			s.Missed += clipShare * g * dt
		}
		if a := math.Abs(acc[i]); a >= minAccClip && acc[i] == s.LastAcc[i] {
			s.Lost += clipShare * a * dt
		}
	}
}

func (f *Filter) start(acc, gyr [3]float64) {
	s := &f.s
	s.Started = true
	s.Q = levelling(acc)
	for i := range nState {
		s.Cov[i][i] = f.c.fresh[i]
	}
	s.VelMean = sq(f.p.VelocitySD)
	s.LastGyr, s.LastAcc = gyr, acc
}

// restart begins a new stretch after a long gap, dt s: what was learnt of the
// gyroscope's offset stays.
func (f *Filter) restart(dt float64, acc, gyr [3]float64) {
	s := &f.s
	for i := range iB {
		for j := range nState {
			s.Cov[i][j], s.Cov[j][i] = 0, 0
		}
		s.Cov[i][i] = f.c.fresh[i]
	}
	for i := range 3 {
		s.Cov[iB+i][iB+i] += f.c.biasRate * dt
	}
	s.Q = levelling(acc)
	s.Velocity, s.LastVel = [2]float64{}, [2]float64{}
	s.RestFor = 0
	s.GyrStep, s.AccStep = vec{}, vec{}
	s.Segments++
	s.LastGyr, s.LastAcc = gyr, acc
	s.clearStep()
}

func (s *State) clearStep() {
	s.Elapsed, s.Force, s.Lever, s.Count = 0, vec{}, mat{}, 0
	s.SumGyr, s.SumAcc, s.SumGyr2, s.SumAcc2 = vec{}, vec{}, 0, 0
	s.TurnVar, s.VelVar, s.Missed, s.Lost = 0, 0, 0, 0
	s.Hum, s.Buzz = 0, 0
}

// correct ends a step: the errors' covariance over it, then what the velocity
// and, at rest, the gyroscope say.
func (f *Filter) correct() {
	s := &f.s
	if s.Missed > maxMissed {
		f.restart(s.Elapsed, s.LastAcc, s.LastGyr)
		return
	}
	n := 1 / float64(s.Count)
	d := s.Elapsed
	noise := d * d * n * n / 18 // as in integrateOne
	st := step{b: s.Lever, u: s.Force}
	st.qPhi = f.c.phiRate*d + sq(f.p.GyroScale)*s.SumGyr2*n*d*d + s.TurnVar + sq(s.Missed) + s.Hum*noise
	st.qVel = f.c.velRate*d + s.VelVar + sq(s.Lost) + s.Buzz*noise
	st.qBias = f.c.biasRate * d
	x := state{iV: s.Velocity[0] + s.Force[0], iV + 1: s.Velocity[1] + s.Force[1]}
	var none [5]float64
	var zero vec
	var e state
	p := (*cov)(&s.Cov)
	st.forward(&e, p, &none, &zero, &f.c.fresh)

	meanGyr, meanAcc := scale(s.SumGyr, n), scale(s.SumAcc, n)
	gyrVar := max(0, s.SumGyr2*n-sq(norm(meanGyr)))
	rest := f.resting(meanGyr, meanAcc, gyrVar, max(0, s.SumAcc2*n-sq(norm(meanAcc))))
	if rest != s.Rested {
		for i := range 3 {
			p[iB+i][iB+i] += sq(loadBias)
		}
		s.Rested = rest
	}
	r := s.VelMean
	if s.VelPair > 0 {
		rho := min(s.VelPair/s.VelMean, 0.95)
		r *= (1 + rho) / (1 - rho)
	}
	if rest {
		r = sq(restSD)
	}
	update(&x, p, iV, 0, r)
	update(&x, p, iV+1, 0, r)
	if rest && f.p.RestBias {
		rb := gyrVar/3*n + sq(1e-4)
		for i := range 3 {
			update(&x, p, iB+i, meanGyr[i]-s.Bias[i], rb)
		}
	}
	if f.p.MotionBias || rest && f.p.RestBias {
		addTo(&s.Bias, vec{x[iB], x[iB+1], x[iB+2]}, 1)
	}
	s.Q = rotExp(x[0], x[1], x[2]).Mul(s.Q).Unit()
	s.Velocity = [2]float64{x[iV], x[iV+1]}
	if !rest {
		// What the velocity is, in expectation, and how slowly it changes.
		v := s.Velocity
		k := f.c.forget
		now := 0.5 * (v[0]*v[0] + v[1]*v[1] + p[iV][iV] + p[iV+1][iV+1])
		s.VelMean = max(k*s.VelMean+(1-k)*now, sq(restSD))
		s.VelPair = k*s.VelPair + (1-k)*0.5*(v[0]*s.LastVel[0]+v[1]*s.LastVel[1])
	}
	s.LastVel = s.Velocity
	s.clearStep()
}

// resting follows whether the sensor lies still, by findRest's rule.
func (f *Filter) resting(gyr, acc vec, gyrVar, accVar float64) bool {
	s := &f.s
	still := s.Count > 2 && gyrVar < 3*sq(restGyrSD) && accVar < 3*sq(restAccSD) && norm(gyr) < 3*f.p.BiasSD
	if !still {
		s.RestFor = 0
		return false
	}
	if s.RestFor == 0 || dist(gyr, s.RestGyr) >= restTurn || dist(acc, s.RestAcc) >= restShift {
		s.RestGyr, s.RestAcc, s.RestFor = gyr, acc, s.Elapsed
		return false
	}
	s.RestFor += s.Elapsed
	return s.RestFor >= restTime
}
