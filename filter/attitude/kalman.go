package attitude

import (
	"gonum.org/v1/gonum/spatial/r3"
)

// The correction step is a Kalman filter of the errors of a given path, eight
// states: turn of the earth frame φ (3, rad), horizontal velocity (2, m/s),
// gyroscope offset (3, rad/s, sensor frame). Over a block that starts at
// attitude R, with U = R du and B = R lever,
//
//	φ' = φ - B δb
//	v' = v + (φ - ½ B δb) × U      (the horizontal rows)
//	b' = b
//
// because an error φ tilts the specific force that is integrated.
const nState = 8

const (
	iV = 3 // first velocity state
	iB = 5 // first offset state
)

// cov is a symmetric covariance, rows and columns in full.
type cov [nState][nState]float64

type state [nState]float64

// A step is one block's transition of the error state.
type step struct {
	b     mat    // R lever
	u     r3.Vec // R du
	reset bool
	qPhi  float64 // process variances
	qVel  float64
	qBias float64
}

// rows of F other than identity: dPhi[i][c] on b, velocity on φ and on b.
func (s *step) velocityRows() (onPhi [2][3]float64, onB [2][3]float64) {
	u := &s.u
	// φ × U: x: φy uz - φz uy, y: φz ux - φx uz
	onPhi = [2][3]float64{{0, u.Z, -u.Y}, {-u.Z, 0, u.X}}
	for c := range 3 {
		bx, by, bz := s.b[c], s.b[3+c], s.b[6+c]
		onB[0][c] = -0.5 * (by*u.Z - bz*u.Y)
		onB[1][c] = -0.5 * (bz*u.X - bx*u.Z)
	}
	return onPhi, onB
}

// forward takes mean and covariance over the block.
func (s *step) forward(x *state, p *cov, offset *[5]float64, biasStep *r3.Vec, fresh *[nState]float64) {
	bias := xyz(*biasStep)
	if s.reset {
		for i := range iB {
			x[i] = offset[i]
			for j := range nState {
				p[i][j], p[j][i] = 0, 0
			}
			p[i][i] = fresh[i]
		}
		for i := range 3 {
			x[iB+i] += bias[i]
			p[iB+i][iB+i] += s.qBias
		}
		return
	}
	onPhi, onB := s.velocityRows()
	b := &s.b
	// F P, row by row; velocity rows first, they need the old φ.
	var old cov
	for j := range nState {
		p0, p1, p2 := p[0][j], p[1][j], p[2][j]
		b0, b1, b2 := p[5][j], p[6][j], p[7][j]
		old[3][j] = p[3][j] + onPhi[0][1]*p1 + onPhi[0][2]*p2 + onB[0][0]*b0 + onB[0][1]*b1 + onB[0][2]*b2
		old[4][j] = p[4][j] + onPhi[1][0]*p0 + onPhi[1][2]*p2 + onB[1][0]*b0 + onB[1][1]*b1 + onB[1][2]*b2
		old[0][j] = p0 - b[0]*b0 - b[1]*b1 - b[2]*b2
		old[1][j] = p1 - b[3]*b0 - b[4]*b1 - b[5]*b2
		old[2][j] = p2 - b[6]*b0 - b[7]*b1 - b[8]*b2
		old[5][j], old[6][j], old[7][j] = b0, b1, b2
	}
	// (F P) Fᵀ, upper half.
	for i := range nState {
		o := &old[i]
		n0 := o[0] - b[0]*o[5] - b[1]*o[6] - b[2]*o[7]
		n1 := o[1] - b[3]*o[5] - b[4]*o[6] - b[5]*o[7]
		n2 := o[2] - b[6]*o[5] - b[7]*o[6] - b[8]*o[7]
		n3 := o[3] + onPhi[0][1]*o[1] + onPhi[0][2]*o[2] + onB[0][0]*o[5] + onB[0][1]*o[6] + onB[0][2]*o[7]
		n4 := o[4] + onPhi[1][0]*o[0] + onPhi[1][2]*o[2] + onB[1][0]*o[5] + onB[1][1]*o[6] + onB[1][2]*o[7]
		p[i] = [nState]float64{n0, n1, n2, n3, n4, o[5], o[6], o[7]}
	}
	for i := range nState {
		for j := range i {
			m := 0.5 * (p[i][j] + p[j][i])
			p[i][j], p[j][i] = m, m
		}
	}
	*x = s.mean(x)
	for i := range 5 {
		x[i] += offset[i]
	}
	for i := range 3 {
		x[iB+i] += bias[i]
		p[i][i] += s.qPhi
		p[iB+i][iB+i] += s.qBias
	}
	p[3][3] += s.qVel
	p[4][4] += s.qVel
}

