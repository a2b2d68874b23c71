//go:build !js

package ingest_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"testing"
	"testing/iotest"
	"time"

	"evenfoot/ingest"
	"evenfoot/ingest/write"

	"github.com/tkrajina/gpxgo/gpx"
	tormoder "github.com/tormoder/fit"
	"pgregory.net/rapid"
)

// drawLog makes a random log whose times are in ms.
func drawLog(t *rapid.T) *ingest.Log {
	l := &ingest.Log{}
	if rapid.Float64Range(0, 1).Draw(t, "dated") < 0.9 {
		l.Start = time.UnixMilli(rapid.Int64Range(631065600_000+0x10000000*1000, 4_000_000_000_000).Draw(t, "start")).UTC()
	}
	times := func(n int, what string) []float64 {
		ms := rapid.Int64Range(0, 5000).Draw(t, what)
		out := make([]float64, n)
		for i := range out {
			out[i] = float64(ms) / 1000
			ms += rapid.OneOf(rapid.Int64Range(1, 200), rapid.Int64Range(1, 100_000)).Draw(t, what)
		}
		return out
	}
	f32 := func(lo, hi float32) float32 { return rapid.Float32Range(lo, hi).Draw(t, "v") }
	l.IMU.Time = times(rapid.IntRange(0, 100).Draw(t, "n"), "imu ms")
	gyro := rapid.Bool().Draw(t, "gyro")
	for range l.IMU.Time {
		for k := range 3 {
			l.IMU.Acc[k] = append(l.IMU.Acc[k], f32(-200, 200))
			v := float32(math.NaN())
			if gyro {
				v = f32(-40, 40)
			}
			l.IMU.Gyr[k] = append(l.IMU.Gyr[k], v)
		}
	}
	g := &l.GPS
	g.Time = times(rapid.IntRange(1, 40).Draw(t, "n"), "gps ms")
	sometimes := func(v float32) float32 {
		if rapid.IntRange(0, 9).Draw(t, "missing") == 0 {
			return float32(math.NaN())
		}
		return v
	}
	for range g.Time {
		g.Lat = append(g.Lat, rapid.OneOf(rapid.Float64Range(1e-3, 90), rapid.Float64Range(-90, -1e-3)).Draw(t, "lat"))
		g.Lon = append(g.Lon, rapid.OneOf(rapid.Float64Range(-179.9999999, 179.9999999)).Draw(t, "lon"))
		g.Alt = append(g.Alt, sometimes(f32(-400, 8000)))
		g.Speed = append(g.Speed, sometimes(f32(0, 60)))
		g.Course = append(g.Course, sometimes(f32(0, 359.99)))
	}
	return l
}

// same fails unless two numbers agree to tol, or both are NaN.
func same(t rapid.TB, what string, i int, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) && !(math.IsNaN(got) && math.IsNaN(want)) {
		t.Errorf("%s %d: got %v, want %v within %v", what, i, got, want, tol)
	}
}

// sameGPS holds the fixes that were read against those written.
func sameGPS(t rapid.TB, got, want *ingest.Log, degTol, altTol, speedTol, courseTol, timeTol float64) {
	t.Helper()
	g, w := &got.GPS, &want.GPS
	if len(g.Time) != len(w.Time) {
		t.Fatalf("%d fixes, want %d; %v", len(g.Time), len(w.Time), got.Warnings)
	}
	shift := got.Start.Sub(want.Start).Seconds()
	if want.Start.IsZero() {
		shift = w.Time[0] - g.Time[0]
	}
	for i := range w.Time {
		same(t, "time", i, g.Time[i]+shift, w.Time[i], timeTol)
		same(t, "latitude", i, g.Lat[i], w.Lat[i], degTol)
		same(t, "longitude", i, g.Lon[i], w.Lon[i], degTol)
		same(t, "altitude", i, float64(g.Alt[i]), float64(w.Alt[i]), altTol)
		same(t, "speed", i, float64(g.Speed[i]), float64(w.Speed[i]), speedTol)
		same(t, "course", i, float64(g.Course[i]), float64(w.Course[i]), courseTol)
	}
}

