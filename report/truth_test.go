package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

func spaced(s string) string { return strings.ReplaceAll(s, words.NBSP, " ") }

// TestGradientsSign: a front foot that loses load with speed slows no board,
// and no number of it is written as less than nothing more.
func TestGradientsSign(t *testing.T) {
	below, above := interval.Interval{Value: -0.9, Low: -4.5, High: 1.4}, interval.Interval{Value: 0.2, Low: -0.9, High: 1.5}
	for g, want := range map[interval.Interval]string{
		below:                             "loses 0.9 % (from 4.5 lost to 1.4 gained)",
		above:                             "gains 0.2 % (from 0.9 lost to 1.5 gained)",
		{Value: -2, Low: -3, High: -1}:    "loses 2.0 % (1.0 to 3.0)",
		{Value: 1.6, Low: 0.3, High: 3.1}: "gains 1.6 % (0.3 to 3.1)",
		{Value: -2, Low: -2, High: -2}:    "loses 2.0 %",
	} {
		if got := spaced(usual.Gains(g)); got != want {
			t.Errorf("%v: %q, want %q", g, got, want)
		}
	}
	r := fixture()
	r.Setup.Rider.Level = "beginner"
	a := r.Advice
	a.GradientNow, a.GradientAfter, a.Overshoot, a.ChanceBetter = interval.Normal(-2, 1), below, 0.76, 0.97
	a.Why = []advice.Reason{{Kind: advice.Unsteady, Speed: 18 * kn, Gradient: &below, Left: 1}}
	w := words.For(r, usual)
	why := spaced(w.Limits[0])
	if strings.Contains(why, "slows") || !strings.Contains(why, "This step leaves less steadiness than a beginner needs: at 18 kn the front foot loses 0.9 % (from 4.5 lost to 1.4 gained) of the load with each kn") || !strings.Contains(why, "should gain 1.0 % or more") {
		t.Error(why)
	}
	if w.SureTag != "Sure that it is more even" {
		t.Errorf("sure of what: %q", w.SureTag)
	}
	if s := spaced(w.Feel); !strings.Contains(s, "Calmer at speed: at 23 kn the front foot then loses 0.9 % (from 4.5 lost to 1.4 gained) of the load with each kn") || !strings.Contains(s, "where today it loses 2.0") {
		t.Error(s)
	}
}

// TestOneNumberOfTheGradient: what is said of the gradient at the top speed is
// the advice's own number, on sheet and chart.
func TestOneNumberOfTheGradient(t *testing.T) {
	r := fixture()
	a := r.Advice
	a.GradientNow, a.GradientAfter = interval.Normal(1.4, 0.7), interval.Interval{Value: 0.26, Low: -0.9, High: 1.56}
	a.Why = []advice.Reason{{Kind: advice.Stops, Speed: 23 * kn, Gradient: &a.GradientAfter}}
	want := spaced(usual.Gains(a.GradientAfter))
	w := words.For(r, usual)
	for name, s := range map[string]string{"feel": w.Feel, "why": w.Limits[0], "chart": (&builder{r: r, u: usual}).gradient().Says} {
		if !strings.Contains(spaced(s), want) {
			t.Errorf("%s does not say %q: %q", name, want, s)
		}
	}
}

// TestEdgeInOneWording: a card's place is said alike by sheet, comparison, JSON
// and what is worth trying, and with a stabilizer that hangs below never as
// under it.
func TestEdgeInOneWording(t *testing.T) {
	for mount, want := range map[string]string{"bottom": "between fuselage and stabilizer, at its trailing edge", "top": "between fuselage and stabilizer, under its leading edge"} {
		r := fixture()
		r.Setup.Foil.Stabilizer.Mount = mount
		edge := advice.ShimPlace(mount, true)
		r.Advice.ShimPlace = &edge
		o := advice.Observation{Kind: advice.RideCard, Speeds: []float64{9}, Edge: edge, Mount: mount, ChangesTrim: true, ShimSDNow: 1, ShimSD: 0.5}
		next, mind := usual.NextOf(r)
		var b bytes.Buffer
		if err := JSON(&b, r, usual); err != nil {
			t.Fatal(err)
		}
		var j struct {
			Advice struct {
				NextStep string   `json:"next_step"`
				Cautions []string `json:"cautions"`
			} `json:"advice"`
		}
		if err := json.Unmarshal(b.Bytes(), &j); err != nil {
			t.Fatal(err)
		}
		k := notEnough()
		k.Advice.WorthKnowing = []advice.Observation{o}
		test := words.For(k, usual)
		for name, s := range map[string]string{"sheet": words.For(r, usual).Head, "comparison": next, "JSON": j.Advice.NextStep, "setup --check": usual.Observation(o), "test": test.Steps[len(test.Steps)-1].Do} {
			if !strings.Contains(s, want) {
				t.Errorf("%s mount, %s: %q", mount, name, s)
			}
		}
		if len(j.Advice.Cautions) != 1+len(words.EveryTime(true, true, true)) || j.Advice.Cautions[0] != spaced(mind) {
			t.Errorf("cautions %q", j.Advice.Cautions)
		}
	}
}

