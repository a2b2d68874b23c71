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
)

var adviceBook = newBook("advice")

// advises is the sentence of a kind of package advice about x, of the result r.
func (u Units) advises(k advice.Kind, x any) string {
	return cmp.Or(adviceBook.say(string(k), x, u.can()), Clean(string(k)))
}

// Reason says a reason of the advice in r, or what to do in place of a step.
func (u Units) Reason(x advice.Reason, r *analysis.Result) string {
	if x.Kind == advice.NoLogger {
		return u.noLogger(x, r)
	}
	return u.advises(x.Kind, struct {
		advice.Reason
		R *analysis.Result
	}{x, r})
}

// evenEnough is how far off even, as a share, a rider takes as even.
const evenEnough = 0.06

// levelOf is "a beginner", or who else rides.
func levelOf(r *analysis.Result) string {
	if r.Setup == nil {
		return "this rider"
	}
	switch l := Clean(r.Setup.Rider.Level); l {
	case "":
		return "this rider"
	case "beginner":
		return "a beginner"
	default:
		return "an " + l + " rider"
	}
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

// noLogger says what a board logger would add, or why the one that there was
// does not count.
func (u Units) noLogger(x advice.Reason, r *analysis.Result) string {
	if r.Mount != nil && !r.Mount.Rigid { // which is said by itself
		return "So this comes from the setup, the model and the notes of feel."
	}
	if why := u.unusable(r); why != "" {
		return "Your logger's file could not be used for the pitch law: " + why + " So this comes from the setup, the model and the notes of feel."
	}
	const from = "There is no pitch law from a board logger, so this comes from the setup, the model and the notes of feel."
	switch {
	case x.Doubt == 0:
		return from
	case x.Then > hardlyNarrower*x.Doubt:
		return from + fmt.Sprintf(" A logger on the board would check the lift of the foil, but hardly narrow the stabilizer angle (± %.2f°, 90 %%): more notes of feel do.", x.Doubt*radian)
	}
	return from + fmt.Sprintf(" A logger on the board would take the stabilizer angle from ± %.2f° to ± %.2f° (90 %%); notes of feel do more.", x.Doubt*radian, x.Then*radian)
}

// hardlyNarrower is the ratio of a doubt after to before from which on nothing
// is said to be gained.
const hardlyNarrower = 0.97

// limit names what bounds the foil's place against the feet.
func limit(r *analysis.Result) string {
	if r.Setup == nil || r.Setup.Stance.Fixed {
		return "the track allows"
	}
	return "the track and the feet allow"
}

// way is a move in m, + forward, as "1.2 cm back"; further as "1.2 cm further back".
func (u Units) way(m float64) string     { return u.LengthText(math.Abs(m)) + " " + ForeAft(m) }
func (u Units) further(m float64) string { return u.LengthText(math.Abs(m)) + " further " + ForeAft(m) }

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

// Observation says what could be found out.
func (u Units) Observation(o advice.Observation) string { return u.advises(o.Kind, o) }

// places lists places of the foil from today's, m, + forward.
func (u Units) places(at []float64) string {
	var s []string
	for _, x := range at {
		s = append(s, Choose(x == 0, "where it is", u.way(x)))
	}
	return Listed(s)
}

// noted says that the setup holds a note of feel at each of the speeds, m/s.
func noted(r *analysis.Result, speeds []float64) bool {
	const near = 0.5 // m/s, a knot
	return r.Setup != nil && !slices.ContainsFunc(speeds, func(v float64) bool {
		return !slices.ContainsFunc(r.Setup.Feel, func(f setup.Feel) bool { return math.Abs(f.Speed-v) <= near })
	})
}

// tryOut words a run on another trim as what it is: an experiment that is undone.
func (u Units) tryOut(o advice.Observation) string {
	switch {
	case o.Kind != advice.RideCard:
		return "As an experiment: " + LowerFirst(u.Observation(o)) + ", then put it back as it was"
	case o.TakeOut:
		return fmt.Sprintf("As an experiment, ride once with one card less %s, note the feel at %s, and put the card back", placeAt(o.Mount, o.Edge), u.speeds(o.Speeds))
	}
	return fmt.Sprintf("As an experiment, ride once with one card more than today %s, note the feel at %s, and take it out again", placeAt(o.Mount, o.Edge), u.speeds(o.Speeds))
}

// testFeels says what a test on another trim will feel like, "" where unknown.
func (u Units) testFeels(o advice.Observation) string {
	if o.Now == nil || o.Then == nil || len(o.Speeds) == 0 {
		return ""
	}
	return fmt.Sprintf(" At %s the front foot would carry %s instead of %s.", u.SpeedText(o.Speeds[len(o.Speeds)-1]), about(o.Then.Value), Percent(o.Now.Value))
}

// notesOf are the speeds at which notes of feel are worth having, m/s, slow to fast.
func notesOf(a *advice.Advice) []float64 {
	var at []float64
	for _, o := range a.WorthKnowing {
		if o.Kind == advice.NoteFeel {
			at = append(at, o.Speeds...)
		}
	}
	slices.Sort(at)
	return at
}
