package csv

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// Sizes by which the values tell a unit.
const (
	// maxPreamble is how many lines may stand above a header.
	maxPreamble = 60
	// sampleRows are enough to tell units and steps.
	sampleRows  = 200
	sampleBytes = 32 << 10
	// fastestTurn is what no board turns faster than, rad/s: larger values are
	// degrees.
	fastestTurn = 35.0
	// scaledDegrees is the factor of positions written as whole numbers.
	scaledDegrees = 1e-7
)

// Propose guesses a column map for the CSV at path that starts with head: the
// TOML that [ParseMap] reads. ok is false when the file needs none, or when a
// time and something measured cannot be made out: the text is then a skeleton
// to fill in.
func Propose(head []byte, path string) (text string, ok bool) {
	s := newSample(head, path)
	if s == nil || s.ours() {
		return "", false
	}
	if !s.guess() {
		return s.skeleton(), false
	}
	text = s.mapText()
	m, err := ParseMap("", []byte(text))
	if err == nil {
		_, _, err = m.columns(s.names)
	}
	return text, err == nil
}

// recognise is the map of a foreign CSV whose names and values leave no doubt
// that a later check of the physics would not find; nil for any other. Names
// tells what was taken for what.
func recognise(head []byte, path string) (m *Map, names []string) {
	s := newSample(head, path)
	if s == nil || s.bare || s.ours() || s.slip() || !s.guess() {
		return nil, nil
	}
	if acc, has := s.found[unit.SlotAcc]; has && acc.why != "" {
		return nil, nil // no gravity, or raw counts
	}
	_, placed := s.found[unit.SlotLat]
	if speed, has := s.found[unit.SlotSpeed]; has && speed.why != "" && !placed {
		return nil, nil // positions would tell the unit
	}
	if s.found[unit.SlotTime].weak {
		return nil, nil
	}
	m, err := ParseMap(path, []byte(s.mapText()))
	if err != nil {
		return nil, nil
	}
	for _, c := range m.cols {
		names = append(names, fmt.Sprintf("%s = %s", strings.TrimSuffix(c.q.Base+"_"+c.unit.Name, "_"), c.header))
	}
	return m, names
}

// ours says whether the file can be read by the names of its columns.
func (s *sample) ours() bool {
	cols, _, what := contractColumns(s.names)
	hasTime, measured := enough(cols)
	return what == "" && hasTime && measured
}

// skeleton is a map to fill in: every column, with a place for what it holds.
func (s *sample) skeleton() string {
	b := &strings.Builder{}
	fmt.Fprintf(b, "# Column map for %s: give each column that counts its name on the left, and its unit;\n# take out the others. Names: time, ax ay az, gx gy gz, lat, lon, alt, speed, course.\n", s.file)
	if s.bare {
		b.WriteString("header = false\n")
	}
	for i, name := range s.names {
		column := strconv.Itoa(i + 1)
		if !s.bare {
			column = strconv.Quote(raw.Clip(name, 40))
		}
		fmt.Fprintf(b, "# ? = { column = %s, unit = \"?\" } # column %d, first value %s\n", column, i+1, strconv.Quote(raw.Clip(s.texts[i], 40)))
	}
	return b.String()
}

// slip says whether a header of our own names has a fault in it, which its
// writer wants to hear of.
func (s *sample) slip() bool {
	_, _, what := contractColumns(s.names)
	return what != "" && slices.ContainsFunc(s.names, func(name string) bool {
		_, u, _ := unit.Split(name)
		return u != nil
	})
}

// mapText writes what was found as a column map.
func (s *sample) mapText() string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Column map for %s, guessed from names and values: check it.\n", s.file)
	if s.skip > 0 {
		fmt.Fprintf(&b, "skip_lines = %d\n", s.skip)
	}
	if s.bare {
		b.WriteString("header = false\n")
	}
	if s.bare && s.delim != findDelimiter([]byte(strings.Join(s.texts, string(s.delim)))) || !s.bare && s.delim != findDelimiter([]byte(strings.Join(s.names, string(s.delim)))) {
		fmt.Fprintf(&b, "delimiter = %q\n", string(s.delim))
	}
	unused := slices.Clone(s.names)
	for _, q := range unit.Quantities {
		if g, has := s.found[q.Slot]; has {
			b.WriteString(g.line(q.Base, s.bare))
			unused = slices.DeleteFunc(unused, func(name string) bool { return name == g.header })
		}
	}
	for i := range unused {
		unused[i] = strconv.Quote(raw.Clip(unused[i], 40))
	}
	if len(unused) > 0 {
		fmt.Fprintf(&b, "# Not used: %s.\n", strings.Join(unused, ", "))
	}
	return b.String()
}

// A guess is what one column seems to hold.
type guess struct {
	header string
	unit   string
	scale  float64
	why    string // what to check
	weak   bool   // the name is vague
}

