package report

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/filter/align"
	"evenfoot/report/words"
)

// TestLooseSensorIsNotTheDeck: what a sensor shows that moves against the board
// is not drawn as the board's pitch, and the page says why.
func TestLooseSensorIsNotTheDeck(t *testing.T) {
	loose := align.Finding{Kind: align.Loose, At: 592, Pitch: 0.6, Heel: 0.1, Heading: 0.2}
	const why = "The sensor is not fixed to the board: from 9:52 on, in straight riding it swings by 34° in pitch, 6° in heel and 11° in heading."
	r := fixture()
	names := func() (all []string) {
		for _, x := range (&builder{r: r}).traces() {
			all = append(all, x.label)
		}
		return all
	}
	if got := strings.Join(names(), " "); got != "speed pitch heel" {
		t.Errorf("a fixed sensor gives the traces %q", got)
	}
	r.Mount.Rigid, r.Mount.Why = false, loose
	r.Motion.Mount.Rigid, r.Motion.Mount.Why = false, loose
	r.PitchLaw, r.Law = nil, nil
	if got := strings.Join(names(), " "); got != "speed" {
		t.Errorf("a loose sensor gives the traces %q", got)
	}
	p := pageOf(t, r, Options{})
	if !strings.Contains(p, why) || !strings.Contains(p, "its pitch is not used") {
		t.Error("the page does not say why the sensor is refused")
	}
	if w := words.For(r, words.Units{}.OrDefault()); len(w.Limits) == 0 || !strings.HasPrefix(w.Limits[0], why) {
		t.Errorf("with advice: %q", w.Limits)
	}
	r.Advice = nil
	if w := words.For(r, words.Units{}.OrDefault()); !strings.Contains(w.Today, "not fixed to the board") {
		t.Errorf("without advice: %q", w.Today)
	}
}

// TestOneSpeedIsSaidOnce: a log of one speed does not compare it with itself.
func TestOneSpeedIsSaidOnce(t *testing.T) {
	r := fixture()
	r.RangeLow, r.RangeHigh = 16*kn, 16.3*kn
	w := words.For(r, words.Units{}.OrDefault())
	for _, s := range []string{w.Today, w.Feel} {
		if n := strings.Count(s, "16"+words.NBSP+"kn"); n > 1 {
			t.Errorf("said %d times: %q", n, s)
		}
	}
	if !strings.Contains(w.Today, "16"+words.NBSP+"kn") {
		t.Errorf("today: %q", w.Today)
	}
}

// TestFitBySentences: what does not fit goes by whole sentences, what is needed
// least first; nothing vital goes, and of the cautions no sentence.
func TestFitBySentences(t *testing.T) {
	p := newTextPage(TextOptions{})
	p.head("Title")
	p.row("Vital", "First sentence. "+strings.Repeat("word ", 20)+"end.", vital)
	p.row("Mind", "Slowly. Check the screws.", uncut)
	p.row("Needed", strings.Repeat("word ", 20)+"end. "+strings.Repeat("more ", 20)+"gone.", needed)
	p.row("Spare", strings.Repeat("word ", 20)+"gone.", spare)
	p.fit(6)
	var all []string
	for i := range p.rows {
		all = append(all, p.layout(i)...)
	}
	s := strings.Join(all, "\n")
	if len(all) > 6 || strings.Contains(s, "...") || strings.Contains(s, "gone") || strings.Count(s, "end.") != 2 {
		t.Errorf("%d lines:\n%s", len(all), s)
	}
	p.fit(2)
	if s := p.rows[1].text; s != "First sentence." {
		t.Errorf("of what is vital %q is left", s)
	}
	if s := p.rows[2].text; s != "Slowly. Check the screws." {
		t.Errorf("of the cautions %q is left", s)
	}
	var b bytes.Buffer
	r := fixture()
	r.Advice.Why = slices.Repeat([]advice.Reason{{Kind: advice.NoLogger, Doubt: 0.7 * deg, Then: 0.4 * deg}}, 12)
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if s := b.String(); strings.Contains(s, " ...") {
		t.Errorf("cut inside a sentence:\n%s", s)
	}
	for name, r := range map[string]*analysis.Result{"step": r, "open": notEnough()} {
		b.Reset()
		if err := Text(&b, r, TextOptions{}); err != nil {
			t.Fatal(err)
		}
		w := words.For(r, words.Units{}.OrDefault())
		for _, label := range []string{w.SureTag, "Feel", "Mind", "More"} {
			if !strings.Contains(b.String(), "\n"+label) {
				t.Errorf("%s: no %s in\n%s", name, label, b.String())
			}
		}
	}
}

// TestOnlyOneWithASetup: a session cannot be the most even of one.
func TestOnlyOneWithASetup(t *testing.T) {
	one, bare := fixture(), fixture()
	bare.Setup, bare.Advice, bare.FootLoad = nil, nil, nil
	var b bytes.Buffer
	if err := CompareText(&b, comparison([]*analysis.Result{one, bare}, nil), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if s := b.String(); strings.Contains(s, "most even") || !strings.Contains(s, "Only Ines") {
		t.Error(s)
	}
	if err := CompareHTML(&b, comparison([]*analysis.Result{one, bare}, nil), Options{}); err != nil {
		t.Fatal(err)
	}
	if s := b.String(); strings.Contains(s, "template:") || strings.Contains(s, "nil pointer") || !strings.Contains(s, "no step yet") {
		t.Error(s)
	}
}
