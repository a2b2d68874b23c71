package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
)

// keepOrCheck is what to do where no step is taken and nothing more is asked.
func (u Units) keepOrCheck(r *analysis.Result) string {
	a := r.Advice
	n := a.Next
	switch n.Kind {
	case advice.KeepTrim:
		if a.EvennessNow.Value <= evenEnough {
			return "Keep the trim as it is: the load is about even over these speeds."
		}
		return "Keep the trim as it is: no step in reach would surely gain enough to be worth its trouble."
	case advice.SayNotes:
		return fmt.Sprintf("Change nothing yet: no note of feel checks what the setup and the model say. First note how the load feels on the feet at %s.", u.speeds(n.Speeds))
	case advice.SaySpeeds:
		return "Say which speeds matter: log a session or give --range."
	case advice.CheckConflict:
		return "Change nothing yet: first check " + u.Conflict(*n.Conflict) + "."
	case advice.CheckLoad:
		s := fmt.Sprintf("Change nothing yet: first check the setup. At %s it puts %s of the load on the front foot, which nobody can hold", u.SpeedText(n.Speed), Percent(n.Share))
		if n.Key != "" {
			s += "; most likely " + n.Key + " makes it so"
		}
		return s + "."
	case advice.CheckChange:
		return "Change nothing yet: first check that the change was made as the second setup says (" + strings.Join(u.Changed(n.Changed), "; ") + "), and the notes of feel."
	case advice.ShimsShort:
		return fmt.Sprintf("Shims cannot balance this foil: the stabilizer would have to turn by %+.1f°, and four cards give %+.1f°.", n.Turn*radian, n.Limit*radian)
	case advice.TrackShort:
		return fmt.Sprintf("This board and foil do not fit this rider: the mast would have to stand %s than %s.", u.further(n.Move), limit(r))
	case advice.LoadVaries:
		return "This foil does not balance under this rider over these speeds: the load changes with speed more than shims and moves can even out."
	}
	return Clean(string(n.Kind))
}

// evenEnough is how far off even, as a share, a rider takes as even.
const evenEnough = 0.06

// Reason says why the advice is what it is.
func (u Units) Reason(x advice.Reason, r *analysis.Result) string {
	switch x.Kind {
	case advice.InConflict:
		return "Two things that should agree are further apart than chance explains. In doubt: " + u.Conflict(*x.Conflict) + ". The intervals are wider for it."
	case advice.Stops:
		return u.stops(x, r)
	case advice.Unsteady:
		return u.unsteady(x, r)
	case advice.BothAtOnce:
		return "Two changes at once, where one is the rule: neither the card nor the move alone surely helps, only the two together."
	case advice.WholeCard:
		goes := ""
		if math.Abs(x.Move) >= 0.01 {
			goes = fmt.Sprintf(" that goes with the foil %s, and until then", u.further(x.Move))
		}
		return fmt.Sprintf("The card turns it by %.1f°, more than the best trim's %.1f°:%s a whole card comes nearest to even%s.", math.Abs(x.Turn)*radian, x.Limit*radian, goes,
			Choose(x.Larger, "", " (half a card is not on offer where one turns so little)"))
	case advice.PositionOnly:
		return "For a beginner the advice is the foil's position only: shims come when straight flight is steady."
	case advice.MoreCards:
		return fmt.Sprintf("All the way is about %.1f cards. Take one card a session, log again, and let the new log say whether to go on.", x.Cards)
	case advice.PartOfTheWay:
		return fmt.Sprintf("This move is a part of the way: the foil would best go %s in all. A step moves it %s at most. Log again, and let the new log say whether to go on.", u.way(x.Move), u.LengthText(x.Limit))
	case advice.NoBestPair:
		return "Over these speeds the load hardly tells a turn of the stabilizer from a move of the foil, so no best pair is given. Log a wider range of speeds."
	case advice.BestBeyond:
		says := fmt.Sprintf("The best load of all would have the mast %s than %s.", u.further(x.Move), limit(r))
		if turn := math.Abs(x.Turn) * radian; turn >= 0.05 {
			says += fmt.Sprintf(" Within that, the best is the stabilizer's leading edge %.1f° %s.", turn, Choose(x.Turn < 0, "down", "up"))
		}
		return says
	case advice.FeetRest:
		return fmt.Sprintf("All the way is longer than the track: it gives %s of %s, and both feet %s would be the rest.", u.LengthText(x.Limit), u.way(x.Move), u.further(x.Feet))
	case advice.NoShimSpan:
		return "foil.stabilizer.shim_span_mm is not known, so the turn of a card is not known either: no shim is advised."
	case advice.NoLogger:
		return u.noLogger(x, r)
	case advice.TrackAssumed:
		t := r.Setup.Board.Track
		return fmt.Sprintf("board.track_cm is not given: a track that slides %s back and %s forward is assumed. Measure how far the mast can slide before you rely on it.", u.LengthText(-t[0]), u.LengthText(t[1]))
	case advice.Unchecked:
		return "No note of feel checks this step: it rests on the setup and the model alone. Note how the feet feel before the change and after it, at the same speeds."
	case advice.TurnNeeded:
		return fmt.Sprintf("What would help: a stabilizer mount or a tapered shim that turns it by %+.1f° (+ leading edge up) in all.", x.Turn*radian)
	case advice.BestPlace:
		p, t := *x.Place, r.Setup.Board.Track
		return fmt.Sprintf("The best place for the mast is %s of today's (90 %%: from %s to %s). The track gives %s back and %s forward.",
			u.way(p.Value), u.way(p.Low), u.way(p.High), u.LengthText(-t[0]), u.LengthText(t[1]))
	case advice.RoomNeeded:
		return fmt.Sprintf("What would help: a track (or another board) that lets the mast stand %s, or both feet %s.", u.further(x.Move), u.further(x.Feet))
	case advice.LeftUneven:
		return fmt.Sprintf("At the best that is in reach the front foot's share is still %s percentage points away from even.", Between(*x.Off, 100, 0))
	case advice.OtherStabilizer:
		return fmt.Sprintf("A stabilizer a quarter %s (about %s) would bring it to %.0f.", Choose(x.Larger, "larger", "smaller"), Area(x.Area, u), 100*x.Share)
	case advice.StanceByHeight:
		return fmt.Sprintf("The feet are free, so the stance is taken %s wide, as the height asks; give front and back to say otherwise.", u.LengthText(x.Width))
	}
	return Clean(string(x.Kind))
}

