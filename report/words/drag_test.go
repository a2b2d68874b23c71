package words

import (
	"math"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
)

// TestDragChange: no change is claimed that its interval or the glides do not bear.
func TestDragChange(t *testing.T) {
	u := Units{}.OrDefault()
	of := func(low, value, high float64) *analysis.DragChange {
		return &analysis.DragChange{Speed: 7, Glides: [2]int{5, 6}, Change: interval.Interval{Value: value, Low: low, High: high}, Smallest: 18, SmallestTwenty: 9}
	}
	for _, c := range []struct {
		change *analysis.DragChange
		says   []string
		never  string
	}{
		{of(-18, -7, 5), []string{"no change at all explains as well", "Five glides each show a change of 18", "twenty each would show 9"}, "less than before"},
		{of(-25, -14, -3), []string{"less than such glides show reliably (18"}, "less than before"},
		{of(-33, -24, -15), []string{"less than before"}, "reliably"},
		{of(15, 24, 33), []string{"more than before"}, "reliably"},
	} {
		got := strings.ReplaceAll(u.DragChange(c.change), NBSP, " ")
		for _, s := range c.says {
			if !strings.Contains(got, s) {
				t.Errorf("%v: %q does not say %q", c.change.Change, got, s)
			}
		}
		if strings.Contains(got, c.never) {
			t.Errorf("%v: %q claims too much", c.change.Change, got)
		}
	}
	if u.DragChange(nil) != "" {
		t.Error("a change without glides")
	}
}

// TestGlideWords: every reason against a glide has its words.
func TestGlideWords(t *testing.T) {
	for _, w := range []glide.Why{glide.NotSlowing, glide.Outside, glide.Pumped, glide.Unconfirmed, glide.Pulled, glide.Braked} {
		g := glide.Glide{}
		g.Why = w
		if _, _, became := (Units{}).OrDefault().Glide(g); became == "" {
			t.Errorf("%q has no words", w)
		}
	}
}

// TestCutDrag: a curve that ends below the top speed is not told as of the top
// speed, and a limit of the search is not told as found.
func TestCutDrag(t *testing.T) {
	u, nan := Units{}.OrDefault(), math.NaN()
	r := &analysis.Result{RangeLow: 6, RangeHigh: 14, Drag: &analysis.Drag{
		Glides: 5, Curve: []analysis.DragPoint{{Speed: 6}, {Speed: 12}}, LeastDrag: interval.Unknown(),
		Cavitation: interval.Interval{Value: nan, Low: 12.5, High: nan},
	}}
	got := strings.Join(append(u.Drag(r), u.Cavitation(r)), "\n")
	for _, s := range []string{"At " + u.SpeedText(12) + ", the fastest", "no speed of least drag", "Above " + u.SpeedText(40)} {
		if !strings.Contains(got, s) {
			t.Errorf("%q is not told in %s", s, got)
		}
	}
	if strings.Contains(got, "At the top speed") {
		t.Errorf("the cut curve's end is told as the top speed: %s", got)
	}
	r.RangeHigh, r.Drag.Cavitation.Value, r.Drag.Cavitation.Low = 12, 30, 28
	got = strings.Join(append(u.Drag(r), u.Cavitation(r)), "\n")
	for _, s := range []string{"At the top speed (" + u.SpeedText(12), "to more than " + u.SpeedText(40)} {
		if !strings.Contains(got, s) {
			t.Errorf("%q is not told in %s", s, got)
		}
	}
}
