package advice

import (
	"slices"
	"testing"

	"evenfoot/analysis/interval"
)

// TestOneReasonWhyItStops: steadiness is why the advice stops only where the
// step ends at the best pair and leaves as much as the rider's level wants.
func TestOneReasonWhyItStops(t *testing.T) {
	_, s, p := advised(t, 1.5, nil)
	has := func(a *Advice, k Kind) bool {
		return slices.ContainsFunc(a.Why, func(r Reason) bool { return r.Kind == k })
	}
	mk := func(gradient float64, best Pair, step Pair, wanted float64) *Advice {
		t.Helper()
		x := newTask(p, s, speeds, Options{LawOK: true})
		x.wanted, x.best, x.toward = wanted, best, best
		a := &Advice{Verdict: Change, GradientAfter: interval.Normal(gradient, 0.5)}
		a.Step.Raise, a.Step.Foil = step.Raise, step.Move
		x.explain(a)
		return a
	}
	near, far := Pair{Raise: 0.5 * deg}, Pair{Raise: 0.5 * deg, Move: 60 * mm}
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