// stops says why the best trim is not more even than it is.
func (u Units) stops(x advice.Reason, r *analysis.Result) string {
	wants := "the advice asks for no more of it"
	if x.Left > 0 {
		wants = fmt.Sprintf("the advice wants %s or more of it left", Fixed(x.Left*u.perSpeed(), 1))
	}
	return fmt.Sprintf("It stops there because a load that is even at every speed steadies nothing: at %s the front foot then %s with each %s, which slows a board that runs faster, and for %s %s.",
		u.SpeedText(x.Speed), u.Gains(*x.Gradient), u.SpeedName(), levelOf(r), wants)
}

// unsteady says that the trim leaves less than the rider's level wants.
func (u Units) unsteady(x advice.Reason, r *analysis.Result) string {
	s := fmt.Sprintf("%s leaves less steadiness than %s needs: at %s the front foot %s with each %s",
		Choose(r.Advice.Verdict == advice.Change, "This step", "This trim"), levelOf(r), u.SpeedText(x.Speed), u.Gains(*x.Gradient), u.SpeedName())
	if x.Left > 0 {
		return s + fmt.Sprintf(", and should gain %s or more.", Fixed(x.Left*u.perSpeed(), 1))
	}
	return s + ", and should lose none."
}

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
func (u Units) Observation(o advice.Observation) string {
	switch o.Kind {
	case advice.NoteFeel:
		return "Note how the load feels on the feet at " + u.speeds(o.Speeds)
	case advice.RideCard:
		return fmt.Sprintf("Ride once with one card %s %s, and note the feel at %s", Choose(o.TakeOut, "less", "more"), placeAt(o.Mount, o.Edge), u.speeds(o.Speeds))
	case advice.FindNulls:
		var at []string
		for _, x := range o.Places {
			if x == 0 {
				at = append(at, "where it is")
			} else {
				at = append(at, u.way(x))
			}
		}
		return "Find the speed at which the load feels even with the foil " + Listed(at)
	case advice.MeasureAngle:
		return fmt.Sprintf("Measure the stabilizer's angle to the wing with an angle gauge on both chord lines, to %.1f°", o.SD*radian)
	case advice.BalanceBoard:
		return "Balance the board with its foil on an edge and measure where, to " + u.lengthRound(o.SD)
	case advice.LevelLogger:
		return fmt.Sprintf("Let the logger lie still for 10 s with the deck level before the ride, and measure the wing's angle to the deck to %.1f°", o.SD*radian)
	case advice.LogMotion:
		return "Log a session with a motion sensor fixed to the board"
	}
	return Clean(string(o.Kind))
}

// noted says that the setup holds a note of feel at each of the speeds, m/s.
func noted(r *analysis.Result, speeds []float64) bool {
	const near = 0.5 // m/s, a knot
	return r.Setup != nil && !slices.ContainsFunc(speeds, func(v float64) bool {
		return !slices.ContainsFunc(r.Setup.Feel, func(f setup.Feel) bool { return math.Abs(f.Speed-v) <= near })
	})
}

// tryOut words a run on another trim as what it is: the advised card itself,
// or an experiment that is undone.
func (u Units) tryOut(r *analysis.Result, o advice.Observation) string {
	switch a := r.Advice; {
	case o.Kind != advice.RideCard:
		return "As an experiment: " + LowerFirst(u.Observation(o)) + ", then put it back as it was"
	case a.Verdict == advice.Change && a.Cards != 0:
		return fmt.Sprintf("Ride with the advised card %s (this one, not a second) and note the feel at %s", Choose(o.TakeOut, "out", "in"), u.speeds(o.Speeds))
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
	return fmt.Sprintf(" At %s the front foot would carry about %s instead of %s.", u.SpeedText(o.Speeds[len(o.Speeds)-1]), Percent(o.Then.Value), Percent(o.Now.Value))
}

// buys is what one observation would do for the doubt, "" for next to nothing.
func (u Units) buys(r *analysis.Result, o advice.Observation) string {
	now, then := float64(o.ShimSDNow), float64(o.ShimSD)
	if !Finite(now) || !Finite(then) || then > hardlyNarrower*now {
		return ""
	}
	what := u.Observation(o)
	if o.ChangesTrim {
		what = u.tryOut(r, o)
	}
	return fmt.Sprintf("%s: the doubt of the best stabilizer angle shrinks by %s.", what, Percent(1-then/now))
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
