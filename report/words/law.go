package words

import (
	"cmp"
	"math"
	"strings"

	"evenfoot/analysis"
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
	return strings.Join(u.tellAll("flow", struct {
		*pitchlaw.Fit
		Line   float64 // degrees
		Doubt  float64 // m/s, 90 %
		Unsure bool
	}{f, f.FlowAxis * radian, interval.Z90 * f.FlowDoubt, f.FlowDoubt > flowDoubt}), " ")
}

// Current says which current the log shows, "" where none is known of.
func (u Units) Current(r *analysis.Result) string {
	w := r.WaterFlow
	if w == nil || !w.East.Known() || !w.North.Known() {
		return ""
	}
	to := math.Mod(math.Atan2(w.East.Value, w.North.Value)*radian+360, 360)
	s := u.tell("current", struct {
		Source           string
		Speed, To, Doubt float64
	}{w.Source, math.Hypot(w.East.Value, w.North.Value), to, 1.64 * math.Max(w.East.SD(), w.North.SD())})
	if w.Source == "given" {
		return s
	}
	return strings.TrimSpace(s + " " + u.Flow(r.Law))
}
