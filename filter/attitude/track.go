// Package attitude estimates a sensor's orientation from gyroscope and
// accelerometer with a complementary filter on quaternions, aided by GPS
// velocity where there is one.
//
// It imports filter and the standard library only, and knows no Log.
package attitude

import (
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Samples are the inertial measurements, one column per axis.
type Samples struct {
	Time []float64    // s, strictly increasing; gaps allowed
	Acc  [3][]float32 // specific force, m/s²
	Gyr  [3][]float32 // rad/s
}

// AccAt is the specific force at sample i, m/s².
func (s *Samples) AccAt(i int) r3.Vec { return at(&s.Acc, i) }

// GyrAt is the rate at sample i, rad/s.
func (s *Samples) GyrAt(i int) r3.Vec { return at(&s.Gyr, i) }

func at(c *[3][]float32, i int) r3.Vec {
	return r3.Vec{X: float64(c[0][i]), Y: float64(c[1][i]), Z: float64(c[2][i])}
}

// An Aid is the velocity over ground that the accelerations are told from.
type Aid struct {
	Time  []float64 // s, the samples' clock; strictly increasing
	East  []float64 // m/s; NaN for a fix that is not to be used
	North []float64 // m/s
	SD    float64   // 1σ of each velocity component, m/s
}

// A Track is the estimate, one per sample.
type Track struct {
	Time []float64
	// Q are unit quaternions that turn sensor-frame vectors into the earth
	// frame, v_earth = q ⊗ v_sensor ⊗ q*: east-north-up when the heading is
	// known, else any frame with z up.
	Q []quat.Number
	// SE is the standard error of inclination at each sample, rad: the root
	// mean square angle between the estimated and the true vertical, √2 times
	// that of pitch or heel alone. π where nothing is known.
	SE []float32
	// HeadingKnown says that the earth frame is east-north-up.
	HeadingKnown bool
	// LatencyS is how late the velocity aid was found to be, s (0 when unaided).
	LatencyS float64
	// Segments are index ranges [from, to) with no gap that had to reset the filter.
	Segments [][2]int
	// Rest are index ranges [from, to) in which the sensor lies still.
	Rest [][2]int
	// Bias is the gyroscope bias per segment midpoint, rad/s.
	Bias []r3.Vec
}
