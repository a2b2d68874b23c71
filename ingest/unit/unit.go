// Package unit is the vocabulary of logs: which quantities there are, which
// units they come in, and by which names files know them.
//
// It imports nothing of this module.
package unit

import (
	"math"
	"strings"
)

// Slots of a row: where a column's value goes.
const (
	SlotAcc    = 0
	SlotGyr    = 3
	SlotMag    = 6
	SlotLat    = 9
	SlotLon    = 10
	SlotAlt    = 11
	SlotSpeed  = 12
	SlotCourse = 13
	SlotFix    = 14 // of an export: 1 where the row holds a fix
	SlotCount  = 15 // numbers end here
	SlotTime   = 15
	SlotUTC    = 16
	SlotIgnore = -1
)

// Gravity is the standard acceleration of free fall, m/s² (ISO 80000-3).
const Gravity = 9.80665

// A Unit is one way to write a quantity: multiply by scale to get SI. For
// times, digits is the unit's power of ten below a second.
type Unit struct {
	Name   string
	Scale  float64
	Digits int
}

// A Quantity is what one of our columns holds.
type Quantity struct {
	Base  string
	Slot  int
	Units []Unit // the first is the SI unit
}

var (
	TimeUnits  = []Unit{{"s", 1, 0}, {"ms", 1e-3, 3}, {"us", 1e-6, 6}, {"ns", 1e-9, 9}, {"utc", 1, -1}}
	AccUnits   = []Unit{{"mps2", 1, 0}, {"g", Gravity, 0}, {"mg", Gravity / 1000, 0}}
	GyrUnits   = []Unit{{"radps", 1, 0}, {"dps", math.Pi / 180, 0}, {"mdps", math.Pi / 180e3, 0}}
	MagUnits   = []Unit{{"ut", 1, 0}, {"gauss", 100, 0}, {"mgauss", 0.1, 0}}
	SpeedUnits = []Unit{{"mps", 1, 0}, {"kn", 1852.0 / 3600, 0}, {"kmh", 1 / 3.6, 0}, {"mph", 0.44704, 0}}
	degUnits   = []Unit{{"deg", 1, 0}}
)

var Quantities = []Quantity{
	{"time", SlotTime, TimeUnits},
	{"ax", SlotAcc, AccUnits}, {"ay", SlotAcc + 1, AccUnits}, {"az", SlotAcc + 2, AccUnits},
	{"gx", SlotGyr, GyrUnits}, {"gy", SlotGyr + 1, GyrUnits}, {"gz", SlotGyr + 2, GyrUnits},
	{"mx", SlotMag, MagUnits}, {"my", SlotMag + 1, MagUnits}, {"mz", SlotMag + 2, MagUnits},
	{"lat", SlotLat, degUnits}, {"lon", SlotLon, degUnits},
	{"alt", SlotAlt, []Unit{{"m", 1, 0}, {"ft", 0.3048, 0}}},
	{"speed", SlotSpeed, SpeedUnits},
	{"course", SlotCourse, []Unit{{"deg", 1, 0}, {"rad", 180 / math.Pi, 0}}},
}

// Split tells "ax_mps2" apart. missing is true when the name is one of
// ours without a unit, or with one that is not known.
func Split(name string) (q *Quantity, u *Unit, missing bool) {
	name = strings.ToLower(name)
	base, suffix, _ := strings.Cut(name, "_")
	for i := range Quantities {
		if Quantities[i].Base != base {
			continue
		}
		for j := range Quantities[i].Units {
			if Quantities[i].Units[j].Name == suffix {
				return &Quantities[i], &Quantities[i].Units[j], false
			}
		}
		// "time_of_day" is a stranger, "ax" and "ax_foo" lack a unit.
		return &Quantities[i], nil, !strings.Contains(suffix, "_")
	}
	return nil, nil, false
}

func (q *Quantity) Names() []string {
	var s []string
	for _, u := range q.Units {
		s = append(s, q.Base+"_"+u.Name)
	}
	return s
}

// Group is the sensor that a quantity belongs to.
func (q *Quantity) Group() string {
	switch {
	case q.Slot == SlotTime:
		return "time"
	case q.Slot < SlotGyr:
		return "accelerometer"
	case q.Slot < SlotMag:
		return "gyroscope"
	case q.Slot < SlotLat:
		return "magnetometer"
	case q.Slot <= SlotLon:
		return "position"
	}
	return q.Base
}