// sameFIT holds a log that was read against the one written, to the format's
// resolution.
func sameFIT(t rapid.TB, got, want *ingest.Log) {
	t.Helper()
	const semicircle = 180.0 / (1 << 31)
	sameGPS(t, got, want, semicircle, 0.101, 0.00051, 1e-5, 1e-6)
	g, w := &got.IMU, &want.IMU
	if len(g.Time) != len(w.Time) {
		t.Fatalf("%d samples, want %d", len(g.Time), len(w.Time))
	}
	shift := got.Start.Sub(want.Start).Seconds()
	if want.Start.IsZero() && len(w.Time) > 0 {
		shift = w.Time[0] - g.Time[0]
	}
	for i := range w.Time {
		same(t, "time", i, g.Time[i]+shift, w.Time[i], 1e-6)
		for k := range 3 {
			same(t, "acceleration", i, float64(g.Acc[k][i]), float64(w.Acc[k][i]), 1e-37+2e-7*math.Abs(float64(w.Acc[k][i])))
			if w.Gyr[k][i] == w.Gyr[k][i] {
				same(t, "turn rate", i, float64(g.Gyr[k][i]), float64(w.Gyr[k][i]), 1e-37+2e-7*math.Abs(float64(w.Gyr[k][i])))
			}
		}
	}
}

func writeFIT(t rapid.TB, l *ingest.Log) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write.FIT(&b, l); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func writeGPX(t rapid.TB, l *ingest.Log) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write.GPX(&b, l); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestFITRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLog(t)
		data := writeFIT(t, l)
		got, err := ingest.ReadFIT(data)
		if err != nil {
			t.Fatal(err)
		}
		if !l.Start.IsZero() && len(got.Warnings) > 0 {
			t.Errorf("warnings: %v", got.Warnings)
		}
		sameFIT(t, got, l)
		// The same in small pieces, and of unknown size.
		again, err := ingest.ReadFITFrom(iotest.OneByteReader(bytes.NewReader(data)))
		if err != nil {
			t.Fatal(err)
		}
		sameFIT(t, again, l)
	})
}

// What we write, others read without complaint.
func TestFITWriterForOthers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLog(t)
		data := writeFIT(t, l)
		f, err := tormoder.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatalf("tormoder/fit: %v", err)
		}
		a, err := f.Activity()
		if err != nil {
			t.Fatalf("tormoder/fit: %v", err)
		}
		if len(a.Records) != len(l.GPS.Time) || len(a.Sessions) != 1 {
			t.Errorf("%d records, the library reads %d, %d sessions", len(l.GPS.Time), len(a.Records), len(a.Sessions))
		}
	})
}

// gpxOnly writes GPX without further columns.
func gpxOnly(w io.Writer, l *ingest.Log) error { return write.GPX(w, l) }

func TestGPXRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLog(t)
		if l.Start.IsZero() {
			t.Skip("GPX needs a date")
		}
		data := writeGPX(t, l)
		got, err := ingest.ReadGPX(data)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Warnings)+len(got.Files[0].Dropped) > 0 {
			t.Errorf("warnings %v, dropped %v", got.Warnings, got.Files[0].Dropped)
		}
		sameGPS(t, got, l, 0.51e-9, 0.00051*2, 0.000051, 0.00052, 1e-6)
		again, err := ingest.ReadGPXFrom(iotest.OneByteReader(bytes.NewReader(data)))
		if err != nil {
			t.Fatal(err)
		}
		sameGPS(t, again, l, 0.51e-9, 0.00051*2, 0.000051, 0.00052, 1e-6)
		doc, err := gpx.ParseBytes(data)
		if err != nil {
			t.Fatalf("gpxgo: %v", err)
		}
		if n := doc.GetTrackPointsNo(); n != len(l.GPS.Time) {
			t.Errorf("gpxgo reads %d points, want %d", n, len(l.GPS.Time))
		}
	})
}

// messageEnds returns, for a good FIT file, where its messages end and how
// many fixes and accelerometer samples each brings.
func messageEnds(data []byte) (end []int, fixes, samples []int) {
	var global, size [16]int
	for at := 14; at < len(data)-2; { // header, and checksum at the end
		b := data[at:]
		local := b[0] & 0xF
		if b[0]&0x40 != 0 { // a definition: little-endian, fields of number, size, type
			global[local], size[local] = int(binary.LittleEndian.Uint16(b[3:])), 1
			p := 6
			for range b[5] {
				size[local] += int(b[p+1])
				p += 3
			}
			if b[0]&0x20 != 0 { // developer fields
				p++
				for range b[p-1] {
					size[local] += int(b[p+1])
					p += 3
				}
			}
			at += p
			continue
		}
		nf, ns := 0, 0
		switch global[local] {
		case 20:
			nf = 1
		case 165:
			for j := range 30 { // after the header, the time stamp and its ms
				if binary.LittleEndian.Uint16(b[7+2*j:]) != 0xFFFF {
					ns++
				}
			}
		}
		at += size[local]
		end, fixes, samples = append(end, at), append(fixes, nf), append(samples, ns)
	}
	return end, fixes, samples
}

