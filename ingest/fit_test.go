package ingest_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest"
)

// A fitMaker puts FIT bytes together by hand, good or bad.
type fitMaker struct {
	b   []byte // messages
	big bool
}

// fd is a field of a definition: number, values' type, how many.
type fd struct {
	num  byte
	base byte
	n    int
}

var baseSize = map[byte]int{0x00: 1, 0x01: 1, 0x02: 1, 0x83: 2, 0x84: 2, 0x85: 4, 0x86: 4, 0x07: 1, 0x88: 4, 0x89: 8, 0x0D: 1, 0x8E: 8}

func (m *fitMaker) order() binary.AppendByteOrder {
	if m.big {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// def appends a definition; dev are developer fields: number, bytes, index.
func (m *fitMaker) def(local byte, global uint16, fields []fd, dev ...[3]byte) {
	h := 0x40 | local
	if len(dev) > 0 {
		h |= 0x20
	}
	arch := byte(0)
	if m.big {
		arch = 1
	}
	m.b = append(m.b, h, 0, arch)
	m.b = m.order().AppendUint16(m.b, global)
	m.b = append(m.b, byte(len(fields)))
	for _, f := range fields {
		m.b = append(m.b, f.num, byte(baseSize[f.base]*f.n), f.base)
	}
	if len(dev) > 0 {
		m.b = append(m.b, byte(len(dev)))
		for _, d := range dev {
			m.b = append(m.b, d[:]...)
		}
	}
}

// data appends a data message; each value is of the Go type that has its size.
func (m *fitMaker) data(header byte, values ...any) {
	m.b = append(m.b, header)
	for _, v := range values {
		switch v := v.(type) {
		case string:
			m.b = append(m.b, v...)
		default:
			var w bytes.Buffer
			var order binary.ByteOrder = binary.LittleEndian
			if m.big {
				order = binary.BigEndian
			}
			if err := binary.Write(&w, order, v); err != nil {
				panic(err)
			}
			m.b = append(m.b, w.Bytes()...)
		}
	}
}

// file closes the file with a header of hs bytes, right in all points.
func (m *fitMaker) file(hs int) []byte {
	h := []byte{byte(hs), 0x20, 0x70, 0x08}
	h = binary.LittleEndian.AppendUint32(h, uint32(len(m.b)))
	h = append(h, ".FIT"...)
	if hs == 14 {
		h = binary.LittleEndian.AppendUint16(h, slowCRC(h))
	}
	h = append(h, m.b...)
	return binary.LittleEndian.AppendUint16(h, slowCRC(h))
}

// slowCRC is CRC-16 with polynomial 0xA001 bit by bit.
func slowCRC(b []byte) (c uint16) {
	for _, x := range b {
		c ^= uint16(x)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xA001
			} else {
				c >>= 1
			}
		}
	}
	return c
}

const (
	u8, u16, s16, u32, s32, f32, f64, str = 0x02, 0x84, 0x83, 0x86, 0x85, 0x88, 0x89, 0x07

	ts0 = 1_100_000_000 // a time stamp in 2024
)

var recordFields = []fd{{253, u32, 1}, {0, s32, 1}, {1, s32, 1}, {73, u32, 1}, {78, u32, 1}}

// records appends a definition and n records a second apart.
func (m *fitMaker) records(n int, ts uint32) {
	m.def(0, 20, recordFields)
	for i := range n {
		m.record(0, ts+uint32(i))
	}
}

// record appends one record whose values follow from its time.
func (m *fitMaker) record(header byte, ts uint32) {
	k := ts % 1000
	m.data(header, ts, int32(500_000_000+k), int32(-80_000_000-int32(k)), uint32(5000+k), uint32(2500+5*k))
}

