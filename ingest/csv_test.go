package ingest

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
	"weak"

	"evenfoot/ingest/csv"
)

// readText reads a CSV given as text, through the same door as a file.
func readText(text string, opt Options) (*Log, error) {
	r, err := read(strings.NewReader(text), "log.csv", int64(len(text)), opt)
	if err != nil {
		return nil, err
	}
	return build(r)
}

func mustRead(t *testing.T, text string) *Log {
	t.Helper()
	l, err := readText(text, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// hasWarning fails the test unless a warning contains what, at a line if > 0.
func hasWarning(t *testing.T, l *Log, line int, what string) {
	t.Helper()
	for _, w := range l.Warnings {
		if strings.Contains(w.String(), what) && (line == 0 || w.Line == line) {
			return
		}
	}
	t.Errorf("no warning at line %d with %q in %v", line, what, l.Warnings)
}

func dropped(l *Log, reason string) int {
	n := 0
	for _, f := range l.Files {
		for _, d := range f.Dropped {
			if strings.Contains(d.String(), reason) {
				n += d.Count
			}
		}
	}
	return n
}

const imuHeader = "time_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps\n"

// imuRows writes n rows at hz from second t0.
func imuRows(t0, hz float64, n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.4f,%.3f,0.200,9.810,0.010,%.3f,0.030\n", t0+float64(i)/hz, 0.1+float64(i%7)/10, float64(i%5)/100)
	}
	return b.String()
}

func TestCSVForms(t *testing.T) {
	start := time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name, text string
		start      time.Time
		t1         float64 // second IMU time
		ax, gz     float64 // of the second sample
	}{
		{"plain, relative", imuHeader + "0,1,2,3,4,5,6\n0.01,1.5,2,3,4,5,6.5\n0.02,1,2,3,4,5,6\n", time.Time{}, 0.01, 1.5, 6.5},
		{"start comment", "# start: 2026-09-20T12:00:00+02:00\n" + imuHeader + "0,1,2,3,4,5,6\n0.01,1.5,2,3,4,5,6.5\n0.02,1,2,3,4,5,6\n", start, 0.01, 1.5, 6.5},
		{"Unix seconds", imuHeader + "1789898400.00,1,2,3,4,5,6\n1789898400.01,1.5,2,3,4,5,6.5\n1789898400.02,1,2,3,4,5,6\n", start, 0.01, 1.5, 6.5},
		{"ISO", "time_utc,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps\n2026-09-20T10:00:00Z,1,2,3,4,5,6\n2026-09-20T10:00:00.01Z,1,2,3,4,5,180\n2026-09-20T10:00:00.02Z,1,2,3,4,5,6\n", start, 0.01, 9.80665, math.Pi},
		{"semicolon, decimal comma", "time_s;ax_mps2;ay_mps2;az_mps2;gx_radps;gy_radps;gz_radps\n0;1;2;3;4;5;6\n0,01;1,5;2;3;4;5;6,5\n0,02;1;2;3;4;5;6\n", time.Time{}, 0.01, 1.5, 6.5},
		{"tab, decimal comma, CRLF, BOM", "\xEF\xBB\xBFtime_s\tax_mps2\tay_mps2\taz_mps2\tgx_radps\tgy_radps\tgz_radps\r\n0\t1\t2\t3\t4\t5\t6\r\n0,01\t1,5\t2\t3\t4\t5\t6,5\r\n0,02\t1\t2\t3\t4\t5\t6\r\n", time.Time{}, 0.01, 1.5, 6.5},
		{"quoted, blanks, capitals, other order", "\"GZ_radps\", \"Time_s\",ax_mps2 ,ay_mps2,az_mps2,gx_radps,gy_radps\n6,0,1,2,3,4,5\n\"6.5\", 0.01 ,1.5,2,3,4,5\n6,0.02,1,2,3,4,5\n", time.Time{}, 0.01, 1.5, 6.5},
		{"CR line ends", strings.ReplaceAll(imuHeader+"0,1,2,3,4,5,6\n0.01,1.5,2,3,4,5,6.5\n0.02,1,2,3,4,5,6\n", "\n", "\r"), time.Time{}, 0.01, 1.5, 6.5},
		{"comments and blank lines between", "# a comment\n\n" + imuHeader + "# one\n0,1,2,3,4,5,6\n\n#two\n0.01,1.5,2,3,4,5,6.5\n0.02,1,2,3,4,5,6\n", time.Time{}, 0.01, 1.5, 6.5},
		{"seconds beside UTC", "time_s,time_utc,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps\n5.00,2026-09-20T10:00:05Z,1,2,3,4,5,6\n5.01,2026-09-20T10:00:05Z,1.5,2,3,4,5,6.5\n5.02,2026-09-20T10:00:05Z,1,2,3,4,5,6\n", start, 5.01, 1.5, 6.5},
		{"clock set on the way", imuHeader + "3.00,1,2,3,4,5,6\n3.01,1,2,3,4,5,6\n1789898400.00,1,2,3,4,5,6\n1789898400.01,1.5,2,3,4,5,6.5\n1789898400.02,1,2,3,4,5,6\n", start.Add(-2 * time.Second), 0.99, 0, 0},
		{"trailing commas", imuHeader + "0,1,2,3,4,5,6,\n0.01,1.5,2,3,4,5,6.5,\n0.02,1,2,3,4,5,6,\n", time.Time{}, 0.01, 1.5, 6.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := mustRead(t, c.text)
			if !l.Start.Equal(c.start) {
				t.Errorf("start %v, want %v", l.Start, c.start)
			}
			if c.name == "clock set on the way" {
				if len(l.IMU.Time) != 5 || math.Abs(l.IMU.Time[2]-l.IMU.Time[1]-1) > 1e-6 {
					t.Errorf("times %v", l.IMU.Time)
				}
				hasWarning(t, l, 0, "clock set on the way")
				return
			}
			if len(l.IMU.Time) != 3 || math.Abs(l.IMU.Time[1]-c.t1) > 1e-9 {
				t.Fatalf("times %v, want %v second", l.IMU.Time, c.t1)
			}
			if l.IMU.Acc[0][1] != float32(c.ax) || l.IMU.Gyr[2][1] != float32(c.gz) {
				t.Errorf("second sample %v, %v; want %v, %v", l.IMU.Acc[0][1], l.IMU.Gyr[2][1], c.ax, c.gz)
			}
			if len(l.Warnings) > 0 || len(l.Files[0].Dropped) > 0 {
				t.Errorf("warnings %v, dropped %v", l.Warnings, l.Files[0].Dropped)
			}
		})
	}
}

