package attitude

import (
	"math"
	"math/cmplx"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/spatial/r3"
)

// A follower ties a smoothed path to GPS velocity: first the heading between
// the gyro-integrated frame and east-north, and how late the velocities are
// (see heading.go); then, pass by pass, the velocity at each node with the
// weight that it earns. Horizontal vectors are complex numbers, east + i north.
type follower struct {
	s        *smoother
	g        *integrator
	time     []float64    // usable fixes
	vel      []complex128 // m/s
	sd       float64      // stated 1σ, m/s
	late     float64      // latency, s
	res      []complex128 // residual of each fix at the last look; NaN where there is no path
	variance []float64    // of each fix, (m/s)²
	first    float64      // their mean as first learnt, (m/s)²; 0 before
	red      float64      // how much wider errors of neighbouring fixes make their mean
	r0       []float64    // each node's velocity variance without fixes
	mute     []bool       // nodes that fixes say nothing of
}

const (
	aidedPasses  = 3                   // before the sensors are calibrated
	defaultSD    = 0.1                 // m/s of a receiver that states none
	leastSD      = 0.3                 // least 1σ of a fix, as a share of what is stated
	wildest      = 3                   // outliers' worth of σ that one fix adds to its neighbours' variance at most
	mostRoom     = 2.0                 // times the variance first learnt, that the fixes may be given; tuned on seven sessions with wandering fixes
	gpsHole      = 10.0                // s without a fix: back to the rule without aid
	maxHeadingSE = 3.0 * math.Pi / 180 // rad, median over the log, of a heading that counts as known
	slope        = 0.25                // s to either side over which the path's acceleration is taken
	firmLate     = 100.0               // 1/s², information below which the latency is left: 1σ above 0.1 s
)

func newFollower(s *smoother, aid *Aid, g *integrator) *follower {
	f := &follower{s: s, g: g, sd: aid.SD, red: 1, r0: slices.Clone(s.r), mute: make([]bool, len(s.q))}
	if !(f.sd > 0) {
		f.sd = defaultSD
	}
	for i, x := range aid.Time {
		if v := complex(aid.East[i], aid.North[i]); !cmplx.IsNaN(v) && !cmplx.IsInf(v) {
			f.time = append(f.time, x)
			f.vel = append(f.vel, v)
		}
	}
	f.res = make([]complex128, len(f.time))
	f.variance = slices.Repeat([]float64{sq(f.sd)}, len(f.time))
	return f
}

// run corrects the path by the fixes, at most passes times, or until it moves
// no more. c, when not nil, gathers in the last of them.
func (f *follower) run(passes int, c *calibrator) {
	for i := range passes {
		f.look()
		if c == nil || i > 0 {
			f.weigh()
			f.refineLatency()
			f.look()
		}
		f.inform()
		if c != nil && i < passes-1 {
			f.s.pass(nil)
			continue
		}
		f.s.pass(c)
		if f.s.moved < settled {
			return
		}
	}
}

// calibrateRoughly looks for a large offset of the accelerometer before the
// fixes' weights are learnt, which would take it for errors of the fixes.
func (f *follower) calibrateRoughly() {
	f.look()
	f.inform()
	f.s.pass(nil)
	c := newCalibrator(roughAccBiasSD)
	f.s.forward(c)
	f.g.calibrate(c, f.s)
}

// headingSE is the median over the log of the heading's 1σ, rad.
func (f *follower) headingSE() float64 {
	return math.Sqrt(filter.Median(slices.Clone(f.s.turn)))
}

// A cursor walks the path's velocity at increasing times.
type cursor struct {
	f *follower
	k int // block
}

// at returns the path's velocity at time x, and false outside the path.
func (c *cursor) at(x float64) (complex128, bool) {
	s := c.f.s
	for c.k > 0 && x < s.time[c.k] {
		c.k--
	}
	for c.k < len(s.bl)-1 && x >= s.time[c.k+1] {
		c.k++
	}
	b := &s.bl[c.k]
	if x < s.time[c.k] || x > s.time[c.k+1] || b.reset {
		return 0, false
	}
	du := rotation.Rotate(s.q[c.k], c.inBlock(x))
	end := rotation.Rotate(s.q[c.k], b.du)
	part := (x - s.time[c.k]) / b.dt
	v0, v1 := s.v[c.k], s.v[c.k+1]
	// What the path's nodes differ by beyond the integral is spread evenly.
	return complex(
		v0[0]+du.X+part*(v1[0]-v0[0]-end.X),
		v0[1]+du.Y+part*(v1[1]-v0[1]-end.Y)), true
}

