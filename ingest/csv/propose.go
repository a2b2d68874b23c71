package csv

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// Propose guesses a column map for the CSV at path that starts with head.
func Propose(head []byte, path string) (text string, ok bool) {
	s := newSample(head, path)
	if s == nil {
		return "", false
	}
	if cols, _, what := contractColumns(s.names); what == "" {
		if hasTime, measured := enough(cols); hasTime && measured {
			return "", false // it can be read as it is
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# Column map for %s, guessed from names and values: check it.\n", filepath.Base(path))
	if s.skip > 0 {
		fmt.Fprintf(&b, "skip_lines = %d\n", s.skip)
	}
	if s.delim != findDelimiter([]byte(strings.Join(s.names, string(s.delim)))) {
		fmt.Fprintf(&b, "delimiter = %q\n", string(s.delim))
	}
	if !s.guess() {
		return "", false
	}
	unused := slices.Clone(s.names)
	for _, q := range unit.Quantities {
		if g, has := s.found[q.Slot]; has {
			b.WriteString(g.line(q.Base))
			unused = slices.DeleteFunc(unused, func(name string) bool { return name == g.header })
		}
	}
	if len(unused) > 0 {
		for i := range unused {
			unused[i] = strconv.Quote(raw.Clip(unused[i], 40))
		}
		fmt.Fprintf(&b, "# Not used: %s.\n", raw.List(unused, 12))
	}
	m, err := ParseMap("", []byte(b.String()))
	if err != nil {
		return "", false
	}
	if _, _, err := m.columns(s.names); err != nil {
		return "", false
	}
	return b.String(), true
}

// A guess is what one column seems to hold.
type guess struct {
	header string
	number int // when the header alone is not enough
	unit   string
	scale  float64
	why    string // what to check
}

func (g guess) line(base string) string {
	var b strings.Builder
	col := strconv.Quote(g.header)
	if g.number > 0 {
		col = strconv.Itoa(g.number)
	}
	fmt.Fprintf(&b, "%s = { column = %s, unit = %q", base, col, g.unit)
	if g.scale != 0 && g.scale != 1 {
		fmt.Fprintf(&b, ", scale = %s", tomlFloat(g.scale))
	}
	b.WriteString(" }")
	if g.why != "" {
		b.WriteString(" # " + g.why)
	}
	b.WriteByte('\n')
	return b.String()
}

func tomlFloat(v float64) string {
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(s, ".e") {
		s += ".0"
	}
	return s
}

// A sample is the beginning of a CSV: its header and some values.
type sample struct {
	file   string
	names  []string
	delim  byte
	skip   int
	texts  []string    // of the first row
	values [][]float64 // by column, numbers only
	found  map[int]guess
}

// newSample finds the header: the first line above a row with as many fields,
// most of them numbers. nil when there is none.
func newSample(head []byte, path string) *sample {
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	lines := bytes.Split(bytes.ReplaceAll(head, []byte("\r\n"), []byte("\n")), []byte("\n"))
	if len(lines) > 1 {
		lines = lines[:len(lines)-1] // the last may be cut
	}
	isRow := func(line []byte, delim byte, n int) bool {
		f := headerNames(line, delim)
		if len(f) != n {
			return false
		}
		numbers := 0
		for _, x := range f {
			if _, kind := scan.SlowNumber([]byte(x), ','); kind == scan.IsNumber {
				numbers++
			} else if _, ok := scan.Time([]byte(x)); ok {
				numbers++
			}
		}
		return numbers*2 >= n
	}
	for i, line := range lines {
		if t := scan.Trim(line); len(t) == 0 || t[0] == '#' || i > 60 {
			continue
		}
		for _, delim := range []byte{'\t', ';', ',', '|'} {
			names := headerNames(line, delim)
			if len(names) < 2 || i+1 >= len(lines) || isRow(line, delim, len(names)) || !isRow(lines[i+1], delim, len(names)) {
				continue
			}
			s := &sample{file: strings.ToLower(filepath.Base(path)), names: names, delim: delim, found: map[int]guess{}}
			for _, above := range lines[:i] {
				if t := scan.Trim(above); len(t) > 0 && t[0] != '#' {
					s.skip = i
				}
			}
			s.values = make([][]float64, len(names))
			dec := byte('.')
			if delim != ',' {
				dec = ','
			}
			for _, row := range lines[i+1:] {
				f := headerNames(row, delim)
				if len(f) != len(names) {
					continue
				}
				if s.texts == nil {
					s.texts = f
				}
				for k, x := range f {
					if v, kind := scan.SlowNumber([]byte(x), dec); kind == scan.IsNumber {
						s.values[k] = append(s.values[k], v)
					}
				}
			}
			return s
		}
	}
	return nil
}

// nameWords splits a header into lower-case words and the unit in brackets.
func nameWords(name string) (words []string, in string) {
	if i := strings.IndexAny(name, "([{"); i >= 0 {
		in = strings.Trim(name[i:], "()[]{} ")
		name = name[:i]
	}
	var b []rune
	var was rune
	for _, r := range name {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			if unicode.IsUpper(r) && unicode.IsLower(was) {
				b = append(b, ' ')
			}
			b = append(b, unicode.ToLower(r))
		default:
			b = append(b, ' ')
		}
		was = r
	}
	words = strings.Fields(string(b))
	if n := len(words); n > 1 && in == "" {
		if u := words[n-1]; u != "m" && unit.Known(u) {
			return words[:n-1], words[n-1]
		}
	}
	return words, in
}

// guess fills found; false when there is no time or nothing measured.
func (s *sample) guess() bool {
	for i := range s.names {
		words, in := nameWords(s.names[i])
		slot := s.slotOf(words)
		if slot == unit.SlotIgnore {
			continue
		}
		g := guess{header: s.names[i], unit: in, scale: 1}
		if slices.Index(s.names, s.names[i]) != i {
			continue
		}
		if slot == unit.SlotTime && !s.timeUnit(&g, i) {
			continue
		}
		if old, twice := s.found[slot]; twice && !(slot == unit.SlotTime && s.finer(g, old)) {
			continue
		}
		s.found[slot] = g
	}
	s.sensorUnit(unit.SlotAcc, unit.AccUnits, s.accUnit)
	s.sensorUnit(unit.SlotGyr, unit.GyrUnits, s.gyrUnit)
	for i := range unit.Quantities {
		q := &unit.Quantities[i]
		slot := q.Slot
		g, has := s.found[slot]
		if !has || slot < unit.SlotLat || slot >= unit.SlotCount {
			continue
		}
		u := unit.Find(q.Units, g.unit)
		if u == nil {
			u = &q.Units[0]
			if slot == unit.SlotSpeed {
				g.why = "unit guessed: mps, kn, kmh or mph"
			}
		}
		g.unit = u.Name
		if v := s.largest(g.header); slot <= unit.SlotLon && v > 360 {
			g.scale = 1e-7
		}
		s.found[slot] = g
	}
	_, hasTime := s.found[unit.SlotTime]
	_, acc := s.found[unit.SlotAcc]
	_, gyr := s.found[unit.SlotGyr]
	_, lat := s.found[unit.SlotLat]
	_, lon := s.found[unit.SlotLon]
	_, speed := s.found[unit.SlotSpeed]
	return hasTime && (acc || gyr || lat && lon || speed)
}

// slotOf tells what a column holds by the words of its name.
func (s *sample) slotOf(words []string) int {
	if len(words) == 0 {
		return unit.SlotIgnore
	}
	has := func(list ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool {
			return slices.ContainsFunc(list, func(x string) bool {
				return w == x || len(x) > 3 && strings.HasPrefix(w, x)
			})
		})
	}
	if has("accuracy", "error", "uncertainty", "sd", "std", "user", "linear", "uncalibrated", "bias", "status", "temp", "temperature") {
		return unit.SlotIgnore
	}
	switch {
	case has("latitude", "lat"):
		return unit.SlotLat
	case has("longitude", "lon", "lng", "long"):
		return unit.SlotLon
	case has("timestamp", "time", "datetime", "epoch", "seconds", "elapsed", "millis", "micros", "t", "utc"):
		return unit.SlotTime
	}
	last := words[len(words)-1]
	axis, stem := -1, strings.Join(words[:len(words)-1], " ")
	if n := len(last); n > 0 && last[n-1] >= 'x' && last[n-1] <= 'z' {
		axis = int(last[n-1] - 'x')
		stem = strings.TrimSpace(stem + " " + last[:n-1])
	}
	if axis >= 0 {
		switch {
		case stem == "a", strings.Contains(stem, "acc"):
			return unit.SlotAcc + axis
		case stem == "g", stem == "w", stem == "r", stem == "rot", strings.Contains(stem, "gyr"), strings.Contains(stem, "rotation"),
			strings.Contains(stem, "angular"), strings.Contains(stem, "omega"):
			return unit.SlotGyr + axis
		case stem == "":
			switch {
			case strings.Contains(s.file, "acc"):
				return unit.SlotAcc + axis
			case strings.Contains(s.file, "gyr"):
				return unit.SlotGyr + axis
			case strings.Contains(s.file, "mag"):
				return unit.SlotIgnore
			}
			return unit.SlotAcc + axis // the values will tell
		}
		return unit.SlotIgnore
	}
	switch {
	case has("altitude", "alt", "elevation", "ele", "height"):
		return unit.SlotAlt
	case has("speed", "velocity", "sog"):
		return unit.SlotSpeed
	case has("course", "heading", "bearing", "cog"):
		return unit.SlotCourse
	}
	return unit.SlotIgnore
}

