package analysis_test

import (
	"math"
	"slices"
	"testing"

	"evenfoot/ingest"
)

// TestPhoneRounding: a browser rounds a phone's motion to 0.1 m/s² and 0.1 °/s,
// so that no page can tell one phone from another by its sensors. The board's
// own shaking blurs the steps: the law moves by less than its interval's half,
// and the truth stays within.
func TestPhoneRounding(t *testing.T) {
	t.Parallel()
	const stepAcc, stepGyr = 0.1, 0.1 * math.Pi / 180
	s, log, exact := firstOuting(t)
	for k := range 3 {
		log.IMU.Acc[k], log.IMU.Gyr[k] = slices.Clone(log.IMU.Acc[k]), slices.Clone(log.IMU.Gyr[k])
	}
	round(&log, stepAcc, stepGyr)
	phone := demoAnalysed(t, s, &log)
	holds(t, "slope", phone.PitchLaw.Slope, s.Truth.Slope/deg)
	holds(t, "zero", phone.PitchLaw.Zero, s.Truth.Zero/deg)
	shift := func(p int) float64 { return phone.PitchCurve[p].Pitch.Value - exact.PitchCurve[p].Pitch.Value }
	if len(phone.PitchCurve) != len(exact.PitchCurve) || len(exact.PitchCurve) == 0 {
		t.Fatalf("%d and %d points of the pitch", len(phone.PitchCurve), len(exact.PitchCurve))
	}
	most := 0.0
	for i := range exact.PitchCurve {
		most = max(most, math.Abs(shift(i)))
		if half := (exact.PitchCurve[i].Pitch.High - exact.PitchCurve[i].Pitch.Low) / 2; math.Abs(shift(i)) > half {
			t.Errorf("at %.1f m/s rounding moves the pitch by %.3f°, its interval is ± %.3f°", exact.PitchCurve[i].Speed, shift(i), half)
		}
	}
	t.Logf("rounding moves the pitch in flight by %.3f° at most; zero %.3f° and %.3f°", most, exact.PitchLaw.Zero.Value, phone.PitchLaw.Zero.Value)
}

func round(log *ingest.Log, stepAcc, stepGyr float64) {
	for k := range 3 {
		for _, c := range []struct {
			v    []float32
			step float64
		}{{log.IMU.Acc[k], stepAcc}, {log.IMU.Gyr[k], stepGyr}} {
			for i, v := range c.v {
				c.v[i] = float32(math.Round(float64(v)/c.step) * c.step)
			}
		}
	}
}