// checkRecords holds GPS columns against record's values.
func checkRecords(t *testing.T, l *ingest.Log, n int) {
	t.Helper()
	if len(l.GPS.Time) != n {
		t.Fatalf("got %d fixes, want %d; warnings %v", len(l.GPS.Time), n, l.Warnings)
	}
	for i := range n {
		ts := l.Start.Unix() - 631065600 + int64(l.GPS.Time[i])
		k := float64(ts % 1000)
		if lat := (500_000_000 + k) * 180 / (1 << 31); l.GPS.Lat[i] != lat {
			t.Errorf("fix %d: latitude %v, want %v", i, l.GPS.Lat[i], lat)
		}
		if lon := (-80_000_000 - k) * 180 / (1 << 31); l.GPS.Lon[i] != lon {
			t.Errorf("fix %d: longitude %v, want %v", i, l.GPS.Lon[i], lon)
		}
		if v := float32((5000 + k) / 1000); l.GPS.Speed[i] != v {
			t.Errorf("fix %d: speed %v, want %v", i, l.GPS.Speed[i], v)
		}
		if v := float32(k); l.GPS.Alt[i] != v {
			t.Errorf("fix %d: altitude %v, want %v", i, l.GPS.Alt[i], v)
		}
	}
}

// hasWarning reports whether a warning holds a text.
func hasWarning(l *ingest.Log, text string) bool {
	for _, w := range l.Warnings {
		if strings.Contains(w.String(), text) {
			return true
		}
	}
	return false
}

// dropCount returns how many samples were dropped for a reason that holds a
// text.
func dropCount(l *ingest.Log, text string) int {
	n := 0
	for _, d := range l.Files[0].Dropped {
		if strings.Contains(d.String(), text) {
			n += d.Count
		}
	}
	return n
}

func TestFITFraming(t *testing.T) {
	var m fitMaker
	m.records(20, ts0)
	good := m.file(14)
	edit := func(b []byte, f func(b []byte) []byte) []byte { return f(bytes.Clone(b)) }
	var big fitMaker
	big.big = true
	big.records(20, ts0)
	var more fitMaker
	more.records(20, ts0+20)
	var other fitMaker // a chained file of another kind, without records
	other.def(3, 3, []fd{{1, u8, 1}})
	other.data(3, uint8(1))

	for _, c := range []struct {
		name string
		data []byte
		n    int
		warn string // "" for none
	}{
		{"14-byte header", good, 20, ""},
		{"12-byte header", m.file(12), 20, ""},
		{"zero header checksum", edit(good, func(b []byte) []byte {
			b[12], b[13] = 0, 0
			return binary.LittleEndian.AppendUint16(b[:len(b)-2], slowCRC(b[:len(b)-2]))
		}), 20, ""},
		{"wrong header checksum", edit(good, func(b []byte) []byte {
			b[12] ^= 1
			return binary.LittleEndian.AppendUint16(b[:len(b)-2], slowCRC(b[:len(b)-2]))
		}), 20, "wrong header checksum"},
		{"big-endian", big.file(14), 20, ""},
		{"wrong checksum", edit(good, func(b []byte) []byte { b[len(b)-1] ^= 1; return b }), 20, "wrong checksum"},
		{"no checksum", good[:len(good)-2], 20, "missing checksum"},
		{"half a checksum", good[:len(good)-1], 20, "missing checksum"},
		{"data size zero, no checksum", edit(good, func(b []byte) []byte { clear(b[4:8]); return b[:len(b)-2] }), 20, "unfinished recording"},
		{"data size zero, checksum", edit(good, func(b []byte) []byte {
			clear(b[4:8])
			return binary.LittleEndian.AppendUint16(b[:len(b)-2], slowCRC(b[:len(b)-2]))
		}), 20, "unfinished recording"},
		{"data size zero, cut", edit(good, func(b []byte) []byte { clear(b[4:8]); return b[:len(b)-7] }), 19, "cut file"},
		{"data size too small", edit(good, func(b []byte) []byte { b[4] -= 42; return b }), 20, "header"},
		{"data size inside a message", edit(good, func(b []byte) []byte { b[4] -= 10; return b }), 20, "header"},
		{"data size too large", edit(good, func(b []byte) []byte { b[5]++; return b }), 20, "damaged stretch, 2, 1"},
		{"data size absurd", edit(good, func(b []byte) []byte { copy(b[4:], "\xff\xff\xff\xff"); return b[:len(b)-2] }), 20, "cut file"},
		{"truncated", good[:len(good)-12], 19, "cut file"},
		{"truncated between messages", good[:len(good)-2-21], 19, "cut file"},
		{"chained", append(bytes.Clone(good), more.file(12)...), 40, ""},
		{"chained, first of another kind", append(other.file(14), good...), 20, ""},
		{"chained, last of another kind", append(bytes.Clone(good), other.file(14)...), 20, ""},
		{"chained, first without checksum", append(bytes.Clone(good[:len(good)-2]), more.file(14)...), 40, "missing checksum"},
		{"chained, first never closed", append(edit(good, func(b []byte) []byte {
			clear(b[4:8])
			return binary.LittleEndian.AppendUint16(b[:len(b)-2], slowCRC(b[:len(b)-2]))
		}), more.file(14)...), 40, "unfinished recording"},
		{"chained, zeros between", append(append(bytes.Clone(good), make([]byte, 5000)...), more.file(14)...), 40, "foreign bytes, 5000"},
		{"zeros at the end", append(bytes.Clone(good), make([]byte, 3)...), 20, "foreign bytes, 3"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadFIT(c.data)
			if err != nil {
				t.Fatal(err)
			}
			checkRecords(t, l, c.n)
			if c.warn == "" && len(l.Warnings) > 0 {
				t.Errorf("unexpected warnings: %v", l.Warnings)
			}
			if c.warn != "" && !hasWarning(l, c.warn) {
				t.Errorf("no warning with %q in %v", c.warn, l.Warnings)
			}
			if want := time.Unix(631065600+ts0, 0).UTC(); !l.Start.Equal(want) {
				t.Errorf("start %v, want %v", l.Start, want)
			}
		})
	}
}

