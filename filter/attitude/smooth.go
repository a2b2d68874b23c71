package attitude

import (
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// What is known of a motion before the log says anything, 1σ: wide enough
// that only the first steps feel it.
const (
	tiltSD0     = 0.3  // of the first levelling, rad
	headingSD0  = 0.3  // of the first alignment with GPS, rad
	velocitySD0 = 20.0 // m/s
	tinyAngle   = 1e-3 // of a heading that nothing tells, rad: it is what it is
	// Times VelocitySD: smoothing comes down from a velocity that is too free
	// more surely than up from one too tight (the reference trials).
	firstVelocity = 4
)

// A smoother holds the path of one log, at the blocks' borders ("nodes"), and
// corrects it by fixed-interval smoothing, linearised about the path itself.
type smoother struct {
	bl      []block
	step    float64       // s, a usual block's
	time    []float64     // of each node, s
	q       []quat.Number // attitude at each node
	v       [][2]float64  // horizontal velocity, m/s
	b       []r3.Vec      // gyroscope offset, rad/s
	aided   bool
	z       [][2]float64 // what velocity is measured or held to be, m/s
	r       []float64    // its variance, (m/s)²; +Inf for none
	rest    []bool       // the block that starts here lies still
	rests   [][2]int     // the samples that lie still
	tr      []transition // over each block, of the last pass
	x       []state      // filtered error state of each node
	pp      []cov        // its covariance
	upd     []update     // what was measured, node by node
	from    []int        // each node's first in upd, and the end
	tilt    []float64    // smoothed variance of the two horizontal turns, rad²
	turn    []float64    // smoothed variance of heading, rad²
	vv      []float64    // smoothed variance of velocity, mean of the two, (m/s)²
	nis     float64      // mean normalised innovation squared of the last pass
	moved   float64      // rms correction of the last pass, rad
	spread  float64      // mean squared residual of velocity after the last pass, (m/s)²
	accBias mat3         // covariance of the accelerometer's offset, (m/s²)²
}

// newSmoother makes the first path, with blocks of so many seconds.
func newSmoother(g *integrator, step float64) *smoother {
	bl, t := g.layout(step), g.s.Time
	g.integrate(bl)
	n := len(bl) + 1
	s := &smoother{
		bl: bl, step: step, spread: 1, time: make([]float64, n),
		q: slices.Repeat([]quat.Number{{Real: 1}}, n), v: make([][2]float64, n), b: make([]r3.Vec, n),
		z: make([][2]float64, n), r: make([]float64, n), rest: make([]bool, n),
		tr: make([]transition, n-1), x: make([]state, n), pp: make([]cov, n), upd: make([]update, 0, 2*n), from: make([]int, n+1),
		tilt: make([]float64, n), turn: make([]float64, n), vv: make([]float64, n),
	}
	for k := range bl {
		s.time[k] = t[bl[k].from]
	}
	s.time[n-1] = t[bl[n-2].to]
	for i := range 3 {
		s.accBias[4*i] = sq(accBiasSD)
	}
	s.rests = s.findRest()
	for k := range s.r {
		s.r[k] = sq(firstVelocity * velocitySD)
		if s.rest[k] {
			s.r[k] = sq(restSD)
		}
	}
	s.level()
	return s
}

// levelSpan is the time about a node whose mean specific force is its first
// vertical, s: a board's gusts and turns are over in it.
const levelSpan = 10.0

// level makes the first path: rate integrated, and the vertical from the
// specific force of levelSpan about each node, in the frame that the rate
// integration gives.
func (s *smoother) level() {
	sum := make([]r3.Vec, len(s.q)) // running integral of specific force in that frame
	s.stretches(func(first, last int) {
		for k := first; k < last; k++ {
			b := &s.bl[k]
			sum[k+1] = r3.Add(sum[k], rotation.Rotate(s.q[k], b.du))
			s.q[k+1] = quat.Mul(s.q[k], b.turn)
		}
		c := quat.Number{Real: 1}
		lo, hi := first, first
		for k := first; k <= last; k++ {
			for lo < k && s.time[k]-s.time[lo] > levelSpan/2 {
				lo++
			}
			for hi < last && s.time[hi]-s.time[k] < levelSpan/2 {
				hi++
			}
			c = quat.Mul(rotation.Upright(rotation.Rotate(c, r3.Sub(sum[hi], sum[lo]))), c)
			s.q[k] = rotation.Unit(quat.Mul(c, s.q[k]))
		}
	})
}

// transition makes block k's step and how far the path is from following it.
func (s *smoother) transition(k int) transition {
	b := &s.bl[k]
	t, turn := newTransition(b, s.q[k], s.b[k])
	if t.reset = b.reset; t.reset {
		t.offset = s.start(k + 1)
	} else {
		d := rotation.Log(quat.Mul(quat.Mul(s.q[k], turn), quat.Conj(s.q[k+1])))
		v0, v1 := &s.v[k], &s.v[k+1]
		t.offset = state{d.X, d.Y, d.Z, v0[0] + t.u.X - v1[0], v0[1] + t.u.Y - v1[1]}
	}
	bias := r3.Sub(s.b[k], s.b[k+1])
	t.offset[iB], t.offset[iB+1], t.offset[iB+2] = bias.X, bias.Y, bias.Z
	if k+1 < len(s.bl) && s.rest[k] != s.rest[k+1] {
		t.qBias += sq(loadBias)
	}
	return t
}

// start is the error state, offset aside, at a node that starts anew: its
// velocity is what it is measured to be, or zero.
func (s *smoother) start(k int) (x state) {
	for i := range 2 {
		x[iV+i] = -s.v[k][i]
		if !math.IsInf(s.r[k], 1) {
			x[iV+i] += s.z[k][i]
		}
	}
	return x
}

// startVar are the variances of what a stretch starts with.
func startVar(velocity, headingSD float64) state {
	b := sq(biasSD)
	return state{sq(tiltSD0), sq(tiltSD0), sq(headingSD), sq(velocity), sq(velocity), b, b, b}
}

// outlier is where a velocity's innovation, in σ, begins to weigh less: Huber's
// weights, a little above his 2 because GPS errors come in runs.
const outlier = 3.0

// measure takes in what is known at node k, and keeps every update.
func (s *smoother) measure(k int, x *state, p *cov) {
	take := func(h int, z, r float64) {
		s.upd = append(s.upd, update{})
		s.upd[len(s.upd)-1].take(x, p, h, z, r)
	}
	if r := s.r[k]; !math.IsInf(r, 1) {
		for i := range 2 {
			z, ri := s.z[k][i]-s.v[k][i], r
			if s.aided {
				// Huber: beyond the limit the weight falls as 1/|e|.
				e := math.Abs(z-x[iV+i]) / math.Sqrt(p[iV+i][iV+i]+r)
				ri = r * max(1, e/outlier)
			}
			take(iV+i, z, ri)
		}
	}
	if k < len(s.bl) && s.rest[k] {
		b := &s.bl[k]
		for i, z := range xyz(r3.Sub(b.rate, s.b[k])) {
			take(iB+i, z, offsetVar(b))
		}
	}
}

// forward runs the filter along the path, and keeps what it finds at each
// node. c, when not nil, gathers what the innovations say of the sensors.
func (s *smoother) forward(c *calibrator) {
	filter.InParts(len(s.bl), func(from, to int) {
		for k := from; k < to; k++ {
			s.tr[k] = s.transition(k)
		}
	})
	headingSD := tinyAngle
	if s.aided {
		headingSD = headingSD0
	}
	fresh := startVar(velocitySD0, headingSD)
	x := s.start(0)
	for i, b := range xyz(s.b[0]) {
		x[iB+i] = -b
	}
	var p cov
	for i := range p {
		p[i][i] = fresh[i]
	}
	s.upd = s.upd[:0]
	nis, count := 0.0, 0
	for k := range s.q {
		if k > 0 {
			s.tr[k-1].forward(&x, &p, &fresh)
			if c != nil {
				c.step(&s.tr[k-1], &s.bl[k-1], s.q[k-1])
			}
		}
		s.from[k] = len(s.upd)
		s.measure(k, &x, &p)
		s.x[k], s.pp[k] = x, p
		for i := s.from[k]; i < len(s.upd); i++ {
			u := &s.upd[i]
			if u.h < iB {
				nis += u.e * u.e / u.s
				count++
			}
			if c != nil {
				c.take(u)
			}
		}
	}
	s.from[len(s.q)] = len(s.upd)
	s.nis = nis / float64(max(count, 1))
}

// pass filters forward, smooths backward and moves the path.
func (s *smoother) pass(c *calibrator) {
	s.forward(c)
	var a adjoint
	moved := 0.0
	for k := len(s.q) - 1; k >= 0; k-- {
		x, p := &s.x[k], &s.pp[k]
		m := a.mean(x, p)
		s.tilt[k] = a.variance(p, 0) + a.variance(p, 1)
		s.vv[k] = 0.5 * (a.variance(p, iV) + a.variance(p, iV+1))
		if s.aided {
			s.turn[k] = a.variance(p, 2)
		}
		for i := s.from[k+1] - 1; i >= s.from[k]; i-- {
			a.measure(&s.upd[i])
		}
		if k > 0 {
			a.back(&s.tr[k-1])
		}
		moved += m[0]*m[0] + m[1]*m[1]
		if s.aided { // without aid any heading is as good
			moved += m[2] * m[2]
		}
		s.move(k, &m)
	}
	s.moved = math.Sqrt(moved / float64(len(s.q)))
}

// move takes an error out of the path at node k.
func (s *smoother) move(k int, m *state) {
	s.q[k] = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{X: m[0], Y: m[1], Z: m[2]}), s.q[k]))
	s.v[k][0] += m[iV]
	s.v[k][1] += m[iV+1]
	s.b[k] = r3.Add(s.b[k], r3.Vec{X: m[iB], Y: m[iB+1], Z: m[iB+2]})
}

// stretches calls do with the first and last node of each run without a reset.
func (s *smoother) stretches(do func(first, last int)) {
	first := 0
	for k := range s.bl {
		if s.bl[k].reset {
			if k > first {
				do(first, k)
			}
			first = k + 1
		}
	}
	if first < len(s.bl) {
		do(first, len(s.bl))
	}
}
