package words

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/feet"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// kinds reads the kinds of finding from their source, so that none is left out.
func kinds(t *testing.T, files ...string) []string {
	t.Helper()
	var out []string
	for _, f := range files {
		src, err := os.ReadFile(filepath.Join("../..", f))
		if err != nil {
			t.Fatal(err)
		}
		found, _, _ := strings.Cut(string(src), "// Why samples are left out")
		for _, m := range regexp.MustCompile(`(?m)^(?:\t|const )\w+ +(?:Lack|Bend)?Kind = "([^"]+)"`).FindAllStringSubmatch(found, -1) {
			out = append(out, m[1])
		}
	}
	return out
}

// TestBooks: every kind of finding has its sentence, and every sentence its kind
// and a template that is whole.
func TestBooks(t *testing.T) {
	for name, from := range map[string]struct {
		files   []string
		without []string // kinds that are no sentence, or more than one
	}{
		"log":      {files: []string{"ingest/raw/kinds.go"}},
		"mount":    {files: []string{"filter/align/finding.go"}},
		"law":      {files: []string{"analysis/pitchlaw/fit.go"}},
		"chain":    {[]string{"analysis/note.go"}, []string{"no log"}},
		"conflict": {files: []string{"analysis/trim/evidence.go"}},
		"feet":     {files: []string{"analysis/feet/feet.go"}},
		"advice": {[]string{"analysis/advice/types.go", "analysis/advice/compare.go"}, []string{"step", "find out", "no logger",
			"pitch at zero lift", "slope of the pitch law", "front foot's share", "change of the front foot's share", "control effort (pitch rate)", "mean speed on the foil", "best speed",
			"as predicted, within the doubt", "fits what was predicted, and no change as well", "more than predicted", "less than predicted", "higher than before", "lower than before", "no clear change"}},
	} {
		b, all := newBook(name), kinds(t, from.files...)
		if len(b.says) != len(all)-len(from.without) {
			t.Errorf("%s: %d sentences for %d kinds", name, len(b.says), len(all)-len(from.without))
		}
		for _, k := range all {
			if (b.says[k] == "") != slices.Contains(from.without, k) {
				t.Errorf("%s: of %q is said %q", name, k, b.says[k])
			}
		}
	}
}

// wellSaid fails for a sentence that a template could not make.
func wellSaid(t *testing.T, k, s string) {
	t.Helper()
	if s == "" || s == k || strings.Contains(s, "template") || strings.Contains(s, "%!") || strings.Contains(s, "([") || strings.Contains(s, "  ") {
		t.Errorf("%q: %q", k, s)
	}
}

