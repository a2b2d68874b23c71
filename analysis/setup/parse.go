package setup

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Unit factors at the border.
const (
	cm      = 0.01
	mm      = 0.001
	cm2     = 1e-4
	degree  = math.Pi / 180
	knot    = 1852.0 / 3600 // m/s
	kmh     = 1 / 3.6
	mph     = 0.44704
	percent = 0.01
)

// maxBytes bounds a setup file; a real one has under 4 kB.
const maxBytes = 1 << 20

// An Error is a setup that cannot be used: which key, on which line, why.
type Error struct {
	File string
	Line int // 1-based, 0 when not known
	Key  string
	What string
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File)
		if e.Line > 0 {
			fmt.Fprintf(&b, ":%d", e.Line)
		}
		b.WriteString(": ")
	}
	b.WriteString(e.What)
	return b.String()
}

// file is the TOML as written, in the units of its key names.
type file struct {
	Title string `toml:"title"`
	Rider struct {
		Name     string  `toml:"name"`
		MassKg   float64 `toml:"mass_kg"`
		HeightCm float64 `toml:"height_cm"`
		Level    string  `toml:"level"`
	} `toml:"rider"`
	Stance struct {
		FrontCm float64 `toml:"front_cm"`
		BackCm  float64 `toml:"back_cm"`
		Fixed   bool    `toml:"fixed"`
	} `toml:"stance"`
	Board struct {
		MassKg       float64   `toml:"mass_kg"`
		CGCm         float64   `toml:"cg_cm"`
		DeckHeightCm float64   `toml:"deck_height_cm"`
		TrackCm      []float64 `toml:"track_cm"`
	} `toml:"board"`
	Rig struct {
		Kind         string  `toml:"kind"`
		LiftFraction float64 `toml:"lift_fraction"`
	} `toml:"rig"`
	Foil struct {
		MastCm          float64 `toml:"mast_cm"`
		DepthCm         float64 `toml:"depth_cm"`
		MastChordMm     float64 `toml:"mast_chord_mm"`
		MastThicknessMm float64 `toml:"mast_thickness_mm"`
		Wing            struct {
			AreaCm2          float64 `toml:"area_cm2"`
			SpanCm           float64 `toml:"span_cm"`
			AheadCm          float64 `toml:"ahead_cm"`
			CamberPercent    float64 `toml:"camber_percent"`
			ThicknessPercent float64 `toml:"thickness_percent"`
			IncidenceDeg     float64 `toml:"incidence_deg"`
		} `toml:"wing"`
		Stabilizer struct {
			AreaCm2          float64 `toml:"area_cm2"`
			SpanCm           float64 `toml:"span_cm"`
			BehindWingCm     float64 `toml:"behind_wing_cm"`
			ThicknessPercent float64 `toml:"thickness_percent"`
			IncidenceDeg     float64 `toml:"incidence_deg"`
			ZeroLiftDeg      float64 `toml:"zero_lift_deg"`
			Mount            string  `toml:"mount"`
			ShimSpanMm       float64 `toml:"shim_span_mm"`
			ShimMm           float64 `toml:"shim_mm"`
		} `toml:"stabilizer"`
		Finish struct {
			Grit           int     `toml:"grit"`
			Surface        string  `toml:"surface"`
			TrailingEdgeMm float64 `toml:"trailing_edge_mm"`
		} `toml:"finish"`
	} `toml:"foil"`
	Water struct {
		Kind         string  `toml:"kind"`
		TemperatureC float64 `toml:"temperature_c"`
		CurrentKn    float64 `toml:"current_kn"`
		CurrentToDeg float64 `toml:"current_to_deg"`
	} `toml:"water"`
	Sensor struct {
		PitchZeroDeg float64 `toml:"pitch_zero_deg"`
	} `toml:"sensor"`
	Feel []struct {
		SpeedKn  float64 `toml:"speed_kn"`
		SpeedKmh float64 `toml:"speed_kmh"`
		SpeedMph float64 `toml:"speed_mph"`
		SpeedMps float64 `toml:"speed_mps"`
		Front    any     `toml:"front"`
	} `toml:"feel"`
}

// required are the keys without which no advice can be given.
var required = []string{
	"rider.mass_kg", "stance.front_cm", "stance.back_cm", "foil.mast_cm",
	"foil.wing.area_cm2", "foil.wing.span_cm",
	"foil.stabilizer.area_cm2", "foil.stabilizer.span_cm", "foil.stabilizer.behind_wing_cm",
}

// LiftFractions are the share of the rider's weight that each rig carries when
// the setup does not say (trim model §4).
var LiftFractions = map[string]float64{"wing": 0.08, "kite": 0.25, "sail": 0, "tow": 0, "none": 0}

