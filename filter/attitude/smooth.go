package attitude

import (
	"math"
	"slices"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// What is known of a motion before the log says anything, 1σ.
const (
	tiltSD0     = 0.3  // of the first levelling, rad
	headingSD0  = 0.3  // of the first alignment with GPS, rad
	velocitySD0 = 20.0 // m/s
	// Times VelocitySD: smoothing comes down from a velocity that is too free
	// more surely than up from one too tight.
	firstVelocity = 4
	restSD        = 0.02 // of the velocity of a thing at rest, m/s
	tinyAngle     = 1e-3 // rad
)

// A smoother holds the path of one log, at the blocks' borders ("nodes"), and
// corrects it by fixed-interval smoothing, linearised about the path itself.
type smoother struct {
	p       *Params
	bl      []block
	q       []quat.Number // attitude at each node
	v       [][2]float64  // horizontal velocity, m/s
	b       []r3.Vec      // gyroscope offset, rad/s
	aided   bool
	z       [][2]float64 // what velocity is measured or held to be, m/s
	r       []float64    // its variance, (m/s)²; +Inf for none
	rest    []bool       // the block that starts here lies still
	rests   [][2]int     // the samples that lie still
	x       []state      // predicted error state of each node
	pp      []packed     // its covariance
	tilt    []float64    // smoothed variance of the two horizontal turns, rad²
	turn    []float64    // smoothed variance of heading, rad²
	vv      []float64    // smoothed variance of velocity, mean of the two, (m/s)²
	nis     float64      // mean normalised innovation squared of the last pass
	moved   float64      // rms correction of the last pass, rad
	spread  float64      // mean squared residual of velocity after the last pass, (m/s)²
	accBias mat          // covariance of the accelerometer's offset, (m/s²)²
}

// packed is the upper half of a covariance.
type packed [nState * (nState + 1) / 2]float64

func (c *packed) from(p *cov) {
	n := 0
	for i := range nState {
		for j := i; j < nState; j++ {
			c[n] = p[i][j]
			n++
		}
	}
}

func (c *packed) to(p *cov) {
	n := 0
	for i := range nState {
		for j := i; j < nState; j++ {
			p[i][j], p[j][i] = c[n], c[n]
			n++
		}
	}
}

func newSmoother(p *Params, bl []block) *smoother {
	n := len(bl) + 1
	s := &smoother{
		p: p, bl: bl, spread: 1,
		q: make([]quat.Number, n), v: make([][2]float64, n), b: make([]r3.Vec, n),
		z: make([][2]float64, n), r: make([]float64, n), rest: make([]bool, n),
		x: make([]state, n), pp: make([]packed, n),
		tilt: make([]float64, n), turn: make([]float64, n), vv: make([]float64, n),
	}
	for k := range s.r {
		s.r[k] = sq(firstVelocity * p.VelocitySD)
	}
	for i := range 3 {
		s.accBias[4*i] = sq(p.AccBiasSD)
	}
	s.rests = s.findRest()
	s.level()
	return s
}

// loadBias is how much a gyroscope's offset differs, 1σ, between rest and
// motion, rad/s: MEMS gyroscopes feel acceleration, some 0.03 °/s and more per g.
const loadBias = 5e-4

// level makes the first path: rate integrated, and the vertical from the
// specific force of levelSpan about each node, in the frame that the rate
// integration gives.
const levelSpan = 10.0 // s

func (s *smoother) level() {
	n := len(s.q)
	sum := make([]r3.Vec, n) // running integral of specific force in that frame
	var at float64
	time := make([]float64, n)
	s.q[0] = quat.Number{Real: 1}
	start := 0
	flush := func(end int) { // nodes start..end share a frame
		c := quat.Number{Real: 1}
		lo, hi := start, start
		for k := start; k <= end; k++ {
			for lo < k && time[k]-time[lo] > levelSpan/2 {
				lo++
			}
			for hi < end && time[hi]-time[k] < levelSpan/2 {
				hi++
			}
			m := matrix(c)
			c = quat.Mul(levelling(m.mulVec(r3.Sub(sum[hi], sum[lo]))), c)
			s.q[k] = rotation.Unit(quat.Mul(c, s.q[k]))
		}
	}
	for k := range s.bl {
		b := &s.bl[k]
		at += b.dt
		time[k+1] = at
		if b.reset {
			flush(k)
			start = k + 1
			s.q[k+1] = quat.Number{Real: 1}
			continue
		}
		m := matrix(s.q[k])
		sum[k+1] = r3.Add(sum[k], m.mulVec(b.du))
		s.q[k+1] = quat.Mul(s.q[k], b.turn)
	}
	flush(n - 1)
}

// transition makes block k's step and how far the path is from following it.
func (s *smoother) transition(k int, st *step) (offset [5]float64, biasStep r3.Vec) {
	b := &s.bl[k]
	p := s.p
	biasStep = r3.Sub(s.b[k], s.b[k+1])
	walk := p.BiasWalk
	st.qBias = walk * walk * b.dt
	if k+1 < len(s.bl) && s.rest[k] != s.rest[k+1] {
		st.qBias += sq(loadBias)
	}
	st.reset = b.reset
	if b.reset {
		for i := range 2 {
			offset[iV+i] = s.z[k+1][i] - s.v[k+1][i]
			if math.IsInf(s.r[k+1], 1) {
				offset[iV+i] = -s.v[k+1][i]
			}
		}
		return offset, biasStep
	}
	r := matrix(s.q[k])
	st.b = mulMat(&r, &b.lever)
	c := r3.Scale(-1, b.lever.mulVec(s.b[k])) // turn of the block by the offset
	turn := quat.Mul(rotation.Exp(c), b.turn)
	u := b.du
	u = r3.Add(u, r3.Scale(0.5, r3.Cross(c, b.du)))
	st.u = r.mulVec(u)
	d := rotation.Log(quat.Mul(quat.Mul(s.q[k], turn), quat.Conj(s.q[k+1])))
	offset = [5]float64{d.X, d.Y, d.Z,
		s.v[k][0] + st.u.X - s.v[k+1][0],
		s.v[k][1] + st.u.Y - s.v[k+1][1]}
	st.qPhi = sq(p.GyroNoise)*b.dt + sq(p.GyroScale*b.rms*b.dt) + b.turnVar
	st.qVel = sq(p.AccNoise)*b.dt + b.velVar
	return offset, biasStep
}

// fresh are the variances of what a segment starts with.
func (s *smoother) fresh() (f [nState]float64) {
	f = [nState]float64{sq(tiltSD0), sq(tiltSD0), sq(tinyAngle), sq(velocitySD0), sq(velocitySD0)}
	if s.aided {
		f[2] = sq(headingSD0)
	}
	bias := s.p.BiasSD
	if !s.p.MotionBias {
		// Only rest tells it; without that either, it is held at zero.
		bias = 1e-6
		if s.p.RestBias && slices.Contains(s.rest, true) {
			bias = s.p.BiasSD
		}
	}
	for i := range 3 {
		f[iB+i] = sq(bias)
	}
	return f
}

// outlier is where a velocity's innovation, in σ, begins to weigh less.
const outlier = 3.0

// measure takes in what is known at node k; rec, when not nil, gets every update.
func (s *smoother) measure(k int, x *state, p *cov, rec func(h int, g *state, e, sv float64)) {
	if r := s.r[k]; !math.IsInf(r, 1) {
		for i := range 2 {
			z := s.z[k][i] - s.v[k][i]
			ri := r
			if s.aided {
				// Huber: beyond the limit the weight falls as 1/|e|.
				e := z - x[iV+i]
				if n := math.Abs(e) / math.Sqrt(p[iV+i][iV+i]+r); n > outlier {
					ri = r * n / outlier
				}
			}
			g, e, sv := update(x, p, iV+i, z, ri)
			if rec != nil {
				rec(iV+i, &g, e, sv)
			}
		}
	}
	if k < len(s.bl) && s.rest[k] && s.p.RestBias {
		b := &s.bl[k]
		r := b.gyrVar/3/float64(b.n) + sq(1e-4)
		for i, z := range xyz(r3.Sub(b.rate, s.b[k])) {
			g, e, sv := update(x, p, iB+i, z, r)
			if rec != nil {
				rec(iB+i, &g, e, sv)
			}
		}
	}
}

// forward runs the filter along the path, and keeps what it predicts at each
// node. stepped is called after each block's step, taken after each update.
func (s *smoother) forward(stepped func(k int, st *step), taken func(h int, g *state, e, sv float64)) {
	var x state
	var p cov
	fresh := s.fresh()
	for i := range nState {
		p[i][i] = fresh[i]
	}
	for i := range 2 {
		x[iV+i] = -s.v[0][i]
		if !math.IsInf(s.r[0], 1) {
			x[iV+i] += s.z[0][i]
		}
	}
	for i, b := range xyz(s.b[0]) {
		x[iB+i] = -b
	}
	var st step
	for k := range s.q {
		if k > 0 {
			offset, biasStep := s.transition(k-1, &st)
			st.forward(&x, &p, &offset, &biasStep, &fresh)
			if stepped != nil {
				stepped(k-1, &st)
			}
		}
		s.x[k] = x
		s.pp[k].from(&p)
		s.measure(k, &x, &p, taken)
	}
}

// pass filters forward, smooths backward and moves the path.
func (s *smoother) pass() {
	nis, count := 0.0, 0
	s.forward(nil, func(h int, _ *state, e, sv float64) {
		if h < iB {
			nis += e * e / sv
			count++
		}
	})
	if count > 0 {
		s.nis = nis / float64(count)
	}

	var x state
	var p cov
	var st step
	var a adjoint
	var upd [5]struct {
		h    int
		g    state
		e, s float64
	}
	moved := 0.0
	for k := len(s.q) - 1; k >= 0; k-- {
		x = s.x[k]
		s.pp[k].to(&p)
		n := 0
		s.measure(k, &x, &p, func(h int, g *state, e, sv float64) {
			upd[n].h, upd[n].g, upd[n].e, upd[n].s = h, *g, e, sv
			n++
		})
		var sm state
		for i := range nState {
			sum := 0.0
			for j := range nState {
				sum += p[i][j] * a.l[j]
			}
			sm[i] = x[i] - sum
		}
		s.tilt[k] = a.smoothedVar(&p, 0) + a.smoothedVar(&p, 1)
		s.vv[k] = 0.5 * (a.smoothedVar(&p, iV) + a.smoothedVar(&p, iV+1))
		if s.aided {
			s.turn[k] = a.smoothedVar(&p, 2)
		}
		for n--; n >= 0; n-- {
			a.measure(&upd[n].g, upd[n].h, upd[n].e, upd[n].s)
		}
		if k > 0 {
			s.transition(k-1, &st) // before the path of node k moves
			a.back(&st)
		}
		s.q[k] = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{X: sm[0], Y: sm[1], Z: sm[2]}), s.q[k]))
		moved += sm[0]*sm[0] + sm[1]*sm[1]
		if s.aided { // without aid any heading is as good
			moved += sm[2] * sm[2]
		}
		s.v[k][0] += sm[3]
		s.v[k][1] += sm[4]
		s.b[k] = r3.Add(s.b[k], r3.Vec{X: sm[5], Y: sm[6], Z: sm[7]})
	}
	s.moved = math.Sqrt(moved / float64(len(s.q)))
}
