package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Slots of a row: where a column's value goes.
const (
	slotAcc    = 0
	slotGyr    = 3
	slotMag    = 6
	slotLat    = 9
	slotLon    = 10
	slotAlt    = 11
	slotSpeed  = 12
	slotCourse = 13
	slotFix    = 14 // of an export: 1 where the row holds a fix
	slotCount  = 15 // numbers end here
	slotTime   = 15
	slotUTC    = 16
	slotIgnore = -1
)

// gravity is the standard acceleration of free fall, m/s² (ISO 80000-3).
const gravity = 9.80665

// A unit is one way to write a quantity: multiply by scale to get SI. For
// times, digits is the unit's power of ten below a second.
type unit struct {
	name   string
	scale  float64
	digits int
}

// A quantity is what one of our columns holds.
type quantity struct {
	base  string
	slot  int
	units []unit // the first is the SI unit
}

var (
	timeUnits  = []unit{{"s", 1, 0}, {"ms", 1e-3, 3}, {"us", 1e-6, 6}, {"ns", 1e-9, 9}, {"utc", 1, -1}}
	accUnits   = []unit{{"mps2", 1, 0}, {"g", gravity, 0}, {"mg", gravity / 1000, 0}}
	gyrUnits   = []unit{{"radps", 1, 0}, {"dps", math.Pi / 180, 0}, {"mdps", math.Pi / 180e3, 0}}
	magUnits   = []unit{{"ut", 1, 0}, {"gauss", 100, 0}, {"mgauss", 0.1, 0}}
	speedUnits = []unit{{"mps", 1, 0}, {"kn", 1852.0 / 3600, 0}, {"kmh", 1 / 3.6, 0}, {"mph", 0.44704, 0}}
	degUnits   = []unit{{"deg", 1, 0}}
)

var quantities = []quantity{
	{"time", slotTime, timeUnits},
	{"ax", slotAcc, accUnits}, {"ay", slotAcc + 1, accUnits}, {"az", slotAcc + 2, accUnits},
	{"gx", slotGyr, gyrUnits}, {"gy", slotGyr + 1, gyrUnits}, {"gz", slotGyr + 2, gyrUnits},
	{"mx", slotMag, magUnits}, {"my", slotMag + 1, magUnits}, {"mz", slotMag + 2, magUnits},
	{"lat", slotLat, degUnits}, {"lon", slotLon, degUnits},
	{"alt", slotAlt, []unit{{"m", 1, 0}, {"ft", 0.3048, 0}}},
	{"speed", slotSpeed, speedUnits},
	{"course", slotCourse, []unit{{"deg", 1, 0}, {"rad", 180 / math.Pi, 0}}},
}

// results are columns that evenfoot's own export adds: known, and not read.
var results = []string{"pitch_deg", "heel_deg", "qw", "qx", "qy", "qz", "ride"}

// fixColumn marks the rows of an export that hold a fix; in the others speed
// and course are interpolated, and not read. Other programs use the name for
// other things, so it counts only beside the columns of an export.
const fixColumn = "fix"

func isExport(head []string) bool {
	return !slices.ContainsFunc(append([]string{fixColumn}, results...), func(r string) bool {
		return !slices.ContainsFunc(head, func(h string) bool { return strings.EqualFold(h, r) })
	})
}

// acceptedColumns is the list for error messages.
const acceptedColumns = "time_s or time_utc; ax ay az with _mps2 or _g; gx gy gz with _radps or _dps; " +
	"lat_deg, lon_deg, alt_m; speed_mps, speed_kn or speed_kmh; course_deg"

// A column is one column of the file at hand.
type column struct {
	name   string // as the header has it
	unit   string // the file's own unit
	slot   int
	scale  float64
	digits int // of a time
}

// splitQuantity tells "ax_mps2" apart. missing is true when the name is one of
// ours without a unit, or with one that is not known.
func splitQuantity(name string) (q *quantity, u *unit, missing bool) {
	name = strings.ToLower(name)
	base, suffix, _ := strings.Cut(name, "_")
	for i := range quantities {
		if quantities[i].base != base {
			continue
		}
		for j := range quantities[i].units {
			if quantities[i].units[j].name == suffix {
				return &quantities[i], &quantities[i].units[j], false
			}
		}
		// "time_of_day" is a stranger, "ax" and "ax_foo" lack a unit.
		return &quantities[i], nil, !strings.Contains(suffix, "_")
	}
	return nil, nil, false
}

func (q *quantity) names() []string {
	var s []string
	for _, u := range q.units {
		s = append(s, q.base+"_"+u.name)
	}
	return s
}

func (q *quantity) column(name string, u *unit) column {
	c := column{name: name, unit: u.name, slot: q.slot, scale: u.scale, digits: u.digits}
	if q.slot == slotTime && u.name == "utc" {
		c.slot = slotUTC
	}
	return c
}

