package analysis

import (
	"math"

	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// causal is the attitude as the filter that knows only the past gives it,
// with the signs and the mount that the whole log told. It is for those who
// build a display on the board, and to check the filter by itself.
func causal(s attitude.Samples, rateHz float64, signs align.Signs, mount *align.Mount) (*attitude.Track, *align.Motion, error) {
	f, err := attitude.New(rateHz)
	if err != nil {
		return nil, nil, err
	}
	n := len(s.Time)
	track := &attitude.Track{Time: s.Time, Q: make([]quat.Number, n)}
	var motion *align.Motion
	if mount != nil {
		motion = &align.Motion{Time: s.Time, Pitch: make([]float32, n), Heel: make([]float32, n), Mount: *mount, Track: track}
	}
	sa, sg := float64(signs.Accelerometer), float64(signs.Gyroscope)
	for i, t := range s.Time {
		dt := 1 / rateHz
		if i > 0 {
			dt = t - s.Time[i-1]
		}
		f.Update(dt, r3.Scale(sa, s.AccAt(i)), r3.Scale(sg, s.GyrAt(i)))
		track.Q[i] = f.Quat()
		if motion != nil {
			up := rotation.Rotate(mount.ToBoard, rotation.Rotate(quat.Conj(track.Q[i]), r3.Vec{Z: 1}))
			motion.Pitch[i] = float32(math.Asin(max(-1, min(1, up.X))))
			motion.Heel[i] = float32(math.Atan2(up.Y, up.Z))
		}
	}
	return track, motion, nil
}
