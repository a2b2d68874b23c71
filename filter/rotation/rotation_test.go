package rotation_test

import (
	"math"
	"testing"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

func vec(t *rapid.T, name string) r3.Vec {
	x := rapid.Float64Range(-1.8, 1.8)
	return r3.Vec{X: x.Draw(t, name+" x"), Y: x.Draw(t, name+" y"), Z: x.Draw(t, name+" z")}
}

// Against gonum's own exponential and its rotation by products.
func TestAgainstGonum(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v, x := vec(t, "turn"), vec(t, "vector")
		q := rotation.Exp(v)
		if d := quat.Abs(quat.Sub(q, quat.Exp(quat.Number{Imag: v.X / 2, Jmag: v.Y / 2, Kmag: v.Z / 2}))); d > 1e-9 {
			t.Errorf("Exp(%v) is off by %g", v, d)
		}
		if d := r3.Norm(r3.Sub(rotation.Log(quat.Scale(-1, q)), v)); r3.Norm(v) < 3.1 && d > 1e-8 {
			t.Errorf("Log(Exp(%v)) is off by %g", v, d)
		}
		q = rotation.Unit(q)
		if d := r3.Norm(r3.Sub(rotation.Rotate(q, x), r3.Rotation(q).Rotate(x))); d > 1e-12 {
			t.Errorf("Rotate(%v, %v) is off by %g", q, x, d)
		}
		if n := r3.Norm(x); n > 0.01 {
			a, b := r3.Scale(1/n, x), rotation.Rotate(q, r3.Scale(1/n, x))
			s := rotation.Between(a, b)
			if d := r3.Norm(r3.Sub(rotation.Rotate(s, a), b)); d > 1e-7 {
				t.Errorf("Between(%v, %v) misses by %g", a, b, d)
			}
			if angle := r3.Norm(rotation.Log(s)); math.Abs(math.Cos(angle)-r3.Dot(a, b)) > 1e-7 {
				t.Errorf("Between(%v, %v) goes %g rad round", a, b, angle)
			}
		}
	})
}

func TestNoDirection(t *testing.T) {
	t.Parallel()
	if q := rotation.Unit(quat.Number{}); q != (quat.Number{Real: 1}) {
		t.Errorf("Unit of zero is %v", q)
	}
	if q := rotation.Upright(r3.Vec{}); q != (quat.Number{Real: 1}) {
		t.Errorf("Upright of zero is %v", q)
	}
	if v := rotation.Rotate(rotation.Upright(r3.Vec{X: 3, Z: -4}), r3.Vec{X: 3, Z: -4}); r3.Norm(r3.Sub(v, r3.Vec{Z: 5})) > 1e-12 {
		t.Errorf("Upright turns it to %v", v)
	}
	for _, a := range []r3.Vec{{X: 1}, {Y: -1}, {Z: 1}} {
		if d := r3.Norm(r3.Add(a, rotation.Rotate(rotation.Between(a, r3.Scale(-1, a)), a))); d > 1e-12 {
			t.Errorf("Between opposites of %v misses by %g", a, d)
		}
	}
}
