package unit

import (
	"slices"
	"strings"
)

// A Meaning is what the name of a column or field says.
type Meaning struct {
	Slot   int    // SlotIgnore when it says nothing of ours
	Vector bool   // all three axes of the sensor whose x axis Slot is
	Unit   string // as it is written there; "" when it tells none
	// Part says that the value is only a part of the specific force: what a phone
	// offers as linear or user acceleration, or as gravity.
	Part bool
	// Weak says that the name is short or vague, and another column may know
	// better: "t", "x".
	Weak bool
}

// Words of names, by what they say. A word of four letters or more also
// counts as the beginning of a longer one.
var (
	// errorWords name what is about a quantity and not it.
	errorWords = []string{"accuracy", "error", "uncertainty", "sd", "std", "bias", "status", "temp", "temperature", "uncalibrated", "variance", "valid", "vertical"}
	partWords  = []string{"linear", "user", "gravity", "grav", "lin"}
	latWords   = []string{"latitude", "lat"}
	lonWords   = []string{"longitude", "lon", "lng", "long"}
	timeWords  = []string{"timestamp", "time", "datetime", "epoch", "seconds", "elapsed", "millis", "micros", "utc", "timeus", "timems", "clock"}
	dateWords  = []string{"date"}
	altWords   = []string{"altitude", "alt", "elevation", "ele", "height", "msl"}
	speedWords = []string{"speed", "velocity", "sog", "spd"}
	// courseWords do not hold "heading": that of a compass is where the bow points.
	courseWords = []string{"course", "cog", "bearing", "direction", "track", "heading"}
)

// sensorStems are how the name of an axis begins.
var sensorStems = [...]struct {
	whole    []string // the stem itself
	contains []string
}{
	Acc: {[]string{"a"}, []string{"acc"}},
	Gyr: {[]string{"g", "w", "r", "rot", "omega"}, []string{"gyr", "rotation", "angular", "ang vel", "angvel", "omega", "turn rate"}},
}

// endsInUnit says whether a word at the end of a name is its unit.
func endsInUnit(word string) bool { return Known(word) && word != "m" && !isAxis(word) }

// Mean reads the name of a column or field. context is what stands around it,
// such as the name of the file: it tells what a bare "x" is of.
func Mean(name, context string) Meaning {
	in := ""
	if i := strings.IndexAny(name, "([{"); i >= 0 {
		in = strings.Trim(name[i:], "()[]{} ")
		name = name[:i]
	}
	words := Words(name)
	words = slices.DeleteFunc(words, func(w string) bool {
		return slices.Contains([]string{"imu", "sensor", "board", "data", "axis", "calibrated", "value", "values", "gps", "gnss", "phone", "device"}, w) && len(words) > 1
	})
	for split := 1; split <= 2 && in == ""; split++ { // "rad s" of rad_s, too
		if n := len(words); n > split && endsInUnit(strings.Join(words[n-split:], "/")) {
			in, words = strings.Join(words[n-split:], "/"), words[:n-split]
		}
	}
	m := Meaning{Slot: SlotIgnore, Unit: in}
	if len(words) == 0 || has(words, errorWords) {
		return m
	}
	m.Part = has(words, partWords)
	if m.sensor(words, context) {
		return m
	}
	for _, c := range []struct {
		slot  int
		words []string
	}{
		{SlotLat, latWords}, {SlotLon, lonWords}, {SlotTime, timeWords}, {SlotDate, dateWords},
		{SlotAlt, altWords}, {SlotSpeed, speedWords}, {SlotCourse, courseWords},
	} {
		if has(words, c.words) {
			m.Slot = c.slot
			m.Weak = c.slot == SlotCourse && has(words, []string{"heading", "bearing", "direction"})
			return m
		}
	}
	if len(words) == 1 && words[0] == "t" {
		m.Slot, m.Weak = SlotTime, true
	}
	return m
}

func isAxis(word string) bool { return word == "x" || word == "y" || word == "z" }

// sensor reads words as an axis of a sensor, or all three.
func (m *Meaning) sensor(words []string, context string) bool {
	last := words[len(words)-1]
	axis, stem := -1, strings.Join(words, " ")
	if n := len(last); last[n-1] >= 'x' && last[n-1] <= 'z' {
		axis = int(last[n-1] - 'x')
		stem = strings.TrimSpace(strings.TrimSuffix(stem, last[n-1:]))
	} else if n := len(words); n > 1 && isAxis(words[0]) { // "x acceleration"
		axis = int(words[0][0] - 'x')
		stem = strings.Join(words[1:], " ")
	}
	for kind, s := range sensorStems {
		whole := slices.Contains(s.whole, stem) && axis >= 0
		if !whole && !slices.ContainsFunc(s.contains, func(c string) bool { return strings.Contains(stem, c) }) {
			continue
		}
		m.Slot, m.Vector = 3*kind+max(axis, 0), axis < 0
		return true
	}
	if axis < 0 {
		return false
	}
	if m.Part && stem != "" { // "gravity x"
		m.Slot = SlotAcc + axis
		return true
	}
	if stem != "" {
		return false
	}
	file := strings.Join(Words(context), " ")
	of := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(file, w) })
	}
	m.Weak = true
	m.Part = has(Words(context), partWords)
	switch {
	case of("gyr", "rotation"):
		m.Slot = SlotGyr + axis
	case !of("acc") && !m.Part && of("mag", "orient", "compass"):
		return false
	default:
		m.Slot = SlotAcc + axis // the values will tell
	}
	return true
}

// has says whether one of the words is of a list.
func has(words, list []string) bool {
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.ContainsFunc(list, func(x string) bool {
			return w == x || len(x) > 3 && strings.HasPrefix(w, x)
		})
	})
}
