package align_test

import (
	"math"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
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
			if sc.IMUEnd == 0 {
				sc.Duration = 1000
				if math.Abs(r.drift) >= 80 { // long enough to tell it from none
					sc.Duration = 1500
				}
			}
			sc.ClockOffset, sc.DriftPPM, sc.IMURate = r.offset, r.drift, 50
			s := simulate.Run(sc)
			c := clockOf(samplesOf(s), aidOf(s), align.ClockParams{})
			if !c.OK {
				t.Fatalf("not found: %+v", c.Why)
			}
			want := r.offset + r.drift*1e-6*(c.AtS-sc.Duration/2) - sc.GPSLatency
			t.Logf("offset error %+.3f s (SE %.3f), drift error %+.1f ppm (SE %.1f), agreement %.2f",
				c.OffsetS-want, c.OffsetSE, c.DriftPPM-r.drift, c.DriftSE, c.Agreement)
			if e := math.Abs(c.OffsetS - want); e > 0.1 {
				t.Errorf("offset off by %.3f s; 0.1 s is promised", e)
			}
			if e := math.Abs(c.OffsetS-want) / c.OffsetSE; e > 3.5 {
				t.Errorf("offset off by %.1f standard errors", e)
			}
			if e := math.Abs(c.DriftPPM-r.drift) / c.DriftSE; e > 3.5 {
				t.Errorf("drift off by %.1f standard errors", e)
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

func TestClockSaysWhenItCannotTell(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 1200, 50
	one := simulate.Run(sc)
	sc.Seed = 9
	other := simulate.Run(sc)
	still := sc
	still.NoFlight, still.Taxi = true, 0.3
	parked := simulate.Run(still)
	far := sc
	far.ClockOffset = 90000
	away := simulate.Run(far)
	far.ClockOffset = 60
	near := simulate.Run(far)
	rows := []struct {
		name string
		imu  *simulate.Session
		gps  *simulate.Session
		p    align.ClockParams
	}{
		{"two different outings", one, other, align.ClockParams{}},
		{"the other way round", other, one, align.ClockParams{}},
		{"GPS hardly moves", one, parked, align.ClockParams{}},
		{"offset beyond the search", away, away, align.ClockParams{}},
		{"offset just out of a narrow search", near, near, align.ClockParams{MaxOffset: 20}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			c := clockOf(samplesOf(r.imu), aidOf(r.gps), r.p)
			if c.OK || c.Why.Kind == "" {
				t.Fatalf("offset %.2f s was found, agreement %.2f", c.OffsetS, c.Agreement)
			}
			t.Log(c.Why)
		})
	}
	// The far one is found when every offset is allowed.
	c := clockOf(samplesOf(away), aidOf(away), align.ClockParams{MaxOffset: math.Inf(1)})
	if !c.OK || math.Abs(c.OffsetS-(90000-0.3)) > 0.1 {
		t.Errorf("offset %.2f s, OK %v: %+v", c.OffsetS, c.OK, c.Why)
	}
}

// A session that repeats itself fits at several offsets; the wrong one must
// not be taken for the right one.
func TestClockOfARepeatingSession(t *testing.T) {
	sc := simulate.Calm()
	sc.Duration, sc.IMURate = 1500, 50
	sc.ReachMin, sc.ReachMax = 40, 40
	sc.SpeedLow, sc.SpeedHigh, sc.Variation, sc.Gust, sc.Wander = 8, 8, 0, 0, 0
	sc.Angles = [2]float64{90 * deg, 90 * deg}
	sc.Tacks = 0
	s := simulate.Run(sc)
	// Only the middle of the IMU log, so that its ends do not give it away.
	x := samplesOf(s)
	lo, hi := len(x.Time)*2/5, len(x.Time)*3/5
	x.Time = x.Time[lo:hi]
	for k := range 3 {
		x.Acc[k], x.Gyr[k] = x.Acc[k][lo:hi], x.Gyr[k][lo:hi]
	}
	c := clockOf(x, aidOf(s), align.ClockParams{})
	t.Logf("OK %v, offset %.2f s, %+v", c.OK, c.OffsetS, c.Why)
	if c.OK && math.Abs(c.OffsetS+0.3) > 0.2 {
		t.Errorf("a wrong offset of %.2f s was taken for sure", c.OffsetS)
	}
}

// Logs of different outings must not be tied.
func TestClockNeverTiesDifferentOutings(t *testing.T) {
	n := 5
	if *long {
		n = 60
	}
	each(n, func(i int) {
		a, b := outing(2*i+1), outing(2*i+2)
		if i%2 == 0 {
			b.WindFrom = 1
		}
		if *long && i%3 == 0 {
			a.Duration, b.Duration = 2400, 2400
		}
		c := clockOf(samplesOf(simulate.Run(a)), aidOf(simulate.Run(b)), align.ClockParams{})
		if c.OK {
			t.Errorf("pair %d: tied at %.1f s, agreement %.2f", i, c.OffsetS, c.Agreement)
		}
	})
}

// clockOf is the clock of a pair of logs.
func clockOf(s attitude.Samples, aid attitude.Aid, p align.ClockParams) align.Clock {
	return align.NewPair(s, &aid).Clock(p)
}
