// Package unit is the vocabulary of logs: which quantities there are, which
// units they come in and how these are spelled, and by which names files know
// them.
//
// It imports nothing of this module.
package unit

import (
	"math"
	"slices"
	"strings"
)

// FastestTurn is what no board turns faster than, rad/s: larger values are degrees.
// Gyroscopes on boards reach 2000 °/s at most (common practice, no source).
const FastestTurn = 35.0

// Slots of a row: where a column's value goes.
const (
	SlotAcc    = 0
	SlotGyr    = 3
	SlotLat    = 6
	SlotLon    = 7
	SlotAlt    = 8
	SlotSpeed  = 9
	SlotCourse = 10
	SlotFix    = 11 // of an export: 1 where the row holds a fix
	SlotFeet   = 12 // front, back; then left, right
	SlotMoment = 16
	SlotCount  = 17 // numbers end here
	SlotTime   = 17
	SlotUTC    = 18
	SlotDate   = 19 // the day of a time of day
	SlotMark   = 20 // any text
	SlotIgnore = -1
)

// Blank is a row of which no number is known.
var Blank = func() (row [SlotCount]float64) {
	for i := range row {
		row[i] = math.NaN()
	}
	return row
}()

// Gravity is the standard acceleration of free fall, m/s² (ISO 80000-3).
const Gravity = 9.80665

// A Unit is one way to write a quantity: multiply by Scale to get SI (degrees
// for angles on the globe).
type Unit struct {
	Name   string // in the names of columns
	Scale  float64
	Digits int    // of a time: the power of ten below a second; -1: a date and time
	Text   string // as people write it, where Name is not that
	Also   string // other spellings, lower case, without blanks and signs
}

// A Quantity is what one of our columns holds.
type Quantity struct {
	Base  string
	Slot  int
	Units []Unit // the first is the SI unit
}

// DegMin is the unit of positions in whole degrees and minutes run together,
// as NMEA 0183 writes them: 4306.5 is 43° 6.5'.
const DegMin = "ddmm"

// Units of each kind of quantity, the SI unit first.
var (
	TimeUnits = []Unit{
		{Name: "s", Scale: 1, Also: "sec secs second seconds"},
		{Name: "ms", Scale: 1e-3, Digits: 3, Also: "msec millis milliseconds"},
		{Name: "us", Scale: 1e-6, Digits: 6, Also: "usec micros microseconds"},
		{Name: "ns", Scale: 1e-9, Digits: 9, Also: "nsec nanos nanoseconds"},
		{Name: "utc", Scale: 1, Digits: -1, Also: "iso iso8601 datetime"},
	}
	AccUnits = []Unit{
		{Name: "mps2", Scale: 1, Text: "m/s²", Also: "m/s2 m/s/s ms2 mpss mss m/sec2"},
		{Name: "g", Scale: Gravity, Also: "gn g0 gee gs"},
		{Name: "mg", Scale: Gravity / 1000, Also: "millig millig0"},
		{Name: "cmps2", Scale: 0.01, Text: "cm/s²", Also: "cm/s2"},
	}
	GyrUnits = []Unit{
		{Name: "radps", Scale: 1, Text: "rad/s", Also: "rad/s rads rads1 rps rad/sec radians/s radians/second"},
		{Name: "dps", Scale: math.Pi / 180, Text: "°/s", Also: "deg/s degs degs1 degps deg/sec degrees/s degrees/second °/s d/s"},
		{Name: "mdps", Scale: math.Pi / 180e3, Text: "m°/s", Also: "mdeg/s m°/s"},
		{Name: "mradps", Scale: 1e-3, Text: "mrad/s", Also: "mrad/s"},
	}
	SpeedUnits = []Unit{
		{Name: "mps", Scale: 1, Text: "m/s", Also: "m/s ms ms1 m/sec"},
		{Name: "kn", Scale: 1852.0 / 3600, Also: "kt kts knot knots"},
		{Name: "kmh", Scale: 1 / 3.6, Text: "km/h", Also: "km/h kph kmph"},
		{Name: "mph", Scale: 0.44704, Also: "mi/h miles/h"},
		{Name: "mmps", Scale: 1e-3, Text: "mm/s", Also: "mm/s"},
	}
	AngleUnits = []Unit{
		{Name: "deg", Scale: 1, Also: "degree degrees °"},
		{Name: "rad", Scale: 180 / math.Pi, Also: "radian radians"},
	}
	placeUnits = []Unit{
		{Name: "deg", Scale: 1, Also: "degree degrees °"},
		{Name: DegMin, Scale: 1, Also: "degmin dddmm ddmm.mmmm"},
	}
	lengthUnits = []Unit{
		{Name: "m", Scale: 1, Also: "meter meters metre metres"},
		{Name: "ft", Scale: 0.3048, Also: "foot feet"},
	}
	forceUnits = []Unit{
		{Name: "n", Scale: 1, Text: "N", Also: "newton newtons"},
		{Name: "kgf", Scale: Gravity, Also: "kg kp kilogram kilograms"},
		{Name: "lbf", Scale: 0.45359237 * Gravity, Also: "lb lbs pound pounds"},
	}
	momentUnits = []Unit{
		{Name: "nm", Scale: 1, Text: "N·m", Also: "newtonmeter newtonmetre"},
		{Name: "kgfm", Scale: Gravity, Text: "kgf·m", Also: "kpm"},
		{Name: "lbfft", Scale: 0.45359237 * Gravity * 0.3048, Text: "lbf·ft", Also: "ftlb ftlbf lbft"},
	}
	// A magnetometer is known and not read.
	fieldUnits = []Unit{{Name: "ut", Scale: 1, Also: "microtesla"}, {Name: "gauss", Scale: 100}, {Name: "mgauss", Scale: 0.1}}
)

