// Package align turns a sensor's attitude into the board's: which way the
// sensor is mounted, whether it stays put, where level is, and how its clock
// stands to the GPS clock.
//
// It imports filter, filter/attitude, filter/rotation and gonum.
package align

import (
	"sort"

	"evenfoot/filter/attitude"

	"gonum.org/v1/gonum/num/quat"
)

// A Mount is how the sensor sits on the board. Board axes: x to the bow, y to
// port, z up through the deck.
type Mount struct {
	ToBoard quat.Number // turns sensor-frame vectors into the board frame
	// Heading is from the bow to the sensor's x axis, about up,
	// counter-clockwise seen from above, -π..π rad: π/2 for an x axis that
	// points to port. NaN when not known.
	Heading   float64
	HeadingSE float64 // 1σ, rad; NaN when the heading is not known
	Tilt      float64 // angle between the sensor's nearest axis and the deck normal, rad
	// AccelerometerSign is -1 when the logger reports the opposite convention
	// (already corrected in everything that follows), else +1.
	AccelerometerSign int
	GyroscopeSign     int
	LevelZero         bool    // pitch is absolute: a level stretch or the setup gave the zero
	LevelFrom         Finding // how, or why there is none
	LevelSE           float64 // 1σ of the zero, rad; NaN when relative
	Rigid             bool
	Why               Finding // why the mount was refused; none when it was not
}

// Motion is the board's own motion, one value a sample. Angles in radians:
// pitch bow-up, heel starboard side down.
type Motion struct {
	Time      []float64
	Pitch     []float32 // rad; relative to an unknown constant unless Mount.LevelZero
	Heel      []float32 // rad
	PitchSE   []float32 // 1σ of each sample's pitch, rad
	Normal    []float32 // specific force along the deck normal, m/s² (9.81 in level flight)
	PitchRate []float32 // rad/s, bow-up
	Up        []float32 // vertical acceleration, m/s², up > 0
	Mount     Mount
	Segments  [][2]int // index ranges without gap, and without a shift of the sensor
	// Track is the attitude that all this comes from, signs put right.
	Track *attitude.Track
	// Parts lists the mounts of a sensor that shifted, in order; one entry, equal
	// to Mount, for a sensor that stayed put. Mount is that of the longest part.
	Parts []Part
	// Notes are what else was found: signs, shifts, a single tack.
	Notes []Finding
}

// MeanNormal is the mean specific force along the deck normal between two
// times, m/s²; 0 where there is none.
func (m *Motion) MeanNormal(t0, t1 float64) float64 {
	sum, n := 0.0, 0.0
	for i := sort.SearchFloat64s(m.Time, t0); i < len(m.Normal) && m.Time[i] < t1; i++ {
		if v := float64(m.Normal[i]); v == v {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// A Part is a stretch of the log over which the sensor sat in one way.
type Part struct {
	From, To int     // samples
	Start    float64 // s
	Mount    Mount
}