// timeUnit settles a time's unit by its name, or by the size of its values and
// steps: sensors sample 5 to 2000 times a second, receivers once to 20 times.
func (s *sample) timeUnit(g *guess, i int) bool {
	if _, ok := scan.Time([]byte(s.texts[i])); ok {
		g.unit = "utc"
		return true
	}
	v := s.values[i]
	if len(v) < 2 {
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
	step := raw.Median(steps)
	switch {
	case v[0] > 1e17:
		g.unit = "ns"
	case v[0] > 1e14:
		g.unit = "us"
		if step > 1.1e6 { // ns since a phone was switched on
			g.unit = "ns"
		}
	case v[0] > 1e11:
		g.unit = "ms"
	case v[0] > 1e9 && v[0] < 1e10 && step < 10:
		g.unit = "s"
	case step <= 1:
		g.unit = "s"
	case step <= 1100:
		g.unit, g.why = "ms", "unit guessed from the steps"
	case step <= 1.1e6:
		g.unit, g.why = "us", "unit guessed from the steps"
	case step > 1.1e6:
		g.unit, g.why = "ns", "unit guessed from the steps"
	default:
		return false
	}
	return true
}

// finer says whether time column a is better than b: a number rather than text,
// an absolute time rather than a relative one.
func (s *sample) finer(a, b guess) bool {
	if (a.unit == "utc") != (b.unit == "utc") {
		return b.unit == "utc"
	}
	return s.largest(a.header) > 1e9 && s.largest(b.header) < 1e9
}

func (s *sample) largest(header string) float64 {
	most := 0.0
	for _, v := range s.values[slices.Index(s.names, header)] {
		most = max(most, math.Abs(v))
	}
	return most
}

// sensorUnit gives the three axes of a sensor one unit, by name or by values;
// an incomplete sensor is dropped.
func (s *sample) sensorUnit(slot int, units []unit.Unit, byValue func(norms []float64) guess) {
	var cols [3][]float64
	for k := range 3 {
		g, has := s.found[slot+k]
		if !has {
			for j := range 3 {
				delete(s.found, slot+j)
			}
			return
		}
		cols[k] = s.values[slices.Index(s.names, g.header)]
	}
	if u := unit.Find(units, s.found[slot].unit); u != nil {
		for k := range 3 {
			g := s.found[slot+k]
			g.unit = u.Name
			s.found[slot+k] = g
		}
		return
	}
	var norms []float64
	for i := range min(len(cols[0]), len(cols[1]), len(cols[2])) {
		norms = append(norms, math.Sqrt(cols[0][i]*cols[0][i]+cols[1][i]*cols[1][i]+cols[2][i]*cols[2][i]))
	}
	u := byValue(norms)
	for k := range 3 {
		g := s.found[slot+k]
		g.unit, g.scale, g.why = u.unit, u.scale, u.why
		s.found[slot+k] = g
	}
}

// accUnit tells an accelerometer's unit by the size of gravity.
func (s *sample) accUnit(norms []float64) guess {
	n := raw.Median(norms)
	switch {
	case n > 6 && n < 14:
		return guess{unit: "mps2", scale: 1}
	case n > 0.6 && n < 1.4:
		return guess{unit: "g", scale: 1}
	case n > 700 && n < 1400:
		return guess{unit: "mg", scale: 1}
	case n > 1400:
		counts := math.Pow(2, math.Round(math.Log2(n)))
		return guess{unit: "g", scale: 1 / counts, why: fmt.Sprintf("raw counts, taken as %g per g", counts)}
	}
	return guess{unit: "mps2", scale: 1, why: "unit guessed; the values do not show gravity"}
}

// gyrUnit tells a gyroscope's unit by its largest values: boards turn at up to
// a few rad/s.
func (s *sample) gyrUnit(norms []float64) guess {
	if len(norms) == 0 {
		return guess{unit: "radps", scale: 1, why: "unit guessed: radps or dps"}
	}
	if slices.Max(norms) > 35 {
		return guess{unit: "dps", scale: 1, why: "unit guessed from the size of the values"}
	}
	return guess{unit: "radps", scale: 1, why: "unit guessed: radps or dps"}
}