func defaults() file {
	var f file
	f.Rider.HeightCm, f.Rider.Level = 175, "intermediate"
	f.Board.MassKg, f.Board.CGCm, f.Board.DeckHeightCm = 10, 10, 10
	f.Board.TrackCm = []float64{-5, 5}
	f.Rig.Kind = "wing"
	f.Foil.MastChordMm, f.Foil.MastThicknessMm = 130, 15
	w, s := &f.Foil.Wing, &f.Foil.Stabilizer
	w.AheadCm, w.CamberPercent, w.ThicknessPercent, w.IncidenceDeg = 10, 3, 12, 1
	s.ThicknessPercent, s.IncidenceDeg, s.Mount, s.ShimSpanMm = 10, -1.5, "top", 50
	f.Water.Kind, f.Water.TemperatureC = "sea", 15
	return f
}

// Load reads and checks a setup file. The warnings are for merely odd values;
// an *Error says what cannot be used.
func Load(path string) (*Setup, []string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, &Error{File: path, What: "this setup cannot be opened: " + cause(err)}
	}
	if info.IsDir() {
		return nil, nil, &Error{File: path, What: "this is a folder, not a setup file; name the setup.toml in it"}
	}
	if info.Size() > maxBytes {
		return nil, nil, &Error{File: path, What: fmt.Sprintf("this file has %d bytes; a setup is a short text, so it is something else", info.Size())}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, &Error{File: path, What: "this setup cannot be read: " + cause(err)}
	}
	return Parse(path, data)
}

func cause(err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

// Parse reads a setup from TOML; name is for messages.
func Parse(name string, data []byte) (*Setup, []string, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(data) > maxBytes {
		return nil, nil, &Error{File: name, What: "this file is too long to be a setup"}
	}
	f := defaults()
	dec := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return nil, nil, decodeError(name, data, err)
	}
	var tree map[string]any
	if err := toml.Unmarshal(data, &tree); err != nil {
		return nil, nil, decodeError(name, data, err)
	}
	s := &Setup{File: name, given: map[string]bool{}}
	flatten("", tree, s.given)
	c := checker{name: name, lines: keyLines(data), s: s}
	c.complete()
	c.fill(&f)
	if c.err != nil {
		return nil, nil, c.err
	}
	return s, c.warnings, nil
}

func decodeError(name string, data []byte, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		first := strict.Errors[0]
		key := strings.Join(first.Key(), ".")
		row, _ := first.Position()
		what := fmt.Sprintf("unknown key %s.", strconv.Quote(key))
		if near := nearest(key); near != "" {
			what += fmt.Sprintf(" Did you mean %s?", near)
		}
		return &Error{File: name, Line: row, Key: key, What: what}
	}
	var dec *toml.DecodeError
	if errors.As(err, &dec) {
		row, _ := dec.Position()
		return &Error{File: name, Line: row, Key: strings.Join(dec.Key(), "."), What: slip(lineOf(data, row), dec)}
	}
	return &Error{File: name, What: "not a valid setup: " + strings.TrimPrefix(err.Error(), "toml: ")}
}

func lineOf(data []byte, row int) string {
	lines := strings.Split(string(data), "\n")
	if row < 1 || row > len(lines) {
		return ""
	}
	return strings.TrimSpace(lines[row-1])
}

var (
	decimalComma = regexp.MustCompile(`^[\w.]+\s*=\s*[-+]?\d+,\d`)
	bareWord     = regexp.MustCompile(`^[\w.]+\s*=\s*\pL`)
	quoted       = regexp.MustCompile(`^[\w.]+\s*=\s*["']`)
	noValue      = regexp.MustCompile(`^[\w.]+\s*(=\s*)?(#|$)`)
)

// slip says in plain words what is wrong with a line that is not valid TOML,
// or whose value is of the wrong kind.
func slip(line string, dec *toml.DecodeError) string {
	shown := []rune(line)
	if len(shown) > 60 {
		shown = append(shown[:60], '…')
	}
	what := fmt.Sprintf("this line cannot be read: %q.", string(shown))
	switch {
	case decimalComma.MatchString(line):
		return what + " A number takes a point, not a comma: 93.5"
	case quoted.MatchString(line) && len(dec.Key()) > 0:
		return what + " Here a number or true or false is needed, without quotes"
	case bareWord.MatchString(line):
		return what + ` Text stands in quotes, for example "wing"; true and false stand without`
	case noValue.MatchString(line):
		return what + " The key has no value"
	}
	_, col := dec.Position()
	return what + fmt.Sprintf(" The trouble starts at column %d: each line is a key = value, or a [table]", col)
}

// flatten lists every key that the user wrote.
func flatten(prefix string, tree map[string]any, given map[string]bool) {
	for k, v := range tree {
		key := k
		if prefix != "" {
			key = prefix + "." + k
		}
		if sub, ok := v.(map[string]any); ok {
			flatten(key, sub, given)
			continue
		}
		given[key] = true
	}
}

