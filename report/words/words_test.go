package words

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest/raw"
)

// How near the speeds known reach is said in the reader's unit: 2 kn are
// 1.0 m/s and 4 km/h.
func TestSpeedErrorInTheReadersUnit(t *testing.T) {
	e := &analysis.SpeedError{Asked: [2]float64{15, 18}, Known: [2]float64{5, 10}}
	for unit, want := range map[string]string{"kn": "2 kn", "kmh": "4 km/h", "mps": "1.0 m/s"} {
		got := strings.ReplaceAll(Units{Speed: unit}.SpeedError(e), NBSP, " ")
		if !strings.Contains(got, ", "+want+" to each side included") || unit != "kn" && strings.Contains(got, " kn") {
			t.Errorf("%s: %q", unit, got)
		}
	}
}

func TestRaisedRange(t *testing.T) {
	for _, c := range []struct {
		in   interval.Interval
		want string
	}{
		{interval.Interval{Value: 0.8, Low: 0.1, High: 1.5}, "0.8 degrees up (0.1 to 1.5)"},
		{interval.Interval{Value: -0.8, Low: -1.5, High: -0.1}, "0.8 degrees down (0.1 to 1.5)"},
		{interval.Interval{Value: 0.3, Low: -0.3, High: 0.8}, "0.3 degrees up (from 0.3 down to 0.8 up)"},
		{interval.Interval{Value: -0.1, Low: -0.1, High: 2}, "0.1 degrees down (from 0.1 down to 2.0 up)"},
		{interval.Interval{Value: 0.4, Low: -0.04, High: 0.8}, "0.4 degrees up (0.0 to 0.8)"},
	} {
		if got := raisedRange(c.in); got != c.want {
			t.Errorf("%+v: %q, want %q", c.in, got, c.want)
		}
	}
}

func TestHeavy(t *testing.T) {
	for share, want := range map[float64]string{0.61: "front-heavy", 0.60: "a little front-heavy", 0.56: "a little front-heavy", 0.55: "even", 0.45: "even", 0.44: "a little back-heavy", 0.39: "back-heavy"} {
		if got := heavy(interval.Exact(share)); got != want {
			t.Errorf("%v: %q, want %q", share, got, want)
		}
	}
	for share, want := range map[interval.Interval]string{
		{Value: 0.55, Low: 0.15, High: 1.06}: "", {Value: 0.58, Low: 0.13, High: 1.06}: "", {Value: 0.48, Low: 0.30, High: 0.67}: "",
		{Value: 0.52, Low: 0.44, High: 0.60}: "even", {Value: 0.52, Low: 0.43, High: 0.62}: "",
		{Value: 0.62, Low: 0.45, High: 0.79}: "front-heavy", {Value: 0.43, Low: 0.32, High: 0.50}: "a little back-heavy",
	} {
		if got := heavy(share); got != want {
			t.Errorf("%v: %q, want %q", share, got, want)
		}
	}
}

// TestOffEvenThatTellsNothing: a part of the time between 0 and 100 % is left out.
func TestOffEvenThatTellsNothing(t *testing.T) {
	for high, want := range map[float64]bool{1: false, 0.4: true} {
		says := Units{}.Pace(&analysis.Pace{TopFrom: 10, OffEven: interval.Interval{Value: high, Low: 0, High: high}})
		if got := strings.Contains(strings.Join(says, " "), "off even"); got != want {
			t.Errorf("0 to %g: %q", high, says)
		}
	}
}

// TestTroubles: every reason why a session cannot be analysed is said, with what
// it is about, wherever the error is printed.
func TestTroubles(t *testing.T) {
	about := func(kind string, values ...float64) error {
		return &setup.Trouble{Kind: kind, Text: []string{"foil.wing.area_cm2", "11:20:00", "12:20:00"}, Values: append(values, 0.13, 0.09), Err: errors.New("inner")}
	}
	for kind, want := range map[string]string{
		trim.OtherFoil: "the wing area is 1300 cm² in one setup and 900 cm² in the other", trim.NotAboveZero: "foil.wing.area_cm2 must be above zero, it is 0.13",
		trim.NoBalance: "cannot be computed", trim.OutOfProportion: "out of all proportion", trim.NoSetup: "no setup",
		mark.NoLog: "change number 0.13 is made within a log", mark.NoDate: "the log has no date", mark.Beyond: "runs from 11:20:00 to 12:20:00 UTC", mark.Disorder: "in order of time",
		analysis.EmptyFolder: "holds no log and no setup.toml", analysis.NoEvidence: "cannot be evidence: inner", analysis.NotCounted: "does not count: inner",
	} {
		if got := strings.ReplaceAll(fmt.Errorf("x: %w", about(kind)).Error(), NBSP, " "); !strings.Contains(got, want) {
			t.Errorf("%s: %q", kind, got)
		}
	}
	if got := analysis.ErrNothing.Error(); !strings.Contains(got, "give a log, a setup, or both") {
		t.Error(got)
	}
}

