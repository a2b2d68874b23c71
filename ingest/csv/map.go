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
	cols      []mapColumn
}

// A mapColumn says where one of our columns comes from.
type mapColumn struct {
	key    string // as the map has it
	q      *unit.Quantity
	unit   *unit.Unit
	header string // their name, or
	number int    // their number, from 1
	scale  float64
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

var mapOptions = []string{"delimiter", "decimal", "skip_lines", "header", "start", "zone"}

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
	taken := map[int]string{}
	for _, k := range slices.Sorted(maps.Keys(doc)) {
		at := fmt.Sprintf("%s, line %d", path, keyLine(text, k))
		if slices.Contains(mapOptions, k) {
			if err := m.option(k, doc[k]); err != nil {
				return nil, fmt.Errorf("%s: %s %w", at, k, err)
			}
			continue
		}
		c, err := mapColumnOf(k, doc[k])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", at, err)
		}
		slot := columnOf(c.q, "", c.unit).slot
		if was, twice := taken[slot]; twice && slot != unit.SlotIgnore {
			return nil, fmt.Errorf("%s: %s and %s are the same column; leave one", at, was, k)
		}
		taken[slot] = k
		m.cols = append(m.cols, c)
	}
	if len(m.cols) == 0 {
		return nil, fmt.Errorf("%s: names no column; write for example  ax_mps2 = \"their header\"", path)
	}
	if m.noHeader {
		for _, c := range m.cols {
			if c.number == 0 {
				return nil, fmt.Errorf("%s, line %d: with header = false every column is given by its number, such as %s = { column = 3 }",
					path, keyLine(text, c.key), c.key)
			}
		}
	}
	if m.delimiter == ',' && m.decimal == ',' {
		return nil, fmt.Errorf("%s, line %d: the decimal mark and the delimiter are both a comma", path, keyLine(text, "decimal"))
	}
	return m, nil
}

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

// mapKeys are the names a map may use for columns.
func mapKeys() []string {
	var keys []string
	for _, q := range unit.Quantities {
		keys = append(keys, q.Base)
		keys = append(keys, q.Names()...)
	}
	return keys
}

func mapColumnOf(key string, v any) (mapColumn, error) {
	q, u, _ := unit.Split(key)
	if q == nil || (u == nil && key != q.Base) || key != strings.ToLower(key) {
		return mapColumn{}, unknownKey(key, append(mapKeys(), mapOptions...))
	}
	c := mapColumn{key: key, q: q, unit: u, scale: 1}
	switch v := v.(type) {
	case string:
		c.header = v
	case int64:
		c.number = int(v)
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			if err := c.set(k, v[k]); err != nil {
				return c, err
			}
		}
	default:
		return c, fmt.Errorf("%s is the other file's header in quotes, or a table { column = ..., unit = ..., scale = ... }", key)
	}
	if c.header == "" && c.number == 0 {
		return c, fmt.Errorf("%s does not say which column of the file; write column = \"their header\"", key)
	}
	if c.number < 0 || c.number > 10000 {
		return c, fmt.Errorf("%s: columns are counted from 1", key)
	}
	if c.unit == nil {
		if len(q.Units) > 1 && q.Slot != unit.SlotLat && q.Slot != unit.SlotLon {
			return c, fmt.Errorf("%s does not say its unit; name it %s, or add unit = \"%s\"",
				key, strings.Join(q.Names(), " or "), q.Units[0].Name)
		}
		c.unit = &q.Units[0]
	}
	if c.scale != 1 && q.Slot == unit.SlotTime {
		return c, fmt.Errorf("%s takes a unit (s, ms, us, ns or utc), no scale", key)
	}
	return c, nil
}

// set takes one entry of a column's table.
func (c *mapColumn) set(k string, v any) error {
	switch k {
	case "column":
		switch v := v.(type) {
		case string:
			c.header = v
		case int64:
			c.number = int(v)
		default:
			return fmt.Errorf("%s: column is a header in quotes or a number", c.key)
		}
	case "unit":
		s, _ := v.(string)
		u := unit.Find(c.q.Units, s)
		if u == nil {
			var names []string
			for _, u := range c.q.Units {
				names = append(names, u.Name)
			}
			return fmt.Errorf("%s: unit is one of %s, not %q", c.key, strings.Join(names, ", "), s)
		}
		if c.unit != nil && c.unit.Name != u.Name {
			return fmt.Errorf("%s: the name says %s and unit says %s", c.key, c.unit.Name, s)
		}
		c.unit = u
	case "scale":
		switch v := v.(type) {
		case float64:
			c.scale = v
		case int64:
			c.scale = float64(v)
		default:
			return fmt.Errorf("%s: scale is a number", c.key)
		}
		if !(c.scale != 0 && c.scale-c.scale == 0) {
			return fmt.Errorf("%s: scale is a finite number other than 0", c.key)
		}
	default:
		return fmt.Errorf("%s: %w", c.key, unknownKey(k, []string{"column", "unit", "scale"}))
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
	for _, mc := range m.cols {
		g := mc.q.Group()
		i, err := mc.find(head)
		if err != nil {
			if lacks[g] == nil {
				lacks[g] = fmt.Errorf("%w, which %s wants for %s", err, m.file, mc.key)
			}
			continue
		}
		if cols[i].slot != unit.SlotIgnore {
			return nil, nil, fmt.Errorf("%s takes column %q twice", m.file, head[i])
		}
		there[g] = true
		c := columnOf(mc.q, head[i], mc.unit)
		c.scale *= mc.scale
		cols[i] = c
	}
	_, measured := enough(cols)
	for _, mc := range m.cols {
		g := mc.q.Group()
		if lacks[g] == nil {
			continue
		}
		if there[g] || g == "time" || !measured {
			return nil, nil, lacks[g]
		}
		if !slices.Contains(absent, g) {
			absent = append(absent, g)
		}
	}
	return cols, absent, nil
}

// find is the place of a mapped column in a header.
func (mc *mapColumn) find(head []string) (int, error) {
	if mc.number > 0 {
		if mc.number > len(head) {
			return 0, fmt.Errorf("there is no column %d among the %d", mc.number, len(head))
		}
		return mc.number - 1, nil
	}
	i := slices.Index(head, mc.header)
	if i < 0 {
		i = slices.IndexFunc(head, func(h string) bool { return strings.EqualFold(h, strings.TrimSpace(mc.header)) })
	}
	if i >= 0 {
		return i, nil
	}
	if n := nearest(mc.header, head); n != "" {
		return 0, fmt.Errorf("there is no column %q (did you mean %q?)", mc.header, n)
	}
	return 0, fmt.Errorf("there is no column %q", mc.header)
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

// LoadBeside reads the map that [MapBeside] finds; nil when there is none.
func LoadBeside(path string) (*Map, error) {
	name := Beside(path)
	if name == "" {
		return nil, nil
	}
	return ReadMap(name)
}

// mapExt ends the name of a column map.
const mapExt = ".map.toml"

// MapName is the name under which a log's column map is looked for first.
func MapName(path string) string { return path + mapExt }

// MapBeside is the name of the column map beside a log: NAME.map.toml, where
// NAME is the log's name with or without its extensions; "" when there is none.
func Beside(path string) string {
	bare := strings.TrimSuffix(path, ".gz")
	names := []string{path, bare}
	if i := strings.LastIndexByte(bare, '.'); i > strings.LastIndexAny(bare, `/\`)+1 {
		names = append(names, bare[:i])
	}
	for _, n := range names {
		if _, err := os.Stat(n + mapExt); !errors.Is(err, os.ErrNotExist) {
			return n + mapExt
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
