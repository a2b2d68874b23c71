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
		end := []float64{0, m.Time[len(m.Time)-1]}
		return newGrid(&Input{Time: end, East: end, North: end, Motion: m}).imu
	}
	whole, torn := features(0), features(3600)
	for b := 5; b < 290; b++ {
		for _, c := range [][2]float64{{whole.shake[b], torn.shake[b]}, {whole.lowest[b], torn.lowest[b]}} {
			if !(math.Abs(c[0]-c[1]) < 0.02) {
				t.Fatalf("at %.1f s: %.3f with the log whole, %.3f with a hole later", float64(b)*baseStep, c[0], c[1])
			}
		}
	}
}

// TestTackIsTheWindsSide: with the wind from the north, who goes east has it
// from the left and is on port tack.
func TestTackIsTheWindsSide(t *testing.T) {
	for _, c := range []struct {
		from, course float64 // degrees
		want         string
	}{{0, 90, "port"}, {0, 270, "starboard"}, {350, 100, "port"}, {10, 300, "starboard"}, {180, 90, "starboard"}} {
		if got := tack(c.from*deg, c.course*deg); got != c.want {
			t.Errorf("wind from %g°, course %g°: %s tack, want %s", c.from, c.course, got, c.want)
		}
	}
}

// TestRideDistance: 200 s at 8 m/s between two minutes of taxiing are 1.6 km.
func TestRideDistance(t *testing.T) {
	in := Input{SpeedSD: 0.1}
	for i := range 560 {
		v := 2 + 0.2*math.Sin(float64(i))
		if i >= 180 && i < 380 {
			v = 8 + 0.3*math.Sin(float64(i))
		}
		in.Time, in.East, in.North = append(in.Time, float64(i)), append(in.East, v), append(in.North, 0)
	}
	s := Detect(in)
	if len(s.Rides) != 1 {
		t.Fatalf("%d rides", len(s.Rides))
	}
	if r := s.Rides[0]; math.Abs(r.Distance-1600) > 40 || math.Abs(r.MeanSpeed-8) > 0.2 || s.Totals.Distance != r.Distance {
		t.Errorf("%.0f m at %.2f m/s", r.Distance, r.MeanSpeed)
	}
}

// TestDoubtOfAMean: noise of σ with memory τ leaves σ in a mean much shorter
// than τ and σ √(2τ/T) in a much longer one (first-order Gauss-Markov process,
// from memory).
func TestDoubtOfAMean(t *testing.T) {
	for seconds, want := range map[float64]float64{0.01: 0.2, 600: 0.2 * math.Sqrt(2*velocityMemory/600)} {
		got := withDoubt([]float64{7}, seconds, 1, 0.2)
		if se := (got.Value - got.Low) / 1.6449; got.Value != 7 || math.Abs(se-math.Hypot(want, 0.01)) > 0.01*want {
			t.Errorf("a mean over %g s: %v, σ %.4f, want %.4f", seconds, got, se, want)
		}
	}
}
