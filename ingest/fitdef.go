package ingest

import (
	"bytes"
	"encoding/binary"
	"math"
)

// Messages of the FIT profile that are read.
const (
	fitFileID      = 0
	fitSession     = 18
	fitLap         = 19
	fitRecord      = 20
	fitEvent       = 21
	fitDeviceInfo  = 23
	fitGPSMetadata = 160
	fitCorrelation = 162
	fitGyro        = 164
	fitAccel       = 165
	fitCalibration = 167
	fitFieldDesc   = 206
	fitDevDataID   = 207
	fitMag         = 208
	fitHSAAccel    = 302
	fitHSAGyro     = 376
)

// fitSlots lists the fields that are read from each kind of message; a
// definition keeps them in this order.
var fitSlots = map[uint16][]uint8{
	fitFileID:      {0, 1, 2, 8},                       // type, manufacturer, product, product name
	fitSession:     {2, 7, 5},                          // start, elapsed time, sport
	fitLap:         {2, 7},                             // start, elapsed time
	fitEvent:       {0, 1},                             // event, type
	fitRecord:      {0, 1, 78, 2, 73, 6, 8},            // lat, long, altitude (enhanced, plain), speed (enhanced, plain), compressed speed and distance
	fitDeviceInfo:  {0, 2, 4, 27},                      // device index, manufacturer, product, product name
	fitGPSMetadata: {0, 1, 2, 3, 4, 5, 6},              // ms, lat, long, altitude, speed, heading, UTC
	fitCorrelation: {0, 1, 2, 4, 5},                    // fraction, system time, its fraction, ms, system ms
	fitGyro:        {0, 1, 2, 3, 4, 5, 6, 7},           // ms, offsets, raw x y z, calibrated x y z
	fitAccel:       {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, // and compressed calibrated x y z
	fitMag:         {0, 1, 2, 3, 4, 5, 6, 7},
	fitCalibration: {0, 1, 2, 3, 4, 5},            // sensor, factor, divisor, level shift, offsets, orientation
	fitFieldDesc:   {0, 1, 2, 3, 6, 7, 8, 14, 15}, // index, number, base type, name, scale, offset, units, native message and field
	fitDevDataID:   {},
	fitHSAAccel:    {0, 1, 2, 3, 4}, // ms, interval, x y z
	fitHSAGyro:     {0, 1, 2, 3, 4},
}

// fitTimestamp is the number of the time stamp field in every message.
const fitTimestamp = 253

// Base types of the FIT protocol, without the flag for "has byte order".
const (
	fitEnum    = 0x00
	fitSint8   = 0x01
	fitUint8   = 0x02
	fitSint16  = 0x03
	fitUint16  = 0x04
	fitSint32  = 0x05
	fitUint32  = 0x06
	fitString  = 0x07
	fitFloat32 = 0x08
	fitFloat64 = 0x09
	fitUint8z  = 0x0A
	fitUint16z = 0x0B
	fitUint32z = 0x0C
	fitByte    = 0x0D
	fitSint64  = 0x0E
	fitUint64  = 0x0F
	fitUint64z = 0x10
)

// fitSizes is the size in bytes of one value of each base type.
var fitSizes = [17]int{1, 1, 1, 2, 2, 4, 4, 1, 4, 8, 1, 2, 4, 1, 8, 8, 8}

// A fitField is where a definition message puts one field.
type fitField struct {
	num  uint8 // field number, or the developer's field definition number
	dev  uint8 // developer data index
	base uint8 // base type as declared, not as the profile has it
	off  int   // from the message's first byte, its header
	size int   // bytes
	n    int   // values; 0 when the field is absent or its size fits no value
}

// A fitDef is a definition message: how the data messages of one local type
// are laid out. Fields that are not looked at are not kept.
type fitDef struct {
	set    bool
	global uint16
	order  binary.ByteOrder // nil until set
	big    bool
	size   int // bytes of a data message, header included
	stamp  fitField
	slot   [11]fitField // the fields that are read, in the order of fitSlots
	dev    []fitField
	role   *fitRoles // what the developer fields mean; nil until looked up
	unread int       // data messages that nothing was looked for in
}

// newField works out a field from its definition.
func newField(num, size, base uint8, off int) fitField {
	f := fitField{num: num, base: base & 0x1F, off: off, size: int(size)}
	if int(f.base) < len(fitSizes) {
		if f.base == fitString {
			f.n = f.size
		} else if f.size%fitSizes[f.base] == 0 {
			f.n = f.size / fitSizes[f.base]
		}
	}
	return f
}

// value returns value i of field f in message b; NaN and false when it is the
// type's "invalid", not a finite number, or not there.
func (d *fitDef) value(b []byte, f fitField, i int) (float64, bool) {
	if i < f.n {
		if v, ok := d.decode(b, f, i); ok {
			return v, true
		}
	}
	return math.NaN(), false
}

// decode is value without the checks.
func (d *fitDef) decode(b []byte, f fitField, i int) (float64, bool) {
	p := b[f.off+i*fitSizes[f.base]:]
	switch f.base {
	case fitEnum, fitUint8, fitByte:
		return float64(p[0]), p[0] != 0xFF
	case fitUint8z:
		return float64(p[0]), p[0] != 0
	case fitSint8:
		return float64(int8(p[0])), p[0] != 0x7F
	case fitSint16:
		v := int16(d.order.Uint16(p))
		return float64(v), v != math.MaxInt16
	case fitUint16:
		v := d.order.Uint16(p)
		return float64(v), v != math.MaxUint16
	case fitUint16z:
		v := d.order.Uint16(p)
		return float64(v), v != 0
	case fitSint32:
		v := int32(d.order.Uint32(p))
		return float64(v), v != math.MaxInt32
	case fitUint32:
		v := d.order.Uint32(p)
		return float64(v), v != math.MaxUint32
	case fitUint32z:
		v := d.order.Uint32(p)
		return float64(v), v != 0
	case fitSint64:
		v := int64(d.order.Uint64(p))
		return float64(v), v != math.MaxInt64
	case fitUint64:
		v := d.order.Uint64(p)
		return float64(v), v != math.MaxUint64
	case fitUint64z:
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
func (d *fitDef) text(b []byte, f fitField) string {
	if f.base != fitString || f.n == 0 {
		return ""
	}
	s := b[f.off : f.off+f.size]
	if i := bytes.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	return string(bytes.ToValidUTF8(s, nil))
}
