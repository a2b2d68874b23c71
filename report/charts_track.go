package report

import (
	"fmt"
	"math"

	"evenfoot/analysis/advice"
	"evenfoot/report/words"
)

// shareClamped is the share at v, or at the nearest end of the curve.
func shareClamped(c []advice.SharePoint, v float64) float64 {
	if len(c) == 0 || !words.Finite(v) {
		return 0.5
	}
	v = math.Max(float64(c[0].Speed), math.Min(float64(c[len(c)-1].Speed), v))
	if s := words.ShareOf(c, v); s.Known() {
		return s.Value
	}
	return 0.5
}

// thinTrack drops fixes that lie closer than step to the last one kept, and
// then more until the limit holds; changes of colour and gaps stay.
func thinTrack(ps []place, step float64, limit int) []place {
	for {
		out := ps[:1:1]
		for i := 1; i < len(ps); i++ {
			q, l := ps[i], out[len(out)-1]
			if math.Hypot(q.x-l.x, q.y-l.y) >= step || (q.broken && i > 0) || i == len(ps)-1 {
				out = append(out, q)
			}
		}
		if len(out) <= limit || step > 1e6 {
			return out
		}
		step = math.Max(step*1.5, 0.5)
	}
}

// trackSays is how the time on the foil divides by the front foot's share.
func (b *builder) trackSays() string {
	today := b.today()
	if len(today) == 0 || len(b.r.SpeedHistogram) == 0 {
		return b.timelineSays()
	}
	var total, front, even, maybe, back float64
	for _, h := range b.r.SpeedHistogram {
		v := (h.Low + h.High) / 2
		s := shareClamped(today, v)
		total += h.Seconds
		if i := words.ShareOf(today, v); i.Known() && i.Low <= shareClasses[2] && i.High >= shareClasses[1] {
			maybe += h.Seconds
		}
		switch {
		case s > shareClasses[3]:
			front += h.Seconds
		case s < shareClasses[0]:
			back += h.Seconds
		case s >= shareClasses[1] && s <= shareClasses[2]:
			even += h.Seconds
		}
	}
	if !(total > 0) {
		return b.timelineSays()
	}
	s := fmt.Sprintf("Of %s on the foil, the load was even for %s", words.Minutes(total), words.Percent(even/total))
	if maybe/total > even/total+0.005 {
		s += fmt.Sprintf(" (with the doubt counted, for up to %s)", words.Percent(maybe/total))
	}
	if front > 0 {
		s += fmt.Sprintf(", and more than 60 %% on the front foot for %s", words.Percent(front/total))
	}
	if back > 0 {
		s += fmt.Sprintf(", and less than 40 %% on the front foot for %s", words.Percent(back/total))
	}
	return s + "."
}