// TestEveryFindingIsSaid: whatever the numbers, every sentence can be made.
func TestEveryFindingIsSaid(t *testing.T) {
	r := &analysis.Result{Setup: &setup.Setup{}, Advice: &advice.Advice{}}
	two := [2]float64{5, 9}
	for n := range 2 { // without what may be missing, and with it
		v := float64(n)
		i := interval.Normal(v-0.5, 1)
		cf := &trim.Conflict{Asked: 0.1, Stated: 0.2 + v, Outing: n, Unknown: &trim.Unknown{Name: "x", Unit: "m", Scale: 1}}
		for k, s := range adviceBook.says {
			x := advice.Reason{Kind: advice.Kind(k), Speed: 5 * v, Speeds: []float64{5, 9}, Share: 0.03 + v, Off: &i, Turn: v, Move: v, Place: &i, Gradient: &i, Left: v, Conflict: cf, Row: &advice.Comparison{Kind: advice.Effort}, Changed: []advice.Difference{{Key: "foil.stabilizer.shim_mm", To: 0.00076}}}
			if strings.Contains(s, ".SD") || strings.Contains(s, ".Edge") || strings.Contains(s, ".Places") {
				wellSaid(t, k, Units{}.Observation(advice.Observation{Kind: x.Kind, Speeds: x.Speeds, Places: two[:], SD: 0.1, Edge: "trailing edge", TakeOut: n > 0}))
				continue
			}
			wellSaid(t, k, Units{}.Reason(x, r))
		}
		for k := range lawBook.says {
			if strings.Contains(lawBook.says[k], ".Size") {
				wellSaid(t, k, Bend(pitchlaw.Bend{Kind: pitchlaw.BendKind(k), Size: i, Matters: true}))
				continue
			}
			wellSaid(t, k, Units{}.Lack(pitchlaw.Lack{Kind: pitchlaw.LackKind(k), Have: 1, Need: 2, Tack: "port", Reasons: []pitchlaw.Reason{"", "gusts"}}))
		}
		for k := range chainBook.says {
			if strings.HasPrefix(k, "note ") {
				wellSaid(t, k, Units{}.Say(analysis.StrayNote{Kind: analysis.Kind(k), Speed: 5, FitsAs: []string{"speed_kmh", "speed_mph"}[:n+1]}))
				continue
			}
			wellSaid(t, k, Units{}.Say(analysis.Note{Kind: analysis.Kind(k), Range: &two, Ridden: &two, Of: *cf, Why: "It is so.", By: &i}))
		}
		for k := range feetBook.says {
			wellSaid(t, k, Units{}.Say(feet.Finding{Kind: feet.Kind(k), Count: 3, Needed: 20, Side: "left", Force: 700, Part: 0.1 + v/2, Sigmas: 4, Why: "It is so."}))
		}
		for k := range conflictBook.says {
			c := *cf
			c.Kind = trim.Kind(k)
			wellSaid(t, k, Units{}.Conflict(c))
		}
	}
}

// TestMountIsSaid: every sentence can be said.
func TestMountIsSaid(t *testing.T) {
	of := align.Finding{Kind: align.LevelSetup}
	for _, k := range kinds(t, "filter/align/finding.go") {
		for _, other := range []float64{0, 2} {
			f := align.Finding{Kind: align.Kind(k), At: 70, Until: 190, Count: 3, Turn: 0.5, Other: other, Speed: 5, Of: &of}
			if s := (Units{}).Say(f); s != "setup" {
				wellSaid(t, k, s)
			}
		}
	}
	still := align.Finding{Kind: align.LevelStill, At: 12, Until: 131, Heel: 0.01, Sway: 0.001, Count: 2, Pitch: 0.004}
	if s, want := (Units{}).Say(still), "still stretch at 12 s–2:11 (119 s), level across within 0.6°, still within 0.06°; 2 more agree within 0.2°"; s != want {
		t.Errorf("%q, want %q", s, want)
	}
}

