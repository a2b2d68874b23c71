package attitude_test

import (
	"math"
	"testing"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"
	"evenfoot/ingest/opendata"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A reference is a log with the true attitude of each sample.
type reference struct {
	s      attitude.Samples
	q      []quat.Number
	counts []bool
}

func loadReference(t testing.TB, name string) reference {
	t.Helper()
	tab := opendata.Table(t, "attitude/"+name+".csv.gz")
	r := reference{s: attitude.Samples{Time: tab["time_s"], Acc: opendata.Axes(tab, "acc_x", "acc_y", "acc_z"), Gyr: opendata.Axes(tab, "gyr_x", "gyr_y", "gyr_z")}}
	for i := range r.s.Time {
		q := quat.Number{Real: tab["ref_qw"][i], Imag: tab["ref_qx"][i], Jmag: tab["ref_qy"][i], Kmag: tab["ref_qz"][i]}
		r.q = append(r.q, rotation.Unit(q))
		r.counts = append(r.counts, tab["moving"][i] == 1 && q == q)
	}
	return r
}

// An aircraft that slows down in level flight for 15 s: pitch from a consumer
// IMU and the GNSS velocity against a tactical-grade inertial system, whose
// own error is about 0.1°. A constant between the two mounts is left out.
func TestAircraft(t *testing.T) {
	t.Parallel()
	tab := opendata.Table(t, "aircraft/deceleration.csv.gz")
	s := attitude.Samples{Time: tab["time_s"], Acc: opendata.Axes(tab, "ax_mps2", "ay_mps2", "az_mps2"), Gyr: opendata.Axes(tab, "gx_radps", "gy_radps", "gz_radps")}
	aid := attitude.Aid{SD: 0.1}
	for i, v := range tab["speed_mps"] {
		if sin, cos := math.Sincos(tab["course_deg"][i] * deg); v == v && sin == sin {
			aid.Time = append(aid.Time, s.Time[i])
			aid.East, aid.North = append(aid.East, v*sin), append(aid.North, v*cos)
		}
	}
	tr, err := attitude.TwoSided(s, &aid)
	if err != nil {
		t.Fatal(err)
	}
	var slow, all []float64
	for i, q := range tr.Q {
		e := math.Asin(rotation.Rotate(q, r3.Vec{X: 1}).Z)/deg - tab["ref_pitch_deg"][i]
		all = append(all, e)
		if s.Time[i] <= 15 {
			slow = append(slow, e)
		}
	}
	mean, sd := meanSD(slow)
	_, whole := meanSD(all)
	t.Logf("pitch %.2f ± %.2f° over 15 s, ± %.2f° with the stall; latency %.2f s, heading known %v", mean, sd, whole, tr.LatencyS, tr.HeadingKnown)
	if !(sd < 0.25) || !(whole < 1) {
		t.Errorf("pitch strays by %.3f° over 15 s and %.3f° with the stall, want 0.25° and 1°", sd, whole)
	}
}
