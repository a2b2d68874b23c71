package unit

import (
	"math"
	"slices"
	"strings"
	"unicode"
)

// Text shows a unit as people write it.
func Text(u string) string {
	switch u {
	case "mps2":
		return "m/s²"
	case "radps":
		return "rad/s"
	case "dps":
		return "°/s"
	case "mdps":
		return "m°/s"
	case "ut":
		return "µT"
	case "mps":
		return "m/s"
	case "kmh":
		return "km/h"
	}
	return u
}

// Kinds of sensor, numbered as FIT's sensor_type.
const (
	Acc = iota
	Gyr
	Mag
)

var SensorNames = [3]string{"accelerometer", "gyroscope", "magnetometer"}

// Plain brings the ways to write a unit to ours: "m/s^2" to "mps2".
func Plain(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	s = strings.NewReplacer(" ", "", "²", "2", "^", "", "µ", "u", "μ", "u", "°", "deg", "·", "", "*", "").Replace(s)
	switch s {
	case "m/s2", "m/s/s", "ms-2", "mps2", "mpss", "mss":
		return "mps2"
	case "rad/s", "rads", "rads-1", "radps", "rps":
		return "radps"
	case "deg/s", "dps", "degs", "degps", "degs-1":
		return "dps"
	case "mdeg/s":
		return "mdps"
	case "m/s", "mps", "ms-1":
		return "mps"
	case "km/h", "kmh", "kph", "kmph":
		return "kmh"
	case "kt", "kts", "kn", "knot", "knots":
		return "kn"
	case "millig":
		return "mg"
	case "microtesla":
		return "ut"
	case "sec", "secs", "second", "seconds":
		return "s"
	case "msec", "millis", "milliseconds":
		return "ms"
	case "usec", "micros", "microseconds":
		return "us"
	case "nsec", "nanos", "nanoseconds":
		return "ns"
	case "iso", "iso8601", "datetime":
		return "utc"
	case "degree", "degrees":
		return "deg"
	case "meters", "metres", "meter", "metre":
		return "m"
	case "feet":
		return "ft"
	}
	return s
}

// Words cuts a field's name into lower-case words: at separators, where
// the case changes, and at digits. "GyroX_dps" is gyro, x, dps.
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
var sensorWords = [3][]string{
	Acc: {"accelerometer", "acceleration", "accel", "acc", "a"},
	Gyr: {"gyroscope", "gyro", "gyr", "g"},
	Mag: {"magnetometer", "magnetic", "mag", "m"},
}

// VectorAxis is the axis of a field that holds all three.
const VectorAxis = 3

// MotionField reads a field's name as a sensor and an axis (0, 1, 2 for x, y,
// z, or vectorAxis) and what follows, which may be a unit. A name with any
// other word in it is not one: linear acceleration, say, lacks gravity.
func MotionField(name string) (kind, axis int, unit string, ok bool) {
	words := Words(name)
	words = slices.DeleteFunc(words, func(w string) bool {
		return w == "imu" || w == "sensor" || w == "board" || w == "data" || w == "axis" || w == "calibrated"
	})
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

// bareUnit brings a unit's spelling down to letters, digits and slashes.
var bareUnit = strings.NewReplacer(" ", "", "^", "", "²", "2", "**", "", "·", "", "º", "°", "μ", "u", "µ", "u", "_", "", "-", "", "(", "", ")", "", "[", "", "]", "")

// MotionScale returns the factor from a unit to SI (µT for a magnetometer).
func MotionScale(kind int, unit string) (float64, bool) {
	switch u := bareUnit.Replace(strings.ToLower(strings.TrimSpace(unit))); kind {
	case Acc:
		switch u {
		case "m/s2", "mps2", "ms2", "m/s/s", "m/sec2":
			return 1, true
		case "g", "gn", "g0", "gee", "gs":
			return Gravity, true
		case "mg", "millig", "millig0":
			return Gravity / 1000, true
		case "cm/s2":
			return 0.01, true
		}
	case Gyr:
		switch u {
		case "rad/s", "radps", "rads", "rad/sec", "radians/s", "radians/second":
			return 1, true
		case "deg/s", "degps", "degs", "deg/sec", "degrees/s", "degrees/second", "dps", "°/s", "d/s":
			return math.Pi / 180, true
		case "mdps", "mdeg/s":
			return math.Pi / 180000, true
		case "mrad/s":
			return 0.001, true
		}
	case Mag:
		switch u {
		case "ut", "microtesla":
			return 1, true
		case "nt":
			return 0.001, true
		case "g", "gauss":
			return 100, true
		case "mg", "mgauss", "milligauss":
			return 0.1, true
		}
	}
	return 0, false
}

// SpeedScale returns the factor from a unit to m/s.
func SpeedScale(unit string) (float64, bool) {
	switch bareUnit.Replace(strings.ToLower(strings.TrimSpace(unit))) {
	case "m/s", "mps", "ms", "m/sec":
		return 1, true
	case "km/h", "kmh", "kph", "kmph":
		return 1 / 3.6, true
	case "kn", "kt", "kts", "knots", "knot":
		return 1852.0 / 3600, true
	case "mph":
		return 0.44704, true
	case "mm/s":
		return 0.001, true
	}
	return 0, false
}

// AngleScale returns the factor from a unit to degrees.
func AngleScale(unit string) (float64, bool) {
	switch bareUnit.Replace(strings.ToLower(strings.TrimSpace(unit))) {
	case "deg", "degree", "degrees", "°":
		return 1, true
	case "rad", "radian", "radians":
		return 180 / math.Pi, true
	}
	return 0, false
}
