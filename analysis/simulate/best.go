package simulate

import (
	"math"
	"slices"

	"evenfoot/analysis/trim"

	"gonum.org/v1/gonum/mat"
)

// Best is the pair of changes that makes the true foil feel most even over the
// speeds that were ridden (5th to 98th percentile in flight): the truth that
// the advice is held against.
type Best struct {
	StabChange float64 // rad, + leading edge up
	FoilMove   float64 // m, + forward
	Now, After float64 // RMS of the front foot's share less what feels even
}

// flightSpeeds are the speeds through the water in flight, thinned.
func (t *Truth) flightSpeeds() []float64 {
	var v []float64
	for i := 0; i < len(t.Speed); i += 50 {
		if t.Flying[i] {
			v = append(v, float64(t.Speed[i]))
		}
	}
	slices.Sort(v)
	if len(v) < 20 {
		return nil
	}
	return v[len(v)*5/100 : len(v)*98/100]
}

// BestFor is the best pair over the given speeds, m/s through the water, each
// counted once: the least mean of (felt share - ½)² by Gauss–Newton, as the
// shares are nearly linear in both changes.
func BestFor(foil trim.Inputs, speeds []float64) Best {
	if len(speeds) == 0 {
		return Best{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	}
	if len(speeds) > 400 { // an even thinning keeps the distribution
		thin := make([]float64, 400)
		for i := range thin {
			thin[i] = speeds[i*len(speeds)/400]
		}
		speeds = thin
	}
	n := len(speeds)
	off := func(di, dx float64) *mat.VecDense {
		in := foil
		in.StabIncidence += di
		in.WingX += dx
		f := trim.NewFoil(in)
		v := mat.NewVecDense(n, nil)
		for i, speed := range speeds {
			v.SetVec(i, f.At(speed, trim.Gravity).FeltShare-0.5)
		}
		return v
	}
	rms := func(v *mat.VecDense) float64 { return mat.Norm(v, 2) / math.Sqrt(float64(n)) }
	var di, dx float64
	now := off(0, 0)
	for range 8 {
		const hi, hx = 0.05 * Deg, 0.001
		r := off(di, dx)
		j := mat.NewDense(n, 2, nil)
		for k, v := range []*mat.VecDense{off(di+hi, dx), off(di, dx+hx)} {
			v.SubVec(v, r)
			j.SetCol(k, v.RawVector().Data)
		}
		var step mat.VecDense
		if err := step.SolveVec(j, r); err != nil { // one speed only: the pair cannot be told apart
			break
		}
		di -= step.AtVec(0) * hi
		dx -= step.AtVec(1) * hx
	}
	return Best{di, dx, rms(now), rms(off(di, dx))}
}