// TestEveryWarningIsSaid: each kind has a sentence of its own, in the singular
// and in the plural, and nothing is said of places and numbers that are not
// known.
func TestEveryWarningIsSaid(t *testing.T) {
	all := kinds(t, "ingest/raw/kinds.go")
	if len(all) < 70 {
		t.Fatalf("only %d kinds found", len(all))
	}
	for _, k := range all {
		for n := range 3 {
			w := ingest.Warning{Kind: raw.Kind(k), Count: n + 1, Sensor: "gyroscope", Text: []string{"one", "two", "three"}, Values: []float64{2, 3, 4}}
			s := Warning(w)
			if s == UpperFirst(k)+"." {
				t.Errorf("%q has no sentence", k)
			}
			for _, bad := range []string{"NaN", "1 fixes", "1 samples", "1 bytes", "0 bytes", "line 0", "byte 0", "byte -1", "%!", " fix that only repeat ", "  "} {
				if strings.Contains(s, bad) {
					t.Errorf("%q: %q in %q", k, bad, s)
				}
			}
			if !strings.HasSuffix(s, ".") {
				t.Errorf("%q is no sentence: %q", k, s)
			}
		}
	}
	for want, w := range map[string]ingest.Warning{
		"a.fit, byte 7: The data make no sense here; 1 byte skipped.":                                                     {Kind: raw.Damaged, File: "a.fit", Byte: 7, Count: 1},
		"The data make no sense from here to the end of the file; 1,200 bytes skipped.":                                   {Kind: raw.Damaged, Count: 1200, Values: []float64{1}},
		"The file ends here too early; everything before was read.":                                                       {Kind: raw.CutFile},
		"GPS: 1 fix that only repeats an older one while the board moved (at 3 s); marked, and left out of the analysis.": {Kind: raw.Stale, Count: 1, At: 3},
		"a.csv, line 4: The row has 1 field where the header has 7; it is left out.":                                      {Kind: raw.Ragged, File: "a.csv", Line: 4, Values: []float64{1, 7}},
		"a.csv: 12 more of the same: no time.":                                                                            {Kind: raw.NoTime, File: "a.csv", More: 12},
	} {
		if got := Warning(w); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// opened writes a log and opens it.
func opened(t *testing.T, name, text string) *ingest.Log {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := ingest.Open(path, ingest.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l.Files[0].Name = name
	return l
}

func rows(from, hz float64, n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%.3f,0.1,0.2,9.81,%.4f,0.02,0.03\n", from+float64(i)/hz, 1e-4*float64(i))
	}
	return b.String()
}

func TestInspect(t *testing.T) {
	const header = "time_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps\n"
	l := opened(t, "log.csv", "# start: 2026-09-20T10:00:00Z\n# device: Logger 3\n"+header+rows(0, 100, 500)+"5.1,a,2,3,4,5,6\n"+rows(9, 100, 500)+
		strings.Repeat("a row that is garbled and long enough to need a second line in the text\n", 3))
	var b bytes.Buffer
	if err := WriteInspect(&b, []*ingest.Log{l, opened(t, "other.csv", header+rows(0, 50, 10))}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"log.csv\n  kind        CSV, ", "device      Logger 3", "2026-09-20 10:00:00 to 10:00:13 UTC, 14 s",
		"accelerometer      1,000 at 100 Hz", "m/s²", "1 gap, up to 4.01 s", "read        2,001 samples", "left out    1 × accelerometer with a value that is not a number",
		"3 × too few or too many fields", "line 504: ", "no date, 0.18 s", "problems    none"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q in\n%s", want, text)
		}
	}
	for line := range strings.Lines(text) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > inspectColumns {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	b.Reset()
	if err := WriteInspectJSON(&b, []*ingest.Log{l}, InspectMap("x.csv", "a map")); err != nil {
		t.Fatal(err)
	}
	var back []struct {
		Files    []ingest.File
		Warnings []struct {
			Kind, Words string
			Numbers     ingest.Warning
		}
		Map string `json:"proposed_map"`
	}
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if len(back) != 2 || back[0].Files[0].Channels[0].Samples != 1000 || !back[0].Files[0].First.Equal(l.Files[0].First) ||
		len(back[0].Warnings) != len(l.Warnings) || back[0].Warnings[0].Numbers.Line != 504 || back[0].Warnings[0].Kind != string(raw.NotNumber) || back[1].Map != "a map" {
		t.Errorf("%s", b.String())
	}
	if strings.Contains(b.String(), "0001-01-01") || strings.Contains(b.String(), "null") {
		t.Errorf("what is not known is left out: %s", b.String())
	}
}

// TestOneNote: a single note is not asked for in the plural.
func TestOneNote(t *testing.T) {
	for _, x := range []advice.Reason{{Notes: 1}, {Notes: 1, Had: 2}, {Each: 1}} {
		x.Kind = advice.NextTime
		if s := (Units{}).Reason(x, &analysis.Result{}); !strings.Contains(s, "note of feel") || strings.Contains(s, "notes of feel") {
			t.Errorf("%+v: %s", x, s)
		}
	}
}
