package analysis_test

import (
	"reflect"
	"testing"
	"time"

	"evenfoot/analysis"
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
