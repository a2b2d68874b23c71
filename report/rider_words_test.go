package report

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/finish"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/report/words"
)

var usual = words.Units{}.OrDefault()

// notEnough is a result that may not advise, with what the advice would list.
func notEnough() *analysis.Result {
	r := fixture()
	a := r.Advice
	a.Verdict, a.Shim, a.Cards, a.ShimPlace, a.MoveNow = advice.NotEnough, 0, 0, nil, 0
	a.Next.Kind, a.Step = advice.FindOut, trim.Change{}
	a.WorthKnowing = []advice.Observation{
		{Kind: advice.RideCard, Speeds: []float64{11 * kn, 17 * kn, 23 * kn}, Edge: "trailing edge", ShimSDNow: 1, ShimSD: 0.5, ChangesTrim: true},
		{Kind: advice.NoteFeel, Speeds: []float64{23 * kn}, ShimSDNow: 1, ShimSD: 0.6},
		{Kind: advice.NoteFeel, Speeds: []float64{11 * kn}, ShimSDNow: 1, ShimSD: 0.8},
		{Kind: advice.MeasureAngle, SD: 0.2 * deg, ShimSDNow: 1, ShimSD: 0.9},
	}
	return r
}

// TestNotEnoughSaysOneThing: the trim stays, the feet are asked first, and a
// card is an experiment that comes out again.
func TestNotEnoughSaysOneThing(t *testing.T) {
	w := words.For(notEnough(), usual)
	if !strings.Contains(w.Head, "note how the load feels on your feet at 11"+words.NBSP+"kn and 23"+words.NBSP+"kn") || strings.Contains(w.Head, "card") {
		t.Errorf("headline %q", w.Head)
	}
	var all []string
	for _, s := range w.Steps {
		all = append(all, s.Do+" "+s.How)
	}
	for _, s := range all {
		if strings.Contains(s, "one card") && !strings.Contains(strings.ToLower(s), "as an experiment") {
			t.Errorf("a card without the word experiment: %q", s)
		}
	}
	if s := strings.Join(all, " "); !strings.Contains(s, "take it out again") || !strings.Contains(s, "angle gauge") {
		t.Errorf("steps %q", s)
	}
	r := notEnough()
	r.Advice.Next = advice.Reason{Kind: advice.CheckConflict, Conflict: &trim.Conflict{Kind: trim.SlopeKind, Asked: 0.46, Stated: 0.62}}
	w = words.For(r, usual)
	if !strings.Contains(w.Head, "lifts 26"+words.NBSP+"% less than the setup's (check foil.wing.area_cm2") {
		t.Errorf("headline %q", w.Head)
	}
	if len(w.Steps) != 1 {
		t.Errorf("what contradicts itself asks for %d things", len(w.Steps))
	}
}

// TestTrialOfACard says that it is undone.
func TestTrialOfACard(t *testing.T) {
	for _, c := range []struct {
		takeOut bool
		want    string
	}{{false, "take it out again"}, {true, "put the card back"}} {
		r := notEnough()
		r.Advice.WorthKnowing = []advice.Observation{{Kind: advice.RideCard, Speeds: []float64{12 * kn, 17 * kn}, Edge: "leading edge", TakeOut: c.takeOut, ChangesTrim: true}}
		steps := words.For(r, usual).Steps
		if s := steps[len(steps)-1].Do; !strings.HasPrefix(s, "Or, as an experiment, ride once with one card") || !strings.Contains(s, c.want) {
			t.Error(s)
		}
	}
}