func TestCSVMixedRows(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,ax_g,ay_g,az_g,lat_deg,lon_deg,alt_m,speed_kn,course_deg,temp\n")
	for i := range 1000 {
		fmt.Fprintf(&b, "%.2f,0.01,0.02,1.00,,,,,,\n", float64(i)/100)
		if i%100 == 50 {
			fmt.Fprintf(&b, "%.3f,,,,%.7f,7.5,2,10,359.5,21\n", float64(i)/100+0.002, 47+float64(i)/100*5.1444/111170)
		}
	}
	l := mustRead(t, b.String())
	if len(l.IMU.Time) != 1000 || len(l.GPS.Time) != 10 {
		t.Fatalf("%d IMU samples, %d fixes", len(l.IMU.Time), len(l.GPS.Time))
	}
	if v := l.GPS.Speed[3]; v != float32(10*1852.0/3600) || l.GPS.SpeedFrom != "receiver" {
		t.Errorf("speed %v from %s", v, l.GPS.SpeedFrom)
	}
	if math.Abs(l.IMU.Rate-100) > 1e-6 || math.Abs(l.GPS.Rate-1) > 1e-6 {
		t.Errorf("rates %v, %v", l.IMU.Rate, l.GPS.Rate)
	}
	if !math.IsNaN(float64(l.IMU.Gyr[0][0])) || len(l.IMU.Gyr[2]) != 1000 {
		t.Error("without a gyroscope its columns are all NaN")
	}
	if !l.Clock.Tied || l.Clock.How != "one device" {
		t.Errorf("clock %+v", l.Clock)
	}
	for i, f := range l.GPS.Flags {
		if f != 0 {
			t.Errorf("fix %d flagged %v", i, f)
		}
	}
	hasWarning(t, l, 1, `unknown columns, "temp"`)
}

