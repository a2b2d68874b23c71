package fit

import (
	"encoding/binary"
	"math"

	profile "github.com/tormoder/fit"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// time returns the message's time in ms since time zero; false when no time
// stamp was seen.
func (f *reader) time(m *msg) (int64, bool) {
	if !f.timed {
		return 0, false
	}
	if !f.based {
		f.base, f.based = int64(f.last), true
	}
	f.clock.note(f.last)
	ms := m.num(millis)
	if !(ms >= 0 && ms <= math.MaxUint16) {
		ms = 0
	}
	return (int64(f.last)-f.base)*1000 + int64(ms), true
}

// record takes the position and speed out of a record message, or of a fix of the
// receiver itself, which may come faster.
func (f *reader) record(m *msg) {
	to, name := &f.rec, "record"
	if m.global == profile.MesgNumGpsMetadata {
		to, name = &f.meta, "GPS fix"
	}
	f.lookUp(m.def)
	at, ok := f.time(m)
	if !ok {
		f.Drop(1, raw.NoStamp, name)
		return
	}
	moves := false
	for kind, slot := range [2]int{unit.Acc: devAcc, unit.Gyr: devGyr} {
		if m.best(slot).n > 0 && m.best(slot+1).n > 0 && m.best(slot+2).n > 0 {
			f.samples(m, kind, slot)
			moves = true
		}
	}
	if utc := m.num(utc); f.last < systemTime && utc >= systemTime {
		f.clock.tie(utc - float64(f.base) - float64(at)/1000)
	}
	lat, lon := f.position(m)
	v := m.num(speed)
	if c := m.best(packed); v != v && c.size == 3 {
		// Twelve bits of speed in cm/s, then twelve of distance.
		if u := binary.LittleEndian.Uint16(m.b[c.off:]); u != 0xFFFF || m.b[c.off+2] != 0xFF {
			v = float64(u&0xFFF) / 100
		}
	}
	if v < 0 || v > math.MaxFloat32 {
		f.Warn(raw.Warning{Kind: raw.BadSpeed, Byte: m.pos, Values: []float64{v}})
		v = math.NaN()
	}
	switch {
	case lat == lat || v == v:
		to.Grow(f.capacity)
		to.Append(float64(at)/1000, lat, lon, m.num(alt), v, m.num(course))
	case !moves:
		f.Drop(1, raw.EmptyRecord, "")
	}
}

// position is a message's latitude and longitude; both NaN without a fix.
func (f *reader) position(m *msg) (float64, float64) {
	lat, lon := m.num(lat), m.num(lon)
	switch none, half := lat != lat && lon != lon, lat != lat || lon != lon; {
	case none:
	case half:
		f.Warn(raw.Warning{Kind: raw.HalfPosition, Byte: m.pos})
	case lat == 0 && lon == 0:
		f.Drop(1, raw.NoFix, "")
	case math.Abs(lat) > 90 || math.Abs(lon) > 180:
		f.Warn(raw.Warning{Kind: raw.BadPosition, Byte: m.pos, Values: []float64{lat, lon}})
	default:
		return lat, lon
	}
	return math.NaN(), math.NaN()
}

// fixes returns the better of the two tracks that a file may hold.
func (f *reader) fixes() raw.Fixes {
	// Both come from one receiver; records have what the device shows. The
	// receiver's own fixes are taken where they are clearly denser.
	if n, m := len(f.rec.Time), len(f.meta.Time); n > 0 && 2*m < 3*n {
		f.Drop(m, raw.RecordsBeside, "")
		return f.rec
	}
	f.Drop(len(f.rec.Time), raw.DenserBeside, "")
	return f.meta
}
