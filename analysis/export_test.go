package analysis_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
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
	_, err := analysis.Export(s.Log, nil, false, func(r *write.Row) error {
		if r.Fix {
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
	warnings, err := analysis.Export(log, nil, false, func(r *write.Row) error {
		rows++
		if r.Q[0] == r.Q[0] || r.Acc[2] != r.Acc[2] {
			t.Fatalf("row %+v", r)
		}
		return nil
	})
	if err != nil || rows != len(log.IMU.Time) {
		t.Errorf("%d of %d rows, %v", rows, len(log.IMU.Time), err)
	}
	if len(warnings) != 1 || !strings.Contains(fmt.Sprint(warnings[0]), "no gyroscope") || strings.Contains(fmt.Sprint(warnings[0]), "attitude:") {
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
	told := 0
	for _, w := range r.Session.Warnings {
		if f, ok := w.(align.Finding); ok && f.Kind == align.PartRefused && f.Of.Kind == align.Loose {
			told++
		}
	}
	if told != 1 {
		t.Errorf("the refusal is told %d times: %+v", told, r.Session.Warnings)
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

// TestExportInterpolatesSpeed: samples between fixes carry speed and course, so
// that pitch can be drawn against speed; what is written reads back equal.
func TestExportInterpolatesSpeed(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate, sc.GPSRate = 600, 50, 1
	s := simulate.Run(sc)
	g := &s.Log.GPS
	for i := range g.Time {
		g.Time[i] += 0.007 // between two samples
	}
	// Seconds 100 to 110 lost, a spike at 200 and two fixes without a course.
	cut := func(from, to int) {
		g.Time, g.Lat, g.Lon = append(g.Time[:from:from], g.Time[to:]...), append(g.Lat[:from:from], g.Lat[to:]...), append(g.Lon[:from:from], g.Lon[to:]...)
		g.Alt, g.Speed, g.Course = append(g.Alt[:from:from], g.Alt[to:]...), append(g.Speed[:from:from], g.Speed[to:]...), append(g.Course[:from:from], g.Course[to:]...)
		g.Flags = append(g.Flags[:from:from], g.Flags[to:]...)
	}
	cut(100, 110)
	g.Speed[200], g.Flags[200] = 44, ingest.FlagSpike
	g.Course[300] = float32(math.NaN())

	var text bytes.Buffer
	e := write.NewExport(&text, s.Log.Start)
	both, next := 0, 0
	var last float64
	_, err := analysis.Export(s.Log, nil, false, func(r *write.Row) error {
		if r.Fix {
			if r.Speed != g.Speed[next] || !(r.Course == g.Course[next] || r.Course != r.Course) {
				t.Errorf("fix %d: speed %v, course %v", next, r.Speed, r.Course)
			}
			next++
			return e.Write(r)
		}
		known := r.Speed == r.Speed
		if known && r.Pitch == r.Pitch {
			both++
		}
		if r.Lat == r.Lat {
			t.Fatalf("a position at %.2f s that no receiver gave", r.Time)
		}
		if want := next > 0 && next < len(g.Time) && next != 100; known != want {
			t.Fatalf("at %.2f s, next fix %d: speed %v", r.Time, next, r.Speed)
		}
		if !known {
			return e.Write(r)
		}
		a, b := next-1, next
		if a == 200 {
			a--
		}
		if b == 200 {
			b++
		}
		if lo, hi := min(g.Speed[a], g.Speed[b]), max(g.Speed[a], g.Speed[b]); r.Speed < lo-1e-5 || r.Speed > hi+1e-5 {
			t.Fatalf("at %.2f s the speed %v is not between %v and %v", r.Time, r.Speed, lo, hi)
		}
		ca, cb, c := float64(g.Course[a]), float64(g.Course[b]), float64(r.Course)
		if turn := math.Abs(math.Remainder(cb-ca, 360)); turn == turn {
			off := math.Abs(math.Remainder(c-ca, 360)) + math.Abs(math.Remainder(cb-c, 360)) - turn
			if !(off < 1e-3) || !(c >= 0 && c < 360) {
				t.Fatalf("at %.2f s the course %v is not between %v and %v", r.Time, c, ca, cb)
			}
		} else if c == c {
			t.Fatalf("at %.2f s a course of nothing", r.Time)
		}
		last = r.Time
		return e.Write(r)
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	if both < 25000 || last < 590 {
		t.Errorf("pitch and speed share only %d rows, the last at %.0f s", both, last)
	}
	path := filepath.Join(t.TempDir(), "samples.csv")
	if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	back, err := ingest.Open(path, ingest.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(back.GPS.Time, g.Time) || !slices.Equal(back.GPS.Speed, g.Speed) || !slices.Equal(back.GPS.Lat, g.Lat) ||
		!slices.Equal(back.IMU.Time, s.Log.IMU.Time) || !slices.Equal(back.IMU.Acc[2], s.Log.IMU.Acc[2]) {
		t.Errorf("%d fixes of %d and %d samples of %d are read back, or they differ", len(back.GPS.Time), len(g.Time), len(back.IMU.Time), len(s.Log.IMU.Time))
	}
}

// TestExportCausal: what a display on the board could show is near the truth
// in flight, and no better than what the whole log tells.
func TestExportCausal(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 700, 50
	s := simulate.Run(sc)
	rms := func(pastOnly bool) float64 {
		sum, n, i := 0.0, 0, 0
		_, err := analysis.Export(s.Log, nil, pastOnly, func(r *write.Row) error {
			if math.IsNaN(float64(r.Acc[0])) {
				return nil
			}
			if s.Truth.Flying[i] && !math.IsNaN(r.Pitch) {
				d := r.Pitch - float64(s.Truth.Pitch[i])/deg
				sum, n = sum+d*d, n+1
			}
			i++
			return nil
		})
		if err != nil || n == 0 {
			t.Fatalf("%d samples in flight, %v", n, err)
		}
		return math.Sqrt(sum / float64(n))
	}
	whole, past := rms(false), rms(true)
	t.Logf("pitch in flight: %.2f° from the whole log, %.2f° from the past only", whole, past)
	if whole > 0.3 || past < whole || past > 3 {
		t.Errorf("pitch error %.2f° from the whole log, %.2f° from the past only", whole, past)
	}
}

// TestTrackColumns: a fix has the board's pitch and heel at the moment that it
// tells of, and in flight the front share of its speed and the number of its ride.
func TestTrackColumns(t *testing.T) {
	t.Parallel()
	sc := simulate.Calm()
	sc.Duration = 900
	s := simulate.Run(sc)
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: parse(t, s.SetupTOML(nil))})
	if err != nil {
		t.Fatal(err)
	}
	columns := map[string]func(int) float64{}
	for _, c := range analysis.TrackColumns(r) {
		columns[c.Name] = c.Value
	}
	var off []float64
	shares := 0
	low, high := float64(r.FootLoad[0].Speed), float64(r.FootLoad[len(r.FootLoad)-1].Speed)
	for i, at := range s.Log.GPS.Time {
		k, _ := slices.BinarySearch(s.Truth.Time, at-sc.GPSLatency)
		if k == len(s.Truth.Time) {
			continue
		}
		n := columns["ride"](i)
		inside := n > 0 && at-0.5 > r.Ride.Rides[int(n)-1].Start && at-0.1 < r.Ride.Rides[int(n)-1].End
		share := columns["front_share"](i)
		switch {
		case math.IsNaN(n) && !math.IsNaN(share):
			t.Fatalf("share %v outside of a ride", share)
		case !math.IsNaN(share):
			shares++
			if v := float64(s.Log.GPS.Speed[i]); v < low-0.5 || v > high+0.5 || math.Abs(share-s.Share(v)) > 0.15 {
				t.Fatalf("share %v at %v m/s, truth %v", share, v, s.Share(v))
			}
		}
		if p := columns["pitch_deg"](i); !math.IsNaN(p) && inside {
			off = append(off, math.Abs(p-float64(s.Truth.Pitch[k])/simulate.Deg))
		}
	}
	slices.Sort(off)
	if len(off) < 300 || off[len(off)/2] > 0.3 || shares < 200 {
		t.Errorf("%d pitches in flight, off by %v deg in the middle; %d shares", len(off), off[len(off)/2], shares)
	}
}
