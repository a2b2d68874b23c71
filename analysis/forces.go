package analysis

import (
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

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
		of := r.Posterior.Interval
		r.Forces = append(r.Forces, Forces{num(v), of(pitch), of(wing), of(stab), of(drag), of(share), of(point)})
	}
}
