package words

import (
	"fmt"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

// An Outcome is what the next step, card and move as they are advised, does to
// the load and to the pitch stiffness.
type Outcome struct {
	Share     []advice.SharePoint
	Stiffness []StiffAt
	// Ratio is the stiffness at the top speed to today's there; unknown where
	// today's may be nothing.
	Ratio    interval.Interval
	Livelier bool // clearly less stiff at the top speed than today
}

// StiffAt is the pitch stiffness at one speed, N·m per degree.
type StiffAt struct {
	Speed float64 // m/s
	K     interval.Interval
}

// OutcomeOf is what the analysis foretells of the step; nil where there is no
// step. Where it foretells nothing, as for another rider, the nearest option
// stands in.
func OutcomeOf(r *analysis.Result) *Outcome {
	a := r.Advice
	if a == nil || a.Verdict != advice.Change {
		return nil
	}
	if r.StepEffect == nil {
		o := nextOption(a)
		if o == nil {
			return nil
		}
		return &Outcome{Share: o.Curve, Ratio: o.StiffnessChange, Livelier: o.StiffnessChange.High < 0.8}
	}
	out := &Outcome{Ratio: r.StepEffect.StiffnessRatio, Livelier: r.StepEffect.Livelier}
	for _, p := range r.FootLoad {
		out.Share = append(out.Share, advice.SharePoint{Speed: p.Speed, Share: p.FrontShareAfter})
		out.Stiffness = append(out.Stiffness, StiffAt{float64(p.Speed), p.StiffnessAfter})
	}
	return out
}

// stiffnessNow is today's, at all speeds of the load curve.
func StiffnessNow(r *analysis.Result) []StiffAt {
	var out []StiffAt
	for _, p := range r.FootLoad {
		if p.Stiffness.Known() {
			out = append(out, StiffAt{float64(p.Speed), p.Stiffness})
		}
	}
	return out
}

// within keeps the speeds that count.
func Within(r *analysis.Result, all []StiffAt) []StiffAt {
	lo, _, top := SpeedsOf(r)
	var out []StiffAt
	for _, s := range all {
		if s.K.Known() && s.Speed >= lo-0.05 && s.Speed <= top+0.05 {
			out = append(out, s)
		}
	}
	return out
}

// stiffnessAt is the stiffness nearest to a speed.
func StiffnessAt(all []StiffAt, v float64) interval.Interval {
	best, d := interval.Unknown(), math.Inf(1)
	for _, s := range all {
		if g := math.Abs(s.Speed - v); g < d {
			best, d = s.K, g
		}
	}
	return best
}

const EverySpeed = "at all your speeds"

// loose says at which speeds the board probably does not hold its pitch by
// itself (stiffness of zero or less), "" for none: "up to 16 kn", "from 12 to
// 14 kn and from 20 kn on", "at all your speeds".
func Loose(ks []StiffAt, u Units) string {
	var parts []string
	for i := 0; i < len(ks); i++ {
		if ks[i].K.Value > 0 {
			continue
		}
		j := i
		for j+1 < len(ks) && ks[j+1].K.Value <= 0 {
			j++
		}
		from, to := u.SpeedText(ks[i].Speed), u.SpeedText(ks[j].Speed)
		switch {
		case i == 0 && j == len(ks)-1:
			return EverySpeed
		case i == 0:
			parts = append(parts, "up to "+to)
		case j == len(ks)-1:
			parts = append(parts, "from "+from+" on")
		case from == to:
			parts = append(parts, "at "+to)
		default:
			parts = append(parts, fmt.Sprintf("from %s to %s", Fixed(u.SpeedValue(ks[i].Speed), 0), to))
		}
		i = j
	}
	return Listed(parts)
}

// clearRatio says whether a ratio to today's stiffness can be printed: near a
// speed where today's is zero it means nothing.
func ClearRatio(k interval.Interval) bool {
	return k.Known() && k.Low > 0 && k.High < 4*k.Low
}
