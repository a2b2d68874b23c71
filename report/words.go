package report

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

// A words value holds what the terminal and the page both say, so that they
// cannot differ.
type words struct {
	Title   string   // the session's name
	Head    string   // the answer in one or two sentences
	Today   string   // what was found
	Steps   []step   // what to do, in order
	Sure    string   // how sure
	SureTag string   // "Sure", "Fairly sure", ...
	Feel    string   // what will feel different
	Mind    string   // the one caution that matters now
	Limits  []string // reasons and limits from the advice
	Buys    []string // what one more observation would buy
}

// A step is one thing to do.
type step struct {
	Kind string // "shim" | "move" | "ride" | "log"
	Name string // one word for the margin
	Do   string // the instruction
	How  string // a helping sentence
}

// cardM is a payment card's thickness, m (ISO/IEC 7810 ID-1).
const cardM = 0.00076

// wordsFor says what a result means.
func wordsFor(r *analysis.Result, u Units) words {
	w := words{Title: title(r)}
	a := r.Advice
	if a == nil {
		w.withoutAdvice(r)
		return w
	}
	w.Today = today(r, u)
	if m := r.Mount; m != nil && !m.Rigid && m.Why != "" {
		w.Limits = append(w.Limits, sentence(m.Why)+" So the board logger's pitch is not used.")
	}
	for _, s := range a.Why {
		w.Limits = append(w.Limits, sentence(s))
	}
	for _, o := range a.WorthKnowing {
		if s := buys(o); s != "" {
			w.Buys = append(w.Buys, s)
		}
	}
	switch a.Verdict {
	case advice.Change:
		w.change(r, u)
	case advice.Keep:
		w.Head = "Keep the trim as it is."
		if a.NextStep != "" {
			w.Head = sentence(a.NextStep)
		}
		w.Steps = []step{{"ride", "Ride", "Change nothing.", "Ride it again as it is. Write down how the feet feel at your top speed."}}
		w.SureTag, w.Sure = "How sure", "No step on offer is clearly better than today."
		if a.EvennessNow.Known() {
			w.Sure = fmt.Sprintf("Over your speeds the load is off even by about %s %%. No step on offer is clearly better.", between(a.EvennessNow, 100, 0))
		}
		w.Feel = "Nothing will feel different, because nothing changes."
		w.Mind = "Check that all foil screws are tight before you ride. A loose screw feels like a trim problem."
	case advice.CannotBalance:
		w.Head = "This board and foil do not fit this rider by moving and shimming alone."
		if a.NextStep != "" {
			w.Head = sentence(a.NextStep)
		}
		w.cannot(r, u)
	default:
		w.Head = "There is not enough evidence to advise a change."
		w.SureTag, w.Sure = "Not sure enough", "The possible answers are too far apart. A change now would be a guess."
		do := "Ride again at several speeds and log it."
		if len(a.WorthKnowing) > 0 {
			do = "Find out one thing: " + lowerFirst(sentence(a.WorthKnowing[0].What))
		}
		w.Steps = []step{{"log", "Find out", do, "Change nothing until then."}}
		if a.NextStep != "" {
			w.Steps[0].How = sentence(a.NextStep)
		}
		w.Feel = "Nothing changes yet."
		w.Mind = "Do not shim on this result. It does not know which way."
	}
	return w
}