// Damage in the middle loses what it touches and a few messages, no more.
func TestFITDamage(t *testing.T) {
	var m fitMaker
	m.records(200, ts0)
	good := m.file(14)
	at := func(i int) int { return 14 + 21 + 21*i } // byte of record i
	for _, c := range []struct {
		name   string
		change func(b []byte) []byte
		lose   int
		spoilt int // first message after the loss, whose own values cannot be told to be wrong; 0 for none
	}{
		{"bytes lost", func(b []byte) []byte { return append(b[:at(50)+7], b[at(53)+2:]...) }, 4, 50},
		{"a block of zeros", func(b []byte) []byte { clear(b[at(50) : at(60)+5]); return b }, 11, 0},
		{"a block of ones", func(b []byte) []byte {
			for i := at(50); i < at(60); i++ {
				b[i] = 0xFF
			}
			return b
		}, 11, 0},
		{"an undefined local type", func(b []byte) []byte { b[at(50)] = 7; return b }, 1, 0},
		{"a header that turned into a definition's", func(b []byte) []byte {
			b[at(50)], b[at(50)+2], b[at(50)+5] = 0x40, 1, 2
			return b
		}, 1, 0},
		{"zeros to the end", func(b []byte) []byte { clear(b[at(150):]); return b }, 50, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadFIT(c.change(bytes.Clone(good)))
			if err != nil {
				t.Fatal(err)
			}
			if n := len(l.GPS.Time); n < 200-c.lose {
				t.Errorf("%d fixes left of 200, want at least %d; %v", n, 200-c.lose, l.Warnings)
			}
			if i := c.spoilt; i > 0 {
				g := &l.GPS
				g.Time, g.Lat, g.Lon = slices.Delete(g.Time, i, i+1), slices.Delete(g.Lat, i, i+1), slices.Delete(g.Lon, i, i+1)
				g.Alt, g.Speed = slices.Delete(g.Alt, i, i+1), slices.Delete(g.Speed, i, i+1)
			}
			checkRecords(t, l, len(l.GPS.Time))
			if !hasWarning(l, "damaged stretch") {
				t.Errorf("damage not reported: %v", l.Warnings)
			}
		})
	}
}