// keyLines finds the line of each plain key under its table, for messages.
// Array tables number from 0: "feel.0.speed_kn".
func keyLines(data []byte) map[string]int {
	lines := map[string]int{}
	table := ""
	count := map[string]int{}
	for i, raw := range strings.Split(string(data), "\n") {
		line := strings.TrimSpace(raw)
		switch {
		case strings.HasPrefix(line, "[["):
			n, _, _ := strings.Cut(strings.TrimPrefix(line, "[["), "]]")
			n = strings.TrimSpace(n)
			table = fmt.Sprintf("%s.%d", n, count[n])
			count[n]++
			lines[table] = i + 1
		case strings.HasPrefix(line, "["):
			n, _, _ := strings.Cut(strings.TrimPrefix(line, "["), "]")
			table = strings.TrimSpace(n)
		default:
			k, _, ok := strings.Cut(line, "=")
			if !ok || strings.HasPrefix(line, "#") {
				continue
			}
			k = strings.TrimSpace(k)
			if table != "" {
				k = table + "." + k
			}
			lines[k] = i + 1
		}
	}
	return lines
}

// Keys lists every key of a setup, in the order of the template.
func Keys() []string {
	return []string{
		"title", "rider.name", "rider.mass_kg", "rider.height_cm", "rider.level",
		"stance.front_cm", "stance.back_cm", "stance.fixed",
		"board.mass_kg", "board.cg_cm", "board.deck_height_cm", "board.track_cm",
		"rig.kind", "rig.lift_fraction",
		"foil.mast_cm", "foil.depth_cm", "foil.mast_chord_mm", "foil.mast_thickness_mm",
		"foil.wing.area_cm2", "foil.wing.span_cm", "foil.wing.ahead_cm", "foil.wing.camber_percent",
		"foil.wing.thickness_percent", "foil.wing.incidence_deg",
		"foil.stabilizer.area_cm2", "foil.stabilizer.span_cm", "foil.stabilizer.behind_wing_cm",
		"foil.stabilizer.thickness_percent", "foil.stabilizer.incidence_deg", "foil.stabilizer.zero_lift_deg",
		"foil.stabilizer.mount", "foil.stabilizer.shim_span_mm", "foil.stabilizer.shim_mm",
		"foil.finish.grit", "foil.finish.surface", "foil.finish.trailing_edge_mm",
		"water.kind", "water.temperature_c", "water.current_kn", "water.current_to_deg",
		"sensor.pitch_zero_deg", "feel.speed_kn", "feel.speed_kmh", "feel.speed_mph", "feel.speed_mps", "feel.front",
	}
}

// nearest is the known key that takes the fewest edits, "" when none is near.
// A key that only sits in the wrong table is found by its last part.
func nearest(key string) string {
	best, dist := "", 1<<30
	last := key[strings.LastIndex(key, ".")+1:]
	for _, k := range Keys() {
		d := edits(key, k)
		if end := k[strings.LastIndex(k, ".")+1:]; end == last {
			d = min(d, 1)
		} else {
			d = min(d, 1+edits(last, end))
		}
		if d < dist {
			best, dist = k, d
		}
	}
	if dist > max(2, len(last)/2) {
		return ""
	}
	return best
}

// edits is the Levenshtein distance of two short strings.
func edits(a, b string) int {
	if len(a) > 64 {
		a = a[:64]
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		prev := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			prev, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, prev+cost)
		}
	}
	return row[len(b)]
}

// feelWords are the front foot's share and its 1σ that each word stands for
// (trim model §4).
var feelWords = map[string][2]float64{
	"strong back": {0.25, 0.10}, "back": {0.38, 0.08}, "even": {0.50, 0.06},
	"front": {0.62, 0.08}, "strong front": {0.75, 0.10},
}

// feelPercentSD is the 1σ of a share that the rider gives in percent.
const feelPercentSD = 0.06

// ParseFeel reads the front foot's share from a word or a percentage.
func ParseFeel(v any) (share, sd float64, said string, err error) {
	words := []string{"strong back", "back", "even", "front", "strong front"}
	bad := func() error {
		return fmt.Errorf("the feel %q is not known: use %s, or the percentage on the front foot, for example 60",
			fmt.Sprint(v), strings.Join(words, ", "))
	}
	switch x := v.(type) {
	case string:
		w := strings.Join(strings.Fields(strings.ToLower(x)), " ")
		if slices.Contains(words, w) {
			f := feelWords[w]
			return f[0], f[1], w, nil
		}
		n, perr := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(w, "%")), 64)
		if perr != nil {
			return 0, 0, "", bad()
		}
		return ParseFeel(n)
	case int64:
		return ParseFeel(float64(x))
	case float64:
		if !(x >= 0 && x <= 100) {
			return 0, 0, "", fmt.Errorf("a front foot's share of %g %% is not between 0 and 100", x)
		}
		return x * percent, feelPercentSD, fmt.Sprintf("%g %% on the front foot", x), nil
	}
	return 0, 0, "", bad()
}

// Sharpens says whether a key, when given, makes the advice sharper: its
// default carries a wide doubt.
func Sharpens(key string) bool {
	switch key {
	case "foil.stabilizer.incidence_deg", "foil.stabilizer.shim_span_mm", "foil.wing.ahead_cm",
		"foil.wing.incidence_deg", "foil.wing.camber_percent", "board.cg_cm", "board.mass_kg", "board.track_cm", "rig.kind":
		return true
	}
	return false
}
