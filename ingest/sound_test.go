package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenfoot/ingest/raw"
)

// phoneCSV is ten minutes of a phone's acceleration with gravity times g, while
// it is carried and waved.
func phoneCSV(gravity float64, gyro bool) string {
	var b strings.Builder
	b.WriteString("time_s,ax_mps2,ay_mps2,az_mps2")
	if gyro {
		b.WriteString(",gx_radps,gy_radps,gz_radps")
	}
	b.WriteString("\n")
	for i := range 6000 {
		t := float64(i) / 50
		lean := 0.4 * math.Sin(t/7)
		wave := 1.5 * math.Sin(6*t) * math.Max(0, math.Sin(t/9))
		fmt.Fprintf(&b, "%.2f,%.4f,%.4f,%.4f", t, gravity*math.Sin(lean)+wave, 0.2*math.Cos(3*t), gravity*math.Cos(lean)-wave/2)
		if gyro {
			fmt.Fprintf(&b, ",0,%.5f,0", 0.4/7*math.Cos(t/7))
		}
		b.WriteString("\n")
	}
	return b.String()
}

// TestWeightless: an acceleration without gravity is refused with that reason,
// and of two candidates the one that shows gravity is taken.
func TestWeightless(t *testing.T) {
	for _, c := range []struct {
		gravity float64
		refused bool
	}{{9.81, false}, {9.4, false}, {0, true}, {1, true}, {98, true}} {
		l := mustRead(t, phoneCSV(c.gravity, true))
		if got := len(l.IMU.Time) == 0; got != c.refused {
			t.Errorf("gravity %v: %d samples", c.gravity, len(l.IMU.Time))
		}
		if c.refused {
			hasWarning(t, l, 0, "accelerometer acceleration without gravity")
			if n := dropped(l, "without gravity"); n != 6000 {
				t.Errorf("gravity %v: %d samples counted", c.gravity, n)
			}
		} else if len(l.Warnings) > 0 {
			t.Errorf("gravity %v: %v", c.gravity, l.Warnings)
		}
	}
	var logs []*Log
	for _, g := range []float64{0, 9.81} {
		l := mustRead(t, phoneCSV(g, false))
		l.Files[0].Name = fmt.Sprint(g)
		logs = append(logs, l)
	}
	l, err := Merge(logs)
	if err != nil || len(l.IMU.Time) != 6000 || l.Files[l.IMU.File].Name != "9.81" {
		t.Fatalf("%v, %d samples of %v", err, len(l.IMU.Time), l.Files[l.IMU.File].Name)
	}
}

// TestWrappedCounters: counters that begin anew go on, without a date; a logger
// that starts anew elsewhere does not.
func TestWrappedCounters(t *testing.T) {
	for name, c := range map[string]struct{ top, from float64 }{
		"µs of 32 bit":        {4294.967296, 4290},
		"ms of 32 bit":        {4294967.296, 4294960},
		"seconds of the day":  {86400, 86395},
		"seconds of the week": {604800, 604790.5},
	} {
		r := imuLog(grid(0, 50, 3000), grid(0, 50, 3000))
		*r = raw.Columns{File: r.File, Acc: r.Acc, Gyr: r.Gyr}
		for i := range r.Acc.Time {
			r.Acc.Time[i] = math.Mod(c.from+float64(i)/50, c.top)
		}
		r.Gyr.Time = r.Acc.Time
		if name == "seconds of the day" { // a row a sensor: equal times that are not one array
			r.Gyr.Time = slices.Clone(r.Acc.Time)
		}
		l, err := build(r)
		if err != nil {
			t.Fatal(err)
		}
		if len(l.IMU.Time) != 3000 || len(l.IMU.Gaps) > 0 || math.Abs(l.IMU.Rate-50) > 0.5 {
			t.Errorf("%s: %d samples at %v Hz, gaps %v", name, len(l.IMU.Time), l.IMU.Rate, l.IMU.Gaps)
		}
		if len(l.Warnings) != 1 || l.Warnings[0].Kind != raw.ClockWrapped || l.Warnings[0].Values[0] != c.top {
			t.Errorf("%s: %v", name, l.Warnings)
		}
	}
}

// TestTwoTracks: of two tracks of one time the longer is kept as it is, and the
// other named; dated fixes are not moved, whatever their order.
func TestTwoTracks(t *testing.T) {
	long, short := gpsLog(1, 600, 0.2, true), gpsLog(1, 400, 3, true)
	for i := range short.Gps.Time {
		short.Gps.Time[i] += 50.4 // another receiver's moments
	}
	two := *long
	two.Gps = raw.Fixes{
		Time: append(append([]float64(nil), short.Gps.Time...), long.Gps.Time...),
		Lat:  append(append([]float64(nil), short.Gps.Lat...), long.Gps.Lat...), Lon: append(append([]float64(nil), short.Gps.Lon...), long.Gps.Lon...),
		Alt: append(append([]float32(nil), short.Gps.Alt...), long.Gps.Alt...), Speed: append(append([]float32(nil), short.Gps.Speed...), long.Gps.Speed...),
		Course: append(append([]float32(nil), short.Gps.Course...), long.Gps.Course...),
	}
	want := append([]float64(nil), long.Gps.Time...)
	two.Start = noon
	l, err := build(&two)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.GPS.Time) != 600 || dropped(l, "another track") != 400 {
		t.Errorf("%d fixes, dropped %v", len(l.GPS.Time), l.Files[0].Dropped)
	}
	for i, x := range l.GPS.Time {
		if x != want[i] {
			t.Fatalf("fix %d moved from %v to %v", i, want[i], x)
		}
	}
	hasWarning(t, l, 0, "another track at the same time")

	// The same track written twice, and one in two halves the wrong way round.
	half := gpsLog(1, 600, 0.2, true)
	half.Start = noon
	turn := func(v []float64) []float64 { return append(append([]float64(nil), v[300:]...), v[:300]...) }
	turn32 := func(v []float32) []float32 { return append(append([]float32(nil), v[300:]...), v[:300]...) }
	f := &half.Gps
	f.Time, f.Lat, f.Lon, f.Alt, f.Speed, f.Course = turn(f.Time), turn(f.Lat), turn(f.Lon), turn32(f.Alt), turn32(f.Speed), turn32(f.Course)
	if l, err = build(half); err != nil || len(l.GPS.Time) != 600 || l.GPS.Time[599] != 599 || len(l.GPS.Gaps) > 0 {
		t.Fatalf("halves: %v, %d fixes to %v", err, len(l.GPS.Time), l.GPS.Time[len(l.GPS.Time)-1])
	}
}
