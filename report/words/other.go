package words

import (
	"cmp"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

// An Other is the same foil under another rider: a block of its own, so that
// nothing in it is taken for the owner's next step.
type Other struct {
	Name  string // "Bo, 92 kg"
	Owner string // "Ines", of the foil
	Words Answer
	Facts []Fact
	Notes []string
	Walk  string // what pitch, wing and the place of the pressure do by themselves
}

// ForOther says what a result means for the other rider, nil for none.
func ForOther(r *analysis.Result, u Units) *Other {
	x := r.OtherRider
	if x == nil {
		return nil
	}
	p := &Other{Name: Clean(x.Name)}
	for _, n := range x.Notes {
		p.Notes = append(p.Notes, Sentence(u.Reason(n, r)))
	}
	if r.Other != nil {
		p.Name = u.RiderText(r.Other)
	}
	p.Name = cmp.Or(p.Name, "somebody else")
	alt := Theirs(r)
	p.Words = For(alt, u)
	p.Words.Today = u.Sheet(alt).carries("On today's trim this rider's front foot")
	owner := "the owner of this foil"
	if r.Setup != nil {
		owner = cmp.Or(Clean(r.Setup.Rider.Name), owner)
	}
	p.Owner = owner
	p.Facts = u.Facts("other rider", struct {
		*advice.OtherRider
		Rider *setup.Setup
		Owner string
	}{x, r.Other, owner})
	p.Walk = u.walk(r, owner)
	return p
}

// Theirs is a result as the other rider's own: their setup, advice and load.
func Theirs(r *analysis.Result) *analysis.Result {
	x, un := r.OtherRider, interval.Unknown()
	alt := *r
	alt.Advice, alt.Setup, alt.FootLoad, alt.Followed = &x.Advice, cmp.Or(r.Other, r.Setup), nil, nil
	for i, q := range x.Curve {
		l := analysis.LoadPoint{Speed: q.Speed, FrontShare: q.Share, FrontShareAfter: un, Moment: un, Gradient: un, GradientAfter: un}
		if i < len(x.CurveAfter) {
			l.FrontShareAfter = x.CurveAfter[i].Share
		}
		alt.FootLoad = append(alt.FootLoad, l)
	}
	// Of the best guess alone: the curve's own slope.
	for i := range alt.FootLoad {
		a, b := &alt.FootLoad[max(i-1, 0)], &alt.FootLoad[min(i+1, len(alt.FootLoad)-1)]
		per := advice.PerKnot / float64(b.Speed-a.Speed)
		alt.FootLoad[i].Gradient.Value = per * (b.FrontShare.Value - a.FrontShare.Value)
		alt.FootLoad[i].GradientAfter.Value = per * (b.FrontShareAfter.Value - a.FrontShareAfter.Value)
	}
	return &alt
}

// walk sets the place where the feet must press beside the wing's walk: the
// two need not go the same way.
func (u Units) walk(r *analysis.Result, owner string) string {
	x := r.OtherRider
	_, mid, top := SpeedsOf(r)
	if !x.WingWalk.Known() || !x.PressureMove.Known() || !Finite(mid) {
		return ""
	}
	return u.Tell("walk", struct {
		*advice.OtherRider
		Owner    string
		Mid, Top float64
		Apart    bool // in weight
	}{x, owner, mid, top, r.Setup != nil && r.Other != nil && math.Abs(r.Other.Rider.Mass-r.Setup.Rider.Mass) >= 0.1*r.Setup.Rider.Mass})
}

// lengthRound is a length without decimals.
func (u Units) lengthRound(m float64) string {
	return Fixed(u.LengthValue(m), 0) + NBSP + u.LengthName()
}

// bySize is an interval with a value above zero.
func bySize(i interval.Interval) interval.Interval {
	if i.Value < 0 {
		return i.Scale(-1)
	}
	return i
}

// RiderText is a rider's name and mass, as far as the setup tells them.
func (u Units) RiderText(s *setup.Setup) string {
	name := Clean(s.Rider.Name)
	if !(s.Rider.Mass > 0) || !Finite(s.Rider.Mass) {
		return name
	}
	return strings.TrimPrefix(name+", ", ", ") + u.MassText(s.Rider.Mass)
}
