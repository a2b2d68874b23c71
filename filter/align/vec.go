package align

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// unit is a at length 1; z for a vector without direction.
func unit(a r3.Vec) r3.Vec {
	if !(r3.Norm(a) > 1e-12) {
		return r3.Vec{Z: 1}
	}
	return r3.Unit(a)
}

// wrapPi brings an angle into −π..π.
func wrapPi(a float64) float64 { return math.Remainder(a, 2*math.Pi) }
