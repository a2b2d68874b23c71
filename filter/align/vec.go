package align

import (
	"math"

	"evenfoot/filter/attitude"
)

// A vec is a vector in three dimensions.
type vec [3]float64

func (a vec) add(b vec) vec       { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec       { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) scale(k float64) vec { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) norm() float64       { return math.Sqrt(a.dot(a)) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// unit is a at length 1; z for a vector without direction.
func (a vec) unit() vec {
	n := a.norm()
	if !(n > 1e-12) {
		return vec{0, 0, 1}
	}
	return a.scale(1 / n)
}

// mul is the Hamilton product: b's turn, then a's.
func mul(a, b attitude.Quat) attitude.Quat {
	return attitude.Quat{
		W: a.W*b.W - a.X*b.X - a.Y*b.Y - a.Z*b.Z,
		X: a.W*b.X + a.X*b.W + a.Y*b.Z - a.Z*b.Y,
		Y: a.W*b.Y - a.X*b.Z + a.Y*b.W + a.Z*b.X,
		Z: a.W*b.Z + a.X*b.Y - a.Y*b.X + a.Z*b.W,
	}
}

func conj(q attitude.Quat) attitude.Quat {
	return attitude.Quat{W: q.W, X: -q.X, Y: -q.Y, Z: -q.Z}
}

func normalize(q attitude.Quat) attitude.Quat {
	n := math.Sqrt(q.W*q.W + q.X*q.X + q.Y*q.Y + q.Z*q.Z)
	if !(n > 0) {
		return attitude.Quat{W: 1}
	}
	return attitude.Quat{W: q.W / n, X: q.X / n, Y: q.Y / n, Z: q.Z / n}
}

// rotate turns v by q.
func rotate(q attitude.Quat, v vec) vec {
	// v + 2 w (u × v) + 2 u × (u × v)
	u := vec{q.X, q.Y, q.Z}
	t := u.cross(v).scale(2)
	return v.add(t.scale(q.W)).add(u.cross(t))
}

// expQuat is the turn by the rotation vector w, rad.
func expQuat(w vec) attitude.Quat {
	a := w.norm()
	if a < 1e-9 {
		return attitude.Quat{W: 1, X: w[0] / 2, Y: w[1] / 2, Z: w[2] / 2}
	}
	s := math.Sin(a/2) / a
	return attitude.Quat{W: math.Cos(a / 2), X: w[0] * s, Y: w[1] * s, Z: w[2] * s}
}

// rotationVector is the rotation vector of q, of length 0..π rad.
func rotationVector(q attitude.Quat) vec {
	if q.W < 0 {
		q = attitude.Quat{W: -q.W, X: -q.X, Y: -q.Y, Z: -q.Z}
	}
	v := vec{q.X, q.Y, q.Z}
	s := v.norm()
	if s < 1e-12 {
		return v.scale(2)
	}
	return v.scale(2 * math.Atan2(s, q.W) / s)
}

// fromAxes is the turn that takes sensor vectors to a frame whose axes, in
// the sensor's frame, are x, y and z (orthonormal, right-handed).
func fromAxes(x, y, z vec) attitude.Quat {
	m := [3]vec{x, y, z} // rows: the frame's axes
	tr := m[0][0] + m[1][1] + m[2][2]
	var q attitude.Quat
	switch {
	case tr > 0:
		s := 2 * math.Sqrt(tr+1)
		q = attitude.Quat{W: s / 4, X: (m[2][1] - m[1][2]) / s, Y: (m[0][2] - m[2][0]) / s, Z: (m[1][0] - m[0][1]) / s}
	case m[0][0] > m[1][1] && m[0][0] > m[2][2]:
		s := 2 * math.Sqrt(1+m[0][0]-m[1][1]-m[2][2])
		q = attitude.Quat{W: (m[2][1] - m[1][2]) / s, X: s / 4, Y: (m[0][1] + m[1][0]) / s, Z: (m[0][2] + m[2][0]) / s}
	case m[1][1] > m[2][2]:
		s := 2 * math.Sqrt(1+m[1][1]-m[0][0]-m[2][2])
		q = attitude.Quat{W: (m[0][2] - m[2][0]) / s, X: (m[0][1] + m[1][0]) / s, Y: s / 4, Z: (m[1][2] + m[2][1]) / s}
	default:
		s := 2 * math.Sqrt(1+m[2][2]-m[0][0]-m[1][1])
		q = attitude.Quat{W: (m[1][0] - m[0][1]) / s, X: (m[0][2] + m[2][0]) / s, Y: (m[1][2] + m[2][1]) / s, Z: s / 4}
	}
	return normalize(q)
}

// wrapPi brings an angle into −π..π.
func wrapPi(a float64) float64 { return math.Remainder(a, 2*math.Pi) }