// A clock that is set while it records is no damage.
func TestFITClockSet(t *testing.T) {
	var m fitMaker
	m.records(10, ts0-500_000_000)
	m.records(10, ts0)
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	checkRecords(t, l, 20)
}

func TestFITCompressedTimestamps(t *testing.T) {
	var m fitMaker
	m.records(1, ts0)
	m.def(1, 20, recordFields[1:])
	for i := 1; i <= 100; i++ { // over three turns of the five bits
		k := uint32(ts0+i) % 1000
		m.data(0x80|1<<5|byte((ts0+i)&0x1F), int32(500_000_000+k), int32(-80_000_000-int32(k)), uint32(5000+k), uint32(2500+5*k))
	}
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	checkRecords(t, l, 101)
	if l.GPS.Time[100] != 100 {
		t.Errorf("last time %v, want 100", l.GPS.Time[100])
	}
}

// The declared base type counts, not the profile's.
func TestFITDeclaredTypes(t *testing.T) {
	var m fitMaker
	m.def(0, 20, []fd{{253, u32, 1}, {0, f64, 1}, {1, s32, 1}, {73, u16, 1}, {78, f32, 1}, {2, u16, 1}, {6, u16, 1}})
	m.data(0, uint32(ts0), float64(5e8), int32(-8e7), uint16(5000), float32(3000.5), uint16(0xFFFF), uint16(0xFFFF))
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	if got := [4]float64{l.GPS.Lat[0], l.GPS.Lon[0], float64(l.GPS.Speed[0]), float64(l.GPS.Alt[0])}; got != [4]float64{5e8 * 180 / (1 << 31), -8e7 * 180 / (1 << 31), 5, float64(float32(3000.5/5 - 500))} {
		t.Errorf("got %v", got)
	}
}

func TestFITRecordFields(t *testing.T) {
	var m fitMaker
	m.def(0, 20, []fd{{253, u32, 1}, {0, s32, 1}, {1, s32, 1}, {2, u16, 1}, {6, u16, 1}})
	m.data(0, uint32(ts0), int32(1000), int32(2000), uint16(2600), uint16(7250))
	m.data(0, uint32(ts0+1), int32(math.MaxInt32), int32(math.MaxInt32), uint16(0xFFFF), uint16(7250)) // speed alone
	m.data(0, uint32(ts0+2), int32(math.MaxInt32), int32(5), uint16(0xFFFF), uint16(0xFFFF))           // half a position
	m.data(0, uint32(ts0+3), int32(1<<30+1), int32(5), uint16(0xFFFF), uint16(1000))                   // north of the pole
	m.def(0, 20, []fd{{253, u32, 1}, {8, 0x0D, 3}})
	m.data(0, uint32(ts0+4), [3]byte{0x23, 0x41, 0x00}) // 0x123 cm/s
	m.data(0, uint32(ts0+5), [3]byte{0xFF, 0xFF, 0xFF})
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	if want := []float32{7.25, 7.25, 1, 2.91}; !equalNaN(l.GPS.Speed, want) {
		t.Errorf("speed %v, want %v", l.GPS.Speed, want)
	}
	nan := float32(math.NaN())
	if want := []float32{20, nan, nan, nan}; !equalNaN(l.GPS.Alt, want) {
		t.Errorf("altitude %v, want %v", l.GPS.Alt, want)
	}
	if !math.IsNaN(l.GPS.Lat[1]) || !math.IsNaN(l.GPS.Lat[2]) || math.IsNaN(l.GPS.Lat[0]) {
		t.Errorf("latitudes %v", l.GPS.Lat)
	}
	if n := dropCount(l, "without position and speed"); n != 2 {
		t.Errorf("%d records counted as empty, want 2", n)
	}
	for _, w := range []string{"half a position", "impossible position"} {
		if !hasWarning(l, w) {
			t.Errorf("no warning with %q in %v", w, l.Warnings)
		}
	}
}

func equalNaN[T float32 | float64](a, b []T) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && (a[i] == a[i] || b[i] == b[i]) {
			return false
		}
	}
	return true
}
