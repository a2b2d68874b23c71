package attitude

import (
	"errors"
	"fmt"
	"math"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// TwoSided estimates the attitude at every sample from the whole log, without
// lag: the gyroscope is integrated, the specific force is turned into that
// slowly turning frame, and there the vertical is found by weighing every
// step's change of velocity, forward and backward in time, against what is
// known of the velocity: that it stays bounded, or what aid says of it.
//
// The earth frame's z is up; its x is east when aid could tell the heading
// (Track.HeadingKnown), else arbitrary. aid may be nil.
//
// Samples that are not numbers, or beyond any sensor's range, are treated as
// missing. Missing samples and gaps up to Params.Bridge are bridged, with a
// wider SE; longer ones, and a gyroscope saturated for long, start a new
// segment. It is an error when the columns' lengths differ, times do not
// increase, fewer than two samples are left, or there is no gyroscope.
func TwoSided(s Samples, aid *Aid, p Params) (*Track, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	bad, err := s.check()
	if err != nil {
		return nil, err
	}
	b := &builder{s: &s, p: &p, cal: noCalibration, step: medianStep(s.Time), bad: bad,
		lim: limits{math.Inf(1), math.Inf(1)}}
	if p.Clipping {
		b.lim = findLimits(&s)
	}
	if aid != nil {
		if err := aid.check(); err != nil {
			return nil, err
		}
		b.ticks = &ticks{}
	}
	bl := b.layout()
	b.integrate(bl)
	sm := newSmoother(&p, bl)
	tr := &Track{Time: s.Time, Rest: sm.rests}
	var f *follower
	if aid == nil {
		sm.unaided(maxPasses)
	} else {
		sm.unaided(roughPasses)
		f = newFollower(sm, s.Time, aid, b.ticks)
		if f.align() {
			sm.aided = true
			if p.Calibrate {
				// Before the fixes' weights are learnt, which would take an
				// accelerometer's offset for errors of the fixes.
				f.look()
				f.inform()
				sm.pass()
				if sm.calibrate(b, roughAccBiasSD) {
					b.integrate(bl)
				}
			}
			f.run(0)
		} else {
			f = nil
			sm.settle(roughPasses, maxPasses)
		}
	}
	if p.Calibrate && sm.calibrate(b, p.AccBiasSD) {
		b.integrate(bl)
		if f != nil {
			f.run(4)
		} else {
			sm.settle(4, maxPasses)
		}
	}
	if f != nil {
		tr.HeadingKnown, tr.LatencyS = f.known(), f.late
	}
	b.write(tr, sm)
	return tr, nil
}

// check looks for columns that cannot be used; bad says that some samples
// are not to be used.
func (s *Samples) check() (bad bool, err error) {
	n := len(s.Time)
	for c := range 3 {
		if len(s.Acc[c]) != n || len(s.Gyr[c]) != n {
			return false, fmt.Errorf("attitude: %d times, but %d accelerometer and %d gyroscope samples on axis %c",
				n, len(s.Acc[c]), len(s.Gyr[c]), 'x'+rune(c))
		}
	}
	if n < 2 {
		return false, fmt.Errorf("attitude: %d samples: at least 2 are needed", n)
	}
	for i := 1; i < n; i++ {
		if !(s.Time[i] > s.Time[i-1]) {
			return false, fmt.Errorf("attitude: time does not increase at sample %d (%g s after %g s)", i, s.Time[i], s.Time[i-1])
		}
	}
	gyr, both := 0, 0
	for i := range n {
		if believable(&s.Gyr, i, maxGyr) {
			gyr++
			if believable(&s.Acc, i, maxAcc) {
				both++
				continue
			}
		}
		bad = true
	}
	if gyr == 0 {
		return true, errNoGyro
	}
	if both < 2 {
		return true, errors.New("attitude: fewer than two samples hold both accelerometer and gyroscope values")
	}
	return bad, nil
}

// check looks for an aid that cannot be used.
func (a *Aid) check() error {
	n := len(a.Time)
	if len(a.East) != n || len(a.North) != n {
		return fmt.Errorf("attitude: velocity aid has %d times, %d east and %d north values", n, len(a.East), len(a.North))
	}
	for i := 1; i < n; i++ {
		if !(a.Time[i] > a.Time[i-1]) {
			return fmt.Errorf("attitude: time of the velocity aid does not increase at fix %d (%g s after %g s)", i, a.Time[i], a.Time[i-1])
		}
	}
	return nil
}

// Passes of the smoother. Each linearises about the last one's path.
const (
	maxPasses   = 8
	roughPasses = 3    // before the heading is looked for
	settled     = 1e-3 // rad, rms correction: the next is some four times smaller
)

// unaided smooths with a velocity that stays about zero, and learns how far
// from zero it gets.
func (s *smoother) unaided(passes int) {
	for k := range s.r {
		if s.rest[k] {
			s.r[k] = sq(restSD)
		}
	}
	s.settle(0, passes)
}

// settle passes until the path moves no more, from pass number from to at
// most the one before to.
func (s *smoother) settle(from, to int) {
	for i := from; i < to; i++ {
		s.pass()
		steady := s.adapt()
		if i > 1 && s.moved < settled && steady {
			break
		}
	}
}

// adaptSpan is the time about a node over which velocity errors are taken for
// equally large, s.
const adaptSpan = 20.0

// hidden makes up for motion that smoothing took for tilt.
const hidden = 2

// adapt sets each node's velocity variance r to what the residuals of the last
// pass say, with P the smoothed variance, over adaptSpan about it, drawn a
// little towards that of the log:
//
//	r ← Σ (z - v)² / Σ (1 - P/r)
//
// It reports whether the log's mean is about what it was.
func (s *smoother) adapt() (steady bool) {
	n := len(s.q)
	sum := make([]float64, n+1)
	cnt := make([]float64, n+1)
	for k := range n {
		sum[k+1], cnt[k+1] = sum[k], cnt[k]
		if s.rest[k] {
			continue
		}
		d0, d1 := s.z[k][0]-s.v[k][0], s.z[k][1]-s.v[k][1]
		sum[k+1] += 0.5 * (d0*d0 + d1*d1)
		cnt[k+1] += max(1-s.vv[k]/s.r[k], 0.05)
	}
	if cnt[n] == 0 {
		return true
	}
	all := sum[n] / cnt[n]
	steady = math.Abs(math.Log(max(all, 1e-9)/s.spread)) < 0.2
	s.spread = max(all, 1e-9)
	half := max(1, int(adaptSpan/2/s.p.Step))
	tint := s.tint()
	const few = 6 // nodes' worth of the log's mean
	for k := range n {
		if s.rest[k] {
			continue
		}
		lo, hi := max(0, k-half), min(n, k+half+1)
		s.r[k] = max(sq(restSD), hidden*tint*(sum[hi]-sum[lo]+few*all)/(cnt[hi]-cnt[lo]+few))
	}
	return steady
}

// tint is how much more velocity errors weigh, summed over a long time, than
// independent ones, when they follow a first-order law with correlation ρ
// between nodes: (1+ρ)/(1-ρ).
func (s *smoother) tint() float64 {
	ac, a0 := 0.0, 0.0
	for k := 1; k < len(s.q); k++ {
		if s.rest[k] || s.rest[k-1] {
			continue
		}
		for i := range 2 {
			d0, d1 := s.z[k-1][i]-s.v[k-1][i], s.z[k][i]-s.v[k][i]
			ac += d0 * d1
			a0 += 0.5 * (d0*d0 + d1*d1)
		}
	}
	if a0 == 0 {
		return 1
	}
	rho := min(max(ac/a0, 0), 0.99)
	return (1 + rho) / (1 - rho)
}

// write integrates the samples again between the path's nodes, and fills tr.
func (b *builder) write(tr *Track, s *smoother) {
	n := len(b.s.Time)
	tr.Q = make([]quat.Number, n)
	tr.SE = make([]float32, n)
	se := func(k int) float64 { return math.Sqrt(s.tilt[k] + s.biasTilt(k)) }
	for i := range s.bl[0].from {
		tr.Q[i], tr.SE[i] = s.q[0], math.Pi
	}
	for k := range s.bl {
		bl := &s.bl[k]
		switch {
		case bl.reset:
			b.hold(tr, bl, s.q[k], se(k))
		case bl.gap:
			b.writeGap(tr, s, k, se(k), se(k+1))
		default:
			b.writeBlock(tr, s, k, se(k), se(k+1))
		}
	}
	last := len(s.bl)
	tr.Q[n-1], tr.SE[n-1] = s.q[last], float32(se(last))
	if s.bl[last-1].reset {
		tr.Q[n-1], tr.SE[n-1] = tr.Q[s.bl[last-1].from], math.Pi
	}
	b.segments(tr, s)
}

// squareSD is how far a sensor's axes are from square, 1σ, rad: 0.2 % of
// cross-axis sensitivity, which no filter sees.
const squareSD = 0.0018

// biasTilt is the variance of inclination at node k from what is constant in
// the sensor, rad²: the horizontal parts of the accelerometer's offset, and
// its axes.
func (s *smoother) biasTilt(k int) float64 {
	m := matrix(s.q[k])
	up := [3]float64{m[6], m[7], m[8]} // in the sensor frame
	c := &s.accBias
	along := 0.0
	for i := range 3 {
		for j := range 3 {
			along += up[i] * c[3*i+j] * up[j]
		}
	}
	return (c[0]+c[4]+c[8]-along)/sq(Gravity) + 2*sq(squareSD)
}

// hold fills the samples of a reset.
func (b *builder) hold(tr *Track, bl *block, q quat.Number, se float64) {
	tr.Q[bl.from], tr.SE[bl.from] = q, float32(se)
	for i := bl.from + 1; i < bl.to; i++ {
		tr.Q[i], tr.SE[i] = q, math.Pi
	}
}

func (b *builder) writeGap(tr *Track, s *smoother, k int, se0, se1 float64) {
	bl := &s.bl[k]
	d := rotation.Log(quat.Mul(quat.Conj(s.q[k]), s.q[k+1]))
	widest := math.Sqrt(bl.turnVar)
	for i := bl.from; i < bl.to; i++ {
		f := (b.s.Time[i] - b.s.Time[bl.from]) / bl.dt
		tr.Q[i] = quat.Mul(s.q[k], rotation.Exp(r3.Vec{X: d.X * f, Y: d.Y * f, Z: d.Z * f}))
		tr.SE[i] = float32(se0 + f*(se1-se0) + within(widest, f))
	}
}

// within is how much wider the doubt is at the fraction f of a step whose two
// ends are known, when its turn is known to sd, rad: a Brownian bridge's.
func within(sd, f float64) float64 { return sd * math.Sqrt(2*f*max(1-f, 0)) }

// plainTurn is the doubt of a step's turn, rad, below which it is not worth
// more than a straight line between the ends' SE.
const plainTurn = 0.01

func (b *builder) writeBlock(tr *Track, s *smoother, k int, se0, se1 float64) {
	bl := &s.bl[k]
	t := b.s.Time
	gx, gy, gz := b.s.Gyr[0], b.s.Gyr[1], b.s.Gyr[2]
	sg := b.cal.gyrScale
	o := s.b[k]
	q := s.q[k]
	c := r3.Scale(-1, bl.lever.mulVec(o))
	end := quat.Mul(q, quat.Mul(rotation.Exp(c), bl.turn))
	// What the path turns beyond the gyroscope, spread evenly over the block.
	m := r3.Scale(0.5/bl.dt, rotation.Log(quat.Mul(s.q[k+1], quat.Conj(end))))
	slope := (se1 - se0) / bl.dt
	mean := bl.dt / float64(bl.to-bl.from)
	gj, gf := lag(b.p.GyroDelay, mean)
	doubt := math.Sqrt(bl.turnVar)
	last := bl.to
	for last < len(t)-1 && last < bl.to+gj+1 && t[last+1]-t[last] < 2*mean && !(b.bad && b.missing(last+1)) {
		last++
	}
	for i := bl.from; i < bl.to; i++ {
		tr.Q[i] = q
		se := se0 + slope*(t[i]-t[bl.from])
		if doubt > plainTurn {
			se += within(doubt, (t[i]-t[bl.from])/bl.dt)
		}
		tr.SE[i] = float32(se)
		dt := t[i+1] - t[i]
		j := min(i+gj, last)
		j1 := min(j+1, last)
		wx := (float64(gx[j])+gf*float64(gx[j1]-gx[j]))*sg[0] - o.X
		wy := (float64(gy[j])+gf*float64(gy[j1]-gy[j]))*sg[1] - o.Y
		wz := (float64(gz[j])+gf*float64(gz[j1]-gz[j]))*sg[2] - o.Z
		q = quat.Mul(q, rotation.Exp(r3.Vec{X: wx * dt, Y: wy * dt, Z: wz * dt}))
		x, y, z := m.X*dt, m.Y*dt, m.Z*dt
		q = quat.Number{Real: q.Real - x*q.Imag - y*q.Jmag - z*q.Kmag, Imag: q.Imag + x*q.Real + y*q.Kmag - z*q.Jmag, Jmag: q.Jmag + y*q.Real + z*q.Imag - x*q.Kmag, Kmag: q.Kmag + z*q.Real + x*q.Jmag - y*q.Imag}
		n := 1.5 - 0.5*(q.Real*q.Real+q.Imag*q.Imag+q.Jmag*q.Jmag+q.Kmag*q.Kmag)
		q.Real *= n
		q.Imag *= n
		q.Jmag *= n
		q.Kmag *= n
	}
}

// segments lists the stretches between resets, and the gyroscope's offset in each.
func (b *builder) segments(tr *Track, s *smoother) {
	first := 0
	end := func(last int) { // blocks first..last-1 are one stretch
		if last <= first {
			return
		}
		to := s.bl[last-1].to + 1
		tr.Segments = append(tr.Segments, [2]int{s.bl[first].from, to})
		tr.Bias = append(tr.Bias, s.b[(first+last)/2])
	}
	for k := range s.bl {
		if s.bl[k].reset {
			end(k)
			first = k + 1
		}
	}
	end(len(s.bl))
}
