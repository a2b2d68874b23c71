package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// speedText is the course of boardAt as a CSV whose speeds come out times too
// large when read as the column says.
func speedText(column string, times, hz, sd float64, n int) string {
	r := gpsLog(hz, n, sd, true)
	q, u, _ := unit.Split(column)
	if q == nil || u == nil {
		u = &unit.Unit{Scale: 1}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "time_s,lat_deg,lon_deg,%s\n", column)
	for i, x := range r.Gps.Time {
		fmt.Fprintf(&b, "%g,%.8f,%.8f,%.3f\n", x, r.Gps.Lat[i], r.Gps.Lon[i], float64(r.Gps.Speed[i])*times/u.Scale)
	}
	return b.String()
}

// TestSpeedUnit: speeds in another unit than the column says are told from the
// positions of the same file, named, and replaced; sound ones are left alone.
func TestSpeedUnit(t *testing.T) {
	const kn = 1852.0 / 3600
	for _, c := range []struct {
		name, column string
		times        float64 // as large as true
		hz, sd       float64
		n            int
		want         string // "" for no warning
	}{
		{"sound, 1 Hz", "speed_kn", 1, 1, 1, 600, ""},
		{"sound, 10 Hz", "speed_mps", 1, 10, 0.3, 3000, ""},
		{"sound, one fix in 5 s", "speed_kmh", 1, 0.2, 2, 300, ""},
		{"5 % too fast", "speed_kn", 1.05, 1, 0.5, 600, ""},
		{"km/h as knots", "speed_kn", 3.6 * kn, 1, 1, 600, `another unit, "kmh", "kn", "speed_kn"`},
		{"km/h as knots, 10 Hz", "speed_kn", 3.6 * kn, 10, 0.3, 3000, `another unit, "kmh", "kn", "speed_kn"`},
		{"knots as km/h", "speed_kmh", 1 / kn / 3.6, 1, 1, 600, `another unit, "kn", "kmh", "speed_kmh"`},
		{"knots as m/s", "speed_mps", 1 / kn, 1, 1, 600, `another unit, "kn", "mps", "speed_mps"`},
		{"km/h as m/s", "speed_mps", 3.6, 1, 1, 600, `another unit, "kmh", "mps", "speed_mps"`},
		{"m/s as knots", "speed_kn", kn, 1, 1, 600, `another unit, "mps", "kn", "speed_kn"`},
		{"mph as knots", "speed_kn", kn / 0.44704, 1, 1, 600, `another unit, "mph", "kn", "speed_kn"`},
		{"no unit", "speed_mps", 1.3, 1, 1, 600, `another unit, "", "mps"`},
		{"too short to tell", "speed_kn", 3.6 * kn, 1, 1, 60, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := readText(speedText(c.column, c.times, c.hz, c.sd, c.n), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if c.want == "" {
				if len(l.Warnings) > 0 || l.GPS.SpeedFrom != "receiver" {
					t.Errorf("speeds from %s, warnings %v", l.GPS.SpeedFrom, l.Warnings)
				}
				return
			}
			hasWarning(t, l, 0, c.want)
			if len(l.Warnings) != 1 || l.GPS.SpeedFrom != "positions" {
				t.Errorf("speeds from %s, warnings %v", l.GPS.SpeedFrom, l.Warnings)
			}
			var off []float64
			for i, x := range l.GPS.Time {
				if _, _, v, straight := boardAt(x); straight {
					off = append(off, math.Abs(float64(l.GPS.Speed[i])-v))
				}
			}
			if m := raw.Median(off); m > 1 {
				t.Errorf("the speeds that are used are off by %.2f m/s", m)
			}
		})
	}
}

// TestSpeedUnitElsewhere: a column map is named as the one that says the unit,
// times in another unit are not blamed on the speeds, and a drifting receiver
// at rest tells nothing.
func TestSpeedUnitElsewhere(t *testing.T) {
	m, err := csv.ParseMap("m", []byte("time_s = \"time_s\"\nlat = \"lat_deg\"\nlon = \"lon_deg\"\nspeed_mps = \"v\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := readText(speedText("v", 3.6, 1, 1, 600), Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, l, 0, `another unit, 1, "kmh", "mps", "v"`)

	fast := strings.Replace(speedText("speed_mps", 1, 1, 1, 600), "time_s", "time_ms", 1)
	if l, err = readText(fast, Options{}); err != nil {
		t.Fatal(err)
	}
	for _, w := range l.Warnings {
		if w.Kind == raw.WrongSpeed {
			t.Errorf("times in another unit: %v", w)
		}
	}

	r := gpsLog(1, 600, 0.5, true)
	for i := range r.Gps.Time {
		r.Gps.Lat[i], r.Gps.Lon[i] = r.Gps.Lat[0]+1e-6*math.Sin(float64(i)), r.Gps.Lon[0]
		r.Gps.Speed[i] = 0.4
	}
	if l, err = build(r); err != nil || len(l.Warnings) > 0 {
		t.Errorf("at rest: %v, %v", l.Warnings, err)
	}
}
