package ride

import (
	"math"
	"testing"

	"evenfoot/filter/align"
)

// TestHoleLeavesFeaturesAlone: an hour without IMU changes nothing about what
// the rest of the log shows.
func TestHoleLeavesFeaturesAlone(t *testing.T) {
	features := func(hole float64) *features {
		m := &align.Motion{Mount: align.Mount{Rigid: true}}
		for i := range 6000 {
			x := float64(i) / 50
			at := x
			if x >= 60 {
				at += hole
			}
			m.Time = append(m.Time, at)
			m.Heel = append(m.Heel, float32(0.2*math.Sin(3*x)))
			m.Normal = append(m.Normal, float32(9.81+math.Sin(20*x)))
			m.PitchRate = append(m.PitchRate, 0.1)
			m.Up = append(m.Up, float32(math.Sin(20*x)))
			m.Pitch = append(m.Pitch, 0)
		}
		return newGrid(&Input{Motion: m}).imu
	}
	whole, torn := features(0), features(3600)
	for b := 5; b < 290; b++ {
		for _, c := range [][2]float64{{whole.roll[b], torn.roll[b]}, {whole.shake[b], torn.shake[b]}, {whole.lowest[b], torn.lowest[b]}} {
			if !(math.Abs(c[0]-c[1]) < 0.02) {
				t.Fatalf("at %.1f s: %.3f with the log whole, %.3f with a hole later", float64(b)*baseStep, c[0], c[1])
			}
		}
	}
}
