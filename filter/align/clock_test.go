package align_test

import (
	"math"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
)

// The offset is what ties equal motion: the clocks' offset less the
// receiver's latency.
func TestClockFindsOffsetAndDrift(t *testing.T) {
	type row struct {
		name          string
		offset, drift float64
		change        func(*simulate.Scenario)
	}
	rows := []row{
		{"an hour ahead, 100 ppm", 3600, 100, nil},
		{"an hour behind, -100 ppm", -3600.37, -100, nil},
		{"two seconds", 2.24, 20, nil},
		{"10 Hz receiver", 1234.5, 50, func(sc *simulate.Scenario) { sc.GPSRate = 10 }},
		{"acceleration of opposite sign", -77.7, 30, func(sc *simulate.Scenario) { sc.AccSign = -1 }},
		{"left-handed gyroscope", -77.7, 30, func(sc *simulate.Scenario) { sc.GyroSign = -1 }},
		{"logger started late and stopped early", 900, -60, func(sc *simulate.Scenario) { sc.IMUStart, sc.IMUEnd = 700, 1900 }},
		{"gusts and waves", 600, 80, func(sc *simulate.Scenario) { r := simulate.Rough(); r.Seed = 4; *sc = r }},
		{"sensor on the wrist", 31, 0, func(sc *simulate.Scenario) { sc.Mounting = simulate.Wrist }},
		{"beginner", 3000, 40, func(sc *simulate.Scenario) { *sc = simulate.Beginner() }},
		{"kite", -3000, 40, func(sc *simulate.Scenario) { *sc = simulate.Kite() }},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			sc := simulate.Default()
			if r.change != nil {
				r.change(&sc)
			}
			sc.ClockOffset, sc.DriftPPM = r.offset, r.drift
			s := simulate.Run(sc)
			c := align.EstimateClock(samplesOf(s), aidOf(s), align.ClockParams{})
			if !c.OK {
				t.Fatalf("not found: %s", c.Why)
			}
			want := r.offset + r.drift*1e-6*(c.AtS-sc.Duration/2) - sc.GPSLatency
			t.Logf("offset error %+.3f s (SE %.3f), drift error %+.1f ppm (SE %.1f), agreement %.2f, overlap %.0f s",
				c.OffsetS-want, c.OffsetSE, c.DriftPPM-r.drift, c.DriftSE, c.Agreement, c.OverlapS)
			if e := math.Abs(c.OffsetS - want); e > 0.1 {
				t.Errorf("offset off by %.3f s; 0.1 s is promised", e)
			}
			if e := math.Abs(c.OffsetS-want) / c.OffsetSE; e > 3.5 {
				t.Errorf("offset off by %.1f standard errors", e)
			}
			if e := math.Abs(c.DriftPPM-r.drift) / c.DriftSE; e > 3.5 {
				t.Errorf("drift off by %.1f standard errors", e)
			}
			if c.LatencyNote == "" {
				t.Error("the latency is not mentioned")
			}
			// Round trip through the model.
			tg := c.AtS + 300
			ti := tg + c.OffsetS + c.DriftPPM*1e-6*(tg-c.AtS)
			if back := c.ToGPS(ti); math.Abs(back-tg) > 1e-6 {
				t.Errorf("ToGPS(%g) = %g, want %g", ti, back, tg)
			}
		})
	}
}
