package analysis_test

import (
	"reflect"
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
)

// TestForgotten: a rider presses for even with the foil at two places 5 cm apart, and
// the setup tells of the move or not.
func TestForgotten(t *testing.T) {
	t.Parallel()
	n := 5
	if *long {
		n = 40
	}
	const move = 0.05
	asked, alarms, held := 0, 0, 0
	for seed := range uint64(n) {
		sc := simulate.Default()
		sc.Seed, sc.NoIMU, sc.IMURate = 700+seed, true, 10
		sc.Foil.StabIncidence -= 1.5 * deg // the load moves with speed
		mid := trim.NewFoil(sc.Foil).At((sc.SpeedLow+sc.SpeedHigh)/2, trim.Gravity).FeltShare
		sc.Foil.WingX -= (mid-0.5)*(sc.Foil.FrontFoot-sc.Foil.BackFoot) + move/2
		sc = sc.InPlaces(720, move)
		leg := sc.Changes[0].At
		s := simulate.Run(sc)
		s.Log.Marks = s.Evens(simulate.UsualPresser())
		told := s.SetupTOML(nil)
		s.Scenario.Changes = nil
		for text, forgotten := range map[string]bool{told: false, s.SetupTOML(nil): true} {
			r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: parse(t, text)})
			if err != nil {
				t.Fatal(err)
			}
			if seed == 0 {
				marksTellTheirSpeed(t, r)
			}
			for _, x := range analysis.Notes(r.Session.Warnings, analysis.LoadJumps) {
				switch {
				case !forgotten:
					alarms++
				case x.At > leg/2 && x.At < 1.2*leg:
					asked++
				}
				if forgotten && x.By.Contains(move) {
					held++
				}
			}
		}
	}
	t.Logf("of %d forgotten moves %d are asked about, %d with the move inside; %d alarms", n, asked, held, alarms)
	if asked < n*3/5 || held < asked*3/4 || alarms > n/20 {
		t.Error("want three in five, three in four, one in twenty")
	}
}

// marksTellTheirSpeed holds that a result shows at what speed each counting mark
// was made, and that what was seen of a log once gives the same answer again.
func marksTellTheirSpeed(t *testing.T, r *analysis.Result) {
	t.Helper()
	counting := 0
	for _, m := range r.Marks {
		if m.Counts() {
			counting++
			if v := float64(m.Speed); !(v > 4 && v < 15) {
				t.Errorf("the mark at %.0f s counts and has the speed %g m/s", m.At, v)
			}
		}
	}
	if counting < 4 {
		t.Fatalf("%d marks count", counting)
	}
	again, err := analysis.Run(analysis.Request{Log: r.Log, Setup: r.Setup, Seen: r})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.EqualFunc(r.Marks, again.Marks, func(a, b mark.Mark) bool {
		return a.Speed == b.Speed && a.Why == b.Why || !a.Counts() && a.Why == b.Why
	}) {
		t.Error("the marks seen once count otherwise the second time")
	}
	if a, b := r.Advice.EvennessNow, again.Advice.EvennessNow; !reflect.DeepEqual(a, b) {
		t.Errorf("advice %v at first, %v from what was seen", a, b)
	}
}
