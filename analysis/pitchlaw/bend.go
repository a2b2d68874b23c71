package pitchlaw

import (
	"math"
	"slices"
)

// A bend matters when chance hardly explains it and it is large enough for a
// rider to care.
const (
	bendP       = 0.01
	bendMatters = 0.15 * math.Pi / 180 // rad
)

// bends tests the straight line three ways, each without the prior that the
// fit itself puts on it.
func (l *law) bends(at []float64, grid []noise, scale float64) []Bend {
	var out []Bend
	for _, t := range []struct {
		kind  BendKind
		par   int
		scale float64 // of the parameter, into Size
		lasts float64 // h, or 1: what makes an angle of Size
	}{
		{Curvature, parBend, 1, 1},
		{TackDifference, parTack, 2, 1},
		{Drift, parDrift, 1, l.hour[len(l.hour)-1] - l.hour[0]},
	} {
		if t.par == parTack && !l.bothTacks {
			continue
		}
		c := *l
		c.free = slices.Clone(l.free)
		c.sd[t.par] = math.Inf(1)
		beta := slices.Clone(at)
		if !slices.Contains(c.free, t.par) {
			c.free = append(c.free, t.par)
			beta = append(beta, 0)
		}
		q, _, err := c.infer(beta, grid, scale)
		if err != nil {
			continue
		}
		b := Bend{Kind: t.kind, P: q.pValue(unit(t.par)), Size: q.interval(unit(t.par), 0).Scale(t.scale)}
		b.Matters = b.P < bendP && math.Abs(b.Size.Value)*t.lasts > bendMatters
		out = append(out, b)
	}
	return out
}
