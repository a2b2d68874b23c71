package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
)

// How far a number may stand from its golden: numerical noise, no more.
const (
	goldenRelative = 1e-6
	goldenAbsolute = 1e-9
)

// goldenSpeeds are where the golden riders note how the feet feel, as shares
// of the way from their lowest reaching speed to their highest.
var goldenSpeeds = []float64{0.05, 0.5, 0.95}

// A goldenOuting is a session to be simulated into a folder of that name.
type goldenOuting struct {
	scenario func() simulate.Scenario
	format   string // of the logs: "" = GPX and CSV, "fit" = one FIT file, "csv" = one CSV, "gps", "imu" = one device alone
	feel     []setup.Feel
}

// goldenBase is a quarter of an hour on a moderate foil.
func goldenBase() simulate.Scenario {
	sc := simulate.Default()
	sc.Duration, sc.IMURate, sc.GPSRate = 780, 50, 2
	sc.Rest, sc.Carry, sc.Swim = 20, 5, 5
	return sc
}

// goldenShort cuts another scenario to the same length.
func goldenShort(sc simulate.Scenario) simulate.Scenario {
	sc.Duration, sc.IMURate, sc.GPSRate = 780, 50, min(sc.GPSRate, 5)
	sc.Rest, sc.Carry, sc.Swim = 20, 5, 5
	return sc
}

// goldenNamed is somebody else's outing, cut short.
func goldenNamed(name string, of func() simulate.Scenario) func() simulate.Scenario {
	return func() simulate.Scenario {
		sc := goldenShort(of())
		sc.Gear.Name = name
		return sc
	}
}

func goldenRig(kind string, lift float64) func() simulate.Scenario {
	return func() simulate.Scenario {
		sc := goldenBase()
		sc.Seed = 20 + uint64(len(kind))
		sc.Gear.Title, sc.Gear.Rig, sc.Foil.RigLiftFraction = "Golden "+kind, kind, lift
		return sc
	}
}

// goldenGlides has six glides on a foil that drags so many times what its model does.
func goldenGlides(seed uint64, drag float64) func() simulate.Scenario {
	return func() simulate.Scenario {
		sc := goldenBase()
		sc.Seed, sc.Coast = seed, simulate.Coasts(6)
		sc.Foil.DragFactor = drag - 1
		sc.Gear.Title = fmt.Sprintf("Glides, drag %.1f", drag)
		sc.Gear.Stated = new(simulate.DefaultFoil())
		return sc
	}
}

// goldenMoved has the wing 3 cm ahead of where goldenBase has it, on a mast that
// slides otherwise, with the stabilizer under the fuselage.
func goldenMoved(ahead float64, seed uint64) func() simulate.Scenario {
	return func() simulate.Scenario {
		sc := goldenBase()
		sc.Seed = seed
		sc.Gear.Title = fmt.Sprintf("Wing %.0f cm ahead", 100*ahead)
		sc.Foil.WingX, sc.Foil.StabIncidence = ahead, -2.2*simulate.Deg
		sc.Gear.Track, sc.Gear.Mount = [2]float64{-0.07, 0.02}, "bottom"
		return sc
	}
}

var goldenOutings = map[string]goldenOuting{
	"wing": {scenario: func() simulate.Scenario {
		sc := simulate.Demo()[0]
		sc.Duration, sc.IMURate, sc.GPSRate = 900, 50, 2
		return sc
	}},
	"card": {scenario: func() simulate.Scenario {
		sc := simulate.Demo()[1]
		sc.Duration, sc.IMURate, sc.GPSRate = 900, 50, 2
		return sc
	}},
	"kite": {format: "csv", scenario: goldenNamed("Bo", simulate.Kite)},
	"sail": {format: "fit", scenario: goldenRig("sail", 0)},
	"tow":  {scenario: goldenRig("tow", 0)},
	"watch": {format: "gps", scenario: func() simulate.Scenario {
		sc := goldenRig("none", 0)()
		sc.Flow = [2]float64{0.3, -0.2}
		return sc
	}},
	"logger":   {format: "imu", scenario: goldenBase},
	"glides":   {scenario: goldenGlides(41, 1), feel: []setup.Feel{}},
	"sanded":   {scenario: goldenGlides(42, 0.8), feel: []setup.Feel{}},
	"conflict": {scenario: goldenBase, feel: []setup.Feel{{Speed: 7, Said: "strong front"}, {Speed: 7.4, Said: "strong back"}, {Speed: 10, Said: "even"}}},
	"moved":    {scenario: goldenMoved(0.13, 31)},
	"unmoved":  {scenario: goldenMoved(0.10, 32)},
	"beginner": {scenario: goldenNamed("Kari", simulate.Beginner)},
	"loose": {scenario: func() simulate.Scenario {
		sc := goldenBase()
		sc.Mounting = simulate.Loose
		return sc
	}},
}

