package fit

import (
	"bytes"
	"encoding/binary"
	"math"

	profile "github.com/tormoder/fit"
)

// Messages that are read and that the library's profile does not know.
const (
	hsaAccel profile.MesgNum = 302
	hsaGyro  profile.MesgNum = 376
)

// slots lists the fields that are read from each kind of message; a
// definition keeps them in this order.
var slots = map[profile.MesgNum][]uint8{
	profile.MesgNumRecord:                  {0, 1, 78, 2, 73, 6, 8},            // lat, long, altitude (enhanced, plain), speed (enhanced, plain), compressed speed and distance
	profile.MesgNumGpsMetadata:             {0, 1, 2, 3, 4, 5, 6},              // ms, lat, long, altitude, speed, heading, UTC
	profile.MesgNumTimestampCorrelation:    {0, 1, 2, 4, 5},                    // fraction, system time, its fraction, ms, system ms
	profile.MesgNumGyroscopeData:           {0, 1, 2, 3, 4, 5, 6, 7},           // ms, offsets, raw x y z, calibrated x y z
	profile.MesgNumAccelerometerData:       {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, // and compressed calibrated x y z
	profile.MesgNumThreeDSensorCalibration: {0, 1, 2, 3, 4, 5},                 // sensor, factor, divisor, level shift, offsets, orientation
	profile.MesgNumFieldDescription:        {0, 1, 2, 3, 6, 7, 8, 14, 15},      // index, number, base type, name, scale, offset, units, native message and field
	hsaAccel:                               {0, 1, 2, 3, 4},                    // ms, interval, x y z
	hsaGyro:                                {0, 1, 2, 3, 4},
}

// timestamp is the number of the time stamp field in every message.
const timestamp = 253

// Base types of the FIT protocol, without the flag for "has byte order".
const (
	typeEnum    = 0x00
	typeSint8   = 0x01
	typeUint8   = 0x02
	typeSint16  = 0x03
	typeUint16  = 0x04
	typeSint32  = 0x05
	typeUint32  = 0x06
	typeString  = 0x07
	typeFloat32 = 0x08
	typeFloat64 = 0x09
	typeUint8z  = 0x0A
	typeUint16z = 0x0B
	typeUint32z = 0x0C
	typeByte    = 0x0D
	typeSint64  = 0x0E
	typeUint64  = 0x0F
	typeUint64z = 0x10
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
	global profile.MesgNum
	order  binary.ByteOrder // nil until set
	big    bool
	bytes  []byte // as it stands in the file, of the activity's side
	size   int    // bytes of a data message, header included
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
		if f.base == typeString {
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
	case typeEnum, typeUint8, typeByte:
		return float64(p[0]), p[0] != 0xFF
	case typeUint8z:
		return float64(p[0]), p[0] != 0
	case typeSint8:
		return float64(int8(p[0])), p[0] != 0x7F
	case typeSint16:
		v := int16(d.order.Uint16(p))
		return float64(v), v != math.MaxInt16
	case typeUint16:
		v := d.order.Uint16(p)
		return float64(v), v != math.MaxUint16
	case typeUint16z:
		v := d.order.Uint16(p)
		return float64(v), v != 0
	case typeSint32:
		v := int32(d.order.Uint32(p))
		return float64(v), v != math.MaxInt32
	case typeUint32:
		v := d.order.Uint32(p)
		return float64(v), v != math.MaxUint32
	case typeUint32z:
		v := d.order.Uint32(p)
		return float64(v), v != 0
	case typeSint64:
		v := int64(d.order.Uint64(p))
		return float64(v), v != math.MaxInt64
	case typeUint64:
		v := d.order.Uint64(p)
		return float64(v), v != math.MaxUint64
	case typeUint64z:
		v := d.order.Uint64(p)
		return float64(v), v != 0
	case typeFloat32:
		v := float64(math.Float32frombits(d.order.Uint32(p)))
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	case typeFloat64:
		v := math.Float64frombits(d.order.Uint64(p))
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	return math.NaN(), false
}

// text returns a string field up to its closing zero.
func (d *def) text(b []byte, f field) string {
	if f.base != typeString || f.n == 0 {
		return ""
	}
	s := b[f.off : f.off+f.size]
	if i := bytes.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	return string(bytes.ToValidUTF8(s, nil))
}
