package pitchlaw

import (
	"math"
	"testing"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"
	"evenfoot/ingest/opendata"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"
)

// aircraftFile is a light aircraft's slow-down from 42 to 27 m/s up to the
// stall at 18 s, from the flight tests of the open angle-of-attack project
// OnSpeed Gen3 (2024 to 2026, MIT licence): 30 s at 50 Hz of a consumer IMU in
// board axes (x forward, y left, z up), GNSS at 5 Hz, true airspeed, and a
// tactical-grade inertial system as reference, good to about 0.1°.
const aircraftFile = "aircraft/deceleration.csv.gz"

// TestAircraft: a wing in air obeys the pitch law. The path climbs and sinks,
// so the angle of attack is pitch less climb angle; against f_z/g over the
// dynamic pressure its one-second means lie on a line, by the reference's pitch
// and by the pitch that the product's own filter makes of the consumer IMU. The
// reference's figures were computed from the file independently.
func TestAircraft(t *testing.T) {
	col := opendata.Table(t, aircraftFile)
	imu := consumerPitch(t, col)
	for _, c := range []struct {
		name        string
		pitch       []float64 // deg
		zero, slope float64   // deg, deg per (1/Pa·g)
		tolerance   float64   // of both: deg, and thousands of the slope
		rms         float64   // deg
	}{
		{"reference", col["ref_pitch_deg"], -1.77, 7787, 0.15, 0.2},
		// The pitch's error, 0.2°, grows along the slow-down and tilts the line.
		{"consumer IMU", imu, -1.77, 7787, 1.3, 0.2},
	} {
		x, y := secondMeans(col, c.pitch, 17)
		rows := make([]float64, 0, 2*len(x))
		for _, v := range x {
			rows = append(rows, 1, v)
		}
		g, _, err := regress(rows, y)
		if err != nil {
			t.Fatal(err)
		}
		var rss float64
		for _, r := range g.r {
			rss += r * r
		}
		n := float64(len(y))
		r2 := 1 - rss/(stat.Variance(y, nil)*(n-1))
		t.Logf("%s: %d means, zero %+.2f°, slope %.0f, rms %.2f°, R² %.4f", c.name, len(y), g.beta[0], g.beta[1], math.Sqrt(rss/n), r2)
		if len(y) != 17 || r2 <= 0.99 {
			t.Errorf("%s: %d means with R² = %.4f", c.name, len(y), r2)
		}
		if rms := math.Sqrt(rss / n); rms > c.rms {
			t.Errorf("%s: rms %.3f°, want at most %.2f", c.name, rms, c.rms)
		}
		if math.Abs(g.beta[0]-c.zero) > c.tolerance || math.Abs(g.beta[1]-c.slope) > 1000*c.tolerance {
			t.Errorf("%s: zero %.2f°, slope %.0f; want %.2f and %.0f", c.name, g.beta[0], g.beta[1], c.zero, c.slope)
		}
	}
}

// secondMeans are the one-second means of (f_z/g)/(½·1.0·V²) and of pitch less
// climb angle, deg, over the first seconds.
func secondMeans(col map[string][]float64, pitch []float64, seconds int) (x, y []float64) {
	for s := range seconds {
		var load, attack, n, climbs, climb float64
		for i, t := range col["time_s"] {
			if int(t) != s {
				continue
			}
			v := col["true_airspeed_mps"][i]
			load += col["az_mps2"][i] / 9.80665 / (0.5 * v * v)
			attack += pitch[i]
			n++
			if c := col["climb_mps"][i]; !math.IsNaN(c) {
				climb += math.Asin(c/v) / deg
				climbs++
			}
		}
		x, y = append(x, load/n), append(y, attack/n-climb/climbs)
	}
	return x, y
}

// consumerPitch is the pitch, deg, of the consumer IMU, aided by GNSS velocity.
// The sensor's own turn against the reference is taken out as a constant.
func consumerPitch(t *testing.T, col map[string][]float64) []float64 {
	t.Helper()
	s := attitude.Samples{Time: col["time_s"]}
	for k, name := range []string{"x", "y", "z"} {
		for i := range s.Time {
			s.Acc[k] = append(s.Acc[k], float32(col["a"+name+"_mps2"][i]))
			s.Gyr[k] = append(s.Gyr[k], float32(col["g"+name+"_radps"][i]))
		}
	}
	aid := attitude.Aid{SD: 0.1}
	for i, v := range col["speed_mps"] {
		if math.IsNaN(v) {
			continue
		}
		sin, cos := math.Sincos(col["course_deg"][i] * deg)
		aid.Time, aid.East, aid.North = append(aid.Time, s.Time[i]), append(aid.East, v*sin), append(aid.North, v*cos)
	}
	track, err := attitude.TwoSided(s, &aid)
	if err != nil {
		t.Fatal(err)
	}
	pitch := make([]float64, len(track.Q))
	var off, n float64
	for i, q := range track.Q {
		pitch[i] = math.Asin(rotation.Rotate(q, r3.Vec{X: 1}).Z) / deg
		if s.Time[i] < 15 {
			off += pitch[i] - col["ref_pitch_deg"][i]
			n++
		}
	}
	for i := range pitch {
		pitch[i] -= off / n
	}
	return pitch
}
