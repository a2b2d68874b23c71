package ingest_test

import (
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"

	"evenfoot/ingest"
)

const (
	acc, gyr = 0, 1
	earthG   = 9.80665 // m/s², CGPM 1901, V
)

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

func TestFITCalibratedSensors(t *testing.T) {
	for _, big := range []bool{false, true} {
		m := fitMaker{big: big}
		three := []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 3}, {5, f32, 3}, {6, f32, 3}, {7, f32, 3}}
		m.def(0, 165, three)
		m.def(1, 164, three)
		for i := range uint32(4) {
			ms := uint16(i * 250 % 1000)
			v := float32(i)
			for local := range byte(2) {
				m.data(local, uint32(ts0)+i*250/1000, ms, [3]uint16{0, 40, 90}, [3]float32{v, v + 1, v + 2}, [3]float32{-v, -v, -v}, [3]float32{0.5, 1, 2})
			}
		}
		at, v, unit, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(l.Warnings) > 0 {
			t.Errorf("warnings: %v", l.Warnings)
		}
		for k, scale := range [2]float64{earthG, math.Pi / 180} {
			if len(at[k]) != 12 {
				t.Fatalf("sensor %d: %d samples, want 12", k, len(at[k]))
			}
			for i := range 12 {
				if want := float64(i/3)*0.25 + [3]float64{0, 0.04, 0.09}[i%3]; !near(at[k][i], want, 1e-12) {
					t.Errorf("sensor %d sample %d: time %v, want %v", k, i, at[k][i], want)
				}
				want := [3]float64{float64(i/3 + i%3), -float64(i / 3), [3]float64{0.5, 1, 2}[i%3]}
				for a := range 3 {
					if got := float64(v[k][a][i]); !near(got, want[a]*scale, 1e-6*scale*5) {
						t.Errorf("sensor %d axis %d sample %d: %v, want %v", k, a, i, got, want[a]*scale)
					}
				}
			}
		}
		if unit != [2]string{"g", "deg/s"} {
			t.Errorf("units %q", unit)
		}
	}
}

// calibrationMsg appends a calibration of a sensor: counts less 32768 and an
// offset, times factor/divisor, then x and y swapped and z reversed.
func calibrationMsg(m *fitMaker, sensor byte, ts uint32, factor, divisor uint32) {
	m.def(5, 167, []fd{{253, u32, 1}, {0, 0x00, 1}, {1, u32, 1}, {2, u32, 1}, {3, u32, 1}, {4, s32, 3}, {5, s32, 9}})
	m.data(5, ts, sensor, factor, divisor, uint32(32768), [3]int32{10, -20, 30},
		[9]int32{0, 65535, 0, 65535, 0, 0, 0, 0, -65535})
}

