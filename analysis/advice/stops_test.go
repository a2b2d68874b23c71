package advice

import (
	"math"
	"slices"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// TestOneReasonWhyItStops: steadiness is why the advice stops only where the
// step ends at the best pair and leaves as much as the rider's level wants.
func TestOneReasonWhyItStops(t *testing.T) {
	_, s, p := advised(t, 1.5, nil)
	has := func(a *Advice, k Kind) bool {
		return slices.ContainsFunc(a.Why, func(r Reason) bool { return r.Kind == k })
	}
	mk := func(gradient float64, best trim.Change, step trim.Change, wanted float64) *Advice {
		t.Helper()
		x := newTask(p, s, speeds, Options{LawOK: true})
		x.wanted, x.best, x.toward = wanted, best, best
		a := &Advice{Verdict: Change, GradientAfter: interval.Normal(gradient, 0.5)}
		a.Step.Raise, a.Step.Foil = step.Raise, step.Foil
		x.explain(a)
		return a
	}
	near, far := trim.Change{Raise: 0.5 * deg}, trim.Change{Raise: 0.5 * deg, Foil: 60 * mm}
	for _, c := range []struct {
		name     string
		a        *Advice
		stops    bool
		unsteady bool
	}{
		{"at the best", mk(1.2, near, near, 0.5), true, false},
		{"a part of the way", mk(1.2, far, near, 0.5), false, false},
		{"less than the level wants", mk(0.3, near, near, 0.5), false, true},
		{"below zero", mk(-0.3, near, near, 0), false, true},
	} {
		if has(c.a, Stops) != c.stops || has(c.a, Unsteady) != c.unsteady {
			t.Errorf("%s: %+v", c.name, c.a.Why)
		}
	}
}

// TestPlanStartsNear: three places are taken from the end nearer to where the
// foil stands, each a short way from the one before.
func TestPlanStartsNear(t *testing.T) {
	t.Parallel()
	turned := 0
	for _, d := range []float64{-2, -1, 0, 1, 2} {
		_, s, p := advised(t, d, nil)
		x, _ := newTask(p, s, speeds, Options{LawOK: true}).threePlaces()
		n := len(x.Places)
		if n < 2 {
			continue
		}
		if math.Abs(x.Places[0]) > math.Abs(x.Places[n-1]) {
			t.Errorf("%g°: begins far off: %v", d, x.Places)
		}
		if x.Places[0] > x.Places[1] {
			turned++
		}
		for k, v := range x.Places[1:] {
			if gap := math.Abs(v - x.Places[k]); gap > 2*nullStep+placeGrid {
				t.Errorf("%g°: moved by %g m at once: %v", d, gap, x.Places)
			}
		}
	}
	if turned == 0 {
		t.Error("none began at the front end: this shows nothing")
	}
}
