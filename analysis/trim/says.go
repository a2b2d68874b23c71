package trim

import (
	"fmt"
	"strings"
)

const farSigmas = 4.0 // an unknown this far off is called far outside

// says is a conflict in plain words.
func (c Conflict) says(speed func(mps float64) string) string {
	where := ""
	if c.Outing > 0 {
		where = " of " + c.Title
	}
	switch c.Kind {
	case SlopeKind:
		return fmt.Sprintf("the slope of the pitch law%s: it asks for a lift area of %.2g m²/rad where the setup gives %.2g (check foil.wing.area_cm2, foil.wing.span_cm, rider.mass_kg, and that the logger sits firmly on the board)",
			where, c.Asked, c.Stated)
	case ZeroKind:
		return fmt.Sprintf("the pitch at zero lift%s: %.1f° measured, %.1f° from the setup (check foil.wing.incidence_deg and that the board was level in the still stretch)",
			where, c.Asked/deg, c.Stated/deg)
	case NotePairKind:
		return fmt.Sprintf("the notes of feel%s, which contradict each other: %.0f %% on the front foot at %s, but %.0f %% at %s",
			where, 100*c.OtherShare, speed(c.OtherSpeed), 100*c.Asked, speed(c.Speed))
	case UnknownKind:
		return c.strained()
	case NullKind:
		return fmt.Sprintf("the mark of an even load%s at %s: all the rest says %.0f %% on the front foot", where, speed(c.Speed), 100*c.Stated)
	case MeasuredKind:
		return fmt.Sprintf("the measured load%s at %s: %.0f %% on the front foot, all the rest says %.0f %%", where, speed(c.Speed), 100*c.Asked, 100*c.Stated)
	}
	return fmt.Sprintf("the note of feel%s at %s: it says %.0f %% on the front foot, all the rest says %.0f %%",
		where, speed(c.Speed), 100*c.Asked, 100*c.Stated)
}

// strained says what the evidence asks of an unknown.
func (c Conflict) strained() string {
	u := c.Unknown
	stated := "the setup says"
	if u.Default {
		stated = "the default is"
	}
	far := "outside"
	if c.Sigmas >= farSigmas {
		far = "far outside"
	}
	what := fmt.Sprintf("the %s: the evidence asks for %s where %s %s, %s what the setup allows", u.Name, u.written(c.Asked), stated, u.written(c.Stated), far)
	if u.Key != "" {
		what += fmt.Sprintf(" (check %s)", u.Key)
	}
	return what
}

// written is a value (SI) of the unknown as the setup's key writes it.
func (u *Unknown) written(v float64) string {
	for _, x := range []struct {
		ends, unit string
		scale      float64
	}{{"_cm2", " cm²", 1e4}, {"_cm", " cm", 100}, {"_mm", " mm", 1000}, {"_deg", "°", 1 / deg}, {"_fraction", "", 1}, {"_100n", " °/100 N", 100 / deg}} {
		if strings.HasSuffix(u.Key, x.ends) {
			return fmt.Sprintf("%.3g%s", v*x.scale, x.unit)
		}
	}
	return fmt.Sprintf("%.3g %s", v*u.Scale, u.Unit)
}