func TestFITRawCounts(t *testing.T) {
	three := []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 2}, {2, u16, 2}, {3, u16, 2}, {4, u16, 2}}
	data := func(m *fitMaker, local byte, ts uint32) {
		m.data(local, ts, uint16(0), [2]uint16{0, 500}, [2]uint16{32768 + 10 + 1000, 32768 + 10}, [2]uint16{32768 - 20 - 500, 32768 - 20}, [2]uint16{32768 + 30 + 2000, 65535})
	}
	// v = M·(counts − level shift − offset)·factor/divisor gives in the
	// sensor's units x = -500, y = 1000, z = -2000, times factor/divisor. The
	// second sample is marked invalid in z.
	check := func(t *testing.T, v [3][]float32, i int, si, gain float64) {
		t.Helper()
		for a, want := range [3]float64{-500, 1000, -2000} {
			if got := float64(v[a][i]); !near(got, want*gain*si, 1e-6*2000*gain*si) {
				t.Errorf("axis %d sample %d: %v, want %v", a, i, got, want*gain*si)
			}
		}
	}
	t.Run("calibration first, for each sensor its own, and a new one", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, three)
		m.def(1, 164, three)
		calibrationMsg(&m, 0, ts0, 1, 2048)
		calibrationMsg(&m, 1, ts0, 5, 82)
		for local := range byte(2) {
			data(&m, local, ts0)
		}
		calibrationMsg(&m, 0, ts0, 1, 1024)
		data(&m, 0, ts0+1)
		_, v, unit, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		check(t, v[acc], 0, earthG, 1.0/2048)
		check(t, v[gyr], 0, math.Pi/180, 5.0/82)
		check(t, v[acc], 1, earthG, 1.0/1024)
		if n := dropCount(l, "marked invalid"); n != 3 {
			t.Errorf("%d samples dropped as invalid, want 3", n)
		}
		if unit[acc] != "counts" {
			t.Errorf("unit %q", unit[acc])
		}
	})
	t.Run("calibration late", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, three)
		data(&m, 0, ts0)
		data(&m, 0, ts0+1)
		calibrationMsg(&m, 0, ts0, 1, 2048)
		_, v, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		check(t, v[acc], 0, earthG, 1.0/2048)
		check(t, v[acc], 1, earthG, 1.0/2048)
		if !hasWarning(l, "late calibration") {
			t.Errorf("no warning of it in %v", l.Warnings)
		}
	})
	t.Run("none", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, three)
		data(&m, 0, ts0)
		m.records(1, ts0)
		calibrationMsg(&m, 0, ts0, 1, 0) // divides by zero
		at, _, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(at[acc]) != 0 || dropCount(l, "no calibration") != 1 || !hasWarning(l, "useless calibration") {
			t.Errorf("%d samples, dropped %v, warnings %v", len(at[acc]), l.Files[0].Dropped, l.Warnings)
		}
	})
	t.Run("the calibration of another file of the chain", func(t *testing.T) {
		var m, n fitMaker
		m.def(0, 165, three)
		data(&m, 0, ts0)
		n.def(0, 165, three)
		calibrationMsg(&n, 0, ts0, 1, 2048)
		data(&n, 0, ts0+10)
		at, v, _, l, err := ingest.ReadFITMotion(append(m.file(14), n.file(14)...))
		if err != nil {
			t.Fatal(err)
		}
		if len(at[acc]) != 1 || at[acc][0] != 10 || dropCount(l, "no calibration") != 1 {
			t.Fatalf("times %v, dropped %v", at[acc], l.Files[0].Dropped)
		}
		check(t, v[acc], 0, earthG, 1.0/2048)
	})
	t.Run("no matrix", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, three)
		m.def(5, 167, []fd{{253, u32, 1}, {0, 0x00, 1}, {1, u32, 1}, {2, u32, 1}})
		m.data(5, uint32(ts0), byte(0), uint32(1), uint32(1000))
		m.data(0, uint32(ts0), uint16(0), [2]uint16{0, 1}, [2]uint16{1000, 1}, [2]uint16{500, 1}, [2]uint16{0, 1})
		_, v, _, _, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if x, y, z := v[acc][0][0], v[acc][1][0], v[acc][2][0]; x != float32(earthG) || y != float32(earthG/2) || z != 0 {
			t.Errorf("got %v %v %v", x, y, z)
		}
	})
}

