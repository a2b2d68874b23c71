// Package rotation holds the few turns that gonum's unit quaternions
// (num/quat) and vectors (spatial/r3) do not bring: to and from rotation
// vectors, the shortest ones, length one. A unit quaternion q turns v into
// q ⊗ v ⊗ q*; of a product the right factor turns first.
//
// It imports gonum only.
package rotation

import (
	"math"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Exp is the turn by the rotation vector v, rad. Under half a radian it takes
// the series
//
//	sin(t/2)/t = 1/2 - t²/48 + t⁴/3840 - …
//	cos(t/2)   = 1 - t²/8 + t⁴/384 - …
//
// whose error is below 1e-9 there.
func Exp(v r3.Vec) quat.Number {
	t2 := v.X*v.X + v.Y*v.Y + v.Z*v.Z
	var c, s float64
	if t2 < 0.25 {
		s = 0.5 + t2*(-1.0/48+t2*(1.0/3840-t2*(1.0/645120)))
		c = 1 + t2*(-1.0/8+t2*(1.0/384-t2*(1.0/46080)))
	} else {
		t := math.Sqrt(t2)
		s, c = math.Sincos(t / 2)
		s /= t
	}
	return quat.Number{Real: c, Imag: s * v.X, Jmag: s * v.Y, Kmag: s * v.Z}
}

// Log is Exp's inverse: the rotation vector of the shorter way round, of
// length 0 to π rad. Under 4° it takes the series of the arc tangent, exact to
// 1e-16 there.
func Log(q quat.Number) r3.Vec {
	if q.Real < 0 {
		q = quat.Scale(-1, q)
	}
	n2 := q.Imag*q.Imag + q.Jmag*q.Jmag + q.Kmag*q.Kmag
	var s float64
	if x2 := n2 / (q.Real * q.Real); x2 < 1e-3 {
		s = 2 / q.Real * (1 - x2*(1.0/3-x2*(1.0/5-x2*(1.0/7-x2*(1.0/9)))))
	} else if n := math.Sqrt(n2); n > 0 {
		s = 2 * math.Atan2(n, q.Real) / n
	}
	return r3.Vec{X: s * q.Imag, Y: s * q.Jmag, Z: s * q.Kmag}
}

// Unit is q scaled to length one; no turn for a zero quaternion.
func Unit(q quat.Number) quat.Number {
	n := math.Sqrt(q.Real*q.Real + q.Imag*q.Imag + q.Jmag*q.Jmag + q.Kmag*q.Kmag)
	if !(n > 0) {
		return quat.Number{Real: 1}
	}
	return quat.Scale(1/n, q)
}

// Rotate turns v by the unit quaternion q.
func Rotate(q quat.Number, v r3.Vec) r3.Vec {
	// v + 2 w (u × v) + 2 u × (u × v), half the work of q ⊗ v ⊗ q*
	u := r3.Vec{X: q.Imag, Y: q.Jmag, Z: q.Kmag}
	t := r3.Scale(2, r3.Cross(u, v))
	return r3.Add(r3.Add(v, r3.Scale(q.Real, t)), r3.Cross(u, t))
}

// Direction is v at length one; z for a vector without direction.
func Direction(v r3.Vec) r3.Vec {
	n := r3.Norm(v)
	if !(n > 1e-12) {
		return r3.Vec{Z: 1}
	}
	return r3.Scale(1/n, v)
}

// Upright is the shortest turn that brings v to z; no turn for a vector without
// direction.
func Upright(v r3.Vec) quat.Number { return Between(Direction(v), r3.Vec{Z: 1}) }

// Between is the shortest turn from the direction of unit vector a to that of b.
func Between(a, b r3.Vec) quat.Number {
	w := 1 + r3.Dot(a, b)
	if w > 1e-9 {
		c := r3.Cross(a, b)
		return Unit(quat.Number{Real: w, Imag: c.X, Jmag: c.Y, Kmag: c.Z})
	}
	// Opposite: half a turn about any axis square to a.
	c := r3.Cross(a, r3.Vec{X: 1})
	if r3.Norm(c) < 0.5 {
		c = r3.Cross(a, r3.Vec{Y: 1})
	}
	return Unit(quat.Number{Imag: c.X, Jmag: c.Y, Kmag: c.Z})
}
