package unit

import "unicode"

// Kinds of sensor, numbered as FIT's sensor_type.
const (
	Acc = iota
	Gyr
)

// SensorNames are the names of the sensors' channels.
var SensorNames = [2]string{"accelerometer", "gyroscope"}

// The channels of what presses on the deck.
const (
	FootForces = "foot forces"
	MastMoment = "pitch moment"
)

// SensorUnits are the units of each sensor.
var SensorUnits = [2][]Unit{AccUnits, GyrUnits}

// Words cuts a field's name into lower-case words: at separators, and where the
// case changes. "GyroX_dps" is gyro, x, dps.
func Words(name string) []string {
	var words []string
	var w []rune
	flush := func() {
		if len(w) > 0 {
			words = append(words, string(w))
			w = w[:0]
		}
	}
	var prev rune
	for _, r := range name {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			flush()
		} else {
			if unicode.IsUpper(r) && unicode.IsLower(prev) {
				flush()
			}
			w = append(w, unicode.ToLower(r))
		}
		prev = r
	}
	flush()
	return words
}

// VectorAxis is the axis of a field that holds all three.
const VectorAxis = 3

// MotionField reads a field's name as a sensor and an axis (0, 1, 2 for x, y,
// z, or VectorAxis) and the unit in it. A part of the acceleration is not one:
// without gravity, say, no pitch can be told.
func MotionField(name string) (kind, axis int, unit string, ok bool) {
	m := Mean(name, "")
	if m.Slot < SlotAcc || m.Slot >= SlotLat || m.Part || m.Weak {
		return 0, 0, "", false
	}
	kind, axis = m.Slot/3, m.Slot%3
	if m.Vector {
		axis = VectorAxis
	}
	return kind, axis, m.Unit, true
}
