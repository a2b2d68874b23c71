package attitude

import "math"

type vec = [3]float64

// mat is a 3×3 matrix, row major.
type mat = [9]float64

// Mul returns the Hamilton product a ⊗ b: first b's turn, then a's.
func (a Quat) Mul(b Quat) Quat {
	return Quat{
		a.W*b.W - a.X*b.X - a.Y*b.Y - a.Z*b.Z,
		a.W*b.X + a.X*b.W + a.Y*b.Z - a.Z*b.Y,
		a.W*b.Y - a.X*b.Z + a.Y*b.W + a.Z*b.X,
		a.W*b.Z + a.X*b.Y - a.Y*b.X + a.Z*b.W,
	}
}

// Conj returns the inverse turn.
func (a Quat) Conj() Quat { return Quat{a.W, -a.X, -a.Y, -a.Z} }

// Unit returns a scaled to length one.
func (a Quat) Unit() Quat {
	n := 1 / math.Sqrt(a.W*a.W+a.X*a.X+a.Y*a.Y+a.Z*a.Z)
	return Quat{a.W * n, a.X * n, a.Y * n, a.Z * n}
}

// Rotate returns v turned from the sensor frame into the earth frame.
func (a Quat) Rotate(v [3]float64) [3]float64 {
	m := a.matrix()
	return mulVec(&m, v)
}

// matrix returns the rotation matrix of a unit quaternion.
func (a Quat) matrix() mat {
	xx, yy, zz := a.X*a.X, a.Y*a.Y, a.Z*a.Z
	xy, xz, yz := a.X*a.Y, a.X*a.Z, a.Y*a.Z
	wx, wy, wz := a.W*a.X, a.W*a.Y, a.W*a.Z
	return mat{
		1 - 2*(yy+zz), 2 * (xy - wz), 2 * (xz + wy),
		2 * (xy + wz), 1 - 2*(xx+zz), 2 * (yz - wx),
		2 * (xz - wy), 2 * (yz + wx), 1 - 2*(xx+yy),
	}
}

// rotExp returns the quaternion of the rotation vector (x, y, z), rad.
// Under half a radian it takes the series
//
//	sin(t/2)/t = 1/2 - t²/48 + t⁴/3840
//	cos(t/2)   = 1 - t²/8 + t⁴/384 - t⁶/46080
//
// whose error is below 1e-9 there.
func rotExp(x, y, z float64) Quat {
	t2 := x*x + y*y + z*z
	if t2 < 0.25 {
		s := 0.5 + t2*(-1.0/48+t2*(1.0/3840-t2*(1.0/645120)))
		c := 1 + t2*(-1.0/8+t2*(1.0/384-t2*(1.0/46080)))
		return Quat{c, s * x, s * y, s * z}
	}
	t := math.Sqrt(t2)
	sin, cos := math.Sincos(t / 2)
	s := sin / t
	return Quat{cos, s * x, s * y, s * z}
}

// rotLog is rotExp's inverse: the rotation vector of the shorter way round, rad.
func rotLog(q Quat) vec {
	if q.W < 0 {
		q = Quat{-q.W, -q.X, -q.Y, -q.Z}
	}
	n := math.Sqrt(q.X*q.X + q.Y*q.Y + q.Z*q.Z)
	s := 2.0
	if n > 1e-6 {
		s = 2 * math.Atan2(n, q.W) / n
	}
	return vec{s * q.X, s * q.Y, s * q.Z}
}

// levelling returns the smallest turn that brings u onto the z axis; no turn
// for a zero vector.
func levelling(u vec) Quat {
	h := math.Hypot(u[0], u[1])
	if h == 0 {
		if u[2] < 0 {
			return Quat{0, 1, 0, 0}
		}
		return Quat{W: 1}
	}
	a := math.Atan2(h, u[2]) / h
	return rotExp(u[1]*a, -u[0]*a, 0)
}

func mulVec(m *mat, v vec) vec {
	return vec{
		m[0]*v[0] + m[1]*v[1] + m[2]*v[2],
		m[3]*v[0] + m[4]*v[1] + m[5]*v[2],
		m[6]*v[0] + m[7]*v[1] + m[8]*v[2],
	}
}

func mulMat(a, b *mat) mat {
	var c mat
	for i := range 3 {
		for j := range 3 {
			c[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	return c
}

func cross(a, b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func add(a, b vec) vec               { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func sub(a, b vec) vec               { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func scale(a vec, s float64) vec     { return vec{a[0] * s, a[1] * s, a[2] * s} }
func norm(a vec) float64             { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
func addTo(a *vec, b vec, s float64) { a[0] += s * b[0]; a[1] += s * b[1]; a[2] += s * b[2] }