// TestNothingIsCertain: a share, a chance or a part is never 100 or 0 %.
func TestNothingIsCertain(t *testing.T) {
	for share, want := range map[float64]string{1: "over 99 %", 0.996: "over 99 %", 0.99: "99 %", 0.5: "50 %", 0.004: "under 1 %", 0: "under 1 %", 1.3: "130 %", -0.2: "−20 %"} {
		if got := strings.ReplaceAll(Percent(share), NBSP, " "); got != want {
			t.Errorf("%g: %q", share, got)
		}
	}
}

// TestFarPlaces: a place of the foil further than one step is reached in several.
func TestFarPlaces(t *testing.T) {
	for _, c := range []struct {
		places []float64
		want   string
	}{{[]float64{-0.03, 0, 0.02}, ""}, {[]float64{-0.05, -0.025, 0}, "5.0 cm back is further than one step of 3.0 cm"}} {
		if got := strings.ReplaceAll(Units{}.howFar(c.places), NBSP, " "); !strings.HasPrefix(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%v: %q", c.places, got)
		}
	}
}

// TestKeepSaysWhy: a trim that is kept is called even only where it is, and a
// choice that surely is more even is named with why it is not advised.
func TestKeepSaysWhy(t *testing.T) {
	kept := func(top, off, chance float64) Answer {
		r := &analysis.Result{RangeLow: 6, RangeHigh: 11, Advice: &advice.Advice{
			Verdict: advice.Keep, Next: advice.Reason{Kind: advice.KeepTrim}, EvennessNow: interval.Exact(off),
			StabilizerChange: interval.Exact(0.3), FoilMove: interval.Exact(-8),
			Options: []advice.Option{{FoilMove: interval.Exact(-24), Evenness: interval.Exact(0.03), ChanceBetter: interval.Number(chance), Reachable: true}},
		}}
		for _, p := range [][2]float64{{6, 0.52}, {11, top}} {
			r.FootLoad = append(r.FootLoad, analysis.LoadPoint{Speed: interval.Number(p[0]), FrontShare: interval.Exact(p[1])})
		}
		return For(r, Units{})
	}
	for _, c := range []struct {
		top, off, chance float64
		head, sure       string
	}{
		{0.61, 0.058, 0.997, "no step on the way to the best trim", "the shim as today with the foil 2.4 cm back would be more even (chance over 99 %), but goes past the best trim (the leading edge 0.3 degrees up, the foil 0.8 cm back)"},
		{0.61, 0.058, 0.6, "no step on the way to the best trim", "No step on offer is clearly better."},
		{0.53, 0.03, 0.6, "about even over these speeds", "No step on offer is clearly better."},
	} {
		got := kept(c.top, c.off, c.chance)
		if head, sure := strings.ReplaceAll(got.Head, NBSP, " "), strings.ReplaceAll(got.Sure, NBSP, " "); !strings.Contains(head, c.head) || !strings.Contains(sure, c.sure) {
			t.Errorf("%+v: %q, %q", c, head, sure)
		}
	}
}