// lay writes the outing's logs and setup.
func (g goldenOuting) lay(dir string) error {
	sc := g.scenario()
	s := simulate.Run(sc)
	logs := map[string]func(io.Writer) error{}
	switch g.format {
	case "fit":
		logs["outing.fit"] = func(w io.Writer) error { return write.FIT(w, s.Log) }
	case "csv":
		logs["outing.csv"] = func(w io.Writer) error { return write.CSV(w, s.Log) }
	}
	if g.format == "" || g.format == "gps" {
		logs["watch.gpx"] = func(w io.Writer) error { return write.GPX(w, s.GPSLog) }
	}
	if g.format == "" || g.format == "imu" {
		logs["logger.csv"] = func(w io.Writer) error { return write.CSV(w, s.IMULog) }
	}
	feel := g.feel
	if feel == nil {
		var at []float64
		for _, u := range goldenSpeeds {
			at = append(at, sc.SpeedLow+u*(sc.SpeedHigh-sc.SpeedLow))
		}
		feel = s.FeelNotes(at, noteSD)
	}
	return writeSession(dir, s.SetupTOML(feel), logs)
}

// TestGolden holds the whole answer (JSON, words, the page's text) of simulated
// sessions to what it was. Strings and keys must be the same, numbers within
// goldenRelative. After a change that is meant: go test ./cmd/evenfoot -run
// Golden -update, and read the difference.
func TestGolden(t *testing.T) {
	home, err := filepath.Abs(filepath.Join("testdata", "golden"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir()) // the answers then name no temporary folder
	laid := map[string]func() error{}
	for name, g := range goldenOutings {
		// Each in a folder of its own: what lies beside a session is looked at as evidence.
		laid[name] = sync.OnceValue(func() error { return g.lay(filepath.Join(name, name)) })
	}
	for _, c := range []struct {
		name    string
		needs   string // outings
		command string
	}{
		{"wing", "wing", "report wing"},
		{"kite", "kite", "report kite"},
		{"sail", "sail", "report sail"},
		{"tow", "tow", "report tow --range 13:20kn"},
		{"watch", "watch", "report watch"},
		{"logger", "logger", "report logger --range 12:20kn"},
		{"conflict", "conflict", "report conflict"},
		{"moved", "moved unmoved", "report moved --with unmoved"},
		{"earlier", "card wing", "report card --with wing"},
		{"rider", "wing", "report wing --rider mass=63kg,height=165cm,level=beginner"},
		{"imperial", "card wing", "report card --with wing --units mph,in,lb --rider mass=95kg --coordinates"},
		{"beginner", "beginner", "report beginner"},
		{"loose", "loose", "report loose"},
		{"glides", "glides", "report glides"},
		{"sanded", "glides sanded", "compare glides sanded"},
		{"compare", "wing card", "compare wing card"},
		{"athletes", "kite beginner watch", "compare kite beginner watch --units kmh,cm,kg"},
		{"unridden", "wing", "report --setup wing/setup.toml --range 12:22kn"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for _, name := range strings.Fields(c.needs) {
				if err := laid[name](); err != nil {
					t.Fatal(err)
				}
			}
			page, result := c.name+".html", c.name+".json"
			var stdout, stderr bytes.Buffer
			args := strings.Fields(c.command)
			for i, a := range args {
				if name, rest, _ := strings.Cut(a, "/"); laid[name] != nil {
					args[i] = filepath.Join(name, name, rest)
				}
			}
			args = append(args, "--out", page, "--json", result)
			if status := run(args, nil, &stdout, &stderr); status != exitDone {
				t.Fatalf("status %d: %s", status, stderr.String())
			}
			numbers, text := read(t, result), read(t, page)
			golden := filepath.Join(home, c.name+".json")
			if *update || !sameJSON(read(t, golden), numbers) {
				tidy, err := goldenJSON(numbers)
				if err != nil {
					t.Error(err)
				}
				sameAsGolden(t, golden, tidy)
			}
			sameAsGolden(t, filepath.Join(home, c.name+".words.txt"), stdout.String()+"--\n"+stderr.String())
			sameAsGolden(t, filepath.Join(home, c.name+".page.txt"), pageText(text))
		})
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// goldenJSON is the same JSON with nine digits a number, and innermost objects
// and lists on one line.
func goldenJSON(text string) (string, error) {
	if !json.Valid([]byte(text)) {
		return "", fmt.Errorf("not JSON: %.200s", text)
	}
	text = number.ReplaceAllStringFunc(text, func(s string) string {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !strings.ContainsAny(s, ".eE") {
			return s
		}
		return strconv.FormatFloat(v, 'g', 9, 64)
	})
	return innermost.ReplaceAllStringFunc(text, func(s string) string { return strings.Join(strings.Fields(s), " ") }), nil
}

var (
	number    = regexp.MustCompile(`-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?`)
	innermost = regexp.MustCompile(`[{\[]\n[^{}\[\]"]*(?:"[a-z0-9_]+":[^{}\[\]"]*)*[}\]]`)

	unseen = regexp.MustCompile(`(?s)<style>.*?</style>|<script.*?</script>|<meta[^>]*>`)
	made   = regexp.MustCompile(`evenfoot [0-9][^ ,]*|\d{1,2} (?:January|February|March|April|May|June|July|August|September|October|November|December) \d{4}`)
)

// pageText is what a page says: a line for each run of text between two tags,
// the program's version and the day of making masked.
func pageText(page string) string {
	var out strings.Builder
	for run := range strings.SplitSeq(unseen.ReplaceAllString(page, ""), "<") {
		if _, text, tagged := strings.Cut(run, ">"); tagged {
			run = text
		}
		if words := strings.Join(strings.Fields(html.UnescapeString(run)), " "); words != "" {
			out.WriteString(made.ReplaceAllString(words, "*") + "\n")
		}
	}
	return out.String()
}

// sameAsGolden compares an answer with the golden file, or writes that anew.
func sameAsGolden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want := read(t, path)
	for _, d := range differences(want, got, 5) {
		t.Errorf("%s: %s", filepath.Base(path), d)
	}
}

// differences are the first lines in which two texts differ, but for numerical noise.
func differences(want, got string, most int) []string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	var out []string
	for i := 0; i < max(len(w), len(g)) && len(out) < most; i++ {
		switch {
		case i >= len(w):
			out = append(out, fmt.Sprintf("line %d: more than before: %q", i+1, g[i]))
		case i >= len(g):
			out = append(out, fmt.Sprintf("line %d: missing: %q", i+1, w[i]))
		case !sameLine(w[i], g[i]):
			out = append(out, fmt.Sprintf("line %d:\n was %q\n now %q", i+1, w[i], g[i]))
		}
	}
	return out
}

