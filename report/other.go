package report

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
)

// An otherPart is the same foil under another rider: a block of its own, so
// that nothing in it is taken for the owner's next step.
type otherPart struct {
	Name  string // "Bo, 104 kg"
	Words words
	Facts []fact
	Notes []string
	Walk  string // what pitch and wing do by themselves
}

func otherFor(r *analysis.Result, u Units) *otherPart {
	x := r.OtherRider
	if x == nil {
		return nil
	}
	p := &otherPart{Name: clean(x.Name), Notes: sentences(x.Notes)}
	// The same words, made from a result that holds the other rider's advice.
	// The foils of the posterior stand under the owner.
	alt := *r
	alt.Advice, alt.FootLoad, alt.Posterior = &x.Advice, nil, nil
	if r.Other != nil {
		alt.Setup = r.Other
		p.Name = strings.TrimPrefix(p.Name+", ", ", ") + u.massText(r.Other.Rider.Mass)
		p.Facts = append(p.Facts, fact{"Rider", whoIs(r.Other.Rider.Mass, r.Other.Rider.Height, r.Other.Rider.Level, u)})
	}
	for _, q := range x.Curve {
		alt.FootLoad = append(alt.FootLoad, analysis.LoadPoint{Speed: q.Speed, FrontShare: q.Share, Moment: interval.Unknown(), Stiffness: interval.Unknown()})
	}
	if p.Name == "" {
		p.Name = "somebody else"
	}
	p.Words = wordsFor(&alt, u)
	p.Words.Today = strings.Replace(p.Words.Today, "Today the front foot carries", "On today's trim this rider's front foot carries", 1)
	owner := "the owner of this sheet"
	if r.Setup != nil {
		if n := clean(r.Setup.Rider.Name); n != "" {
			owner = n
		}
	}
	_, mid, _ := speeds(r)
	if x.PitchChange.Known() {
		p.Facts = append(p.Facts, fact{"Pitch at the same speed", between(bySize(x.PitchChange), 1, 1) + " degrees " + choose(x.PitchChange.Value < 0, "less", "more") + " nose-up than " + owner})
	}
	if w := x.WingWalk; w.Known() && finite(mid) {
		p.Walk = fmt.Sprintf("At the same speed (%s) this rider flies %s nose-up than %s. That alone carries the wing %s further %s under the feet: it comes by itself and is not a change to make.",
			u.speedText(mid), choose(w.Value < 0, "less", "more"), owner, u.lengthText(math.Abs(w.Value)/1000), foreAft(w.Value))
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
func whoIs(kg, metres float64, level string, u Units) string {
	parts := []string{u.massText(kg)}
	if metres > 0 {
		parts = append(parts, fixed(u.length(metres), 0)+nbsp+u.lengthName()+" tall")
	}
	if l := clean(level); l != "" {
		parts = append(parts, l)
	}
	return strings.Join(parts, ", ")
}

// short is the other rider in a few sentences.
func (p *otherPart) short() string {
	return strings.Join(strings.Fields(fmt.Sprintf("%s. %s Their next step: %s %s", upperFirst(p.Name), p.Words.Today, p.Words.Head, p.Walk)), " ")
}
