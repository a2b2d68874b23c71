package write_test

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/write"
)

// drawLog draws a log with the values that a file can hold: IMU or GPS or both,
// uneven steps, gaps, missing values.
func drawLog(t *rapid.T) *ingest.Log {
	l := &ingest.Log{}
	if rapid.Bool().Draw(t, "dated") {
		l.Start = time.Unix(rapid.Int64Range(1.2e9, 4e9).Draw(t, "start"), rapid.Int64Range(0, 999999999).Draw(t, "ns")).UTC()
	}
	times := func(label string, most float64) []float64 {
		n := rapid.IntRange(3, 12).Draw(t, label)
		x := rapid.Float64Range(0, 50).Draw(t, label+"0")
		out := make([]float64, n)
		for i := range out {
			out[i] = x
			x += rapid.Float64Range(0.001, most).Draw(t, "step")
		}
		return out
	}
	any32 := rapid.Custom(func(t *rapid.T) float32 {
		v := rapid.Float32().Draw(t, "v")
		if v-v != 0 {
			return 1
		}
		return v
	})
	kinds := rapid.IntRange(1, 3).Draw(t, "kinds")
	if kinds&1 != 0 {
		l.IMU.Time = times("imu", 2)
		gyr := rapid.Bool().Draw(t, "gyr")
		for k := range 3 {
			for range l.IMU.Time {
				l.IMU.Acc[k] = append(l.IMU.Acc[k], any32.Draw(t, "acc"))
				g := float32(math.NaN())
				if gyr {
					g = any32.Draw(t, "gyr")
				}
				l.IMU.Gyr[k] = append(l.IMU.Gyr[k], g)
			}
		}
	}
	if kinds&2 != 0 {
		g := &l.GPS
		g.Time = times("gps", 20)
		if kinds == 3 && rapid.Bool().Draw(t, "shared") { // a row may hold both
			g.Time[0] = l.IMU.Time[1]
			g.Time = slices.DeleteFunc(g.Time, func(x float64) bool { return x < g.Time[0] })
		}
		orNaN := func(v float64, label string) float64 {
			if rapid.IntRange(0, 9).Draw(t, label) == 0 {
				return math.NaN()
			}
			return v
		}
		for range g.Time {
			lat := orNaN(rapid.Float64Range(-89, 89).Draw(t, "lat"), "lat?")
			lon := rapid.Float64Range(-179, 179).Draw(t, "lon")
			if lat != lat || lat == 0 && lon == 0 {
				lat, lon = math.NaN(), math.NaN()
			}
			g.Lat, g.Lon = append(g.Lat, lat), append(g.Lon, lon)
			g.Alt = append(g.Alt, float32(orNaN(rapid.Float64Range(-500, 9000).Draw(t, "alt"), "alt?")))
			g.Speed = append(g.Speed, float32(rapid.Float64Range(0, 30).Draw(t, "speed")))
			g.Course = append(g.Course, float32(rapid.Float64Range(0, 359.9).Draw(t, "course")))
		}
		g.SpeedFrom = "receiver"
	}
	return l
}

func open(t testing.TB, path string, b []byte) (*ingest.Log, error) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return ingest.Open(path, ingest.Options{})
}

func eq64(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return x == y || x != x && y != y })
}

func eq32(a, b []float32) bool {
	return slices.EqualFunc(a, b, func(x, y float32) bool { return x == y || x != x && y != y })
}

// sameSamples reports what differs between two logs' samples, or "".
func sameSamples(a, b *ingest.Log) string {
	switch {
	case !a.Start.Equal(b.Start):
		return "start"
	case !eq64(a.IMU.Time, b.IMU.Time):
		return "IMU times"
	case !eq64(a.GPS.Time, b.GPS.Time):
		return "GPS times"
	case !eq64(a.GPS.Lat, b.GPS.Lat) || !eq64(a.GPS.Lon, b.GPS.Lon):
		return "positions"
	case !eq32(a.GPS.Alt, b.GPS.Alt):
		return "altitudes"
	case !eq32(a.GPS.Speed, b.GPS.Speed):
		return "speeds"
	case !eq32(a.GPS.Course, b.GPS.Course):
		return "courses"
	}
	for k := range 3 {
		if !eq32(a.IMU.Acc[k], b.IMU.Acc[k]) || !eq32(a.IMU.Gyr[k], b.IMU.Gyr[k]) {
			return "IMU values"
		}
	}
	return ""
}

