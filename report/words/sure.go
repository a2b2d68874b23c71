package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// sure says how likely the step is to help, and how wide the full answer is.
func (w *Answer) sure(r *analysis.Result, u Units) {
	a := r.Advice
	p := float64(a.ChanceBetter)
	switch {
	case p >= 0.945:
		w.SureTag = "Sure"
	case p >= 0.795:
		w.SureTag = "Fairly sure"
	default:
		w.SureTag = "Open"
	}
	if slices.ContainsFunc(a.Why, func(x advice.Reason) bool { return x.Kind == advice.Unsteady }) {
		w.SureTag += " that it is more even" // and not of the calm, which Why says
	}
	w.step = true
	w.Sure = "The chance that this step makes the load more even: " + Percent(p) + "."
	var all []string
	if a.StabilizerChange.Known() {
		all = append(all, "the stabilizer's leading edge "+raisedRange(a.StabilizerChange))
	}
	if a.FoilMove.Known() {
		all = append(all, "the foil "+signedRange(a.FoilMove, u)+u.beyondTrack(r))
	}
	if len(all) > 0 {
		free := len(all) > 1 && raisedRange(a.StabilizerChange) != "where it is"
		w.Sure += " All the way" + Choose(free, ", shim and foil both free", " to the best trim") + wholeChance(a) + ": " + strings.Join(all, ", ") + "."
		if s := held(r, u); s != "" && free {
			w.Sure += " " + s
		}
	}
	whole := false
	for _, why := range a.Why {
		if why.Kind == advice.BestStops || why.Kind == advice.WholeCard {
			w.Sure += " " + u.Reason(why, r)
			whole = whole || why.Kind == advice.WholeCard
		}
	}
	if s := apart(r); s != "" && !whole {
		w.Sure += " " + s
	}
}

// wholeChance is how surely the whole way is more even than today, in brackets;
// "" where the best of all choices lies elsewhere.
func wholeChance(a *advice.Advice) string {
	for _, o := range a.Options {
		if o.Best && Finite(float64(o.ChanceBetter)) && float64(o.StabilizerDeg) == a.StabilizerChange.Value && o.FoilMove.Value == a.FoilMove.Value {
			return " (chance " + Percent(float64(o.ChanceBetter)) + ")"
		}
	}
	return ""
}

// held says where the foil would best stand with the shim as it is, where the
// step moves the foil alone; "" for other steps.
func held(r *analysis.Result, u Units) string {
	a := r.Advice
	if a.Cards == 0 && Finite(float64(a.MoveNow)) && a.MoveNow != 0 {
		for _, o := range a.Options {
			if !o.Best && o.Cards == 0 && o.FoilMove.Known() && o.Reachable {
				return "With the shim as it is, the foil's best place is " + signedRange(o.FoilMove, u) + "."
			}
		}
	}
	return ""
}

// notTaken says which choice in reach surely is more even than today, where no
// step is advised, and why it is none.
func notTaken(r *analysis.Result, u Units) string {
	a := r.Advice
	var most *advice.Option
	for i := range a.Options {
		o := &a.Options[i]
		mayNot := o.Cards != 0 && r.Setup != nil && r.Setup.Rider.Level == "beginner"
		if !o.Best && !mayNot && o.Reachable && o.ChanceBetter >= advice.Surely && (most == nil || o.Evenness.Value < most.Evenness.Value) {
			most = o
		}
	}
	if most == nil {
		return "No step on offer is clearly better."
	}
	hasBest := a.StabilizerChange.Known() && a.FoilMove.Known()
	past := func(far, best, slack float64) bool {
		return math.Abs(far) > slack && (far*best < 0 || math.Abs(far) > math.Abs(best)+slack)
	}
	why := "but by less than its trouble is worth"
	if hasBest && (past(float64(most.StabilizerDeg), a.StabilizerChange.Value, 0.1) || past(most.FoilMove.Value, a.FoilMove.Value, 5)) {
		best := a.FoilMove.Value / 1000
		why = fmt.Sprintf("but goes past the best trim (the leading edge %s, the foil %s): a later step would take a part of it back",
			raisedRange(interval.Exact(a.StabilizerChange.Value)), u.way(best))
	}
	what := "the shim as today"
	if n := math.Abs(most.Cards); n > 0 {
		what = Plural(int(math.Round(n)), "card") + Choose(most.Cards < 0, " down", " up")
	}
	return fmt.Sprintf("Of the choices, %s with the foil %s would be more even (chance %s), %s.", what, u.way(most.FoilMove.Value/1000), Percent(float64(most.ChanceBetter)), why)
}

