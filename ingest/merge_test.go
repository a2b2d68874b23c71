package ingest

import (
	"evenfoot/ingest/csv"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/raw"
)

var noon = time.Date(2026, 9, 20, 12, 0, 0, 0, time.UTC)

// imuPart is a mended log with only an IMU, n samples at 50 Hz from second t0.
func imuPart(name string, start time.Time, t0 float64, n int, acc, gyr bool) *Log {
	r := imuLog(grid(t0, 50, n), grid(0, 50, n))
	r.File.Name, r.Start = name, start
	if !gyr {
		r.Gyr = raw.Series{}
	}
	if !acc {
		r.Acc = raw.Series{}
	}
	l, err := build(r)
	if err != nil {
		panic(err)
	}
	return l
}

func gpsPart(name string, start time.Time, n int, withSpeed bool) *Log {
	r := gpsLog(1, n, 0.1, withSpeed)
	r.File.Name, r.Start = name, start
	l, err := build(r)
	if err != nil {
		panic(err)
	}
	return l
}

func TestMerge(t *testing.T) {
	var none time.Time
	for _, c := range []struct {
		name         string
		logs         []*Log
		start        time.Time
		imu0, gps0   float64
		imuN, gpsN   int
		tied         bool
		how          Tie
		warn, refuse string
	}{
		{name: "two devices, both UTC",
			logs:  []*Log{imuPart("imu", noon.Add(-5*time.Second), 0, 3000, true, true), gpsPart("gps", noon, 60, true)},
			start: noon.Add(-5 * time.Second), imu0: 0, gps0: 5, imuN: 3000, gpsN: 60, how: BothUTC},
		{name: "an IMU without a date",
			logs:  []*Log{gpsPart("gps", noon, 60, true), imuPart("imu", none, 7, 3000, true, true)},
			start: noon, imu0: 7, gps0: 0, imuN: 3000, gpsN: 60},
		{name: "an IMU that counts since it was switched on",
			logs:  []*Log{gpsPart("gps", noon, 60, true), imuPart("imu", none, 1e5, 3000, true, true)},
			start: noon, imu0: 0, gps0: 0, imuN: 3000, gpsN: 60},
		{name: "one sensor a file",
			logs:  []*Log{imuPart("acc", noon, 0, 3000, true, false), imuPart("gyr", noon.Add(3*time.Millisecond), 0, 3000, false, true), gpsPart("gps", noon, 60, true)},
			start: noon, imu0: 0.02, gps0: 0, imuN: 2999, gpsN: 60, how: BothUTC},
		{name: "one sensor a file, no date, far zero",
			logs: []*Log{imuPart("acc", none, 1e5, 3000, true, false), imuPart("gyr", none, 1e5+0.003, 3000, false, true)},
			imu0: 0, imuN: 2999},
		{name: "split in sequence",
			logs:  []*Log{imuPart("b", noon.Add(70*time.Second), 0, 3000, true, true), imuPart("a", noon, 0, 3000, true, true), gpsPart("gps", noon, 120, true)},
			start: noon, imu0: 0, gps0: 0, imuN: 6000, gpsN: 120, how: BothUTC},
		{name: "two watches",
			logs:  []*Log{gpsPart("long", noon, 300, true), gpsPart("short", noon, 100, true), imuPart("imu", noon, 0, 3000, true, true)},
			start: noon, imuN: 3000, gpsN: 300, how: BothUTC, warn: `GPS not used, "long", "short"`},
		{name: "own speed beats positions",
			logs:  []*Log{gpsPart("phone", noon, 110, false), gpsPart("watch", noon, 100, true)},
			start: noon, gpsN: 100, warn: `GPS not used, "watch"`},
		{name: "two loggers",
			logs:  []*Log{imuPart("no gyro", noon, 0, 5000, true, false), imuPart("full", noon, 0, 3000, true, true)},
			start: noon, imuN: 3000, warn: `accelerometer not used, "full", "no gyro"`},
		{name: "a lonely gyroscope",
			logs:  []*Log{imuPart("gyr", none, 0, 3000, false, true), gpsPart("gps", noon, 100, true)},
			start: noon, gpsN: 100, warn: `gyroscope not used, "gyr"`},
		{name: "another day",
			logs:   []*Log{gpsPart("monday", noon, 60, true), imuPart("sunday", noon.Add(-24*time.Hour), 0, 3000, true, true)},
			refuse: "not of one outing: sunday ends on 2026-09-19 12:00 UTC and monday starts on 2026-09-20 12:00 UTC, 24.0 hours later"},
		{name: "an hour apart may be a time zone",
			logs:  []*Log{gpsPart("gps", noon, 60, true), imuPart("imu", noon.Add(time.Hour), 0, 3000, true, true)},
			start: noon, imu0: 3600, imuN: 3000, gpsN: 60, how: BothUTC},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := Merge(c.logs)
			if c.refuse != "" {
				if err == nil || !strings.Contains(err.Error(), c.refuse) {
					t.Fatalf("%v, want %q", err, c.refuse)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if !l.Start.Equal(c.start) {
				t.Errorf("start %v, want %v", l.Start, c.start)
			}
			if len(l.IMU.Time) != c.imuN || len(l.GPS.Time) != c.gpsN {
				t.Fatalf("%d samples, %d fixes; want %d, %d", len(l.IMU.Time), len(l.GPS.Time), c.imuN, c.gpsN)
			}
			if c.imuN > 0 && math.Abs(l.IMU.Time[0]-c.imu0) > 1e-9 || c.gpsN > 0 && math.Abs(l.GPS.Time[0]-c.gps0) > 1e-9 {
				t.Errorf("IMU starts at %v, GPS at %v", l.IMU.Time[0], l.GPS.Time[0])
			}
			if !increasing(l.IMU.Time) || !increasing(l.GPS.Time) {
				t.Error("times do not increase")
			}
			if l.Clock.Tied != c.tied || l.Clock.How != c.how {
				t.Errorf("clock %+v", l.Clock)
			}
			if c.imuN > 0 && l.Files[l.IMU.File].Name != c.logs[0].Files[0].Name && l.IMU.File == 0 {
				t.Errorf("IMU.File %d", l.IMU.File)
			}
			if len(l.Files) != len(c.logs) {
				t.Errorf("%d files", len(l.Files))
			}
			if c.warn != "" {
				hasWarning(t, l, 0, c.warn)
			} else if len(l.Warnings) > 0 {
				t.Errorf("warnings %v", l.Warnings)
			}
			if strings.HasPrefix(c.name, "split") && len(l.IMU.Gaps) != 1 {
				t.Errorf("gaps %v", l.IMU.Gaps)
			}
			if strings.HasPrefix(c.name, "one sensor") && !l.IMU.hasGyro() {
				t.Error("no gyroscope")
			}
		})
	}
}

