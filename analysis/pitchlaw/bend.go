package pitchlaw

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/interval"
)

// A bend is told when chance hardly explains it and it is large enough to
// matter to a rider.
const (
	bendP       = 0.01
	bendMatters = 0.15 * math.Pi / 180 // rad
)

// bends tests the straight line three ways, each without the prior that the
// fit itself puts on it.
func (l *law) bends(at []float64, grid []noise, scale float64, p Params) []Bend {
	tests := []struct {
		par   int
		name  string
		unit  string
		scale float64 // of the parameter, into the unit
		reach float64 // rad per unit, how large it gets in this session
		says  func(interval.Interval) string
	}{
		{parBend, "curvature", "deg", 180 / math.Pi, 1, func(i interval.Interval) string {
			word := "above"
			if i.Value < 0 {
				word = "below"
			}
			return fmt.Sprintf("The law is bent: at both ends of the speed range the pitch lies %.1f° %s the straight line. Depth, ventilation or lift beyond the linear range can do this.", math.Abs(i.Value), word)
		}},
		{parTack, "tack difference", "deg", 2 * 180 / math.Pi, 2, func(i interval.Interval) string {
			more, less := "starboard", "port"
			if i.Value < 0 {
				more, less = less, more
			}
			return fmt.Sprintf("On %s tack the board flies %.1f° more bow-up than on %s at the same load: stance, leeway or a sensor that is not square to the board.", more, math.Abs(i.Value), less)
		}},
		{parDrift, "drift", "deg per hour", 180 / math.Pi, 0, func(i interval.Interval) string {
			word := "rose"
			if i.Value < 0 {
				word = "fell"
			}
			return fmt.Sprintf("The pitch %s by %.1f° per hour at the same load: a mount that moves, water in the board, or a rider who tires.", word, math.Abs(i.Value))
		}},
	}
	var out []Bend
	for _, t := range tests {
		if t.par == parTack && !l.bothTacks {
			continue
		}
		// A copy with the tested parameter free of its prior.
		c := *l
		c.free = slices.Clone(l.free)
		beta := slices.Clone(at)
		if !slices.Contains(c.free, t.par) {
			c.free = append(c.free, t.par)
			beta = append(beta, 0)
		}
		c.sd[t.par] = math.Inf(1)
		b := Bend{Name: t.name, Unit: t.unit, Size: interval.Unknown(), P: math.NaN()}
		if q, _, err := c.infer(beta, grid, scale); err == nil {
			b.P = q.pValue(unit(t.par))
			size := q.interval(unit(t.par), 0)
			b.Size = size.Scale(t.scale)
			effect := math.Abs(size.Value) * t.reach
			if t.par == parDrift {
				effect = math.Abs(size.Value) * (l.hour[len(l.hour)-1] - l.hour[0])
			}
			if b.P < bendP && effect > bendMatters {
				b.Says = t.says(b.Size)
			}
		}
		out = append(out, b)
	}
	return out
}