func TestCSVFaults(t *testing.T) {
	text := imuHeader + imuRows(0, 100, 20) +
		"0.20,1,2,3,4,5\n" + // line 22: a field too few
		"0.21,1,2,3,4,5,6,7\n" + // 23: one too many
		"0.22,1,x9,3,4,5,6\n" + // 24: garbled
		"oops,1,2,3,4,5,6\n" + // 25
		",1,2,3,4,5,6\n" + // 26
		"0.23,NaN,2,3,4,5,6\n" + // 27
		"0.24,1,2,3,Inf,5,6\n" + // 28
		"0.25,1,,3,4,5,6\n" + // 29
		"0.26,1e60,2,3,4,5,6\n" + // 30: beyond a float32
		"\x00\x01\xff\xfe garbage\n" + // 31
		imuRows(0.3, 100, 20)
	l := mustRead(t, text)
	// 40 whole rows, and one with a sound accelerometer whose gyroscope lies
	// between its neighbours.
	if len(l.IMU.Time) != 41 {
		t.Errorf("%d samples are whole, want 41", len(l.IMU.Time))
	}
	hasWarning(t, l, 22, "too few or too many fields, 6, 7")
	hasWarning(t, l, 23, "too few or too many fields, 8, 7")
	hasWarning(t, l, 24, `accelerometer not a number, "x9", "ay_mps2"`)
	hasWarning(t, l, 25, `unreadable time, "oops"`)
	hasWarning(t, l, 26, "no time")
	hasWarning(t, l, 31, "field")
	for reason, n := range map[string]int{
		"too few or too many fields": 3, "accelerometer not a number": 1, "unreadable time": 1,
		"no time": 1, "accelerometer NaN": 1, "gyroscope NaN": 1, "accelerometer lacks an axis": 1,
	} {
		if got := dropped(l, reason); got != n {
			t.Errorf("dropped %d × %s, want %d (%v)", got, reason, n, l.Files[0].Dropped)
		}
	}
	for k := range 3 {
		for i := range l.IMU.Time {
			if v := l.IMU.Acc[k][i] + l.IMU.Gyr[k][i]; v-v != 0 {
				t.Fatalf("sample %d is not finite", i)
			}
		}
	}
}

func TestCSVWarningsAreBounded(t *testing.T) {
	text := imuHeader + strings.Repeat("a,b\n", 5000) + imuRows(0, 50, 100) + strings.Repeat("1,x,2,3,4,5,6\n", 5000)
	l := mustRead(t, text)
	if len(l.Warnings) > 20 {
		t.Errorf("%d warnings", len(l.Warnings))
	}
	hasWarning(t, l, 0, "4995 more")
}

