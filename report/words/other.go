package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
)

// An Other is the same foil under another rider: a block of its own, so
// that nothing in it is taken for the owner's next step.
type Other struct {
	Name  string // "Bo, 92 kg"
	Words Answer
	Facts []Fact
	Notes []string
	Walk  string // what pitch and wing do by themselves
}

func ForOther(r *analysis.Result, u Units) *Other {
	x := r.OtherRider
	if x == nil {
		return nil
	}
	p := &Other{Name: Clean(x.Name), Notes: Sentences(x.Notes)}
	// The same words, made from a result that holds the other rider's advice.
	// The foils of the posterior stand under the owner.
	alt := *r
	alt.Advice, alt.FootLoad, alt.StepEffect = &x.Advice, nil, nil
	if r.Other != nil {
		alt.Setup = r.Other
		p.Name = strings.TrimPrefix(p.Name+", ", ", ") + u.MassText(r.Other.Rider.Mass)
		p.Facts = append(p.Facts, Fact{"Rider", WhoIs(r.Other.Rider.Mass, r.Other.Rider.Height, r.Other.Rider.Level, u)})
	}
	for _, q := range x.Curve {
		alt.FootLoad = append(alt.FootLoad, analysis.LoadPoint{Speed: q.Speed, FrontShare: q.Share, Moment: interval.Unknown(), Stiffness: interval.Unknown()})
	}
	if p.Name == "" {
		p.Name = "somebody else"
	}
	p.Words = For(&alt, u)
	p.Words.Today = strings.Replace(p.Words.Today, "Today the front foot carries", "On today's trim this rider's front foot carries", 1)
	owner := "the owner of this sheet"
	if r.Setup != nil {
		if n := Clean(r.Setup.Rider.Name); n != "" {
			owner = n
		}
	}
	_, mid, _ := SpeedsOf(r)
	if x.PitchChange.Known() {
		p.Facts = append(p.Facts, Fact{"Pitch at the same speed", Between(bySize(x.PitchChange), 1, 1) + " degrees " + Choose(x.PitchChange.Value < 0, "less", "more") + " nose-up than " + owner})
	}
	if w := x.WingWalk; w.Known() && Finite(mid) {
		p.Walk = fmt.Sprintf("At the same speed (%s) this rider flies %s nose-up than %s. That alone carries the wing %s further %s under the feet: it comes by itself and is not a change to make.",
			u.SpeedText(mid), Choose(w.Value < 0, "less", "more"), owner, u.LengthText(math.Abs(w.Value)/1000), ForeAft(w.Value))
	}
	return p
}

// bySize is an interval with a value above zero.
func bySize(i interval.Interval) interval.Interval {
	if i.Value < 0 {
		return i.Scale(-1)
	}
	return i
}

// whoIs describes a rider by mass, height and level, as far as they are known.
func WhoIs(kg, metres float64, level string, u Units) string {
	parts := []string{u.MassText(kg)}
	if metres > 0 {
		parts = append(parts, Fixed(u.LengthValue(metres), 0)+NBSP+u.LengthName()+" tall")
	}
	if l := Clean(level); l != "" {
		parts = append(parts, l)
	}
	return strings.Join(parts, ", ")
}

// Short is the other rider in a few sentences.
func (p *Other) Short() string {
	return strings.Join(strings.Fields(fmt.Sprintf("%s. %s Their next step: %s %s", UpperFirst(p.Name), p.Words.Today, p.Words.Head, p.Walk)), " ")
}
