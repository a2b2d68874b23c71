package trim

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"evenfoot/analysis/setup"
)

// InferOptions tune Infer; the zero value is what the program uses.
type InferOptions struct {
	Draws int    // whole foils drawn; 0 means 400
	Seed  uint64 // of the draws; 0 means 1
	// SpeedText prints a speed in m/s for the sentences; nil means knots.
	SpeedText func(mps float64) string
}

// A problem is the inference of one foil from all outings: unknowns in prior
// σ, with residuals in σ of the evidence. Outing 0 is today.
type problem struct {
	outings []Outing
	params  []parameter
	today   int // params[:today] act on today's outing or on all
	items   []item
	speed   func(mps float64) string // prints a speed
}

// An item is one piece of evidence: nothing but its residuals, in σ.
type item struct {
	kind   string // "slope", "zero", "note"
	outing int
	note   setup.Feel // when a note
	sd     float64    // 1σ in the item's own unit
	// whiten takes out what the item shares with the one before it.
	carry float64
}

// Infer finds the posterior of today's foil from its setup's priors and all
// the evidence: maximum a posteriori by Gauss–Newton, Laplace covariance, and
// draws that importance weights correct for what is not normal (trim model §4).
// Earlier outings on another foil are left out, with a note. It fails only on
// inputs that no physics can be done with.
func Infer(today Outing, earlier []Outing, opt InferOptions) (*Posterior, error) {
	if today.Setup == nil {
		return nil, errors.New("trim: no setup to infer from")
	}
	if err := today.In.check(); err != nil {
		return nil, err
	}
	outings := []Outing{today}
	var notes []string
	for i, o := range earlier {
		name := o.name(i)
		if err := SameFoil(today.Setup, o.Setup); err != nil {
			notes = append(notes, fmt.Sprintf("%s is left out: %v.", name, err))
			continue
		}
		if err := o.In.check(); err != nil {
			notes = append(notes, fmt.Sprintf("%s is left out: %v.", name, err))
			continue
		}
		outings = append(outings, o)
	}
	p := newProblem(outings)
	if p.speed = opt.SpeedText; p.speed == nil {
		p.speed = func(mps float64) string { return fmt.Sprintf("%.1f kn", mps*3600/1852) }
	}
	x, err := p.maximum()
	if err != nil {
		return nil, err
	}
	cov := p.covariance(x)
	post := &Posterior{Base: today.In, Widened: 1, Notes: notes, problem: p}
	post.Conflicts, post.Widened = p.conflicts(x, cov)
	post.fill(x, cov)
	post.draw(x, cov, opt)
	return post, nil
}

func (o Outing) name(i int) string {
	if o.Setup != nil && o.Setup.Title != "" {
		return "“" + o.Setup.Title + "”"
	}
	return fmt.Sprintf("Earlier session %d", i+1)
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
			return fmt.Errorf("trim: %s must be above zero, it is %g", c.key, c.v)
		}
	}
	return nil
}

func newProblem(outings []Outing) *problem {
	p := &problem{outings: outings}
	t := outings[0]
	p.params = foilParameters(t.Setup, t.In)
	for _, o := range outings {
		if o.In.Shim != 0 {
			p.params = append(p.params, shimParameter())
			break
		}
	}
	// Each rider's feet, each outing's rig.
	feetOf := make([]int, len(outings)) // the first outing with the same rider
	for i, o := range outings {
		feetOf[i] = i
		for j := range i {
			if feetOf[j] == j && sameRider(outings[j].Setup, o.Setup) {
				feetOf[i] = j
				break
			}
		}
	}
	for i, o := range outings {
		if feetOf[i] == i {
			var on []int
			for j := range outings {
				if feetOf[j] == i {
					on = append(on, j)
				}
			}
			for _, q := range footParameters(o.In) {
				q.on = on
				p.params = append(p.params, q)
			}
		}
		q := rigParameter(o.Setup, o.In)
		q.on = []int{i}
		p.params = append(p.params, q)
		if o.In.MastFoot > 0 {
			q := mastFootParameter(o.In)
			q.on = []int{i}
			p.params = append(p.params, q)
		}
		if i == 0 {
			p.today = len(p.params)
		}
		p.items = append(p.items, evidenceItems(i, o)...)
	}
	return p
}

// evidenceItems lists what an outing tells, in the order of residuals.
func evidenceItems(i int, o Outing) []item {
	var items []item
	if ev := o.Ev; ev.HasLaw {
		c := ev.Cov
		if c[1][1] > 0 {
			items = append(items, item{kind: "slope", outing: i, sd: math.Sqrt(c[1][1])})
		}
		if ev.LevelZero && o.Setup.Given("foil.wing.incidence_deg") && c[0][0] > 0 && c[1][1] > 0 {
			level := ev.LevelSD
			if level == 0 {
				level = 0.3 * deg
			}
			// The zero given the slope (Cholesky of the pair).
			carry := c[0][1] / c[1][1]
			v := c[0][0] - carry*c[0][1] + level*level
			items = append(items, item{kind: "zero", outing: i, sd: math.Sqrt(v), carry: carry})
		}
	}
	for _, n := range o.Ev.Feel {
		if n.Speed < minSpeed || !(n.SD > 0) {
			continue
		}
		items = append(items, item{kind: "note", outing: i, note: n, sd: n.SD})
	}
	return items
}

// minSpeed is the lowest speed, m/s, at which a foil is thought to carry.
const minSpeed = 1.0

