package simulate

import (
	"math"
	"slices"

	"evenfoot/analysis/trim"
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
// counted once.
func BestFor(foil trim.Inputs, speeds []float64) Best { return bestPair(foil, speeds, 0.5) }

// bestPair minimises the mean of (share - even)² by Gauss–Newton; the shares are
// nearly linear in both changes.
func bestPair(foil trim.Inputs, speeds []float64, even float64) Best {
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
	shares := func(di, dx float64) []float64 {
		in := foil
		in.StabIncidence += di
		in.WingX += dx
		f := trim.NewFoil(in)
		out := make([]float64, len(speeds))
		for i, v := range speeds {
			out[i] = f.At(v, trim.Gravity).FrontShare - even
		}
		return out
	}
	rms := func(x []float64) float64 {
		var s float64
		for _, v := range x {
			s += v * v
		}
		return math.Sqrt(s / float64(len(x)))
	}
	var di, dx float64
	now := shares(0, 0)
	r := now
	for range 8 {
		const hi, hx = 0.05 * Deg, 0.001
		a, b := shares(di+hi, dx), shares(di, dx+hx)
		var aa, ab, bb, ar, br float64
		for i := range r {
			da, db := (a[i]-r[i])/hi, (b[i]-r[i])/hx
			aa, ab, bb = aa+da*da, ab+da*db, bb+db*db
			ar, br = ar+da*r[i], br+db*r[i]
		}
		det := aa*bb - ab*ab
		if det <= 1e-9*aa*bb { // one speed only: the pair cannot be told apart
			break
		}
		di -= (bb*ar - ab*br) / det
		dx -= (aa*br - ab*ar) / det
		r = shares(di, dx)
	}
	return Best{di, dx, rms(now), rms(r)}
}
