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
	t.Parallel()
	for _, c := range []struct {
		gpsHz  float64
		within float64 // deg, SD over 2 s windows
	}{{1, 0.2}, {5, 0.15}} {
		sc := simulate.Default()
		sc.Gust, sc.Duration = 0.75, 1500
		sc.GPSRate = c.gpsHz
		s := simulate.Run(sc)
		samples, aid := inputs(s)
		aided, err := attitude.TwoSided(samples, &aid)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := attitude.TwoSided(samples, nil)
		if err != nil {
			t.Fatal(err)
		}
		pitch, inside, rough := inFlight(s, aided)
		_, _, unaided := inFlight(s, plain)
		mean, sd := meanSD(pitch)
		_, sd2 := meanSD(windowed(pitch, 200))
		t.Logf("GPS %g Hz: pitch %.3f ± %.3f°, 2 s %.3f°; accelerating %.3f°, unaided %.3f°; within 2 SE %.3f; latency %.3f s, heading known %v", c.gpsHz, mean, sd, sd2, rough, unaided, inside, aided.LatencyS, aided.HeadingKnown)
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

// inputs are what the filter gets of a made session.
func inputs(s *simulate.Session) (attitude.Samples, attitude.Aid) {
	imu, gps := &s.Log.IMU, &s.Log.GPS
	aid := attitude.Aid{Time: gps.Time, SD: 0.1}
	for i, v := range gps.Speed {
		e, n := 0.0, 0.0
		if v != 0 {
			sin, cos := math.Sincos(float64(gps.Course[i]) * deg)
			e, n = float64(v)*sin, float64(v)*cos
		}
		aid.East, aid.North = append(aid.East, e), append(aid.North, n)
	}
	return attitude.Samples{Time: imu.Time, Acc: imu.Acc, Gyr: imu.Gyr}, aid
}

// inFlight gives the pitch errors in flight, deg, the share of inclination
// errors within two standard errors, and their root mean square, deg, while
// the board accelerates by more than 1 m/s².
func inFlight(s *simulate.Session, tr *attitude.Track) (pitch []float64, inside, rough float64) {
	truth := &s.Truth
	bow := quat.Conj(truth.Mount)
	accelerating := 0
	for i, q := range tr.Q {
		if !truth.Flying[i] {
			continue
		}
		est := rotation.Rotate(quat.Mul(q, bow), r3.Vec{X: 1})
		ref := rotation.Rotate(quat.Mul(truth.QSensor[i], bow), r3.Vec{X: 1})
		pitch = append(pitch, (math.Asin(est.Z)-math.Asin(ref.Z))/deg)
		x := inclination(q, truth.QSensor[i])
		if x < 2*float64(tr.SE[i]) {
			inside++
		}
		k := min(i+10, len(truth.East)-1)
		if 10*math.Hypot(float64(truth.East[k]-truth.East[i]), float64(truth.North[k]-truth.North[i])) > 1 {
			rough += x * x
			accelerating++
		}
	}
	return pitch, inside / float64(len(pitch)), math.Sqrt(rough/float64(accelerating)) / deg
}