// sameJSON says that two texts hold the same keys and values in the same order,
// but for numerical noise: what [differences] of their [goldenJSON] would say, sooner.
func sameJSON(want, got string) bool {
	w, g := json.NewDecoder(strings.NewReader(want)), json.NewDecoder(strings.NewReader(got))
	for {
		a, err1 := w.Token()
		b, err2 := g.Token()
		x, num1 := a.(float64)
		y, num2 := b.(float64)
		s, text1 := a.(string)
		t, text2 := b.(string)
		switch {
		case err1 != nil || err2 != nil:
			return err1 == io.EOF && err2 == io.EOF
		case a == b, num1 && num2 && near(x, y), text1 && text2 && sameLine(s, t):
		default:
			return false
		}
	}
}

// near says that two numbers are the same but for numerical noise.
func near(want, got float64) bool {
	return math.Abs(want-got) <= goldenAbsolute+goldenRelative*math.Abs(want)
}

func sameLine(want, got string) bool {
	if want == got {
		return true
	}
	if number.ReplaceAllString(want, "#") != number.ReplaceAllString(got, "#") {
		return false
	}
	w, g := number.FindAllString(want, -1), number.FindAllString(got, -1)
	for i := range w {
		a, err1 := strconv.ParseFloat(w[i], 64)
		b, err2 := strconv.ParseFloat(g[i], 64)
		if err1 != nil || err2 != nil || !near(a, b) {
			return false
		}
	}
	return true
}

// TestGoldenCanFail: the comparison sees what it must see, and only that.
func TestGoldenCanFail(t *testing.T) {
	for _, c := range []struct {
		want, got string
		same      bool
	}{
		{`"low": 0.123456789,`, `"low": 0.123456790,`, true},
		{`"low": 0.123456789,`, `"low": 0.123457789,`, false},
		{`"low": -0.5,`, `"low": 0.5,`, false},
		{`"low": 1e-20,`, `"low": -3e-15,`, true},
		{`"low": 1,`, `"high": 1,`, false},
		{`"low": 1,`, `"low": null,`, false},
		{"one card", "two cards", false},
		{"12 kn", "13 kn", false},
		{"a\nb", "a", false},
		{"a", "a\nb", false},
		{`"how": "within 0° at 5 s",`, `"how": "within 0.0° at 5 s",`, true},
		{`"how": "within 0° at 5 s",`, `"how": "within 0° at 6 s",`, false},
		{`"how": "within 0° at 5 s",`, `"how": "beyond 0° at 5 s",`, false},
	} {
		if got := len(differences(c.want, c.got, 1)) == 0; got != c.same {
			t.Errorf("%q and %q: same %v, want %v", c.want, c.got, got, c.same)
		}
		if w, g := "{"+strings.TrimSuffix(c.want, ",")+"}", "{"+strings.TrimSuffix(c.got, ",")+"}"; json.Valid([]byte(w)) && sameJSON(w, g) != c.same {
			t.Errorf("%s and %s: same %v, want %v", w, g, !c.same, c.same)
		}
	}
	const page = "<meta charset=x>\n<p>Front <b>foot</b> &lt; 50&nbsp;%</p><script>a()</script><p>made by evenfoot 0.1.0+abc, 3 May 2026</p>"
	if got, want := pageText(page), "Front\nfoot\n< 50 %\nmade by *, *\n"; got != want {
		t.Errorf("the page's text is %q, want %q", got, want)
	}
	if got, err := goldenJSON("{\n  \"a\": {\n    \"low\": 0.12345678912,\n    \"n\": 12345678912\n  }\n}"); err != nil || got != "{\n  \"a\": { \"low\": 0.123456789, \"n\": 12345678912 }\n}" {
		t.Errorf("%q, %v", got, err)
	}
}
