package report

import (
	"bytes"
	"html"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

var usual = words.Units{}.OrDefault()

// notEnough is a result that may not advise, with what the advice would list.
func notEnough() *analysis.Result {
	r := fixture()
	a := r.Advice
	a.Verdict, a.Shim, a.Cards, a.ShimPlace, a.MoveNow = advice.NotEnough, 0, 0, nil, 0
	a.NextStep = "Change nothing yet; first find out more: note how the load feels on the feet at 23 kn."
	a.WorthKnowing = []advice.Observation{
		{What: "Ride once with one card more under the stabilizer's trailing edge and note the feel at 11 kn, 17 kn and 23 kn", ShimSDNow: 1, ShimSD: 0.5, ChangesTrim: true},
		{What: "Note how the load feels on the feet at 23 kn", ShimSDNow: 1, ShimSD: 0.6},
		{What: "Note how the load feels on the feet at 11 kn", ShimSDNow: 1, ShimSD: 0.8},
		{What: "Measure the stabilizer's angle to the wing with an angle gauge on both chord lines, to 0.2°", ShimSDNow: 1, ShimSD: 0.9},
	}
	return r
}

// TestNotEnoughSaysOneThing: the trim stays, the feet are asked first, and a
// card is an experiment that comes out again.
func TestNotEnoughSaysOneThing(t *testing.T) {
	w := words.For(notEnough(), usual)
	if !strings.Contains(w.Head, "note how the load feels on your feet at 11 kn and 23 kn") || strings.Contains(w.Head, "card") {
		t.Errorf("headline %q", w.Head)
	}
	var all []string
	for _, s := range w.Steps {
		all = append(all, s.Do+" "+s.How)
	}
	all = append(all, w.Buys...)
	for _, s := range all {
		if strings.Contains(s, "one card") && !strings.Contains(strings.ToLower(s), "as an experiment") {
			t.Errorf("a card without the word experiment: %q", s)
		}
	}
	if s := strings.Join(all, " "); !strings.Contains(s, "take it out again") || !strings.Contains(s, "angle gauge") {
		t.Errorf("steps %q", s)
	}
	r := notEnough()
	r.Advice.NextStep = "Change nothing yet: first check the slope of the pitch law: it asks for a lift area of 0.46 m²/rad where the setup gives 0.62 (check foil.wing.area_cm2)."
	w = words.For(r, usual)
	if !strings.Contains(w.Head, "26 % less than the setup's (check foil.wing.area_cm2)") && !strings.Contains(w.Head, "26"+words.NBSP+"% less than the setup's (check foil.wing.area_cm2)") {
		t.Errorf("headline %q", w.Head)
	}
	if len(w.Steps) != 1 {
		t.Errorf("what contradicts itself asks for %d things", len(w.Steps))
	}
}

// TestTrialOfACard says whether it is the advised card.
func TestTrialOfACard(t *testing.T) {
	const what = "Ride once with one card more under the stabilizer's leading edge and note the feel at 12 kn, 17 kn and 22 kn"
	r := fixture()
	if s := words.TryOut(r, what); s != "Ride with the advised card in (this one, not a second) and note the feel at 12 kn, 17 kn and 22 kn" {
		t.Error(s)
	}
	r.Advice.Shim, r.Advice.Cards = 0, 0
	if s := words.TryOut(r, what); !strings.HasPrefix(s, "As an experiment, ride once with one card more than today") || !strings.HasSuffix(s, "take it out again") {
		t.Error(s)
	}
	if s := words.TryOut(r, strings.Replace(what, "more", "less", 1)); !strings.HasSuffix(s, "put the card back") {
		t.Error(s)
	}
	if s := words.TryOut(r, "Fly upside down"); !strings.HasPrefix(s, "As an experiment: fly") {
		t.Error(s)
	}
}

// TestLoose names the speeds of a stiffness of zero or less.
func TestLoose(t *testing.T) {
	for _, c := range []struct {
		k    []float64
		want string
	}{
		{[]float64{1, 2, 3, 4, 5}, ""},
		{[]float64{-1, 0, -3, -4, -5}, words.EverySpeed},
		{[]float64{-1, -1, 3, 4, 5}, "up to 12 kn"},
		{[]float64{1, 2, 3, -4, -5}, "from 14 kn on"},
		{[]float64{1, -2, -3, 4, 5}, "from 12 to 13 kn"},
		{[]float64{-1, 2, -3, 4, -5}, "up to 11 kn, at 13 kn and from 15 kn on"},
	} {
		var ks []words.StiffAt
		for i, k := range c.k {
			ks = append(ks, words.StiffAt{Speed: float64(11+i) * kn, K: interval.Exact(k)})
		}
		if got := strings.ReplaceAll(words.Loose(ks, usual), words.NBSP, " "); got != c.want {
			t.Errorf("%v: %q, want %q", c.k, got, c.want)
		}
	}
}

// withStiffness gives the fixture's foils a stiffness that the words take from
// the load curve, and a step known by its option only.
func withStiffness(k ...float64) *analysis.Result {
	r := fixture()
	r.StepEffect = nil
	for i := range r.FootLoad {
		v := float64(i) / float64(len(r.FootLoad)-1) * float64(len(k)-1)
		j := min(int(v), len(k)-2)
		r.FootLoad[i].Stiffness = interval.Normal(k[j]+(v-float64(j))*(k[j+1]-k[j]), 0.1)
	}
	return r
}

// TestStiffnessSentences hold for negative values and for curves that turn.
func TestStiffnessSentences(t *testing.T) {
	for _, c := range []struct {
		k             []float64
		want, without string
	}{
		{[]float64{5, 10}, "gets firmer with speed", "livelier"},
		{[]float64{10, 5}, "gets livelier with speed", "firmer"},
		{[]float64{10, 3, 12}, "least at about", "gets"},
		{[]float64{-10, -2}, "at any of your speeds", "firmer"},
		{[]float64{-2, -10}, "at any of your speeds", "livelier"},
		{[]float64{10, -10}, "probably does not hold its pitch", "livelier"},
		{[]float64{-10, 10}, "At the other speeds it does", "firmer"},
	} {
		r := withStiffness(c.k...)
		s := (&builder{r: r, u: usual}).stiffnessSays(nil)
		if !strings.Contains(s, c.want) || strings.Contains(s, c.without) {
			t.Errorf("%v: %q", c.k, s)
		}
	}
}

// TestCautionStays: a step that takes the stiffness to zero or below is warned
// of, whether the ratio to today's is known or not.
func TestCautionStays(t *testing.T) {
	r := fixture()
	o := words.OutcomeOf(r)
	span := words.Loose(words.Within(r, o.Stiffness), usual)
	if span == "" {
		t.Fatal("the fixture's step should leave the board loose at some speeds")
	}
	for _, ratio := range []interval.Interval{o.Ratio, interval.Unknown()} {
		o.Ratio = ratio
		for _, s := range []string{words.Mind(r, o, usual), words.Firmness(r, o, usual)} {
			if !strings.Contains(strings.ToLower(s), span) || !strings.Contains(s, "not hold its pitch") {
				t.Errorf("ratio %v: %q lacks %q", ratio, s, span)
			}
		}
		if s := words.Mind(r, o, usual); !strings.Contains(s, "small steps") || !strings.Contains(s, "maker's torque") {
			t.Errorf("caution %q", s)
		}
	}
	k := withStiffness(-5, -3)
	k.Advice.Verdict = advice.Keep
	if w := words.For(k, usual); !strings.Contains(w.Feel, "at any of your speeds") {
		t.Errorf("kept trim: %q", w.Feel)
	}
}

// TestOutcomeIsTheStep: what is foretold is of the card and the move that are
// advised, not of the move that would go best with the card.
func TestOutcomeIsTheStep(t *testing.T) {
	r := fixture()
	r.Advice.MoveNow = 0
	r.Foretell()
	card := words.ShareOf(words.OutcomeOf(r).Share, 17*kn).Value
	r.Advice.MoveNow = 20
	r.Foretell()
	both := words.ShareOf(words.OutcomeOf(r).Share, 17*kn).Value
	// Feet stand 53 cm apart: 20 mm are 3.8 % of the stance, and the board's
	// weight comes along.
	if d := both - card; d < 0.037 || d > 0.047 {
		t.Errorf("a move of 20 mm changes the share by %v", d)
	}
}

func TestHeavy(t *testing.T) {
	for share, want := range map[float64]string{0.61: "front-heavy", 0.60: "a little front-heavy", 0.56: "a little front-heavy", 0.55: "even", 0.45: "even", 0.44: "a little back-heavy", 0.39: "back-heavy"} {
		if got := words.Heavy(share); got != want {
			t.Errorf("%v: %q, want %q", share, got, want)
		}
	}
	r := fixture()
	for i := range r.FootLoad {
		r.FootLoad[i].FrontShare = interval.Exact(0.5 + 0.15*math.Sin(math.Pi*(float64(r.FootLoad[i].Speed)/kn-11)/12))
	}
	if s := words.Today(r, usual); !strings.Contains(s, "but 65") {
		t.Errorf("even at the ends alone: %q", s)
	}
}

// TestOneWayOfChances: a chance is a percentage, and never a certainty.
func TestOneWayOfChances(t *testing.T) {
	for p, want := range map[float64]string{0.5: "50 %", 0.97: "97 %", 0.995: "over 99 %", 1: "over 99 %", 0: "under 1 %", math.NaN(): words.Unknown} {
		if got := strings.ReplaceAll(words.Chance(p), words.NBSP, " "); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
	p := html.UnescapeString(pageOf(t, fixture(), Options{}))
	if m := regexp.MustCompile(`\d+ in 10+\b|100 %`).FindString(strings.ReplaceAll(p, words.NBSP, " ")); m != "" {
		t.Errorf("the page says %q", m)
	}
}

// TestApart: a step that points away from the whole way says why.
func TestApart(t *testing.T) {
	r := fixture()
	if s := words.Apart(r); s != "" {
		t.Errorf("the same way: %q", s)
	}
	r.Advice.Cards, r.Advice.Shim, r.Advice.MoveNow = 0, 0, -16
	r.Advice.StabilizerChange, r.Advice.FoilMove = interval.Normal(0.3, 0.3), interval.Normal(1, 15)
	if s := words.Apart(r); !strings.Contains(s, "not yet sure enough for a card") {
		t.Errorf("another way: %q", s)
	}
	r.Advice.Why = []string{"the stabilizer's angle is not yet sure enough for a card; this move helps until then."}
	if s := words.Apart(r); s != "" {
		t.Errorf("said twice: %q", s)
	}
}

// TestEarlierIsNamed: what counts beside this log is on page and terminal.
func TestEarlierIsNamed(t *testing.T) {
	r := fixture()
	r.Session.Earlier = []string{"Lagoon, in May", "<b>"}
	p := pageOf(t, r, Options{})
	var b bytes.Buffer
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{html.UnescapeString(p), b.String()} {
		if !strings.Contains(s, `"Lagoon, in May" and "<b>" count`) {
			t.Errorf("not named in %.2000q", s)
		}
	}
	if strings.Contains(p, "<b>\"") {
		t.Error("a title became markup")
	}
}

// TestPitchCover: a logger that ran for a part of the ride is said to.
func TestPitchCover(t *testing.T) {
	r := fixture()
	if s := pitchFor(r); s != "" {
		t.Errorf("a whole log: %q", s)
	}
	n := len(r.Motion.Time)
	r.Motion.Segments = [][2]int{{0, n / 4}, {n / 2, n / 2}, {n - n/4, n}}
	// Rides of 80 s, one each 90 s from 60 s on, the last from 2490 s. The logger
	// ran to 675 s (6 rides and 75 s) and from 2025 s on (5 s and 6 rides): 1040 s.
	s := pitchFor(r)
	if s != "pitch for 17 min of it" {
		t.Errorf("half a log: %q", s)
	}
	if !strings.Contains(ridden(r, usual), s) || !strings.Contains(pageOf(t, r, Options{}), s) {
		t.Error("terminal or page does not say it")
	}
}

// withOther puts somebody heavier on the fixture.
func withOther() *analysis.Result {
	r := fixture()
	o := *r.Setup
	o.Rider.Name, o.Rider.Mass, o.Rider.Height, o.Rider.Level = "", 92, 1.9, "intermediate"
	r.Other = &o
	a := *r.Advice
	a.Shim, a.Cards, a.MoveNow, a.ShimPlace = 0, 0, -40, nil
	r.OtherRider = &advice.OtherRider{Advice: a, PitchChange: interval.Normal(0.7, 0.05), WingWalk: interval.Normal(11, 1), Curve: a.Options[0].Curve}
	return r
}

// TestOtherRidersBlock: one headline and title, the owner's; the other rider
// has mass, shares, a step, and a wing that moves by itself.
func TestOtherRidersBlock(t *testing.T) {
	r := withOther()
	p := strings.ReplaceAll(html.UnescapeString(pageOf(t, r, Options{})), words.NBSP, " ")
	head, block, ok := strings.Cut(p, `<section id="other"`)
	if !ok || !strings.Contains(head, "Put one card") {
		t.Fatal("no block, or the headline is not the owner's")
	}
	block, _, _ = strings.Cut(block, "</section>")
	for _, must := range []string{"92 kg", "This rider's next step", "Slide the foil 4.0 cm back.", "of the load at 11 kn and", "more nose-up than Ines", "1.1 cm further forward under the feet: it comes by itself and is not a change to make"} {
		if !strings.Contains(block, must) {
			t.Errorf("the block lacks %q:\n%s", must, block)
		}
	}
	if strings.Contains(head, "Slide the foil 4.0 cm back") {
		t.Error("the other rider's step is among the owner's")
	}
	var b bytes.Buffer
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	fits(t, "other rider", b.String())
	if s := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(s, "Their next step: Slide the foil 4.0 cm back.") {
		t.Error(b.String())
	}
}

// TestOrderOfBeforeAndAfter: A is before and B is after, in whatever order the
// folders were named.
func TestOrderOfBeforeAndAfter(t *testing.T) {
	rs := fixtures(2)
	for i, r := range rs {
		d := time.Date(2026, 9, 20+i, 10, 0, 0, 0, time.UTC)
		r.Session.Start = &d
	}
	ba := &advice.BeforeAfter{Verdict: advice.CannotTell, ChanceBetter: 0.9}
	page := func(rs []*analysis.Result, ba *advice.BeforeAfter) string {
		p := newComparePage(rs, Options{Before: ba})
		return p.All.Rows[0].Cells[0] + " " + p.All.Rows[0].Cells[1]
	}
	turned := []*analysis.Result{rs[1], rs[0]}
	for _, order := range [][]*analysis.Result{rs, turned} {
		if got := page(order, ba); got != "A Outing 1 on the lagoon" {
			t.Errorf("first row %q", got)
		}
	}
	if got := page(turned, nil); got != "A Outing 2 on the lagoon" {
		t.Errorf("without a judgement the order is the user's, not %q", got)
	}
}

// TestVerdictHead: the headline claims no more than rows and chance do.
func TestVerdictHead(t *testing.T) {
	row := func(z float64) []advice.Comparison { return []advice.Comparison{{What: "x", Sigmas: num(z)}} }
	for _, c := range []struct {
		b             advice.BeforeAfter
		want, without string
	}{
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.9, Rows: row(1)}, "more even than before", "not"},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.5, Rows: row(1)}, "is not clear", ""},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.1, Rows: row(1)}, "less even", ""},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.9, Rows: row(2)}, "not all rows agree", "even"},
		{advice.BeforeAfter{Verdict: advice.CannotTell, ChanceBetter: 0.99, Rows: row(1)}, "cannot be told yet", "more even"},
		{advice.BeforeAfter{Verdict: advice.NotAsPredicted, ChanceBetter: 0.99}, "did not do", "more even"},
	} {
		got := verdictHead(&c.b)
		if !strings.Contains(got, c.want) || c.without != "" && strings.Contains(got, c.without) {
			t.Errorf("%s, chance %v: %q", c.b.Verdict, c.b.ChanceBetter, got)
		}
	}
	if a, b := quantity("front foot's share at 13 kn"), quantity("pitch at zero lift"); !strings.Contains(a, "after the change") || !strings.HasPrefix(b, "change of the") {
		t.Errorf("level %q, change %q", a, b)
	}
}