// export writes a log as the export does, row by row.
func export(t testing.TB, l *ingest.Log) []byte {
	t.Helper()
	var b bytes.Buffer
	e := write.NewExport(&b, l.Start)
	if l.GPS.SpeedFrom == "positions" {
		e.Computed()
	}
	u, g := &l.IMU, &l.GPS
	for i, k := 0, 0; i < len(u.Time) || k < len(g.Time); {
		imu := i < len(u.Time) && (k >= len(g.Time) || u.Time[i] <= g.Time[k])
		gps := k < len(g.Time) && (i >= len(u.Time) || g.Time[k] <= u.Time[i])
		var r write.Row
		if imu {
			r = write.Blank(u.Time[i])
			r.Acc = [3]float32{u.Acc[0][i], u.Acc[1][i], u.Acc[2][i]}
			r.Gyr = [3]float32{u.Gyr[0][i], u.Gyr[1][i], u.Gyr[2][i]}
			r.Pitch, r.Heel, r.Q = 1.5, -2, [4]float64{1, 0, 0, 0}
			r.Speed, r.Course = float32(7+i%3), 90 // interpolated: not read back
			i++
		} else {
			r = write.Blank(g.Time[k])
		}
		if gps {
			r.Lat, r.Lon, r.Alt, r.Speed, r.Course, r.Ride = g.Lat[k], g.Lon[k], g.Alt[k], g.Speed[k], g.Course[k], k%3
			r.Fix = true
			k++
		}
		if err := e.Write(&r); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestRoundTrip: a log that is written, as a CSV log or as an export, and read
// back is equal; and what was read once stays as it is, flags and gaps included.
func TestRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log")
	rapid.Check(t, func(rt *rapid.T) {
		x := drawLog(rt)
		for _, form := range []string{"CSV", "export"} {
			text := func(l *ingest.Log) []byte {
				if form == "export" {
					return export(t, l)
				}
				var b bytes.Buffer
				if err := write.CSV(&b, l); err != nil {
					t.Fatal(err)
				}
				return b.Bytes()
			}
			first, err := open(t, path, text(x))
			if err != nil {
				rt.Fatalf("%s: %v\n%s", form, err, text(x))
			}
			if d := sameSamples(x, first); d != "" {
				rt.Fatalf("%s: %s differ\n%s", form, d, text(x))
			}
			again, err := open(t, path, text(first))
			if err != nil {
				rt.Fatal(err)
			}
			if !reflect.DeepEqual(first.GPS.Flags, again.GPS.Flags) || !reflect.DeepEqual(first.GPS.Gaps, again.GPS.Gaps) ||
				!reflect.DeepEqual(first.IMU.Gaps, again.IMU.Gaps) || sameSamples(first, again) != "" {
				rt.Fatalf("%s: a second reading differs\n%s", form, text(x))
			}
		}
	})
}

// TestComputedSpeedsStay: speeds that were computed from positions are read
// back as such.
func TestComputedSpeedsStay(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("time_s,lat_deg,lon_deg\n")
	for i := range 100 {
		x := &ingest.Log{GPS: ingest.GPS{Time: []float64{float64(i)}, Lat: []float64{47 + float64(i)*5e-5},
			Lon: []float64{7 + 1e-6*math.Sin(float64(i))}, Alt: []float32{0}, Speed: []float32{0}, Course: []float32{0}}}
		var row bytes.Buffer
		if err := write.CSV(&row, x); err != nil {
			t.Fatal(err)
		}
		f := bytes.Split(bytes.Split(row.Bytes(), []byte("\n"))[1], []byte(","))
		b.Write(bytes.Join(f[:3], []byte(",")))
		b.WriteByte('\n')
	}
	path := filepath.Join(t.TempDir(), "log")
	first, err := open(t, path, b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	again, err := open(t, path, export(t, first))
	if err != nil {
		t.Fatal(err)
	}
	if first.GPS.SpeedFrom != "positions" || again.GPS.SpeedFrom != "positions" || first.GPS.SpeedSD != again.GPS.SpeedSD {
		t.Errorf("%s ± %v, then %s ± %v", first.GPS.SpeedFrom, first.GPS.SpeedSD, again.GPS.SpeedFrom, again.GPS.SpeedSD)
	}
	if d := sameSamples(first, again); d != "" {
		t.Errorf("%s differ", d)
	}
}

// TestCutAnywhere: a file that is cut at any byte gives a beginning of the
// samples it held, and every sample whose line is whole.
func TestCutAnywhere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log")
	rapid.Check(t, func(rt *rapid.T) {
		x := drawLog(rt)
		var b bytes.Buffer
		if err := write.CSV(&b, x); err != nil {
			t.Fatal(err)
		}
		cut := rapid.IntRange(1, b.Len()).Draw(rt, "cut")
		text := b.Bytes()[:cut]
		l, err := open(t, path, text)
		lines := bytes.Count(text, []byte("\n"))
		for _, c := range bytes.SplitAfter(text, []byte("\n")) {
			if bytes.HasPrefix(c, []byte("#")) && bytes.HasSuffix(c, []byte("\n")) {
				lines--
			}
		}
		if err != nil {
			// One whole row may be a fix and an IMU sample; none is an error.
			if lines > 1 {
				rt.Fatalf("%d lines are whole: %v\n%s", lines, err, text)
			}
			return
		}
		part := func(n, m int) *ingest.Log {
			p := *x
			p.IMU.Time, p.GPS.Time = x.IMU.Time[:n], x.GPS.Time[:m]
			for k := range 3 {
				p.IMU.Acc[k], p.IMU.Gyr[k] = x.IMU.Acc[k][:n], x.IMU.Gyr[k][:n]
			}
			g := &p.GPS
			g.Lat, g.Lon, g.Alt, g.Speed, g.Course = g.Lat[:m], g.Lon[:m], g.Alt[:m], g.Speed[:m], g.Course[:m]
			return &p
		}
		n, m := len(l.IMU.Time), len(l.GPS.Time)
		if n > len(x.IMU.Time) || m > len(x.GPS.Time) {
			rt.Fatalf("more samples than were written")
		}
		want := part(n, m)
		if n > 0 && math.IsNaN(float64(l.IMU.Gyr[0][0])) { // the only row was cut in its gyroscope
			want.IMU.Gyr = l.IMU.Gyr
		}
		if d := sameSamples(want, l); d != "" {
			rt.Fatalf("cut at %d: %s are not a beginning of what was written\n%s", cut, d, text)
		}
		// Rows that hold both count once.
		rows := lines - 1
		both := 0
		for _, a := range x.IMU.Time[:n] {
			if slices.Contains(x.GPS.Time[:m], a) {
				both++
			}
		}
		if n+m-both < rows {
			rt.Fatalf("cut at %d: %d rows are whole, %d samples and %d fixes were read\n%s", cut, rows, n, m, text)
		}
	})
}

func TestCSVErrorsReachTheCaller(t *testing.T) {
	l := &ingest.Log{IMU: ingest.IMU{Time: make([]float64, 5000)}}
	for k := range 3 {
		l.IMU.Acc[k] = make([]float32, 5000)
	}
	if err := write.CSV(fullDisk{}, l); err == nil {
		t.Error("CSV hides an error of the writer")
	}
	e := write.NewExport(fullDisk{}, time.Time{})
	r := write.Blank(1)
	_ = e.Write(&r) // buffered
	if err := e.Close(); err == nil {
		t.Error("Export hides an error of the writer")
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, os.ErrPermission }

// TestPresses: what the rider pressed comes back from either format, to the
// second from a lap.
func TestPresses(t *testing.T) {
	l := &ingest.Log{Start: time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)}
	for i := range 100 {
		l.IMU.Time = append(l.IMU.Time, float64(i)/2)
		for k := range 3 {
			l.IMU.Acc[k], l.IMU.Gyr[k] = append(l.IMU.Acc[k], float32(i%7)), append(l.IMU.Gyr[k], float32(i%5))
		}
	}
	want := []float64{10.25, 31}
	for _, at := range want {
		l.Marks = append(l.Marks, ingest.Mark{At: at, Kind: raw.Press})
	}
	for name, write := range map[string]func(io.Writer, *ingest.Log) error{"log.csv": write.CSV, "log.fit": write.FIT} {
		var b bytes.Buffer
		if err := write(&b, l); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		back, err := ingest.Open(path, ingest.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var at []float64
		for _, m := range back.Marks {
			if m.Kind != raw.Lap && m.Kind.ByRider() {
				at = append(at, m.At)
			}
		}
		if !slices.EqualFunc(at, want, func(a, b float64) bool { return math.Abs(a-b) < 1 && (name == "log.fit" || a == b) }) {
			t.Errorf("%s: pressed at %v, want %v: %+v", name, at, want, back.Marks)
		}
	}
}