func (g guess) line(base string, bare bool) string {
	column := strconv.Quote(g.header)
	if bare {
		column = g.header
	}
	s := fmt.Sprintf("%s = { column = %s, unit = %q", base, column, g.unit)
	if g.scale != 1 {
		scale := strconv.FormatFloat(g.scale, 'g', -1, 64)
		if !strings.ContainsAny(scale, ".e") {
			scale += ".0"
		}
		s += ", scale = " + scale
	}
	s += " }"
	if g.why != "" {
		s += " # " + g.why
	}
	return s + "\n"
}

// A sample is the beginning of a CSV: its header and some values.
type sample struct {
	file   string
	names  []string
	delim  byte
	skip   int
	bare   bool        // there is no header: names are the columns' numbers
	rows   [][]byte    // below the header
	texts  []string    // of the first row
	values [][]float64 // by column, numbers only
	found  map[int]guess
}

// newSample finds the header: the first line above a row with as many fields,
// at least half of them numbers or times; or failing that two such rows, one
// below the other, without a header. nil when there is neither.
func newSample(head []byte, path string) *sample {
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	lines := bytes.Split(bytes.ReplaceAll(head, []byte("\r\n"), []byte("\n")), []byte("\n"))
	if len(lines) > 1 {
		lines = lines[:len(lines)-1] // the last may be cut
	}
	if s := findHeader(lines, path, false); s != nil {
		return s
	}
	return findHeader(lines, path, true)
}

// delimiters are those that columns may stand apart by.
var delimiters = []byte{'\t', ';', ',', '|'}

// findHeader is the sample of the first line that may be a header; with bare,
// of the first that is a row.
func findHeader(lines [][]byte, path string, bare bool) *sample {
	for i, line := range lines[:min(len(lines)-1, maxPreamble)] {
		if h := hashHeader(line); h != nil {
			line = h
		} else if t := scan.Trim(line); len(t) == 0 || t[0] == '#' {
			continue
		}
		for _, delim := range delimiters {
			names := headerNames(line, delim)
			if len(names) < 2 || isRow(names) != bare {
				continue
			}
			if first := headerNames(lines[i+1], delim); len(first) != len(names) || !isRow(first) {
				continue
			}
			s := &sample{file: filepath.Base(path), names: names, delim: delim, bare: bare, found: map[int]guess{}}
			for _, above := range lines[:i] {
				if t := scan.Trim(above); len(t) > 0 && t[0] != '#' {
					s.skip = i
				}
			}
			if bare {
				for k := range names {
					names[k] = strconv.Itoa(k + 1)
				}
				s.rows = lines[i:]
			} else {
				s.rows = lines[i+1:]
			}
			s.texts = headerNames(s.rows[0], delim)
			return s
		}
	}
	return nil
}

// isRow says whether at least half of the fields are numbers or times.
func isRow(fields []string) bool {
	numbers := 0
	for _, x := range fields {
		_, _, isNumber := scan.Loose([]byte(x), ',')
		_, isTime := scan.Time([]byte(x))
		if isNumber || isTime || strings.Count(x, ":") == 2 {
			numbers++
		}
	}
	return numbers*2 >= len(fields)
}

// take reads the values of the rows that are whole.
func (s *sample) take() {
	s.values = make([][]float64, len(s.names))
	dec := byte('.')
	if s.delim != ',' {
		dec = ','
	}
	for _, row := range s.rows[:min(len(s.rows), sampleRows)] {
		f := headerNames(row, s.delim)
		if len(f) != len(s.names) {
			continue
		}
		for k, x := range f {
			if v, _, ok := scan.Loose([]byte(x), dec); ok {
				s.values[k] = append(s.values[k], v)
			}
		}
	}
}

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
	step := raw.Median(steps)
	byStep := func(unit string) string {
		g.why = "unit guessed from the steps"
		return unit
	}
	switch { // a Unix time, by its size; else whatever gives sensible steps
	case v[0] > 1e17:
		g.unit = "ns"
	case v[0] > 1e14 && step > 1.1e6: // since a phone was switched on
		g.unit = "ns"
	case v[0] > 1e14:
		g.unit = "us"
	case v[0] > 1e11:
		g.unit = "ms"
	case v[0] > 1e9 && v[0] < 1e10 && step < 10, step <= 1:
		g.unit = "s"
	case step <= 1100:
		g.unit = byStep("ms")
	case step <= 1.1e6:
		g.unit = byStep("us")
	case step > 1.1e6:
		g.unit = byStep("ns")
	default: // no two rows apart
		return false
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

// LooksLikeColumns says whether text is a header with rows of numbers below.
func LooksLikeColumns(head []byte) bool {
	s := newSample(append(bytes.Clone(head), '\n'), "")
	if s != nil && s.bare {
		return false
	}
	if s != nil && len(s.names) > 2 {
		return true
	}
	for line := range bytes.Lines(bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))) {
		if line = scan.Trim(bytes.TrimRight(line, "\r\n")); len(line) > 0 && line[0] != '#' {
			_, strangers, _ := contractColumns(headerNames(line, findDelimiter(line)))
			return len(strangers) == 0 && bytes.ContainsAny(line, ",;\t") || s != nil
		}
	}
	return false
}
