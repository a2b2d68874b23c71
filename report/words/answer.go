package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

// An Answer holds what the terminal and the page both say, so that they cannot
// differ.
type Answer struct {
	Title    string   // the session's name
	Head     string   // the answer in one or two sentences
	SoFar    string   // what the step before did, and what the log holds of changes
	Next     string   // the step by itself, with all that it takes
	Carried  string   // what the direction rests on
	Today    string   // how things stand today
	Steps    []Step   // what to do, in order
	Sure     string   // how sure
	SureTag  string   // "Sure", "Fairly sure", ...
	Feel     string   // what will feel different
	Mind     string   // the one caution that matters now
	Every    []string // the cautions for every time, but for what Mind and Steps say
	Evidence string   // earlier sessions that count here
	Limits   []string // reasons and limits from the advice
	Calm     bool     // the first of Limits tells how calm the trim is
	Plan     Plan     // of the next outing

	step bool // there is one, and a chance that it helps
}

// A Step is one thing to do.
type Step struct {
	Kind string // "shim" | "move" | "feet" | "ride" | "log"
	Name string // one word for the margin
	Do   string // the instruction
	How  string // a helping sentence
	Said bool   // the headline gives the instruction already
}

// For says what a result means.
func For(r *analysis.Result, u Units) Answer {
	w := Answer{Title: Title(r), Every: EveryTime(false, false, false)}
	a := r.Advice
	if a == nil {
		w.withoutAdvice(r, u)
		return w
	}
	w.Today, w.Evidence = u.carries("The front foot", r), evidence(r)
	if m := r.Mount; m != nil && !m.Rigid && m.Why.Kind != "" {
		w.Limits = append(w.Limits, Sentence(u.Say(m.Why))+" So the board logger's pitch is not used.")
	}
	for _, n := range analysis.Notes(r.Session.Warnings, analysis.RangeCut) {
		w.Limits = append(w.Limits, u.Say(n))
	}
	for _, why := range a.Why {
		if why.Kind == advice.WholeCard || why.Kind == advice.BestStops {
			continue // beside the whole way, in Sure
		}
		w.Calm = w.Calm || len(w.Limits) == 0 && (why.Kind == advice.Unsteady || why.Kind == advice.Stops)
		w.Limits = append(w.Limits, Sentence(u.Reason(why, r)))
	}
	w.Carried = carriedBy(r)
	w.Plan = PlanFor(r, u)
	next := u.Reason(a.Next, r)
	switch a.Verdict {
	case advice.Change:
		w.change(r, u)
	case advice.Keep:
		w.Head = next
		w.Steps = []Step{{Kind: "ride", Name: "Ride", Do: "Change nothing.", How: "Ride it again as it is. Write down how the feet feel at your top speed."}}
		w.SureTag, w.Sure = "How sure", fmt.Sprintf("Over your speeds the load is off even (half on each foot) by about %s %%. %s", Between(a.EvennessNow, 100, 0), notTaken(r, u))
		w.Feel = "Nothing will feel different, because nothing changes."
		w.Mind = asToday(r, u) + "Check that all foil screws are tight before you ride. A loose screw feels like a trim problem."
	case advice.CannotBalance:
		w.Head = next
		w.cannot(r, u)
	default:
		w.findOut(r, u, next)
		w.Mind = asToday(r, u) + w.Mind
	}
	w.Next, w.SoFar = w.Head, followed(r)
	if len(analysis.Notes(r.Session.Warnings, analysis.FromTheStart)) > 0 {
		const changes = " This log holds changes of the trim: “today” is the trim at its start. Go back to that first, or count what you changed off the step."
		w.Next, w.SoFar = w.Next+changes, strings.TrimSpace(w.SoFar+changes)
	}
	if a.Verdict == advice.Change {
		w.Next += " Then ride the same speeds and log again."
	}
	return w
}

// followed says how the advised step that was taken last did, "" when none was.
func followed(r *analysis.Result) string {
	f := r.Followed
	if f == nil {
		return ""
	}
	since := fmt.Sprintf("You did what the sheet of \"%s\" advised", Clean(f.Session))
	switch f.Verdict {
	case advice.AsPredicted:
		return since + ", and it did what was foretold."
	case advice.NotAsPredicted:
		return since + ", and it did not do what was foretold."
	}
	return since + "."
}

