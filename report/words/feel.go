package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
)

// feel says what the rider will notice of the next step.
func feel(r *analysis.Result, u Units) string {
	lo, _, top := SpeedsOf(r)
	at, ok := LoadAt(r, top)
	if !ok {
		return "What will change cannot be told from this log."
	}
	var s []string
	if now, then := at.FrontShare, at.FrontShareAfter; now.Known() && then.Known() {
		verb := "about as much on the front foot as today"
		switch d := now.Value - then.Value; {
		case d > 0.015:
			verb = "less weight on the front foot"
		case d < -0.015:
			verb = "more weight on the front foot"
		}
		s = append(s, fmt.Sprintf("At %s: %s, %s instead of %s.", u.SpeedText(top), verb, about(then.Value), Percent(now.Value)))
	}
	slow, _ := LoadAt(r, lo)
	if now, then := slow.FrontShare, slow.FrontShareAfter; now.Known() && then.Known() && math.Abs(now.Value-then.Value) > 0.03 && u.SpeedText(lo) != u.SpeedText(top) {
		s = append(s, fmt.Sprintf("At %s: %s instead of %s.", u.SpeedText(lo), Percent(then.Value), Percent(now.Value)))
	}
	if now, then := r.Advice.GradientNow, r.Advice.GradientAfter; now.Known() && then.Known() && math.Abs(then.Value-now.Value) > noticed {
		where := "at " + u.SpeedText(top)
		if u.SpeedText(lo) == u.SpeedText(top) && len(s) > 0 {
			where = "there" // one speed, which is said
		}
		s = append(s, fmt.Sprintf("%s: %s the front foot then %s of the load with each %s, where today it %s.",
			Choose(then.Value < now.Value, "Livelier at speed", "Calmer at speed"), where, u.Gains(then), u.SpeedName(), u.gainsAbout(now.Value)))
	}
	if len(s) == 0 {
		return "Little will feel different after this step."
	}
	return strings.Join(s, " ")
}

// noticed is the change of the speed gradient from which on a rider may notice
// it, points of the load per knot (no source).
const noticed = 0.25

// Gains says a speed gradient (% of the load per knot) per unit of the reader's speed:
// "gains 1.6 % (0.3 to 3.1)", words instead of signs where it may be below
// zero.
func (u Units) Gains(g interval.Interval) string {
	return u.gainsAbout(g.Value) + rangeOf(u.Gradient(g), 1, "lost", "gained")
}

// gainsAbout is the same without its doubt.
func (u Units) gainsAbout(perKnot float64) string {
	return Choose(perKnot < 0, "loses ", "gains ") + in(math.Abs(perKnot)*u.perSpeed(), 1, "%")
}

// perSpeed turns what is per knot into what is per unit of the reader's speed.
func (u Units) perSpeed() float64 { return 3600.0 / 1852 / u.SpeedValue(1) }

// GradientUnit is the unit of a speed gradient of the front share.
func (u Units) GradientUnit() string { return "% of the load per " + u.SpeedName() }

// Gradient is a speed gradient (points per knot) in the reader's unit.
func (u Units) Gradient(perKnot interval.Interval) interval.Interval {
	return perKnot.Scale(u.perSpeed())
}

// rare is a chance of overshoot that is not worth a caution.
const rare = 0.10

// asToday warns of a load that falls with speed when nothing changes, "" where
// it hardly does.
func asToday(r *analysis.Result, u Units) string {
	if s := Overshoot(r, u); s != "" {
		return s + " "
	}
	return ""
}

// Overshoot warns of a load on the front foot that falls with speed: where it
// does by the best guess, and at the top where that is not unlikely; "" for nowhere.
func Overshoot(r *analysis.Result, u Units) string {
	_, _, top := SpeedsOf(r)
	p := float64(r.Advice.Overshoot)
	return u.tell("overshoot", struct {
		Then, Both  string // where it falls after the step, and where today as well
		Top, Chance float64
		Likely      bool
	}{u.falls(r, func(p analysis.LoadPoint) float64 { return p.GradientAfter.Value }),
		u.falls(r, func(p analysis.LoadPoint) float64 { return math.Max(p.Gradient.Value, p.GradientAfter.Value) }), top, p, p > rare && Finite(top)})
}

