package unit

import (
	"slices"
	"strings"
	"unicode"
)

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

// sensorWords are the words for each kind of sensor, the longest first.
var sensorWords = [2][]string{
	Acc: {"accelerometer", "acceleration", "accel", "acc", "a"},
	Gyr: {"gyroscope", "gyro", "gyr", "g"},
}

// fillers are words of a sensor's name that say nothing.
var fillers = []string{"imu", "sensor", "board", "data", "axis", "calibrated"}

// VectorAxis is the axis of a field that holds all three.
const VectorAxis = 3

// MotionField reads a field's name as a sensor and an axis (0, 1, 2 for x, y,
// z, or VectorAxis) and what follows, which may be a unit. A name with any
// other word in it is not one: linear acceleration, say, lacks gravity.
func MotionField(name string) (kind, axis int, unit string, ok bool) {
	words := slices.DeleteFunc(Words(name), func(w string) bool { return slices.Contains(fillers, w) })
	if len(words) == 0 {
		return 0, 0, "", false
	}
	first, rest := words[0], words[1:]
	for kind, names := range sensorWords {
		for _, n := range names {
			after, found := strings.CutPrefix(first, n)
			if !found {
				continue
			}
			axis := strings.Index("xyz", after)
			if after == "" {
				axis = VectorAxis
				if len(rest) > 0 && len(rest[0]) == 1 && strings.Contains("xyz", rest[0]) {
					axis = strings.Index("xyz", rest[0])
					rest = rest[1:]
				}
			} else if axis < 0 || len(after) != 1 {
				continue
			}
			if axis == VectorAxis && len(n) == 1 || len(rest) > 2 {
				continue
			}
			return kind, axis, strings.Join(rest, ""), true
		}
	}
	return 0, 0, "", false
}
