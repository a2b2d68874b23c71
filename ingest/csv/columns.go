package csv

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// A column is what one column of a file holds.
type column struct {
	name   string // its header; in a map it may be found by number instead, from 1
	number int
	key    string         // in a map
	q      *unit.Quantity // nil where the column is not read
	unit   *unit.Unit
	scale  float64 // besides the unit's

	slot   int
	factor float64 // both scales
	degMin bool
}

// settled is the column ready to be read, under the header that the file has.
func (c column) settled(name string) column {
	c.name, c.slot, c.factor, c.degMin = name, c.q.Slot, c.unit.Scale*c.scale, c.unit.Name == unit.DegMin
	if c.slot == unit.SlotTime && c.unit.Name == "utc" {
		c.slot = unit.SlotUTC
	}
	return c
}

// results are columns that evenfoot's own export adds: known, and not read.
var results = []string{"pitch_deg", "heel_deg", "qw", "qx", "qy", "qz", "ride"}

// fixColumn marks the rows of an export that hold a fix; in the others speed
// and course are interpolated, and not read. Other programs use the name for
// other things, so it counts only beside the columns of an export.
const fixColumn = "fix"

// acceptedColumns is the list for error messages.
const acceptedColumns = "time_s or time_utc; ax ay az with _mps2 or _g; gx gy gz with _radps or _dps; " +
	"lat_deg, lon_deg, alt_m; speed_mps, speed_kn or speed_kmh; course_deg; " +
	"front_n, back_n or left_n, right_n, with _kgf or _lbf too; pitch_moment_nm; mark"

// fields splits a line.
func fields(line []byte, delim byte) (texts []string) {
	for i := 0; ; i++ {
		end := scan.FieldEnd(line, i, delim)
		texts = append(texts, strings.ToValidUTF8(string(scan.Bare(line[i:end])), "\uFFFD"))
		if i = end; i >= len(line) {
			return texts
		}
	}
}

// hashHeader is the header in a line that begins with a comment's sign, as some
// programs write it; nil for a comment.
func hashHeader(line []byte) []byte {
	t := scan.Trim(line)
	if len(t) == 0 || t[0] != '#' || bytes.IndexByte(t, ':') >= 0 {
		return nil
	}
	known := 0
	for _, name := range fields(t[1:], findDelimiter(t[1:])) {
		if unit.Mean(name, "").Slot != unit.SlotIgnore {
			known++
		}
	}
	if known < 3 {
		return nil
	}
	return t[1:]
}

// findDelimiter picks the delimiter under which a header names the most of our
// columns, or failing that has the most fields.
func findDelimiter(line []byte) byte {
	best, most := byte(','), -1
	for _, d := range []byte{',', ';', '\t'} {
		if bytes.IndexByte(line, d) < 0 {
			continue
		}
		names := fields(line, d)
		score := len(names)
		for _, n := range names {
			if q, _, _ := unit.Split(n); q != nil {
				score += 1000
			}
		}
		if score > most {
			best, most = d, score
		}
	}
	return best
}

// A headerError is a header that cannot be used as it stands.
type headerError struct {
	plain string
	ours  bool // the header names columns of ours; a column map would not help
	part  bool // the acceleration lacks gravity, or is gravity alone
}

func (e *headerError) Error() string {
	if e.ours || e.part {
		return e.plain
	}
	return e.plain + " For a CSV with other names make a column map: `evenfoot inspect --write-map` on the file writes one beside it, as NAME.map.toml."
}

// NeedsMap says whether err is the refusal of a CSV for the names of its
// columns, so that a column map may read it; what is the refusal alone, without
// the advice to make one.
func NeedsMap(err error) (what string, needs bool) {
	var e *headerError
	if !errors.As(err, &e) || e.ours {
		return "", false
	}
	return e.plain, true
}

func sentenceHeader(head []string) string {
	s := strings.Join(head[:min(len(head), 40)], ", ")
	if len(s) > 400 {
		s = s[:400] + "…"
	}
	return strings.ToValidUTF8(s, "")
}

// IsPart says whether err is the refusal of an acceleration that lacks gravity, or is
// gravity alone: a map may be written, and will not help.
func IsPart(err error) bool {
	var e *headerError
	return errors.As(err, &e) && e.part
}

