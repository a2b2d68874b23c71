package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

// A Answer value holds what the terminal and the page both say, so that they
// cannot differ.
type Answer struct {
	Title    string   // the session's name
	Head     string   // the answer in one or two sentences
	Today    string   // what was found
	Steps    []Step   // what to do, in order
	Sure     string   // how sure
	SureTag  string   // "Sure", "Fairly sure", ...
	Feel     string   // what will feel different
	Mind     string   // the one caution that matters now
	Evidence string   // earlier sessions that count here
	Limits   []string // reasons and limits from the advice
	Buys     []string // what one more observation would buy
}

// A step is one thing to do.
type Step struct {
	Kind string // "shim" | "move" | "ride" | "log"
	Name string // one word for the margin
	Do   string // the instruction
	How  string // a helping sentence
}

// cardM is a payment card's thickness, m (ISO/IEC 7810 ID-1).
const cardM = 0.00076

// wordsFor says what a result means.
func For(r *analysis.Result, u Units) Answer {
	w := Answer{Title: Title(r)}
	a := r.Advice
	if a == nil {
		w.withoutAdvice(r)
		return w
	}
	w.Today = Today(r, u)
	w.Evidence = evidence(r)
	if m := r.Mount; m != nil && !m.Rigid && m.Why.Kind != "" {
		w.Limits = append(w.Limits, Sentence(u.Say(m.Why))+" So the board logger's pitch is not used.")
	}
	for _, n := range analysis.Notes(r.Session.Warnings, analysis.BeyondRidden) {
		w.Limits = append(w.Limits, u.Say(n))
	}
	for _, s := range a.Why {
		w.Limits = append(w.Limits, plainly(Sentence(s)))
	}
	if s := carriedBy(r); s != "" {
		w.Limits = append(w.Limits, s)
	}
	for _, o := range a.WorthKnowing {
		if s := buys(r, o, u); s != "" {
			w.Buys = append(w.Buys, s)
		}
	}
	switch a.Verdict {
	case advice.Change:
		w.change(r, u)
	case advice.Keep:
		w.Head = "Keep the trim as it is."
		if a.NextStep != "" {
			w.Head = Sentence(a.NextStep)
		}
		w.Steps = []Step{{"ride", "Ride", "Change nothing.", "Ride it again as it is. Write down how the feet feel at your top speed."}}
		w.SureTag, w.Sure = "How sure", "No step on offer is clearly better than today."
		if a.EvennessNow.Known() {
			w.Sure = fmt.Sprintf("Over your speeds the load is off even by about %s %%. No step on offer is clearly better.", Between(a.EvennessNow, 100, 0))
		}
		w.Feel = "Nothing will feel different, because nothing changes." + asToday(r, u)
		w.Mind = "Check that all foil screws are tight before you ride. A loose screw feels like a trim problem."
	case advice.CannotBalance:
		w.Head = "This board and foil do not fit this rider by moving and shimming alone."
		if a.NextStep != "" {
			w.Head = Sentence(a.NextStep)
		}
		w.cannot(r, u)
	default:
		w.findOut(r, u)
		w.Feel += asToday(r, u)
	}
	return w
}

// withoutAdvice is for logs without a setup, and for setups that gave none.
func (w *Answer) withoutAdvice(r *analysis.Result) {
	w.SureTag, w.Sure = "No advice yet", "Without the measures of rider, stance and foil there is no telling which way to go."
	w.Feel = "Nothing changes yet."
	w.Mind = "Do not shim or move the foil on this page alone."
	switch {
	case r.Setup == nil:
		w.Head = "This is what the log shows. To get advice, add a setup."
		w.Steps = []Step{{"log", "Measure", "Fill in a setup: rider, stance, mast, wing and stabilizer (the small rear wing).",
			"\"evenfoot setup\" prints one with notes. Then run the report again with --setup."}}
	default:
		w.Head = "This is what the log shows. It is not enough for advice."
		w.Sure = "The setup is there, but the analysis could not make advice from it. The warnings say why."
		w.Steps = []Step{{"log", "Log again", "Log one more session and run the report again.", "The warnings below say what was missing."}}
	}
	switch {
	case r.Log != nil && len(r.Log.GPS.Time) == 0:
		w.Today = "The log has no GPS, so no speed is known. Add the watch's log of the same outing."
	case r.Ride != nil && len(r.Ride.Rides) == 0 && len(r.Rides) == 0:
		w.Today = "No ride on the foil was found in this log."
	case r.PitchLaw == nil && r.Motion == nil:
		w.Today = "The log has no motion sensor on the board, so only speeds and rides can be shown."
	case r.Motion != nil && !r.Motion.Mount.Rigid:
		w.Today = "The motion sensor was not fixed to the board, so only speeds and rides can be shown."
	case r.PitchLaw != nil && !r.PitchLaw.Enough:
		w.Today = "The log has motion data, but too little straight flight at different speeds for a pitch law."
	}
}

