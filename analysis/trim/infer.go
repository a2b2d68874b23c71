package trim

import (
	"evenfoot/analysis/setup"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A problem is the inference of one foil from all outings: unknowns in prior
// σ, with residuals in σ of the evidence. Outing 0 is today.
type problem struct {
	outings []Outing
	params  []parameter
	today   int     // params[:today] act on today's outing or on all
	acting  [][]int // of each outing, those of params that act on it
	items   []item
}

// Why nothing can be inferred: a setup.Trouble's kinds.
const (
	NoSetup         = "no setup to infer from"
	NotAboveZero    = "not above zero" // a key and its value
	NoBalance       = "no balance"
	OutOfProportion = "out of proportion" // the evidence to the setup
	OtherFoil       = "another foil"      // a key, and its values of the two
)

// Infer finds the posterior of today's foil from its setup's priors and all
// the evidence: maximum a posteriori by Gauss–Newton, Laplace covariance, and
// draws that importance weights correct for what is not normal. Earlier outings
// on another foil are left out and named. draws, even, is mostly [Draws]. It fails only on inputs that no
// physics can be done with.
func Infer(today Outing, earlier []Outing, draws int) (*Posterior, error) {
	if today.Setup == nil {
		return nil, &setup.Trouble{Kind: NoSetup}
	}
	if err := today.In.check(); err != nil {
		return nil, err
	}
	outings := []Outing{today}
	var left []LeftOut
	for i, o := range earlier {
		err := SameFoil(today.Setup, o.Setup)
		if err == nil {
			err = o.In.check()
		}
		if err != nil {
			left = append(left, LeftOut{Outing: i, Title: o.Setup.Title, Why: err})
			continue
		}
		outings = append(outings, o)
	}
	p := newProblem(outings)
	x, err := p.maximum()
	if err != nil {
		return nil, err
	}
	j := p.jacobian(x)
	cov := covariance(len(x), j)
	post := &Posterior{Base: today.In, Widened: 1, LeftOut: left, Surprise: 2 * p.cost(x), problem: p}
	post.Conflicts, post.Widened = p.conflicts(x, cov)
	post.Conflicts = append(p.swapped(x, j, cov), post.Conflicts...)
	for i := range post.Conflicts {
		if o := post.Conflicts[i].Outing; o > 0 {
			post.Conflicts[i].Title = outings[o].Setup.Title
		}
	}
	post.fill(x, cov)
	post.draw(x, cov, draws)
	return post, nil
}

// check refuses what would divide by zero.
func (in Inputs) check() error {
	for _, c := range []struct {
		key string
		v   float64
	}{
		{"rider.mass_kg", in.RiderMass}, {"foil.mast_cm", in.Mast}, {"foil.depth_cm", in.Depth},
		{"foil.wing.area_cm2", in.WingArea}, {"foil.wing.span_cm", in.WingSpan},
		{"foil.stabilizer.area_cm2", in.StabArea}, {"foil.stabilizer.span_cm", in.StabSpan},
		{"foil.stabilizer.behind_wing_cm", in.StabArm}, {"stance.front_cm - stance.back_cm", in.FrontFoot - in.BackFoot},
		{"foil.mast_chord_mm", in.MastChord}, {"water density", in.Density}, {"water viscosity", in.Viscosity},
	} {
		if !(c.v > 0) || math.IsInf(c.v, 0) {
			return &setup.Trouble{Kind: NotAboveZero, Text: []string{c.key}, Values: []float64{c.v}}
		}
	}
	return nil
}

// newProblem lists the unknowns: the foil's and the shims' for all outings,
// each rider's feet, zero and scale, and what the rig does on each outing.
func newProblem(outings []Outing) *problem {
	p := &problem{outings: outings}
	t := outings[0]
	p.params = foilParameters(t.Setup, t.In)
	if slices.ContainsFunc(outings, func(o Outing) bool { return o.Ev.tells(DragKind) }) {
		p.params[slices.IndexFunc(p.params, func(q parameter) bool { return q.name == dragName })].sd = glidedSD
	}
	for _, o := range outings {
		if o.In.Shim != 0 {
			p.params = append(p.params, shimParameter(t.Setup))
			break
		}
	}
	feet, riders := groups(outings, sameFeet), groups(outings, sameRider)
	for i, o := range outings {
		if on := feet[i]; on != nil {
			p.add(on, footParameters(o.Setup, o.In)...)
		}
		if on := riders[i]; on != nil && !weighedAlone(outings, on) {
			p.add(on, riderParameters()...)
		}
		p.add([]int{i}, rigParameters(o.Setup, o.In)...)
		p.add([]int{i}, instrumentParameters(&o.Ev)...)
		if i == 0 {
			p.today = len(p.params)
		}
		p.items = append(p.items, evidenceItems(i, o)...)
	}
	p.sort()
	return p
}

// sort finds which unknowns act on each outing.
func (p *problem) sort() {
	p.acting = make([][]int, len(p.outings))
	for o := range p.outings {
		for k := range p.params {
			if p.params[k].actsOn(o) {
				p.acting[o] = append(p.acting[o], k)
			}
		}
	}
}

// weighedAlone says whether instruments show a rider's load, who said nothing
// of it in any of these outings: then even is even, whatever it feels like.
func weighedAlone(outings []Outing, on []int) bool {
	instruments := false
	for _, i := range on {
		e := &outings[i].Ev
		if len(e.Feel) > 0 || e.tells(MomentKind, NullKind) {
			return false
		}
		instruments = instruments || e.tells(MeasuredKind, MastKind)
	}
	return instruments
}

func (p *problem) add(on []int, qs ...parameter) {
	for _, q := range qs {
		q.on = on
		p.params = append(p.params, q)
	}
}

// groups puts every outing into one group, by its first outing: that of the
// first group whose first is the same, else one of its own. What is the same
// need not be so of a third.
func groups(outings []Outing, same func(first, o Outing) bool) map[int][]int {
	of := map[int][]int{}
	var firsts []int
	for i, o := range outings {
		at := slices.IndexFunc(firsts, func(f int) bool { return same(outings[f], o) })
		if at < 0 {
			at, firsts = len(firsts), append(firsts, i)
		}
		of[firsts[at]] = append(of[firsts[at]], i)
	}
	return of
}

// inputs is outing o with the unknowns at x (prior σ).
func (p *problem) inputs(o int, x []float64) Inputs {
	in := p.outings[o].In
	for _, k := range p.acting[o] {
		if x[k] != 0 {
			p.params[k].applyTo(&in, x[k]*p.params[k].sd)
		}
	}
	return in
}

// cost is minus the log posterior: ½|x|² + ½|r|².
func (p *problem) cost(x []float64) float64 {
	c := 0.0
	for _, v := range x {
		c += v * v
	}
	for _, v := range p.residuals(x) {
		c += v * v
	}
	if math.IsNaN(c) {
		return math.Inf(1)
	}
	return c / 2
}

// jacobian is ∂r/∂x by central differences, rows the items.
func (p *problem) jacobian(x []float64) *mat.Dense {
	if len(p.items) == 0 {
		return nil
	}
	const h = 1e-4
	j := mat.NewDense(len(p.items), len(x), nil)
	y := append([]float64(nil), x...)
	hi, lo := make([]float64, len(p.items)), make([]float64, len(p.items))
	for k := range p.params {
		clear(hi)
		clear(lo)
		y[k] = x[k] + h
		p.fill(hi, y, p.params[k].on)
		y[k] = x[k] - h
		p.fill(lo, y, p.params[k].on)
		y[k] = x[k]
		for i := range hi {
			j.Set(i, k, (hi[i]-lo[i])/(2*h))
		}
	}
	return j
}

// hessian is the Gauss–Newton I + JᵀJ.
func hessian(n int, j *mat.Dense) *mat.SymDense {
	h := mat.NewSymDense(n, nil)
	if j != nil {
		h.SymOuterK(1, j.T())
	}
	for k := range n {
		h.SetSym(k, k, h.At(k, k)+1)
	}
	return h
}

// gradient is that of the cost, x + Jᵀr.
func (p *problem) gradient(x []float64, j *mat.Dense) *mat.VecDense {
	g := mat.NewVecDense(len(x), slices.Clone(x))
	if j != nil {
		var jr mat.VecDense
		jr.MulVec(j.T(), mat.NewVecDense(len(p.items), p.residuals(x)))
		g.AddVec(g, &jr)
	}
	return g
}

// maximum is the MAP: Gauss–Newton with a backtracking line search.
func (p *problem) maximum() ([]float64, error) {
	n := len(p.params)
	x := make([]float64, n)
	cost := p.cost(x)
	if math.IsInf(cost, 0) {
		return nil, &setup.Trouble{Kind: NoBalance}
	}
	for range 60 {
		j := p.jacobian(x)
		g := p.gradient(x, j)
		var chol mat.Cholesky
		if !chol.Factorize(hessian(n, j)) {
			return nil, &setup.Trouble{Kind: OutOfProportion}
		}
		var step mat.VecDense
		if err := chol.SolveVecTo(&step, g); err != nil {
			return nil, &setup.Trouble{Kind: OutOfProportion, Err: err}
		}
		slope := mat.Dot(&step, g)
		y := make([]float64, n)
		moved := false
		for t := 1.0; t > 1e-6; t /= 2 {
			for k := range x {
				y[k] = x[k] - t*step.AtVec(k)
			}
			if c := p.cost(y); c <= cost-1e-4*t*slope {
				copy(x, y)
				cost, moved = c, true
				break
			}
		}
		if !moved || slope < 1e-12 {
			break
		}
	}
	return x, nil
}

// covariance is Laplace's (I + JᵀJ)⁻¹ of n unknowns.
func covariance(n int, j *mat.Dense) *mat.SymDense {
	var chol mat.Cholesky
	cov := mat.NewSymDense(n, nil)
	if !chol.Factorize(hessian(n, j)) || chol.InverseTo(cov) != nil {
		// The prior: what is known without evidence that cannot be weighed.
		for k := range n {
			cov.SetSym(k, k, 1)
		}
	}
	return cov
}
