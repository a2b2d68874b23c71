package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
)

// TestMarkColumn: any text in the column is a mark at its row, once while it
// stays, also in a row that holds nothing else and at the file's ragged end,
// but not where the text itself may be cut.
func TestMarkColumn(t *testing.T) {
	text := "time_s,ax_mps2,ay_mps2,az_mps2,mark\n5,0,0,9.81,\n6,0,0,9.81,even\n7,0,0,9.81,even\n8,0,0,9.81,\n9,,,,\" front foot \"\n10,0,0,9.81,\n11,0,0,9.81,last\n12,0,0,9.81,fro"
	l := mustRead(t, text)
	if len(l.IMU.Time) != 7 || len(l.Warnings) > 0 {
		t.Errorf("%d samples, %v", len(l.IMU.Time), l.Warnings)
	}
	if got := fmt.Sprint(marksOf(l)); got != "[6 even 9 front foot 11 last]" {
		t.Errorf("marks %s", got)
	}
	l = mustRead(t, "# start: 2026-09-20T10:00:00Z\n"+text)
	if want := time.Date(2026, 9, 20, 10, 0, 6, 0, time.UTC); !l.Marks[0].Time.Equal(want) || l.Marks[0].At != 6 {
		t.Errorf("%+v, want %s", l.Marks[0], want)
	}
	columns, err := csv.ParseMap("m", []byte("time_s = \"t\"\nax_mps2 = \"x\"\nay_mps2 = \"y\"\naz_mps2 = \"z\"\nmark = \"note\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	m, err := readText("t,x,y,z,note\n0,1,2,9.81,\n0.01,1,2,9.81,go\n0.02,1,2,9.81,\n", Options{Map: columns})
	if err != nil || fmt.Sprint(marksOf(m)) != "[0.01 go]" {
		t.Errorf("by a map: %v, %v", marksOf(m), err)
	}
}

// TestMarkColumnOfFlags: 0 and false are no mark, and a changed text is a new one.
func TestMarkColumnOfFlags(t *testing.T) {
	for marks, want := range map[string]string{
		"0 0 1 1 0 1 0":                "[2 1 5 1]",
		"False False True False":       "[2 True]",
		"0.0 1.0 0.0":                  "[1 1.0]",
		"even back back even 0 even 0": "[0 even 1 back 3 even 5 even]",
	} {
		var b strings.Builder
		b.WriteString("time_s,ax_mps2,ay_mps2,az_mps2,mark\n")
		for i, m := range strings.Fields(marks) {
			fmt.Fprintf(&b, "%d,0,0,9.81,%s\n", i, m)
		}
		if got := fmt.Sprint(marksOf(mustRead(t, b.String()))); got != want {
			t.Errorf("%s: %s, want %s", marks, got, want)
		}
	}
}

func marksOf(l *Log) (out []any) {
	for _, m := range l.Marks {
		out = append(out, m.At, m.Text)
	}
	return out
}

// TestMarksKeepTheirClock: marks of the logger go with its clock, those of the
// receiver with its own.
func TestMarksKeepTheirClock(t *testing.T) {
	imu := mustRead(t, "time_s,ax_mps2,ay_mps2,az_mps2,mark\n9000,0,0,9.81,\n9001,0,0,9.81,even\n9002,0,0,9.81,\n")
	gps := mustRead(t, "# start: 2026-09-20T10:00:00Z\ntime_s,lat_deg,lon_deg,speed_mps,mark\n0,47,7,1,\n1,47.00001,7,1,go\n2,47.00002,7,1,\n")
	l, err := Merge([]*Log{imu, gps})
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(marksOf(l)); got != "[1 even 1 go]" {
		t.Errorf("merged: %s", got)
	}
	l.ShiftIMU(0, 0.5, 0, math.NaN(), math.NaN(), ByMotion) // 0.5 s fast: the log starts a second earlier
	if got := fmt.Sprint(marksOf(l)); got != "[1.5 even 2 go]" {
		t.Errorf("shifted: %s; times %v, %v", got, l.IMU.Time, l.GPS.Time)
	}
}

// TestMarksFollowTheClock: a mark stays beside its samples where a counter
// wraps, a logger starts anew, or a clock is set on the way.
func TestMarksFollowTheClock(t *testing.T) {
	const wrap = 4294.967296 // s, 2³² µs
	for name, c := range map[string]struct {
		first, again float64 // s, of ten seconds of rows each, with a mark in the middle
		want         string
	}{
		"wraps":      {wrap - 10, 0, "[5.000 even 15.000 back]"},
		"starts new": {0, 0, "[5.000 even 15.900 back]"}, // the pause is taken for one of a second
		"is set":     {5, 1789898400, "[5.000 even 15.900 back]"},
	} {
		var b strings.Builder
		b.WriteString("time_s,ax_mps2,ay_mps2,az_mps2,mark\n")
		for i := range 200 {
			from, text := c.first, map[int]string{50: "even", 150: "back"}[i]
			if i >= 100 {
				from = c.again - 10
			}
			fmt.Fprintf(&b, "%.3f,0,%.3f,9.81,%s\n", from+float64(i)/10, float64(i)/1000, text)
		}
		l := mustRead(t, b.String())
		var got []string
		for _, m := range l.Marks {
			got = append(got, fmt.Sprintf("%.3f %s", m.At-l.IMU.Time[0], m.Text))
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("%s: %s, want %s; %v", name, got, c.want, l.Warnings)
		}
		if i := slices.Index(l.IMU.Time, l.Marks[1].At); i != 150 {
			t.Errorf("%s: the second mark stands at sample %d", name, i)
		}
	}
}

// TestMarksFollowOneClock: a leap that samples and fixes of a file both show
// moves its marks once.
func TestMarksFollowOneClock(t *testing.T) {
	var b strings.Builder
	b.WriteString("# start: 2026-09-20T10:00:00Z\ntime_s,ax_mps2,ay_mps2,az_mps2,lat_deg,lon_deg,speed_mps,mark\n")
	for i := range 600 {
		x, fix, mark := float64(i)/10, ",,", ""
		if i < 300 {
			x += 20
		}
		if i%10 == 0 {
			fix = fmt.Sprintf("%.6f,7,5", 47+float64(i)*4.5e-6)
		}
		if i == 450 {
			mark = "here"
		}
		fmt.Fprintf(&b, "%.3f,0,%.3f,9.81,%s,%s\n", x, float64(i)/1000, fix, mark)
	}
	l := mustRead(t, b.String())
	if len(l.Marks) != 1 || l.Marks[0].At != l.IMU.Time[450] || len(l.GPS.Time) != 60 {
		t.Errorf("%v, not at %v s; %v", l.Marks, l.IMU.Time[450], l.Warnings)
	}
}

// TestCountedMarks: a counter of marks is no share of anything.
func TestCountedMarks(t *testing.T) {
	l := mustRead(t, "time_s,ax_mps2,ay_mps2,az_mps2,mark\n0,0,0,9.81,0\n1,0,0,9.81,1\n2,0,0,9.81,1\n3,0,0,9.81,2\n4,0,0,9.81,3\n")
	if got := fmt.Sprint(marksOf(l)); got != "[1  3  4 ]" {
		t.Error(got)
	}
}

// TestTimeOfDates: a column of dates called time needs no unit, also beside
// columns of ours; one of numbers does.
func TestTimeOfDates(t *testing.T) {
	l := mustRead(t, "time,front_n,back_n\n2026-09-20T10:00:00Z,400,300\n2026-09-20T10:00:00.5Z,401,300\n")
	if len(l.Decks) != 1 || l.Decks[0].Time[1] != 0.5 || l.Start.Hour() != 10 {
		t.Errorf("%+v", l)
	}
	if _, err := readText("time,front_n,back_n\n0,400,300\n0.5,401,300\n", Options{}); err == nil || !strings.Contains(err.Error(), "does not say its unit") {
		t.Error(err)
	}
}

// TestTrackType: the sport that a GPX track names is a mark of its session.
func TestTrackType(t *testing.T) {
	const point = "<trkpt lat='47' lon='7.%d'><time>2026-09-20T10:00:0%dZ</time></trkpt>"
	for sport, want := range map[string]string{"Trail_Running": "trail running", "9": ""} {
		l := mustRead(t, "<gpx><trk><type>"+sport+"</type><trkseg>"+fmt.Sprintf(point+point, 1, 1, 2, 2)+"</trkseg></trk></gpx>")
		got := ""
		for _, m := range l.Marks {
			got += m.Text
			if m.Kind != raw.Session || m.Time.Second() != 1 {
				t.Errorf("%+v", m)
			}
		}
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
