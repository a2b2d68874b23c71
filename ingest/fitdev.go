package ingest

import (
	"math"
	"slices"
	"strings"
)

// A fitDesc is a field_description message: what a developer's field holds.
type fitDesc struct {
	index, num  uint8
	base        uint8
	name, units string
	scale       float64
	shift       float64
	native      int // field of the record message that it stands for, or -1
}

// A devUse is a developer field with what it takes to read it.
type devUse struct {
	f     fitField
	scale float64 // times this, after the field's own scale and offset
	desc  *fitDesc
}

// fitRoles says what the developer fields of a definition are used for.
type fitRoles struct {
	ms, offsets, lat, lon, alt, speed, course devUse

	motion bool
	sensor [3]struct {
		axis [4]devUse // x, y, z, or all in one
		unit string
	}
}

// value returns value i in SI; NaN and false when it is not there.
func (u *devUse) value(d *fitDef, b []byte, i int) (float64, bool) {
	v, ok := d.value(b, u.f, i)
	if !ok {
		return math.NaN(), false
	}
	return (v/u.desc.scale - u.desc.shift) * u.scale, true
}

// describe takes in a field_description message.
func (f *fitReader) describe(d *fitDef, b []byte) {
	var v [6]float64
	for i, slot := range []int{0, 1, 2, 4, 5, 7} {
		v[i] = -1
		if x, ok := d.value(b, d.slot[slot], 0); ok {
			v[i] = x
		}
	}
	if v[0] < 0 || v[1] < 0 || v[2] < 0 {
		f.warn("useless field descriptions", 0, f.win.pos, "A developer field's description lacks its index, number or type; the field is not read.")
		return
	}
	c := fitDesc{
		index: uint8(v[0]), num: uint8(v[1]), base: uint8(v[2]), native: -1,
		name: d.text(b, d.slot[3]), units: d.text(b, d.slot[6]), scale: 1,
	}
	if v[3] > 0 {
		c.scale = v[3]
	}
	if _, ok := d.value(b, d.slot[5], 0); ok {
		c.shift = v[4]
	}
	if n, ok := d.value(b, d.slot[8], 0); ok && v[5] == fitRecord {
		c.native = int(n)
	}
	f.descs = slices.DeleteFunc(f.descs, func(o fitDesc) bool { return o.index == c.index && o.num == c.num })
	f.descs = append(f.descs, c)
	for i := range f.defs {
		f.defs[i].role = nil
	}
}

var noRoles fitRoles

// roles looks up what a definition's developer fields are for.
func (f *fitReader) roles(d *fitDef) *fitRoles {
	if d.role != nil {
		return d.role
	}
	if len(d.dev) == 0 {
		d.role = &noRoles
		return d.role
	}
	d.role = new(fitRoles)
	for _, dev := range d.dev {
		i := slices.IndexFunc(f.descs, func(c fitDesc) bool { return c.index == dev.dev && c.num == dev.num })
		if i < 0 {
			f.warn("undescribed developer fields", 0, f.win.pos, "Developer field %d (index %d) has no description; it is not read.", dev.num, dev.dev)
			continue
		}
		c := f.descs[i]
		u := devUse{f: newField(dev.num, uint8(dev.size), c.base, dev.off), scale: 1, desc: &c}
		f.assign(d.role, u)
	}
	r := d.role
	for k := range r.sensor {
		a := &r.sensor[k].axis
		r.motion = r.motion || a[vectorAxis].f.n == 3 || a[0].f.n > 0 && a[1].f.n > 0 && a[2].f.n > 0
	}
	return r
}

// assign gives a developer field its role by its name and unit, or by the
// native field that it stands for.
func (f *fitReader) assign(r *fitRoles, u devUse) {
	c := u.desc
	if kind, axis, unit, ok := motionField(c.name); ok {
		if strings.TrimSpace(c.units) != "" {
			unit = c.units
		}
		scale, ok := motionScale(kind, unit)
		if !ok {
			f.warn("developer fields without a usable unit", 0, f.win.pos,
				"Developer field %q looks like a %s, but its unit %q is not known; it is not read. Units that are: %s.",
				c.name, sensorNames[kind], unit, [3]string{"m/s^2, g, mg", "rad/s, deg/s, mdps", "uT, nT, gauss, mgauss"}[kind])
			return
		}
		u.scale = scale
		r.sensor[kind].axis[axis] = u
		r.sensor[kind].unit = unit
		return
	}
	set := func(to *devUse, scale float64, ok bool) {
		if ok {
			u.scale = scale
			*to = u
		}
	}
	switch strings.Join(fieldWords(c.name), "") {
	case "timestampms", "timems", "fractionms", "milliseconds":
		set(&r.ms, 1, c.units == "" || strings.EqualFold(c.units, "ms"))
		return
	case "sampletimeoffset":
		set(&r.offsets, 1, c.units == "" || strings.EqualFold(c.units, "ms"))
		return
	case "course", "courseoverground", "cog", "gpscourse":
		scale, ok := angleScale(c.units)
		set(&r.course, scale, ok)
		return
	case "speed", "speedoverground", "sog", "gpsspeed":
		scale, ok := speedScale(c.units)
		set(&r.speed, scale, ok)
		return
	case "lat", "latitude", "gpslat", "gpslatitude":
		scale, ok := angleScale(c.units)
		set(&r.lat, scale, ok)
		return
	case "lon", "long", "longitude", "gpslon", "gpslongitude":
		scale, ok := angleScale(c.units)
		set(&r.lon, scale, ok)
		return
	}
	switch c.native {
	case 6, 73:
		scale, ok := speedScale(c.units)
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
func (f *fitReader) devMotion(r *fitRoles, d *fitDef, b []byte, at int64) {
	for k, s := range f.sensors() {
		a := &r.sensor[k].axis
		n := min(a[0].f.n, a[1].f.n, a[2].f.n)
		vector := false
		if n == 0 {
			// Of a longer array it is not known how the axes are laid out.
			n, vector = 1, a[vectorAxis].f.n == 3
		}
		if n == 0 || n == 1 && !vector && a[0].f.n == 0 {
			continue
		}
		if most := max(a[0].f.n, a[1].f.n, a[2].f.n); !vector && most > n {
			f.lose(s, most-n, " sample that lacks an axis")
		}
		i := f.extend(s.s, n)
		invalid := 0
		for j := range n {
			good := true
			for x := range 3 {
				u, at := &a[x], j
				if vector {
					u, at = &a[vectorAxis], 3*j+x
				}
				v, ok := u.value(d, b, at)
				s.s.v[x][i+j] = float32(v)
				good = good && ok && !math.IsInf(float64(s.s.v[x][i+j]), 0)
			}
			if !good {
				s.s.v[0][i+j] = float32(math.NaN())
				s.holes = true
				invalid++
			}
		}
		if s.s.unit == "" {
			s.s.unit = r.sensor[k].unit
		}
		f.lose(s, invalid, " sample that is marked invalid")
		if r.offsets.f.n >= n {
			for j := range n {
				off, ok := r.offsets.value(d, b, j)
				s.s.time[i+j] = (float64(at) + off) / 1000
				if !ok || math.Abs(off) > maxOffset {
					s.s.time[i+j] = float64(at) / 1000
					f.void(s, fitRange{i + j, i + j + 1}, " sample without a time offset")
				}
			}
			continue
		}
		f.later(s, i, n, at)
	}
}