// TestScrewsOfBoth: a card minds the stabilizer's screws, a move the mast's, and
// both mind both; a test minds the screws that it loosens.
func TestScrewsOfBoth(t *testing.T) {
	const stabilizer, mast = "screw length", "mast's screws"
	for _, c := range []struct {
		shim, move float64
		want       []string
	}{{0.76, 0, []string{stabilizer}}, {0, -14, []string{mast}}, {0.76, -14, []string{stabilizer, mast}}} {
		r := fixture()
		r.Advice.Shim, r.Advice.MoveNow = num(c.shim), num(c.move)
		s := usual.Tell("mind", usual.Sheet(r))
		for _, x := range []string{stabilizer, mast} {
			if has, want := strings.Contains(s, x), strings.Contains(strings.Join(c.want, " "), x); has != want {
				t.Errorf("card %v, move %v: %q", c.shim, c.move, s)
			}
		}
	}
	k := notEnough()
	if s := words.For(k, usual).Mind; !strings.Contains(s, stabilizer) || !strings.Contains(s, "less even") || strings.Contains(s, mast) {
		t.Errorf("a card as a test: %q", s)
	}
	k.Advice.WorthKnowing = []advice.Observation{{Kind: advice.FindNulls, Places: []float64{0, 0.025}, ChangesTrim: true}}
	if s := words.For(k, usual).Mind; !strings.Contains(s, mast) || strings.Contains(s, stabilizer) {
		t.Errorf("a move as a test: %q", s)
	}
}

// TestLoggerThatFailed is not a logger that is missing.
func TestLoggerThatFailed(t *testing.T) {
	r := fixture()
	r.Advice.Why = []advice.Reason{{Kind: advice.NoLogger, Doubt: 0.01, Then: 0.01}}
	r.PitchLaw, r.Mount = nil, nil
	none := words.For(r, usual)
	if s := none.Limits[0]; !strings.Contains(s, "A logger on the board would check") {
		t.Errorf("without a logger: %q", s)
	}
	r.Log.IMU.Time = []float64{0, 1}
	r.Session.Warnings = []analysis.Finding{analysis.Note{Kind: analysis.ClocksApart, Why: "The motion in the two logs does not match."}}
	if s := words.For(r, usual).Limits[0]; strings.Contains(s, "A logger on the board") || !strings.Contains(s, "could not be used for the pitch law: the motion in the two logs does not match. So") {
		t.Errorf("with one: %q", s)
	}
}

// TestOtherRiderIsNotABareOrder: how sure and what to mind stand on the terminal.
func TestOtherRiderIsNotABareOrder(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, withOther(), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	s := strings.Join(strings.Fields(b.String()), " ")
	s, _, _ = strings.Cut(s, "Owner")
	if !strings.Contains(s, "Fairly sure The chance") || !strings.Contains(s, "tighten the mast's screws") {
		t.Error(b.String())
	}
}

// TestOneDestination: the choices name the trim that the steps lead to, and a
// choice that is nearer to even but less calm is not one to go to.
func TestOneDestination(t *testing.T) {
	r := fixture()
	a := r.Advice
	option := func(cards, even, gradient float64) advice.Option {
		return advice.Option{Cards: cards, StabilizerDeg: num(0.9 * cards), FoilMove: interval.Normal(40*cards-70, 20), Evenness: interval.Normal(even, 0.02),
			Gradient: interval.Normal(gradient, 1), ChanceBetter: 0.93, Reachable: true, Curve: a.Options[0].Curve}
	}
	best := option(1, 0.07, 1.7)
	best.Best = true
	a.Options = []advice.Option{option(0, 0.08, 3), option(1, 0.074, 1.8), option(2, 0.05, 0.6), option(4, 0.04, -0.4), best}
	a.Options[3].Reachable = false
	a.StabilizerChange, a.FoilMove = interval.Normal(0.9, 1), best.FoilMove
	says := func() string { return spaced((&builder{r: r, u: usual}).options().Says) }
	if s := says(); !strings.HasPrefix(s, "The best trim has the leading edge 0.9 degrees up, the foil 3.0 cm back: the load is then off even by 7 (4 to 10) % instead of ") ||
		!strings.HasSuffix(s, "Two cards up would come nearer to even (5 (2 to 8) %), but with less calm: do not go as far as that.") {
		t.Error(s)
	}
	a.StabilizerChange = interval.Exact(0)
	if s := says(); s != "The best trim within reach has the leading edge where it is, the foil 3.0 cm back." {
		t.Error(s)
	}
}
