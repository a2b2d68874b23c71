package trim

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	suspectSigmas  = 3.0 // one item alone is named from here
	farSigmas      = 4.0 // an unknown this far off is called far outside
	noteSigmas     = 2.0 // two notes at about one speed contradict each other from here
	noteSpeedClose = 0.7 // m/s, about one speed
)

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
	chi2 := 2 * p.cost(x)
	widened := math.Max(1, chi2/distuv.ChiSquared{K: float64(n)}.Quantile(0.95))
	surprising := widened > 1

	var found []Conflict
	for i, it := range p.items {
		h := mat.Dot(jc.RowView(i), j.RowView(i))
		z := r[i] / math.Sqrt(math.Max(1-h, 1e-6))
		if math.Abs(z) > suspectSigmas {
			found = append(found, Conflict{What: p.suspect(i, x), Sigmas: math.Abs(z), Notes: it.kind == "note"})
		}
	}
	var unknowns []Conflict
	// An unknown that had to go far from what the setup says. There are many
	// of them, so the whole must be a surprise as well.
	for k, q := range p.params[:p.today] {
		z := x[k] / math.Sqrt(math.Max(1-cov.At(k, k), 1e-6))
		if surprising && math.Abs(z) > suspectSigmas && math.Abs(x[k]) > 1.5 && (q.key != "" || len(found) == 0) {
			unknowns = append(unknowns, Conflict{What: q.strain(p.outings[0].In, x[k]*q.sd, math.Abs(z)), Sigmas: math.Abs(z)})
		}
	}
	pairs, worst := p.contradictions()
	widened = math.Max(widened, worst*worst/(1.645*1.645))
	strongest := func(a, b Conflict) int { return cmp.Compare(b.Sigmas, a.Sigmas) }
	slices.SortStableFunc(pairs, strongest)
	slices.SortStableFunc(found, strongest)
	slices.SortStableFunc(unknowns, strongest)
	return slices.Concat(pairs, found, unknowns), widened
}

// strain says what the evidence asks of an unknown: its error v (SI) is z σ
// from what the setup says.
func (q parameter) strain(in Inputs, v, z float64) string {
	says := "the setup says"
	if !q.given {
		says = "the default is"
	}
	far := "outside"
	if z >= farSigmas {
		far = "far outside"
	}
	what := fmt.Sprintf("the %s: the evidence asks for %s where %s %s, %s what the setup allows", q.name, q.written(in, v), says, q.written(in, 0), far)
	if q.key != "" {
		what += fmt.Sprintf(" (check %s)", q.key)
	}
	return what
}

// written is the unknown, off by v (SI), as the setup's key writes it: in its
// unit, and the stabilizer's incidence without the shim.
func (q parameter) written(in Inputs, v float64) string {
	at := q.centre + v
	switch q.key {
	case "foil.stabilizer.incidence_deg":
		at -= ShimAngle(in.Shim, in.ShimSpan)
	case "foil.stabilizer.shim_mm":
		at = in.Shim * (1 + v)
	}
	for _, u := range []struct {
		ends, unit string
		scale      float64
	}{{"_cm2", " cm²", 1e4}, {"_cm", " cm", 100}, {"_mm", " mm", 1000}, {"_deg", "°", 1 / deg}, {"_fraction", "", 1}} {
		if strings.HasSuffix(q.key, u.ends) {
			return fmt.Sprintf("%.3g%s", at*u.scale, u.unit)
		}
	}
	return fmt.Sprintf("%.3g %s", at*q.show, q.unit)
}

// suspect says which input an item of evidence puts in doubt.
func (p *problem) suspect(i int, x []float64) string {
	it := p.items[i]
	o := p.outings[it.outing]
	where := ""
	if it.outing > 0 {
		where = " of " + o.name(it.outing-1)
	}
	switch it.kind {
	case "slope":
		in := o.In
		_, slope := NewFoil(in).Law(o.Ev.LawSpeeds[0], o.Ev.LawSpeeds[1])
		weight := in.RiderMass + in.BoardMass - in.RigLiftFraction*in.RiderMass
		return fmt.Sprintf("the slope of the pitch law%s: it asks for a lift area of %.2g m²/rad where the setup gives %.2g (check foil.wing.area_cm2, foil.wing.span_cm, rider.mass_kg, and that the logger sits firmly on the board)",
			where, weight/o.Ev.Slope, weight/slope)
	case "zero":
		zero, _ := NewFoil(o.In).Law(o.Ev.LawSpeeds[0], o.Ev.LawSpeeds[1])
		return fmt.Sprintf("the pitch at zero lift%s: %.1f° measured, %.1f° from the setup (check foil.wing.incidence_deg and that the board was level in the still stretch)",
			where, o.Ev.Zero/deg, zero/deg)
	}
	model := NewFoil(p.inputs(it.outing, x)).At(it.note.Speed, Gravity).FrontShare
	return fmt.Sprintf("the note of feel%s at %s: it says %.0f %% on the front foot, all the rest says %.0f %%",
		where, p.speed(it.note.Speed), 100*it.note.Share, 100*model)
}

// contradictions are notes of one outing, at about one speed, that cannot
// both be true.
func (p *problem) contradictions() ([]Conflict, float64) {
	var found []Conflict
	worst := 0.0
	for o, out := range p.outings {
		f := NewFoil(out.In)
		for i, a := range out.Ev.Feel {
			for _, b := range out.Ev.Feel[:i] {
				if math.Abs(a.Speed-b.Speed) > noteSpeedClose || a.Speed < minSpeed || b.Speed < minSpeed {
					continue
				}
				expect := f.At(a.Speed, Gravity).FrontShare - f.At(b.Speed, Gravity).FrontShare
				z := math.Abs(a.Share-b.Share-expect) / math.Hypot(a.SD, b.SD)
				if z < noteSigmas {
					continue
				}
				worst = math.Max(worst, z)
				where := ""
				if o > 0 {
					where = " of " + out.name(o-1)
				}
				found = append(found, Conflict{Notes: true, Sigmas: z, What: fmt.Sprintf(
					"the notes of feel%s, which contradict each other: %.0f %% on the front foot at %s, but %.0f %% at %s",
					where, 100*b.Share, p.speed(b.Speed), 100*a.Share, p.speed(a.Speed))})
			}
		}
	}
	return found, worst
}