// TestMergeLeavesItsInput: merging must not change the logs it is given.
func TestMergeLeavesItsInput(t *testing.T) {
	a, b := imuPart("imu", noon.Add(9*time.Second), 0, 3000, true, true), gpsPart("gps", noon, 60, true)
	t0, g0 := slices.Clone(a.IMU.Time), slices.Clone(b.GPS.Time)
	l, err := Merge([]*Log{a, b})
	if err != nil {
		t.Fatal(err)
	}
	mine := l.GPS.Time
	l.ShiftIMU(0, 15, 0, 0.1, 1, ByMotion)
	if &mine[0] != &l.GPS.Time[0] || mine[0] != 6 {
		t.Error("slices of the times must stay in step")
	}
	if !slices.Equal(a.IMU.Time, t0) || !slices.Equal(b.GPS.Time, g0) || !a.Start.Equal(noon.Add(9*time.Second)) {
		t.Error("the input was changed")
	}
	one, err := Merge([]*Log{a})
	if err != nil || one != a {
		t.Errorf("a single log is itself: %v", err)
	}
	if _, err := Merge(nil); err == nil {
		t.Error("nothing to merge must be an error")
	}
}

func TestShiftIMU(t *testing.T) {
	for _, offset := range []float64{-1800, -0.3, 0, 0.3, 1700} {
		const drift = 80.0
		gps := gpsPart("gps", noon, 600, true)
		n := 30000
		l := &Log{Start: noon, GPS: gps.GPS}
		// True times 0 to 600 s on an IMU clock that is off.
		const at = 250.0
		l.IMU.Time = make([]float64, n)
		for i := range n {
			x := float64(i) / 50
			l.IMU.Time[i] = x + offset + drift*1e-6*(x-at)
		}
		l.IMU.Gaps = []Span{{Start: l.IMU.Time[100], End: l.IMU.Time[200]}}
		l.ShiftIMU(at, offset, drift, 0.05, 2, ByMotion)
		for i, x := range l.IMU.Time {
			if d := x - l.GPS.Time[0] - float64(i)/50; math.Abs(d) > 1e-6 {
				t.Fatalf("offset %v: sample %d is off by %v", offset, i, d)
			}
		}
		if d := l.IMU.Gaps[0].Start - l.IMU.Time[100]; math.Abs(d) > 1e-9 {
			t.Errorf("gap is off by %v", d)
		}
		mid := offset + drift*1e-6*(299.99-at)
		if !l.Clock.Tied || l.Clock.How != ByMotion || math.Abs(l.Clock.OffsetS-mid) > 1e-6 {
			t.Errorf("clock %+v, want offset %v", l.Clock, mid)
		}
	}
	l := &Log{Start: noon, IMU: IMU{Time: []float64{1, 2, 3}}, GPS: GPS{Time: []float64{0, 1}}}
	l.ShiftIMU(0, 11.5, 0, 0, 0, ByMotion)
	if !l.Start.Equal(noon.Add(-11*time.Second)) || l.IMU.Time[0] != 0.5 || l.GPS.Time[0] != 11 {
		t.Errorf("an IMU that begins first: %v %v %v", l.Start, l.IMU.Time, l.GPS.Time)
	}
}

