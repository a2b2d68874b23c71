package csv

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"evenfoot/ingest/near"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// A Map tells which column of a foreign CSV holds what. [ReadMap] reads one.
type Map struct {
	file      string
	delimiter byte // 0: found out
	decimal   byte // 0: point, and comma where the delimiter is not one
	skip      int  // lines above the header
	noHeader  bool // columns are given by number
	start     time.Time
	zone      *time.Location // of dates that tell none; nil when it is not known
	cols      []column

	gyrGuessed bool // the gyroscope's unit is a guess
}

// maxMapBytes is far beyond any column map.
const maxMapBytes = 1 << 20

// ReadMap reads a column map, a TOML file. A key is one of the log's columns,
// with its unit (ax_mps2) or without (ax); its value is the other file's
// header, or a table with column (header, or number from 1), unit and scale:
//
//	time = { column = "timestamp", unit = "ns" }   # s | ms | us | ns | utc
//	ax_mps2 = "accel_y"
//	ay = { column = "accel_x", unit = "g", scale = -1 }
//	lat_deg = { column = "latE7", scale = 1e-7 }
//
// Options, all of them with a default: delimiter ("," | ";" | "tab"), decimal
// ("." | ","), skip_lines (above the header), header (false: columns by number
// only), start (UTC of time zero, where the times are relative), zone ("+02:00"
// or "Europe/Madrid", of dates that tell none). A date and a time of day in two
// columns are date and time. An unknown key is an error that names its line and
// the nearest key.
func ReadMap(path string) (*Map, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Size() > maxMapBytes {
		return nil, fmt.Errorf("%s: %d bytes is no column map", path, info.Size())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return ParseMap(path, text)
}

// ParseMap reads the text of a column map.
func ParseMap(path string, text []byte) (*Map, error) {
	var doc map[string]any
	if err := toml.Unmarshal(text, &doc); err != nil {
		var de *toml.DecodeError
		if errors.As(err, &de) {
			line, _ := de.Position()
			return nil, fmt.Errorf("%s, line %d: %s", path, line, strings.TrimPrefix(de.Error(), "toml: "))
		}
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	m := &Map{file: path}
	at := func(key string, err error) (*Map, error) {
		return nil, fmt.Errorf("%s, line %d: %w", path, keyLine(text, key), err)
	}
	for _, k := range slices.Sorted(maps.Keys(doc)) {
		if slices.Contains(mapOptions, k) {
			if err := m.option(k, doc[k]); err != nil {
				return at(k, fmt.Errorf("%s %w", k, err))
			}
			continue
		}
		c, err := mapColumn(k, doc[k])
		if err != nil {
			return at(k, err)
		}
		c = c.settled(c.name)
		same := func(o column) bool { return o.slot == c.slot && c.slot != unit.SlotIgnore }
		if i := slices.IndexFunc(m.cols, same); i >= 0 {
			return at(k, fmt.Errorf("%s and %s are the same column; leave one", m.cols[i].key, k))
		}
		m.cols = append(m.cols, c)
	}
	named := slices.IndexFunc(m.cols, func(c column) bool { return c.number == 0 })
	switch {
	case len(m.cols) == 0:
		return nil, fmt.Errorf("%s: names no column; write for example  ax_mps2 = \"their header\"", path)
	case m.noHeader && named >= 0:
		key := m.cols[named].key
		return at(key, fmt.Errorf("with header = false every column is given by its number, such as %s = { column = 3 }", key))
	case m.delimiter == ',' && m.decimal == ',':
		return at("decimal", errors.New("the decimal mark and the delimiter are both a comma"))
	}
	return m, nil
}

var mapOptions = []string{"delimiter", "decimal", "skip_lines", "header", "start", "zone"}

var delimiterNames = map[string]byte{",": ',', ";": ';', "\t": '\t', "|": '|', " ": ' ', "tab": '\t', "comma": ',', "semicolon": ';', "space": ' '}

func (m *Map) option(key string, v any) error {
	s, isText := v.(string)
	switch key {
	case "delimiter":
		if m.delimiter = delimiterNames[s]; m.delimiter == 0 {
			return errors.New(`is one of ",", ";", "tab", "|", "space"`)
		}
	case "decimal":
		if s != "." && s != "," {
			return errors.New(`is "." or ","`)
		}
		m.decimal = s[0]
	case "skip_lines":
		n, ok := v.(int64)
		if !ok || n < 0 || n > 1e6 {
			return errors.New("is a whole number of lines, 0 or more")
		}
		m.skip = int(n)
	case "header":
		has, ok := v.(bool)
		if !ok {
			return errors.New("is true or false")
		}
		m.noHeader = !has
	case "zone":
		t, err := time.Parse("-07:00", s)
		if m.zone = t.Location(); err != nil || !isText {
			if m.zone, err = time.LoadLocation(s); err != nil || s == "" {
				return errors.New(`is an offset from UTC such as "+02:00", or a name such as "Europe/Madrid"`)
			}
		}
	case "start":
		if t, ok := v.(time.Time); ok {
			m.start = t.UTC()
			break
		}
		ns, ok := scan.Time([]byte(s))
		if !isText || !ok {
			return errors.New(`is a time such as "2026-09-20T10:00:00Z"`)
		}
		m.start = time.Unix(0, ns).UTC()
	}
	return nil
}

// mapColumn reads one column of a map.
func mapColumn(key string, v any) (c column, err error) {
	q, u, _ := unit.Split(key)
	if q == nil || (u == nil && key != q.Base) || key != strings.ToLower(key) {
		keys := slices.Clone(mapOptions)
		for _, q := range unit.Quantities {
			keys = append(append(keys, q.Base), q.Names()...)
		}
		return c, unknownKey(key, keys)
	}
	c = column{key: key, q: q, unit: u, scale: 1}
	table, isTable := v.(map[string]any)
	if !isTable {
		table = map[string]any{"column": v}
	}
	for _, k := range slices.Sorted(maps.Keys(table)) {
		if err := c.set(k, table[k]); err != nil && !isTable {
			return c, fmt.Errorf("%s is the other file's header in quotes, or a table { column = ..., unit = ..., scale = ... }", key)
		} else if err != nil {
			return c, fmt.Errorf("%s: %w", key, err)
		}
	}
	switch {
	case c.name == "" && c.number == 0:
		return c, fmt.Errorf("%s does not say which column of the file; write column = \"their header\"", key)
	case c.number < 0 || c.number > 10000:
		return c, fmt.Errorf("%s: columns are counted from 1", key)
	case c.unit == nil && len(q.Units) > 1 && q.Slot != unit.SlotLat && q.Slot != unit.SlotLon:
		return c, fmt.Errorf("%s does not say its unit; name it %s, or add unit = \"%s\"",
			key, strings.Join(q.Names(), " or "), q.Units[0].Name)
	case c.unit == nil:
		c.unit = &q.Units[0]
	}
	if c.scale != 1 && q.Slot == unit.SlotTime {
		return c, fmt.Errorf("%s takes a unit (s, ms, us, ns or utc), no scale", key)
	}
	return c, nil
}

// set takes one entry of a column's table.
func (c *column) set(k string, v any) error {
	text, isText := v.(string)
	whole, isWhole := v.(int64)
	switch k {
	case "column":
		if c.name, c.number = text, int(whole); !isText && !isWhole {
			return errors.New("column is a header in quotes or a number")
		}
	case "unit":
		u := unit.Find(c.q.Units, text)
		if u == nil {
			var names []string
			for _, u := range c.q.Units {
				names = append(names, u.Name)
			}
			return fmt.Errorf("unit is one of %s, not %q", strings.Join(names, ", "), text)
		}
		if c.unit != nil && c.unit.Name != u.Name {
			return fmt.Errorf("the name says %s and unit says %s", c.unit.Name, text)
		}
		c.unit = u
	case "scale":
		var isNumber bool
		if c.scale, isNumber = v.(float64); isWhole {
			c.scale = float64(whole)
		} else if !isNumber {
			return errors.New("scale is a number")
		}
		if !(c.scale != 0 && c.scale-c.scale == 0) {
			return errors.New("scale is a finite number other than 0")
		}
	default:
		return unknownKey(k, []string{"column", "unit", "scale"})
	}
	return nil
}

// columns lays the map over a header. A sensor of which the file has no column
// at all is passed over and named in absent: one map may serve several files of
// one sensor each. One that the file has in part is an error.
func (m *Map) columns(head []string) (cols []column, absent []string, err error) {
	cols = make([]column, len(head))
	for i := range cols {
		cols[i] = column{name: head[i], slot: unit.SlotIgnore}
	}
	there := map[string]bool{}
	lacks := map[string]error{}
	for _, c := range m.cols {
		g := c.q.Group()
		i, err := c.find(head)
		switch {
		case err == nil && cols[i].slot != unit.SlotIgnore:
			return nil, nil, fmt.Errorf("%s takes column %q twice", m.file, head[i])
		case err == nil:
			there[g] = true
			cols[i] = c.settled(head[i])
		case lacks[g] == nil:
			lacks[g] = fmt.Errorf("%w, which %s wants for %s", err, m.file, c.key)
		}
	}
	_, measured := enough(cols)
	for _, c := range m.cols {
		g := c.q.Group()
		switch {
		case lacks[g] == nil, slices.Contains(absent, g):
		case there[g] || g == "time" || !measured:
			return nil, nil, lacks[g]
		default:
			absent = append(absent, g)
		}
	}
	return cols, absent, nil
}

// find is the place of a map's column in a header.
func (c *column) find(head []string) (int, error) {
	if c.number > len(head) {
		return 0, fmt.Errorf("there is no column %d among the %d", c.number, len(head))
	}
	if c.number > 0 {
		return c.number - 1, nil
	}
	i := slices.Index(head, c.name)
	if i < 0 {
		i = slices.IndexFunc(head, func(h string) bool { return strings.EqualFold(h, strings.TrimSpace(c.name)) })
	}
	if n := nearest(c.name, head); i < 0 && n != "" {
		return 0, fmt.Errorf("there is no column %q (did you mean %q?)", c.name, n)
	}
	if i < 0 {
		return 0, fmt.Errorf("there is no column %q", c.name)
	}
	return i, nil
}

// keyLine is the line on which a key first stands, for messages; 1 when it
// cannot be found.
func keyLine(text []byte, key string) int {
	at := regexp.MustCompile(`(?m)^[ \t]*\[*[ \t]*["']?` + regexp.QuoteMeta(key) + `["']?[ \t]*[=.\]]`).FindIndex(text)
	if at == nil {
		return 1
	}
	return 1 + bytes.Count(text[:at[0]], []byte("\n"))
}

// LoadBeside reads the map that [Beside] finds; nil when there is none.
func LoadBeside(path string) (*Map, error) {
	name := Beside(path)
	if name == "" {
		return nil, nil
	}
	return ReadMap(name)
}

// MapName is the name under which a log's column map is looked for first.
func MapName(path string) string { return path + ".map.toml" }

// Beside is the name of the column map beside a log: NAME.map.toml, where
// NAME is the log's name with or without its extensions; "" when there is none.
func Beside(path string) string {
	bare := strings.TrimSuffix(path, ".gz")
	names := []string{path, bare}
	if i := strings.LastIndexByte(bare, '.'); i > strings.LastIndexAny(bare, `/\`)+1 {
		names = append(names, bare[:i])
	}
	for _, n := range names {
		if _, err := os.Stat(MapName(n)); !errors.Is(err, os.ErrNotExist) {
			return MapName(n)
		}
	}
	return ""
}

// unknownKey is the error for a key that is none of those known.
func unknownKey(key string, known []string) error {
	if n := nearest(key, known); n != "" {
		return fmt.Errorf("unknown key %q; did you mean %s?", key, n)
	}
	return fmt.Errorf("unknown key %q", key)
}

// nearest is the known word closest to s, or "" when none is close.
func nearest(s string, known []string) string {
	best, at := 1+len(s)/3+1, ""
	for _, k := range known {
		if d := near.Edits(s, k); d < best {
			best, at = d, k
		}
	}
	return at
}
