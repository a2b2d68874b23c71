package glide

import (
	"errors"
	"math"
	"slices"

	"evenfoot/analysis/interval"

	"gonum.org/v1/gonum/mat"
)

// The unknowns: what all outings share, then those of each outing.
const (
	parLift   = iota // b, ln of what lift costs
	parAir           // c, ln of the area in the air
	parSlope         // rad, error of all laws' path angle
	sharedPar        //
)

const (
	parFoil  = iota // a, ln of the profile drag
	parWindE        // m/s, where the air goes
	parWindN
	parFlowE // m/s, of the water
	parFlowN
	parLaw     // rad, error of the outing's path angle
	parPosture // ln, of the rider on that day
	outingPar
)

// The unknowns of one glide.
const (
	ownStart   = iota // m/s
	ownHeight         // m, error of the rise at its end
	ownPosture        // ln of the area in the air
	ownScatter        // ln of the drag in the water
	ownPar
)

// 1σ of the priors, of no source but common sense where none is named.
const (
	foilSD       = 0.5    // the model's own 20 % must not count twice in the balance
	liftSD       = 0.15   // Oswald's factor of such wings, 0.8 to 1, and the height over the wing
	airSD        = 0.27   // a standing man's drag area is 0.4 to 0.84 m² by attitude (Hoerner, Fluid-Dynamic Drag, 1965, from memory)
	slopeSD      = 0.0020 // rad: the rig's lift, which the law holds and a glide has not, is unknown by 5 % of the load
	lawSD        = 0.0007 // rad: the law's own error
	daySD        = 0.03
	postureSD    = 0.18
	windSD       = 2.5 // m/s, about usualWind, where the direction is known
	usualWind    = 7.5 // m/s
	anyWindSD    = 6.0 // m/s along each axis, where it is not
	leastAcross  = 1.0 // m/s
	startSD      = 2.0 // m/s
	scatterGuess = 0.03
	scatterSpan  = 0.6 // ln
	memory       = 3.0 // s, of the receiver's errors
	freshPart    = 0.1 // of their variance without memory
	// Student's degrees of freedom of a glide with less drag than the others, and with
	// more: a rig that still pulls is common, and next to nothing brakes a glide.
	pulledNu = 3.0
	brakedNu = 12.0
	// The longest step of an unknown in its prior's σ: the path bends with all of them.
	longestStep = 0.6
)

// A Fit is the drag that glides show, of one outing or of two.
type Fit struct {
	outings []Outing
	x       []float64
	prior   []gauss
	cov     *mat.SymDense
	data    []*mat.SymDense // information of each outing's glides
	scatter float64         // τ
	counted int             // glides that were weighed
}

type gauss struct{ mean, sd float64 }

// Outing is the first outing, with what became of its glides.
func (f *Fit) Outing() Outing { return f.outings[0] }

// ErrNone says that no glide counts.
var ErrNone = errors.New("no glide counts")

var errWeigh = errors.New("glide: the fixes cannot be weighed")

// problem is a fit under way.
type problem struct {
	*Fit
	of    []*Glide // that count
	in    []int    // the outing of each
	start []float64
	w     []float64
	d, s  []float64 // ln drag of each off the fit, and its 1σ without τ
}

// New fits one outing's glides, or those of several together. It changes none of
// them: what became of each glide is told by [Fit.Outing].
func New(outings ...Outing) (*Fit, error) {
	outings = slices.Clone(outings)
	for k := range outings {
		outings[k].Glides = slices.Clone(outings[k].Glides)
	}
	p := &problem{Fit: &Fit{outings: outings, scatter: scatterGuess}}
	p.prior = []gauss{{0, liftSD}, {0, airSD}, {0, slopeSD}}
	for k := range outings {
		o := &outings[k]
		p.prior = append(p.prior, o.priors()...)
		for i := range o.Glides {
			if g := &o.Glides[i]; g.Counts() {
				p.of, p.in = append(p.of, g), append(p.in, k)
				p.start, p.w = append(p.start, g.along(o, g.fixes[0])), append(p.w, 1)
			}
		}
	}
	n := len(p.of)
	if n == 0 {
		return nil, ErrNone
	}
	p.d, p.s = make([]float64, n), make([]float64, n)
	for _, q := range p.prior {
		p.x = append(p.x, q.mean)
	}
	const rounds = 40
	for round := range rounds {
		moved, err := p.step()
		if err != nil {
			return nil, err
		}
		if round == 0 { // a start that no single glide can pull away
			p.aside()
		}
		p.weigh()
		if round > 4 && moved < 1e-4 {
			break
		}
	}
	p.tell()
	return p.Fit, nil
}

