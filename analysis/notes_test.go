package analysis_test

import (
	"math"
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
)

// TestNotesNotFlown: notes whose speeds were typed in km/h as if they were
// knots change nothing, and each is asked about.
func TestNotesNotFlown(t *testing.T) {
	t.Parallel()
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 900, 20
	s := simulate.Run(sc)
	const kmh = 1 / 3.6
	run := func(size float64, speeds ...float64) (*analysis.Result, []analysis.StrayNote) {
		set := parse(t, s.SetupTOML(nil))
		for i, v := range speeds {
			set.Feel = append(set.Feel, setup.Feel{Speed: v * size, Share: 0.4 + 0.1*float64(i), SD: 0.06, Said: "%", As: "speed_kn"})
		}
		r, err := analysis.Run(analysis.Request{Log: s.GPSLog, Setup: set})
		if err != nil {
			t.Fatal(err)
		}
		var strays []analysis.StrayNote
		for _, w := range r.Session.Warnings {
			if n, ok := w.(analysis.StrayNote); ok {
				strays = append(strays, n)
			}
		}
		return r, strays
	}
	speeds := []float64{25, 30, 36} // km/h, well within what is flown
	none, _ := run(knot)
	right, strays := run(kmh, speeds...)
	if len(strays) > 0 {
		t.Errorf("notes within the flight stray: %+v", strays)
	}
	if right.Posterior.FeelNotes() != 3 {
		t.Errorf("%d notes count, want 3", right.Posterior.FeelNotes())
	}
	wrong, strays := run(knot, speeds...)
	if len(strays) != 3 || wrong.Posterior.FeelNotes() != 0 {
		t.Fatalf("%d of 3 notes stray, %d count: %+v", len(strays), wrong.Posterior.FeelNotes(), strays)
	}
	for i, n := range strays {
		if n.Number != i+1 || !slices.Contains(n.FitsAs, "speed_kmh") {
			t.Errorf("note %d is not asked about: %+v", i+1, n)
		}
	}
	if a, b := none.Advice.StabilizerChange.Value, wrong.Advice.StabilizerChange.Value; a != b {
		t.Errorf("notes that do not count move the answer from %g to %g", a, b)
	}
	if a, b := none.Advice.StabilizerChange.Value, right.Advice.StabilizerChange.Value; math.Abs(a-b) < 0.01 {
		t.Error("notes that count change nothing, so this test shows nothing")
	}
}

const knot = 1852.0 / 3600

// TestNotesNotUsual: without a log, km/h typed as knots are asked about, and
// count all the same; in their own unit they draw no question.
func TestNotesNotUsual(t *testing.T) {
	t.Parallel()
	s := simulate.Run(simulate.Scenario{Foil: simulate.Default().Foil, Gear: simulate.Default().Gear})
	run := func(size float64) (odd []analysis.StrayNote, counted int) {
		set := parse(t, s.SetupTOML(nil))
		for _, v := range []float64{30, 38, 44} { // km/h
			set.Feel = append(set.Feel, setup.Feel{Speed: v * size, Share: 0.5, SD: 0.06, Said: "even", As: "speed_kn"})
		}
		r, err := analysis.Run(analysis.Request{Setup: set, Range: [2]float64{30 * size, 44 * size}})
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range r.Session.Warnings {
			if n, ok := w.(analysis.StrayNote); ok {
				odd = append(odd, n)
			}
		}
		return odd, r.Posterior.FeelNotes()
	}
	if odd, _ := run(1 / 3.6); len(odd) > 0 {
		t.Errorf("usual speeds are asked about: %+v", odd)
	}
	odd, counted := run(knot)
	if len(odd) == 0 || odd[len(odd)-1].Number != 3 || counted != 3 {
		t.Fatalf("%d of 3 notes count, asked about: %+v", counted, odd)
	}
	for _, n := range odd {
		if n.Kind != analysis.NotUsual || !slices.Contains(n.FitsAs, "speed_kmh") {
			t.Errorf("note %d is not asked about: %+v", n.Number, n)
		}
	}
}

// TestBestAngleDoubtOfBeginner: that a beginner is not to shim makes the best
// angle no better known.
func TestBestAngleDoubtOfBeginner(t *testing.T) {
	t.Parallel()
	s := simulate.Run(simulate.Scenario{Foil: simulate.Default().Foil, Gear: simulate.Default().Gear})
	doubt := func(level string) float64 {
		set := parse(t, s.SetupTOML(nil))
		set.Rider.Level = level
		r, err := analysis.Run(analysis.Request{Setup: set, Range: analysis.UsualRange(set)})
		if err != nil {
			t.Fatal(err)
		}
		_, doubt := r.Unmeasured()
		return doubt
	}
	if a, b := doubt("beginner"), doubt("intermediate"); !(a > 0.3) || math.Abs(a/b-1) > 0.5 {
		t.Errorf("± %.2f° for a beginner, ± %.2f° for an intermediate rider", a, b)
	}
}
