package analysis

import (
	"math"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// A StepEffect is what the next step does to the pitch stiffness at the top of
// the speeds that count.
type StepEffect struct {
	// StiffnessRatio is to today's; unknown where today's may be nothing.
	StiffnessRatio interval.Interval `json:"stiffness_ratio"`
	Livelier       bool              `json:"livelier"` // clearly less stiff than today
}

// Forces is what acts on the foil at one speed of straight flight, today.
type Forces struct {
	Speed      interval.Number   `json:"speed_mps"`
	Pitch      interval.Interval `json:"pitch_deg"`
	WingLift   interval.Interval `json:"wing_lift_n"`
	StabLift   interval.Interval `json:"stabilizer_lift_n"` // + up
	Drag       interval.Interval `json:"drag_n"`
	FrontShare interval.Interval `json:"front_share"`
	LoadPoint  interval.Interval `json:"load_point_mm"` // where the feet's load acts, from the mast's centreline, + forward
}

// A clear change of stiffness is one by more than a fifth in 19 draws of 20; a
// ratio needs a stiffness above zero in as many.
const (
	clearChange = 0.2
	nearlyAll   = 0.95
)

// Foretell fills in what the next step does at each speed of the foot load,
// from all the draws. Without a step it is not known. [Run] calls it.
func (r *Result) Foretell() {
	r.StepEffect = nil
	for i := range r.FootLoad {
		r.FootLoad[i].FrontShareAfter, r.FootLoad[i].StiffnessAfter = interval.Unknown(), interval.Unknown()
	}
	after := r.stepped()
	if after == nil {
		return
	}
	n := len(after)
	share, stiff := make([]float64, n), make([]float64, n)
	for k, p := range r.FootLoad {
		for i, f := range after {
			s := f.At(float64(p.Speed), trim.Gravity)
			share[i], stiff[i] = s.FrontShare, s.Stiffness*degree
		}
		r.FootLoad[k].FrontShareAfter, r.FootLoad[k].StiffnessAfter = interval.FromDraws(share), interval.FromDraws(stiff)
	}
	soft, less := 0, 0
	for i, f := range after {
		now := trim.NewFoil(r.Posterior.Draws[i]).At(r.RangeHigh, trim.Gravity).Stiffness
		then := f.At(r.RangeHigh, trim.Gravity).Stiffness
		stiff[i] = then / now
		if now <= 0 {
			soft++
		}
		if then < now-clearChange*math.Abs(now) {
			less++
		}
	}
	r.StepEffect = &StepEffect{StiffnessRatio: interval.Unknown(), Livelier: float64(less) >= nearlyAll*float64(n)}
	if float64(soft) <= (1-nearlyAll)*float64(n) {
		r.StepEffect.StiffnessRatio = interval.FromDraws(stiff)
	}
}

// stepped is every foil of the posterior with the next step done; nil without
// a posterior or a step.
func (r *Result) stepped() []trim.Foil {
	a := r.Advice
	if r.Setup == nil || r.Posterior == nil || len(r.Posterior.Draws) == 0 || a == nil || a.Verdict != advice.Change {
		return nil
	}
	metres := func(mm interval.Number) float64 {
		if v := float64(mm) / 1000; !math.IsNaN(v) && !math.IsInf(v, 0) {
			return v
		}
		return 0
	}
	shim, move, feet := metres(a.Shim), metres(a.MoveNow), metres(a.FeetNow)
	if shim == 0 && move == 0 && feet == 0 {
		return nil
	}
	st := r.Setup.Foil.Stabilizer
	turn := trim.ShimAngle(st.Shim+shim, st.ShimSpan) - trim.ShimAngle(st.Shim, st.ShimSpan)
	out := make([]trim.Foil, len(r.Posterior.Draws))
	for i, d := range r.Posterior.Draws {
		d = d.Raise(turn).MoveFoil(move)
		d.FrontFoot += feet
		d.BackFoot += feet
		out[i] = trim.NewFoil(d)
	}
	return out
}

// Balance fills in the forces at the low, middle and top speed that count, from
// all the draws. [Run] calls it.
func (r *Result) Balance() {
	r.Forces = []Forces{}
	for _, v := range []float64{r.RangeLow, (r.RangeLow + r.RangeHigh) / 2, r.RangeHigh} {
		var pitch, wing, stab, drag, share, point []float64
		for _, d := range r.Posterior.Draws {
			s := trim.NewFoil(d).At(v, trim.Gravity)
			pitch, wing, stab = append(pitch, s.Pitch/degree), append(wing, s.WingLift), append(stab, s.StabLift)
			drag, share, point = append(drag, s.Drag), append(share, s.FrontShare), append(point, 1000*s.FootPressureX)
		}
		of := interval.FromDraws
		r.Forces = append(r.Forces, Forces{num(v), of(pitch), of(wing), of(stab), of(drag), of(share), of(point)})
	}
}
