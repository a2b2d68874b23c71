package ride_test

import (
	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// motionOf is the board's true motion, as a perfect align.Pair would give it.
// Normal comes from the logger's accelerometer, vibration and errors included,
// turned by the true mount.
func motionOf(s *simulate.Session) *align.Motion {
	t := &s.Truth
	n := len(t.Time)
	se := make([]float32, n)
	for i := range se {
		se[i] = 0.1 * deg
	}
	m := &align.Motion{
		Time: t.Time, Pitch: t.Pitch, Heel: t.Heel, PitchSE: se, Normal: t.Normal,
		PitchRate: t.PitchRate, Up: t.Up,
		Mount: align.Mount{
			ToBoard: t.Mount, AccelerometerSign: 1, GyroscopeSign: 1,
			LevelZero: true, LevelFrom: align.Finding{Kind: align.LevelSetup}, LevelSE: 0.05 * deg, Rigid: true,
		},
	}
	if s.Log.IMU.Acc[2] != nil && t.ShiftAt > t.Time[n-1] {
		m.Normal = normalOf(s)
	}
	from := 0
	for i := 1; i <= n; i++ {
		if i == n || t.Time[i]-t.Time[i-1] > 0.25 {
			m.Segments = append(m.Segments, [2]int{from, i})
			from = i
		}
	}
	return m
}

// normalOf is the logged specific force along the true deck normal.
func normalOf(s *simulate.Session) []float32 {
	acc := &s.Log.IMU.Acc
	up := rotation.Rotate(quat.Conj(s.Truth.Mount), r3.Vec{Z: 1}) // deck normal in the sensor's frame
	if s.Scenario.AccSign < 0 {
		up = r3.Scale(-1, up)
	}
	out := make([]float32, len(acc[0]))
	for i := range out {
		out[i] = float32(up.X*float64(acc[0][i]) + up.Y*float64(acc[1][i]) + up.Z*float64(acc[2][i]))
	}
	return out
}
