package analysis_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
)

// TestCompareIsTheSheets: sessions given in any order are sorted into athletes
// and by time, and the later one's numbers are those of its own sheet, which
// counts the earlier one in.
func TestCompareIsTheSheets(t *testing.T) {
	t.Parallel()
	run := func(name string, day int, shim float64, earlier ...analysis.Given) (*analysis.Result, analysis.Given) {
		sc := simulate.Default()
		sc.Seed, sc.Duration, sc.IMURate, sc.Rest = uint64(day), 600, 50, 20
		sc.Start = time.Date(2026, 7, day, 10, 0, 0, 0, time.UTC)
		sc.Coast = simulate.Coasts(3)
		sc.Foil.StabIncidence += trim.ShimAngle(shim, sc.Gear.ShimSpan)
		sc.Gear.Name, sc.Gear.Shim, sc.Gear.Title = name, shim, name
		s := simulate.Run(sc)
		set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(s.FeelNotes([]float64{6.5, 8, 10}, 0.03))))
		if err != nil {
			t.Fatal(err)
		}
		r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set, Earlier: earlier})
		if err != nil {
			t.Fatal(err)
		}
		return r, analysis.Given{Name: name, Log: r.Log, Setup: set, Seen: r}
	}
	first, seen := run("Ines", 3, 0)
	other, _ := run("Bo", 4, 0)
	second, _ := run("Ines", 8, trim.Card)
	sheet, err := analysis.Run(analysis.Request{Log: second.Log, Setup: second.Setup, Seen: second, Earlier: []analysis.Given{seen}})
	if err != nil {
		t.Fatal(err)
	}
	given := []*analysis.Result{second.Light(), other.Light(), first.Light()}
	c, err := analysis.Compare(given)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Athletes) != 2 || len(c.Athletes[0].Sessions) != 2 || c.Athletes[0].Sessions[0] != given[2] || c.Athletes[1].Last() != given[1] {
		t.Fatalf("athletes %+v", c.Athletes)
	}
	last := c.Athletes[0].Last()
	if c.Results[0] != last || given[0] == last {
		t.Error("the later session stands among the results without the earlier one")
	}
	if ch := c.Athletes[0].Changes; len(ch) != 1 || ch[0].Judged == nil || len(ch[0].Judged.Changed) != 1 || ch[0].Judged.Next != last.Advice {
		t.Errorf("changes %+v", ch)
	}
	a, b := last.Advice, sheet.Advice
	if a.EvennessNow != b.EvennessNow || a.Shim != b.Shim || a.MoveNow != b.MoveNow || a.Verdict != b.Verdict || last.FootLoad[3].FrontShare != sheet.FootLoad[3].FrontShare {
		t.Errorf("compared %v %v %v %s, on the sheet %v %v %v %s", a.EvennessNow, a.Shim, a.MoveNow, a.Verdict, b.EvennessNow, b.Shim, b.MoveNow, b.Verdict)
	}
	if last.Drag == nil || last.Pace == nil {
		t.Fatal("no drag or no pace")
	}
	own := given[0].Pace.OffEven
	for _, x := range [][2]any{{last.Drag, sheet.Drag}, {last.Pace.OffEven, sheet.Pace.OffEven}, {last.Finish, sheet.Finish}} {
		if !reflect.DeepEqual(x[0], x[1]) {
			t.Errorf("compared %+v, on the sheet %+v", x[0], x[1])
		}
	}
	if second.Pace.OffEven != own || last.Pace == given[0].Pace {
		t.Error("the comparison writes into the result that it was given")
	}
	if a.EvennessNow == second.Advice.EvennessNow {
		t.Error("the earlier session changes nothing")
	}
}