// inBlock interpolates the block's running integral of specific force at time x.
func (c *cursor) inBlock(x float64) r3.Vec {
	g, b := c.f.g, &c.f.s.bl[c.k]
	if b.gap {
		return r3.Scale((x-c.f.s.time[c.k])/b.dt, b.du)
	}
	i, at := b.tick, b.from
	for at+g.every < b.to && g.s.Time[at+g.every] <= x {
		i, at = i+1, at+g.every
	}
	u, next, until := g.tick(i), b.du, b.to
	if at+g.every < b.to {
		next, until = g.tick(i+1), at+g.every
	}
	t := g.s.Time
	return r3.Add(u, r3.Scale((x-t[at])/(t[until]-t[at]), r3.Sub(next, u)))
}

// tick is tick i as a vector.
func (g *integrator) tick(i int) r3.Vec {
	u := &g.ticks[i]
	return r3.Vec{X: float64(u[0]), Y: float64(u[1]), Z: float64(u[2])}
}

// look finds each fix's residual against the path at its own time.
func (f *follower) look() {
	c := cursor{f: f}
	for j, x := range f.time {
		v, ok := c.at(x - f.late)
		f.res[j] = cmplx.NaN()
		if ok && !f.mute[c.k] {
			f.res[j] = f.vel[j] - v
		}
	}
}

func square(c complex128) float64     { return real(c)*real(c) + imag(c)*imag(c) }
func product(a, b complex128) float64 { return real(a)*real(b) + imag(a)*imag(b) }

// weigh sets each fix's variance to what the fixes about it leave, smoothing
// variance included, and learns how alike neighbouring errors are.
func (f *follower) weigh() {
	n := len(f.time)
	s := f.s
	t := newTally(n)
	var last complex128
	var pair, own float64
	k := 0
	for j, r := range f.res {
		for k+1 < len(s.bl) && s.time[k+1] <= f.time[j]-f.late {
			k++
		}
		if cmplx.IsNaN(r) {
			t.add(0, 0)
			last = 0
			continue
		}
		// One wild fix must not spoil its neighbours' weights.
		t.add(min(0.5*square(r)+s.vv[k], sq(wildest*outlier)*f.variance[j]), 1)
		if square(r) < sq(2*outlier)*f.variance[j] {
			pair += product(r, last)
			own += square(r)
			last = r
		}
	}
	all := t.mean()
	if all != all {
		return
	}
	// A path that strays from the fixes must not earn itself more room: the
	// first look at their errors is nearly the largest.
	if f.first == 0 {
		f.first = all
	}
	damp := min(1, mostRoom*f.first/all)
	lo, hi := 0, 0
	for j := range n {
		for f.time[j]-f.time[lo] > adaptSpan/2 {
			lo++
		}
		for hi < n && f.time[hi]-f.time[j] < adaptSpan/2 {
			hi++
		}
		f.variance[j] = max(sq(leastSD*f.sd), damp*t.about(lo, hi, all))
	}
	f.red = longer(pair, own, 0.8)
}

// inform gives every node the fixes nearest to it.
func (f *follower) inform() {
	s := f.s
	j := 0
	lastFix := math.Inf(-1)
	for k := range s.q {
		until := math.Inf(1)
		if k+1 < len(s.q) {
			until = 0.5 * (s.time[k] + s.time[k+1])
		}
		var sum complex128
		w := 0.0
		for ; j < len(f.time) && f.time[j]-f.late < until; j++ {
			if r := f.res[j]; !cmplx.IsNaN(r) {
				lastFix = f.time[j] - f.late
				u := 1 / f.variance[j]
				sum += complex(u, 0) * r
				w += u
			}
		}
		s.z[k], s.r[k] = s.v[k], math.Inf(1)
		switch {
		case w > 0 && !f.mute[k]:
			s.z[k][0] += real(sum) / w
			s.z[k][1] += imag(sum) / w
			s.r[k] = f.red / w
		case s.rest[k], f.mute[k], s.time[k]-lastFix > gpsHole && (j == len(f.time) || f.time[j]-f.late-s.time[k] > gpsHole):
			s.z[k], s.r[k] = [2]float64{}, f.r0[k]
		}
	}
}

// refineLatency regresses the residuals on the path's acceleration: a
// velocity that is late by δ more than reckoned is off by -δ dv/dt.
func (f *follower) refineLatency() {
	c := cursor{f: f}
	num, den := 0.0, 0.0
	for j, x := range f.time {
		r := f.res[j]
		if cmplx.IsNaN(r) || square(r) > sq(outlier)*2*f.variance[j] {
			continue
		}
		v0, ok0 := c.at(x - f.late - slope)
		v1, ok1 := c.at(x - f.late + slope)
		if !ok0 || !ok1 {
			continue
		}
		a := (v1 - v0) / (2 * slope)
		num -= product(r, a) / f.variance[j]
		den += square(a) / f.variance[j]
	}
	if den >= firmLate {
		f.late = min(max(f.late+num/den, minLate), maxLate)
	}
}
