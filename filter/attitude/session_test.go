package attitude_test

import (
	"math"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Board pitch over a whole made session of another hand: beach, swim, taxi,
// flights with waves, pumping, gusts of ±1.5 m/s², falls and turns at 25°.
func TestSimulatedSession(t *testing.T) {
	for _, c := range []struct {
		gpsHz  float64
		within float64 // deg, SD over 2 s windows
	}{{1, 0.2}, {5, 0.15}} {
		sc := simulate.Default()
		sc.Gust = 0.75
		sc.GPSRate = c.gpsHz
		s := simulate.Run(sc)
		imu, gps := &s.Log.IMU, &s.Log.GPS
		aid := attitude.Aid{Time: gps.Time, SD: 0.1}
		for i, v := range gps.Speed {
			sin, cos := math.Sincos(float64(gps.Course[i]) * deg)
			e, n := float64(v)*sin, float64(v)*cos
			if v == 0 {
				e, n = 0, 0
			}
			aid.East, aid.North = append(aid.East, e), append(aid.North, n)
		}
		samples := attitude.Samples{Time: imu.Time, Acc: imu.Acc, Gyr: imu.Gyr}
		errors := func(aid *attitude.Aid) (pitch []float64, inside float64, rough float64, tr *attitude.Track) {
			tr, err := attitude.TwoSided(samples, aid, attitude.Default())
			if err != nil {
				t.Fatal(err)
			}
			n, accelerating, sum := 0, 0, 0.0
			bow := quat.Conj(s.Truth.Mount)
			for i, q := range tr.Q {
				if !s.Truth.Flying[i] {
					continue
				}
				est := rotation.Rotate(quat.Mul(q, bow), r3.Vec{X: 1})
				ref := rotation.Rotate(quat.Mul(s.Truth.QSensor[i], bow), r3.Vec{X: 1})
				pitch = append(pitch, (math.Asin(est.Z)-math.Asin(ref.Z))/deg)
				x := inclination(q, s.Truth.QSensor[i])
				if x < 2*float64(tr.SE[i]) {
					inside++
				}
				n++
				if k := i + 10; k < len(s.Truth.East) {
					a := math.Hypot(float64(s.Truth.East[k]-s.Truth.East[i]), float64(s.Truth.North[k]-s.Truth.North[i])) * 10
					if a > 1 {
						sum += x * x
						accelerating++
					}
				}
			}
			return pitch, inside / float64(n), math.Sqrt(sum/float64(accelerating)) / deg, tr
		}
		p, inside, rough, tr := errors(&aid)
		mean, sd := meanSD(p)
		_, sd2 := meanSD(windowed(p, 200))
		_, _, unaided, _ := errors(nil)
		t.Logf("GPS %g Hz: pitch %.3f ± %.3f°, 2 s %.3f°; accelerating %.3f°, unaided %.3f°; within 2 SE %.3f; latency %.3f s, heading known %v", c.gpsHz, mean, sd, sd2, rough, unaided, inside, tr.LatencyS, tr.HeadingKnown)
		if sd > 0.4 || sd2 > c.within {
			t.Errorf("pitch ± %.3f°, over 2 s ± %.3f°: want 0.4, %.2f", sd, sd2, c.within)
		}
		if rough > unaided/3 {
			t.Errorf("while accelerating %.3f° aided, %.3f° unaided", rough, unaided)
		}
		if inside < 0.9 {
			t.Errorf("%.3f of the errors within 2 SE", inside)
		}
	}
}
