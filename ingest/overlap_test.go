package ingest

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/csv"
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
	u.Gaps = findGaps(u.Time, period(u.Time))
	for _, c := range []struct {
		name string
		logs []*Log
		want string // "" for nothing
	}{
		{"the same time", []*Log{imu(noon, 600), gps(noon, 600)}, ""},
		{"most of it", []*Log{imu(noon, 600), gps(noon.Add(-time.Minute), 700)}, ""},
		{"half a logger", []*Log{imu(noon.Add(time.Minute), 17*60), gps(noon, 35*60)}, "There is motion for 17 of the 35 minutes of the GPS log"},
		{"a watch that died", []*Log{imu(noon, 600), gps(noon, 150)}, "There is GPS for 2.5 of the 10 minutes of the motion log"},
		{"a hole", []*Log{holed, gps(noon, 600)}, "There is motion for 5 of the 10 minutes"},
		{"an hour off", []*Log{imu(noon.Add(time.Hour), 600), gps(noon, 600)}, "share no time: the motion starts 50 minutes after the other ends"},
		{"an hour off, the other way", []*Log{imu(noon.Add(-time.Hour), 600), gps(noon, 600)}, "share no time: the GPS starts 50 minutes after"},
		{"no date, as long", []*Log{imu(none, 600), gps(noon, 600)}, ""},
		{"no date, half", []*Log{imu(none, 300), gps(noon, 600)}, "The motion was logged for 5 minutes and the GPS for 10 minutes"},
		{"too short to matter", []*Log{imu(noon, 30), gps(noon, 100)}, ""},
	} {
		l, err := Merge(c.logs)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case c.want == "" && len(l.Warnings) > 0:
			t.Errorf("%s: %v", c.name, l.Warnings)
		case c.want != "" && (len(l.Warnings) != 1 || !strings.Contains(l.Warnings[0].What, c.want)):
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
	hasWarning(t, l, 0, "There is motion for 3.3 of the 10 minutes")
}

// TestInspectTogether: several logs are told as they fit together, and no log
// is blamed for what another brings.
func TestInspectTogether(t *testing.T) {
	logs := []*Log{imuPart("gyr.csv", noon, 0, 50*600, false, true), imuPart("acc.csv", noon, 0, 50*600, true, false), gpsPart("gps", noon, 1200, true)}
	var b bytes.Buffer
	if err := WriteInspect(&b, logs); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	if strings.Contains(text, "no accelerometer") || strings.Count(text, "problems    none") != 3 {
		t.Errorf("a gyroscope that has its accelerometer is blamed:\n%s", text)
	}
	if _, after, _ := strings.Cut(text, "\ntogether\n"); !strings.Contains(after, "both UTC") || !strings.Contains(after, "motion for 10 of the 20 minutes") {
		t.Errorf("does not say how they fit:\n%s", text)
	}
	b.Reset()
	if err := WriteInspectJSON(&b, logs, DescribeMap("x.csv", "a map")); err != nil {
		t.Fatal(err)
	}
	var back []Inspection
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if len(back) != 5 || len(back[0].Warnings) != 0 || !back[3].Together || len(back[3].Warnings) != 1 || back[4].Map != "a map" || back[4].Files[0].Name != "x.csv" {
		t.Errorf("%s", b.String())
	}
	if strings.Contains(b.String(), "null") {
		t.Errorf("a null list in %s", b.String())
	}

	b.Reset()
	if err := WriteInspect(&b, logs[:1]); err != nil || !strings.Contains(b.String(), "no accelerometer") || strings.Contains(b.String(), "\ntogether") {
		t.Errorf("a gyroscope alone: %v\n%s", err, b.String())
	}
	b.Reset()
	logs[0] = gpsPart("old", noon.Add(-72*time.Hour), 60, true)
	if err := WriteInspect(&b, logs); err != nil || !strings.Contains(b.String(), "These logs are not of one outing") {
		t.Errorf("two outings: %v\n%s", err, b.String())
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
