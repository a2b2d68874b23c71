package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/mark"
	"evenfoot/ingest/raw"
)

// A Plan is the next outing, to be taken to the water.
type Plan struct {
	Trials []Trial  // the most doubt removed per minute of trouble first
	Ask    []string // about moments of this log, where nothing was marked
	Paste  string   // the setup's lines that answer them
	Mind   []string
}

// A Trial is one thing to do, how, and what it will tell.
type Trial struct {
	Do    string
	How   []string
	Tells string
}

// PlanFor words the plan of a result; nothing where there is none.
func PlanFor(r *analysis.Result, u Units) (p Plan) {
	if r.Advice == nil {
		return p
	}
	card, out, move := false, false, false
	for _, x := range r.Advice.Plan {
		p.Trials = append(p.Trials, u.trial(x))
		card, move = card || x.Kind == advice.CardInOut, move || x.Kind == advice.FindNulls
		out = out || x.TakeOut
	}
	if card || move {
		p.Mind = []string{"Another trim may make the load worse: start each at low speed in clear water, with helmet and vest, and go up in small steps.", screwCare(card, out, move)}
	}
	var lines []string
	for _, q := range r.Questions {
		at := q.Time.UTC().Format("15:04:05")
		s := at + " UTC, " + u.SpeedText(float64(q.Speed))
		if q.Tack != "" {
			s += ", " + q.Tack + " tack"
		}
		p.Ask = append(p.Ask, s+": how was it?")
		lines = append(lines, fmt.Sprintf("[[mark]]\nat = %q\nfront = \"\"     # strong back, back, even, front, strong front, or a percentage", at))
	}
	p.Paste = strings.Join(lines, "\n")
	return p
}

func (u Units) trial(x advice.Trial) (t Trial) {
	t.Tells = fmt.Sprintf("About %.0f minutes. It should take the best stabilizer angle from ± %.2f° to ± %.2f° (90 %%).", float64(x.Minutes), float64(x.Now)/2, float64(x.Then)/2)
	span := ""
	if n := len(x.Speeds); n > 0 {
		span = u.SpeedText(x.Speeds[0]) + " to " + u.SpeedText(x.Speeds[n-1])
	}
	press := "press the lap key, or knock twice on the deck (" + u.here("with [marks] means = \"even\" in the setup", "the setup says that a mark meant even") + ")"
	note := "press the lap key, remember the feel, and " + u.here("write each down afterwards as a [[mark]] with its time (and [marks] means = \"nothing\" in the setup, or a press that you do not write down counts as even)",
		"choose afterwards what each meant (the setup says that a mark meant nothing, or a press of which you do not say anything counts as even)")
	switch x.Kind {
	case advice.FindNulls:
		t.Do = fmt.Sprintf("Find the speed that feels even with the foil %s.", u.places(x.Places))
		t.How = []string{
			"The model expects even " + u.evenAt(x) + ".",
			fmt.Sprintf("At each place ride %.0f minutes, every reach from slow to fast or back, and where the load feels even %s: about %d times.", advice.PlaceMinutes, press, x.Each),
			"Where it never feels even, slide the foil a centimetre back if the front foot is heavy all the way, forward if the back foot is, and write down where it then stands.",
			u.howFar(x.Places),
			"Write each move into the setup: " + u.here("[[change]] with at = the time, foil_cm = ", "as a change, with its time and the foil in cm, ") + strings.Join(centimetres(x.Places), ", ") + " (all counted from the start).",
		}
	case advice.CardInOut:
		t.Do = fmt.Sprintf("Ride half the outing as it is, and half with one card %s %s.", Choose(x.TakeOut, "less", "more"), placeAt(x.Mount, x.Edge))
		t.How = []string{
			fmt.Sprintf("In each half, at %d moments from %s, %s.", x.Each, span, note),
			fmt.Sprintf("Write the card into the setup: %s%.2f (+ raises the leading edge).", u.here("[[change]] with at = the time, shim_mm = ", "as a change, with its time and the shim in mm, "), float64(x.Shim)),
		}
	case advice.NoteMoments:
		t.Do = fmt.Sprintf("Mark %d moments from %s.", x.Each, span)
		t.How = []string{"At each, " + note + "."}
	default:
		t.Do = Sentence(u.Observation(x.Observation))
	}
	t.How = slices.DeleteFunc(t.How, func(s string) bool { return s == "" })
	return t
}

// howFar says how to get to places that lie further than one step goes, "" for none.
func (u Units) howFar(places []float64) string {
	const slack = 1e-6
	var far []float64
	for _, x := range places {
		if math.Abs(x) > advice.LargestMove+slack {
			far = append(far, x)
		}
	}
	if len(far) == 0 {
		return ""
	}
	return fmt.Sprintf("%s %s further than one step of %s: go there in moves of at most that, and ride a few easy reaches after each before you go faster.",
		UpperFirst(u.places(far)), Choose(len(far) == 1, "is", "are"), u.LengthText(advice.LargestMove))
}

// evenAt says at which speed each place should feel even.
func (u Units) evenAt(x advice.Trial) string {
	var s []string
	for i, v := range x.EvenAt {
		s = append(s, "at about "+u.SpeedText(v)+" with the foil "+u.places(x.Places[i:i+1]))
	}
	return Listed(s)
}

// centimetres are places, m, as the setup's key takes them.
func centimetres(at []float64) (out []string) {
	for _, x := range at {
		if x != 0 {
			out = append(out, fmt.Sprintf("%.3g", 100*x))
		}
	}
	return out
}

// Mark says what a mark was and what became of it.
func (u Units) Mark(m mark.Mark) (when, what, became string) {
	when = Clock(float64(m.At))
	if m.Time != nil {
		when = m.Time.UTC().Format("15:04:05") + " UTC"
	}
	what = Choose(m.Kind == mark.Answer, "noted in the setup", MarkName(m.Kind))
	if v := float64(m.Speed); Finite(v) {
		what += ", " + u.SpeedText(v)
	}
	if m.Tack != "" {
		what += ", " + m.Tack + " tack"
	}
	switch {
	case m.Why == mark.NotAgreed:
		became = "does not count: " + u.here("[marks] means would say", "the setup does not say") + " what it means"
	case m.Why == mark.SaysNone:
		became = "does not count, as the setup says"
	case m.Why == mark.OfGlide:
		became = "the start of a glide"
	case m.Why != "":
		became = "does not count: " + whyNoMark[m.Why]
	case m.Even:
		became = "counts as even"
	default:
		became = "counts as a note: " + Clean(m.Means)
	}
	return when, what, became
}

var whyNoMark = map[mark.Why]string{
	mark.OutsideLog: "outside the log",
	mark.OffFoil:    "the board was not on the foil",
	mark.InTurn:     "in a turn, or just after it",
	mark.NearTouch:  "too near a touchdown, a breach or a take-off",
	mark.NoSpeed:    "no speed is known there",
	mark.FarOff:     "far from the other marks of this place of the foil",
}

// MarkLines are the setup's lines that say what each mark meant, to be corrected.
func MarkLines(marks []mark.Mark) string {
	var out []string
	for _, m := range marks {
		if m.Time != nil && m.Kind != mark.Answer && m.Kind != raw.Knock {
			out = append(out, fmt.Sprintf("[[mark]]\nat = %q\nfront = %q", m.Time.UTC().Format("15:04:05"), Choose(m.Means == "", "nothing", strings.TrimSuffix(Clean(m.Means), " on the front foot"))))
		}
	}
	return strings.Join(slices.Compact(out), "\n")
}