// ownColumns finds our columns in a header by name; first is the row below,
// where it is known. strangers are the names that are not ours, what is a fault.
func ownColumns(head, first []string) (cols []column, strangers []string, what string) {
	cols = make([]column, len(head))
	has := func(name string) bool {
		return slices.ContainsFunc(head, func(h string) bool { return strings.EqualFold(h, name) })
	}
	export := !slices.ContainsFunc(results, func(r string) bool { return !has(r) })
	for i, name := range head {
		cols[i] = column{name: name, slot: unit.SlotIgnore}
		if export && strings.EqualFold(name, fixColumn) {
			cols[i].slot, cols[i].factor = unit.SlotFix, 1
			continue
		}
		if name == "" || slices.Contains(results, strings.ToLower(name)) {
			continue
		}
		q, u, missing := unit.Split(name)
		if missing && q.Slot == unit.SlotTime && i < len(first) { // a date says what it is
			if _, dated := scan.Time([]byte(first[i])); dated {
				u, missing = unit.Find(q.Units, "utc"), false
			}
		}
		switch {
		case missing:
			return nil, nil, fmt.Sprintf("column %q does not say its unit; name it %s", name, strings.Join(q.Names(), " or "))
		case u == nil:
			strangers = append(strangers, name)
			continue
		}
		c := column{q: q, unit: u, scale: 1}.settled(name)
		if k := slices.IndexFunc(cols[:i], func(o column) bool { return o.slot == c.slot }); k >= 0 && c.slot != unit.SlotIgnore {
			return nil, nil, fmt.Sprintf("columns %q and %q hold the same thing; leave one", cols[k].name, name)
		}
		cols[i] = c
	}
	return cols, strangers, ""
}

// groups are the columns that count together only.
var groups = []struct {
	slot    int
	lacking raw.Kind
	sensor  string
	names   []string
}{
	{unit.SlotAcc, raw.LacksAxis, unit.SensorNames[unit.Acc], []string{"ax", "ay", "az"}},
	{unit.SlotGyr, raw.LacksAxis, unit.SensorNames[unit.Gyr], []string{"gx", "gy", "gz"}},
	{unit.SlotFeet, raw.OneFoot, "", []string{"front_n", "back_n"}},
	{unit.SlotFeet + 2, raw.OneFoot, "", []string{"left_n", "right_n"}},
	{unit.SlotLat, raw.OneCoordinate, "", []string{"lat", "lon"}},
}

// incomplete says which groups lack a column and takes the others out of use.
func incomplete(cols []column) (warnings []raw.Warning) {
	byPlace := false // both feet are there as front and back
	for _, g := range groups {
		var lack []string
		for k, name := range g.names {
			if !slices.ContainsFunc(cols, func(c column) bool { return c.slot == g.slot+k }) {
				lack = append(lack, name)
			}
		}
		bySide := g.slot == unit.SlotFeet+2
		switch {
		case len(lack) == len(g.names):
			continue
		case len(lack) == 0 && bySide && byPlace:
			warnings = append(warnings, raw.Warning{Kind: raw.FeetTwice})
		case len(lack) == 0:
			byPlace = byPlace || g.slot == unit.SlotFeet
			continue
		default:
			warnings = append(warnings, raw.Warning{Kind: g.lacking, Sensor: g.sensor, Text: lack})
			if bySide && !byPlace { // an insole's file has one side alone; the other's brings it
				continue
			}
		}
		for i := range cols {
			if cols[i].slot >= g.slot && cols[i].slot < g.slot+len(g.names) {
				cols[i].slot = unit.SlotIgnore
			}
		}
	}
	return warnings
}

// enough says whether there is a time, and whether something is measured.
func enough(cols []column) (hasTime, measured bool) {
	for _, c := range cols {
		switch {
		case c.slot == unit.SlotTime || c.slot == unit.SlotUTC:
			hasTime = true
		case c.slot >= unit.SlotAcc && c.slot <= unit.SlotLon || c.slot == unit.SlotSpeed || c.slot >= unit.SlotFeet && c.slot <= unit.SlotMoment:
			measured = true
		}
	}
	return hasTime, measured
}

// readable says whether a header has all that a log needs under our names.
func readable(head, first []string) bool {
	cols, _, what := ownColumns(head, first)
	hasTime, measured := enough(cols)
	return what == "" && hasTime && measured
}
