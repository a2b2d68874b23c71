package fit

import (
	"encoding/binary"
	"math"

	"evenfoot/ingest/raw"

	profile "github.com/tormoder/fit"
)

// semicircle is the unit of positions in FIT, in degrees.
const semicircle = 180.0 / (1 << 31)

// millis returns the message's time in ms since time zero; false when no time
// stamp was seen. ms is the part below a second, NaN when it is not told.
func (f *reader) millis(ms float64) (int64, bool) {
	if !f.timed {
		return 0, false
	}
	if !f.based {
		f.base, f.based = int64(f.last), true
	}
	f.clock.note(f.last)
	if !(ms >= 0 && ms <= math.MaxUint16) {
		ms = 0
	}
	return (int64(f.last)-f.base)*1000 + int64(ms), true
}

// record takes the position and speed out of a record message, or of a fix of the
// receiver itself, which may come faster.
func (f *reader) record(d *def, b []byte, pos int64) {
	to, name := &f.rec, "record"
	if d.global == profile.MesgNumGpsMetadata {
		to, name = &f.meta, "GPS fix"
	}
	role := f.roles(d)
	ms, _ := role.use[roleMillis].value(d, b, 0)
	at, ok := f.millis(d.or(b, 8, ms))
	if !ok {
		f.Drop(1, raw.NoStamp, name)
		return
	}
	if role.motion {
		f.devMotion(role, d, b, at)
	}
	if utc, ok := d.value(b, d.slot[9], 0); ok && f.last < systemTime && utc >= systemTime {
		f.clock.tie(utc - float64(f.base) - float64(at)/1000)
	}
	lat, okLat := d.value(b, d.slot[0], 0)
	lon, okLon := d.value(b, d.slot[1], 0)
	lat, lon = lat*semicircle, lon*semicircle
	if !okLat && !okLon {
		lat, okLat = role.use[roleLat].value(d, b, 0)
		lon, okLon = role.use[roleLon].value(d, b, 0)
	}
	lat, lon, placed := f.position(lat, lon, okLat, okLon, pos)

	speed, okSpeed := d.first(b, 4, 5)
	speed /= 1000
	if c := d.slot[6]; !okSpeed && c.size == 3 {
		// Twelve bits of speed in cm/s, then twelve of distance.
		if v := binary.LittleEndian.Uint16(b[c.off:]); v != 0xFFFF || b[c.off+2] != 0xFF {
			speed, okSpeed = float64(v&0xFFF)/100, true
		}
	}
	if !okSpeed {
		speed, okSpeed = role.use[roleSpeed].value(d, b, 0)
	}
	if okSpeed && !(speed >= 0 && speed <= math.MaxFloat32) {
		f.Warn(raw.Warning{Kind: raw.BadSpeed, Byte: pos, Values: []float64{speed}})
		speed, okSpeed = math.NaN(), false
	}
	if !placed && !okSpeed {
		if !role.motion {
			f.Drop(1, raw.EmptyRecord, "")
		}
		return
	}

	alt, ok := d.first(b, 2, 3)
	alt = alt/5 - 500
	if !ok {
		alt, _ = role.use[roleAlt].value(d, b, 0)
	}
	course, ok := d.value(b, d.slot[7], 0)
	course /= 100
	if !ok {
		course, _ = role.use[roleCourse].value(d, b, 0)
	}
	to.Grow(f.capacity)
	to.Append(float64(at)/1000, lat, lon, alt, speed, course)
}

// position checks a latitude and longitude; without a fix both are NaN.
func (f *reader) position(lat, lon float64, okLat, okLon bool, pos int64) (float64, float64, bool) {
	switch {
	case okLat && okLon && math.Abs(lat) <= 90 && math.Abs(lon) <= 180 && (lat != 0 || lon != 0):
		return lat, lon, true
	case okLat && okLon && lat == 0 && lon == 0:
		f.Drop(1, raw.NoFix, "")
	case okLat && okLon:
		f.Warn(raw.Warning{Kind: raw.BadPosition, Byte: pos, Values: []float64{lat, lon}})
	case okLat || okLon:
		f.Warn(raw.Warning{Kind: raw.HalfPosition, Byte: pos})
	}
	return math.NaN(), math.NaN(), false
}

// capacity says how many samples to make room for when want are needed.
func (f *reader) capacity(want int) int {
	return raw.GrowTo(want, 3, f.size, f.win.Pos)
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
	f.roughly[2] = f.roughly[3]
	return f.meta
}
