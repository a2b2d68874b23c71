package report

import (
	"bytes"
	"flag"
	"html"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

var update = flag.Bool("update", false, "write the golden files anew")

// TestWords holds the words on the terminal to golden files; read the
// difference before -update.
func TestWords(t *testing.T) {
	all := odd()
	top := fixture()
	top.Setup.Foil.Stabilizer.Mount = "bottom"
	all["bottom mount"] = top
	down := fixture()
	down.Advice.Shim, down.Advice.Cards = -0.76, -1
	down.Advice.Step.Raise *= -1
	fixtureLoad(down)
	all["leading edge down"] = down
	names := make([]string, 0, len(all))
	for n := range all {
		names = append(names, n)
	}
	slices.Sort(names)
	var b bytes.Buffer
	for _, n := range names {
		b.WriteString("---- " + n + "\n")
		checkText(t, n, &b, all, TextOptions{})
	}
	b.WriteString("---- whole, in miles and inches\n")
	checkText(t, "whole", &b, all, TextOptions{Units: words.Units{Speed: "mph", Length: "in", Mass: "lb"}})
	b.WriteString("---- two sessions\n")
	ba := &advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.93, Says: []advice.Reason{{Kind: advice.FeltAsForetold}}, Changed: []advice.Difference{{Key: "foil.stabilizer.shim_mm", To: 0.00076}}}
	if err := CompareText(&b, comparison(fixtures(2), ba), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	var three bytes.Buffer
	change := analysis.Change{Judged: ba}
	season := &analysis.Comparison{Results: fixtures(3)}
	season.Athletes = []analysis.Athlete{{Sessions: season.Results, Changes: []analysis.Change{change, change}}}
	if err := CompareText(&three, season, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if s := three.String(); strings.Contains(s, "…") || !strings.Contains(s, "\nNext ") || !strings.Contains(s, "with helmet and vest") || !strings.Contains(s, "\nMind ") {
		t.Errorf("three sessions: a cut sentence, or no step with its cautions:\n%s", s)
	}
	b.WriteString("---- forty sessions\n")
	before := b.Len()
	if err := CompareText(&b, comparison(fixtures(40), ba), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	fits(t, "forty sessions", b.String()[before:])
	golden := filepath.Join("testdata", "words.txt")
	if *update {
		if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got := b.String(); got != string(want) {
		g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
		for i := range min(len(g), len(w)) {
			if g[i] != w[i] {
				t.Fatalf("line %d of %s:\n got  %s\n want %s", i+1, golden, g[i], w[i])
			}
		}
		t.Fatalf("%d lines, want %d", len(g), len(w))
	}
}

func checkText(t *testing.T, name string, b *bytes.Buffer, all map[string]*analysis.Result, o TextOptions) {
	t.Helper()
	before := b.Len()
	if err := Text(b, all[name], o); err != nil {
		t.Fatal(err)
	}
	fits(t, name, b.String()[before:])
}

// fits holds 24 lines of at most 80 columns.
func fits(t *testing.T, name, s string) {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(s, "\n"), "\n")
	if len(lines) > 24 {
		t.Errorf("%s: %d lines", name, len(lines))
	}
	for _, l := range lines {
		if n := utf8.RuneCountInString(l); n > 80 {
			t.Errorf("%s: %d columns: %s", name, n, l)
		}
	}
}

// TestColourCarriesNothing: without its escapes the coloured text is the plain one.
func TestColourCarriesNothing(t *testing.T) {
	var plainText, colour bytes.Buffer
	r := fixture()
	if err := Text(&plainText, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := Text(&colour, r, TextOptions{Color: true}); err != nil {
		t.Fatal(err)
	}
	strip := strings.NewReplacer("\x1b[1m", "", "\x1b[2m", "", "\x1b[0m", "")
	if strip.Replace(colour.String()) != plainText.String() {
		t.Errorf("colour changes the words:\n%s", colour.String())
	}
	if !strings.Contains(colour.String(), "\x1b[1m") {
		t.Error("no colour although asked for")
	}
}

// TestSameWords: what the terminal says is on the page, letter for letter.
func TestSameWords(t *testing.T) {
	r := fixture()
	p := pageOf(t, r, Options{})
	w := words.For(r, words.Units{}.OrDefault())
	for _, s := range []string{w.Head, w.Today, w.Sure, w.Feel, w.Mind} {
		if s == "" || !strings.Contains(html.UnescapeString(p), s) {
			t.Errorf("the page does not say %q", s)
		}
	}
}

func TestUnits(t *testing.T) {
	for _, c := range []struct {
		in   string
		want words.Units
		bad  bool
	}{
		{"", words.Units{Speed: "kn", Length: "cm", Mass: "kg"}, false},
		{"kmh", words.Units{Speed: "kmh", Length: "cm", Mass: "kg"}, false},
		{"lb, IN ,mph", words.Units{Speed: "mph", Length: "in", Mass: "lb"}, false},
		{"kn,kmh", words.Units{}, true},
		{"furlong", words.Units{}, true},
	} {
		got, err := words.ParseUnits(c.in)
		if got != c.want || (err != nil) != c.bad {
			t.Errorf("words.ParseUnits(%q) = %v, %v", c.in, got, err)
		}
	}
	imperial := words.Units{Speed: "mph", Length: "in", Mass: "lb"}
	for _, c := range []struct{ got, want string }{
		{words.Units{}.OrDefault().SpeedText(10 * 1852 / 3600.0), "10 kn"},
		{imperial.SpeedText(10 * 1609.344 / 3600), "10 mph"},
		{words.Units{Speed: "kmh"}.SpeedText(10), "36 km/h"},
		{words.Units{Speed: "mps"}.SpeedText(10), "10.0 m/s"},
		{imperial.LengthText(0.254), "10.00 in"},
		{imperial.MassText(45.359237), "100 lb"},
		{imperial.Thin(0.00076), "0.76 mm / 0.030 in"},
		{words.Fixed(-0.04, 1), "0.0"},
		{words.Fixed(-0.06, 1), "−0.1"},
		{words.Between(interval.Interval{Value: 1, Low: -0.2, High: 2}, 1, 1), "1.0 (−0.2 to 2.0)"},
		{words.Between(interval.Exact(3), 1, 0), "3"},
		{words.Between(interval.Unknown(), 1, 0), "not known"},
		{words.Clock(3725), "1:02:05"},
		{words.Minutes(4000), "1 h 07 min"},
	} {
		if got := strings.ReplaceAll(c.got, words.NBSP, " "); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestClean(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"  Lagoon\n\tfirst ", "Lagoon first"},
		{"a\u202eb\u200fc\x1b[31m", "abc[31m"},
		{"\xff\xfe ok", "ok"},
		{strings.Repeat("x", 200), strings.Repeat("x", words.NameLimit-1) + "…"},
	} {
		if got := words.Clean(c.in); got != c.want {
			t.Errorf("clean(%q) = %q, want %q", c.in, got, c.want)
		}
	}
	if got := words.FileName(`C:\Users\someone\log.csv`); got != "log.csv" {
		t.Errorf("fileName: %q", got)
	}
}
