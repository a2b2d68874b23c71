package attitude

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Bias is the gyroscope's offset, rad/s.
func (f *Filter) Bias() r3.Vec { return f.bias }

// TiltSE is the standard error of the inclination that the filter reckons
// with, rad.
func (f *Filter) TiltSE() float64 { return math.Sqrt(f.cov[0][0] + f.cov[1][1]) }
