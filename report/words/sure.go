package words

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

// sure says how likely the step is to help, and how wide the full answer is.
func (w *Answer) sure(r *analysis.Result, u Units) {
	a := r.Advice
	w.SureTag, w.Sure = chance(a, nextOption(a))
	var all []string
	if a.StabilizerChange.Known() {
		all = append(all, "the stabilizer's leading edge "+RaisedRange(a.StabilizerChange))
	}
	if a.FoilMove.Known() {
		all = append(all, "the foil "+signedRange(a.FoilMove, u))
	}
	if len(all) > 0 {
		w.Sure += " All the way to the best trim: " + strings.Join(all, ", ") + "."
	}
	if s := Apart(r); s != "" {
		w.Sure += " " + s
	}
}

// apart says why the step and the whole way do not point alike, "" where they do.
func Apart(r *analysis.Result) string {
	a := r.Advice
	move, all := float64(a.MoveNow), a.FoilMove.Value
	if !Finite(all) || !Finite(move) || !a.StabilizerChange.Known() {
		return ""
	}
	beginner := r.Setup != nil && r.Setup.Rider.Level == "beginner"
	switch {
	case a.Cards == 0 && float64(a.Shim) == 0 && math.Abs(move) >= 5 && math.Abs(a.StabilizerChange.Value) >= 0.1 && math.Abs(all-move) >= 5:
		if beginner || strings.Contains(strings.Join(a.Why, " "), "sure enough for a card") {
			return "" // the reasons say it
		}
		return "The angle is not yet sure enough for a card, so this step makes up for it with the foil's place alone."
	case a.Cards != 0 && math.Abs(move) < 5 && math.Abs(all) >= 10:
		return "The foil's place can wait: beside the card a move hardly helps yet."
	case a.Cards != 0 && math.Abs(move) >= 5 && math.Abs(all) >= 5 && move*all < 0:
		return "With only one card in, the load asks for another place of the foil than with all of them."
	}
	return ""
}

// raisedRange is "0.8 (0.1 to 1.5) degrees up", words instead of signs where
// the ends do not agree.
func RaisedRange(deg interval.Interval) string {
	way, i := "up", deg
	if i.Value < 0 {
		way, i = "down", i.Scale(-1)
	}
	if !(i.Low <= -0.05) || !Finite(i.High) {
		return Between(i, 1, 1) + " degrees " + way
	}
	back := Choose(way == "up", "down", "up")
	return fmt.Sprintf("%s degrees %s (from %s %s to %s %s)", Fixed(i.Value, 1), way, Fixed(-i.Low, 1), back, Fixed(i.High, 1), way)
}

// signedRange is "2.4 cm back (0.9 to 3.9)", words instead of signs where both
// ends agree.
func signedRange(mm interval.Interval, u Units) string {
	m := mm.Scale(0.001)
	d := u.LengthDigits()
	if math.Abs(m.Value) < 0.003 && m.Low < 0 && m.High > 0 {
		return fmt.Sprintf("about where it is (from %s back to %s forward)", u.LengthText(-m.Low), u.LengthText(m.High))
	}
	if m.Low*m.High > 0 {
		back := ""
		if m.Value < 0 {
			m, back = m.Scale(-1), " back"
		} else {
			back = " forward"
		}
		return fmt.Sprintf("%s%s (%s to %s)", u.LengthText(m.Value), back, Fixed(u.LengthValue(m.Low), d), Fixed(u.LengthValue(m.High), d))
	}
	return fmt.Sprintf("%s %s (from %s back to %s forward)", u.LengthText(math.Abs(m.Value)), ForeAft(m.Value),
		Fixed(u.LengthValue(math.Abs(m.Low)), d), Fixed(u.LengthValue(math.Abs(m.High)), d))
}

// Chip is the degree of sureness for beside the headline, "" where there is no
// step to be sure of.
func (w Answer) Chip() string {
	if strings.HasPrefix(w.Sure, "The chance") {
		return LowerFirst(w.SureTag)
	}
	return ""
}

func chance(a *advice.Advice, o *advice.Option) (tag, says string) {
	p := float64(a.ChanceBetter)
	if !Finite(p) && o != nil {
		p = float64(o.ChanceBetter)
	}
	if !Finite(p) {
		if a.EvennessNow.Known() && a.EvennessAfter.Known() && a.EvennessAfter.High < a.EvennessNow.Low {
			return "Fairly sure", "The load is more even after this step, over the whole of its doubt."
		}
		return "Open", "How likely this step is to help is not known."
	}
	switch {
	case p >= 0.945:
		tag = "Sure"
	case p >= 0.795:
		tag = "Fairly sure"
	case p >= 0.595:
		tag = "More likely than not"
	default:
		tag = "Hardly better than a guess"
	}
	return tag, "The chance that this step makes the load more even: " + Chance(p) + "."
}

// nextOption is the option that the next step takes, nil when none matches.
func nextOption(a *advice.Advice) *advice.Option {
	var best *advice.Option
	gap := 0.2 // mm
	for i := range a.Options {
		o := &a.Options[i]
		if o.Best {
			continue
		}
		if d := math.Abs(float64(o.Shim) - float64(a.Shim)); d < gap {
			best, gap = o, d
		}
	}
	return best
}