func (o *Outing) priors() []gauss {
	flow := math.Max(o.FlowSD, 0.02)
	return []gauss{{0, foilSD}, {0, anyWindSD}, {0, anyWindSD}, {o.Flow[0], flow}, {o.Flow[1], flow}, {0, lawSD}, {0, daySD}}
}

// along is a fix's speed along the glide's course through the water, over ground.
func (g *Glide) along(o *Outing, f Fix) float64 {
	e, n := g.course(o.Flow)
	return f.East*e + f.North*n
}

// speeds solves for a glide's speeds along its course over ground at its fixes.
func (o *Outing) speeds(g *Glide, shared, own []float64, of *[ownPar]float64, out []float64) {
	east, north := g.course(o.Flow)
	fe, fn := own[parFlowE], own[parFlowN]
	foil, lift := math.Exp(own[parFoil]+of[ownScatter]), math.Exp(shared[parLift]+of[ownScatter])
	air := 0.5 * AirDensity * o.Body.Air * math.Exp(shared[parAir]+own[parPosture]+of[ownPosture])
	angle := shared[parSlope] + own[parLaw]
	last := len(g.fixes) - 1
	sink := of[ownHeight] / (g.fixes[last].T - g.fixes[0].T)
	slowing := func(v, climb float64) float64 {
		v = max(v, 0.5)
		profile, induced := o.Body.drags(v)
		we, wn := v*east+fe-own[parWindE], v*north+fn-own[parWindN]
		drag := foil*profile + lift*induced + air*math.Sqrt(we*we+wn*wn)*(we*east+wn*north)
		return -drag/o.Body.Mass - gravity*(climb/v+angle)
	}
	flow := fe*east + fn*north
	v := of[ownStart] - flow
	out[0] = v + flow
	for i := range last {
		dt := g.fixes[i+1].T - g.fixes[i].T
		climb := (g.fixes[i+1].Rise-g.fixes[i].Rise)/dt + sink
		steps := math.Ceil(dt / 0.3)
		h := dt / steps
		for range int(steps) {
			v += h * slowing(v+0.5*h*slowing(v, climb), climb)
		}
		out[i+1] = v + flow
	}
}

// unknowns are the indices in x of what bears on an outing's glides.
func unknowns(outing int) []int {
	k := make([]int, 0, sharedPar+outingPar)
	for j := range sharedPar {
		k = append(k, j)
	}
	for j := range outingPar {
		k = append(k, sharedPar+outing*outingPar+j)
	}
	return k
}

