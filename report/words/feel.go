package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
)

// feel says what the rider will notice of the next step.
func (w *Answer) feel(r *analysis.Result, o *Outcome, u Units) {
	lo, _, top := SpeedsOf(r)
	if o == nil || !Finite(top) {
		w.Feel = "What will change cannot be told from this log."
		return
	}
	var s []string
	now, then := ShareNow(r, top), ShareOf(o.Share, top)
	if now.Known() && then.Known() {
		d := now.Value - then.Value
		verb := "about as much on the front foot as today"
		if d > 0.015 {
			verb = "less weight on the front foot"
		} else if d < -0.015 {
			verb = "more weight on the front foot"
		}
		s = append(s, fmt.Sprintf("At %s: %s, about %s instead of %s.", u.SpeedText(top), verb, Percent(then.Value), Percent(now.Value)))
	}
	nl, tl := ShareNow(r, lo), ShareOf(o.Share, lo)
	if nl.Known() && tl.Known() && math.Abs(nl.Value-tl.Value) > 0.03 && u.SpeedText(lo) != u.SpeedText(top) {
		s = append(s, fmt.Sprintf("At %s: %s instead of %s.", u.SpeedText(lo), Percent(tl.Value), Percent(nl.Value)))
	}
	if k := Firmness(r, o, u); k != "" {
		s = append(s, k)
	}
	w.Feel = strings.Join(s, " ")
	if w.Feel == "" {
		w.Feel = "Little will feel different after this step."
	}
}

// firmness says how the step changes the way that the board holds its pitch.
func Firmness(r *analysis.Result, o *Outcome, u Units) string {
	_, _, top := SpeedsOf(r)
	now, then := Loose(Within(r, StiffnessNow(r)), u), Loose(Within(r, o.Stiffness), u)
	holds := StiffnessAt(o.Stiffness, top)
	less := o.Livelier || o.Ratio.Known() && (o.Ratio.High < 1 || o.Ratio.Value < 0.9)
	more := o.Ratio.Known() && (o.Ratio.Low > 1 || o.Ratio.Value > 1.1)
	var s string
	switch {
	case then == "" && now != "":
		return fmt.Sprintf("The board will hold its pitch (nose up and down) by itself at all your speeds; today it probably does not %s.", now)
	case then != "":
		s = NoHold(then, then == now, " (nose up and down)") + ": your feet must correct all the time."
		if then != now {
			s += fmt.Sprintf(" Today that is so %s.", Choose(now == "", "at none of your speeds", now))
		}
	}
	switch {
	case less && holds.Known() && holds.Value <= 0:
	case less && s != "":
		s += fmt.Sprintf(" At %s it answers your feet faster than today: livelier.", u.SpeedText(top))
	case less:
		s = "The board answers your feet faster in pitch (nose up and down): it feels livelier."
	case more && s != "":
		s += fmt.Sprintf(" At %s it holds its pitch more firmly than today.", u.SpeedText(top))
	case more:
		s = "The board holds its pitch (nose up and down) more firmly: it feels calmer and slower to answer."
	}
	return s
}

// noHold says that the board does not hold its pitch by itself over a span of
// [loose], now or after the step.
func NoHold(span string, asNow bool, pitch string) string {
	switch {
	case span == EverySpeed && asNow:
		return "As today, the board probably does not hold its pitch" + pitch + " by itself at any of your speeds"
	case span == EverySpeed:
		return "The board will probably not hold its pitch" + pitch + " by itself at any of your speeds"
	case asNow:
		return "As today, " + span + " the board probably does not hold its pitch" + pitch + " by itself"
	}
	return UpperFirst(span) + " the board will probably not hold its pitch" + pitch + " by itself"
}

// asToday says how the board holds its pitch when nothing changes, "" where it
// does so at all speeds.
func asToday(r *analysis.Result, u Units) string {
	if s := Loose(Within(r, StiffnessNow(r)), u); s != "" {
		return " " + NoHold(s, true, "") + ": your feet must correct all the time."
	}
	return ""
}