// withoutAdvice is for logs without a setup, and for setups that gave none.
func (w *Answer) withoutAdvice(r *analysis.Result, u Units) {
	w.SureTag, w.Feel, w.Mind = "No advice yet", "Nothing changes yet.", "Do not shim or move the foil on this page alone."
	s := u.tellAll("no advice", r)
	w.Head, w.Sure, w.Steps = s[0], s[1], []Step{{Kind: "log", Name: s[2], Do: s[3], How: s[4]}}
	w.Today = u.tell("without advice", r)
}

// change words the advice to shim, to move, or both.
func (w *Answer) change(r *analysis.Result, u Units) {
	for _, s := range []*Step{shimStep(r, u), moveStep(r, u), feetStep(r, u)} {
		if s != nil {
			w.Steps = append(w.Steps, *s)
		}
	}
	for i, s := range w.Steps {
		w.Steps[i].Said = true
		if s.Kind == "feet" && i > 0 { // with the foil, in its sentence
			w.Head = strings.TrimSuffix(w.Head, ".") + ", and " + LowerFirst(s.Do)
			continue
		}
		w.Head = strings.TrimSpace(w.Head + " " + s.Do)
	}
	if w.Head == "" {
		w.Head = "A change is advised, but its size is not known."
	}
	w.Steps = append(w.Steps, Step{Kind: "ride", Name: "Ride", Do: "Start at low speed in clear water, with helmet and vest.",
		How: "Keep clear of others. Log the session, note how your feet feel at three or four speeds, and " + u.here("run the report again.", "bring both here.")})
	w.Every = EveryTime(Finite(float64(r.Advice.Shim)) && r.Advice.Shim != 0, Finite(float64(r.Advice.MoveNow)) && r.Advice.MoveNow != 0, true)
	w.sure(r, u)
	w.Feel = feel(r, u)
	w.Mind = Mind(r, u)
}

func (w *Answer) cannot(r *analysis.Result, u Units) {
	a := r.Advice
	w.SureTag, w.Sure = "How sure", "No shim of up to four cards and no place in the track makes the load even, over nearly the whole of the doubt."
	beginner := r.Setup != nil && r.Setup.Rider.Level == "beginner" && a.Next.Kind == advice.TrackShort
	if beginner {
		w.Sure = "No place in the track makes the load even, over nearly the whole of the doubt, and a beginner is not advised to shim yet."
	}
	need := "The load cannot be made even with shims and the track."
	if a.FoilMove.Known() {
		need = fmt.Sprintf("Even load needs the foil %s.", signedRange(a.FoilMove, u))
		if r.Setup != nil {
			need += " " + room(r.Setup, u)
		}
	}
	w.Steps = []Step{{Kind: "log", Name: "Look for room", Do: need, How: "Move the foot straps or your feet the other way, or try another board, wing or mast position."}}
	if len(w.Limits) > 0 {
		w.Steps[0].How = w.Limits[len(w.Limits)-1]
	}
	w.Feel = "Nothing changes yet."
	w.Mind = "Do not shim further than four cards to force it. Screws lose their hold."
	if beginner {
		w.Mind = "Do not shim to force it: shims come when straight flight is steady."
	}
}

