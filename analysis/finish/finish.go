package finish

import (
	"math"
	"math/rand/v2"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
)

const (
	draws     = 400
	seed      = 20
	cardMm    = 0.76 // ISO/IEC 7810 ID-1
	sureShare = 0.84 // how sure the roughness must be below the limit to stop sanding
)

// A part is one surface in the water.
type part struct {
	name           string
	area, chord, t float64 // plan area m², m, t/c
}

func parts(in trim.Inputs) []part {
	return []part{
		{"wing", in.WingArea, in.WingArea / in.WingSpan, in.WingThickness},
		{"stabilizer", in.StabArea, in.StabArea / in.StabSpan, in.StabThickness},
		{"mast", in.MastChord * in.Depth, in.MastChord, in.MastThickness / in.MastChord},
	}
}

// surfaceSpeed is the highest speed over a section of thickness ratio τ in a
// stream U: U (1 + τ), exact for an ellipse in potential flow (Lamb,
// Hydrodynamics, §71).
func surfaceSpeed(speed, thicknessRatio float64) float64 { return speed * (1 + thicknessRatio) }

// Advise says how smooth is smooth enough for the speeds low, mid and top
// (m/s), what today's surface costs and how to get there.
func Advise(in trim.Inputs, today setup.Finish, low, mid, top float64) *Finish {
	f := &Finish{Today: today, Papers: []int{}, Speeds: []interval.Number{interval.Number(low), interval.Number(mid), interval.Number(top)}}
	limit := math.Inf(1)
	for _, p := range parts(in) {
		k := water.SmoothRoughness(surfaceSpeed(top, p.t), in.Viscosity)
		limit = min(limit, k)
		f.Parts = append(f.Parts, Part{
			Name: p.name, SmoothBelow: interval.Number(k * 1e6),
			Reynolds: interval.Number(top * p.chord / in.Viscosity),
		})
	}
	f.SmoothBelow = interval.Number(limit * 1e6)
	target := stopAt(limit)
	f.Grit = &target.Grit
	now := roughnessNow(today)
	after := math.Min(now, roughnessPerGrain*target.Grain)
	f.cost(in, mid, now, after)
	if f.Smooth = after >= now; !f.Smooth {
		f.Papers = ladder(gritNow(today), target.Grit)
	}
	f.edge(today.TrailingEdge)
	return f
}

// stopAt is the coarsest paper that leaves the surface below the limit with
// good certainty.
func stopAt(limit float64) Paper {
	z := math.Sqrt2 * math.Erfinv(2*sureShare-1)
	for _, p := range Papers {
		if roughnessPerGrain*p.Grain*math.Exp(z*roughnessLogSD) <= limit {
			return p
		}
	}
	return Papers[len(Papers)-1]
}

// roughnessNow is the equivalent sand roughness of today's finish, m.
func roughnessNow(today setup.Finish) float64 {
	switch {
	case today.Grit > 0:
		return roughnessPerGrain * Grain(today.Grit)
	case today.Surface != "":
		return surfaceRoughness[today.Surface]
	}
	return surfaceRoughness["satin"]
}

// gritNow is the paper to go on from.
func gritNow(today setup.Finish) int {
	if today.Grit > 0 {
		return today.Grit
	}
	return map[string]int{"rough": 240, "satin": 500, "gloss": 1000, "": 400}[today.Surface]
}

// cost fills in what today's surface costs against the target at the speed.
// The doubt is in the roughness, in where the flow turns turbulent and in the
// whole drag (20 %, the prior of package trim).
func (f *Finish) cost(in trim.Inputs, speed, now, after float64) {
	if after >= now {
		f.DragSaving, f.SpeedGain = interval.Exact(0), interval.Exact(0)
		return
	}
	rng := rand.New(rand.NewPCG(seed, 1))
	q := 0.5 * in.Density * speed * speed
	total := trim.NewFoil(in).At(speed, trim.Gravity).Drag
	saving := make([]float64, draws)
	gain := make([]float64, draws)
	for i := range saving {
		rough := math.Exp(roughnessLogSD * rng.NormFloat64())
		laminar := math.Exp(0.4 * rng.NormFloat64())
		drag := total * (1 + 0.2*rng.NormFloat64())
		saved, excess := 0.0, 0.0 // N, against the target and against the model's satin
		for _, p := range parts(in) {
			u := surfaceSpeed(speed, p.t)
			smooth := water.SmoothRoughness(u, in.Viscosity)
			friction := func(k float64) float64 {
				xt := math.Min(0.6, laminar*laminarFraction(k, smooth))
				return water.PlateFrictionRough(speed, p.chord, in.Viscosity, xt, k)
			}
			wetted := q * p.area * 2 * water.FormFactor(p.t)
			cf := friction(rough * now)
			saved += wetted * (cf - friction(rough*after))
			excess += wetted * (cf - water.PlateFriction(speed*p.chord/in.Viscosity, in.LaminarFraction))
		}
		ratio := saved / math.Max(drag+excess, saved)
		saving[i] = 100 * ratio
		gain[i] = 100 * ratio / 2 // ΔV/V = -½ ΔC_D/C_D at equal thrust
	}
	f.DragSaving, f.SpeedGain = interval.FromDraws(saving, nil), interval.FromDraws(gain, nil)
}

// ladder is the papers from one grade up to another, each at most twice as
// fine as the one before (common practice, no source).
func ladder(from, to int) []int {
	var out []int
	for at := from; at < to; {
		next := at
		for _, p := range Papers {
			if p.Grit > at && p.Grit <= to && (next == at || p.Grit <= 2*at) {
				next = p.Grit
			}
		}
		if next == at {
			break
		}
		out = append(out, next)
		at = next
	}
	return out
}

// edge holds a trailing edge (m; 0 when not given) against common practice, no
// source: one to two card thicknesses, squared, then its corners rounded.
func (f *Finish) edge(now float64) {
	f.EdgeLow, f.EdgeHigh = cardMm, 2*cardMm
	switch mm := now * 1000; {
	case now == 0:
	case mm < cardMm-0.08:
		f.Edge = Thin
	case mm > 2*cardMm+0.16:
		f.Edge = Thick
	default:
		f.Edge = Right
	}
}
