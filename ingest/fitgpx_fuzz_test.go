//go:build !js

package ingest_test

import (
	"bytes"
	"math"
	"os"
	"testing"

	"evenfoot/ingest"
)

func fuzzSeeds(f *testing.F, module, ext string, most int64) {
	for _, path := range testFiles(f, module, ext) {
		if info, err := os.Stat(path); err != nil || info.Size() > most {
			continue
		}
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
}

// checkRead is what must hold of anything that was read: columns of one
// length, finite values, samples in proportion to the file.
func checkRead(t *testing.T, data []byte, l *ingest.Log) {
	t.Helper()
	g := &l.GPS
	n := len(g.Time)
	if len(g.Lat) != n || len(g.Lon) != n || len(g.Alt) != n || len(g.Speed) != n || len(g.Course) != n {
		t.Fatalf("GPS columns of %d, %d, %d, %d, %d, %d", n, len(g.Lat), len(g.Lon), len(g.Alt), len(g.Speed), len(g.Course))
	}
	for i := range n {
		if math.IsNaN(g.Time[i]) || math.IsInf(g.Time[i], 0) || math.Abs(g.Lat[i]) > 90 || math.Abs(g.Lon[i]) > 180 || math.IsNaN(g.Lat[i]) != math.IsNaN(g.Lon[i]) ||
			math.IsNaN(g.Lat[i]) && g.Speed[i] != g.Speed[i] {
			t.Fatalf("fix %d: %v at %v %v, speed %v", i, g.Time[i], g.Lat[i], g.Lon[i], g.Speed[i])
		}
		for _, v := range []float32{g.Alt[i], g.Speed[i], g.Course[i]} {
			if math.IsInf(float64(v), 0) {
				t.Fatalf("fix %d: infinite: %v %v %v", i, g.Alt[i], g.Speed[i], g.Course[i])
			}
		}
	}
	for _, w := range l.Warnings {
		if w.Kind == "" || len(w.String()) > 1000 {
			t.Fatalf("a warning of %d bytes: %.100q", len(w.String()), w)
		}
	}
	if len(l.Warnings) > 200 {
		t.Fatalf("%d warnings", len(l.Warnings))
	}
	checkMotion(t, data, l.IMU.Time, l.IMU.Acc)
	if n > len(data)/2+1 {
		t.Fatalf("%d fixes out of %d bytes", n, len(data))
	}
}

func checkMotion(t *testing.T, data []byte, at []float64, v [3][]float32) {
	t.Helper()
	if len(at) > len(data) {
		t.Fatalf("%d samples out of %d bytes", len(at), len(data))
	}
	for k := range v {
		if len(v[k]) != len(at) {
			t.Fatalf("%d times, axis %d has %d", len(at), k, len(v[k]))
		}
		for i, x := range v[k] {
			if x-x != 0 || at[i]-at[i] != 0 {
				t.Fatalf("sample %d: %v at %v", i, x, at[i])
			}
		}
	}
}

func FuzzGPX(f *testing.F) {
	fuzzSeeds(f, "github.com/tkrajina/gpxgo", ".gpx", 6_000)
	f.Add([]byte(track(p1 + p2)))
	f.Add([]byte(track(`<trkpt lat="1" lon="2"><extensions><a:accel offset="0" x="0.1" y="0" z="1"/><ax_g>1</ax_g><ay_g>1</ay_g><az_g>1</az_g><speed_kn>3</speed_kn></extensions><time>2026-09-20T10:00:00.5+02:00</time></trkpt>`)))
	f.Add([]byte(`<!DOCTYPE gpx [<!ENTITY a "ha"><!-- x -->]><gpx><![CDATA[x]]><?p q?>` + p1))
	f.Add([]byte("\xff\xfe<\x00g\x00p\x00x\x00>\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ingest.ReadGPX(data)
		if err != nil {
			if len(err.Error()) > 20_000 {
				t.Fatalf("an error of %d bytes", len(err.Error()))
			}
			return
		}
		checkRead(t, data, l)
		again, err := ingest.ReadGPXFrom(bytes.NewReader(data))
		if err != nil || len(again.GPS.Time) != len(l.GPS.Time) {
			t.Fatalf("read twice, %d and %v points, %v", len(l.GPS.Time), again, err)
		}
	})
}

func FuzzFIT(f *testing.F) {
	fuzzSeeds(f, "github.com/tormoder/fit", ".fit", 4_000)
	var m fitMaker
	devField(&m, 0, s16, "accel_x", "mg")
	devField(&m, 1, s16, "accel_y", "mg")
	devField(&m, 2, s16, "accel_z", "mg")
	m.def(0, 20, recordFields, [3]byte{0, 4, 0}, [3]byte{1, 4, 0}, [3]byte{2, 4, 0})
	for i := range 3 {
		m.data(0, uint32(ts0+i), int32(1), int32(1), uint32(1), uint32(1), [2]int16{1, 2}, [2]int16{1, 2}, [2]int16{1, 2})
	}
	m.def(1, 165, []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 2}, {2, u16, 2}, {3, u16, 2}, {4, u16, 2}})
	m.data(1, uint32(ts0), uint16(0), [2]uint16{0, 5}, [2]uint16{1, 2}, [2]uint16{1, 2}, [2]uint16{1, 2})
	calibrationMsg(&m, 0, ts0, 1, 2048)
	m.def(2, 162, []fd{{253, u32, 1}, {1, u32, 1}, {4, u16, 1}, {5, u16, 1}})
	m.data(2, uint32(ts0), uint32(101), uint16(750), uint16(250))
	f.Add(m.file(14))
	f.Add(m.file(12))
	var b fitMaker
	b.big = true
	b.records(3, ts0)
	b.def(1, 160, []fd{{253, u32, 1}, {0, u16, 1}, {1, s32, 1}, {2, s32, 1}, {3, u32, 1}, {4, u32, 1}, {5, u16, 1}, {6, u32, 1}})
	b.data(1, uint32(50), uint16(10), int32(5e8), int32(1e8), uint32(2510), uint32(1234), uint16(27050), uint32(ts0))
	b.def(2, 376, []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 1}, {2, s16, 3}, {3, s16, 3}, {4, s16, 3}})
	b.data(2, uint32(ts0), uint16(500), uint16(40), [3]int16{1024, 2048, -1024}, [3]int16{}, [3]int16{})
	f.Add(append(b.file(14), m.file(12)...))
	f.Add(writeFIT(f, smallLog(12)))
	f.Fuzz(func(t *testing.T, data []byte) {
		at, v, _, l, err := ingest.ReadFITMotion(data)
		if err != nil {
			if len(err.Error()) > 20_000 {
				t.Fatalf("an error of %d bytes", len(err.Error()))
			}
			return
		}
		checkRead(t, data, l)
		for k := range at {
			checkMotion(t, data, at[k], v[k])
		}
		again, err := ingest.ReadFITFrom(bytes.NewReader(data))
		if err != nil || len(again.GPS.Time) != len(l.GPS.Time) {
			t.Fatalf("read twice, %d and %v fixes, %v", len(l.GPS.Time), again, err)
		}
	})
}