// findOut are the steps where the evidence is not enough, in one direction:
// keep the trim, look first, and try another trim only as an experiment.
func (w *Answer) findOut(r *analysis.Result, u Units, next string) {
	a := r.Advice
	w.SureTag, w.Sure = "Not sure enough", "The possible answers are too far apart. A change now would be a guess."
	w.Feel = "Nothing changes yet."
	w.Mind = "Ride on with the trim that you have: not enough evidence for a change is none against what is fitted either."
	if k := a.Next.Kind; k != advice.FindOut && k != advice.SayNotes {
		// Something contradicts something else: more of it would not help.
		w.Head = next
		w.Steps = []Step{{Kind: "log", Name: "First", Do: next, How: "Put it right and " + u.here("run the report again.", "the answer is made anew."), Said: true}}
		return
	}
	notes, measure, try := notesOf(a), "", ""
	var test advice.Observation
	for _, o := range a.WorthKnowing {
		switch {
		case o.ChangesTrim && try == "":
			try, test = u.tryOut(o), o
		case !o.ChangesTrim && o.Kind != advice.NoteFeel && measure == "":
			measure = u.Observation(o)
		}
	}
	first := "Ride again at several speeds, log it, and note how your feet feel."
	switch {
	case len(notes) > 0:
		first = fmt.Sprintf("Ride as it is and note %show the load feels on your feet at %s.", Choose(noted(r, notes), "once more ", ""), u.speeds(notes))
	case measure != "":
		first, measure = Sentence(measure), ""
	}
	w.Head = "Not enough evidence for a change yet. " + first
	w.Steps = []Step{{Kind: "log", Name: "First", Do: first, How: u.here("Write the notes into the setup and run the report again.", "Say it on this page, and the answer is made anew."), Said: true}}
	if measure != "" {
		w.Steps = append(w.Steps, Step{Kind: "log", Name: "Also", Do: Sentence(measure)})
	}
	if try != "" {
		w.Steps = append(w.Steps, Step{Kind: "log", Name: "Test", Do: Sentence("Or, " + LowerFirst(try)), How: "It is a test to learn from, not a new trim." + u.testFeels(test)})
		w.Mind = Choose(test.Kind == advice.RideCard, "A card as a test", "Another place of the foil as a test") + " may make the load less even: start it at low speed and go up in small steps. " + screwCare(test.Kind == advice.RideCard, test.TakeOut, test.Kind == advice.FindNulls)
	}
}

// SpeedsOf are the low, middle and top speed that count, m/s; NaN when unknown.
func SpeedsOf(r *analysis.Result) (lo, mid, top float64) {
	lo, top = r.RangeLow, r.RangeHigh
	if !(top > lo) || !Finite(lo) || !Finite(top) {
		if n := len(r.FootLoad); n > 0 {
			lo, top = float64(r.FootLoad[0].Speed), float64(r.FootLoad[n-1].Speed)
		} else {
			lo, top = math.NaN(), math.NaN()
		}
	}
	return lo, (lo + top) / 2, top
}

// Place finds a speed among n in order: the last that is not above it, and how
// far on to the next it lies, 0 to 1; false outside them.
func Place(n int, speed func(i int) interval.Number, v float64) (i int, on float64, ok bool) {
	const same = 0.02 // m/s
	for i := range n {
		switch x := float64(speed(i)); {
		case math.Abs(x-v) < same:
			return i, 0, true
		case i+1 < n && x <= v && v < float64(speed(i+1))-same:
			return i, (v - x) / (float64(speed(i+1)) - x), true
		}
	}
	return 0, 0, false
}

// LoadAt is the foot load at a speed, between the points of its curve; false
// outside it.
func LoadAt(r *analysis.Result, v float64) (p analysis.LoadPoint, ok bool) {
	i, on, ok := Place(len(r.FootLoad), func(i int) interval.Number { return r.FootLoad[i].Speed }, v)
	if !ok {
		un := interval.Unknown()
		return analysis.LoadPoint{Speed: interval.Number(v), FrontShare: un, Moment: un, Gradient: un, FrontShareAfter: un, GradientAfter: un}, false
	}
	o, q := r.FootLoad[i], r.FootLoad[i+Choose(on > 0, 1, 0)]
	mix := func(a, b interval.Interval) interval.Interval { return interval.Mix(a, b, on) }
	return analysis.LoadPoint{Speed: interval.Number(v), FrontShare: mix(o.FrontShare, q.FrontShare), Moment: mix(o.Moment, q.Moment),
		Gradient: mix(o.Gradient, q.Gradient), FrontShareAfter: mix(o.FrontShareAfter, q.FrontShareAfter), GradientAfter: mix(o.GradientAfter, q.GradientAfter)}, true
}

// Title is what a reader knows the session by.
func Title(r *analysis.Result) string {
	if t := Clean(r.Session.Title); t != "" {
		return t
	}
	if r.Setup != nil {
		if t := Clean(r.Setup.Title); t != "" {
			return t
		}
	}
	if r.Session.Start != nil && !r.Session.Start.IsZero() {
		return "Session of " + r.Session.Start.UTC().Format("2 January 2006")
	}
	return "Session"
}

// EveryTime are the cautions that hold for everybody: without those that a step
// with a shim, with a move of the mast, or with a careful start gives by itself.
func EveryTime(shim, move, start bool) []string {
	return Units{}.tellAll("every time", struct{ Shim, Move, Start bool }{shim, move, start})
}