func TestCSVErrors(t *testing.T) {
	row := "0,1,2,3\n0.1,1,2,3\n"
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"unit missing", "time_s,ax,ay_g,az_g\n" + row, []string{"log.csv, line 1", `"ax" does not say its unit`, "ax_mps2 or ax_g", "The header is: time_s, ax, ay_g, az_g", "lat_deg"}},
		{"unknown unit", "time_s,ax_ft,ay_g,az_g\n" + row, []string{`"ax_ft" does not say its unit`}},
		{"time without unit", "time,ax_g,ay_g,az_g\n" + row, []string{`"time" does not say its unit`, "time_s", "time_utc"}},
		{"no time", "ax_g,ay_g,az_g\n1,2,3\n", []string{"there is no time column"}},
		{"nothing measured", "time_s,foo\n1,2\n", []string{"no accelerometer, position or speed"}},
		{"foreign", "T;X;Y\n1;2;3\n", []string{"no column is known", "column map", "T, X, Y"}},
		{"twice", "time_s,ax_g,ax_mps2,ay_g,az_g\n0,1,2,3,4\n", []string{`"ax_g" and "ax_mps2" hold the same thing`}},
		{"two axes", "time_s,ax_g,ay_g\n0,1,2\n", []string{"no accelerometer"}},
		{"no rows", "time_s,ax_g,ay_g,az_g\n", []string{"no rows"}},
		{"only comments", "# nothing\n", []string{"no header row"}},
		{"decimal comma with comma", "time_s,ax_g,ay_g,az_g\n0,1,1,2,0,3,9,8\n0,2,1,2,0,3,9,8\n", []string{"no row has the 4 fields", "decimal comma"}},
		{"all bad", "time_s,ax_g,ay_g,az_g\n0,a,b,c\n", []string{"no usable sample", "not a number", "line 2"}},
	} {
		_, err := readText(c.text, Options{})
		if err == nil {
			t.Errorf("%s: no error", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v\nlacks %q", c.name, err, w)
			}
		}
	}
}

func TestCSVPartialSensors(t *testing.T) {
	l := mustRead(t, "time_s,ax_g,ay_g,lat_deg,lon_deg\n0,1,2,47,7\n1,1,2,47.0001,7\n2,1,2,47.0002,7\n")
	if len(l.GPS.Time) != 3 || len(l.IMU.Time) != 0 {
		t.Errorf("%d fixes, %d IMU samples", len(l.GPS.Time), len(l.IMU.Time))
	}
	hasWarning(t, l, 1, `missing axis, "az"`)
}

// TestCSVUnfinishedLine: a file that was cut may end in half a number; it is
// believed only when it has the decimals that all numbers in its place have.
func TestCSVUnfinishedLine(t *testing.T) {
	fixed := imuHeader + imuRows(0, 100, 30)
	whole := strings.TrimSuffix(fixed, "\n")
	if l := mustRead(t, whole); len(l.IMU.Time) != 30 || len(l.Warnings) > 0 {
		t.Errorf("without the last line end: %d samples, %v", len(l.IMU.Time), l.Warnings)
	}
	for cut := 1; cut < 10; cut++ {
		l := mustRead(t, whole[:len(whole)-cut])
		if len(l.IMU.Time) != 29 {
			t.Errorf("cut by %d: %d samples", cut, len(l.IMU.Time))
		}
		hasWarning(t, l, 31, "cut line")
		if dropped(l, "cut line") != 1 || dropped(l, "not a number") > 0 {
			t.Errorf("cut by %d: left out %v, want the line once", cut, l.Files[0].Dropped)
		}
	}
	// Where nothing tells that a value was cut, nobody says so.
	l := mustRead(t, "time_s,ax_mps2,ay_mps2,az_mps2,lat_deg,lon_deg,course_deg\n0,1,2,9.5,47,7,90\n1,1,2,9.5,47,7,90\n2,1,2,9.5,47,7,90")
	if len(l.IMU.Time) != 3 || len(l.Warnings) > 0 || fmt.Sprint(l.Files[0].Dropped) != "[1 × GPS fix in the last line, which has no end: it may not be whole]" {
		t.Errorf("%d samples, %v, left out %v", len(l.IMU.Time), l.Warnings, l.Files[0].Dropped)
	}
	// Where the row has nothing of the sensor, nothing is left out.
	for _, course := range []string{"90", "90.50"} {
		l = mustRead(t, fmt.Sprintf("time_s,ax_mps2,ay_mps2,az_mps2,lat_deg,lon_deg,course_deg\n0,1,2,9.5,47,7,%s\n1,1,2,9.5,47,7,%[1]s\n2,1,2,9.5,,,", course))
		if len(l.IMU.Time) != 3 || len(l.GPS.Time) != 2 || len(l.Warnings) > 0 || len(l.Files[0].Dropped) > 0 {
			t.Errorf("course %s: %d samples, %d fixes, %v, left out %v", course, len(l.IMU.Time), len(l.GPS.Time), l.Warnings, l.Files[0].Dropped)
		}
	}
}

