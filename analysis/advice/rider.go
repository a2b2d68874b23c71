package advice

import (
	"fmt"
	"math"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// ForRider is the advice for another rider on the same foil: p is the
// posterior of the outing that s describes, other the same gear with the
// other rider's mass, height, level and stance. Where feet are free and the
// stance was left alone, its width follows the height.
func ForRider(p *trim.Posterior, s, other *setup.Setup, w SpeedWeights, opt Options) *OtherRider {
	o := *other
	var notes []string
	sameStance := o.Stance.Front == s.Stance.Front && o.Stance.Back == s.Stance.Back
	if sameStance && !o.Stance.Fixed && s.Rider.Height > 0 && o.Rider.Height > 0 && o.Rider.Height != s.Rider.Height {
		half := (o.Stance.Front - o.Stance.Back) / 2
		mid := o.Stance.Back + half
		half *= o.Rider.Height / s.Rider.Height
		o.Stance.Front, o.Stance.Back = mid+half, mid-half
		notes = append(notes, fmt.Sprintf("The feet are free, so the stance is taken %s wide, as the height asks; give front and back to say otherwise.", (&task{opt: opt}).length(2*half)))
	}
	in := trim.FromSetup(&o, p.Base.Density, p.Base.Viscosity)
	q := p.ForRider(&o, in)
	r := &OtherRider{
		Advice: *Advise(q, &o, w, opt), Name: o.Rider.Name,
		PitchChange: interval.Unknown(), WingWalk: interval.Unknown(), Curve: []SharePoint{}, Notes: notes,
	}
	c := w.clean()
	if len(c.Speed) == 0 || len(p.Draws) == 0 {
		return r
	}
	pitch := make([]float64, len(p.Draws))
	walk := make([]float64, len(p.Draws))
	foils := make([]trim.Foil, len(p.Draws))
	for i := range p.Draws {
		a, b := trim.NewFoil(p.Draws[i]), trim.NewFoil(q.Draws[i])
		pa, pb := a.At(c.mid(), trim.Gravity).Pitch, b.At(c.mid(), trim.Gravity).Pitch
		pitch[i] = (pb - pa) / deg
		walk[i] = (b.In.WingAheadAt(pb) - a.In.WingAheadAt(pa)) / mm
		foils[i] = b
	}
	r.PitchChange, r.WingWalk = interval.FromDraws(pitch), interval.FromDraws(walk)
	r.Curve = c.curve(foils)
	r.Notes = append(r.Notes, ruleOfThumb(s, &o, r, opt)...)
	return r
}

// ruleOfThumb tells of the difference between common practice and the model
// (trim model §8).
func ruleOfThumb(s, o *setup.Setup, r *OtherRider, opt Options) []string {
	if math.Abs(o.Rider.Mass-s.Rider.Mass) < 0.1*s.Rider.Mass {
		return nil
	}
	return []string{fmt.Sprintf("At the middle speed this rider finds the wing %s than %.0f kg does, by this model. A rule of thumb among riders says much more: 13 to 15 cm forward for 104 kg on a trim made for 68 kg. Rule and model agree on the direction and not on the size. Go in small steps.",
		(&task{opt: opt}).further(r.WingWalk.Value*mm), s.Rider.Mass)}
}
