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

// Bounds of what is looked at for a guess.
const (
	// maxPreamble is how many lines may stand above a header.
	maxPreamble = 60
	// sampleRows are enough to tell units and steps.
	sampleRows  = 200
	sampleBytes = 32 << 10
)

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

// delimiters are those that columns may stand apart by.
var delimiters = []byte{'\t', ';', ',', '|'}

// newSample finds the header: the first line above a row with as many fields,
// at least half of them numbers or times; or failing that two such rows, one
// below the other, without a header. nil when there is neither.
func newSample(head []byte, path string) *sample {
	lines := bytes.Split(bytes.ReplaceAll(head, []byte("\r\n"), []byte("\n")), []byte("\n"))
	if len(lines) > 1 {
		lines = lines[:len(lines)-1] // the last may be cut
	}
	for _, bare := range []bool{false, true} {
		for i, line := range lines[:min(len(lines)-1, maxPreamble)] {
			if h := hashHeader(line); h != nil {
				line = h
			} else if t := scan.Trim(line); len(t) == 0 || t[0] == '#' {
				continue
			}
			for _, delim := range delimiters {
				names := fields(line, delim)
				if len(names) < 2 || isRow(names) != bare {
					continue
				}
				if first := fields(lines[i+1], delim); len(first) == len(names) && isRow(first) {
					s := &sample{file: filepath.Base(path), names: names, delim: delim, bare: bare, found: map[int]guess{}}
					s.place(lines, i)
					return s
				}
			}
		}
	}
	return nil
}

// place tells what of the lines stands above the header (or, of a file
// without one, the first row) in line i, and what below.
func (s *sample) place(lines [][]byte, i int) {
	for _, above := range lines[:i] {
		if t := scan.Trim(above); len(t) > 0 && t[0] != '#' {
			s.skip = i
		}
	}
	s.rows = lines[i+1:]
	if s.bare {
		s.rows = lines[i:]
	}
	s.texts = fields(s.rows[0], s.delim)
	s.values = make([][]float64, len(s.names))
	for k := range s.names {
		if s.bare {
			s.names[k] = strconv.Itoa(k + 1)
		}
	}
}

// isRow says whether at least half of the fields are numbers or times.
func isRow(fields []string) bool {
	numbers := 0
	for _, x := range fields {
		if _, _, isNumber := scan.Loose([]byte(x), ','); isNumber || isTime(x) {
			numbers++
		}
	}
	return numbers*2 >= len(fields)
}

// isTime says whether a field is a date with a time, or a time of day.
func isTime(x string) bool {
	_, ok := scan.Time([]byte(x))
	return ok || strings.Count(x, ":") == 2
}

// take reads the values of the rows that are whole.
func (s *sample) take() {
	dec := byte('.')
	if s.delim != ',' {
		dec = ','
	}
	for _, row := range s.rows[:min(len(s.rows), sampleRows)] {
		texts := fields(row, s.delim)
		if len(texts) != len(s.names) {
			continue
		}
		for k, x := range texts {
			if v, _, ok := scan.Loose([]byte(x), dec); ok {
				s.values[k] = append(s.values[k], v)
			}
		}
	}
}

// LooksLikeColumns says whether text is a header with rows of numbers below.
func LooksLikeColumns(head []byte) bool {
	s := newSample(append(bytes.Clone(head), '\n'), "")
	if s != nil && (s.bare || len(s.names) > 2) {
		return !s.bare
	}
	for line := range bytes.Lines(head) {
		if line = scan.Trim(bytes.TrimRight(line, "\r\n")); len(line) > 0 && line[0] != '#' {
			_, strangers, _ := ownColumns(fields(line, findDelimiter(line)), nil)
			return len(strangers) == 0 && bytes.ContainsAny(line, ",;\t") || s != nil
		}
	}
	return false
}

// Propose guesses a column map for the CSV at path that starts with head: the
// TOML that [ParseMap] reads. ok is false when the file needs none, or when a
// time and something measured cannot be made out: the text is then a skeleton
// to fill in.
func Propose(head []byte, path string) (text string, ok bool) {
	s := newSample(head, path)
	if s == nil || readable(s.names, s.texts) {
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
// tells what was taken for what; part, where there is no map, that its acceleration
// is without gravity, or gravity alone.
func recognise(head []byte, path string) (m *Map, names []string, part bool) {
	s := newSample(head, path)
	if s == nil || s.bare || readable(s.names, s.texts) || s.slip() {
		return nil, nil, false
	}
	enough := s.guess()
	acc, has := s.found[unit.SlotAcc]
	part = has && acc.why == noGravity || !has && slices.ContainsFunc(s.names, func(name string) bool {
		m := unit.Mean(name, s.file)
		return m.Part && m.Slot < unit.SlotGyr
	})
	_, placed := s.found[unit.SlotLat]
	speed := s.found[unit.SlotSpeed]
	if !enough || acc.why != "" || // no gravity, or raw counts
		speed.why != "" && !placed || // positions would tell the unit
		s.found[unit.SlotTime].weak {
		return nil, nil, part
	}
	m, err := ParseMap(path, []byte(s.mapText()))
	if err != nil {
		return nil, nil, false
	}
	m.gyrGuessed = s.found[unit.SlotGyr].why != ""
	for _, c := range m.cols {
		if c.slot >= unit.SlotGyr && c.slot < unit.SlotLat && m.gyrGuessed {
			names = append(names, c.q.Base+" = "+c.name) // the values tell
			continue
		}
		names = append(names, fmt.Sprintf("%s = %s", strings.TrimSuffix(c.q.Base+"_"+c.unit.Name, "_"), c.name))
	}
	return m, names, false
}

// slip says whether a header of our own names has a fault in it, which its
// writer wants to hear of.
func (s *sample) slip() bool {
	_, _, what := ownColumns(s.names, s.texts)
	return what != "" && slices.ContainsFunc(s.names, func(name string) bool {
		_, u, _ := unit.Split(name)
		return u != nil
	})
}

// skeleton is a map to fill in: every column, with a place for what it holds.
func (s *sample) skeleton() string {
	b := &strings.Builder{}
	fmt.Fprintf(b, "# Column map for %s: give each column that counts its name on the left, and its unit;\n# take out the others. Names: %s.\n", s.file, strings.Join(unit.Names(), ", "))
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

// mapText writes what was found as a column map.
func (s *sample) mapText() string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Column map for %s, guessed from names and values: check it.\n", s.file)
	if s.skip > 0 {
		fmt.Fprintf(&b, "skip_lines = %d\n", s.skip)
	}
	top := s.names
	if s.bare {
		b.WriteString("header = false\n")
		top = s.texts
	}
	if s.delim != findDelimiter([]byte(strings.Join(top, string(s.delim)))) {
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

// norms are the sizes of the vectors in three columns.
func norms(cols [][]float64) []float64 {
	var n []float64
	for i := range min(len(cols[0]), len(cols[1]), len(cols[2])) {
		n = append(n, math.Hypot(math.Hypot(cols[0][i], cols[1][i]), cols[2][i]))
	}
	return n
}

// of are the values under a guess's header; none without one.
func (s *sample) of(g guess) []float64 {
	if i := slices.Index(s.names, g.header); i >= 0 {
		return s.values[i]
	}
	return nil
}

// largest is the size of the largest value under a guess's header; 0 without one.
func (s *sample) largest(g guess) float64 {
	most := 0.0
	for _, v := range s.of(g) {
		most = max(most, math.Abs(v))
	}
	return most
}
