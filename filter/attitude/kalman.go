package attitude

import (
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// The error state (see the package document): turn of the earth frame φ
// (3, rad), horizontal velocity (2, m/s), gyroscope offset (3, rad/s, sensor
// frame), each as what the path is wrong by.
const (
	nState = 8
	iV     = 3 // first velocity state
	iB     = 5 // first offset state
)

type state [nState]float64

// cov is a symmetric covariance, rows and columns in full.
type cov [nState]state

// A transition takes the error state over a block, x ← F x + offset:
//
//	φ ← φ - B δb
//	v ← v + φ × u - ½ (B δb) × u    (the horizontal rows)
//
// with u = R du and B = R lever, R the attitude at the block's start: an
// error φ tilts the specific force that is integrated.
type transition struct {
	b      mat3
	u      r3.Vec
	onV    [2]r3.Vec // velocity rows of F on the offset: -½ (B e_c) × u
	offset state     // how far the path is from following its own integral
	qPhi   float64   // process variances
	qVel   float64
	qBias  float64
	reset  bool // the block says nothing: attitude and velocity start anew
}

// newTransition is the transition over block b from attitude q, with the
// gyroscope's offset taken out; turn is the block's turn with it taken out.
func newTransition(b *block, q quat.Number, bias r3.Vec) (t transition, turn quat.Number) {
	r := matrix(q)
	t.b = r.mul(&b.lever)
	c := r3.Scale(-1, b.lever.mulVec(bias))
	turn = quat.Mul(rotation.Exp(c), b.turn)
	t.u = r.mulVec(r3.Add(b.du, r3.Scale(0.5, r3.Cross(c, b.du))))
	var h [3]r3.Vec
	for i := range h {
		h[i] = r3.Scale(-0.5, r3.Cross(t.b.column(i), t.u))
	}
	t.onV = [2]r3.Vec{{X: h[0].X, Y: h[1].X, Z: h[2].X}, {X: h[0].Y, Y: h[1].Y, Z: h[2].Y}}
	t.qPhi = sq(gyroNoise)*b.dt + sq(gyroScaleError*b.rms*b.dt) + b.turnVar
	t.qVel = sq(accNoise)*b.dt + b.velVar
	t.qBias = sq(biasWalk) * b.dt
	return t, turn
}

// apply makes x into F x.
func (t *transition) apply(x *state) {
	b, u := &t.b, &t.u
	p0, p1, p2, b0, b1, b2 := x[0], x[1], x[2], x[5], x[6], x[7]
	x[0] = p0 - b[0]*b0 - b[1]*b1 - b[2]*b2
	x[1] = p1 - b[3]*b0 - b[4]*b1 - b[5]*b2
	x[2] = p2 - b[6]*b0 - b[7]*b1 - b[8]*b2
	x[3] += u.Z*p1 - u.Y*p2 + t.onV[0].X*b0 + t.onV[0].Y*b1 + t.onV[0].Z*b2
	x[4] += u.X*p2 - u.Z*p0 + t.onV[1].X*b0 + t.onV[1].Y*b1 + t.onV[1].Z*b2
}

// applyT makes l into Fᵀ l.
func (t *transition) applyT(l *state) {
	b, u := &t.b, &t.u
	l0, l1, l2, v0, v1 := l[0], l[1], l[2], l[3], l[4]
	l[0] -= u.Z * v1
	l[1] += u.Z * v0
	l[2] += u.X*v1 - u.Y*v0
	l[5] += t.onV[0].X*v0 + t.onV[1].X*v1 - b[0]*l0 - b[3]*l1 - b[6]*l2
	l[6] += t.onV[0].Y*v0 + t.onV[1].Y*v1 - b[1]*l0 - b[4]*l1 - b[7]*l2
	l[7] += t.onV[0].Z*v0 + t.onV[1].Z*v1 - b[2]*l0 - b[5]*l1 - b[8]*l2
}

// mirror makes the upper half what the lower is.
func (p *cov) mirror() {
	for i := range nState {
		for j := range i {
			p[j][i] = p[i][j]
		}
	}
}

// anew forgets attitude and velocity, which start with the variances fresh.
func (p *cov) anew(fresh *state) {
	for i := range iB {
		for j := range nState {
			p[i][j], p[j][i] = 0, 0
		}
		p[i][i] = fresh[i]
	}
}

// forward takes mean and covariance over the block: P ← F P Fᵀ + Q.
func (t *transition) forward(x *state, p *cov, fresh *state) {
	if t.reset {
		clear(x[:iB])
		p.anew(fresh)
	} else {
		t.apply(x)
		for i := range p {
			t.apply(&p[i])
		}
		// Now each row is one of P Fᵀ; those of the offset are done, of the others
		// the lower half is left, velocity first, which takes in the old turn.
		b, u := &t.b, &t.u
		for j := range iB {
			w0, w1, w2 := p[iB][j], p[iB+1][j], p[iB+2][j]
			m0, m1, m2 := p[0][j], p[1][j], p[2][j]
			p[3][j] += u.Z*m1 - u.Y*m2 + t.onV[0].X*w0 + t.onV[0].Y*w1 + t.onV[0].Z*w2
			p[4][j] += u.X*m2 - u.Z*m0 + t.onV[1].X*w0 + t.onV[1].Y*w1 + t.onV[1].Z*w2
			p[0][j] = m0 - b[0]*w0 - b[1]*w1 - b[2]*w2
			p[1][j] = m1 - b[3]*w0 - b[4]*w1 - b[5]*w2
			p[2][j] = m2 - b[6]*w0 - b[7]*w1 - b[8]*w2
		}
		p.mirror()
		for i := range 3 {
			p[i][i] += t.qPhi
		}
		p[iV][iV] += t.qVel
		p[iV+1][iV+1] += t.qVel
	}
	for i := range x {
		x[i] += t.offset[i]
	}
	for i := iB; i < nState; i++ {
		p[i][i] += t.qBias
	}
}

// A update is a scalar measurement taken in: of which state, with its gain,
// innovation and innovation variance.
type update struct {
	h    int
	k    state
	e, s float64
}

// take takes a measurement z of state h with variance r into mean and covariance.
func (m *update) take(x *state, p *cov, h int, z, r float64) {
	m.h, m.e, m.s = h, z-x[h], p[h][h]+r
	inv := 1 / m.s
	row := p[h]
	for i := range x {
		ki := row[i] * inv
		m.k[i] = ki
		x[i] += ki * m.e
		pi := &p[i]
		for j := range pi {
			pi[j] -= ki * row[j]
		}
	}
}

// An adjoint is the filter's, by which Bryson and Frazier's smoother goes
// back: l and m sum what later measurements say, so that
//
//	smoothed x = x - P l,   smoothed P = P - P m P.
type adjoint struct {
	l state
	m cov
}

// dot is written out, in two chains: the smoother spends a third of its time here.
func dot(a, b *state) float64 {
	return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] + a[3]*b[3] + (a[4]*b[4] + a[5]*b[5] + a[6]*b[6] + a[7]*b[7])
}

