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

// What developer fields of a record are read for, besides motion.
const (
	roleMillis = iota
	roleOffsets
	roleLat
	roleLon
	roleAlt
	roleSpeed
	roleCourse
	roleCount
)

var (
	millisUnits = []unit.Unit{{Name: "ms", Scale: 1}}
	metres      = []unit.Unit{{Name: "m", Scale: 1}}
)

// devRoles tell a developer field's role by its name, letters and digits only,
// or by the record's field that it stands for. bare: it needs no unit.
var devRoles = []struct {
	names  string
	native []int
	role   int
	units  []unit.Unit
	bare   bool
}{
	{"timestampms timems fractionms milliseconds", nil, roleMillis, millisUnits, true},
	{"sampletimeoffset", nil, roleOffsets, millisUnits, true},
	{"course courseoverground cog gpscourse", nil, roleCourse, unit.AngleUnits, false},
	{"speed speedoverground sog gpsspeed", nil, roleSpeed, unit.SpeedUnits, false},
	{"lat latitude gpslat gpslatitude", nil, roleLat, unit.AngleUnits, false},
	{"lon long longitude gpslon gpslongitude", nil, roleLon, unit.AngleUnits, false},
	{"", []int{6, 73}, roleSpeed, unit.SpeedUnits, true},
	{"", []int{2, 78}, roleAlt, metres, true},
}

// roles says what the developer fields of a definition are used for.
type roles struct {
	use    [roleCount]devUse
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
func (f *reader) describe(d *def, b []byte, _ int64) {
	index, num, base := d.or(b, 0, -1), d.or(b, 1, -1), d.or(b, 2, -1)
	if index < 0 || num < 0 || base < 0 {
		f.Warn(raw.Warning{Kind: raw.BadDescription, Byte: f.win.Pos})
		return
	}
	c := desc{
		index: uint8(index), num: uint8(num), base: uint8(base), native: -1,
		name: d.text(b, d.slot[3]), units: d.text(b, d.slot[6]), scale: d.or(b, 4, 1), shift: d.or(b, 5, 0),
	}
	if c.scale <= 0 {
		c.scale = 1
	}
	if d.or(b, 7, -1) == float64(profile.MesgNumRecord) {
		c.native = int(d.or(b, 8, -1))
	}
	f.descs = slices.DeleteFunc(f.descs, func(o desc) bool { return o.index == c.index && o.num == c.num })
	f.descs = append(f.descs, c)
	for i := range f.defs {
		f.defs[i].role = nil
	}
}

// roles looks up what a definition's developer fields are for.
func (f *reader) roles(d *def) *roles {
	if d.role != nil {
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
	name := strings.Join(unit.Words(c.name), "")
	for _, is := range devRoles {
		if !slices.Contains(strings.Fields(is.names), name) && !slices.Contains(is.native, c.native) {
			continue
		}
		scale, ok := unit.Scale(is.units, c.units)
		if c.units == "" && is.bare {
			scale, ok = 1, true
		}
		if ok {
			u.scale = scale
			r.use[is.role] = u
		}
		return
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
		for x := range 3 {
			for j := range n {
				u, at := &a[x], j
				if vector {
					u, at = &a[unit.VectorAxis], x
				}
				v, _ := u.value(d, b, at)
				s.s.V[x][i+j] = float32(v)
			}
		}
		if s.s.Unit == "" {
			s.s.Unit = r.sensor[k].unit
		}
		var offsets []float64
		if off := r.use[roleOffsets]; off.f.n >= n {
			for j := range n {
				v, _ := off.value(d, b, j)
				offsets = append(offsets, v)
			}
		}
		f.place(s, i, n, n-s.check(i, n), at, offsets)
	}
}
