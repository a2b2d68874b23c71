package fit

import (
	"bytes"
	"encoding/binary"
	"math"
)

// Messages of the FIT profile that are read.
const (
	fileID      = 0
	session     = 18
	lap         = 19
	record      = 20
	fitEvent    = 21
	deviceInfo  = 23
	gpsmetadata = 160
	correlation = 162
	gyro        = 164
	accel       = 165
	calibration = 167
	fieldDesc   = 206
	devDataID   = 207
	mag         = 208
	hsaaccel    = 302
	hsagyro     = 376
)

// slots lists the fields that are read from each kind of message; a
// definition keeps them in this order.
var slots = map[uint16][]uint8{
	fileID:      {0, 1, 2, 8},                       // type, manufacturer, product, product name
	session:     {2, 7, 5},                          // start, elapsed time, sport
	lap:         {2, 7},                             // start, elapsed time
	fitEvent:    {0, 1},                             // event, type
	record:      {0, 1, 78, 2, 73, 6, 8},            // lat, long, altitude (enhanced, plain), speed (enhanced, plain), compressed speed and distance
	deviceInfo:  {0, 2, 4, 27},                      // device index, manufacturer, product, product name
	gpsmetadata: {0, 1, 2, 3, 4, 5, 6},              // ms, lat, long, altitude, speed, heading, UTC
	correlation: {0, 1, 2, 4, 5},                    // fraction, system time, its fraction, ms, system ms
	gyro:        {0, 1, 2, 3, 4, 5, 6, 7},           // ms, offsets, raw x y z, calibrated x y z
	accel:       {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, // and compressed calibrated x y z
	mag:         {0, 1, 2, 3, 4, 5, 6, 7},
	calibration: {0, 1, 2, 3, 4, 5},            // sensor, factor, divisor, level shift, offsets, orientation
	fieldDesc:   {0, 1, 2, 3, 6, 7, 8, 14, 15}, // index, number, base type, name, scale, offset, units, native message and field
	devDataID:   {},
	hsaaccel:    {0, 1, 2, 3, 4}, // ms, interval, x y z
	hsagyro:     {0, 1, 2, 3, 4},
}

// timestamp is the number of the time stamp field in every message.
const timestamp = 253

// Base types of the FIT protocol, without the flag for "has byte order".
const (
	enum       = 0x00
	sint8      = 0x01
	fitUint8   = 0x02
	sint16     = 0x03
	fitUint16  = 0x04
	sint32     = 0x05
	fitUint32  = 0x06
	fitString  = 0x07
	fitFloat32 = 0x08
	fitFloat64 = 0x09
	uint8z     = 0x0A
	uint16z    = 0x0B
	uint32z    = 0x0C
	fitByte    = 0x0D
	sint64     = 0x0E
	fitUint64  = 0x0F
	uint64z    = 0x10
)

// sizes is the size in bytes of one value of each base type.
var sizes = [17]int{1, 1, 1, 2, 2, 4, 4, 1, 4, 8, 1, 2, 4, 1, 8, 8, 8}

// A field is where a definition message puts one field.
type field struct {
	num  uint8 // field number, or the developer's field definition number
	dev  uint8 // developer data index
	base uint8 // base type as declared, not as the profile has it
	off  int   // from the message's first byte, its header
	size int   // bytes
	n    int   // values; 0 when the field is absent or its size fits no value
}

// A def is a definition message: how the data messages of one local type
// are laid out. Fields that are not looked at are not kept.
type def struct {
	set    bool
	global uint16
	order  binary.ByteOrder // nil until set
	big    bool
	size   int // bytes of a data message, header included
	stamp  field
	slot   [11]field // the fields that are read, in the order of fitSlots
	dev    []field
	role   *roles // what the developer fields mean; nil until looked up
	unread int    // data messages that nothing was looked for in
}

// newField works out a field from its definition.
func newField(num, size, base uint8, off int) field {
	f := field{num: num, base: base & 0x1F, off: off, size: int(size)}
	if int(f.base) < len(sizes) {
		if f.base == fitString {
			f.n = f.size
		} else if f.size%sizes[f.base] == 0 {
			f.n = f.size / sizes[f.base]
		}
	}
	return f
}

// value returns value i of field f in message b; NaN and false when it is the
// type's "invalid", not a finite number, or not there.
func (d *def) value(b []byte, f field, i int) (float64, bool) {
	if i < f.n {
		if v, ok := d.decode(b, f, i); ok {
			return v, true
		}
	}
	return math.NaN(), false
}

// decode is value without the checks.
func (d *def) decode(b []byte, f field, i int) (float64, bool) {
	p := b[f.off+i*sizes[f.base]:]
	switch f.base {
	case enum, fitUint8, fitByte:
		return float64(p[0]), p[0] != 0xFF
	case uint8z:
		return float64(p[0]), p[0] != 0
	case sint8:
		return float64(int8(p[0])), p[0] != 0x7F
	case sint16:
		v := int16(d.order.Uint16(p))
		return float64(v), v != math.MaxInt16
	case fitUint16:
		v := d.order.Uint16(p)
		return float64(v), v != math.MaxUint16
	case uint16z:
		v := d.order.Uint16(p)
		return float64(v), v != 0
	case sint32:
		v := int32(d.order.Uint32(p))
		return float64(v), v != math.MaxInt32
	case fitUint32:
		v := d.order.Uint32(p)
		return float64(v), v != math.MaxUint32
	case uint32z:
		v := d.order.Uint32(p)
		return float64(v), v != 0
	case sint64:
		v := int64(d.order.Uint64(p))
		return float64(v), v != math.MaxInt64
	case fitUint64:
		v := d.order.Uint64(p)
		return float64(v), v != math.MaxUint64
	case uint64z:
		v := d.order.Uint64(p)
		return float64(v), v != 0
	case fitFloat32:
		v := float64(math.Float32frombits(d.order.Uint32(p)))
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	case fitFloat64:
		v := math.Float64frombits(d.order.Uint64(p))
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	return math.NaN(), false
}

// text returns a string field up to its closing zero.
func (d *def) text(b []byte, f field) string {
	if f.base != fitString || f.n == 0 {
		return ""
	}
	s := b[f.off : f.off+f.size]
	if i := bytes.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	return string(bytes.ToValidUTF8(s, nil))
}
