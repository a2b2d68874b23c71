package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
)

// Lack says what a log does not give and the pitch law needs.
func (u Units) Lack(l pitchlaw.Lack) string {
	have, need := float64(l.Have), float64(l.Need)
	switch l.Kind {
	case pitchlaw.NoFlight:
		return "straight flight with the board's attitude and GPS speed: none was found"
	case pitchlaw.NoSpeed:
		return "GPS speed during straight flight: none was found"
	case pitchlaw.ShortFlight:
		return fmt.Sprintf("time in straight flight: %.0f s, at least %.0f s are needed", have, need)
	case pitchlaw.UnsteadyFlight:
		var why []string
		for _, r := range l.Reasons {
			why = append(why, Reason(r))
		}
		return fmt.Sprintf("steady flight: only %.0f s, of the %.0f s that are needed, are free of %s", have, need, strings.Join(why, ", "))
	case pitchlaw.FewReaches:
		return fmt.Sprintf("straight reaches: %.0f of %d s or more, at least %.0f are needed", have, pitchlaw.LeastReach, need)
	case pitchlaw.NarrowSpeeds:
		return fmt.Sprintf("a spread of speeds: the fastest, %s, are too near the slowest to tell a slope; %s would do", u.SpeedFine(have), u.SpeedFine(need))
	case pitchlaw.OneTack:
		return "reaches on " + l.Tack + " tack: the line stands for the other tack alone"
	case pitchlaw.OneCourse:
		return fmt.Sprintf("reaches the other way: the courses all lie about %03.0f° and the tacks are not known, so the tacks' difference and the water's flow hide in the line", have*radian)
	case pitchlaw.PitchRises:
		return "pitch that falls as the speed rises: the log shows none, so the sensor or its mount is in doubt"
	case pitchlaw.VagueSlope:
		return fmt.Sprintf("time at clearly different speeds: the slope is known to ±%.0f %% only", 100*interval.Z90*have)
	case pitchlaw.Undetermined:
		return "a spread of speeds: the stretches of flight are too alike to draw a line through"
	case pitchlaw.NoAgreement:
		return "more straight flight: too few stretches agree"
	}
	return string(l.Kind)
}

// Bend says how the pitch departs from the straight line; "" when that does
// not matter.
func Bend(b pitchlaw.Bend) string {
	if !b.Matters {
		return ""
	}
	up, size := b.Size.Value > 0, math.Abs(b.Size.Value)*radian
	switch b.Kind {
	case pitchlaw.Curvature:
		return fmt.Sprintf("The law is bent: at both ends of the speed range the pitch lies %.1f° %s the straight line. Depth, ventilation or lift beyond the linear range can do this.", size, Choose(up, "above", "below"))
	case pitchlaw.TackDifference:
		return fmt.Sprintf("On %s tack the board flies %.1f° more bow-up than on %s at the same load: stance, leeway or a sensor that is not square to the board.",
			Choose(up, "starboard", "port"), size, Choose(up, "port", "starboard"))
	case pitchlaw.Drift:
		return fmt.Sprintf("The pitch %s by %.1f° per hour at the same load: a mount that moves, water in the board, or a rider who tires.", Choose(up, "rose", "fell"), size)
	}
	return ""
}

// Reason says why a stretch of flight counts for less.
func Reason(r pitchlaw.Reason) string {
	if r == "" {
		return "far from the rest"
	}
	return string(r)
}

// flowDoubt is the 1σ, m/s, above which the flow along a line is called unknown.
const flowDoubt = 0.3

// Flow says along which line the log cannot tell the water's flow, and whether
// the flow turned; "" when there is nothing to say.
func (u Units) Flow(f *pitchlaw.Fit) string {
	if f == nil || f.FlowSource == "given" || !f.Slope.Known() {
		return ""
	}
	var s []string
	if f.FlowDoubt > flowDoubt {
		bearing := f.FlowAxis * radian
		s = append(s, fmt.Sprintf("The headings are too few to tell the water's flow along the line %03.0f°–%03.0f° (±%s); a reach on another heading would.",
			bearing, bearing+180, u.SpeedFine(interval.Z90*f.FlowDoubt)))
	}
	for k, way := range []string{"east", "north"} {
		if t := f.FlowTurns[k]; t.Known() && t.Low*t.High > 0 {
			s = append(s, fmt.Sprintf("The water's flow to the %s %s by %s per hour (%s to %s).", way, Choose(t.Value > 0, "rose", "fell"),
				u.SpeedFine(math.Abs(t.Value)), u.SpeedFine(min(math.Abs(t.Low), math.Abs(t.High))), u.SpeedFine(max(math.Abs(t.Low), math.Abs(t.High)))))
		}
	}
	return strings.Join(s, " ")
}
