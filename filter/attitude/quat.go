package attitude

import (
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// mat is a 3×3 matrix, row major; r3.Mat lies on the heap, a block's five may not.
type mat [9]float64

// matrix returns the rotation matrix of a unit quaternion.
func matrix(a quat.Number) mat {
	xx, yy, zz := a.Imag*a.Imag, a.Jmag*a.Jmag, a.Kmag*a.Kmag
	xy, xz, yz := a.Imag*a.Jmag, a.Imag*a.Kmag, a.Jmag*a.Kmag
	wx, wy, wz := a.Real*a.Imag, a.Real*a.Jmag, a.Real*a.Kmag
	return mat{
		1 - 2*(yy+zz), 2 * (xy - wz), 2 * (xz + wy),
		2 * (xy + wz), 1 - 2*(xx+zz), 2 * (yz - wx),
		2 * (xz - wy), 2 * (yz + wx), 1 - 2*(xx+yy),
	}
}

func (m *mat) mulVec(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: m[0]*v.X + m[1]*v.Y + m[2]*v.Z,
		Y: m[3]*v.X + m[4]*v.Y + m[5]*v.Z,
		Z: m[6]*v.X + m[7]*v.Y + m[8]*v.Z,
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

// levelling returns the smallest turn that brings u onto the z axis; no turn
// for a zero vector.
func levelling(u r3.Vec) quat.Number {
	if u == (r3.Vec{}) {
		return quat.Number{Real: 1}
	}
	return rotation.Between(r3.Unit(u), r3.Vec{Z: 1})
}

func xyz(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