// falls names the speeds that count at which the gradient is below zero, "" for none.
func (u Units) falls(r *analysis.Result, gradient func(analysis.LoadPoint) float64) string {
	const same = 0.02 // m/s
	lo, _, top := SpeedsOf(r)
	var runs []string
	for i := 0; i < len(r.FootLoad); i++ {
		below := func(k int) bool {
			p := r.FootLoad[k]
			return float64(p.Speed) > lo-same && float64(p.Speed) < top+same && gradient(p) < 0
		}
		from := i
		for i < len(r.FootLoad) && below(i) {
			i++
		}
		if i > from {
			a, b := u.SpeedText(float64(r.FootLoad[from].Speed)), u.SpeedText(float64(r.FootLoad[i-1].Speed))
			runs = append(runs, Choose(a == b, "at "+a, "from "+a+" to "+b))
		}
	}
	return Listed(runs)
}

// screwCare is what to mind of the screws that a change loosens: those of the
// stabilizer by a shim that goes in or out, those of the mast by a move.
func screwCare(shim, out, move bool) string {
	return Units{}.tell("screws", struct{ Shim, Out, Move bool }{shim, out, move})
}

// Mind picks the cautions that matter most for this step.
func Mind(r *analysis.Result, u Units) string {
	a := r.Advice
	shim := Finite(float64(a.Shim)) && a.Shim != 0
	out := a.TakeOut || r.Setup != nil && r.Setup.Foil.Stabilizer.Shim*float64(a.Shim) < 0
	screws := screwCare(shim, out, Finite(float64(a.MoveNow)) && a.MoveNow != 0)
	if s := Overshoot(r, u); s != "" {
		return s + " Go up in speed in small steps. " + screws
	}
	if a.GradientAfter.Value < a.GradientNow.Value-noticed {
		return "The board will be livelier at speed: work up to your top speed in small steps. " + screws
	}
	return screws
}

// heavy says in words how a share feels; 45 to 55 % is even.
func heavy(share float64) string {
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

// Today says how the load stands now.
func Today(r *analysis.Result, u Units) string { return u.carries("Today the front foot", r) }

// carries says how the load stands on a rider's front foot.
func (u Units) carries(foot string, r *analysis.Result) string {
	lo, _, top := SpeedsOf(r)
	slowest, _ := LoadAt(r, lo)
	fastest, _ := LoadAt(r, top)
	a, b := slowest.FrontShare, fastest.FrontShare
	if !a.Known() || !b.Known() {
		return ""
	}
	s := fmt.Sprintf("%s carries %s of the load at %s", foot, about(a.Value), u.SpeedText(lo))
	one := u.SpeedText(lo) == u.SpeedText(top)
	if !one {
		s += fmt.Sprintf(" and %s at %s", Percent(b.Value), u.SpeedText(top))
	}
	slow, fast := heavy(a.Value), heavy(b.Value)
	switch d := b.Value - a.Value; {
	case one && slow == "even":
		return s + ": close to even (50 %)."
	case one:
		return s + ": " + slow + "."
	case slow == "even" && fast == "even":
		if v, worst := farthest(r); heavy(worst) != "even" {
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

// even says that the load is even at every speed that counts, and by the mean.
func even(r *analysis.Result) bool {
	lo, _, top := SpeedsOf(r)
	slowest, _ := LoadAt(r, lo)
	fastest, _ := LoadAt(r, top)
	_, worst := farthest(r)
	for _, share := range []float64{slowest.FrontShare.Value, fastest.FrontShare.Value, worst} {
		if heavy(share) != "even" {
			return false
		}
	}
	return r.Advice.EvennessNow.Value <= evenEnough
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