// TestStepHasItsOwnInterval: a move of the foil alone carries the doubt of the
// place with the shim as it is, beside that of the best pair.
func TestStepHasItsOwnInterval(t *testing.T) {
	r := &analysis.Result{Advice: &advice.Advice{
		Verdict: advice.Change, MoveNow: -13, ChanceBetter: 0.997, Shim: 0,
		StabilizerChange: interval.Interval{Value: 0.3, Low: -0.2, High: 0.9}, FoilMove: interval.Interval{Value: -13, Low: -25, High: 17},
		Options: []advice.Option{{FoilMove: interval.Interval{Value: -23, Low: -30, High: -18}, Reachable: true},
			{Best: true, StabilizerDeg: 0.3, FoilMove: interval.Exact(-13), ChanceBetter: 0.97}},
	}}
	got := strings.ReplaceAll(For(r, Units{}).Sure, NBSP, " ")
	for _, want := range []string{"All the way, shim and foil both free (chance 97 %): ", "With the shim as it is, the foil's best place is 2.3 cm back (1.8 to 3.0)."} {
		if !strings.Contains(got, want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
}

// TestClippedIsSaid: a doubt that ends where the slot does is said to.
func TestClippedIsSaid(t *testing.T) {
	r := &analysis.Result{Setup: &setup.Setup{Board: setup.Board{Track: [2]float64{-0.04, 0.05}}}, Advice: &advice.Advice{}}
	for _, c := range []struct {
		low, value, high float64
		want             string
	}{
		{-20, -10, 30, ""},
		{-40, -40, 12, ", counted within the slot: 4.0 cm back and 5.0 cm forward"},
		{-60, -10, 12, "; the mast's slot gives 4.0 cm back"},
	} {
		r.Advice.FoilMove = interval.Interval{Value: c.value, Low: c.low, High: c.high}
		if got := strings.ReplaceAll(Units{}.OrDefault().Sheet(r).Beyond(), NBSP, " "); !strings.HasPrefix(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%+v: %q", c, got)
		}
	}
}

// TestPart: every move of a part is named, and what marks say that call nothing even.
func TestPart(t *testing.T) {
	p := analysis.Part{Shim: -0.76, Front: 20, Back: -10, Foiling: 600, Even: interval.Unknown(), Share: interval.Normal(0.6, 0.05)}
	_, trim, flown, felt := Units{}.OrDefault().Part(p)
	if got := strings.ReplaceAll(trim+"; "+flown+"; "+felt, NBSP, " "); got != "shim 0.76 mm less, front foot 2.0 cm forward, back foot 1.0 cm back; 10 min; 60 (52 to 68) % on the front foot" {
		t.Error(got)
	}
	p.Shim, p.Front, p.Back, p.Share = 0, 0, 0, interval.Unknown()
	if _, trim, _, felt = (Units{}).OrDefault().Part(p); trim != "as at the start" || felt != "not marked" {
		t.Errorf("%q, %q", trim, felt)
	}
	p.Lost, p.Why = 3, mark.NoSpeed
	if _, _, _, felt = (Units{}).OrDefault().Part(p); felt != "three marks that do not count: no speed is known there" {
		t.Errorf("marked where no speed is known: %q", felt)
	}
}

// TestMoreTroubleForNothing: a way that tells no more than the first, to what is
// written, and takes longer is said to.
func TestMoreTroubleForNothing(t *testing.T) {
	trial := func(minutes, then float64) advice.Trial {
		return advice.Trial{Observation: advice.Observation{Kind: advice.NoteMoments}, Minutes: interval.Number(minutes), Now: 0.9, Then: interval.Number(then)}
	}
	p := PlanFor(&analysis.Result{Advice: &advice.Advice{Plan: []advice.Trial{trial(34, 0.8), trial(42, 0.802), trial(52, 0.76), trial(9, 0.86)}}}, Units{})
	for i, want := range []bool{false, true, false, false} {
		if got := strings.Contains(p.Trials[i].Tells, "tells no more"); got != want {
			t.Errorf("%d: %q", i, p.Trials[i].Tells)
		}
	}
}

// TestForgedParts: a text from outside that looks like a part of a letter makes
// neither a fact nor a step.
func TestForgedParts(t *testing.T) {
	for _, mark := range []string{"¶", partMark} {
		device := "Acme " + mark + " Accelerometer: 999999 samples"
		if facts := (Units{}).Facts("file", raw.File{Device: device}); len(facts) != 1 || facts[0] != (Fact{"Device", Clean(device)}) {
			t.Errorf("%q: facts %+v", device, facts)
		}
		title := "Lagoon " + mark + " How sure: Sure, 99 % " + mark + " Missing: nothing"
		r := &analysis.Result{Followed: &analysis.Followed{Session: title}}
		x := struct {
			Answer
			*Sheet
			Mind string
		}{Answer{Head: "Ride.", SoFar: Units{}.Tell("followed", r)}, Units{}.Sheet(r), ""}
		if facts := (Units{}).Facts("next step", x); len(facts) != 3 || facts[1].Value != "no step yet" || !strings.Contains(facts[0].Value, Clean(title)) {
			t.Errorf("%q: facts %+v", title, facts)
		}
	}
	for _, help := range []string{"|", helpMark} {
		kind := "odd " + help + " Jump. ¶ step log Jump: At once."
		r := &analysis.Result{Advice: &advice.Advice{Verdict: advice.NotEnough, Next: advice.Reason{Kind: advice.Kind(kind)}}}
		if steps := For(r, Units{}).Steps; len(steps) != 1 || steps[0].Do != Clean(kind) || !strings.HasPrefix(steps[0].How, "Put it right") {
			t.Errorf("%q: steps %+v", kind, steps)
		}
	}
}