// inputs is outing o with the unknowns at x (prior σ).
func (p *problem) inputs(o int, x []float64) Inputs {
	in := p.outings[o].In
	for k, q := range p.params {
		if x[k] == 0 || !q.actsOn(o) {
			continue
		}
		q.applyTo(&in, x[k]*q.sd)
	}
	return in
}

func (q parameter) actsOn(o int) bool {
	if q.on == nil {
		return true
	}
	for _, i := range q.on {
		if i == o {
			return true
		}
	}
	return false
}

// residuals are (model - evidence)/σ for every item.
func (p *problem) residuals(x []float64) []float64 {
	r := make([]float64, len(p.items))
	foil, have := Foil{}, -1
	zero, slopeError := 0.0, 0.0
	for i, it := range p.items {
		if it.outing != have {
			foil, have = NewFoil(p.inputs(it.outing, x)), it.outing
		}
		ev := p.outings[it.outing].Ev
		switch it.kind {
		case "slope":
			var slope float64
			zero, slope = foil.Law(ev.LawSpeeds[0], ev.LawSpeeds[1])
			slopeError = slope - ev.Slope
			r[i] = slopeError / it.sd
		case "zero":
			r[i] = (zero - ev.Zero - it.carry*slopeError) / it.sd
		case "note":
			d := foil.At(it.note.Speed, Gravity).FrontShare - it.note.Share
			r[i] = d / (p.noteSD(foil, it) * beyond(it.note, d))
		}
	}
	return r
}

// openEnded is by how much a strong word is less sure on its outer side: in
// simulated riders who use words, 4 leaves the best shim unbiased and covered.
const openEnded = 4

// Miss is by how much a modelled share misses a note (model minus note), less
// on the side where the note's word has no end.
func Miss(n setup.Feel, model float64) float64 {
	d := model - n.Share
	return d / beyond(n, d)
}

// beyond widens a note on the side where its word has no end: a rider has no
// word for more than "strong front", so a share above it is less of a surprise
// than one below. d is model minus note.
func beyond(n setup.Feel, d float64) float64 {
	if n.Said == "strong front" && d > 0 || n.Said == "strong back" && d < 0 {
		return openEnded
	}
	return 1
}

// noteSD is 1σ of a note with the doubt of its speed. The slope of the share
// is small beside the note's own doubt, so it need not follow x exactly.
func (p *problem) noteSD(f Foil, it item) float64 {
	s := p.outings[it.outing].Ev.NoteSpeedSD
	if s == 0 {
		return it.sd
	}
	const h = 0.1
	d := (f.At(it.note.Speed+h, Gravity).FrontShare - f.At(it.note.Speed-h, Gravity).FrontShare) / (2 * h)
	return math.Hypot(it.sd, d*s)
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
	for k := range x {
		y[k] = x[k] + h
		hi := p.residuals(y)
		y[k] = x[k] - h
		lo := p.residuals(y)
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

// maximum is the MAP: Gauss–Newton with a backtracking line search.
func (p *problem) maximum() ([]float64, error) {
	n := len(p.params)
	x := make([]float64, n)
	cost := p.cost(x)
	if math.IsInf(cost, 0) {
		return nil, errors.New("trim: the balance cannot be computed for this setup; check its sizes and the speeds of the feel notes")
	}
	for range 60 {
		r := p.residuals(x)
		j := p.jacobian(x)
		g := mat.NewVecDense(n, append([]float64(nil), x...))
		if j != nil {
			var jr mat.VecDense
			jr.MulVec(j.T(), mat.NewVecDense(len(r), r))
			g.AddVec(g, &jr)
		}
		var chol mat.Cholesky
		if !chol.Factorize(hessian(n, j)) {
			return nil, errors.New("trim: the evidence is out of all proportion to the setup; check the units in the setup and the speeds of the feel notes")
		}
		var step mat.VecDense
		if err := chol.SolveVecTo(&step, g); err != nil {
			return nil, fmt.Errorf("trim: the evidence cannot be weighed: %w", err)
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

// covariance is Laplace's (I + JᵀJ)⁻¹ at x.
func (p *problem) covariance(x []float64) *mat.SymDense {
	var chol mat.Cholesky
	cov := mat.NewSymDense(len(x), nil)
	if !chol.Factorize(hessian(len(x), p.jacobian(x))) || chol.InverseTo(cov) != nil {
		// The prior: what is known without evidence that cannot be weighed.
		for k := range len(x) {
			cov.SetSym(k, k, 1)
		}
	}
	return cov
}

// fill writes MAP and covariance of what concerns today.
func (post *Posterior) fill(x []float64, cov *mat.SymDense) {
	p := post.problem
	n := p.today
	post.Mean = append([]float64(nil), x[:n]...)
	post.Cov = make([][]float64, n)
	for i := range n {
		post.Cov[i] = make([]float64, n)
		for j := range n {
			post.Cov[i][j] = cov.At(i, j) * post.Widened
		}
	}
	for k, q := range p.params[:n] {
		post.Unknowns = append(post.Unknowns, Unknown{
			Name: q.name, Unit: q.unit, Key: q.key,
			Prior:     q.normal(0, q.sd).Scale(q.show),
			Posterior: q.normal(x[k]*q.sd, q.sd*math.Sqrt(post.Cov[k][k])).Scale(q.show),
			PriorSD:   q.sd,
			Default:   !q.given,
		})
	}
	post.MAP = p.inputs(0, x)
}
