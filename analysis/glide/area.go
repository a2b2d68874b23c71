package glide

import (
	"math"

	"evenfoot/analysis/interval"

	"gonum.org/v1/gonum/mat"
)

// area is the drag area in the water, C_D A, m², of an outing at a speed, and how
// its logarithm goes with the unknowns.
func (f *Fit) area(outing int, speed float64) (area float64, slope *mat.VecDense) {
	b := &f.outings[outing].Body
	profile, induced := b.drags(speed)
	foil := sharedPar + outing*outingPar + parFoil
	profile *= math.Exp(f.x[foil])
	induced *= math.Exp(f.x[parLift])
	slope = mat.NewVecDense(len(f.x), nil)
	slope.SetVec(foil, profile/(profile+induced))
	slope.SetVec(parLift, induced/(profile+induced))
	return 2 * (profile + induced) / (b.Density * speed * speed), slope
}

// sd is 1σ of a quantity that goes with the unknowns by slope.
func (f *Fit) sd(slope *mat.VecDense) float64 {
	return math.Sqrt(math.Max(0, mat.Inner(slope, f.cov, slope)))
}

// ratio is the interval of a positive quantity with 1σ of its logarithm.
func ratio(value, sd float64) interval.Interval {
	k := math.Exp(interval.Z90 * sd)
	return interval.Interval{Value: value, Low: value / k, High: value * k}
}

// Area is the drag area in the water, C_D A, m², at a speed through it, m/s.
func (f *Fit) Area(speed float64) interval.Interval {
	a, slope := f.area(0, speed)
	return ratio(a, f.sd(slope))
}

// Water is the drag in the water in level flight, N, at a speed, with 1σ of its logarithm.
func (f *Fit) Water(speed float64) (newtons, sd float64) {
	a, slope := f.area(0, speed)
	return 0.5 * f.outings[0].Body.Density * speed * speed * a, f.sd(slope)
}

// factor is e^x of an unknown.
func (f *Fit) factor(k int) interval.Interval {
	return ratio(math.Exp(f.x[k]), math.Sqrt(f.cov.At(k, k)))
}

// Profile is by how much the profile drag, and Lift by how much what lift costs,
// differs from the foil's model, as factors; Air is the drag area in the air, m².
func (f *Fit) Profile() interval.Interval { return f.factor(sharedPar + parFoil) }
func (f *Fit) Lift() interval.Interval    { return f.factor(parLift) }
func (f *Fit) Air() interval.Interval     { return f.factor(parAir).Scale(f.outings[0].Body.Air) }

// Wind is the wind's speed, m/s.
func (f *Fit) Wind() interval.Interval {
	e, n := sharedPar+parWindE, sharedPar+parWindN
	slope := mat.NewVecDense(len(f.x), nil)
	v := math.Hypot(f.x[e], f.x[n])
	sin, cos := math.Sincos(math.Atan2(f.x[e], f.x[n])) // of a calm too
	slope.SetVec(e, sin)
	slope.SetVec(n, cos)
	w := interval.Normal(v, f.sd(slope))
	w.Low = math.Max(0, w.Low)
	return w
}

// Scatter is the part of the drag by which glides differ beyond what is measured,
// 1σ, and Counted how many were weighed.
func (f *Fit) Scatter() float64 { return f.scatter }
func (f *Fit) Counted() float64 { return float64(f.counted) }

// Speed is where the drag area is known best, m/s: the mean of the glides' speeds.
func (f *Fit) Speed() float64 {
	var sum, n float64
	for k := range f.outings {
		for i := range f.outings[k].Glides {
			if g := &f.outings[k].Glides[i]; g.Counts() {
				w := float64(g.Weight)
				sum, n = sum+w*g.along(&f.outings[k], g.fixes[len(g.fixes)/2]), n+w
			}
		}
	}
	return sum / n
}

// Change is the relative change of the drag area from the first outing to the
// second at a speed, and the smallest that these glides would show.
func (f *Fit) Change(speed float64) (change interval.Interval, smallest float64) {
	a, sa := f.area(0, speed)
	b, sb := f.area(1, speed)
	sb.SubVec(sb, sa)
	sd := f.sd(sb)
	c := ratio(b/a, sd)
	return interval.Interval{Value: c.Value - 1, Low: c.Low - 1, High: c.High - 1}, visible(sd)
}

// z80 is the normal deviate that four of five stay below. The two factors make
// four of five come true in TestPairs: an interval of few glides is itself in
// doubt, and another day's wind and glides may tell less than these.
const z80, doubtful, otherDay = 0.8416, 1.07, 1.08

// visible is the relative change of something whose logarithm is known to 1σ that
// is beyond its 90 % interval in four of five trials.
func visible(sd float64) float64 { return math.Exp(doubtful*(interval.Z90+z80)*sd) - 1 }

// Smallest is the smallest relative change of the drag area at a speed that two
// outings with n glides each would show, of glides as these are.
func (f *Fit) Smallest(n, speed float64) float64 {
	two := &Fit{outings: []Outing{f.outings[0], f.outings[0]}, x: append(append([]float64{}, f.x...), f.x[sharedPar:]...)}
	h := mat.NewSymDense(len(two.x), nil)
	var d mat.SymDense
	d.ScaleSym(n/f.Counted(), f.data[0])
	g := mat.NewVecDense(len(two.x), nil)
	for k := range two.outings {
		spread(h, &d, unknowns(k))
		two.outings[k].blow(two.x, k, h, g)
	}
	for k := range two.x {
		q := f.prior[(k-sharedPar)%outingPar+sharedPar]
		if k < sharedPar {
			q = f.prior[k]
		}
		h.SetSym(k, k, h.At(k, k)+1/(q.sd*q.sd))
	}
	var chol mat.Cholesky
	two.cov = mat.NewSymDense(len(two.x), nil)
	if !chol.Factorize(h) || chol.InverseTo(two.cov) != nil {
		return math.NaN()
	}
	two.cov.ScaleSym(otherDay*otherDay, two.cov)
	_, smallest := two.Change(speed)
	return smallest
}
