package csv

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
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
		if old, twice := s.found[m.Slot]; !twice || old.weak && !m.Weak || m.Slot == unit.SlotTime && old.weak == m.Weak && s.finer(g, old) {
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
	for _, q := range unit.Quantities {
		if g, has := s.found[q.Slot]; has && q.Slot >= unit.SlotLat && q.Slot < unit.SlotCount {
			s.found[q.Slot] = s.fixUnit(g, &q)
		}
	}
	has := func(slot int) bool { _, ok := s.found[slot]; return ok }
	return has(unit.SlotTime) && (has(unit.SlotAcc) || has(unit.SlotGyr) || has(unit.SlotLat) && has(unit.SlotLon) || has(unit.SlotSpeed))
}

// fixUnit settles the unit of what a receiver measures.
func (s *sample) fixUnit(g guess, q *unit.Quantity) guess {
	if u := unit.Find(q.Units, g.unit); u != nil {
		g.unit = u.Name
	} else {
		g.unit = q.Units[0].Name
		if q.Slot == unit.SlotSpeed {
			g.why = "unit guessed: mps, kn, kmh or mph"
		}
	}
	if q.Slot == unit.SlotLat || q.Slot == unit.SlotLon {
		if s.largest(g.header) > 1e6 {
			g.scale = scaledDegrees
		} else if s.largest(s.found[unit.SlotLat].header) > 90 {
			g.unit = unit.DegMin
		}
	}
	return g
}

// timeUnit settles a time's unit by its name, or by the size of its values and
// steps: sensors sample 5 to 2000 times a second, receivers once to 20 times.
func (s *sample) timeUnit(g *guess, i int) bool {
	if _, ok := scan.Time([]byte(s.texts[i])); ok || strings.Count(s.texts[i], ":") == 2 {
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
		_, dated := scan.Time([]byte(s.texts[i]))
		if (dated || len(v) > 2 && rises(v) && v[0] != v[len(v)-1]) && s.timeUnit(&g, i) {
			g.why = "guessed: it rises"
			s.found[unit.SlotTime] = g
			at = i + 1
			break
		}
	}
	for ; at > 0 && at+2 < len(s.values); at++ {
		u := accUnit(norms(s.values[at : at+3]))
		if u.why != "" {
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

// norms are the sizes of the vectors in three columns.
func norms(cols [][]float64) []float64 {
	var n []float64
	for i := range min(len(cols[0]), len(cols[1]), len(cols[2])) {
		n = append(n, math.Hypot(math.Hypot(cols[0][i], cols[1][i]), cols[2][i]))
	}
	return n
}

// finer says whether time column a is better than b: a number rather than text,
// an absolute time rather than a relative one.
func (s *sample) finer(a, b guess) bool {
	if (a.unit == "utc") != (b.unit == "utc") {
		return b.unit == "utc"
	}
	return s.largest(a.header) > 1e9 && s.largest(b.header) < 1e9
}

// largest is the size of the largest value under a header; 0 without it.
func (s *sample) largest(header string) float64 {
	most := 0.0
	if header == "" {
		return 0
	}
	for _, v := range s.values[slices.Index(s.names, header)] {
		most = max(most, math.Abs(v))
	}
	return most
}

// sensorUnit gives the three axes of a sensor one unit, by name or by values;
// an incomplete sensor is dropped.
func (s *sample) sensorUnit(slot int, units []unit.Unit, byValue func(norms []float64) guess) {
	var cols [3][]float64
	for k := range cols {
		g, has := s.found[slot+k]
		if !has {
			for j := range cols {
				delete(s.found, slot+j)
			}
			return
		}
		cols[k] = s.values[slices.Index(s.names, g.header)]
	}
	var u guess
	if named := unit.Find(units, s.found[slot].unit); named != nil {
		u = guess{unit: named.Name, scale: 1}
	} else {
		u = byValue(norms(cols[:]))
	}
	for k := range cols {
		u.header = s.found[slot+k].header
		s.found[slot+k] = u
	}
}

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
	return guess{unit: "mps2", scale: 1, why: "unit guessed; the values do not show gravity"}
}

// gyrUnit tells a gyroscope's unit by its largest values.
func gyrUnit(norms []float64) guess {
	if len(norms) > 0 && slices.Max(norms) > fastestTurn {
		return guess{unit: "dps", scale: 1, why: "unit guessed from the size of the values"}
	}
	return guess{unit: "radps", scale: 1, why: "unit guessed: radps or dps"}
}