// TestCautionStays: a step after which the load may fall with speed is warned
// of, and a step that makes the board livelier.
func TestCautionStays(t *testing.T) {
	r := fixture()
	for i := range r.FootLoad {
		r.FootLoad[i].Gradient, r.FootLoad[i].GradientAfter = interval.Normal(2, 0.3), interval.Normal(1, 0.3)
	}
	r.Advice.Overshoot = 0.3
	if s := usual.Tell("mind", usual.Sheet(r)); !strings.Contains(s, "drop its nose") || !strings.Contains(s, "chance 30") || !strings.Contains(s, "small steps") || !strings.Contains(s, "maker's torque") {
		t.Errorf("caution %q", s)
	}
	r.Advice.Overshoot, r.Advice.GradientNow, r.Advice.GradientAfter = 0.02, interval.Normal(2.3, 0.3), interval.Normal(0.9, 0.3)
	if s := usual.Tell("mind", usual.Sheet(r)); strings.Contains(s, "drop its nose") || !strings.Contains(s, "livelier") {
		t.Errorf("caution %q", s)
	}
	last := len(r.FootLoad) - 1
	for i := range r.FootLoad {
		r.FootLoad[i].Gradient, r.FootLoad[i].GradientAfter = interval.Normal(0.6, 0.3), interval.Normal(float64(2*i-last)/10, 0.3)
	}
	if s := spaced(usual.Tell("mind", usual.Sheet(r))); !strings.Contains(s, "From 11 kn to 16 kn") || !strings.Contains(s, "Today it does not drop its nose there.") || !strings.Contains(s, "at low speed too") {
		t.Errorf("a step that drops the nose at low speed alone: %q", s)
	}
	for i := range r.FootLoad {
		r.FootLoad[i].Gradient = r.FootLoad[i].GradientAfter
	}
	if s := usual.Tell("mind", usual.Sheet(r)); !strings.Contains(s, "Today it drops its nose there as well.") {
		t.Errorf("a board that does so today: %q", s)
	}
	k := notEnough()
	k.Advice.Overshoot = 0.3
	for i := range k.FootLoad {
		k.FootLoad[i].Gradient, k.FootLoad[i].GradientAfter = interval.Normal(1, 0.3), interval.Normal(1, 0.3)
	}
	if w := words.For(k, usual); !strings.Contains(w.Mind, "drop its nose") {
		t.Errorf("a trim that stays: %q", w.Mind)
	}
	for _, w := range []words.Answer{words.For(k, usual), words.For(r, usual)} {
		if s := w.Head + w.Feel + w.Mind + w.Sure; strings.Contains(s, "hold its pitch") || strings.Contains(s, "stiff") {
			t.Errorf("says that a board holds its pitch: %q", s)
		}
	}
}

// TestReadersUnits: nothing in the words is in other units than asked for.
func TestReadersUnits(t *testing.T) {
	metric := regexp.MustCompile(`[0-9] ?(kn|km/h|m/s|cm|kg|m)\b`)
	imperial := words.Units{Speed: "mph", Length: "in", Mass: "lb"}
	r := withOther()
	p := interval.Normal(-0.04, 0.01)
	conflict := trim.Conflict{Kind: trim.NoteKind, Speed: 8, Asked: 0.7, Stated: 0.5}
	r.OtherRider.Notes = []advice.Reason{{Kind: advice.StanceByHeight, Width: 0.55}}
	r.Advice.Why = []advice.Reason{{Kind: advice.Stops, Speed: 11, Gradient: &p, Left: 0.5}, {Kind: advice.PartOfTheWay, Move: 0.06, Limit: 0.03}, {Kind: advice.BestBeyond, Move: 0.1, Turn: 0.01},
		{Kind: advice.TrackAssumed}, {Kind: advice.BestPlace, Place: &p}, {Kind: advice.RoomNeeded, Move: 0.1, Feet: -0.1}, {Kind: advice.OtherStabilizer, Area: 0.02, Share: 0.1}, {Kind: advice.InConflict, Conflict: &conflict}}
	r.Advice.WorthKnowing = []advice.Observation{{Kind: advice.BalanceBoard, SD: 0.02, ShimSDNow: 1, ShimSD: 0.5}, {Kind: advice.FindNulls, Places: []float64{-0.025, 0, 0.025}, ShimSDNow: 1, ShimSD: 0.5, ChangesTrim: true}, {Kind: advice.NoteFeel, Speeds: []float64{8}, ShimSDNow: 1, ShimSD: 0.5}}
	w, o := words.For(r, imperial), words.ForOther(r, imperial)
	text := fmt.Sprint(w, o, imperial.Changed([]advice.Difference{{Key: "stance.front_cm", From: 0.3, To: 0.32}, {Key: "rider.mass_kg", From: 80, To: 90}}),
		imperial.Say(analysis.Note{Kind: analysis.RangeCut, Range: &[2]float64{5, 12}, Ridden: &[2]float64{6, 11}}),
		imperial.SpeedError(&analysis.SpeedError{Known: [2]float64{1, 2}, Slowest: 4, WingArea: 0.13, Mass: 91}))
	if got := metric.FindAllString(strings.ReplaceAll(text, words.NBSP, " "), -1); got != nil {
		t.Errorf("%q in\n%s", got, text)
	}
}

// TestEvenAtTheEndsAlone: a load that is even at both ends and not between.
func TestEvenAtTheEndsAlone(t *testing.T) {
	r := fixture()
	for i := range r.FootLoad {
		r.FootLoad[i].FrontShare = interval.Exact(0.5 + 0.15*math.Sin(math.Pi*(float64(r.FootLoad[i].Speed)/kn-11)/12))
	}
	if s := usual.Sheet(r).Today(); !strings.Contains(s, "but 65") {
		t.Errorf("even at the ends alone: %q", s)
	}
}

