package advice

import (
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// ForRider is the advice for another rider on the same foil: p is the
// posterior of the outing that s describes, other the same gear with the
// other rider's mass, height, level and stance. Where feet are free and the
// stance was left alone, its width follows the height. Nothing has told yet
// what the other rider feels as even, nor where those feet press.
func ForRider(p *trim.Posterior, s, other *setup.Setup, w SpeedWeights, opt Options) *OtherRider {
	o := *other
	var notes []Reason
	sameStance := o.Stance.Front == s.Stance.Front && o.Stance.Back == s.Stance.Back
	if sameStance && !o.Stance.Fixed && s.Rider.Height > 0 && o.Rider.Height > 0 && o.Rider.Height != s.Rider.Height {
		half := (o.Stance.Front - o.Stance.Back) / 2
		mid := o.Stance.Back + half
		half *= o.Rider.Height / s.Rider.Height
		o.Stance.Front, o.Stance.Back = mid+half, mid-half
		notes = append(notes, Reason{Kind: StanceByHeight, Width: 2 * half})
	}
	q := p.ForRider(&o, trim.FromSetup(&o, p.Base.Density, p.Base.Viscosity))
	r := &OtherRider{
		Advice: *Advise(q, &o, w, opt), Name: o.Rider.Name, Curve: []SharePoint{}, CurveAfter: []SharePoint{}, Notes: notes,
		PitchChange: interval.Unknown(), WingWalk: interval.Unknown(), PressureMove: interval.Unknown(), PressureTop: interval.Unknown(),
	}
	c := w.clean()
	if len(c.Speed) == 0 || len(p.Draws) == 0 {
		return r
	}
	mine, theirs := p.Foils(), q.Foils()
	differ := func(v float64, f func(in *trim.Inputs, s trim.State) float64) interval.Interval {
		d := make([]float64, len(mine))
		for i := range mine {
			d[i] = f(&theirs[i].In, theirs[i].At(v, trim.Gravity)) - f(&mine[i].In, mine[i].At(v, trim.Gravity))
		}
		return q.Interval(d)
	}
	pressure := func(_ *trim.Inputs, s trim.State) float64 { return s.FootPressureX / mm }
	r.PitchChange = differ(c.mid(), func(_ *trim.Inputs, s trim.State) float64 { return s.Pitch / deg })
	r.WingWalk = differ(c.mid(), func(in *trim.Inputs, s trim.State) float64 { return in.WingAheadAt(s.Pitch) / mm })
	r.PressureMove, r.PressureTop = differ(c.mid(), pressure), differ(c.Top, pressure)
	curve := func(change trim.Change) (out []SharePoint) {
		for _, v := range c.curveSpeeds() {
			share := make([]float64, len(theirs))
			for i := range theirs {
				p := theirs[i].Point(v, trim.Gravity)
				share[i] = p.With(change).FrontShare
			}
			out = append(out, SharePoint{interval.Number(v), q.Interval(share)})
		}
		return out
	}
	r.Curve, r.CurveAfter = curve(trim.Change{}), []SharePoint{}
	if r.Step != (trim.Change{}) {
		r.CurveAfter = curve(r.Step)
	}
	return r
}