// look lays one glide's path through its fixes: what it tells of the unknowns,
// with all that is the glide's own taken out, as information and slope. It moves
// the start along.
func (p *problem) look(i int) (info *mat.SymDense, slope *mat.VecDense, err error) {
	g, o := p.of[i], &p.outings[p.in[i]]
	ks := unknowns(p.in[i])
	par := make([]float64, len(ks))
	for c, k := range ks {
		par[c] = p.x[k]
	}
	n := len(g.fixes)
	own := [ownPar]float64{ownStart: p.start[i]}
	at := func(out []float64) { o.speeds(g, par[:sharedPar], par[sharedPar:], &own, out) }
	base, moved := make([]float64, n), make([]float64, n)
	at(base)
	r, j := mat.NewVecDense(n, nil), mat.NewDense(n, len(ks), nil)
	for a, f := range g.fixes {
		r.SetVec(a, g.along(o, f)-base[a])
	}
	const h = 1e-4
	diff := func(x *float64, put func(a int, d float64)) {
		*x += h
		at(moved)
		*x -= h
		for a := range moved {
			put(a, (moved[a]-base[a])/h)
		}
	}
	for c := range ks {
		diff(&par[c], func(a int, d float64) { j.Set(a, c, d) })
	}
	var mine [ownPar]*mat.VecDense
	for c := range mine {
		mine[c] = mat.NewVecDense(n, nil)
		diff(&own[c], mine[c].SetVec)
	}
	cov := mat.NewSymDense(n, nil)
	v := o.SpeedSD * o.SpeedSD
	for a := range n {
		for b := a; b < n; b++ {
			c := v * (1 - freshPart) * math.Exp(-math.Abs(g.fixes[a].T-g.fixes[b].T)/memory)
			if a == b {
				c += v * freshPart
			}
			cov.SetSym(a, b, c)
		}
	}
	// A start that nothing else tells is moved at once, by its best value.
	cov.SymRankOne(cov, startSD*startSD, mine[ownStart])
	cov.SymRankOne(cov, g.riseSD*g.riseSD, mine[ownHeight])
	cov.SymRankOne(cov, postureSD*postureSD, mine[ownPosture])
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return nil, nil, errWeigh
	}
	var x, y mat.VecDense
	_ = chol.SolveVecTo(&x, r) // whose error is of a bad condition
	p.start[i] += startSD * startSD * mat.Dot(mine[ownStart], &x)
	f := mine[ownScatter]
	_ = chol.SolveVecTo(&y, f)
	told := mat.Dot(f, &y)
	p.s[i], p.d[i] = 1/math.Sqrt(told), mat.Dot(f, &x)/told
	cov.SymRankOne(cov, p.scatter*p.scatter, f)
	if !chol.Factorize(cov) {
		return nil, nil, errWeigh
	}
	var cj, square mat.Dense
	_ = chol.SolveTo(&cj, j)
	square.Mul(j.T(), &cj)
	info, slope = mat.NewSymDense(len(ks), square.RawMatrix().Data), mat.NewVecDense(len(ks), nil)
	slope.MulVec(cj.T(), r)
	return info, slope, nil
}

// step is one of Gauss–Newton's; it returns how far the farthest unknown moved, in σ.
func (p *problem) step() (moved float64, err error) {
	n := len(p.x)
	h, g := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	p.data = make([]*mat.SymDense, len(p.outings))
	for k := range p.data {
		p.data[k] = mat.NewSymDense(sharedPar+outingPar, nil)
	}
	for i := range p.of {
		info, slope, err := p.look(i)
		if err != nil {
			return 0, err
		}
		info.ScaleSym(p.w[i], info)
		p.data[p.in[i]].AddSym(p.data[p.in[i]], info)
		for a, k := range unknowns(p.in[i]) {
			g.SetVec(k, g.AtVec(k)+p.w[i]*slope.AtVec(a))
		}
	}
	for k, d := range p.data {
		spread(h, d, unknowns(k))
	}
	for k, q := range p.prior {
		h.SetSym(k, k, h.At(k, k)+1/(q.sd*q.sd))
		g.SetVec(k, g.AtVec(k)+(q.mean-p.x[k])/(q.sd*q.sd))
	}
	for k := range p.outings {
		p.outings[k].blow(p.x, k, h, g)
	}
	var chol mat.Cholesky
	p.cov = mat.NewSymDense(n, nil)
	if !chol.Factorize(h) || chol.InverseTo(p.cov) != nil {
		return 0, errWeigh
	}
	var by mat.VecDense
	_ = chol.SolveVecTo(&by, g)
	for k := range p.x {
		most := longestStep * p.prior[k].sd
		d := math.Max(-most, math.Min(most, by.AtVec(k)))
		p.x[k] += d
		moved = math.Max(moved, math.Abs(d)/math.Sqrt(p.cov.At(k, k)))
	}
	return moved, nil
}