// TestOneWayOfChances: a chance is a percentage, and never a certainty.
func TestOneWayOfChances(t *testing.T) {
	for p, want := range map[float64]string{0.5: "50 %", 0.97: "97 %", 0.995: "over 99 %", 1: "over 99 %", 0: "under 1 %", math.NaN(): words.Unknown} {
		if got := strings.ReplaceAll(words.Percent(p), words.NBSP, " "); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
	p := html.UnescapeString(pageOf(t, fixture(), Options{}))
	if m := regexp.MustCompile(`\d+ in 10+\b|100 %`).FindString(strings.ReplaceAll(p, words.NBSP, " ")); m != "" {
		t.Errorf("the page says %q", m)
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
	if s := usual.Sheet(r).Pitch(); s != "" {
		t.Errorf("a whole log: %q", s)
	}
	n := len(r.Motion.Time)
	r.Motion.Segments = [][2]int{{0, n / 4}, {n / 2, n / 2}, {n - n/4, n}}
	// Rides of 80 s, one each 90 s from 60 s on, the last from 2490 s. The logger
	// ran to 675 s (6 rides and 75 s) and from 2025 s on (5 s and 6 rides): 1040 s.
	s := usual.Sheet(r).Pitch()
	if s != "pitch for 17 min of it" {
		t.Errorf("half a log: %q", s)
	}
	if !strings.Contains(usual.Tell("ridden in short", usual.Sheet(r)), s) || !strings.Contains(pageOf(t, r, Options{}), s) {
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
	r.OtherRider = &advice.OtherRider{Advice: a, PitchChange: interval.Normal(0.7, 0.05), WingWalk: interval.Normal(11, 1), PressureMove: interval.Normal(-5, 1), PressureTop: interval.Normal(-46, 4), Curve: a.Options[0].Curve}
	return r
}

// TestOtherRidersBlock: who was asked for leads, with mass, shares, a step, and
// a wing that moves by itself; the owner's step is named as the owner's.
func TestOtherRidersBlock(t *testing.T) {
	r := withOther()
	p := strings.ReplaceAll(html.UnescapeString(pageOf(t, r, Options{})), words.NBSP, " ")
	head, block, ok := strings.Cut(p, `<section id="other"`)
	block, owners, _ := strings.Cut(block, "</section>")
	if !ok || strings.Contains(head, "<h1") || !strings.Contains(owners, "next, for <bdi>Ines</bdi>") || !strings.Contains(owners, "Put one card") {
		t.Fatal("the other rider does not lead, or the owner's step is not named")
	}
	for _, must := range []string{"92 kg", "on the foil of <bdi>Ines</bdi>", "Slide the foil 4.0 cm back.", "of the load at 11 kn and", "more nose-up than Ines", "must press 0.5 cm further back than under Ines, and 4.6 cm further back at 23 kn", "1.1 cm further forward under the feet; both come by themselves", "the model parts from it"} {
		if !strings.Contains(block, must) {
			t.Errorf("the block lacks %q:\n%s", must, block)
		}
	}
	if strings.Contains(owners, "Slide the foil 4.0 cm back") {
		t.Error("the other rider's step is among the owner's")
	}
	var b bytes.Buffer
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	fits(t, "other rider", b.String())
	if s := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(s, "For 92 kg: Slide the foil 4.0 cm back.") || !strings.Contains(s, "Owner Ines on the same foil: Put one card") {
		t.Error(b.String())
	}
}

// TestVerdictHead: the headline claims no more than rows and chance do.
func TestVerdictHead(t *testing.T) {
	row := func(z float64) []advice.Comparison {
		return []advice.Comparison{{Kind: advice.ZeroPitch, Sigmas: num(z), Outcome: words.Choose(z > 1.6, advice.More, advice.AsForetold)}}
	}
	for _, c := range []struct {
		b             advice.BeforeAfter
		want, without string
	}{
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.9, Rows: row(1), Changed: []advice.Difference{{Key: "foil.stabilizer.shim_mm", To: trim.Card}}}, "The card did what was expected: the load is more even", "not"},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.5, Rows: row(1)}, "is not clear", ""},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.1, Rows: row(1)}, "less even", ""},
		{advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.9, Rows: row(2)}, "not all the numbers agree", "even"},
		{advice.BeforeAfter{Verdict: advice.CannotTell, ChanceBetter: 0.99, Rows: row(1)}, "Too early to tell by feel what the change did; by the model the load is more even", "not"},
		{advice.BeforeAfter{Verdict: advice.CannotTell, ChanceBetter: 0.6, Rows: row(1)}, "Too early to tell what", "even"},
		{advice.BeforeAfter{Verdict: advice.NotAsPredicted, ChanceBetter: 0.99}, "did not do", "more even"},
	} {
		got := words.VerdictHead(&c.b)
		if !strings.Contains(got, c.want) || c.without != "" && strings.Contains(got, c.without) {
			t.Errorf("%s, chance %v: %q", c.b.Verdict, c.b.ChanceBetter, got)
		}
	}
	if a, b := quantity(advice.Comparison{Kind: advice.ShareAfter, Speed: 13 * kn}, usual), quantity(advice.Comparison{Kind: advice.ZeroPitch}, usual); !strings.Contains(a, "after the change") || !strings.HasPrefix(b, "change of the") {
		t.Errorf("level %q, change %q", a, b)
	}
}

