package advice

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Measurement is a value that the setup leaves to its default, and 1σ (deg)
// of the best stabilizer change now and once it is measured and written down.
type Measurement struct {
	Key       *setup.Key
	Now, Then float64
}

// gauged are the keys that an [Observation] says how to measure, and better.
var gauged = []string{"foil.stabilizer.incidence_deg", "board.cg_cm"}

// Measurements rank the keys that are not given by the doubt of the best
// stabilizer change that each would take away, the most first. A value that is
// given is known to [setup.Prior] Given instead of Default; in between lies an
// observation of 1σ s with 1/s² = 1/given² - 1/default².
func Measurements(p *trim.Posterior, s *setup.Setup, w SpeedWeights) []Measurement {
	o := objective{w.clean(), GradientWanted(s.Rider.Level)}
	if len(o.Speed) == 0 || len(p.Draws) == 0 {
		return nil
	}
	goal := p.Derivative(nil, o.bestRaise)
	now := p.DoubtAfter(goal) / deg
	var out []Measurement
	for i, u := range p.Unknowns {
		k := setup.KeyNamed(u.Key)
		if k == nil || !u.Default || !(k.Prior.Default > k.Prior.Given) || slices.Contains(gauged, k.Name) {
			continue
		}
		ratio := k.Prior.Given / k.Prior.Default
		out = append(out, Measurement{Key: k, Now: now, Then: p.DoubtKnowing(goal, i, ratio/math.Sqrt(1-ratio*ratio)) / deg})
	}
	slices.SortStableFunc(out, func(a, b Measurement) int { return cmp.Compare(a.Then, b.Then) })
	return out
}

// AngleDoubt is 1σ (deg) of the best stabilizer change of all; 0 without
// speeds or foils.
func AngleDoubt(p *trim.Posterior, s *setup.Setup, w SpeedWeights) float64 {
	o := objective{w.clean(), GradientWanted(s.Rider.Level)}
	if len(o.Speed) == 0 || len(p.Draws) == 0 {
		return 0
	}
	return p.DoubtAfter(p.Derivative(nil, o.bestRaise)) / deg
}
