package words

import (
	"fmt"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
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
	s := u.Sheet(r)
	w := Answer{Title: Title(r), Every: EveryTime(false, false, false)}
	a := r.Advice
	if a == nil {
		w.Today = u.Tell("without advice", r)
		w.read(u.Tell("answer none", s))
		return w
	}
	w.Today, w.Evidence, w.Plan = s.carries("The front foot"), u.Tell("evidence", r), PlanFor(r, u)
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
	letter := "answer " + a.Verdict
	switch k := a.Next.Kind; {
	case a.Verdict == advice.Change:
		w.step, w.Every = true, EveryTime(s.Shim != 0, s.Move != 0, true)
	case a.Verdict == advice.Keep:
	case a.Verdict == advice.CannotBalance:
		s.Last = append([]string{""}, w.Limits...)[len(w.Limits)]
	case k != advice.FindOut && k != advice.SayNotes:
		// Something contradicts something else: more of it would not help.
		letter = "answer check first"
	default:
		letter = "answer find out"
		s.lookFor()
	}
	w.read(u.Tell(letter, s))
	w.Next, w.SoFar = w.Head, u.Tell("followed", r)
	if len(analysis.Notes(r.Session.Warnings, analysis.FromTheStart)) > 0 {
		changes := u.Tell("changes", nil)
		w.Next, w.SoFar = w.Next+" "+changes, strings.TrimSpace(w.SoFar+" "+changes)
	}
	if w.step {
		w.Next += " Then ride the same speeds and log again."
		w.Plan.Trim = u.Tell("plan trim", w.Head)
	}
	return w
}

// read takes the parts of a letter: each has its label, a step its kind and name
// too ("told" where the headline says it), and what helps with it after a bar.
func (w *Answer) read(letter string) {
	parts := map[string]*string{"head": &w.Head, "tag": &w.SureTag, "sure": &w.Sure, "feel": &w.Feel, "mind": &w.Mind, "carried": &w.Carried}
	for part := range strings.SplitSeq(letter, partMark) {
		label, text, _ := strings.Cut(strings.TrimSpace(part), ": ")
		if at := parts[label]; at != nil {
			*at = text
		} else if of := strings.SplitN(label, " ", 3); len(of) == 3 {
			do, how, _ := strings.Cut(text, helpMark)
			w.Steps = append(w.Steps, Step{of[1], of[2], strings.TrimSpace(do), strings.TrimSpace(how), of[0] == "told"})
		}
	}
}

// Chip is the degree of sureness for beside the headline, "" where there is no
// step to be sure of.
func (w Answer) Chip() string {
	if w.step {
		return LowerFirst(w.SureTag)
	}
	return ""
}

// Short is a step with how sure it is and what to mind of it.
func (w Answer) Short() string {
	if w.step {
		return w.Next + " " + w.SureTag + ". " + w.Mind
	}
	return w.Next
}

// Title is what a reader knows the session by.
func Title(r *analysis.Result) string {
	if t := Clean(r.Session.Title); t != "" {
		return t
	}
	if r.Setup != nil && Clean(r.Setup.Title) != "" {
		return Clean(r.Setup.Title)
	}
	if r.Session.Start != nil && !r.Session.Start.IsZero() {
		return "Session of " + r.Session.Start.UTC().Format("2 January 2006")
	}
	return "Session"
}

// EveryTime are the cautions that hold for everybody: without those that a step
// with a shim, with a move of the mast, or with a careful start gives by itself.
func EveryTime(shim, move, start bool) []string {
	return Units{}.TellAll("every time", struct{ Shim, Move, Start bool }{shim, move, start})
}

// screwCare is what to mind of the screws that a change loosens: those of the
// stabilizer by a shim that goes in or out, those of the mast by a move.
func screwCare(shim, out, move bool) string {
	return Units{}.Tell("screws", struct{ Shim, Out, Move bool }{shim, out, move})
}

// quotedNames are names in quotation marks, none that is empty.
func quotedNames(of []string) (out []string) {
	for _, n := range of {
		if n = Clean(n); n != "" {
			out = append(out, fmt.Sprintf("\"%s\"", n))
		}
	}
	return out
}
