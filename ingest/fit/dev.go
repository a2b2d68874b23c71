package fit

import (
	"math"
	"slices"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"

	profile "github.com/tormoder/fit"
)

// A desc is a field_description message: what a developer's field holds.
type desc struct {
	index, num  uint8
	base        uint8
	name, units string
	scale       float64
	shift       float64
	native      int // field of the record message that it stands for, or -1
}

// A devUse is a developer field with what it takes to read it.
type devUse struct {
	f     field
	scale float64 // times this, after the field's own scale and offset
	desc  *desc
}

// roles says what the developer fields of a definition are used for.
type roles struct {
	ms, offsets, lat, lon, alt, speed, course devUse

	motion bool
	sensor [2]struct {
		axis [4]devUse // x, y, z, or all in one
		unit string
	}
}

// value returns value i in SI; NaN and false when it is not there.
func (u *devUse) value(d *def, b []byte, i int) (float64, bool) {
	v, ok := d.value(b, u.f, i)
	if !ok {
		return math.NaN(), false
	}
	return (v/u.desc.scale - u.desc.shift) * u.scale, true
}

// describe takes in a field_description message.
func (f *reader) describe(d *def, b []byte) {
	var v [6]float64
	for i, slot := range []int{0, 1, 2, 4, 5, 7} {
		v[i] = -1
		if x, ok := d.value(b, d.slot[slot], 0); ok {
			v[i] = x
		}
	}
	if v[0] < 0 || v[1] < 0 || v[2] < 0 {
		f.Warn(raw.Warning{Kind: raw.BadDescription, Byte: f.win.Pos})
		return
	}
	c := desc{
		index: uint8(v[0]), num: uint8(v[1]), base: uint8(v[2]), native: -1,
		name: d.text(b, d.slot[3]), units: d.text(b, d.slot[6]), scale: 1,
	}
	if v[3] > 0 {
		c.scale = v[3]
	}
	if _, ok := d.value(b, d.slot[5], 0); ok {
		c.shift = v[4]
	}
	if n, ok := d.value(b, d.slot[8], 0); ok && v[5] == float64(profile.MesgNumRecord) {
		c.native = int(n)
	}
	f.descs = slices.DeleteFunc(f.descs, func(o desc) bool { return o.index == c.index && o.num == c.num })
	f.descs = append(f.descs, c)
	for i := range f.defs {
		f.defs[i].role = nil
	}
}

var noRoles roles

// roles looks up what a definition's developer fields are for.
func (f *reader) roles(d *def) *roles {
	if d.role != nil {
		return d.role
	}
	if len(d.dev) == 0 {
		d.role = &noRoles
		return d.role
	}
	d.role = new(roles)
	for _, dev := range d.dev {
		i := slices.IndexFunc(f.descs, func(c desc) bool { return c.index == dev.dev && c.num == dev.num })
		if i < 0 {
			f.Warn(raw.Warning{Kind: raw.NoDescription, Byte: f.win.Pos, Values: []float64{float64(dev.num), float64(dev.dev)}})
			continue
		}
		c := f.descs[i]
		u := devUse{f: newField(dev.num, uint8(dev.size), c.base, dev.off), scale: 1, desc: &c}
		f.assign(d.role, u)
	}
	r := d.role
	for k := range r.sensor {
		a := &r.sensor[k].axis
		r.motion = r.motion || a[unit.VectorAxis].f.n == 3 || a[0].f.n > 0 && a[1].f.n > 0 && a[2].f.n > 0
	}
	return r
}