func TestFITSensorForms(t *testing.T) {
	inf, nan := float32(math.Inf(1)), float32(math.NaN())
	for _, c := range []struct {
		name string
		make func(m *fitMaker)
		want []float64 // x of the accelerometer, in g
		time []float64
		drop map[string]int
		warn string
	}{
		{"compressed", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 2}, {8, s16, 2}, {9, s16, 2}, {10, s16, 2}})
			m.data(0, uint32(ts0), uint16(0), [2]uint16{0, 10}, [2]int16{1500, -250}, [2]int16{}, [2]int16{})
		}, []float64{1.5, -0.25}, []float64{0, 0.01}, nil, ""},
		{"calibrated is invalid, compressed is not", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 1}, {5, f32, 1}, {6, f32, 1}, {7, f32, 1}, {8, s16, 1}, {9, s16, 1}, {10, s16, 1}})
			m.data(0, uint32(ts0), uint16(0), uint32(math.MaxUint32), uint32(math.MaxUint32), uint32(math.MaxUint32), int16(1500), int16(0), int16(0))
		}, []float64{1.5}, []float64{0}, nil, ""},
		{"a calibrated type that is no float", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 1}, {5, s16, 1}, {6, f64, 1}, {7, 0x8E, 1}})
			m.data(0, uint32(ts0), uint16(0), int16(-3), float64(0.25), int64(1))
		}, []float64{-3}, []float64{0}, nil, ""},
		{"padding, NaN and infinities", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 5}, {5, f32, 5}, {6, f32, 5}, {7, f32, 5}})
			m.data(0, uint32(ts0), [5]uint16{0, 10, 20, 30, 0xFFFF}, [5]float32{1, nan, 2, 3, nan}, [5]float32{0, 0, 0, 0, nan}, [5]float32{0, 0, inf, 0, nan})
		}, []float64{1, 3}, []float64{0, 0.03}, map[string]int{"marked invalid": 2}, ""},
		{"axes of different length", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 3}, {5, f32, 3}, {6, f32, 2}, {7, f32, 3}})
			m.data(0, uint32(ts0), [3]uint16{0, 10, 20}, [3]float32{1, 2, 3}, [2]float32{}, [3]float32{})
		}, []float64{1, 2}, []float64{0, 0.01}, map[string]int{"lacks an axis": 1}, ""},
		{"fewer offsets than samples", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 2}, {5, f32, 3}, {6, f32, 3}, {7, f32, 3}})
			m.data(0, uint32(ts0), [2]uint16{0, 10}, [3]float32{1, 2, 3}, [3]float32{}, [3]float32{})
		}, []float64{1, 2}, []float64{0, 0.01}, map[string]int{"without a time offset": 1}, ""},
		{"no offsets: spread", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {0, u16, 1}, {5, f32, 2}, {6, f32, 2}, {7, f32, 2}})
			m.data(0, uint32(ts0), uint16(0), [2]float32{1, 2}, [2]float32{}, [2]float32{})
			m.data(0, uint32(ts0), uint16(500), [2]float32{3, 4}, [2]float32{}, [2]float32{})
			m.data(0, uint32(ts0+60), uint16(0), [2]float32{5, 6}, [2]float32{}, [2]float32{})
		}, []float64{1, 2, 3, 4, 5, 6}, []float64{0, 0.25, 0.5, 0.75, 60, 60.25}, nil, "no sample times"},
		{"no offsets, several messages a second", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {5, f32, 2}, {6, f32, 2}, {7, f32, 2}})
			for i := range 4 {
				m.data(0, uint32(ts0+i/2), [2]float32{float32(2 * i), float32(2*i + 1)}, [2]float32{}, [2]float32{})
			}
		}, []float64{0, 1, 2, 3, 4, 5, 6, 7}, []float64{0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75}, nil, "no sample times"},
		{"high-rate accelerometer of message 302", func(m *fitMaker) {
			m.def(0, 302, []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 1}, {2, s16, 3}, {3, s16, 3}, {4, s16, 3}})
			m.data(0, uint32(ts0), uint16(500), uint16(40), [3]int16{1024, 2048, -1024}, [3]int16{}, [3]int16{})
		}, []float64{1, 2, -1}, []float64{0.5, 0.54, 0.58}, nil, ""},
		{"a missing axis", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 2}, {5, f32, 2}, {6, f32, 2}})
			m.data(0, uint32(ts0), [2]uint16{0, 10}, [2]float32{1, 2}, [2]float32{})
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 1}, {5, f32, 1}, {6, f32, 1}, {7, f32, 1}})
			m.data(0, uint32(ts0), uint16(0), float32(4), float32(0), float32(0))
		}, []float64{4}, []float64{0}, map[string]int{"marked invalid": 2}, ""},
		{"a field whose size fits no value", func(m *fitMaker) {
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 1}, {5, f32, 1}, {6, f32, 1}, {7, f32, 1}})
			m.b[len(m.b)-8] = 3 // bytes of field 5
			m.data(0, uint32(ts0), uint16(0), [3]byte{}, float32(0), float32(0))
			m.def(0, 165, []fd{{253, u32, 1}, {1, u16, 1}, {5, f32, 1}, {6, f32, 1}, {7, f32, 1}})
			m.data(0, uint32(ts0), uint16(0), float32(4), float32(0), float32(0))
		}, []float64{4}, []float64{0}, map[string]int{"marked invalid": 1}, "field of unknown type"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var m fitMaker
			c.make(&m)
			at, v, _, l, err := ingest.ReadFITMotion(m.file(14))
			if err != nil {
				t.Fatal(err)
			}
			if len(at[acc]) != len(c.want) {
				t.Fatalf("%d samples, want %d; dropped %v", len(at[acc]), len(c.want), l.Files[0].Dropped)
			}
			for i := range c.want {
				if got := float64(v[acc][0][i]) / earthG; !near(got, c.want[i], 1e-6*max(1, math.Abs(c.want[i]))) {
					t.Errorf("sample %d: %v g, want %v", i, got, c.want[i])
				}
				if !near(at[acc][i], c.time[i], 1e-9) {
					t.Errorf("sample %d: time %v, want %v", i, at[acc][i], c.time[i])
				}
			}
			total := 0
			for reason, n := range c.drop {
				total += n
				if got := dropCount(l, reason); got != n {
					t.Errorf("%d dropped for %q, want %d", got, reason, n)
				}
			}
			if got := dropCount(l, ""); got != total {
				t.Errorf("%d dropped in all, want %d: %v", got, total, l.Files[0].Dropped)
			}
			if (c.warn == "") != (len(l.Warnings) == 0) || c.warn != "" && !hasWarning(l, c.warn) {
				t.Errorf("warnings %v, want %q", l.Warnings, c.warn)
			}
		})
	}
}

