package words

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

var adviceBook = newBook("advice")

// advises is the sentence of a kind of package advice about x, of the result r.
func (u Units) advises(k advice.Kind, x any) string {
	return cmp.Or(adviceBook.say(u, string(k), x), Clean(string(k)))
}

// Observation says what could be found out.
func (u Units) Observation(o advice.Observation) string { return u.advises(o.Kind, o) }

// hardlyNarrower is the ratio of a doubt after to before from which on nothing
// is said to be gained.
const hardlyNarrower = 0.97

// hardly says that a logger would hardly narrow the stabilizer's angle.
func hardly(x advice.Reason) bool { return x.Then > hardlyNarrower*x.Doubt }

// loggerHardlyNarrows says that the advice has it so.
func loggerHardlyNarrows(r *analysis.Result) bool {
	return r.Advice != nil && slices.ContainsFunc(r.Advice.Why, func(x advice.Reason) bool { return x.Kind == advice.NoLogger && x.Doubt > 0 && hardly(x) })
}

// Reason says a reason of the advice in r, or what to do in place of a step.
func (u Units) Reason(x advice.Reason, r *analysis.Result) string {
	if x.Kind == advice.NoLogger {
		return u.Tell("no logger", struct {
			advice.Reason
			Loose, Hardly bool // a loose sensor is said by itself
			Unusable      string
		}{x, r.Mount != nil && !r.Mount.Rigid, hardly(x), u.unusable(r)})
	}
	return u.advises(x.Kind, struct {
		advice.Reason
		R *analysis.Result
	}{x, r})
}

// unusable says why the logger that there was gives no pitch law, "" where
// there was none.
func (u Units) unusable(r *analysis.Result) string {
	if r.Log == nil || len(r.Log.IMU.Time) == 0 {
		return ""
	}
	if r.PitchLaw != nil && len(r.PitchLaw.Missing) > 0 {
		return "it lacks " + strings.TrimSuffix(u.Say(r.PitchLaw.Missing[0]), ".") + "."
	}
	for _, k := range []analysis.Kind{analysis.ClocksApart, analysis.NoGyroscope, analysis.NoPitch, analysis.NoAttitude, analysis.NoGPS} {
		if n := analysis.Notes(r.Session.Warnings, k); len(n) > 0 {
			return LowerFirst(u.Say(Choose[analysis.Finding](n[0].Why == nil || k == analysis.NoPitch || k == analysis.NoAttitude, n[0], n[0].Why)))
		}
	}
	return "its motion gives no pitch law."
}

// levelOf is "a beginner", or who else rides.
func levelOf(r *analysis.Result) string {
	if r.Setup == nil || Clean(r.Setup.Rider.Level) == "" {
		return "this rider"
	}
	l := Clean(r.Setup.Rider.Level)
	return Choose(l == "beginner", "a beginner", "an "+l+" rider")
}

// limit names what bounds the foil's place against the feet.
func limit(r *analysis.Result) string {
	return Choose(r.Setup == nil || r.Setup.Stance.Fixed, "the track allows", "the track and the feet allow")
}

// ForeAft is the way of a move, + forward.
func ForeAft(v float64) string { return Choose(v < 0, "back", "forward") }

// way is a move in m, + forward, as "1.2 cm back"; further as "1.2 cm further back".
func (u Units) way(m float64) string     { return u.LengthText(math.Abs(m)) + " " + ForeAft(m) }
func (u Units) further(m float64) string { return u.LengthText(math.Abs(m)) + " further " + ForeAft(m) }

// track is how far the mast can slide.
func (u Units) track(s *setup.Setup) string {
	return u.LengthText(-s.Board.Track[0]) + " back and " + u.LengthText(s.Board.Track[1]) + " forward"
}

// speeds is "12 kn, 17 kn and 22 kn".
func (u Units) speeds(mps []float64) string {
	var s []string
	for _, v := range mps {
		if t := u.SpeedText(v); !slices.Contains(s, t) {
			s = append(s, t)
		}
	}
	return Listed(s)
}

// places lists places of the foil from today's, m, + forward.
func (u Units) places(at []float64) string {
	var s []string
	for _, x := range at {
		s = append(s, Choose(x == 0, "where it is", u.way(x)))
	}
	return Listed(s)
}

// cards is a thickness of shims (m) in cards where it is a number of them.
func (u Units) cards(m float64) string {
	m = math.Abs(m)
	switch n := math.Round(m / trim.Card); {
	case n >= 1 && math.Abs(m-n*trim.Card) < 0.1*trim.Card:
		return Plural(int(n), "card") + " (" + u.Thin(m) + ")"
	case math.Abs(m-trim.Card/2) < 0.1*trim.Card:
		return "half a card's thickness (" + u.Thin(m) + ")"
	}
	return u.Thin(m) + " of shim"
}

// CardCount is "two cards down".
func CardCount(n float64) string {
	return Plural(int(math.Round(math.Abs(n))), "card") + Choose(n < 0, " down", " up")
}

// ChoiceName is a choice in a few words.
func ChoiceName(o advice.Option) string {
	switch {
	case o.Best:
		return "Best trim"
	case o.Cards == 0:
		return "Shim as today"
	}
	return UpperFirst(CardCount(o.Cards))
}

// EdgeFor is where a shim goes that raises (m > 0) or lowers the leading edge.
func EdgeFor(r *analysis.Result, m float64) string { return advice.ShimPlace(mountOf(r), m > 0) }

// mountOf is the side of the fuselage that the stabilizer sits on, "" when the
// setup does not say.
func mountOf(r *analysis.Result) string {
	if r.Setup == nil {
		return ""
	}
	return r.Setup.Foil.Stabilizer.Mount
}

// placeAt is the place at an edge of the stabilizer: the gap and the edge. Under
// a stabilizer that hangs below, nothing would be held.
func placeAt(mount, edge string) string {
	return fmt.Sprintf("between fuselage and stabilizer, %s its %s", Choose(mount == "bottom", "at", "under"), edge)
}
