package words

import (
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
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