// TestMountDrawing: the shim lies between fuselage and stabilizer on the side
// that the mount asks for.
func TestMountDrawing(t *testing.T) {
	y := regexp.MustCompile(`[ML][0-9.]+ ([0-9.]+)`)
	middle := func(svg, class string) float64 {
		m := regexp.MustCompile(`class="` + class + `"[^>]* d="([^"]+)"`).FindStringSubmatch(svg)
		if m == nil {
			t.Fatalf("no %s", class)
		}
		var ys []float64
		for _, p := range y.FindAllStringSubmatch(m[1], -1) {
			ys = append(ys, words.LeadingNumber(p[1]))
		}
		return (slices.Min(ys) + slices.Max(ys)) / 2
	}
	for mount, below := range map[string]bool{"top": false, "bottom": true} {
		r := fixture()
		r.Setup.Foil.Stabilizer.Mount = mount
		svg := string(mountDrawing(r, usual))
		fuselage, shim, stab := middle(svg, "part"), middle(svg, "spacer"), middle(svg, "part stab")
		if (shim > fuselage) != below || (stab > fuselage) != below {
			t.Errorf("%s: fuselage %.0f, shim %.0f, stabilizer %.0f (downwards)", mount, fuselage, shim, stab)
		}
		for _, name := range []string{">fuselage<", ">stabilizer<"} {
			if !strings.Contains(svg, name) {
				t.Errorf("%s: no %s", mount, name)
			}
		}
		want := words.Choose(below, "between fuselage and stabilizer, at its trailing edge", "between fuselage and stabilizer, under its leading edge")
		if s := words.ShimStep(r, usual); !strings.Contains(s.Do, want) {
			t.Errorf("%s: %q", mount, s.Do)
		}
	}
}