// assign gives a developer field its role by its name and unit, or by the
// native field that it stands for.
func (f *reader) assign(r *roles, u devUse) {
	c := u.desc
	if kind, axis, named, ok := unit.MotionField(c.name); ok {
		if strings.TrimSpace(c.units) != "" {
			named = c.units
		}
		scale, ok := unit.Scale(unit.SensorUnits[kind], named)
		if !ok {
			f.Warn(raw.Warning{Kind: raw.DevUnit, Byte: f.win.Pos, Sensor: unit.SensorNames[kind], Text: []string{c.name, named}})
			return
		}
		u.scale = scale
		r.sensor[kind].axis[axis] = u
		r.sensor[kind].unit = named
		return
	}
	set := func(to *devUse, scale float64, ok bool) {
		if ok {
			u.scale = scale
			*to = u
		}
	}
	switch strings.Join(unit.Words(c.name), "") {
	case "timestampms", "timems", "fractionms", "milliseconds":
		set(&r.ms, 1, c.units == "" || strings.EqualFold(c.units, "ms"))
		return
	case "sampletimeoffset":
		set(&r.offsets, 1, c.units == "" || strings.EqualFold(c.units, "ms"))
		return
	case "course", "courseoverground", "cog", "gpscourse":
		scale, ok := unit.Scale(unit.AngleUnits, c.units)
		set(&r.course, scale, ok)
		return
	case "speed", "speedoverground", "sog", "gpsspeed":
		scale, ok := unit.Scale(unit.SpeedUnits, c.units)
		set(&r.speed, scale, ok)
		return
	case "lat", "latitude", "gpslat", "gpslatitude":
		scale, ok := unit.Scale(unit.AngleUnits, c.units)
		set(&r.lat, scale, ok)
		return
	case "lon", "long", "longitude", "gpslon", "gpslongitude":
		scale, ok := unit.Scale(unit.AngleUnits, c.units)
		set(&r.lon, scale, ok)
		return
	}
	switch c.native {
	case 6, 73:
		scale, ok := unit.Scale(unit.SpeedUnits, c.units)
		if c.units == "" {
			scale, ok = 1, true
		}
		set(&r.speed, scale, ok)
	case 2, 78:
		set(&r.alt, 1, c.units == "" || strings.EqualFold(c.units, "m"))
	}
}

// devMotion takes the inertial samples out of a record's developer fields: one
// sample, or an array of them.
func (f *reader) devMotion(r *roles, d *def, b []byte, at int64) {
	for k, s := range f.sensors() {
		a := &r.sensor[k].axis
		n := min(a[0].f.n, a[1].f.n, a[2].f.n)
		vector := false
		if n == 0 {
			// Of a longer array it is not known how the axes are laid out.
			n, vector = 1, a[unit.VectorAxis].f.n == 3
		}
		if n == 0 || n == 1 && !vector && a[0].f.n == 0 {
			continue
		}
		if most := max(a[0].f.n, a[1].f.n, a[2].f.n); !vector && most > n {
			f.Drop(most-n, raw.AxisMissing, unit.SensorNames[s.kind])
		}
		i := f.extend(s.s, n)
		invalid := 0
		for j := range n {
			good := true
			for x := range 3 {
				u, at := &a[x], j
				if vector {
					u, at = &a[unit.VectorAxis], 3*j+x
				}
				v, ok := u.value(d, b, at)
				s.s.V[x][i+j] = float32(v)
				good = good && ok && !math.IsInf(float64(s.s.V[x][i+j]), 0)
			}
			if !good {
				s.s.V[0][i+j] = float32(math.NaN())
				s.holes = true
				invalid++
			}
		}
		if s.s.Unit == "" {
			s.s.Unit = r.sensor[k].unit
		}
		f.Drop(invalid, raw.Invalid, unit.SensorNames[s.kind])
		if r.offsets.f.n >= n {
			f.devOffsets(s, r, d, b, i, n, at)
			continue
		}
		f.later(s, i, n, at)
	}
}

// devOffsets gives samples i to i+n their times by a developer field.
func (f *reader) devOffsets(s *sensor, r *roles, d *def, b []byte, i, n int, at int64) {
	for j := range n {
		off, ok := r.offsets.value(d, b, j)
		s.s.Time[i+j] = (float64(at) + off) / 1000
		if !ok || math.Abs(off) > maxOffset {
			s.s.Time[i+j] = float64(at) / 1000
			f.void(s, fitRange{i + j, i + j + 1}, raw.NoOffset)
		}
	}
}