// smallLog is a log of some seconds.
func smallLog(n int) *ingest.Log {
	l := &ingest.Log{Start: time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)}
	for i := range n {
		l.IMU.Time = append(l.IMU.Time, float64(i)/50)
		for k := range 3 {
			l.IMU.Acc[k] = append(l.IMU.Acc[k], float32(i+k))
			l.IMU.Gyr[k] = append(l.IMU.Gyr[k], float32(i-k)/10)
		}
		if i%10 == 0 {
			g := &l.GPS
			g.Time = append(g.Time, float64(i)/50)
			g.Lat, g.Lon = append(g.Lat, 45+float64(i)/1e5), append(g.Lon, -1)
			g.Alt, g.Speed, g.Course = append(g.Alt, 1), append(g.Speed, float32(i)/10), append(g.Course, 90)
		}
	}
	return l
}

// Cutting a file at any byte loses only what lay beyond the cut.
func TestFITCut(t *testing.T) {
	l := smallLog(70) // two whole messages a sensor and one that is filled in part
	data := writeFIT(t, l)
	end, fixes, samples := messageEnds(data)
	for cut := range data {
		wantFixes, wantSamples := 0, 0
		for i, e := range end {
			if e <= cut {
				wantFixes += fixes[i]
				wantSamples += samples[i]
			}
		}
		at, v, _, got, err := ingest.ReadFITMotion(data[:cut])
		if err != nil {
			if wantFixes+wantSamples > 0 {
				t.Fatalf("cut at %d: %v", cut, err)
			}
			continue
		}
		if len(got.GPS.Time) != wantFixes || len(at[acc]) != wantSamples {
			t.Fatalf("cut at %d: %d fixes and %d samples, want %d and %d", cut, len(got.GPS.Time), len(at[acc]), wantFixes, wantSamples)
		}
		if len(got.Warnings) == 0 {
			t.Fatalf("cut at %d of %d: not a word", cut, len(data))
		}
		for i := range at[acc] {
			if v[acc][0][i] != l.IMU.Acc[0][i] && math.Abs(float64(v[acc][0][i]-l.IMU.Acc[0][i])) > 1e-4 {
				t.Fatalf("cut at %d: sample %d is %v, want %v", cut, i, v[acc][0][i], l.IMU.Acc[0][i])
			}
		}
	}
}

func TestGPXCut(t *testing.T) {
	data := writeGPX(t, smallLog(70))
	for cut := range data {
		want := bytes.Count(data[:cut], []byte("</trkpt>"))
		got, err := ingest.ReadGPX(data[:cut])
		if err != nil {
			if want > 0 {
				t.Fatalf("cut at %d: %v", cut, err)
			}
			continue
		}
		if len(got.GPS.Time) != want {
			t.Fatalf("cut at %d: %d points, want %d", cut, len(got.GPS.Time), want)
		}
		if cut < len(data)-1 && len(got.Warnings) == 0 {
			t.Fatalf("cut at %d of %d: not a word", cut, len(data))
		}
	}
}

// A reader that fails in the middle is a cut too, and its error is told.
func TestReaderFails(t *testing.T) {
	broken := fmt.Errorf("the stick was pulled")
	l := smallLog(200)
	for name, c := range map[string]struct {
		data []byte
		read func(io.Reader) (*ingest.Log, error)
	}{
		"FIT": {writeFIT(t, l), ingest.ReadFITFrom},
		"GPX": {writeGPX(t, l), ingest.ReadGPXFrom},
	} {
		got, err := c.read(io.MultiReader(bytes.NewReader(c.data[:len(c.data)/2]), iotest.ErrReader(broken)))
		if err != nil {
			t.Fatal(name, err)
		}
		if !hasWarning(got, broken.Error()) || len(got.GPS.Time) < 5 {
			t.Errorf("%s: %d fixes, warnings %v", name, len(got.GPS.Time), got.Warnings)
		}
	}
}

// Writers refuse what they cannot write, and pass on a write error.
func TestWriterErrors(t *testing.T) {
	l := smallLog(50)
	for name, f := range map[string]func(io.Writer, *ingest.Log) error{"FIT": write.FIT, "GPX": gpxOnly} {
		if err := f(brokenWriter{}, l); err == nil {
			t.Errorf("%s: no error from a writer that fails", name)
		}
	}
	undated := *l
	undated.Start = time.Time{}
	if err := write.GPX(io.Discard, &undated); err == nil {
		t.Error("GPX: a log without a date was written")
	}
	old := *l
	old.Start = time.Date(1975, 1, 1, 0, 0, 0, 0, time.UTC)
	if err := write.FIT(io.Discard, &old); err == nil {
		t.Error("FIT: a log of 1975 was written")
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }
