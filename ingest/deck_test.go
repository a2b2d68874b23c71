package ingest_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/write"
)

func openDeck(t *testing.T, text, columnMap string) (*ingest.Log, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "feet.csv")
	if columnMap != "" {
		if err := os.WriteFile(path+".map.toml", []byte(columnMap), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return ingest.Open(path, ingest.Options{})
}

func TestForcesOfTheFeet(t *testing.T) {
	const rows = "0,10,20,30\n1,11,21,31\n2,12,22,32\n"
	const kgf, lbf = 9.80665, 4.4482216152605 // NIST SP 811
	for _, c := range []struct {
		name, text, columnMap string
		want                  [3]float64 // the first sample
		sides                 bool
		warns                 raw.Kind
	}{
		{"front and back", "time_s,front_n,back_n,pitch_moment_nm\n" + rows, "", [3]float64{10, 20, 30}, false, ""},
		{"sides in other units", "time_s;left_kgf;right_lbf;pitch_moment_lbfft\n" + strings.ReplaceAll(rows, ",", ";"), "",
			[3]float64{10 * kgf, 20 * lbf, 30 * 1.3558179483314}, true, ""},
		{"through a map", "t,heel pad,toe pad,x\n" + rows, "time = { column = \"t\", unit = \"s\" }\nback = { column = \"heel pad\", unit = \"kg\" }\nfront_n = \"toe pad\"\n",
			[3]float64{20, 10 * kgf, math.NaN()}, false, ""},
		{"moment alone", "time_s,pitch_moment_nm,a,b\n" + rows, "", [3]float64{math.NaN(), math.NaN(), 10}, false, raw.UnknownColumns},
		{"one foot", "time_s,left_n,pitch_moment_nm,x\n" + rows, "", [3]float64{math.NaN(), math.NaN(), 20}, true, raw.OneFoot},
		{"a foot missing in a row", "time_s,front_n,back_n,pitch_moment_nm\n-1,5,,7\n" + rows, "", [3]float64{math.NaN(), math.NaN(), 7}, false, ""},
		{"both ways", "time_s,front_n,back_n,left_n,right_n\n0,1,2,3,4\n1,1,2,3,4\n", "", [3]float64{1, 2, math.NaN()}, false, raw.FeetTwice},
		{"a pair and a lone side after it", "time_s,front_n,back_n,left_n\n-1,5,,7\n" + rows, "", [3]float64{10, 20, math.NaN()}, false, raw.OneFoot},
		{"a pair and a lone side before it", "time_s,left_n,front_n,back_n\n-1,5,,7\n" + rows, "", [3]float64{20, 30, math.NaN()}, false, raw.OneFoot},
		{"sides and a lone place", "time_s,front_n,left_n,right_n\n-1,5,,7\n" + rows, "", [3]float64{20, 30, math.NaN()}, true, raw.OneFoot},
	} {
		l, err := openDeck(t, c.text, c.columnMap)
		if err != nil || len(l.Decks) != 1 {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if n := slices.IndexFunc(l.Files[0].Dropped, func(d ingest.Dropped) bool { return d.Reason == raw.FootMissing }); (n >= 0) != strings.Contains(c.text, "\n-1,") {
			t.Errorf("%s: dropped %v", c.name, l.Files[0].Dropped)
		}
		d := l.Decks[0]
		for k, got := range []float32{d.Feet[0][0], d.Feet[1][0], d.Moment[0]} {
			if want := float32(c.want[k]); !raw.Equal(got, want) && math.Abs(float64(got/want)-1) > 1e-6 {
				t.Errorf("%s: column %d is %v, want %v", c.name, k, got, want)
			}
		}
		if d.Sides != c.sides && d.HasFeet() {
			t.Errorf("%s: sides %v", c.name, d.Sides)
		}
		if c.warns != "" && !slices.ContainsFunc(l.Warnings, func(w raw.Warning) bool { return w.Kind == c.warns }) {
			t.Errorf("%s: warned of %v, not of %q", c.name, l.Warnings, c.warns)
		}
		var b bytes.Buffer
		if err := write.CSV(&b, l); err != nil {
			t.Fatal(err)
		}
		again, err := openDeck(t, b.String(), "")
		if err != nil {
			t.Errorf("%s, written and read again: %v", c.name, err)
			continue
		}
		e := again.Decks[0]
		same := func(a, b []float32) bool { return slices.EqualFunc(a, b, raw.Equal[float32]) }
		if !slices.Equal(d.Time, e.Time) || !same(d.Feet[0], e.Feet[0]) || !same(d.Feet[1], e.Feet[1]) || !same(d.Moment, e.Moment) {
			t.Errorf("%s: not the same when written and read again", c.name)
		}
	}
	for name, text := range map[string]string{
		"does not say its unit": "time_s,front_kg,back_kg\n0,1,2\n",
		"no usable sample":      "time_s,front_n,back_n\n0,1,\n1,,2\n",
		"no accelerometer":      "time_s,front_n\n0,1\n1,2\n",
	} {
		if _, err := openDeck(t, text, ""); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// TestDeckGoesWithItsClock: forces beside motion move with the IMU's clock, a
// file of their own stays by its own.
func TestDeckGoesWithItsClock(t *testing.T) {
	imu := "time_s,ax_mps2,ay_mps2,az_mps2,front_n,back_n\n"
	gps := "# start: 2026-09-20T10:00:00Z\ntime_s,lat_deg,lon_deg,speed_mps\n"
	own := "# start: 2026-09-20T10:00:05Z\ntime_s,left_n,right_n\n"
	for i := range 200 {
		s := strings.Repeat("0", 3-len(strconv.Itoa(i))) + strconv.Itoa(i)
		imu += strconv.Itoa(i/10) + "." + strconv.Itoa(i%10) + ",0,0.1,9.8" + s + ",400,300\n"
		gps += strconv.Itoa(i) + ",46.3,86.7,5.1\n"
		own += strconv.Itoa(i) + ",40" + s + ",30\n"
	}
	var logs []*ingest.Log
	for _, text := range []string{imu, gps, own} {
		l, err := openDeck(t, text, "")
		if err != nil {
			t.Fatal(err)
		}
		logs = append(logs, l)
	}
	l, err := ingest.Merge(logs)
	if err != nil || len(l.Decks) != 2 {
		t.Fatal(err, l.Decks)
	}
	l.ShiftIMU(0, -30, 0, 0.1, 0.1, ingest.ByMotion)
	beside, alone := l.Decks[0], l.Decks[1]
	if !l.SharesClock(beside.File) || l.SharesClock(alone.File) {
		t.Errorf("files %v", l.Files)
	}
	if beside.Time[0] != l.IMU.Time[0] || beside.Time[0] != 30 {
		t.Errorf("forces beside motion begin at %v, motion at %v", beside.Time[0], l.IMU.Time[0])
	}
	if alone.Time[0] != 5 {
		t.Errorf("forces of their own begin at %v", alone.Time[0])
	}
}

// TestInsolesApart: a file for each insole makes one deck, on the left one's times.
func TestInsolesApart(t *testing.T) {
	insole := func(name string, first int) *ingest.Log {
		text := "# start: 2026-09-20T10:00:00Z\ntime_s," + name + "_n\n"
		for i := range 100 {
			text += strconv.Itoa(first+i) + "," + strconv.Itoa(100*first+10*i) + "\n"
		}
		l, err := openDeck(t, text, "")
		if err != nil || len(l.Decks) != 0 || len(l.Warnings) != 1 || l.Warnings[0].Kind != raw.OneFoot {
			t.Fatal(err, l)
		}
		l.Files[0].Name, l.Warnings[0].File = name, name
		return l
	}
	left, right := insole("left", 0), insole("right", 3)
	gps, err := openDeck(t, "# start: 2026-09-20T10:00:00Z\ntime_s,lat_deg,lon_deg,speed_mps\n0,46.3,86.7,5.1\n1,46.30005,86.7,5.1\n", "")
	if err != nil {
		t.Fatal(err)
	}
	l, err := ingest.Merge([]*ingest.Log{right, left, gps})
	if err != nil || len(l.Decks) != 1 {
		t.Fatal(err, l)
	}
	d := l.Decks[0]
	if len(d.Time) != 97 || d.Time[0] != 3 || d.Feet[0][0] != 30 || d.Feet[1][0] != 300 || d.Feet[1][96] != 300+960 || !d.Sides || d.HasMoment() {
		t.Errorf("%+v", d)
	}
	if slices.ContainsFunc(l.Warnings, func(w raw.Warning) bool { return w.Kind == raw.OneFoot }) {
		t.Errorf("%v", l.Warnings)
	}
	if alone, err := ingest.Merge([]*ingest.Log{left, gps}); err != nil || len(alone.Decks) != 0 || len(alone.Warnings) != 1 {
		t.Errorf("one alone: %v, %v", err, alone)
	}
}

// TestInsolesInParts: insoles split in sequence lose nothing; counters without a
// date are joined with a warning, and not at all where parts could be mixed up.
func TestInsolesInParts(t *testing.T) {
	insole := func(name, side, start string, from, n int) *ingest.Log {
		text := start + "time_s," + side + "_n\n"
		for i := range n {
			text += strconv.Itoa(from+i) + "," + strconv.Itoa(10*(from+i)) + "\n"
		}
		l, err := openDeck(t, text, "")
		if err != nil {
			t.Fatal(err)
		}
		l.Files[0].Name, l.Warnings[0].File = name, name
		return l
	}
	const dated = "# start: 2026-09-20T10:00:00Z\n"
	gps, err := openDeck(t, dated+"time_s,lat_deg,lon_deg,speed_mps\n0,46.3,86.7,5.1\n1,46.30005,86.7,5.1\n", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		logs    []*ingest.Log
		samples int
		told    bool
	}{
		{"two and two", []*ingest.Log{insole("l1", "left", dated, 0, 100), insole("l2", "left", dated, 200, 100), insole("r1", "right", dated, 0, 100), insole("r2", "right", dated, 200, 100)}, 200, false},
		{"one and two", []*ingest.Log{insole("l1", "left", dated, 0, 200), insole("r1", "right", dated, 0, 90), insole("r2", "right", dated, 90, 110)}, 200, false},
		{"undated", []*ingest.Log{insole("l1", "left", "", 0, 100), insole("r1", "right", "", 0, 100)}, 100, true},
		{"undated parts", []*ingest.Log{insole("l1", "left", "", 0, 100), insole("l2", "left", "", 0, 100), insole("r1", "right", "", 0, 100)}, 0, false},
	} {
		l, err := ingest.Merge(append(c.logs, gps))
		if err != nil {
			t.Fatal(c.name, err)
		}
		n := 0
		for _, d := range l.Decks {
			n += len(d.Time)
			for i := range d.Time {
				if d.Feet[0][i] != d.Feet[1][i] {
					t.Fatalf("%s: at %v s left %v, right %v", c.name, d.Time[i], d.Feet[0][i], d.Feet[1][i])
				}
			}
		}
		has := func(k raw.Kind) bool {
			return slices.ContainsFunc(l.Warnings, func(w raw.Warning) bool { return w.Kind == k })
		}
		if n != c.samples || has(raw.FeetUndated) != c.told || has(raw.OneFoot) != (n == 0) {
			t.Errorf("%s: %d samples, warnings %v", c.name, n, l.Warnings)
		}
	}
}
