package report

import (
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

// A pacePart is what a racer asks of a log.
type pacePart struct {
	Says  []string
	Tacks *table // best speeds by tack, nil where tacks are not told apart
}

func paceFor(r *analysis.Result, u words.Units) *pacePart {
	if r.Pace == nil {
		return nil
	}
	p := &pacePart{Says: u.Pace(r.Pace)}
	t := &table{Caption: "Best speeds within reaches by tack, " + u.SpeedName(), Head: []string{"tack", "2 seconds", "10 seconds", "500 metres", "1 nautical mile"}}
	for _, tack := range []string{"port", "starboard"} {
		b, ok := r.Pace.ByTack[tack]
		if !ok {
			continue
		}
		cells := []string{tack}
		for _, v := range []interval.Number{b.TwoSeconds, b.TenSeconds, b.Metres500, b.NauticalMile} {
			cells = append(cells, words.Choose(v > 0, words.Fixed(u.SpeedValue(float64(v)), 1), "–"))
		}
		t.add(math.NaN(), cells...)
	}
	if len(t.Rows) > 0 {
		p.Tacks = t
	}
	return p
}