// TestMountDrawing: the shim lies between fuselage and stabilizer on the side
// that the mount asks for.
func TestMountDrawing(t *testing.T) {
	middle := func(svg, class string) float64 {
		_, _, top, bottom := box(paths(svg, class)[0])
		return (top + bottom) / 2
	}
	for mount, below := range map[string]bool{"top": false, "bottom": true} {
		r := fixture()
		r.Setup.Foil.Stabilizer.Mount = mount
		svg := string(mountDrawing(usual.Sheet(r), usual))
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
		if s := words.For(r, usual).Steps[0]; !strings.Contains(s.Do, want) {
			t.Errorf("%s: %q", mount, s.Do)
		}
	}
}

// number is the number that a text is, NaN for none.
func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// TestKeepUnsteady: a trim that stays although it is less steady than a beginner
// needs comes with what to do about it.
func TestKeepUnsteady(t *testing.T) {
	r := fixture()
	r.Setup.Rider.Level = "beginner"
	a := r.Advice
	a.Verdict, a.Next.Kind, a.Shim, a.Cards, a.MoveNow = advice.Keep, advice.KeepTrim, 0, 0, 0
	says := func() string {
		w := words.For(r, usual)
		return w.Head + " " + w.Steps[0].Do
	}
	if s := says(); strings.Contains(s, "steady") || strings.Contains(s, "slower") {
		t.Errorf("a steady trim: %q", s)
	}
	a.Why = []advice.Reason{{Kind: advice.Unsteady, Speed: 23 * kn, Gradient: &a.GradientNow, Left: 1}}
	if s := says(); !strings.Contains(s, "less steady than a beginner needs: ride slower") || !strings.Contains(s, "instructor") || !strings.Contains(s, "small steps") {
		t.Error(s)
	}
}

// TestRemarkIsNoWarning: that columns were recognised is told and not counted.
func TestRemarkIsNoWarning(t *testing.T) {
	r := fixture()
	r.Session.Warnings = []analysis.Finding{ingest.Warning{Kind: raw.Recognised, Text: []string{"ax_mps2 = x"}}}
	var b bytes.Buffer
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	p := html.UnescapeString(pageOf(t, r, Options{}))
	if strings.Contains(b.String(), "\nWarnings") || !strings.Contains(p, "recognised by their names") {
		t.Errorf("counted, or not told:\n%s", &b)
	}
}

// TestMissingOnlyWhatNarrows: a logger that would hardly narrow the answer is
// not missed, more notes are.
func TestMissingOnlyWhatNarrows(t *testing.T) {
	r := fixture()
	r.Session.IMUHz, r.PitchLaw = 0, nil
	for then, want := range map[float64]string{0.4: "a logger on the board", 1.14: "more notes of feel"} {
		r.Advice.Why = []advice.Reason{{Kind: advice.NoLogger, Doubt: 1.15 * deg, Then: then * deg}}
		if got := words.Missing(r); !slices.Equal(got, []string{want}) {
			t.Errorf("from 1.15 to %g: missing %q", then, got)
		}
	}
}

// TestFinishNotTold: without today's surface the JSON claims no saving.
func TestFinishNotTold(t *testing.T) {
	r := fixture()
	if r.Finish == nil {
		r.Finish = &finish.Finish{Papers: []int{}}
	}
	for _, grit := range []int{0, 400} {
		r.Finish.Today.Grit, r.Finish.Today.Surface = grit, ""
		var b bytes.Buffer
		if err := JSON(&b, r, usual); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"drag_saving_percent", "speed_gain_percent", "smooth_enough", "papers"} {
			if null := strings.Contains(b.String(), `"`+name+`": null`); null != (grit == 0) {
				t.Errorf("P%d: %s null: %v", grit, name, null)
			}
		}
	}
}
