package words

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
)

var lawBook = newBook("law")

// Lack says what a log does not give and the pitch law needs.
func (u Units) Lack(l pitchlaw.Lack) string {
	return cmp.Or(lawBook.say(string(l.Kind), struct {
		pitchlaw.Lack
		Have, Need float64
	}{l, float64(l.Have), float64(l.Need)}, u.can()), string(l.Kind))
}

// Bend says how the pitch departs from the straight line; "" when that does
// not matter.
func Bend(b pitchlaw.Bend) string {
	if !b.Matters {
		return ""
	}
	return lawBook.say(string(b.Kind), b, Units{}.can())
}

// Reason says why a stretch of flight counts for less.
func Reason(r pitchlaw.Reason) string {
	if r == "" {
		return "far from the rest"
	}
	return string(r)
}

// flowDoubt is the 1σ, m/s, above which the flow along a line is called unknown.
const flowDoubt = 0.3

// Flow says along which line the log cannot tell the water's flow, and whether
// the flow turned; "" when there is nothing to say.
func (u Units) Flow(f *pitchlaw.Fit) string {
	if f == nil || f.FlowSource == "given" || !f.Slope.Known() {
		return ""
	}
	var s []string
	if f.FlowDoubt > flowDoubt {
		bearing := f.FlowAxis * radian
		s = append(s, fmt.Sprintf("The headings are too few to tell the water's flow along the line %03.0f°–%03.0f° (±%s); a reach on another heading would.",
			bearing, bearing+180, u.SpeedFine(interval.Z90*f.FlowDoubt)))
	}
	for k, way := range []string{"east", "north"} {
		if t := f.FlowTurns[k]; t.Known() && t.Low*t.High > 0 {
			s = append(s, fmt.Sprintf("The water's flow to the %s %s by %s per hour (%s to %s).", way, Choose(t.Value > 0, "rose", "fell"),
				u.SpeedFine(math.Abs(t.Value)), u.SpeedFine(min(math.Abs(t.Low), math.Abs(t.High))), u.SpeedFine(max(math.Abs(t.Low), math.Abs(t.High)))))
		}
	}
	return strings.Join(s, " ")
}