// withoutAdvice is for logs without a setup, and for setups that gave none.
func (w *words) withoutAdvice(r *analysis.Result) {
	w.SureTag, w.Sure = "No advice yet", "Without the measures of rider, stance and foil there is no telling which way to go."
	w.Feel = "Nothing changes yet."
	w.Mind = "Do not shim or move the foil on this page alone."
	switch {
	case r.Setup == nil:
		w.Head = "This is what the log shows. To get advice, add a setup."
		w.Steps = []step{{"log", "Measure", "Fill in a setup: rider, stance, mast, wing and stabilizer (the small rear wing).",
			"\"evenfoot setup\" prints one with notes. Then run the report again with --setup."}}
	default:
		w.Head = "This is what the log shows. It is not enough for advice."
		w.Sure = "The setup is there, but the analysis could not make advice from it. The warnings say why."
		w.Steps = []step{{"log", "Log again", "Log one more session and run the report again.", "The warnings below say what was missing."}}
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
func (w *words) change(r *analysis.Result, u Units) {
	a := r.Advice
	shim, move := shimStep(r, u), moveStep(r, u)
	if shim != nil {
		w.Steps = append(w.Steps, *shim)
	}
	if move != nil {
		w.Steps = append(w.Steps, *move)
	}
	if mm := float64(a.FeetNow); finite(mm) && math.Abs(mm) >= 0.5 {
		w.Steps = append(w.Steps, step{"feet", "Stand", fmt.Sprintf("Stand %s further %s.", u.lengthText(math.Abs(mm)/1000), foreAft(mm)), "Both feet, the same way. This is the part that the track cannot give."})
	}
	if len(w.Steps) == 0 {
		w.Head = sentence(a.NextStep)
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
	w.Steps = append(w.Steps, step{"ride", "Ride", "Start at low speed in clear water, with helmet and vest.",
		"Log the session, note how your feet feel at two speeds, and run the report again."})
	w.sure(r, u)
	w.feel(r, u)
	w.Mind = mind(r)
}

func (w *words) cannot(r *analysis.Result, u Units) {
	a := r.Advice
	w.SureTag, w.Sure = "How sure", "No shim of up to four cards and no place in the track makes the load even, over nearly the whole of the doubt."
	need := "The load cannot be made even with shims and the track."
	if a.FoilMove.Known() {
		need = fmt.Sprintf("Even load needs the foil %s.", signedRange(a.FoilMove, u))
		if r.Setup != nil {
			need += " " + room(r.Setup.Board.Track, u)
		}
	}
	w.Steps = []step{{"log", "Look for room", need, "Move the foot straps or your feet the other way, or try another board, wing or mast position."}}
	if len(w.Limits) > 0 {
		w.Steps[0].How = w.Limits[len(w.Limits)-1]
	}
	w.Feel = "Nothing changes yet."
	w.Mind = "Do not shim further than four cards to force it. Screws lose their hold."
}

func room(track [2]float64, u Units) string {
	return fmt.Sprintf("The track has %s back and %s forward left.", u.lengthText(-track[0]), u.lengthText(track[1]))
}

// shimStep says what to do at the stabilizer, nil for nothing.
func shimStep(r *analysis.Result, u Units) *step {
	a := r.Advice
	m := float64(a.Shim) / 1000
	if !finite(m) || math.Abs(m) < 0.00005 {
		return nil
	}
	fitted, span := 0.0, 0.0
	if r.Setup != nil {
		fitted, span = r.Setup.Foil.Stabilizer.Shim, r.Setup.Foil.Stabilizer.ShimSpan
	}
	after := fitted + m
	s := &step{Kind: "shim", Name: "Shim"}
	edge := edgeFor(r, m)
	size := fmt.Sprintf("%s of shim", u.thin(math.Abs(m)))
	if n := math.Round(math.Abs(m) / cardM); n >= 1 && math.Abs(math.Abs(m)-n*cardM) < 0.1*cardM {
		size = plural(int(n), "card", "cards") + " (" + u.thin(math.Abs(m)) + ")"
	}
	switch {
	case fitted*m < 0 && math.Abs(after) < 0.00015:
		s.Do = fmt.Sprintf("Take the shim (%s) out of the stabilizer.", u.thin(math.Abs(fitted)))
	case fitted*m < 0 && fitted*after > 0:
		s.Do = fmt.Sprintf("Take %s out. Leave %s under the stabilizer's %s.", size, u.thin(math.Abs(after)), edgeFor(r, after))
	case fitted*m < 0:
		s.Do = fmt.Sprintf("Take the old shim out. Put %s under the stabilizer's %s.", u.thin(math.Abs(after)), edge)
	case fitted != 0:
		s.Do = fmt.Sprintf("Add %s under the stabilizer's %s.", size, edge)
	default:
		s.Do = fmt.Sprintf("Put %s under the stabilizer's %s.", size, edge)
	}
	way := "up"
	if m < 0 {
		way = "down"
	}
	s.How = "The leading edge is the edge that meets the water first. A shim is a thin, hard spacer."
	if edge == "trailing edge" {
		s.How = "The trailing edge is the rear edge. A shim is a thin, hard spacer."
	}
	if span > 0 {
		s.How += fmt.Sprintf(" It turns the leading edge %s by %s degrees.", way, fixed(math.Abs(math.Atan(m/span))*180/math.Pi, 1))
	}
	return s
}

// edgeFor is where a shim goes that raises (m > 0) or lowers the leading edge:
// as the advice says, or from the mount (trim model §6).
func edgeFor(r *analysis.Result, m float64) string {
	mount := "top"
	if r.Setup != nil && r.Setup.Foil.Stabilizer.Mount != "" {
		mount = r.Setup.Foil.Stabilizer.Mount
	} else if r.Advice != nil && r.Advice.ShimPlace != nil && float64(r.Advice.Shim)*m > 0 {
		return *r.Advice.ShimPlace
	}
	if (m > 0) == (mount == "top") {
		return "leading edge"
	}
	return "trailing edge"
}

func moveStep(r *analysis.Result, u Units) *step {
	mm := float64(r.Advice.MoveNow)
	if !finite(mm) || math.Abs(mm) < 0.5 {
		return nil
	}
	s := &step{Kind: "move", Name: "Move", Do: fmt.Sprintf("Slide the foil %s %s.", u.lengthText(math.Abs(mm)/1000), foreAft(mm))}
	if r.Setup != nil {
		t := r.Setup.Board.Track
		left := t[1]
		if mm < 0 {
			left = -t[0]
		}
		s.How = fmt.Sprintf("The mast can slide %s %s on this track.", u.lengthText(left), foreAft(mm))
		if math.Abs(mm)/1000 > left+1e-4 && !finite(float64(r.Advice.FeetNow)) {
			s.How += " That is not enough: move the straps or your feet the other way for the rest."
		}
	}
	return s
}

func foreAft(v float64) string {
	if v < 0 {
		return "back"
	}
	return "forward"
}

// sure says how likely the step is to help, and how wide the full answer is.
func (w *words) sure(r *analysis.Result, u Units) {
	a := r.Advice
	w.SureTag, w.Sure = chance(a, nextOption(a))
	var all []string
	if a.StabilizerChange.Known() {
		all = append(all, "the stabilizer's leading edge "+raisedRange(a.StabilizerChange))
	}
	if a.FoilMove.Known() {
		all = append(all, "the foil "+signedRange(a.FoilMove, u))
	}
	if len(all) > 0 {
		w.Sure += " All the way to the best trim: " + strings.Join(all, ", ") + "."
	}
}

// raisedRange is "0.8 (0.1 to 1.5) degrees up", words instead of signs where
// the ends do not agree.
func raisedRange(deg interval.Interval) string {
	way, i := "up", deg
	if i.Value < 0 {
		way, i = "down", i.Scale(-1)
	}
	if !(i.Low <= -0.05) || !finite(i.High) {
		return between(i, 1, 1) + " degrees " + way
	}
	back := choose(way == "up", "down", "up")
	return fmt.Sprintf("%s degrees %s (from %s %s to %s %s)", fixed(i.Value, 1), way, fixed(-i.Low, 1), back, fixed(i.High, 1), way)
}

// signedRange is "2.4 cm back (0.9 to 3.9)", words instead of signs where both
// ends agree.
func signedRange(mm interval.Interval, u Units) string {
	m := mm.Scale(0.001)
	d := u.lengthDigits()
	if math.Abs(m.Value) < 0.003 && m.Low < 0 && m.High > 0 {
		return fmt.Sprintf("about where it is (from %s back to %s forward)", u.lengthText(-m.Low), u.lengthText(m.High))
	}
	if m.Low*m.High > 0 {
		back := ""
		if m.Value < 0 {
			m, back = m.Scale(-1), " back"
		} else {
			back = " forward"
		}
		return fmt.Sprintf("%s%s (%s to %s)", u.lengthText(m.Value), back, fixed(u.length(m.Low), d), fixed(u.length(m.High), d))
	}
	return fmt.Sprintf("%s %s (from %s back to %s forward)", u.lengthText(math.Abs(m.Value)), foreAft(m.Value),
		fixed(u.length(math.Abs(m.Low)), d), fixed(u.length(math.Abs(m.High)), d))
}

// Chip is the degree of sureness for beside the headline, "" where there is no
// step to be sure of.
func (w words) Chip() string {
	if strings.HasPrefix(w.Sure, "The chance") {
		return lowerFirst(w.SureTag)
	}
	return ""
}

func chance(a *advice.Advice, o *advice.Option) (tag, says string) {
	p := float64(a.ChanceBetter)
	if !finite(p) && o != nil {
		p = float64(o.ChanceBetter)
	}
	if !finite(p) {
		if a.EvennessNow.Known() && a.EvennessAfter.Known() && a.EvennessAfter.High < a.EvennessNow.Low {
			return "Fairly sure", "The load is more even after this step, over the whole of its doubt."
		}
		return "Open", "How likely this step is to help is not known."
	}
	of := fmt.Sprintf("%d in 10", int(math.Round(p*10)))
	if p >= 0.945 {
		of = fmt.Sprintf("%d in 100", min(99, int(math.Round(p*100))))
	}
	says = "The chance that this step makes the load more even: " + of + "."
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
	return tag, says
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

// feel says what the rider will notice.
func (w *words) feel(r *analysis.Result, u Units) {
	o := nextOption(r.Advice)
	lo, _, top := speeds(r)
	if o == nil || !finite(top) {
		w.Feel = "What will change cannot be told from this log."
		return
	}
	now, then := shareNow(r, top), shareOf(o.Curve, top)
	if !then.Known() {
		then = o.ShareTop
	}
	var s []string
	if now.Known() && then.Known() {
		d := now.Value - then.Value
		verb := "about as much on the front foot as today"
		if d > 0.015 {
			verb = "less weight on the front foot"
		} else if d < -0.015 {
			verb = "more weight on the front foot"
		}
		s = append(s, fmt.Sprintf("At %s: %s, about %s instead of %s.", u.speedText(top), verb, percent(then.Value), percent(now.Value)))
	}
	nl, tl := shareNow(r, lo), shareOf(o.Curve, lo)
	if !tl.Known() {
		tl = o.ShareLow
	}
	if nl.Known() && tl.Known() && math.Abs(nl.Value-tl.Value) > 0.03 && u.speedText(lo) != u.speedText(top) {
		s = append(s, fmt.Sprintf("At %s: %s instead of %s.", u.speedText(lo), percent(tl.Value), percent(nl.Value)))
	}
	switch k := o.StiffnessChange; {
	case !k.Known():
	case k.High < 1 || k.Value < 0.9:
		s = append(s, "The board answers your feet faster in pitch (nose up and down): it feels livelier.")
	case k.Low > 1 || k.Value > 1.1:
		s = append(s, "The board holds its pitch (nose up and down) more firmly: it feels calmer and slower to answer.")
	}
	w.Feel = strings.Join(s, " ")
	if w.Feel == "" {
		w.Feel = "Little will feel different after this step."
	}
}

// mind picks the one caution that matters most for this step.
func mind(r *analysis.Result) string {
	a := r.Advice
	o := nextOption(a)
	switch {
	case a.TakeOut || r.Setup != nil && r.Setup.Foil.Stabilizer.Shim*float64(a.Shim) < 0:
		return "Without the shim the screws reach deeper. Check that they do not hit the bottom before they hold, and tighten them to the maker's torque."
	case finite(float64(a.Shim)) && a.Shim != 0 && o != nil && o.StiffnessChange.High < 0.8:
		return "The board will be clearly livelier at speed. Check the stabilizer's screws, then work up to your top speed in small steps."
	case finite(float64(a.Shim)) && a.Shim != 0:
		return "A shim uses up screw length. Check that the screws still hold as deep as the maker asks and tighten them to the maker's torque."
	case finite(float64(a.MoveNow)) && a.MoveNow != 0:
		return "After the move, tighten the mast's screws to the maker's torque and check them again after the first run."
	}
	return "One small step a session. Then log again."
}

// today says how the load stands now.
func today(r *analysis.Result, u Units) string {
	lo, _, top := speeds(r)
	a, b := shareNow(r, lo), shareNow(r, top)
	if !a.Known() || !b.Known() {
		return ""
	}
	s := fmt.Sprintf("Today the front foot carries about %s of the load at %s", percent(a.Value), u.speedText(lo))
	if u.speedText(lo) != u.speedText(top) {
		s += fmt.Sprintf(" and %s at %s", percent(b.Value), u.speedText(top))
	}
	switch d := b.Value - a.Value; {
	case d > 0.06 && b.Value > 0.56:
		s += ": it gets heavy as you go faster."
	case d < -0.06 && b.Value < 0.44:
		s += ": the back foot gets heavy as you go faster."
	case d > 0.06 || d < -0.06:
		s += ": it changes with speed."
	case a.Value > 0.56 && b.Value > 0.56:
		s += ": heavy on the front foot all the time."
	case a.Value < 0.44 && b.Value < 0.44:
		s += ": heavy on the back foot all the time."
	default:
		s += ": close to even (50 %)."
	}
	return s
}

func buys(o advice.Observation) string {
	now, then := float64(o.ShimSDNow), float64(o.ShimSD)
	if !finite(now) || !finite(then) || o.What == "" {
		return ""
	}
	if then > 0.97*now {
		return ""
	}
	return fmt.Sprintf("%s: the doubt of the best stabilizer angle shrinks by %s.", upperFirst(strings.TrimRight(cleanTo(o.What, 200), ".")), percent(1-then/now))
}

// speeds are the low, middle and top speed that count, m/s; NaN when unknown.
func speeds(r *analysis.Result) (lo, mid, top float64) {
	lo, top = r.RangeLow, r.RangeHigh
	if !(top > lo) || !finite(lo) || !finite(top) {
		if n := len(r.FootLoad); n > 0 {
			lo, top = float64(r.FootLoad[0].Speed), float64(r.FootLoad[n-1].Speed)
		} else {
			lo, top = math.NaN(), math.NaN()
		}
	}
	return lo, (lo + top) / 2, top
}

// shareNow is today's front share at a speed, from the foot-load curve.
func shareNow(r *analysis.Result, v float64) interval.Interval {
	pts := make([]advice.SharePoint, len(r.FootLoad))
	for i, p := range r.FootLoad {
		pts[i] = advice.SharePoint{Speed: p.Speed, Share: p.FrontShare}
	}
	return shareOf(pts, v)
}

// shareOf interpolates a curve of shares; [interval.Unknown] outside it.
func shareOf(c []advice.SharePoint, v float64) interval.Interval {
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

func title(r *analysis.Result) string {
	if t := clean(r.Session.Title); t != "" {
		return t
	}
	if r.Setup != nil {
		if t := clean(r.Setup.Title); t != "" {
			return t
		}
	}
	if r.Session.Start != nil && !r.Session.Start.IsZero() {
		return "Session of " + r.Session.Start.UTC().Format("2 January 2006")
	}
	return "Session"
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	if n > 1 && n < 10 {
		return []string{"two", "three", "four", "five", "six", "seven", "eight", "nine"}[n-2] + " " + many
	}
	return fmt.Sprintf("%d %s", n, many)
}

// sentence trims, cuts and closes a sentence that came from elsewhere.
func sentence(s string) string {
	s = cleanTo(s, 400)
	if s == "" {
		return ""
	}
	s = upperFirst(s)
	if !strings.ContainsRune(".!?…", []rune(s)[len([]rune(s))-1]) {
		s += "."
	}
	return s
}

func upperFirst(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		r[0] = []rune(strings.ToUpper(string(r[0])))[0]
	}
	return string(r)
}

func lowerFirst(s string) string {
	r := []rune(s)
	if len(r) > 1 && strings.ToUpper(string(r[1])) != string(r[1]) {
		r[0] = []rune(strings.ToLower(string(r[0])))[0]
	}
	return string(r)
}

// cautions hold for everybody, every time.
var cautions = []string{
	"One small step a session: at most one card. Then log and look again.",
	"After shimming, check that the screws still hold as deep as before, are not too long for the stabilizer, and are tightened to the maker's torque.",
	"Try every change at low speed first, in clear water away from others, with helmet and vest.",
	"Foil edges cut. Wear gloves when you handle it. Sand wet, so that no dust flies, and wear eye protection.",
	"The maker's limits, the local rules and a qualified instructor come before this page. It is a calculation, not an inspection of your gear.",
}
