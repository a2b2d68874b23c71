package attitude_test

import (
	"testing"

	"evenfoot/filter/attitude"
)

func runCausal(t testing.TB, s *attitude.Samples, p attitude.Params) []attitude.Quat {
	t.Helper()
	n := len(s.Time)
	f, err := attitude.New(p, float64(n-1)/(s.Time[n-1]-s.Time[0]))
	if err != nil {
		t.Fatal(err)
	}
	q := make([]attitude.Quat, n)
	last := s.Time[0] - (s.Time[1] - s.Time[0])
	for i, at := range s.Time {
		var a, g [3]float64
		for c := range 3 {
			a[c], g[c] = float64(s.Acc[c][i]), float64(s.Gyr[c][i])
		}
		f.Update(at-last, a, g)
		last = at
		q[i] = f.Quat()
	}
	return q
}

// The trials of TestTwoSidedReference, and the best library's online variant.
func TestCausalReference(t *testing.T) {
	for _, c := range []struct {
		name string
		want float64
	}{
		{"slow_rotation", 0.35}, {"slow_translation", 0.42}, {"fast_combined", 1.72}, {"vessel_imu", 0.74},
	} {
		r := loadReference(t, c.name)
		got := r.rmse(runCausal(t, &r.s, attitude.Default()))
		t.Logf("%s: %.3f° (≤ %.2f)", c.name, got, c.want)
		if got > c.want {
			t.Errorf("%s: %.3f° inclination RMSE, want ≤ %.2f°", c.name, got, c.want)
		}
	}
}

func BenchmarkCausal(b *testing.B) {
	r := loadReference(b, "slow_rotation")
	n := len(r.s.Time)
	acc := make([][3]float64, n)
	gyr := make([][3]float64, n)
	for i := range n {
		for c := range 3 {
			acc[i][c], gyr[i][c] = float64(r.s.Acc[c][i]), float64(r.s.Gyr[c][i])
		}
	}
	f, err := attitude.New(attitude.Default(), 285.7)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		f.Update(0.0035, acc[i], gyr[i])
		if i++; i == n {
			i = 0
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
