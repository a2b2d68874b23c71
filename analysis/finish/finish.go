package finish

import (
	"fmt"
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

// Cautions for anybody who sands a foil.
var Cautions = []string{
	"Sand wet, wear gloves and a mask: carbon and glass dust harm lungs and skin.",
	"Edges cut. Keep fingers off thin trailing edges and cover them for transport.",
	"Sand by hand, along the flow, with a soft block on flat parts only. Follow the maker's advice; sanding may end a warranty.",
}

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
// (m/s), what today's surface costs and how to get there. speedText prints a
// speed in m/s for the sentences.
func Advise(in trim.Inputs, today setup.Finish, low, mid, top float64, speedText func(mps float64) string) *Finish {
	f := &Finish{
		Speeds:   []interval.Number{interval.Number(low), interval.Number(mid), interval.Number(top)},
		Cautions: Cautions,
	}
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
	now, said := roughnessNow(today)
	after := math.Min(now, roughnessPerGrain*target.Grain)
	f.cost(in, mid, now, after)
	f.steps(today, target, now, after, said)
	f.TrailingEdge = trailingEdge(today.TrailingEdge)
	f.Notes = []string{
		fmt.Sprintf("At %s the water does not feel roughness below %.0f µm, whatever the chord (100 ν/U, U the water's speed over the thickest section).", speedText(top), limit*1e6),
		"These drag figures are estimates from flat plates. No measured roughness of a sanded foil is known here, so the roughness after a paper is a guess within a factor of two.",
	}
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

// roughnessNow is the equivalent sand roughness of today's finish, m, and how
// it was told.
func roughnessNow(today setup.Finish) (k float64, said string) {
	switch {
	case today.Grit > 0:
		return roughnessPerGrain * Grain(today.Grit), fmt.Sprintf("sanded with P%d", today.Grit)
	case today.Surface != "":
		return surfaceRoughness[today.Surface], today.Surface
	}
	return surfaceRoughness["satin"], "not given, taken as satin"
}

// cost fills in what today's surface costs against the target at the speed.
// The doubt is in the roughness, in where the flow turns turbulent and in the
// whole drag (20 %, trim model §4).
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
	f.DragSaving, f.SpeedGain = interval.FromDraws(saving), interval.FromDraws(gain)
}

func (f *Finish) steps(today setup.Finish, target Paper, now, after float64, said string) {
	if after >= now {
		f.Steps = []string{fmt.Sprintf("Today's surface (%s) is smooth enough for these speeds. Polishing further gains nothing that can be felt; repair chips and scratches, above all near the leading edge.", said)}
		return
	}
	start := today.Grit
	if start == 0 {
		start = map[string]int{"rough": 240, "satin": 500, "gloss": 1000, "": 400}[today.Surface]
	}
	f.Steps = append(f.Steps, fmt.Sprintf("Today's surface: %s. Fill chips first; a filled chip gains more than any polish.", said))
	for _, p := range ladder(start, target.Grit) {
		f.Steps = append(f.Steps, fmt.Sprintf("Wet-sand along the flow with P%d until the marks of the paper before are gone.", p))
	}
	f.Steps = append(f.Steps, fmt.Sprintf("Stop at P%d: finer paper gains nothing that the water feels at these speeds.", target.Grit))
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

// trailingEdge is common practice, no source: one to two card thicknesses,
// squared, then its corners rounded.
func trailingEdge(now float64) string {
	want := fmt.Sprintf("Trailing edges: %.1f to %.1f mm thick (one to two payment cards), squared, then the corners just rounded (common practice, no source).", cardMm, 2*cardMm)
	switch {
	case now == 0:
		return want
	case now*1000 < cardMm-0.08:
		return want + fmt.Sprintf(" Yours is %.1f mm: thin edges cut and chip; leave it or square it back, do not thin it.", now*1000)
	case now*1000 > 2*cardMm+0.16:
		return want + fmt.Sprintf(" Yours is %.1f mm: thin it from the lower side, a little at a time.", now*1000)
	}
	return want + fmt.Sprintf(" Yours is %.1f mm: right as it is.", now*1000)
}
