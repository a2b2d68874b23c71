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

// A message says how one kind of message is read.
type message struct {
	// fields are those that are read; a definition keeps them in this order.
	fields []uint8
	// read takes in a message that starts at byte pos. Kinds without are counted.
	read func(f *reader, d *def, b []byte, pos int64)
	// samples: it holds samples, so that its time stamps must make sense.
	samples bool
	// side: it tells of the activity, and is kept as it stands in the file.
	side bool
}

var (
	accel  = message{[]uint8{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, (*reader).accel, true, false} // ms, offsets, raw x y z, calibrated x y z, compressed calibrated x y z
	gyro   = message{[]uint8{0, 1, 2, 3, 4, 5, 6, 7}, (*reader).gyro, true, false}            // as far as calibrated x y z
	aside  = message{[]uint8{}, (*reader).keepSide, false, true}
	unread message
)

var messages = map[profile.MesgNum]*message{
	// lat, long, altitude (enhanced, plain), speed (enhanced, plain), compressed speed and distance; heading, ms, UTC
	profile.MesgNumRecord:            {[]uint8{0, 1, 78, 2, 73, 6, 8}, (*reader).record, true, false},
	profile.MesgNumGpsMetadata:       {[]uint8{1, 2, 3, noField, 4, noField, noField, 5, 0, 6}, (*reader).record, true, false},
	profile.MesgNumAccelerometerData: &accel,
	profile.MesgNumGyroscopeData:     &gyro,
	// ms, interval, x y z
	hsaAccel: {[]uint8{0, 1, 2, 3, 4}, (*reader).accel, true, false},
	hsaGyro:  {[]uint8{0, 1, 2, 3, 4}, (*reader).gyro, true, false},
	// fraction, system time, its fraction, ms, system ms
	profile.MesgNumTimestampCorrelation: {[]uint8{0, 1, 2, 4, 5}, (*reader).correlation, false, false},
	// sensor, factor, divisor, level shift, offsets, orientation
	profile.MesgNumThreeDSensorCalibration: {[]uint8{0, 1, 2, 3, 4, 5}, (*reader).calibration, false, false},
	// index, number, base type, name, scale, offset, units, native message and field
	profile.MesgNumFieldDescription: {[]uint8{0, 1, 2, 3, 6, 7, 8, 14, 15}, (*reader).describe, false, false},
	profile.MesgNumDeveloperDataId:  {nil, func(*reader, *def, []byte, int64) {}, false, false},
	profile.MesgNumFileId:           &aside,
	profile.MesgNumDeviceInfo:       &aside,
	profile.MesgNumSession:          &aside,
	profile.MesgNumLap:              &aside,
	profile.MesgNumEvent:            &aside,
}

// noField stands for a field that a kind of message does not have.
const noField = 255

// timestamp is the number of the time stamp field in every message.
const timestamp = 253

// Forms in which values are stored, with what stands for "invalid".
const (
	unsigned = iota // all ones
	positive        // zero
	signed          // the greatest
	float           // NaN and infinities
	text
)

// typeMask takes the flag for "has byte order" off a base type.
const typeMask = 0x1F

const (
	typeString  = uint8(profile.FitBaseTypeString) & typeMask
	typeUint16  = uint8(profile.FitBaseTypeUint16) & typeMask
	typeFloat32 = uint8(profile.FitBaseTypeFloat32) & typeMask
)

// baseTypes are the protocol's base types by their number: the bytes of a value
// and its form.
var baseTypes = [...]struct{ size, form int }{
	{1, unsigned}, {1, signed}, {1, unsigned}, // enum, sint8, uint8
	{2, signed}, {2, unsigned}, {4, signed}, {4, unsigned}, // 16 and 32 bits
	{1, text}, {4, float}, {8, float},
	{1, positive}, {2, positive}, {4, positive}, // uint8z, uint16z, uint32z
	{1, unsigned},                             // byte
	{8, signed}, {8, unsigned}, {8, positive}, // 64 bits
}

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
	kind   *message // nil until set
	global profile.MesgNum
	order  binary.ByteOrder
	bytes  []byte // as it stands in the file, of the activity's side
	size   int    // bytes of a data message, header included
	stamp  field
	slot   [11]field // the fields that are read, in the order of the kind's
	dev    []field
	role   *roles // what the developer fields mean; nil until looked up
}

// newField works out a field from its definition.
func newField(num, size, base uint8, off int) field {
	f := field{num: num, base: base & typeMask, off: off, size: int(size)}
	if int(f.base) < len(baseTypes) {
		if n := baseTypes[f.base].size; f.size%n == 0 {
			f.n = f.size / n
		}
	}
	return f
}

// first is the first of the fields in these slots that has a valid value.
func (d *def) first(b []byte, slots ...int) (v float64, ok bool) {
	for _, k := range slots {
		if v, ok = d.value(b, d.slot[k], 0); ok {
			break
		}
	}
	return v, ok
}

// or is the value in a slot, or another where there is none.
func (d *def) or(b []byte, slot int, other float64) float64 {
	if v, ok := d.value(b, d.slot[slot], 0); ok {
		return v
	}
	return other
}

// value returns value i of field f in message b; NaN and false when it is the
// type's "invalid", not a finite number, or not there.
func (d *def) value(b []byte, f field, i int) (v float64, ok bool) {
	if i >= f.n {
		return math.NaN(), false
	}
	t := &baseTypes[f.base]
	p := b[f.off+i*t.size:]
	var u uint64
	switch t.size {
	case 1:
		u = uint64(p[0])
	case 2:
		u = uint64(d.order.Uint16(p))
	case 4:
		u = uint64(d.order.Uint32(p))
	case 8:
		u = d.order.Uint64(p)
	}
	switch bits := 8 * t.size; t.form {
	case unsigned:
		v, ok = float64(u), u != 1<<bits-1
	case positive:
		v, ok = float64(u), u != 0
	case signed:
		s := int64(u<<(64-bits)) >> (64 - bits)
		v, ok = float64(s), s != 1<<(bits-1)-1
	case float:
		if v = math.Float64frombits(u); bits == 32 {
			v = float64(math.Float32frombits(uint32(u)))
		}
		ok = v-v == 0
	}
	if !ok {
		v = math.NaN()
	}
	return v, ok
}

// text returns a string field up to its closing zero.
func (d *def) text(b []byte, f field) string {
	if f.base != typeString || f.n == 0 {
		return ""
	}
	s, _, _ := bytes.Cut(b[f.off:f.off+f.size], []byte{0})
	return string(bytes.ToValidUTF8(s, nil))
}