// change words the advice to shim, to move, or both.
func (w *Answer) change(r *analysis.Result, u Units) {
	a := r.Advice
	shim, move := ShimStep(r, u), moveStep(r, u)
	if shim != nil {
		w.Steps = append(w.Steps, *shim)
	}
	if move != nil {
		w.Steps = append(w.Steps, *move)
	}
	if mm := float64(a.FeetNow); Finite(mm) && math.Abs(mm) >= 0.5 {
		w.Steps = append(w.Steps, Step{"feet", "Stand", fmt.Sprintf("Stand %s further %s.", u.LengthText(math.Abs(mm)/1000), ForeAft(mm)), "Both feet, the same way. This is the part that the track cannot give."})
	}
	if len(w.Steps) == 0 {
		w.Head = Sentence(a.NextStep)
		if w.Head == "" {
			w.Head = "A change is advised, but its size is not known."
		}
	} else {
		var do []string
		for _, s := range w.Steps {
			do = append(do, s.Do)
		}
		w.Head = strings.Join(do, " ")
	}
	w.Steps = append(w.Steps, Step{"ride", "Ride", "Start at low speed in clear water, with helmet and vest.",
		"Log the session, note how your feet feel at two speeds, and run the report again."})
	w.sure(r, u)
	o := OutcomeOf(r)
	w.feel(r, o, u)
	w.Mind = Mind(r, o, u)
}

func (w *Answer) cannot(r *analysis.Result, u Units) {
	a := r.Advice
	w.SureTag, w.Sure = "How sure", "No shim of up to four cards and no place in the track makes the load even, over nearly the whole of the doubt."
	need := "The load cannot be made even with shims and the track."
	if a.FoilMove.Known() {
		need = fmt.Sprintf("Even load needs the foil %s.", signedRange(a.FoilMove, u))
		if r.Setup != nil {
			need += " " + Room(r.Setup.Board.Track, u)
		}
	}
	w.Steps = []Step{{"log", "Look for room", need, "Move the foot straps or your feet the other way, or try another board, wing or mast position."}}
	if len(w.Limits) > 0 {
		w.Steps[0].How = w.Limits[len(w.Limits)-1]
	}
	w.Feel = "Nothing changes yet."
	w.Mind = "Do not shim further than four cards to force it. Screws lose their hold."
}

// speeds are the low, middle and top speed that count, m/s; NaN when unknown.
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

// shareNow is today's front share at a speed, from the foot-load curve.
func ShareNow(r *analysis.Result, v float64) interval.Interval {
	pts := make([]advice.SharePoint, len(r.FootLoad))
	for i, p := range r.FootLoad {
		pts[i] = advice.SharePoint{Speed: p.Speed, Share: p.FrontShare}
	}
	return ShareOf(pts, v)
}

// shareOf interpolates a curve of shares; [interval.Unknown] outside it.
func ShareOf(c []advice.SharePoint, v float64) interval.Interval {
	for i := range c {
		x := float64(c[i].Speed)
		if math.Abs(x-v) < 0.02 && c[i].Share.Known() {
			return c[i].Share
		}
		if i == 0 {
			continue
		}
		x0 := float64(c[i-1].Speed)
		if x0 <= v && v <= x && x > x0 {
			t := (v - x0) / (x - x0)
			mix := func(a, b float64) float64 { return a + t*(b-a) }
			p, q := c[i-1].Share, c[i].Share
			return interval.Interval{Value: mix(p.Value, q.Value), Low: mix(p.Low, q.Low), High: mix(p.High, q.High)}
		}
	}
	return interval.Unknown()
}

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

func Plural(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	if n > 1 && n < 10 {
		return []string{"two", "three", "four", "five", "six", "seven", "eight", "nine"}[n-2] + " " + many
	}
	return fmt.Sprintf("%d %s", n, many)
}

// sentence trims, cuts and closes a sentence that came from elsewhere.
func Sentence(s string) string {
	s = CleanTo(s, 400)
	if s == "" {
		return ""
	}
	s = UpperFirst(s)
	if !strings.ContainsRune(".!?…", []rune(s)[len([]rune(s))-1]) {
		s += "."
	}
	return s
}

func UpperFirst(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		r[0] = []rune(strings.ToUpper(string(r[0])))[0]
	}
	return string(r)
}

func LowerFirst(s string) string {
	r := []rune(s)
	if len(r) > 1 && strings.ToUpper(string(r[1])) != string(r[1]) {
		r[0] = []rune(strings.ToLower(string(r[0])))[0]
	}
	return string(r)
}

// Cautions hold for everybody, every time.
var Cautions = []string{
	"One small step a session: at most one card. Then log and look again.",
	"After shimming, check that the screws still hold as deep as before, are not too long for the stabilizer, and are tightened to the maker's torque.",
	"Try every change at low speed first, in clear water away from others, with helmet and vest.",
	"Foil edges cut. Wear gloves when you handle it. Sand wet, so that no dust flies, and wear eye protection.",
	"The maker's limits, the local rules and a qualified instructor come before this page. It is a calculation, not an inspection of your gear.",
}