// Quantities are all that a column of ours may hold.
var Quantities = []Quantity{
	{"time", SlotTime, TimeUnits},
	{"date", SlotDate, []Unit{{Name: "day", Scale: 1}}},
	{"ax", SlotAcc, AccUnits}, {"ay", SlotAcc + 1, AccUnits}, {"az", SlotAcc + 2, AccUnits},
	{"gx", SlotGyr, GyrUnits}, {"gy", SlotGyr + 1, GyrUnits}, {"gz", SlotGyr + 2, GyrUnits},
	{"mx", SlotIgnore, fieldUnits}, {"my", SlotIgnore, fieldUnits}, {"mz", SlotIgnore, fieldUnits},
	{"lat", SlotLat, placeUnits}, {"lon", SlotLon, placeUnits},
	{"alt", SlotAlt, lengthUnits},
	{"speed", SlotSpeed, SpeedUnits},
	{"course", SlotCourse, AngleUnits},
	{"front", SlotFeet, forceUnits}, {"back", SlotFeet + 1, forceUnits},
	{"left", SlotFeet + 2, forceUnits}, {"right", SlotFeet + 3, forceUnits},
	{"pitch_moment", SlotMoment, momentUnits},
	{"mark", SlotMark, []Unit{{Scale: 1}}},
}

// bare brings a unit's spelling down to letters, digits, slashes and °.
var bare = strings.NewReplacer(" ", "", "^", "", "²", "2", "*", "", "·", "", "º", "°", "μ", "u", "µ", "u",
	"_", "", "-", "", "(", "", ")", "", "[", "", "]", "")

// Find is the unit among units that is spelled s; nil when none is.
func Find(units []Unit, s string) *Unit {
	s = bare.Replace(strings.ToLower(s))
	if s == "" {
		return nil
	}
	for i, u := range units {
		if u.Name == s || strings.Contains(" "+u.Also+" ", " "+s+" ") {
			return &units[i]
		}
	}
	return nil
}

// Known says whether s spells a unit that other programs' names end in: "n" is
// north there, and no newton.
func Known(s string) bool {
	for _, q := range Quantities {
		if !q.OnDeck() && Find(q.Units, s) != nil {
			return true
		}
	}
	return false
}

// Text shows the name of a unit as people write it.
func Text(name string) string {
	for _, q := range Quantities {
		for _, u := range q.Units {
			if u.Name == name && u.Text != "" {
				return u.Text
			}
		}
	}
	return name
}

// Split tells "ax_mps2" apart. missing is true when the name is one of ours
// without a unit, or with one that is not known.
func Split(name string) (q *Quantity, u *Unit, missing bool) {
	name = strings.ToLower(name)
	for i := range Quantities {
		suffix, ours := strings.CutPrefix(name, Quantities[i].Base)
		if ours && suffix != "" {
			suffix, ours = strings.CutPrefix(suffix, "_")
		}
		if !ours {
			continue
		}
		for j := range Quantities[i].Units {
			if Quantities[i].Units[j].Name == suffix {
				return &Quantities[i], &Quantities[i].Units[j], false
			}
		}
		// "time_of_day" and "left" are strangers, "ax" and "ax_foo" lack a unit.
		vague := strings.Contains(suffix, "_") || suffix == "" && Quantities[i].OnDeck()
		return &Quantities[i], nil, !vague && len(Quantities[i].Units) > 1
	}
	return nil, nil, false
}

// Names are the names of columns that hold the quantity.
func (q *Quantity) Names() []string {
	var s []string
	for _, u := range q.Units {
		s = append(s, strings.TrimSuffix(q.Base+"_"+u.Name, "_"))
	}
	return s
}

// Names are the names of the quantities that are read.
func Names() (names []string) {
	for _, q := range Quantities {
		if q.Slot != SlotIgnore {
			names = append(names, q.Base)
		}
	}
	return names
}

// Of is the quantity of a slot of numbers.
func Of(slot int) *Quantity {
	return &Quantities[slices.IndexFunc(Quantities, func(q Quantity) bool { return q.Slot == slot })]
}

// OnDeck says whether it is a force of the feet or the mast's moment.
func (q *Quantity) OnDeck() bool { return q.Slot >= SlotFeet && q.Slot <= SlotMoment }

// Group is the channel that a quantity belongs to.
func (q *Quantity) Group() string {
	switch {
	case q.Slot == SlotTime, q.Slot == SlotDate:
		return "time"
	case q.Slot == SlotIgnore:
		return "magnetometer"
	case q.Slot < SlotLat:
		return SensorNames[q.Slot/SlotGyr]
	case q.Slot <= SlotLon:
		return "position"
	case q.Slot == SlotAlt:
		return "altitude"
	case q.Slot == SlotMoment:
		return MastMoment
	case q.OnDeck():
		return FootForces
	}
	return q.Base
}

// Scale is the factor to SI of the unit among units that is spelled s.
func Scale(units []Unit, s string) (scale float64, ok bool) {
	if u := Find(units, s); u != nil {
		return u.Scale, true
	}
	return 0, false
}
