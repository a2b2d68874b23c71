package fit

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"

	profile "github.com/tormoder/fit"

	"evenfoot/ingest/raw"
)

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

// A use is what a field of one kind of message is read for: SI is gain times what
// the value is above zero.
type use struct {
	num        uint8
	slot       int
	gain, zero float64
	unit       string // of a sensor
}

// A field is where a definition message puts one field.
type field struct {
	use
	base uint8 // base type as declared, not as the profile has it
	dev  bool  // a developer's
	off  int   // from the message's first byte, its header
	size int   // bytes
	n    int   // values; 0 when its size fits none
}

// newField works out a field from its definition.
func newField(size, base uint8, off int, u use) field {
	f := field{use: u, base: base & typeMask, off: off, size: int(size)}
	if int(f.base) < len(baseTypes) && f.size%baseTypes[f.base].size == 0 {
		f.n = f.size / baseTypes[f.base].size
	}
	return f
}

// A def is a definition message: how the data messages of one local type
// are laid out. Fields that are not looked at are not kept.
type def struct {
	kind   *message // nil until set
	global profile.MesgNum
	order  binary.ByteOrder
	bytes  []byte         // as it stands in the file, of the activity's side
	size   int            // bytes of a data message, header included
	slot   [slots][]field // what each is read from, the best first
	dev    []devField
	known  bool // the developer fields were looked up
}

// A devField is a developer field as a definition has it.
type devField struct {
	num, size, index uint8
	off              int
}

// define takes in a definition message.
func (f *reader) define(b []byte) {
	d := &f.defs[b[0]&0x0F]
	*d = def{kind: &unread, order: binary.LittleEndian}
	if b[2] == 1 {
		d.order = binary.BigEndian
	}
	d.global = profile.MesgNum(d.order.Uint16(b[3:]))
	if k := messages[d.global]; k != nil {
		d.kind = k
	}
	if d.kind.side {
		d.bytes = slices.Clone(b)
	}
	fields := b[6 : 6+3*int(b[5])]
	for k, u := range append([]use{{num: timestamp, slot: stamp, gain: 1}}, d.kind.uses...) {
		off := 1
		for p := fields; len(p) > 0; p = p[3:] {
			if p[0] == u.num {
				fd := newField(p[1], p[2], off, u)
				d.slot[u.slot] = append(d.slot[u.slot], fd)
				if fd.n == 0 && fd.size > 0 && k > 0 {
					f.Warn(raw.Warning{Kind: raw.BadFieldType, Byte: f.win.Pos(), Text: []string{messageName(d.global)},
						Values: []float64{float64(p[0]), float64(p[2]), float64(p[1])}})
				}
			}
			off += int(p[1])
		}
		d.size = off
	}
	if b[0]&0x20 == 0 {
		return
	}
	for p := b[7+len(fields):]; len(p) > 0; p = p[3:] {
		d.dev = append(d.dev, devField{num: p[0], size: p[1], index: p[2], off: d.size})
		d.size += int(p[1])
	}
}

// value is value i of field f in message b, in SI; NaN when it is the type's
// "invalid", not a finite number, or not there.
func (d *def) value(b []byte, f *field, i int) float64 {
	if i >= f.n {
		return math.NaN()
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
	v, ok := float64(u), false
	switch bits := 8 * t.size; t.form {
	case unsigned:
		ok = u != 1<<bits-1
	case positive:
		ok = u != 0
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
		return math.NaN()
	}
	return (v - f.zero) * f.gain
}

// A msg is a data message with its definition.
type msg struct {
	*def
	b   []byte
	pos int64 // its first byte in the file
}

// num is the best valid value for a slot, NaN when there is none.
func (m *msg) num(slot int) float64 {
	for i := range m.slot[slot] {
		if v := m.value(m.b, &m.slot[slot][i], 0); v == v {
			return v
		}
	}
	return math.NaN()
}

// or is v, or another where it is NaN.
func or(v, other float64) float64 {
	if v == v {
		return v
	}
	return other
}

var absent field

// best is the field that a slot is read from before others; one without values
// when there is none.
func (d *def) best(slot int) *field {
	if len(d.slot[slot]) == 0 {
		return &absent
	}
	return &d.slot[slot][0]
}

// text is a slot's string up to its closing zero.
func (m *msg) text(slot int) string {
	f := m.best(slot)
	if f.base != typeString || f.n == 0 {
		return ""
	}
	s, _, _ := bytes.Cut(m.b[f.off:f.off+f.size], []byte{0})
	return string(bytes.ToValidUTF8(s, nil))
}
