package ingest

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
)

// TestOverlap: how much of one device's log the other covers is said when it
// is not most of it.
func TestOverlap(t *testing.T) {
	var none time.Time
	imu := func(start time.Time, seconds int) *Log { return imuPart("imu", start, 0, 50*seconds, true, true) }
	gps := func(start time.Time, seconds int) *Log { return gpsPart("gps", start, seconds, true) }
	holed := imuPart("imu", noon, 0, 50*600, true, true) // without seconds 100 to 400
	u := &holed.IMU
	from, to := 100*50, 400*50
	u.Time = append(u.Time[:from:from], u.Time[to:]...)
	for k := range 3 {
		u.Acc[k], u.Gyr[k] = append(u.Acc[k][:from:from], u.Acc[k][to:]...), append(u.Gyr[k][:from:from], u.Gyr[k][to:]...)
	}
	u.Gaps, _ = pace(u.Time)
	for _, c := range []struct {
		name string
		logs []*Log
		want string // "" for nothing
	}{
		{"the same time", []*Log{imu(noon, 600), gps(noon, 600)}, ""},
		{"most of it", []*Log{imu(noon, 600), gps(noon.Add(-time.Minute), 700)}, ""},
		{"half a logger", []*Log{imu(noon.Add(time.Minute), 17*60), gps(noon, 35*60)}, "motion for a part, 1020, 2099"},
		{"a watch that died", []*Log{imu(noon, 600), gps(noon, 150)}, "GPS for a part, 149, 600"},
		{"a hole", []*Log{holed, gps(noon, 600)}, "motion for a part, 299, 599"},
		{"an hour off", []*Log{imu(noon.Add(time.Hour), 600), gps(noon, 600)}, "motion no shared time, 3001"},
		{"an hour off, the other way", []*Log{imu(noon.Add(-time.Hour), 600), gps(noon, 600)}, "GPS no shared time, 3000"},
		{"no date, as long", []*Log{imu(none, 600), gps(noon, 600)}, ""},
		{"no date, half", []*Log{imu(none, 300), gps(noon, 600)}, "different length, 300, 599"},
		{"too short to matter", []*Log{imu(noon, 30), gps(noon, 100)}, ""},
	} {
		l, err := Merge(c.logs)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case c.want == "" && len(l.Warnings) > 0:
			t.Errorf("%s: %v", c.name, l.Warnings)
		case c.want != "" && (len(l.Warnings) != 1 || !strings.Contains(l.Warnings[0].String(), c.want)):
			t.Errorf("%s: %v, want %q", c.name, l.Warnings, c.want)
		}
	}
	// One file with both.
	r := gpsLog(1, 600, 0.1, true)
	m := imuLog(grid(0, 50, 50*200), grid(0, 50, 50*200))
	r.Acc, r.Gyr = m.Acc, m.Gyr
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, l, 0, "motion for a part, 200, 599")
}

// TestTogether: several logs are told as they fit together, and no log is
// blamed for what another brings.
func TestTogether(t *testing.T) {
	logs := []*Log{imuPart("gyr.csv", noon, 0, 50*600, false, true), imuPart("acc.csv", noon, 0, 50*600, true, false), gpsPart("gps", noon, 1200, true)}
	one, own := Together(logs)
	if len(own) != 3 || len(own[0])+len(own[1])+len(own[2]) > 0 || len(logs[0].Warnings) != 1 {
		t.Errorf("a gyroscope that has its accelerometer is blamed: %v", own)
	}
	if one.Clock.How != BothUTC || len(one.Warnings) != 1 || one.Warnings[0].Kind != raw.MotionPartly {
		t.Errorf("how they fit: %+v", one)
	}
	if one, own = Together(logs[:1]); one != nil || len(own[0]) != 1 || own[0][0].Kind != raw.OnlyGyro {
		t.Errorf("a gyroscope alone: %v, %v", one, own)
	}
	logs[0] = gpsPart("old", noon.Add(-72*time.Hour), 60, true)
	if one, _ = Together(logs); len(one.Warnings) != 1 || one.Warnings[0].Kind != raw.NotOneOuting {
		t.Errorf("two outings: %v", one)
	}
}

// TestNeedsMap tells a refusal that a column map helps from others.
func TestNeedsMap(t *testing.T) {
	_, err := readText("t,x,y,z\n0,1,2,9\n", Options{})
	what, needs := csv.NeedsMap(err)
	if !needs || strings.Contains(what, "inspect") || !strings.Contains(err.Error(), "evenfoot inspect --write-map") {
		t.Errorf("%v, %q from %v", needs, what, err)
	}
	if _, err = readText("", Options{}); err == nil {
		t.Fatal("no error")
	}
	if _, needs = csv.NeedsMap(err); needs {
		t.Errorf("a map is no help for %v", err)
	}
	if _, err = Open(t.TempDir(), Options{}); err == nil || !strings.Contains(err.Error(), "name the log files in it") {
		t.Errorf("a folder: %v", err)
	}
	if name := csv.Beside(filepath.Join(t.TempDir(), "a.csv")); name != "" {
		t.Errorf("there is no %s", name)
	}
}
