package fit

import (
	"slices"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"

	profile "github.com/tormoder/fit"
)

// A desc is a field_description message: what a developer's field holds.
type desc struct {
	index, num, base uint8
	name, units      string
	scale, shift     float64
	native           float64 // field of the record message that it stands for; NaN for none
}

var (
	millisUnits = []unit.Unit{{Name: "ms", Scale: 1}}
	metres      = []unit.Unit{{Name: "m", Scale: 1}}
)

// devNames tell what a developer field is read for by its name, letters and digits
// only, or by the record's field that it stands for. bare: it needs no unit.
var devNames = []struct {
	names  string
	native []float64
	slot   int
	units  []unit.Unit
	bare   bool
}{
	{"timestampms timems fractionms milliseconds", nil, millis, millisUnits, true},
	{"sampletimeoffset", nil, offsets, millisUnits, true},
	{"course courseoverground cog gpscourse", nil, course, unit.AngleUnits, false},
	{"speed speedoverground sog gpsspeed", nil, speed, unit.SpeedUnits, false},
	{"lat latitude gpslat gpslatitude", nil, lat, unit.AngleUnits, false},
	{"lon long longitude gpslon gpslongitude", nil, lon, unit.AngleUnits, false},
	{"", []float64{6, 73}, speed, unit.SpeedUnits, true},
	{"", []float64{2, 78}, alt, metres, true},
}

// describe takes in a field_description message.
func (f *reader) describe(m *msg) {
	index, num, base := m.num(0), m.num(1), m.num(2)
	if !(index >= 0 && num >= 0 && base >= 0) {
		f.Warn(raw.Warning{Kind: raw.BadDescription, Byte: m.pos})
		return
	}
	c := desc{
		index: uint8(index), num: uint8(num), base: uint8(base), native: raw.NaN,
		name: m.text(3), units: m.text(6), scale: or(m.num(4), 1), shift: or(m.num(5), 0),
	}
	if c.scale <= 0 {
		c.scale = 1
	}
	if m.num(7) == float64(profile.MesgNumRecord) {
		c.native = m.num(8)
	}
	f.descs = slices.DeleteFunc(f.descs, func(o desc) bool { return o.index == c.index && o.num == c.num })
	f.descs = append(f.descs, c)
	for i := range f.defs {
		f.defs[i].known = false
	}
}

// lookUp finds out what a definition's developer fields are read for: after the
// profile's own.
func (f *reader) lookUp(d *def) {
	if d.known {
		return
	}
	d.known = true
	for k := range d.slot {
		d.slot[k] = slices.DeleteFunc(d.slot[k], func(fd field) bool { return fd.dev })
	}
	for _, dev := range d.dev {
		i := slices.IndexFunc(f.descs, func(c desc) bool { return c.index == dev.index && c.num == dev.num })
		if i < 0 {
			f.Warn(raw.Warning{Kind: raw.NoDescription, Byte: f.win.Pos(), Values: []float64{float64(dev.num), float64(dev.index)}})
			continue
		}
		u, axis, ok := f.meaning(&f.descs[i])
		if !ok {
			continue
		}
		fd := newField(dev.size, f.descs[i].base, dev.off, u)
		fd.dev = true
		if axis != unit.VectorAxis {
			d.slot[u.slot] = append(d.slot[u.slot], fd)
		} else if n := fd.n; n == 3 { // of a longer array it is not known how the axes are laid out
			for fd.n = 1; fd.slot < u.slot+n; fd.slot++ {
				d.slot[fd.slot] = append(d.slot[fd.slot], fd)
				fd.off += fd.size / n
			}
		}
	}
}

// meaning tells what a developer field is read for by its name and unit, or by the
// native field that it stands for; and the axis of a sensor's.
func (f *reader) meaning(c *desc) (u use, axis int, ok bool) {
	u.zero = c.shift * c.scale
	if kind, axis, named, ok := unit.MotionField(c.name); ok {
		if strings.TrimSpace(c.units) != "" {
			named = c.units
		}
		scale, ok := unit.Scale(unit.SensorUnits[kind], named)
		if !ok {
			f.Warn(raw.Warning{Kind: raw.DevUnit, Byte: f.win.Pos(), Sensor: unit.SensorNames[kind], Text: []string{c.name, named}})
		}
		u.slot, u.gain, u.unit = devAcc+3*kind+axis%unit.VectorAxis, scale/c.scale, named
		return u, axis, ok
	}
	name := strings.Join(unit.Words(c.name), "")
	for _, is := range devNames {
		if slices.Contains(strings.Fields(is.names), name) || slices.Contains(is.native, c.native) {
			scale, ok := unit.Scale(is.units, c.units)
			if c.units == "" && is.bare {
				scale, ok = 1, true
			}
			u.slot, u.gain = is.slot, scale/c.scale
			return u, 0, ok
		}
	}
	return u, 0, false
}
