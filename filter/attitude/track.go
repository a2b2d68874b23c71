// Package attitude estimates a sensor's orientation from gyroscope and
// accelerometer with a complementary filter on quaternions, aided by GPS
// velocity where there is one.
//
// It imports filter and the standard library only, and knows no Log.
package attitude

// A Quat is a unit quaternion that turns sensor-frame vectors into the
// earth frame: v_earth = q ⊗ v_sensor ⊗ q*. The earth frame is east-north-up
// when the heading is known, else any frame with z up.
type Quat struct{ W, X, Y, Z float64 }

// Samples are the inertial measurements, one column per axis.
type Samples struct {
	Time []float64    // s, strictly increasing; gaps allowed
	Acc  [3][]float32 // specific force, m/s²
	Gyr  [3][]float32 // rad/s
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
	Q    []Quat
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
	// Bias is the gyroscope bias per segment midpoint, rad/s.
	Bias [][3]float64
}