// TestUnitInCell: a value with its unit behind it heeds the scale of the map.
func TestUnitInCell(t *testing.T) {
	m, err := csv.ParseMap("log.csv.map.toml", []byte("time_s = \"t\"\nlat_deg = \"lat\"\nlon_deg = \"lon\"\nspeed = { column = \"v\", unit = \"kn\", scale = 2 }\n"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := readText("t,lat,lon,v\n0,47.00000,7.5,3 km/h\n1,47.00001,7.5,5\n2,47.00002,7.5,3 m/s\n", Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{2 * 3 / 3.6, 2 * 5 * 1852.0 / 3600, 6} {
		if len(l.GPS.Speed) != 3 || math.Abs(float64(l.GPS.Speed[i])-want) > 1e-5 {
			t.Errorf("speeds %v m/s, the %d. should be %g", l.GPS.Speed, i+1, want)
		}
	}
}

func TestHeldFixes(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,ax_g,ay_g,az_g,lat_deg,lon_deg,speed_mps\n")
	for i := range 3000 {
		sec := i / 100
		v := 5.0
		if sec >= 20 { // at rest the records stay the same for seconds
			v, sec = 0, 20
		}
		fmt.Fprintf(&b, "%.2f,0.01,0.02,1.00,%.7f,7.5,%.2f\n", float64(i)/100, 47+float64(sec)*5/111170, v)
	}
	l := mustRead(t, b.String())
	if n := len(l.GPS.Time); n != 30 {
		t.Errorf("%d fixes, want one a second", n)
	}
	if math.Abs(l.GPS.Rate-1) > 0.01 || len(l.GPS.Gaps) > 0 || dropped(l, "written again") != 2970 {
		t.Errorf("rate %v, gaps %v, %v", l.GPS.Rate, l.GPS.Gaps, l.Files[0].Dropped)
	}
}

func gz(t testing.TB, text []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write(text); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// gzRepeat is head and n times text, packed in members of up to 64 KiB of text,
// one packed once: packing traps whole takes longer than refusing them.
func gzRepeat(t testing.TB, head, text string, n int) []byte {
	t.Helper()
	each := min(n, 64<<10/len(text))
	packed := slices.Concat(gz(t, []byte(head)), bytes.Repeat(gz(t, []byte(strings.Repeat(text, each))), n/each))
	return append(packed, gz(t, []byte(strings.Repeat(text, n%each)))...)
}

func TestGzip(t *testing.T) {
	dir := t.TempDir()
	text := []byte(imuHeader + imuRows(0, 100, 20000))
	packed := gz(t, text)
	path := filepath.Join(dir, "any.name")
	write := func(b []byte) {
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(packed)
	l, err := Open(path, Options{})
	if err != nil || len(l.IMU.Time) != 20000 || !l.Files[0].Gzip || l.Files[0].Bytes != int64(len(packed)) {
		t.Fatalf("%v, %+v", err, l)
	}
	write(packed[:len(packed)/2])
	l, err = Open(path, Options{})
	if err != nil || len(l.IMU.Time) < 8000 {
		t.Fatalf("cut gzip: %v", err)
	}
	hasWarning(t, l, 0, "damaged gzip data")

	for name, c := range map[string]struct {
		data []byte
		opt  Options
		want string
	}{
		"absolute bound": {packed, Options{maxBytes: 100000}, "expands to more than 98 KiB"},
		"ratio":          {gzRepeat(t, imuHeader, "7", 80<<20), Options{}, "more than 200 times its size"},
		"twice":          {gz(t, packed), Options{}, "gzip within gzip"},
		"zip":            {[]byte("PK\x03\x04 and so on"), Options{}, "ZIP archive"},
		"bad header":     {[]byte("\x1f\x8b\x99\x99\x99\x99\x99\x99\x99\x99\x99"), Options{}, "header is damaged"},
		"empty":          {nil, Options{}, "the file is empty"},
		"empty gzip":     {gz(t, nil), Options{}, "the file is empty"},
		"html":           {[]byte("<!DOCTYPE html><html></html>"), Options{}, "web page"},
		"binary":         {[]byte("\x01\x02\x03\x00\x00\x00abc"), Options{}, "binary file of an unknown kind"},
		"plain bound":    {text, Options{maxBytes: 1000}, "more than the bound"},
	} {
		write(c.data)
		_, err := Open(path, c.opt)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if _, err := Open(dir, Options{}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("folder: %v", err)
	}
}

func TestUTF16(t *testing.T) {
	text := imuHeader + imuRows(0, 100, 50)
	for _, big := range []bool{false, true} {
		b := []byte{0xff, 0xfe}
		if big {
			b = []byte{0xfe, 0xff}
		}
		for _, c := range []byte(text) {
			if big {
				b = append(b, 0, c)
			} else {
				b = append(b, c, 0)
			}
		}
		l := mustRead(t, string(b))
		if len(l.IMU.Time) != 50 || len(l.Warnings) > 0 {
			t.Errorf("big %v: %d samples, %v", big, len(l.IMU.Time), l.Warnings)
		}
	}
}

func TestLongLines(t *testing.T) {
	text := imuHeader + imuRows(0, 100, 10) + strings.Repeat("7", 300_000) + "\n" + imuRows(0.1, 100, 10)
	l := mustRead(t, text)
	if len(l.IMU.Time) != 20 {
		t.Errorf("%d samples", len(l.IMU.Time))
	}
	hasWarning(t, l, 12, "line too long")
	_, err := readText(strings.Repeat("x,", 200_000), Options{})
	if err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Error(err)
	}
}

// TestMillisecondsCalledSeconds: the error names the place and what to do.
func TestMillisecondsCalledSeconds(t *testing.T) {
	const rows = "1789898400000,0,0,9.81\n1789898400010,0,0,9.81\n"
	path := filepath.Join(t.TempDir(), "phone.csv")
	for header, want := range map[string]string{
		"time_s,ax_mps2,ay_mps2,az_mps2\n":  "line 2: time too large",
		"time_ms,ax_mps2,ay_mps2,az_mps2\n": "",
	} {
		if err := os.WriteFile(path, []byte(header+rows), 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(path, Options{})
		if want == "" {
			if err != nil || len(l.IMU.Time) != 2 || !l.Start.Equal(time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)) {
				t.Errorf("%s: %v", header, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "time_ms") {
			t.Errorf("%s: %v", header, err)
		}
	}
}

// TestListsAreNeverNull: a script that reads the JSON gets lists.
func TestListsAreNeverNull(t *testing.T) {
	l, err := readText(imuHeader+"0,1,2,9,0,0,0\n", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f := l.Files[0]; f.Dropped == nil || f.Channels == nil {
		t.Errorf("dropped %v, channels %v", f.Dropped, f.Channels)
	}
}

// TestFixColumn: in an export only rows marked as a fix hold one, whatever a
// spreadsheet made of the file; elsewhere a column of that name is a stranger.
func TestFixColumn(t *testing.T) {
	l := mustRead(t, "time_s;lat_deg;lon_deg;speed_mps;course_deg;pitch_deg;heel_deg;qw;qx;qy;qz;ride;Fix;ax_mps2;ay_mps2;az_mps2\n"+
		"0;47,1;7,5;5,5;90;1,5;0;1;0;0;0;1;1;;;\n0,5;;;5,75;90;1,5;0;1;0;0;0;1;;0;0;9,8\n1;47,1;7,5001;6;90;1,5;0;1;0;0;0;1;1;0;0;9,8\n1,5;;;6;90;;;;;;;;0;0;0;9,8\n")
	if len(l.GPS.Time) != 2 || len(l.IMU.Time) != 3 || l.GPS.Speed[1] != 6 || len(l.Warnings) > 0 {
		t.Errorf("%d fixes, %d samples, warnings %v", len(l.GPS.Time), len(l.IMU.Time), l.Warnings)
	}
	l = mustRead(t, "time_s,lat_deg,lon_deg,speed_mps,fix\n0,47.1,7.5,5,3\n1,47.1,7.5001,5,3\n2,47.1,7.5002,5,\n")
	if len(l.GPS.Time) != 3 {
		t.Errorf("%d fixes", len(l.GPS.Time))
	}
	hasWarning(t, l, 1, `unknown columns, "fix"`)
}

// TestOpenLetsGo: a log keeps nothing of what was read but its own columns, so that
// whoever thins them gives the memory back.
func TestOpenLetsGo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv")
	text := "time_s,ax_mps2,ay_mps2,az_mps2\n0,0,0,9.8\n0.01,0,0,9.8\n0.02,0,0,9.8\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	column := weak.Make(&l.IMU.Acc[2][0])
	l.IMU = IMU{}
	runtime.GC()
	if column.Value() != nil {
		t.Error("the columns are kept")
	}
	runtime.KeepAlive(l)
}

// TestPanicOfOneLog: a panic over one of several logs comes to who asked for them.
func TestPanicOfOneLog(t *testing.T) {
	done := make([]bool, 40)
	defer func() {
		if p := recover(); p != "planted" || slices.Index(done, false) != 7 || !done[39] {
			t.Errorf("recovered %v, done %v", p, done)
		}
	}()
	each(len(done), func(i int) {
		if i == 7 {
			panic("planted")
		}
		done[i] = true
	})
}

// TestDayFits: a day at 200 Hz as a FIT file is within the bound of values; two hours
// at 100 Hz are 20.7 MB of it.
func TestDayFits(t *testing.T) {
	const day = 12 * 2 * 20.7e6
	part := make([]byte, 1<<20)
	if n := day / float64(len(part)) * float64(valuesOf[kindFIT](part)); n > valuesMost || n < 24*3600*200*6 {
		t.Errorf("a day counts as %.0f values, the bound is %.0f", n, valuesMost)
	}
}

// TestDaysFirst: a date that does not begin with the year is read where only one day
// can be meant, and else refused at once, with the forms that are read.
func TestDaysFirst(t *testing.T) {
	for text, want := range map[string]string{
		"30.10.2026 12:00:47.281": "2026-10-30", "05.06.2026 12:00:47.281": "2026-06-05", "5.6.26 12:00:47,281": "2026-06-05",
		"30/10/2026 12:00:47.281": "2026-10-30", "10/30/2026 12:00:47.281": "2026-10-30", "06-06-2026 12:00:47.281Z": "2026-06-06",
		"05/06/2026 12:00:47.281": "", "31.02.2026 12:00:47.281": "", "yesterday": "",
	} {
		rows := strings.Repeat(text+";0;0;9.81\n", 20_000)
		l, err := readText("time_utc;ax_mps2;ay_mps2;az_mps2\n"+rows, Options{})
		switch {
		case want == "" && (err == nil || !strings.Contains(err.Error(), "30.10.2026 12:00:47.281") || !strings.Contains(err.Error(), text) || len(err.Error()) > 600):
			t.Errorf("%s: %v", text, err)
		case want != "" && err != nil:
			t.Errorf("%s: %v", text, err)
		case want != "":
			if got := l.Start.Format(time.DateOnly); got != want {
				t.Errorf("%s is %s, want %s", text, got, want)
			}
		}
	}
}