// beyondTrack says by how much the whole way is longer than the track, or what
// the track gives where only the doubt is longer; "" where it reaches.
func (u Units) beyondTrack(r *analysis.Result) string {
	if r.Setup == nil {
		return ""
	}
	all, track := r.Advice.FoilMove.Scale(0.001), r.Setup.Board.Track
	m := all.Value
	over := u.LengthText(math.Max(track[0]-m, m-track[1]))
	within := func(m float64) bool { return m > track[0]-0.0005 && m < track[1]+0.0005 }
	switch {
	case within(m) && all.Low > track[0]+0.0005 && all.High < track[1]-0.0005:
		return ""
	case within(m) && within(all.Low) && within(all.High):
		return ", counted within the slot: " + u.track(r.Setup)
	case within(m):
		return "; the mast's slot gives " + u.track(r.Setup) + Choose(r.Setup.Given("board.track_cm"), "", ", as is assumed")
	case r.Setup.Stance.Fixed:
		return ", which is " + over + " more than the track allows"
	}
	return ", " + over + " of it to be made up by the feet"
}

// apart says why the step does only one half of the whole way, "" where it
// does not.
func apart(r *analysis.Result) string {
	a := r.Advice
	move, all := float64(a.MoveNow), a.FoilMove.Value
	if !Finite(all) || !Finite(move) || !a.StabilizerChange.Known() {
		return ""
	}
	beginner := r.Setup != nil && r.Setup.Rider.Level == "beginner"
	switch {
	case a.Cards == 0 && math.Abs(move) >= 5 && math.Abs(a.StabilizerChange.Value) >= 0.3 && !beginner:
		return "The angle can wait: the foil's place alone gains the most for one change."
	case a.Cards != 0 && move == 0 && math.Abs(all) >= 10:
		return "The foil's place can wait: one change at a time, so that the next log tells what it did."
	}
	return ""
}

// raisedRange is "0.8 degrees up (0.1 to 1.5)", an angle of the leading edge.
func raisedRange(deg interval.Interval) string {
	const still = 0.05
	head := Fixed(math.Abs(deg.Value), 1) + " degrees " + Choose(deg.Value < 0, "down", "up")
	if math.Abs(deg.Value) < still {
		if head = "about where it is"; deg.Low > -still && deg.High < still {
			return "where it is"
		}
	}
	return head + rangeOf(deg, 1, "down", "up")
}

// signedRange is "2.4 cm back (0.9 to 3.9)", a move.
func signedRange(mm interval.Interval, u Units) string {
	m := mm.Scale(0.001)
	head := u.way(m.Value)
	if math.Abs(m.Value) < 0.003 && m.Low < 0 && m.High > 0 {
		if head = "about where it is"; m.Low > -0.0005 && m.High < 0.0005 {
			return "where it is"
		}
	}
	return head + rangeOf(m.Scale(u.LengthValue(1)), u.LengthDigits(), "back", "forward")
}

// Chip is the degree of sureness for beside the headline, "" where there is no
// step to be sure of.
func (w Answer) Chip() string {
	if w.step {
		return LowerFirst(w.SureTag)
	}
	return ""
}

// carriedBy says what the direction of the advice rests on: a pitch law fixes
// the lift of the foil and hardly the stabilizer's angle.
func carriedBy(r *analysis.Result) string {
	if r.Setup == nil || r.Advice.Verdict != advice.Change {
		return ""
	}
	if p := r.Posterior; p != nil && p.Count(trim.NullKind) > 1 {
		return "The direction rests on the marks and on which way the foil was moved between them: with the moves the wrong way round, this sheet would advise the opposite."
	}
	if r.PitchLaw == nil || !r.PitchLaw.Enough {
		return ""
	}
	if len(r.Setup.Feel) > 0 || len(r.Session.Earlier) > 0 || len(r.Marks) > 0 {
		return "With front and back swapped in the notes of feel, this sheet would advise the opposite."
	}
	return ""
}

// evidence names the earlier sessions that count here, "" for none.
func evidence(r *analysis.Result) string {
	var names []string
	for _, e := range r.Session.Earlier {
		if n := Clean(e); n != "" {
			names = append(names, "\""+n+"\"")
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("%s %s in here. This log alone gives other numbers, with more doubt.", Listed(names), Choose(len(names) == 1, "counts", "count"))
}