// TestLocalTimes: a local time of an unknown zone is no UTC beside a log that
// is; the map's zone makes it one.
func TestLocalTimes(t *testing.T) {
	var acc, gps strings.Builder
	acc.WriteString("Timestamp,acc_x,acc_y,acc_z,gyr_x (rad/s),gyr_y (rad/s),gyr_z (rad/s)\n")
	gps.WriteString("time_utc,speed_kn\n")
	for i := range 600 {
		fmt.Fprintf(&acc, "2026-09-20 12:%02d:%02d.%d,0,0,9.8,0,0,0\n", i/60%10, i%60, i%10)
	}
	for i := range 60 {
		fmt.Fprintf(&gps, "2026-09-20T10:00:%02dZ,12\n", i)
	}
	imu, err := readText(acc.String(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, imu, 1, "without a zone")
	if imu.Start.Hour() != 12 {
		t.Errorf("alone it keeps its time of day, not %s", imu.Start)
	}
	watch := mustRead(t, gps.String())
	l, err := Merge([]*Log{imu, watch})
	if err != nil {
		t.Fatal(err)
	}
	if l.Clock.How != "" || l.Clock.Tied || l.Start.Hour() != 10 || l.IMU.Time[0] != 0 {
		t.Errorf("merged from %s, clock %+v, motion from %v s", l.Start, l.Clock, l.IMU.Time[0])
	}
	for zone, how := range map[string]Tie{"+02:00": BothUTC, "Europe/Madrid": BothUTC} {
		m, err := csv.ParseMap("m", []byte("zone = \""+zone+"\"\ntime_utc = \"Timestamp\"\nax_mps2 = \"acc_x\"\nay_mps2 = \"acc_y\"\naz_mps2 = \"acc_z\"\n"))
		if err != nil {
			t.Fatal(err)
		}
		imu, err := readText(acc.String(), Options{Map: m})
		if err != nil {
			t.Fatal(err)
		}
		if l, err = Merge([]*Log{imu, watch}); err != nil || l.Clock.How != how || l.IMU.Time[0] != 0 {
			t.Errorf("%s: %v, %+v, motion from %v s", zone, err, l.Clock, l.IMU.Time[0])
		}
	}
	if _, err := csv.ParseMap("m", []byte("zone = \"Atlantis\"\nax_g = \"x\"\n")); err == nil || !strings.Contains(err.Error(), "offset from UTC") {
		t.Error(err)
	}
}
