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
	Q        quat.Number // attitude, sensor to a frame with z up
	Velocity [2]float64  // horizontal, m/s; zero mean
	Bias     r3.Vec      // gyroscope offset, rad/s
	Cov      [nState][nState]float64
	Started  bool
	// The step under way: its time, integrals in the earth frame and sums.
	Elapsed  float64
	Force    r3.Vec     // ∫ R f dt, m/s
	Lever    [9]float64 // ∫ R dt, s
	Count    int
	SumGyr   r3.Vec
	SumAcc   r3.Vec
	SumGyr2  float64
	SumAcc2  float64
	TurnVar  float64 // from gaps and clipping, rad²
	VelVar   float64 // (m/s)²
	Missed   float64 // turn that a saturated gyroscope may have missed, rad
	Lost     float64 // change of velocity, the same, m/s
	Hum      float64 // squared second differences of rate
	Buzz     float64 // and of specific force
	GyrStep  r3.Vec  // last first differences
	AccStep  r3.Vec
	LastGyr  r3.Vec
	LastAcc  r3.Vec
	Waiting  float64 // s since the last usable sample
	Rest     Rest
	Rested   bool       // the last step was at rest
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
	f.s.Q = quat.Number{Real: 1}
	return f, nil
}

// Quat returns the attitude at the last sample.
func (f *Filter) Quat() quat.Number { return f.s.Q }

// Bias returns the gyroscope's offset, rad/s.
func (f *Filter) Bias() r3.Vec { return f.s.Bias }

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
func (f *Filter) Update(dt float64, acc, gyr r3.Vec) {
	s := &f.s
	if !(dt > 0) {
		return
	}
	if !(peak(acc.X, acc.Y, acc.Z) <= maxAcc && peak(gyr.X, gyr.Y, gyr.Z) <= maxGyr) {
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
	g := r3.Vec{X: gyr.X - s.LastGyr.X, Y: gyr.Y - s.LastGyr.Y, Z: gyr.Z - s.LastGyr.Z}
	a := r3.Vec{X: acc.X - s.LastAcc.X, Y: acc.Y - s.LastAcc.Y, Z: acc.Z - s.LastAcc.Z}
	s.Hum += sq(g.X-s.GyrStep.X) + sq(g.Y-s.GyrStep.Y) + sq(g.Z-s.GyrStep.Z)
	s.Buzz += sq(a.X-s.AccStep.X) + sq(a.Y-s.AccStep.Y) + sq(a.Z-s.AccStep.Z)
	s.GyrStep, s.AccStep = g, a
	wx, wy, wz := gyr.X+l*g.X, gyr.Y+l*g.Y, gyr.Z+l*g.Z
	if f.p.Clipping {
		f.clip(dt, acc, gyr)
	}
	hx, hy, hz := 0.5*dt*(wx-s.Bias.X), 0.5*dt*(wy-s.Bias.Y), 0.5*dt*(wz-s.Bias.Z)
	// Half a turn, the interval's force and lever in the frame there, half a turn.
	h := rotation.Exp(r3.Vec{X: hx, Y: hy, Z: hz})
	mid := quat.Mul(s.Q, h)
	r := matrix(mid)
	fx, fy, fz := acc.X-0.5*a.X, acc.Y-0.5*a.Y, acc.Z-0.5*a.Z
	s.Force.X += (r[0]*fx + r[1]*fy + r[2]*fz) * dt
	s.Force.Y += (r[3]*fx + r[4]*fy + r[5]*fz) * dt
	s.Force.Z += (r[6]*fx + r[7]*fy + r[8]*fz) * dt
	for i := range s.Lever {
		s.Lever[i] += r[i] * dt
	}
	s.Q = quat.Mul(mid, h)
	s.SumGyr, s.SumAcc = r3.Add(s.SumGyr, gyr), r3.Add(s.SumAcc, acc)
	s.SumGyr2 += gyr.X*gyr.X + gyr.Y*gyr.Y + gyr.Z*gyr.Z
	s.SumAcc2 += acc.X*acc.X + acc.Y*acc.Y + acc.Z*acc.Z
	s.Count++
	s.LastGyr, s.LastAcc = gyr, acc
	s.Elapsed += dt
	if s.Elapsed >= f.p.Step-0.5*dt {
		f.correct()
	}
}

func dist(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

// clip widens the doubt for a sensor that repeats a value beyond the lowest
// full scale made.
func (f *Filter) clip(dt float64, acc, gyr r3.Vec) {
	s := &f.s
	lastGyr, lastAcc := xyz(s.LastGyr), xyz(s.LastAcc)
	for i, g := range xyz(gyr) {
		if math.Abs(g) >= minGyrClip && g == lastGyr[i] {
			s.Missed += clipShare * math.Abs(g) * dt
		}
	}
	for i, a := range xyz(acc) {
		if math.Abs(a) >= minAccClip && a == lastAcc[i] {
			s.Lost += clipShare * math.Abs(a) * dt
		}
	}
}

func (f *Filter) start(acc, gyr r3.Vec) {
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
func (f *Filter) restart(dt float64, acc, gyr r3.Vec) {
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
	s.Rest.For = 0
	s.GyrStep, s.AccStep = r3.Vec{}, r3.Vec{}
	s.Segments++
	s.LastGyr, s.LastAcc = gyr, acc
	s.clearStep()
}

func (s *State) clearStep() {
	s.Elapsed, s.Force, s.Lever, s.Count = 0, r3.Vec{}, mat{}, 0
	s.SumGyr, s.SumAcc, s.SumGyr2, s.SumAcc2 = r3.Vec{}, r3.Vec{}, 0, 0
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
	x := state{iV: s.Velocity[0] + s.Force.X, iV + 1: s.Velocity[1] + s.Force.Y}
	var none [5]float64
	var zero r3.Vec
	var e state
	p := (*cov)(&s.Cov)
	st.forward(&e, p, &none, &zero, &f.c.fresh)

	meanGyr, meanAcc := r3.Scale(n, s.SumGyr), r3.Scale(n, s.SumAcc)
	gyrVar := max(0, s.SumGyr2*n-sq(r3.Norm(meanGyr)))
	rest := false
	if s.Count > 2 {
		_, rest = s.Rest.next(&f.p, s.Elapsed, meanGyr, meanAcc, gyrVar, max(0, s.SumAcc2*n-sq(r3.Norm(meanAcc))))
	} else {
		s.Rest.For = 0
	}
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
		for i, z := range xyz(r3.Sub(meanGyr, s.Bias)) {
			update(&x, p, iB+i, z, rb)
		}
	}
	if f.p.MotionBias || rest && f.p.RestBias {
		s.Bias = r3.Add(s.Bias, r3.Vec{X: x[iB], Y: x[iB+1], Z: x[iB+2]})
	}
	s.Q = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{X: x[0], Y: x[1], Z: x[2]}), s.Q))
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
