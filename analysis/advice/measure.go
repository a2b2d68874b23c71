package advice

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Measurement is a value that the setup leaves to its default, and 1σ (deg)
// of the best stabilizer change now and once it is measured and written down.
type Measurement struct {
	Key       *setup.Key
	Now, Then float64
}

// gauged are the keys that [Observations] say how to measure, and better.
var gauged = []string{"foil.stabilizer.incidence_deg", "board.cg_cm"}

// Measurements rank the keys that are not given by the doubt of the best
// stabilizer change that each would take away, the most first. A value that is
// given is known to [setup.Prior] Given instead of Default; in between lies an
// observation of 1σ s with 1/s² = 1/given² - 1/default².
func Measurements(p *trim.Posterior, s *setup.Setup, w SpeedWeights) []Measurement {
	t := newTask(p, s, w, Options{})
	if len(t.w.Speed) == 0 || len(p.Draws) == 0 {
		return nil
	}
	cov := t.covariance()
	goal := t.gradient(func(in trim.Inputs) float64 { return t.w.best([]trim.Inputs{in}, anywhere).Raise })
	now := math.Sqrt(quadraticForm(cov, goal)) / deg
	var out []Measurement
	for i, u := range p.Unknowns {
		k := setup.KeyNamed(u.Key)
		if k == nil || !u.Default || !(k.Prior.Default > k.Prior.Given) || slices.Contains(gauged, k.Name) {
			continue
		}
		ratio := k.Prior.Given / k.Prior.Default
		direction := mat.NewVecDense(len(p.Mean), nil)
		direction.SetVec(i, 1)
		then := mat.DenseCopyOf(cov)
		update(then, direction, ratio/math.Sqrt(1-ratio*ratio)) // in prior σ
		out = append(out, Measurement{Key: k, Now: now, Then: math.Sqrt(math.Max(0, quadraticForm(then, goal))) / deg})
	}
	slices.SortStableFunc(out, func(a, b Measurement) int { return cmp.Compare(a.Then, b.Then) })
	return out
}