// mind picks the Cautions that matter most for this step.
func Mind(r *analysis.Result, o *Outcome, u Units) string {
	a := r.Advice
	shim := Finite(float64(a.Shim)) && a.Shim != 0
	screws := "One small step a session. Then log again."
	switch {
	case a.TakeOut || r.Setup != nil && r.Setup.Foil.Stabilizer.Shim*float64(a.Shim) < 0:
		screws = "Without the shim the screws reach deeper. Check that they do not hit the bottom before they hold, and tighten them to the maker's torque."
	case shim:
		screws = "A shim uses up screw length. Check that the screws still hold as deep as the maker asks and tighten them to the maker's torque."
	case Finite(float64(a.MoveNow)) && a.MoveNow != 0:
		screws = "After the move, tighten the mast's screws to the maker's torque and check them again after the first run."
	}
	if o == nil {
		return screws
	}
	if then := Loose(Within(r, o.Stiffness), u); then != "" {
		return NoHold(then, then == Loose(Within(r, StiffnessNow(r)), u), "") + ". Go up in speed in small steps, and stop when your feet cannot keep up. " + screws
	}
	if shim && o.Livelier {
		return "The board will be clearly livelier at speed: work up to your top speed in small steps. " + screws
	}
	return screws
}

// heavy says in words how a share feels; 45 to 55 % is even.
func Heavy(share float64) string {
	switch p := math.Round(100 * share); {
	case p > 60:
		return "front-heavy"
	case p > 55:
		return "a little front-heavy"
	case p < 40:
		return "back-heavy"
	case p < 45:
		return "a little back-heavy"
	}
	return "even"
}

// today says how the load stands now.
func Today(r *analysis.Result, u Units) string {
	lo, _, top := SpeedsOf(r)
	a, b := ShareNow(r, lo), ShareNow(r, top)
	if !a.Known() || !b.Known() {
		return ""
	}
	s := fmt.Sprintf("Today the front foot carries about %s of the load at %s", Percent(a.Value), u.SpeedText(lo))
	one := u.SpeedText(lo) == u.SpeedText(top)
	if !one {
		s += fmt.Sprintf(" and %s at %s", Percent(b.Value), u.SpeedText(top))
	}
	slow, fast := Heavy(a.Value), Heavy(b.Value)
	switch d := b.Value - a.Value; {
	case one && slow == "even":
		return s + ": close to even (50 %)."
	case one:
		return s + ": " + slow + "."
	case slow == "even" && fast == "even":
		if v, worst := farthest(r); Heavy(worst) != "even" {
			return s + fmt.Sprintf(": close to even there, but %s at %s.", Percent(worst), u.SpeedText(v))
		}
		return s + ": close to even (50 %)."
	case fast == "front-heavy" && d > 0.06:
		return s + ": it gets heavy as you go faster."
	case fast == "back-heavy" && d < -0.06:
		return s + ": the back foot gets heavy as you go faster."
	case slow == fast:
		return s + ": " + slow + " all the time."
	case slow == "even":
		return s + ": " + fast + " at the top speed."
	case fast == "even":
		return s + ": " + slow + " at low speed, even at the top."
	}
	return s + ": " + slow + " at low speed, " + fast + " at the top."
}

// farthest is where the load is farthest from even, over the speeds that count.
func farthest(r *analysis.Result) (speed, share float64) {
	lo, _, top := SpeedsOf(r)
	share = 0.5
	for _, p := range r.FootLoad {
		if v := float64(p.Speed); v >= lo && v <= top && p.FrontShare.Known() && math.Abs(p.FrontShare.Value-0.5) > math.Abs(share-0.5) {
			speed, share = v, p.FrontShare.Value
		}
	}
	return speed, share
}

// percentChance prints a chance, never as a certainty.
func Chance(p float64) string {
	switch {
	case !Finite(p):
		return Unknown
	case p > 0.99:
		return "over 99" + NBSP + "%"
	case p < 0.01:
		return "under 1" + NBSP + "%"
	}
	return Percent(p)
}