// devField appends a field description.
func devField(m *fitMaker, num, base byte, name, units string) {
	m.def(15, 206, []fd{{0, u8, 1}, {1, u8, 1}, {2, u8, 1}, {3, str, 24}, {8, str, 12}})
	m.data(15, byte(0), num, base, fmt.Sprintf("%s%s", name, strings.Repeat("\x00", 24-len(name))), fmt.Sprintf("%s%s", units, strings.Repeat("\x00", 12-len(units))))
}

func TestFITDeveloperFields(t *testing.T) {
	t.Run("an IMU by name and unit", func(t *testing.T) {
		for _, names := range [][6]string{
			{"accel_x", "accel_y", "accel_z", "gyro_x", "gyro_y", "gyro_z"},
			{"AccX", "AccY", "AccZ", "GyroX", "GyroY", "GyroZ"},
			{"ax", "ay", "az", "gx", "gy", "gz"},
			{"IMU Acceleration X", "IMU Acceleration Y", "IMU Acceleration Z", "Gyroscope X", "Gyroscope Y", "Gyroscope Z"},
		} {
			var m fitMaker
			for i, n := range names {
				devField(&m, byte(i), []byte{s16, f32}[i/3], n, []string{"mg", "deg/s"}[i/3])
			}
			m.def(0, 20, []fd{{253, u32, 1}}, [3]byte{0, 2, 0}, [3]byte{1, 2, 0}, [3]byte{2, 2, 0}, [3]byte{3, 4, 0}, [3]byte{4, 4, 0}, [3]byte{5, 4, 0})
			for i := range 3 {
				m.data(0, uint32(ts0+i), int16(100*i), int16(0), int16(1000), float32(90), float32(0), float32(-i))
			}
			at, v, unit, l, err := ingest.ReadFITMotion(m.file(14))
			if err != nil {
				t.Fatalf("%v: %v", names, err)
			}
			if len(at[acc]) != 3 || len(at[gyr]) != 3 {
				t.Fatalf("%v: %d and %d samples; %v", names, len(at[acc]), len(at[gyr]), l.Warnings)
			}
			if !near(float64(v[acc][2][1]), earthG, 1e-6) || !near(float64(v[acc][0][2]), 0.2*earthG, 1e-6) || !near(float64(v[gyr][0][0]), math.Pi/2, 1e-6) || at[acc][2] != 2 {
				t.Errorf("%v: got %v, %v", names, v[acc], v[gyr])
			}
			if unit[acc] != "mg" || unit[gyr] != "deg/s" {
				t.Errorf("units %q", unit)
			}
		}
	})
	t.Run("arrays", func(t *testing.T) {
		var m fitMaker
		for i, n := range []string{"accel_x", "accel_y", "accel_z"} {
			devField(&m, byte(i), s16, n, "m/s²")
		}
		m.def(0, 20, []fd{{253, u32, 1}}, [3]byte{0, 8, 0}, [3]byte{1, 8, 0}, [3]byte{2, 8, 0})
		for i := range 3 {
			m.data(0, uint32(ts0+i), [4]int16{int16(4 * i), int16(4*i + 1), int16(4*i + 2), int16(4*i + 3)}, [4]int16{}, [4]int16{10, 10, 10, 10})
		}
		at, v, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(at[acc]) != 12 {
			t.Fatalf("%d samples", len(at[acc]))
		}
		for i := range 12 {
			if !near(at[acc][i], float64(i)/4, 1e-12) || v[acc][0][i] != float32(i) {
				t.Errorf("sample %d: %v at %v", i, v[acc][0][i], at[acc][i])
			}
		}
		if !hasWarning(l, "no sample times") {
			t.Error("spreading is not told")
		}
	})
	t.Run("three axes in one field", func(t *testing.T) {
		var m fitMaker
		devField(&m, 0, s16, "acceleration", "mg")
		devField(&m, 1, f32, "gyro", "deg/s")
		m.def(0, 20, []fd{{253, u32, 1}}, [3]byte{0, 6, 0}, [3]byte{1, 12, 0})
		m.data(0, uint32(ts0), [3]int16{100, 200, 1000}, [3]float32{0, -90, 180})
		at, v, unit, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(at[acc]) != 1 || len(at[gyr]) != 1 || unit[acc] != "mg" {
			t.Fatalf("%d and %d samples in %q; %v", len(at[acc]), len(at[gyr]), unit, l.Warnings)
		}
		for k, want := range [3]float64{0.1 * earthG, 0.2 * earthG, earthG} {
			if !near(float64(v[acc][k][0]), want, 1e-6) || !near(float64(v[gyr][k][0]), [3]float64{0, -math.Pi / 2, math.Pi}[k], 1e-6) {
				t.Errorf("axis %d: %v m/s², %v rad/s", k, v[acc][k][0], v[gyr][k][0])
			}
		}
	})
	t.Run("no unit", func(t *testing.T) {
		var m fitMaker
		devField(&m, 0, s16, "accel_x", "")
		m.def(0, 20, recordFields, [3]byte{0, 2, 0})
		m.data(0, uint32(ts0), int32(1), int32(1), uint32(1), uint32(1), int16(7))
		l, err := ingest.ReadFIT(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if !hasWarning(l, `developer field without a usable unit, "accel_x"`) {
			t.Errorf("warnings %v", l.Warnings)
		}
	})
	t.Run("speed in every unit", func(t *testing.T) {
		// A mile is 1609.344 m, a nautical mile 1852 m (definitions of 1959 and 1929).
		for name, mps := range map[string]float64{"mph": 1609.344 / 3600, "kn": 1852.0 / 3600, "km/h": 1 / 3.6, "m/s": 1, "mm/s": 1e-3} {
			var m fitMaker
			devField(&m, 0, f32, "speed", name)
			m.def(0, 20, []fd{{253, u32, 1}, {0, s32, 1}, {1, s32, 1}}, [3]byte{0, 4, 0})
			m.data(0, uint32(ts0), int32(1<<29), int32(1<<27), float32(20))
			l, err := ingest.ReadFIT(m.file(14))
			if err != nil {
				t.Fatal(name, err)
			}
			if v := float64(l.GPS.Speed[0]); !near(v, 20*mps, 1e-5*mps*20) {
				t.Errorf("20 %s is read as %v m/s, want %v", name, v, 20*mps)
			}
		}
	})
	t.Run("undescribed developer field", func(t *testing.T) {
		var m fitMaker
		m.def(0, 20, recordFields, [3]byte{9, 2, 3})
		m.data(0, uint32(ts0), int32(1), int32(1), uint32(1), uint32(1), int16(7))
		l, err := ingest.ReadFIT(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(l.GPS.Time) != 1 || !hasWarning(l, "undescribed developer field") {
			t.Errorf("%d fixes, warnings %v", len(l.GPS.Time), l.Warnings)
		}
	})
	t.Run("linear acceleration is not specific force", func(t *testing.T) {
		var m fitMaker
		for i, n := range []string{"linear_accel_x", "linear_accel_y", "linear_accel_z"} {
			devField(&m, byte(i), s16, n, "mg")
		}
		m.def(0, 20, recordFields, [3]byte{0, 2, 0}, [3]byte{1, 2, 0}, [3]byte{2, 2, 0})
		m.data(0, uint32(ts0), int32(1), int32(1), uint32(1), uint32(1), int16(7), int16(7), int16(7))
		at, _, _, _, err := ingest.ReadFITMotion(m.file(14))
		if err != nil || len(at[acc]) != 0 {
			t.Errorf("%d samples, %v", len(at[acc]), err)
		}
	})
	t.Run("time, course and speed", func(t *testing.T) {
		var m fitMaker
		devField(&m, 0, u16, "timestamp_ms", "ms")
		devField(&m, 1, f32, "course", "rad")
		devField(&m, 2, f32, "speed", "kn")
		m.def(0, 20, []fd{{253, u32, 1}, {0, s32, 1}, {1, s32, 1}}, [3]byte{0, 2, 0}, [3]byte{1, 4, 0}, [3]byte{2, 4, 0})
		m.data(0, uint32(ts0), int32(1), int32(1), uint16(0), float32(math.Pi), float32(10))
		m.data(0, uint32(ts0), int32(1), int32(1), uint16(100), float32(math.NaN()), float32(10))
		l, err := ingest.ReadFIT(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if l.GPS.Time[1] != 0.1 || !near(float64(l.GPS.Course[0]), 180, 1e-4) || !math.IsNaN(float64(l.GPS.Course[1])) || !near(float64(l.GPS.Speed[0]), 5.14444, 1e-4) {
			t.Errorf("got %v %v %v", l.GPS.Time, l.GPS.Course, l.GPS.Speed)
		}
	})
}

func TestFITClocks(t *testing.T) {
	sensor := []fd{{253, u32, 1}, {0, u16, 1}, {1, u16, 1}, {5, f32, 1}, {6, f32, 1}, {7, f32, 1}}
	data := func(m *fitMaker, ts uint32, ms uint16) {
		m.data(0, ts, ms, uint16(0), float32(1), float32(2), float32(3))
	}
	t.Run("correlated", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, sensor)
		m.def(1, 162, []fd{{253, u32, 1}, {1, u32, 1}, {4, u16, 1}, {5, u16, 1}})
		data(&m, 100, 500)
		m.data(1, uint32(ts0), uint32(101), uint16(750), uint16(250)) // ts0 + 0.75 is 101.25
		data(&m, 101, 500)
		m.records(1, ts0+2)
		at, _, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		abs := func(x float64) float64 { return float64(l.Start.Unix()-631065600-ts0) + x }
		if !near(abs(at[acc][0]), 0, 1e-6) || !near(abs(at[acc][1]), 1, 1e-6) || !near(abs(l.GPS.Time[0]), 2, 1e-6) {
			t.Errorf("start %v, times %v, GPS %v", l.Start, at[acc], l.GPS.Time)
		}
		if len(l.Warnings) > 0 {
			t.Errorf("warnings %v", l.Warnings)
		}
	})
	t.Run("side by side", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, sensor)
		m.def(2, 20, recordFields)
		data(&m, 100, 0)
		m.record(2, ts0)
		data(&m, 101, 0)
		at, _, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if !near(at[acc][1]-l.GPS.Time[0], 1, 1e-6) || !hasWarning(l, "roughly dated clock") {
			t.Errorf("times %v, GPS %v, warnings %v", at[acc], l.GPS.Time, l.Warnings)
		}
	})
	t.Run("no date", func(t *testing.T) {
		var m fitMaker
		m.def(0, 165, sensor)
		data(&m, 100, 0)
		data(&m, 101, 0)
		at, _, _, l, err := ingest.ReadFITMotion(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if !l.Start.IsZero() || at[acc][1] != 1 || !hasWarning(l, "clock without a date") {
			t.Errorf("start %v, times %v, warnings %v", l.Start, at[acc], l.Warnings)
		}
	})
	t.Run("no date, chained to a file with one", func(t *testing.T) {
		var m, n fitMaker
		m.def(0, 165, sensor)
		data(&m, 100, 0)
		n.records(5, ts0)
		at, _, _, l, err := ingest.ReadFITMotion(append(m.file(14), n.file(14)...))
		if err != nil {
			t.Fatal(err)
		}
		checkRecords(t, l, 5)
		if len(at[acc]) != 0 || dropCount(l, "without a date") != 1 {
			t.Errorf("times %v, dropped %v", at[acc], l.Files[0].Dropped)
		}
	})
	t.Run("receiver's own fixes", func(t *testing.T) {
		var m fitMaker
		m.records(2, ts0)
		m.def(1, 160, []fd{{253, u32, 1}, {0, u16, 1}, {1, s32, 1}, {2, s32, 1}, {3, u32, 1}, {4, u32, 1}, {5, u16, 1}})
		for i := range 10 {
			m.data(1, uint32(ts0), uint16(100*i), int32(5e8), int32(1e8), uint32(2510), uint32(1234), uint16(27050))
		}
		l, err := ingest.ReadFIT(m.file(14))
		if err != nil {
			t.Fatal(err)
		}
		if len(l.GPS.Time) != 10 || l.GPS.Time[9] != 0.9 || l.GPS.Speed[0] != 1.234 || l.GPS.Course[0] != 270.5 || l.GPS.Alt[0] != 2 {
			t.Errorf("got %+v", l.GPS)
		}
		if dropCount(l, "denser fixes") != 2 {
			t.Errorf("dropped %v", l.Files[0].Dropped)
		}
	})
}

