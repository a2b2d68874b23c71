package csv

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Sizes by which the values tell a unit.
const (
	// scaledDegrees is the factor of positions written as whole numbers.
	scaledDegrees = 1e-7
)

// guess fills found; false when there is no time or nothing measured.
func (s *sample) guess() bool {
	s.take()
	if s.bare {
		s.byValues()
	}
	for i, name := range s.names {
		m := unit.Mean(name, s.file)
		if m.Slot == unit.SlotIgnore || m.Vector || m.Part || slices.Index(s.names, name) != i {
			continue
		}
		g := guess{header: name, unit: m.Unit, scale: 1, weak: m.Weak}
		if m.Slot == unit.SlotTime && !s.timeUnit(&g, i) {
			continue
		}
		old, twice := s.found[m.Slot]
		if !twice || old.weak && !m.Weak || m.Slot == unit.SlotTime && old.weak == m.Weak && s.finer(g, old) {
			s.found[m.Slot] = g
		}
	}
	if date, has := s.found[unit.SlotDate]; has {
		date.unit = "day"
		s.found[unit.SlotDate] = date
		if t, has := s.found[unit.SlotTime]; has {
			t.unit, t.why = "utc", ""
			s.found[unit.SlotTime] = t
		}
	}
	s.sensorUnit(unit.SlotAcc, unit.AccUnits, accUnit)
	s.sensorUnit(unit.SlotGyr, unit.GyrUnits, gyrUnit)
	for slot := unit.SlotLat; slot < unit.SlotCount; slot++ {
		if g, has := s.found[slot]; has {
			s.found[slot] = s.fixUnit(g, slot)
		}
	}
	has := func(slot int) bool { _, ok := s.found[slot]; return ok }
	return has(unit.SlotTime) && (has(unit.SlotAcc) || has(unit.SlotGyr) || has(unit.SlotLat) && has(unit.SlotLon) || has(unit.SlotSpeed))
}

// fixUnit settles the unit of what a receiver measures.
func (s *sample) fixUnit(g guess, slot int) guess {
	units := unit.Of(slot).Units
	if u := unit.Find(units, g.unit); u != nil {
		g.unit = u.Name
	} else {
		g.unit = units[0].Name
		if slot == unit.SlotSpeed {
			g.why = "unit guessed: mps, kn, kmh or mph"
		}
	}
	if slot == unit.SlotLat || slot == unit.SlotLon {
		if s.largest(g) > 1e6 {
			g.scale = scaledDegrees
		} else if s.largest(s.found[unit.SlotLat]) > 90 {
			g.unit = unit.DegMin
		}
	}
	return g
}

// timeUnit settles a time's unit by its name, or by the size of its values and
// steps: sensors sample 5 to 2000 times a second, receivers once to 20 times.
func (s *sample) timeUnit(g *guess, i int) bool {
	if isTime(s.texts[i]) {
		g.unit = "utc"
		return true
	}
	v := s.values[i]
	if len(v) < 2 || !rises(v) {
		return false
	}
	if u := unit.Find(unit.TimeUnits, g.unit); u != nil && u.Digits >= 0 {
		g.unit = u.Name
		return true
	}
	var steps []float64
	for k := 1; k < len(v); k++ {
		if d := v[k] - v[k-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 { // no two rows apart
		return false
	}
	step := raw.Median(steps)
	switch { // a Unix time, by its size; else whatever gives sensible steps
	case v[0] > 1e17, v[0] > 1e14 && step > 1.1e6: // the latter since a phone was switched on
		g.unit = "ns"
	case v[0] > 1e14:
		g.unit = "us"
	case v[0] > 1e11:
		g.unit = "ms"
	case v[0] > 1e9 && v[0] < 1e10 && step < 10, step <= 1:
		g.unit = "s"
	default:
		g.why = "unit guessed from the steps"
		for _, u := range unit.TimeUnits[1:4] { // the first under which a step is 1.1 s at most
			if g.unit = u.Name; step*u.Scale <= 1.1 {
				break
			}
		}
	}
	return true
}

// byValues makes out the columns of a file without a header: the first that
// rises is the time, and the first three in a row that show gravity, where it
// is g or m/s², the accelerometer; three that follow it are the gyroscope.
func (s *sample) byValues() {
	at := 0
	for i, v := range s.values {
		g := guess{header: s.names[i], scale: 1, weak: true}
		if (isTime(s.texts[i]) || len(v) > 2 && v[0] != v[len(v)-1]) && s.timeUnit(&g, i) {
			g.why = "guessed: it rises"
			s.found[unit.SlotTime] = g
			at = i + 1
			break
		}
	}
	for ; at > 0 && at+2 < len(s.values); at++ {
		if accUnit(norms(s.values[at:at+3])).why != "" {
			continue
		}
		for k := range min(6, len(s.values)-at) / 3 * 3 {
			s.found[unit.SlotAcc+k] = guess{header: s.names[at+k], why: "guessed by place and values", scale: 1}
		}
		return
	}
}

// rises says whether values hardly ever fall, as times do.
func rises(v []float64) bool {
	falls := 0
	for k := 1; k < len(v); k++ {
		if v[k] < v[k-1] {
			falls++
		}
	}
	return falls*10 < len(v)
}

// finer says whether time column a is better than b: a number rather than text,
// an absolute time rather than a relative one.
func (s *sample) finer(a, b guess) bool {
	if (a.unit == "utc") != (b.unit == "utc") {
		return b.unit == "utc"
	}
	return s.largest(a) > 1e9 && s.largest(b) < 1e9
}

// sensorUnit gives the three axes of a sensor one unit, by name or by values;
// an incomplete sensor is dropped.
func (s *sample) sensorUnit(slot int, units []unit.Unit, byValue func(norms []float64) guess) {
	var axes []guess
	var cols [][]float64
	for k := range 3 {
		if g, has := s.found[slot+k]; has {
			axes, cols = append(axes, g), append(cols, s.of(g))
		}
		delete(s.found, slot+k)
	}
	if len(axes) < 3 {
		return
	}
	var u guess
	if named := unit.Find(units, axes[0].unit); named != nil {
		u = guess{unit: named.Name, scale: 1}
	} else {
		u = byValue(norms(cols))
	}
	for k, g := range axes {
		u.header = g.header
		s.found[slot+k] = u
	}
}

// noGravity is said of values that are no gravity's in any unit.
const noGravity = "unit guessed; the values do not show gravity"

// accUnit tells an accelerometer's unit by the size of gravity.
func accUnit(norms []float64) guess {
	n := raw.Median(norms)
	for _, u := range unit.AccUnits[:3] {
		if g := unit.Gravity / u.Scale; n > 0.6*g && n < 1.43*g {
			return guess{unit: u.Name, scale: 1}
		}
	}
	if n > 1400 {
		counts := math.Pow(2, math.Round(math.Log2(n)))
		return guess{unit: "g", scale: 1 / counts, why: fmt.Sprintf("raw counts, taken as %g per g", counts)}
	}
	return guess{unit: "mps2", scale: 1, why: noGravity}
}

// gyrUnit tells a gyroscope's unit by its largest values.
func gyrUnit(norms []float64) guess {
	if len(norms) > 0 && slices.Max(norms) > unit.FastestTurn {
		return guess{unit: "dps", scale: 1, why: "unit guessed from the size of the values"}
	}
	return guess{unit: "radps", scale: 1, why: "unit guessed: radps or dps"}
}