// measure takes the adjoint back over a measurement.
func (a *adjoint) measure(u *update) {
	var mk state
	for i := range mk {
		mk[i] = dot(&a.m[i], &u.k)
	}
	a.l[u.h] -= dot(&u.k, &a.l) + u.e/u.s
	for i := range mk {
		a.m[u.h][i] -= mk[i]
		a.m[i][u.h] -= mk[i]
	}
	a.m[u.h][u.h] += dot(&u.k, &mk) + 1/u.s
}

// back takes the adjoint back over a block: l ← Fᵀ l, m ← Fᵀ m F.
func (a *adjoint) back(t *transition) {
	if t.reset {
		clear(a.l[:iB])
		a.m.anew(&state{})
		return
	}
	t.applyT(&a.l)
	for i := range a.m {
		t.applyT(&a.m[i])
	}
	// Now each row is one of m F; those of the velocity are done.
	m, b, u := &a.m, &t.b, &t.u
	for j := range nState {
		v0, v1 := m[iV][j], m[iV+1][j]
		l0, l1, l2 := m[0][j], m[1][j], m[2][j]
		m[0][j] = l0 - u.Z*v1
		m[1][j] = l1 + u.Z*v0
		m[2][j] = l2 + u.X*v1 - u.Y*v0
		m[5][j] += t.onV[0].X*v0 + t.onV[1].X*v1 - b[0]*l0 - b[3]*l1 - b[6]*l2
		m[6][j] += t.onV[0].Y*v0 + t.onV[1].Y*v1 - b[1]*l0 - b[4]*l1 - b[7]*l2
		m[7][j] += t.onV[0].Z*v0 + t.onV[1].Z*v1 - b[2]*l0 - b[5]*l1 - b[8]*l2
	}
	m.mirror()
}

// variance is the smoothed variance of state i.
func (a *adjoint) variance(p *cov, i int) float64 {
	row, left := &p[i], p[i][i]
	for r := range row {
		left -= row[r] * dot(&a.m[r], row)
	}
	return max(left, 0)
}

// mean is the smoothed state.
func (a *adjoint) mean(x *state, p *cov) (s state) {
	for i := range s {
		s[i] = x[i] - dot(&p[i], &a.l)
	}
	return s
}
