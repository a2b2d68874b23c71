package scan

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestScanNumber(t *testing.T) {
	for _, c := range []struct {
		in    string
		delim byte
		dec   byte
		want  float64
		kind  Kind
		next  int
	}{
		{"1.5,2", ',', '.', 1.5, IsNumber, 3},
		{"-0.25", ',', '.', -0.25, IsNumber, 5},
		{"+7,", ',', '.', 7, IsNumber, 2},
		{"9,81;x", ';', ',', 9.81, IsNumber, 4},
		{"9.81;x", ';', ',', 9.81, IsNumber, 4},
		{"1.234,5;", ';', ',', 0, IsGarbled, 7},
		{"1e3,", ',', '.', 1000, IsNumber, 3},
		{"1E-3\t", '\t', ',', 0.001, IsNumber, 4},
		{",", ',', '.', 0, IsEmpty, 0},
		{"", ',', '.', 0, IsEmpty, 0},
		{"  ,", ',', '.', 0, IsEmpty, 2},
		{"4.5  ,", ',', '.', 4.5, IsNumber, 5},
		{`"4.5",`, ',', '.', 4.5, IsNumber, 5},
		{`"4,5",1`, ',', ',', 4.5, IsNumber, 5},
		{"NaN,", ',', '.', 0, IsNotFinite, 3},
		{"-Inf", ',', '.', 0, IsNotFinite, 4},
		{"null;", ';', ',', 0, IsNotFinite, 4},
		{"1e999,", ',', '.', 0, IsNotFinite, 5},
		{"0x10,", ',', '.', 0, IsGarbled, 4},
		{"1_000,", ',', '.', 0, IsGarbled, 5},
		{"12 34,", ',', '.', 0, IsGarbled, 5},
		{"--1,", ',', '.', 0, IsGarbled, 3},
		{".,", ',', '.', 0, IsGarbled, 1},
		{".5,", ',', '.', 0.5, IsNumber, 2},
		{"5.,", ',', '.', 5, IsNumber, 2},
		{"9007199254740993,", ',', '.', 9007199254740992, IsNumber, 16},
		{"0.1234567890123456789012345678901,", ',', '.', 0.12345678901234568, IsNumber, 33},
		{strings.Repeat("9", 500) + ",", ',', '.', 0, IsGarbled, 500},
	} {
		v, next, kind := Number([]byte(c.in), 0, c.delim, c.dec)
		if kind != c.kind || next != c.next || kind == IsNumber && v != c.want {
			t.Errorf("%q: %v, next %d, kind %d; want %v, %d, %d", c.in, v, next, kind, c.want, c.next, c.kind)
		}
	}
}

// TestScanNumberExact holds the fast path to strconv's result, bit for bit.
func TestScanNumberExact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 60_000 {
		var s string
		switch i % 5 {
		case 0:
			s = strconv.FormatFloat(r.NormFloat64()*math.Pow(10, float64(r.IntN(12)-6)), 'f', r.IntN(18), 64)
		case 1:
			s = strconv.FormatFloat(math.Float64frombits(r.Uint64()), 'g', -1, 64)
		case 2:
			s = strconv.FormatFloat(float64(math.Float32frombits(r.Uint32())), 'g', -1, 32)
		case 3:
			s = strconv.FormatUint(r.Uint64(), 10) + "." + strconv.Itoa(r.IntN(1000))
		case 4:
			s = strconv.FormatFloat(float64(r.Uint64N(1<<53))/math.Pow(10, float64(r.IntN(20))), 'f', -1, 64)
		}
		want, err := strconv.ParseFloat(s, 64)
		v, next, kind := Number([]byte(s+","), 0, ',', '.')
		if err != nil || want-want != 0 {
			if kind == IsNumber {
				t.Fatalf("%q is taken for %v", s, v)
			}
			continue
		}
		if kind != IsNumber || next != len(s) || math.Float64bits(v) != math.Float64bits(want) {
			t.Fatalf("%q: %v (kind %d), strconv says %v", s, v, kind, want)
		}
		if f32, err := strconv.ParseFloat(s, 32); err == nil {
			if got := float32(ToFloat32(v, []byte(s), '.')); got != float32(f32) {
				t.Fatalf("%q: float32 %v, strconv says %v", s, got, float32(f32))
			}
		}
	}
}