// mean is F x.
func (s *step) mean(x *state) state {
	onPhi, onB := s.velocityRows()
	b := &s.b
	n := *x
	n[0] -= b[0]*x[5] + b[1]*x[6] + b[2]*x[7]
	n[1] -= b[3]*x[5] + b[4]*x[6] + b[5]*x[7]
	n[2] -= b[6]*x[5] + b[7]*x[6] + b[8]*x[7]
	for r := range 2 {
		for c := range 3 {
			n[iV+r] += onPhi[r][c]*x[c] + onB[r][c]*x[iB+c]
		}
	}
	return n
}

// update takes in a scalar measurement z of state h with variance r, and
// returns its gain, innovation and innovation variance.
func update(x *state, p *cov, h int, z, r float64) (k state, e, s float64) {
	s = p[h][h] + r
	e = z - x[h]
	inv := 1 / s
	row := p[h]
	for i := range nState {
		k[i] = row[i] * inv
		x[i] += k[i] * e
	}
	for i := range nState {
		ki := k[i]
		pi := &p[i]
		for j := range nState {
			pi[j] -= ki * row[j]
		}
	}
	return k, e, s
}

// backward is the adjoint of the filter (Bryson and Frazier's smoother): l and
// m sum what later measurements say, so that
//
//	smoothed x = x - P l,   smoothed P = P - P m P.
type adjoint struct {
	l state
	m cov
}

// measure takes the adjoint back over a measurement.
func (a *adjoint) measure(k *state, h int, e, s float64) {
	var mk state
	kl, kmk := 0.0, 0.0
	for i := range nState {
		sum := 0.0
		for j := range nState {
			sum += a.m[i][j] * k[j]
		}
		mk[i] = sum
		kl += k[i] * a.l[i]
		kmk += k[i] * sum
	}
	a.l[h] -= kl + e/s
	for i := range nState {
		a.m[h][i] -= mk[i]
		a.m[i][h] -= mk[i]
	}
	a.m[h][h] += kmk + 1/s
}

// back takes the adjoint back over a block: l ← Fᵀ l, m ← Fᵀ m F.
func (a *adjoint) back(s *step) {
	if s.reset {
		for i := range iB {
			a.l[i] = 0
			for j := range nState {
				a.m[i][j], a.m[j][i] = 0, 0
			}
		}
		return
	}
	onPhi, onB := s.velocityRows()
	b := &s.b
	l := a.l
	for c := range 3 {
		a.l[c] += onPhi[0][c]*l[3] + onPhi[1][c]*l[4]
		a.l[iB+c] += onB[0][c]*l[3] + onB[1][c]*l[4] - b[c]*l[0] - b[3+c]*l[1] - b[6+c]*l[2]
	}
	// m F: columns.
	for i := range nState {
		o := &a.m[i]
		m0, m1, m2, m3, m4 := o[0], o[1], o[2], o[3], o[4]
		for c := range 3 {
			o[c] += onPhi[0][c]*m3 + onPhi[1][c]*m4
			o[iB+c] += onB[0][c]*m3 + onB[1][c]*m4 - b[c]*m0 - b[3+c]*m1 - b[6+c]*m2
		}
	}
	// Fᵀ (m F): rows.
	for j := range nState {
		m0, m1, m2, m3, m4 := a.m[0][j], a.m[1][j], a.m[2][j], a.m[3][j], a.m[4][j]
		for c := range 3 {
			a.m[c][j] += onPhi[0][c]*m3 + onPhi[1][c]*m4
			a.m[iB+c][j] += onB[0][c]*m3 + onB[1][c]*m4 - b[c]*m0 - b[3+c]*m1 - b[6+c]*m2
		}
	}
	for i := range nState {
		for j := range i {
			m := 0.5 * (a.m[i][j] + a.m[j][i])
			a.m[i][j], a.m[j][i] = m, m
		}
	}
}

// smoothedVar is the smoothed variance of state i.
func (a *adjoint) smoothedVar(p *cov, i int) float64 {
	row := &p[i]
	taken := 0.0
	for r := range nState {
		m := &a.m[r]
		sum := 0.5 * m[r] * row[r]
		for c := range r {
			sum += m[c] * row[c]
		}
		taken += row[r] * sum
	}
	return max(p[i][i]-2*taken, 0)
}