func TestFITNothingUsable(t *testing.T) {
	var m fitMaker
	m.def(0, 0, []fd{{0, 0x00, 1}})
	m.data(0, byte(2))
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"settings":  {m.file(14), `"settings" file`},
		"empty":     {nil, "not a FIT file"},
		"no header": {[]byte("<gpx></gpx> and more"), "not a FIT file"},
		"header":    {[]byte("\x0e\x20\x70\x08\xff\xff\xff\x7f.FIT"), "cut header"},
	} {
		if _, err := ingest.ReadFIT(c.data); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}
}

// Memory is in proportion to the file, whatever its counts claim.
func TestHostileMemory(t *testing.T) {
	claims := []byte("\x0e\x20\x70\x08\xff\xff\xff\x7f.FIT\x00\x00")
	wide := append(append([]byte{}, claims...), 0x40, 0, 0, 165, 0, 255) // 255 fields of 255 bytes
	for i := range 255 {
		wide = append(wide, byte(i), 255, 0x0D)
	}
	var empty fitMaker // a million messages of one byte, time stamps compressed
	empty.def(0, 20, []fd{{253, u32, 1}, {0, s32, 1}, {1, s32, 1}})
	empty.data(0, uint32(ts0), int32(1), int32(1))
	empty.def(1, 20, nil)
	for range 1_000_000 {
		empty.b = append(empty.b, 0x80|1<<5)
	}
	for name, data := range map[string][]byte{
		"header":             claims,
		"wide message":       wide,
		"messages of a byte": empty.file(14),
		"GPX, a tag":         []byte("<gpx><a " + strings.Repeat("b='c' ", 100_000)),
		"GPX, names":         []byte("<gpx><trkpt lat='1' lon='1'>" + strings.Repeat("<x>", 900)),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if strings.HasPrefix(name, "GPX") {
			_, _ = ingest.ReadGPX(data)
		} else {
			_, _ = ingest.ReadFIT(data)
		}
		runtime.ReadMemStats(&after)
		if got := after.TotalAlloc - before.TotalAlloc; got > 2<<20+uint64(len(data)) {
			t.Errorf("%s: %d bytes allocated for a file of %d", name, got, len(data))
		}
	}
}
