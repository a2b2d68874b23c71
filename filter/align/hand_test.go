package align_test

import (
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/ingest/opendata"
)

// openTrial reads a trial of the open data beside the checkout.
func openTrial(t *testing.T, name string) attitude.Samples {
	t.Helper()
	tab := opendata.Table(t, "attitude/"+name+".csv.gz")
	return attitude.Samples{Time: tab["time_s"], Acc: opendata.Axes(tab, "acc_x", "acc_y", "acc_z"), Gyr: opendata.Axes(tab, "gyr_x", "gyr_y", "gyr_z")}
}

func negated(c [3][]float32) (out [3][]float32) {
	for k := range 3 {
		for _, v := range c[k] {
			out[k] = append(out[k], -v)
		}
	}
	return out
}

// handOf is the gyroscope's sign as found from gravity alone.
func handOf(t *testing.T, s attitude.Samples) int {
	t.Helper()
	_, signs, err := align.NewPair(s, nil).Track()
	if err != nil {
		t.Fatal(err)
	}
	return signs.Gyroscope
}

// Gravity alone never tells the wrong hand of a gyroscope: not in open trials
// with an optical reference (the Berlin set and the simulated vessel), nor in
// their mirror images. In fast translation the sensor shakes in time with its
// turns, and steadier force is no evidence.
func TestHandFromGravityAlone(t *testing.T) {
	for _, c := range []struct {
		name string
		told bool // the mirror image is recognised
	}{
		{"slow_rotation", true}, {"slow_translation", true}, {"fast_combined", true}, {"fast_translation", true}, {"vessel_imu", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := openTrial(t, c.name)
			for _, acc := range []int{1, -1} {
				for _, gyr := range []int{1, -1} {
					m := s
					if acc < 0 {
						m.Acc = negated(s.Acc)
					}
					if gyr < 0 {
						m.Gyr = negated(s.Gyr)
					}
					got := handOf(t, m)
					if gyr > 0 && got != 1 || c.told && got != gyr {
						t.Errorf("accelerometer %+d, gyroscope %+d: taken for %+d", acc, gyr, got)
					}
					t.Logf("accelerometer %+d, gyroscope %+d: %+d", acc, gyr, got)
				}
			}
		})
	}
}

// On the water without GPS the hand is found or left alone, never turned wrong.
func TestHandOnTheWater(t *testing.T) {
	n := 5
	if *long {
		n = 120
	}
	found := make([]int, n)
	each(n, func(i int) {
		sc := outing(i + 1)
		sc.GyroSign = 1
		s := samplesOf(simulate.Run(sc))
		if got := handOf(t, s); got != 1 {
			t.Errorf("session %d: a right-handed gyroscope was turned", i+1)
		}
		s.Gyr = negated(s.Gyr)
		if handOf(t, s) == -1 {
			found[i] = 1
		}
	})
	sum := 0
	for _, f := range found {
		sum += f
	}
	t.Logf("left-handed gyroscopes found without GPS: %d of %d", sum, n)
	if 2*sum < n {
		t.Errorf("only %d of %d left-handed gyroscopes were found", sum, n)
	}
}
