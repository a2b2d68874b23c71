package attitude

import (
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// mat3 is a 3×3 matrix, row major. It is not an r3.Mat, which lies on the heap:
// there are three in every block.
type mat3 [9]float64

// matrix returns the rotation matrix of a unit quaternion.
func matrix(q quat.Number) mat3 {
	xx, yy, zz := q.Imag*q.Imag, q.Jmag*q.Jmag, q.Kmag*q.Kmag
	xy, xz, yz := q.Imag*q.Jmag, q.Imag*q.Kmag, q.Jmag*q.Kmag
	wx, wy, wz := q.Real*q.Imag, q.Real*q.Jmag, q.Real*q.Kmag
	return mat3{
		1 - 2*(yy+zz), 2 * (xy - wz), 2 * (xz + wy),
		2 * (xy + wz), 1 - 2*(xx+zz), 2 * (yz - wx),
		2 * (xz - wy), 2 * (yz + wx), 1 - 2*(xx+yy),
	}
}

func (m *mat3) mulVec(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: m[0]*v.X + m[1]*v.Y + m[2]*v.Z,
		Y: m[3]*v.X + m[4]*v.Y + m[5]*v.Z,
		Z: m[6]*v.X + m[7]*v.Y + m[8]*v.Z,
	}
}

func (m *mat3) mul(b *mat3) mat3 {
	var c mat3
	for i := 0; i < 9; i += 3 {
		for j := range 3 {
			c[i+j] = m[i]*b[j] + m[i+1]*b[3+j] + m[i+2]*b[6+j]
		}
	}
	return c
}

// column is column i of m.
func (m *mat3) column(i int) r3.Vec { return r3.Vec{X: m[i], Y: m[3+i], Z: m[6+i]} }

// xyz is v as an array, for loops over its axes.
func xyz(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func dist(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

func sq(x float64) float64 { return x * x }
