package attitude

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// TwoSided estimates the attitude at every sample from the whole log, without
// lag: the package document says how.
//
// The earth frame's z is up; its x is east when aid could tell the heading
// (Track.HeadingKnown), else arbitrary. aid may be nil.
//
// Samples that are not numbers, or beyond any sensor's range, are treated as
// missing. Missing samples and gaps up to longestBridge are bridged, with a
// wider SE; longer ones, and a gyroscope saturated for long, start a new
// segment. It is an error when the columns' lengths differ, times do not
// increase, fewer than two samples are left, or there is no gyroscope.
func TwoSided(s Samples, aid *Aid) (*Track, error) {
	bad, err := s.check()
	if err != nil {
		return nil, err
	}
	if aid != nil {
		if err := aid.check(); err != nil {
			return nil, err
		}
	}
	g := &integrator{s: &s, cal: noCalibration, period: filter.MedianStep(s.Time), bad: bad, lim: findLimits(&s)}
	if aid != nil {
		if tr := g.aided(aid); tr != nil {
			return tr, nil
		}
	}
	sm := newSmoother(g, blockStep)
	sm.settle(3, maxPasses)
	c := newCalibrator(accBiasSD)
	sm.forward(c)
	if g.calibrate(c, sm) {
		sm.settle(1, maxPasses/2)
	}
	return g.write(sm), nil
}

// aided is the track by a path that is tied to the fixes; nil where they have
// nothing in common with the sensors.
func (g *integrator) aided(aid *Aid) *Track {
	sm := newSmoother(g, aidedStep)
	sm.settle(roughPasses, roughPasses)
	f := newFollower(sm, aid, g)
	if !f.align() {
		return nil
	}
	sm.aided = true
	f.calibrateRoughly()
	c := newCalibrator(accBiasSD)
	f.run(aidedPasses, c)
	g.calibrate(c, sm)
	f.run(maxPasses-aidedPasses, nil)
	tr := g.write(sm)
	if tr.LatencyS = f.late; f.headingSE() < maxHeadingSE {
		tr.HeadingKnown, tr.HeadingSE = true, f.headingSE()
	}
	return tr
}

// write integrates the samples again between the path's nodes.
func (g *integrator) write(s *smoother) *Track {
	n := len(g.s.Time)
	tr := &Track{Time: g.s.Time, Q: make([]quat.Number, n), SE: make([]float32, n), Rest: s.rests, HeadingSE: math.NaN()}
	for i := range s.bl[0].from {
		tr.Q[i], tr.SE[i] = s.q[0], math.Pi
	}
	filter.InParts(len(s.bl), func(from, to int) {
		for k := from; k < to; k++ {
			g.writeBlock(tr, s, k)
		}
	})
	last := len(s.bl) - 1
	tr.Q[n-1], tr.SE[n-1] = s.q[last+1], float32(s.se(last+1))
	if b := &s.bl[last]; b.reset {
		tr.Q[n-1], tr.SE[n-1] = tr.Q[b.from], math.Pi
	}
	s.stretches(func(first, last int) {
		tr.Segments = append(tr.Segments, [2]int{s.bl[first].from, s.bl[last-1].to + 1})
		tr.Bias = append(tr.Bias, s.b[(first+last)/2])
	})
	return tr
}

// squareSD is how far a sensor's axes are from square, 1σ, rad: 0.2 % of
// cross-axis sensitivity, a data sheet's, which no filter sees.
const squareSD = 0.0018

// se is the standard error of inclination at node k, rad: the path's, and
// what is constant in the sensor, the horizontal parts of the accelerometer's
// offset and its axes.
func (s *smoother) se(k int) float64 {
	up := rotation.Rotate(quat.Conj(s.q[k]), r3.Vec{Z: 1}) // in the sensor frame
	c := &s.accBias
	across := c[0] + c[4] + c[8] - r3.Dot(up, c.mulVec(up))
	return math.Sqrt(s.tilt[k] + across/sq(Gravity) + 2*sq(squareSD))
}

// plainTurn is the doubt of a step's turn, rad, below which it is not worth
// more than a straight line between the ends' SE.
const plainTurn = 0.01

// doubt is the standard error within block k, at the fraction x of it, given
// those at its ends: where its turn is known badly, a Brownian bridge's more.
func (b *block) doubt(se0, se1, x float64) float32 {
	se := se0 + x*(se1-se0)
	if b.gap || b.turnVar > sq(plainTurn) {
		se += math.Sqrt(2 * b.turnVar * x * max(1-x, 0))
	}
	return float32(se)
}

// writeBlock fills the samples of block k, but for the one at its end.
func (g *integrator) writeBlock(tr *Track, s *smoother, k int) {
	b := &s.bl[k]
	t := g.s.Time
	q, o := s.q[k], s.b[k]
	se0, se1 := s.se(k), s.se(k+1)
	if b.reset {
		for i := b.from; i < b.to; i++ {
			tr.Q[i], tr.SE[i] = q, math.Pi
		}
		tr.SE[b.from] = float32(se0)
		return
	}
	if b.gap {
		d := rotation.Log(quat.Mul(quat.Conj(q), s.q[k+1]))
		for i := b.from; i < b.to; i++ {
			x := (t[i] - t[b.from]) / b.dt
			tr.Q[i], tr.SE[i] = quat.Mul(q, rotation.Exp(r3.Scale(x, d))), b.doubt(se0, se1, x)
		}
		return
	}
	mean := b.dt / float64(b.to-b.from)
	gj, gf := ahead(gyroDelay, mean)
	last := g.last(b, gj+1)
	// What the path turns beyond the gyroscope, spread evenly over the block.
	end := quat.Mul(q, quat.Mul(rotation.Exp(r3.Scale(-1, b.lever.mulVec(o))), b.turn))
	extra := r3.Scale(1/b.dt, rotation.Log(quat.Mul(s.q[k+1], quat.Conj(end))))
	for i := b.from; i < b.to; i++ {
		tr.Q[i], tr.SE[i] = q, b.doubt(se0, se1, (t[i]-t[b.from])/b.dt)
		dt := t[i+1] - t[i]
		j := min(i+gj, last)
		w := g.s.GyrAt(j)
		w = r3.Add(w, r3.Scale(gf, r3.Sub(g.s.GyrAt(min(j+1, last)), w)))
		w = r3.Sub(times(g.cal.gyrScale, w), o)
		// The extra is given in the earth frame, the rate in the sensor's.
		q = quat.Mul(q, rotation.Exp(r3.Scale(dt, w)))
		x := r3.Scale(0.5*dt, extra)
		q = quat.Mul(quat.Number{Real: 1, Imag: x.X, Jmag: x.Y, Kmag: x.Z}, q)
		q = quat.Scale(1.5-0.5*(q.Real*q.Real+q.Imag*q.Imag+q.Jmag*q.Jmag+q.Kmag*q.Kmag), q)
	}
}
