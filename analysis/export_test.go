package analysis_test

import (
	"math"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
)

// TestExportInventsNoAttitude: a fix in a gap of the IMU, or where the logger
// did not run, has no attitude; every sample has one, near the truth.
func TestExportInventsNoAttitude(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate, sc.IMUStart, sc.IMUEnd = 900, 50, 50, 800
	gap := ingest.Span{Start: 400, End: 460}
	sc.IMUGaps = []ingest.Span{gap}
	s := simulate.Run(sc)
	for i := range s.Log.GPS.Time {
		s.Log.GPS.Time[i] += 0.007 // between two samples
	}
	samples, fixes, blank, between := 0, 0, 0, 0
	var worst float64
	k := 0
	_, err := analysis.Export(s.Log, nil, func(r *write.Row) error {
		if r.Speed == r.Speed {
			fixes++
		}
		known := r.Pitch == r.Pitch && r.Heel == r.Heel && r.Q[0] == r.Q[0]
		if r.Acc[0] == r.Acc[0] {
			samples++
			if !known {
				t.Fatalf("the sample at %.2f s has no attitude", r.Time)
			}
			for k+1 < len(s.Truth.Time) && s.Truth.Time[k] < r.Time-1e-9 {
				k++
			}
			if r.Ride > 0 {
				worst = math.Max(worst, math.Abs(r.Pitch-float64(s.Truth.Pitch[k])/deg))
			}
			return nil
		}
		out := r.Time < 50 || r.Time > 800 || r.Time > gap.Start && r.Time < gap.End
		if known == out {
			t.Errorf("the fix at %.2f s: attitude known %v", r.Time, known)
		}
		if out {
			blank++
		} else {
			between++
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if samples != len(s.Log.IMU.Time) || fixes != len(s.Log.GPS.Time) {
		t.Errorf("%d of %d samples, %d of %d fixes", samples, len(s.Log.IMU.Time), fixes, len(s.Log.GPS.Time))
	}
	if blank < 200 || between < 600 {
		t.Errorf("%d fixes off the IMU's log and %d inside it were seen", blank, between)
	}
	if !(worst < 3) {
		t.Errorf("in flight the pitch is off by up to %.1f°", worst)
	}
}

// TestExportWithoutGyroscope writes the samples and says once, in plain words,
// why there is no attitude.
func TestExportWithoutGyroscope(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 120, 20
	log := simulate.Run(sc).IMULog
	for k := range log.IMU.Gyr {
		for i := range log.IMU.Gyr[k] {
			log.IMU.Gyr[k][i] = float32(math.NaN())
		}
	}
	rows := 0
	warnings, err := analysis.Export(log, nil, func(r *write.Row) error {
		rows++
		if r.Q[0] == r.Q[0] || r.Acc[2] != r.Acc[2] {
			t.Fatalf("row %+v", r)
		}
		return nil
	})
	if err != nil || rows != len(log.IMU.Time) {
		t.Errorf("%d of %d rows, %v", rows, len(log.IMU.Time), err)
	}
	if len(warnings) != 1 || !strings.Contains(warnings[0], "no gyroscope") || strings.Contains(warnings[0], "attitude:") {
		t.Errorf("warnings %q", warnings)
	}
}

// TestPartThatCameLoose: a sensor that comes loose late costs only what follows;
// what it showed before still gives a law, and the refusal is told once.
func TestPartThatCameLoose(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 1800, 50
	fixed := simulate.Run(sc)
	sc.Mounting = simulate.Loose
	loose := simulate.Run(sc)
	const at, pause = 1300, 2 // s
	var u ingest.IMU
	for i, x := range fixed.Log.IMU.Time {
		from := &fixed.Log.IMU
		switch {
		case x >= at && x < at+pause:
			continue
		case x >= at:
			from = &loose.Log.IMU
		}
		u.Time = append(u.Time, x)
		for k := range 3 {
			u.Acc[k], u.Gyr[k] = append(u.Acc[k], from.Acc[k][i]), append(u.Gyr[k], from.Gyr[k][i])
		}
	}
	fixed.Log.IMU.Time, fixed.Log.IMU.Acc, fixed.Log.IMU.Gyr = u.Time, u.Acc, u.Gyr
	r, err := analysis.Run(analysis.Request{Log: fixed.Log, Setup: parse(t, fixed.SetupTOML(nil))})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Mount.Rigid || len(r.Motion.Parts) != 2 || r.Motion.Parts[1].Mount.Rigid {
		t.Fatalf("mount %+v, %d parts", r.Mount, len(r.Motion.Parts))
	}
	if n := strings.Count(strings.Join(r.Session.Warnings, "\n"), "not fixed to the board"); n != 1 {
		t.Errorf("the refusal is told %d times: %q", n, r.Session.Warnings)
	}
	if !r.PitchLaw.Enough {
		t.Fatalf("no law: %v", r.PitchLaw.Missing)
	}
	holds(t, "slope", r.PitchLaw.Slope, fixed.Truth.Slope/deg)
	holds(t, "zero", r.PitchLaw.Zero, fixed.Truth.Zero/deg)
	for _, w := range r.Law.Windows {
		if w.Time > r.Motion.Parts[1].Start {
			t.Errorf("a window at %.0f s is of the loose sensor", w.Time)
			break
		}
	}
	if f := float64(r.Totals.Foiling) / fixed.Truth.FoilingS; math.Abs(f-1) > 0.1 {
		t.Errorf("foiling time is %.2f of the truth", f)
	}
}
