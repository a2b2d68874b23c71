// Package align turns a sensor's attitude into the board's: which way the
// sensor is mounted, whether it stays put, where level is, and how its clock
// stands to the GPS clock.
//
// It imports filter, filter/attitude and the standard library (and gonum).
package align

import (
	"evenfoot/filter/attitude"

	"gonum.org/v1/gonum/num/quat"
)

// A Mount is how the sensor sits on the board. Board axes: x to the bow, y to
// port, z up through the deck.
type Mount struct {
	ToBoard quat.Number // turns sensor-frame vectors into the board frame
	// HeadingDeg is from the bow to the sensor's x axis, about up,
	// counter-clockwise seen from above, -180..180: 90 for an x axis that points
	// to port. NaN when not known.
	HeadingDeg float64
	HeadingSE  float64 // 1σ, deg; NaN when the heading is not known
	TiltDeg    float64 // angle between the sensor's nearest axis and the deck normal, deg
	// AccelerometerSign is -1 when the logger reports the opposite convention
	// (already corrected in everything that follows), else +1.
	AccelerometerSign int
	GyroscopeSign     int
	LevelZero         bool    // pitch is absolute: a level stretch or the setup gave the zero
	LevelFrom         string  // how: "still stretch at 12–31 s, level within 0.3°", "setup", or why there is none
	LevelSE           float64 // 1σ of the zero, rad; NaN when relative
	Rigid             bool
	// Why says in a plain sentence why the mount was refused, "" when it was not.
	Why string
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
	YawRate   []float32 // rad/s, about the vertical, to starboard (clockwise from above) > 0
	Up        []float32 // vertical acceleration, m/s², up > 0
	Mount     Mount
	Segments  [][2]int // index ranges without gap, and without a shift of the sensor
	// Track is the attitude that all this comes from, signs put right.
	Track *attitude.Track
	// Parts lists the mounts of a sensor that shifted, in order; one entry, equal
	// to Mount, for a sensor that stayed put. Mount is that of the longest part.
	Parts []Part
	// Notes are plain sentences on what was found: signs, shifts, a single tack.
	Notes []string
}

// A Part is a stretch of the log over which the sensor sat in one way.
type Part struct {
	From, To int     // samples
	Start    float64 // s
	Mount    Mount
}
