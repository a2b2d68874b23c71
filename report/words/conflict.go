package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis/trim"
)

// farSigmas is how far an unknown must be to be called far outside.
const farSigmas = 4.0

// Conflict says which input disagrees with the rest, and what to check.
func (u Units) Conflict(c trim.Conflict) string {
	where := ""
	if c.Outing > 0 {
		where = " of " + earlier(c.Title, c.Outing)
	}
	share := func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }
	switch c.Kind {
	case trim.SlopeKind:
		return fmt.Sprintf("the slope of the pitch law%s: it asks for a foil that lifts %s %s than the setup's (check foil.wing.area_cm2, foil.wing.span_cm, rider.mass_kg, and that the logger sits firmly on the board)",
			where, Percent(math.Abs(c.Asked/c.Stated-1)), Choose(c.Asked < c.Stated, "less", "more"))
	case trim.ZeroKind:
		return fmt.Sprintf("the pitch at zero lift%s: %.1f° measured, %.1f° from the setup (check foil.wing.incidence_deg and that the board was level in the still stretch)", where, c.Asked*radian, c.Stated*radian)
	case trim.NotePairKind:
		return fmt.Sprintf("the notes of feel%s, which contradict each other: %s on the front foot at %s, but %s at %s", where, share(c.OtherShare), u.SpeedText(c.OtherSpeed), share(c.Asked), u.SpeedText(c.Speed))
	case trim.UnknownKind:
		return u.strained(c)
	case trim.NullKind:
		return fmt.Sprintf("the mark of an even load%s at %s: all the rest says %s on the front foot", where, u.SpeedText(c.Speed), share(c.Stated))
	case trim.MeasuredKind:
		return fmt.Sprintf("the measured load%s at %s: %s on the front foot, all the rest says %s", where, u.SpeedText(c.Speed), share(c.Asked), share(c.Stated))
	}
	return fmt.Sprintf("the note of feel%s at %s: it says %s on the front foot, all the rest says %s", where, u.SpeedText(c.Speed), share(c.Asked), share(c.Stated))
}

// earlier names the n-th earlier session, from 1.
func earlier(title string, n int) string {
	if title == "" {
		return fmt.Sprintf("earlier session %d", n)
	}
	return "“" + Clean(title) + "”"
}

// strained says what the evidence asks of an unknown.
func (u Units) strained(c trim.Conflict) string {
	x := c.Unknown
	value := func(v float64) string {
		if x.Key == "" || strings.HasSuffix(x.Key, "_percent") {
			return fmt.Sprintf("%.3g %s", v*x.Scale, x.Unit)
		}
		return u.keyed(x.Key, v)
	}
	s := fmt.Sprintf("the %s: the evidence asks for %s where %s %s, %s what the setup allows", x.Name, value(c.Asked),
		Choose(x.Default, "the default is", "the setup says"), value(c.Stated), Choose(c.Sigmas >= farSigmas, "far outside", "outside"))
	if x.Key != "" {
		s += fmt.Sprintf(" (check %s)", x.Key)
	}
	return s
}