// spread adds a small matrix into the large one at the given indices.
func spread(h, d *mat.SymDense, at []int) {
	for a, k := range at {
		for b := a; b < len(at); b++ {
			h.SetSym(k, at[b], h.At(k, at[b])+d.At(a, b))
		}
	}
}

// blow is the prior of a wind whose direction is known: about its usual strength
// along it, and little across.
func (o *Outing) blow(x []float64, outing int, h *mat.SymDense, g *mat.VecDense) {
	if !(o.WindFromSD > 0) {
		return
	}
	e, n := sharedPar+outing*outingPar+parWindE, sharedPar+outing*outingPar+parWindN
	sin, cos := math.Sincos(o.WindFrom)
	across := math.Max(leastAcross, usualWind*o.WindFromSD)
	for _, q := range []struct{ e, n, mean, sd float64 }{{-sin, -cos, usualWind, windSD}, {cos, -sin, 0, across}} {
		k := 1 / (q.sd * q.sd)
		off := q.mean - q.e*x[e] - q.n*x[n]
		h.SetSym(e, e, h.At(e, e)+k*q.e*q.e)
		h.SetSym(n, n, h.At(n, n)+k*q.n*q.n)
		h.SetSym(e, n, h.At(e, n)+k*q.e*q.n)
		g.SetVec(e, g.AtVec(e)+k*off*q.e)
		g.SetVec(n, g.AtVec(n)+k*off*q.n)
	}
}

// aside puts the foil's drag back to where a glide a little above the middle
// of each outing wants it: those that were none lie below.
func (p *problem) aside() {
	for k := range p.outings {
		var d []float64
		for i := range p.of {
			if p.in[i] == k {
				d = append(d, p.d[i])
			}
		}
		if len(d) > 0 {
			slices.Sort(d)
			off := 1.5 * d[len(d)*3/5] // all of the drag by the profile's part of it, about two thirds
			p.x[sharedPar+k*outingPar+parFoil] = math.Max(-foilSD, math.Min(foilSD, off))
		}
	}
}

// weigh takes the scatter from how far the glides lie apart, and their weights
// from how far each lies.
func (p *problem) weigh() {
	n := float64(len(p.d))
	free := math.Min(n/math.Max(n-float64(len(p.outings)), 0.5), 1.5) // the fit follows them
	var taus, logs []float64
	for u := -2.0; u <= 2.0; u += 0.1 {
		tau := scatterGuess * math.Exp(scatterSpan*u)
		l := -u * u / 2
		for i, d := range p.d {
			v := p.s[i]*p.s[i] + tau*tau
			nu := freedom(d)
			l -= 0.5*math.Log(v) + 0.5*(nu+1)*math.Log1p(free*d*d/v/nu)
		}
		taus, logs = append(taus, tau), append(logs, l)
	}
	var sum, norm float64
	most := slices.Max(logs)
	for i, l := range logs {
		e := math.Exp(l - most)
		sum, norm = sum+e*taus[i]*taus[i], norm+e
	}
	p.scatter = math.Sqrt(sum / norm)
	for i, d := range p.d {
		z := d * d / (p.s[i]*p.s[i] + p.scatter*p.scatter)
		nu := freedom(d)
		p.w[i] = math.Min(1, (nu+1)/(nu+z))
	}
}

// freedom is Student's degrees of freedom of a glide whose drag is off by d.
func freedom(d float64) float64 {
	if d < 0 {
		return pulledNu
	}
	return brakedNu
}

// oddWeight is the weight below which a glide was none.
const oddWeight = 0.4

// tell writes down what became of each glide.
func (p *problem) tell() {
	p.counted = len(p.of)
	for i, g := range p.of {
		g.Drag, g.Weight, g.Why = interval.Normal(p.d[i], p.s[i]), interval.Number(p.w[i]), ""
		switch {
		case p.w[i] < oddWeight && p.d[i] < 0:
			g.Why = Pulled
		case p.w[i] < oddWeight:
			g.Why = Braked
		}
	}
}