// carriedBy says what the direction of the advice rests on: a pitch law fixes
// the lift of the foil and hardly the stabilizer's angle (trim model §4).
func carriedBy(r *analysis.Result) string {
	if r.PitchLaw == nil || !r.PitchLaw.Enough || r.Setup == nil || r.Advice.Verdict != advice.Change {
		return ""
	}
	if len(r.Setup.Feel) > 0 || len(r.Session.Earlier) > 0 {
		return "The logger tells how the foil lifts, and hardly which way to turn or move it: the notes of feel carry that. With front and back swapped in them, this sheet would advise the opposite."
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

// trial is a run on another trim, as the advice words it.
var trial = regexp.MustCompile(`^[Rr]ide once with one card (more|less) under the stabilizer's (leading|trailing) edge and note the feel at (.+?)\.?$`)

// tryOut words a run on another trim as what it is: the advised card itself,
// or an experiment that is undone.
func TryOut(r *analysis.Result, what string) string {
	m := trial.FindStringSubmatch(what)
	switch a := r.Advice; {
	case m == nil:
		return "As an experiment: " + LowerFirst(strings.TrimRight(what, ".")) + ", then put it back as it was"
	case a.Verdict == advice.Change && a.Cards != 0:
		return fmt.Sprintf("Ride with the advised card %s (this one, not a second) and note the feel at %s", Choose(m[1] == "less", "out", "in"), m[3])
	case m[1] == "less":
		return fmt.Sprintf("As an experiment, ride once with one card less at the stabilizer's %s edge, note the feel at %s, and put the card back", m[2], m[3])
	}
	return fmt.Sprintf("As an experiment, ride once with one card more than today at the stabilizer's %s edge, note the feel at %s, and take it out again", m[2], m[3])
}

// buys is what one observation would do for the doubt, "" for next to nothing.
func buys(r *analysis.Result, o advice.Observation, u Units) string {
	now, then := float64(o.ShimSDNow), float64(o.ShimSD)
	what := u.lengthsIn(CleanTo(o.What, 200))
	if !Finite(now) || !Finite(then) || what == "" || then > 0.97*now {
		return ""
	}
	if o.ChangesTrim {
		what = TryOut(r, what)
	}
	return fmt.Sprintf("%s: the doubt of the best stabilizer angle shrinks by %s.", UpperFirst(strings.TrimRight(what, ".")), Percent(1-then/now))
}

// noteAt is how the advice words a note of feel at one speed.
const noteAt = "Note how the load feels on the feet at "

// findOut are the steps where the evidence is not enough, in one direction:
// keep the trim, look first, and try a card only as an experiment.
func (w *Answer) findOut(r *analysis.Result, u Units) {
	a := r.Advice
	var notes []string
	var measure, try string
	for _, o := range a.WorthKnowing {
		what := u.lengthsIn(CleanTo(o.What, 200))
		if v, ok := strings.CutPrefix(what, noteAt); ok && !o.ChangesTrim {
			notes = append(notes, v)
		} else if o.ChangesTrim && try == "" {
			try = TryOut(r, what)
		} else if !o.ChangesTrim && measure == "" {
			measure = what
		}
	}
	slices.SortStableFunc(notes, func(p, q string) int { return UnknownLast(LeadingNumber(p), LeadingNumber(q)) })
	first := "Ride again at several speeds, log it, and note how your feet feel."
	switch {
	case len(notes) > 0:
		first = "Ride as it is and note how the load feels on your feet at " + Listed(notes) + "."
	case measure != "":
		first, measure = Sentence(measure), ""
	}
	w.Head = "Not enough evidence for a change yet. " + first
	how := "Write the notes into the setup and run the report again."
	if next := plainly(Sentence(a.NextStep)); strings.Contains(next, " first check ") {
		// Something contradicts something else: more of it would not help.
		w.Head, first, how = next, next, "Put it right and run the report again."
		measure, try = "", ""
	}
	w.Steps = []Step{{"log", "First", first, how}}
	if measure != "" {
		w.Steps = append(w.Steps, Step{"log", "Also", Sentence(measure), ""})
	}
	if try != "" {
		w.Steps = append(w.Steps, Step{"log", "Test", strings.Replace(Sentence(try), "As an experiment", "Or, as an experiment", 1), "It is a test to learn from, not a new trim."})
	}
	w.SureTag, w.Sure = "Not sure enough", "The possible answers are too far apart. A change now would be a guess."
	w.Feel = "Nothing changes yet."
	w.Mind = "Keep no card and no move on the strength of this result: it does not know which way."
}

// leadingNumber is the number that a text starts with, NaN for none.
func LeadingNumber(s string) float64 {
	i := 0
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.') {
		i++
	}
	v, err := strconv.ParseFloat(s[:i], 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

var byLiftArea = regexp.MustCompile(`asks for a lift area of ([0-9.e+-]+) m²/rad where the setup gives ([0-9.e+-]+)`)

// plainly puts a sentence of the evidence into a rider's words.
func plainly(s string) string {
	return byLiftArea.ReplaceAllStringFunc(s, func(all string) string {
		m := byLiftArea.FindStringSubmatch(all)
		asked, err1 := strconv.ParseFloat(m[1], 64)
		given, err2 := strconv.ParseFloat(m[2], 64)
		if err1 != nil || err2 != nil || !(given > 0) {
			return all
		}
		return fmt.Sprintf("asks for a foil that lifts %s %s than the setup's", Percent(math.Abs(asked/given-1)), Choose(asked < given, "less", "more"))
	})
}