// TestMeasuredLater: an angle that only the second of two setups gives holds for the
// first one too. Change, verdict, next step and sheet are those of the angle in both,
// and the sheet says so once.
func TestMeasuredLater(t *testing.T) {
	t.Parallel()
	const angle = "foil.stabilizer.incidence_deg"
	var given [2]analysis.Given
	var left *setup.Setup
	for i, shim := range []float64{0, trim.Card} {
		sc := simulate.Default()
		sc.Seed, sc.Duration, sc.IMURate, sc.Rest = uint64(i+1), 600, 25, 20
		sc.Start = time.Date(2026, 7, 3+i, 10, 0, 0, 0, time.UTC)
		sc.Foil.StabIncidence = -2.6*simulate.Deg + trim.ShimAngle(shim, sc.Gear.ShimSpan)
		sc.Gear.Shim, sc.Gear.Title = shim, fmt.Sprint("outing ", i+1)
		s := simulate.Run(sc)
		read := func() *setup.Setup {
			set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(s.FeelNotes([]float64{6.5, 8, 10}, 0.03))))
			if err != nil {
				t.Fatal(err)
			}
			return set
		}
		if given[i] = (analysis.Given{Name: sc.Gear.Title, Log: s.Log, Setup: read()}); i == 0 {
			s.Scenario.Gear.Leave = append(s.Scenario.Gear.Leave, angle)
			left = read()
		}
	}
	first, second := given[0].Setup, given[1].Setup
	if left.Given(angle) || left.Foil.Stabilizer.Incidence == second.Foil.Stabilizer.Incidence {
		t.Fatal("the first setup gives the angle")
	}
	for i := range given { // which thins the log
		r, err := analysis.Run(analysis.Request{Log: given[i].Log, Setup: given[i].Setup})
		if err != nil {
			t.Fatal(err)
		}
		given[i].Seen = r
	}
	run := func(g analysis.Given, set *setup.Setup, earlier ...analysis.Given) *analysis.Result {
		r, err := analysis.Run(analysis.Request{Log: g.Log, Setup: set, Seen: g.Seen, Earlier: earlier})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	compare := func(sets ...*setup.Setup) *analysis.Comparison {
		sets = analysis.Completed([]analysis.Given{{Log: given[0].Log, Setup: sets[0]}, {Log: given[1].Log, Setup: sets[1]}})
		c, err := analysis.Compare([]*analysis.Result{run(given[0], sets[0]).Light(), run(given[1], sets[1]).Light()})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	both, later := compare(first, second), compare(left, second)
	a, b := both.Athletes[0].Changes[0].Judged, later.Athletes[0].Changes[0].Judged
	if len(b.Changed) != 1 || b.Changed[0].Key != "foil.stabilizer.shim_mm" {
		t.Errorf("changed is %+v, want the card alone", b.Changed)
	}
	same := func(what string, got, want any) {
		t.Helper()
		g, err := json.Marshal(got)
		w, err2 := json.Marshal(want)
		if err := errors.Join(err, err2); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(g, w) {
			t.Errorf("%s is %.400s, with the angle in both setups %.400s", what, g, w)
		}
	}
	same("the judgement", b, a)
	same("what it says", b.Says, a.Says)
	same("the first outing's own advice", later.Results[0].Advice, both.Results[0].Advice)
	if told := analysis.Notes(later.Results[0].Session.Warnings, analysis.SizesTaken); len(told) != 1 || len(told[0].Keys) != 1 || told[0].Keys[0] != angle {
		t.Errorf("told in the comparison: %+v", told)
	}

	was := given[0]
	want := run(given[1], second, was)
	was.Setup = left
	got := run(given[1], second, was)
	same("the advice", got.Advice, want.Advice)
	// Plan and check tell one doubt, and no rest that the log holds is asked for.
	if p, k := got.Advice.Plan, got.Advice.WorthKnowing; len(p) == 0 || len(k) == 0 || math.Abs(float64(p[0].ShimSDNow-k[0].ShimSDNow)) > 1e-9 {
		t.Errorf("the doubt is told as %+v and %+v", p, k)
	}
	for _, p := range got.Advice.Plan {
		if p.Kind == advice.LevelLogger {
			t.Error("a rest is asked for, and the log holds one")
		}
	}
	same("what was followed", got.Followed, want.Followed)
	same("the load", got.FootLoad, want.FootLoad)
	told := analysis.Notes(got.Session.Warnings, analysis.InEarlier)
	if n, ok := told[len(told)-1].Of.(analysis.Note); !ok || n.Kind != analysis.SizesTaken || len(got.Session.Warnings) != len(want.Session.Warnings)+1 {
		t.Errorf("told on the sheet: %+v", told)
	}

	// The other way round: measured first, left out later, by somebody else too.
	with := given[0]
	with.Setup = first
	lost := *left
	lost.Foil.Stabilizer.Shim, lost.Feel = trim.Card, second.Feel
	other, err := setup.ParseRider("mass=95kg", &lost)
	if err != nil {
		t.Fatal(err)
	}
	r, err := analysis.Run(analysis.Request{Log: given[1].Log, Setup: &lost, Seen: given[1].Seen, Earlier: []analysis.Given{with}, Other: other})
	if err != nil {
		t.Fatal(err)
	}
	if r.Setup.Foil.Stabilizer.Incidence != first.Foil.Stabilizer.Incidence || r.Other.Foil.Stabilizer != r.Setup.Foil.Stabilizer || r.Other.Rider.Mass != 95 {
		t.Errorf("the angle is %v for the rider, %v for the other", r.Setup.Foil.Stabilizer, r.Other.Foil.Stabilizer)
	}
}
