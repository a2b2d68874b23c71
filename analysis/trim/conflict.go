package trim

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

const (
	suspectSigmas  = 3.0 // one item alone is named from here
	noteSigmas     = 2.0 // two notes at about one speed contradict each other from here
	noteSpeedClose = 0.7 // m/s, about one speed
	leastShift     = 1.5 // prior σ that an unknown must have moved to be named
)

// A Conflict names an input that disagrees with the rest.
type Conflict struct {
	Kind   Kind    `json:"kind"`
	Sigmas float64 `json:"sigmas"`          // how much of a surprise
	Outing int     `json:"outing"`          // 0 today, else a number among the outings that count
	Title  string  `json:"title,omitempty"` // of an earlier outing, "" for none

	// What the evidence asks for and what the setup, or for notes all the rest,
	// says: a lift area in m²/rad for a slope, rad for a zero, the key's
	// quantity in SI (without the shim) for an unknown, a share for the rest.
	Asked  float64 `json:"asked"`
	Stated float64 `json:"stated"`
	Speed  float64 `json:"speed_mps,omitempty"` // of a load

	Unknown *Unknown `json:"unknown,omitempty"` // that had to go far
	Unusual bool     `json:"unusual,omitempty"` // Stated is hardly ever so

	// The other one of two notes that contradict each other.
	OtherSpeed float64 `json:"other_speed_mps,omitempty"`
	OtherShare float64 `json:"other_share,omitempty"`
}

// OfNotes says that it is about what a rider noted.
func (c Conflict) OfNotes() bool {
	return c.Kind == NoteKind || c.Kind == MomentKind || c.Kind == NotePairKind || c.Kind == SwapKind
}

// conflicts weighs every item of evidence against all the rest, and the whole
// against the priors. The factor widens the posterior's covariance so that
// the disagreement is no longer a surprise.
//
// In the linear-normal picture the residual e of an item with leverage h has
// the leave-one-out z = e/√(1-h), and the minimum of |x|² + |r|² over n items
// is χ² with n degrees of freedom.
func (p *problem) conflicts(x []float64, cov *mat.SymDense) ([]Conflict, float64) {
	n := len(p.items)
	if n == 0 {
		return nil, 1
	}
	r := p.residuals(x)
	j := p.jacobian(x)
	var jc mat.Dense
	jc.Mul(j, cov)
	widened := math.Max(1, 2*p.cost(x)/distuv.ChiSquared{K: float64(n)}.Quantile(0.95))

	var found []Conflict
	for i, it := range p.items {
		h := mat.Dot(jc.RowView(i), j.RowView(i))
		z := math.Abs(r[i] / math.Sqrt(math.Max(1-h, 1e-6)))
		if z > suspectSigmas {
			found = append(found, p.suspect(it, x, z))
		}
	}
	var unknowns []Conflict
	// An unknown that had to go far from what the setup says. There are many
	// of them, so the whole must be a surprise as well.
	for k, q := range p.params[:p.today] {
		z := math.Abs(x[k] / math.Sqrt(math.Max(1-cov.At(k, k), 1e-6)))
		if widened > 1 && z > suspectSigmas && math.Abs(x[k]) > leastShift && (q.key != "" || len(found) == 0) {
			unknowns = append(unknowns, p.strain(q, x[k]*q.sd, z))
		}
	}
	pairs := p.contradictions()
	strongest := func(a, b Conflict) int { return cmp.Compare(b.Sigmas, a.Sigmas) }
	slices.SortStableFunc(pairs, strongest)
	slices.SortStableFunc(found, strongest)
	slices.SortStableFunc(unknowns, strongest)
	if odd := slices.DeleteFunc(slices.Clone(unknowns), func(c Conflict) bool { return !c.Unusual }); len(odd) > 0 {
		unknowns = odd // the rest had to make room for it
	}
	if len(pairs) > 0 {
		widened = math.Max(widened, math.Pow(pairs[0].Sigmas/interval.Z90, 2))
	}
	return slices.Concat(pairs, found, unknowns), widened
}

// strain is an unknown of today's that is v (SI) and z σ from what the setup says.
func (p *problem) strain(q parameter, v, z float64) Conflict {
	u := q.unknown()
	c := Conflict{Kind: UnknownKind, Sigmas: z, Unknown: &u, Asked: q.value(v), Stated: q.value(0)}
	in := p.outings[0].In
	switch q.key {
	case "foil.stabilizer.incidence_deg": // the key is without the shim
		shim := ShimAngle(in.Shim, in.ShimSpan)
		c.Asked, c.Stated = c.Asked-shim, c.Stated-shim
	case "foil.stabilizer.shim_mm":
		c.Asked, c.Stated = in.Shim*(1+v), in.Shim
	}
	k := setup.KeyNamed(q.key)
	c.Unusual = k != nil && q.given && k.Unusual(c.Stated)
	return c
}

// suspect is an item of evidence that is z σ from all the rest.
func (p *problem) suspect(it item, x []float64, z float64) Conflict {
	o := p.outings[it.outing]
	c := Conflict{Kind: it.Kind, Sigmas: z, Outing: it.outing, Speed: it.Speed, Asked: it.Value}
	stated := NewFoil(o.In)
	zero, slope := stated.Law(o.Ev.LawSpeeds[0], o.Ev.LawSpeeds[1])
	switch it.Kind {
	case SlopeKind:
		weight := o.In.RiderMass + o.In.BoardMass - o.In.RigLiftFraction*o.In.RiderMass
		c.Asked, c.Stated = weight/o.Ev.Slope, weight/slope
	case ZeroKind:
		c.Asked, c.Stated = o.Ev.Zero, zero
	default:
		f := NewFoil(p.inputs(it.outing, x))
		c.Stated = it.Told(&f, it.Speed)
	}
	return c
}

// contradictions are notes of one outing, at about one speed, that cannot
// both be true.
func (p *problem) contradictions() []Conflict {
	var found []Conflict
	for i, a := range p.items {
		for _, b := range p.items[:i] {
			if a.Kind != NoteKind || b.Kind != NoteKind || a.outing != b.outing || math.Abs(a.Speed-b.Speed) > noteSpeedClose {
				continue
			}
			f := NewFoil(p.outings[a.outing].In)
			expect := a.Told(&f, a.Speed) - b.Told(&f, b.Speed)
			if z := math.Abs(a.Value-b.Value-expect) / math.Hypot(a.SD, b.SD); z >= noteSigmas {
				found = append(found, Conflict{Kind: NotePairKind, Sigmas: z, Outing: a.outing,
					Speed: a.Speed, Asked: a.Value, OtherSpeed: b.Speed, OtherShare: b.Value})
			}
		}
	}
	return found
}