// TestToFloat32 has decimals that are next to half-way between two float32s:
// rounding to float64 first would round them the wrong way.
func TestToFloat32(t *testing.T) {
	for _, s := range []string{"1.00000005960464477540", "1.00000005960464477538", "16777217.0000000001", "16777216.9999999999"} {
		v, _ := strconv.ParseFloat(s, 64)
		want, _ := strconv.ParseFloat(s, 32)
		if got := float32(ToFloat32(v, []byte(s), '.')); got != float32(want) {
			t.Errorf("%s: %v, want %v", s, got, float32(want))
		}
	}
}

func TestDecimalNS(t *testing.T) {
	for _, c := range []struct {
		in     string
		digits int
		want   int64
		ok     bool
	}{
		{"1758362400.123456", 0, 1758362400123456000, true},
		{"1758362400,5", 0, 1758362400500000000, true},
		{"1758362400123456789", 9, 1758362400123456789, true},
		{"1758362400123.4567", 3, 1758362400123456700, true},
		{"1.0000000005", 0, 1000000001, true},
		{"1.00000000049", 0, 1000000000, true},
		{"-2.5", 0, -2500000000, true},
		{"9223372036", 0, 9223372036000000000, true},
		{"9300000000", 0, 0, false},
		{"1e9", 0, 0, false},
		{"", 0, 0, false},
		{".", 0, 0, false},
		{"1.2.3", 0, 0, false},
	} {
		got, ok := DecimalNS([]byte(c.in), ',', c.digits)
		if ok != c.ok || got != c.want {
			t.Errorf("%q: %d %v, want %d %v", c.in, got, ok, c.want, c.ok)
		}
	}
}

func TestISOTime(t *testing.T) {
	for in, want := range map[string]string{
		"2026-09-20T10:00:00Z":            "2026-09-20T10:00:00Z",
		"2026-09-20T10:00:00.250+02:00":   "2026-09-20T08:00:00.25Z",
		"2026-09-20 10:00:00,5":           "2026-09-20T10:00:00.5Z",
		"2026-09-20T10:00Z":               "2026-09-20T10:00:00Z",
		"20260920T100000Z":                "2026-09-20T10:00:00Z",
		"2026/09/20 10:00:00":             "2026-09-20T10:00:00Z",
		"2026-09-20T10:00:00-0330":        "2026-09-20T13:30:00Z",
		"2026-09-20T10:00:00+05":          "2026-09-20T05:00:00Z",
		"2026-09-20T10:00:00 UTC":         "2026-09-20T10:00:00Z",
		"2026-09-20T10:00:00.1234567891Z": "2026-09-20T10:00:00.123456789Z",
		"2026-09-20T10:00:00.9999999996Z": "2026-09-20T10:00:01Z",
		"2024-02-29T24:00:00Z":            "2024-03-01T00:00:00Z",
	} {
		ns, ok := Time([]byte(in))
		got := time.Unix(0, ns).UTC().Format(time.RFC3339Nano)
		if !ok || got != want {
			t.Errorf("%q: %s %v, want %s", in, got, ok, want)
		}
	}
	for _, in := range []string{"", "2026", "2026-09-20", "2026-13-01T00:00:00Z", "2026-02-29T00:00:00Z", "2026-09-20T25:00:00Z",
		"2026-09-20T10:61:00Z", "2026-09-20T10:00:00.Z", "2026-09-20T10:00:00+99:00", "2026-09-20T10:00:00Zjunk", "20.09.2026 10:00", "2026-09-20T10:00:00+"} {
		if ns, ok := Time([]byte(in)); ok {
			t.Errorf("%q is taken for %s", in, time.Unix(0, ns).UTC())
		}
	}
	r := rand.New(rand.NewPCG(5, 6))
	for range 20000 {
		want := time.Unix(r.Int64N(9e9)-2e9, r.Int64N(1e9)).UTC()
		ns, ok := Time([]byte(want.Format(time.RFC3339Nano)))
		if !ok || ns != want.UnixNano() {
			t.Fatalf("%s: %d %v", want, ns, ok)
		}
	}
}