// headerNames splits a header line.
func headerNames(line []byte, delim byte) []string {
	var names []string
	for i := 0; ; {
		end := fieldEnd(line, i, delim)
		names = append(names, strings.ToValidUTF8(string(bare(line[i:end])), "\uFFFD"))
		if end >= len(line) {
			return names
		}
		i = end + 1
	}
}

// findDelimiter picks the delimiter under which a header names the most of our
// columns, or failing that has the most fields.
func findDelimiter(line []byte) byte {
	best, most := byte(','), -1
	for _, d := range []byte{',', ';', '\t'} {
		if bytes.IndexByte(line, d) < 0 {
			continue
		}
		names := headerNames(line, d)
		score := len(names)
		for _, n := range names {
			if q, _, _ := splitQuantity(n); q != nil {
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
	file string
	line int
	what string
	head []string
	ours bool // the header names columns of ours; a column map would not help
}

func (e *headerError) Error() string {
	s := e.plain()
	if !e.ours {
		s += " For a CSV with other names make a column map: `evenfoot inspect --write-map` on the file writes one beside it, as NAME.map.toml."
	}
	return s
}

func (e *headerError) plain() string {
	return fmt.Sprintf("%s, line %d: %s. The header is: %s. Accepted columns: %s.",
		e.file, e.line, e.what, sentenceHeader(e.head), acceptedColumns)
}

// NeedsMap says whether err is [Open]'s refusal of a CSV for the names of its
// columns, so that a column map may read it; what is the refusal alone, without
// the advice to make one.
func NeedsMap(err error) (what string, needs bool) {
	var e *headerError
	if !errors.As(err, &e) || e.ours {
		return "", false
	}
	return e.plain(), true
}

func sentenceHeader(head []string) string {
	s := strings.Join(head[:min(len(head), 40)], ", ")
	if len(s) > 400 {
		s = s[:400] + "…"
	}
	return strings.ToValidUTF8(s, "")
}

// contractColumns finds our columns in a header by name. strangers are the
// names that are not ours.
func contractColumns(head []string) (cols []column, strangers []string, what string) {
	cols = make([]column, len(head))
	seen := map[int]string{}
	export := isExport(head)
	for i, name := range head {
		cols[i] = column{name: name, slot: slotIgnore}
		if export && strings.EqualFold(name, fixColumn) {
			cols[i].slot, cols[i].scale = slotFix, 1
			continue
		}
		if name == "" || slices.Contains(results, strings.ToLower(name)) {
			continue
		}
		q, u, missing := splitQuantity(name)
		switch {
		case missing:
			return nil, nil, fmt.Sprintf("column %q does not say its unit; name it %s",
				name, strings.Join(q.names(), " or "))
		case u == nil:
			strangers = append(strangers, name)
			continue
		}
		c := q.column(name, u)
		if was, twice := seen[c.slot]; twice {
			return nil, nil, fmt.Sprintf("columns %q and %q hold the same thing; leave one", was, name)
		}
		seen[c.slot] = name
		cols[i] = c
	}
	return cols, strangers, ""
}

// incomplete says which sensors lack an axis and takes their columns out of
// use.
func incomplete(cols []column) (warnings []string) {
	has := map[int]bool{}
	for _, c := range cols {
		has[c.slot] = true
	}
	for _, s := range []struct {
		slot int
		name string
		axes [3]string
	}{
		{slotAcc, "accelerometer", [3]string{"ax", "ay", "az"}},
		{slotGyr, "gyroscope", [3]string{"gx", "gy", "gz"}},
		{slotMag, "magnetometer", [3]string{"mx", "my", "mz"}},
	} {
		var there, lack []string
		for k := range 3 {
			if has[s.slot+k] {
				there = append(there, s.axes[k])
			} else {
				lack = append(lack, s.axes[k])
			}
		}
		if len(there) > 0 && len(lack) > 0 {
			verb := "are"
			if len(there) == 1 {
				verb = "is"
			}
			warnings = append(warnings, fmt.Sprintf("The %s lacks %s; all three axes are needed, so %s %s not read.",
				s.name, sentenceList(lack, 3), sentenceList(there, 3), verb))
			for i := range cols {
				if cols[i].slot >= s.slot && cols[i].slot < s.slot+3 {
					cols[i].slot = slotIgnore
				}
			}
		}
	}
	if has[slotLat] != has[slotLon] {
		warnings = append(warnings, "There is only one of latitude and longitude; positions are not read.")
		for i := range cols {
			if cols[i].slot == slotLat || cols[i].slot == slotLon {
				cols[i].slot = slotIgnore
			}
		}
	}
	return warnings
}

// enough says whether there is a time, and whether something is measured.
func enough(cols []column) (hasTime, measured bool) {
	for _, c := range cols {
		switch {
		case c.slot == slotTime || c.slot == slotUTC:
			hasTime = true
		case c.slot != slotIgnore && c.slot != slotAlt && c.slot != slotCourse && c.slot != slotFix:
			measured = true
		}
	}
	return hasTime, measured
}
