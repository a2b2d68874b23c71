package words

import (
	"cmp"
	"fmt"
	"strings"

	"evenfoot/analysis/trim"
)

// farSigmas is how far an unknown must be to be called far outside.
const farSigmas = 4.0

var conflictBook = newBook("conflict")

// Conflict says which input disagrees with the rest, and what to check.
func (u Units) Conflict(c trim.Conflict) string {
	where := ""
	if c.Outing > 0 {
		where = " of " + earlier(c.Title, c.Outing)
	}
	can := u.can()
	can["where"] = func() string { return where }
	can["strained"] = func() string { return u.strained(c) }
	return cmp.Or(conflictBook.say(string(c.Kind), c, can), string(c.Kind))
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
		return u.Keyed(keyNamed(x.Key), v)
	}
	s := fmt.Sprintf("the %s: the evidence asks for %s where %s %s, %s what the setup allows", x.Name, value(c.Asked),
		Choose(x.Default, "the default is", "the setup says"), value(c.Stated), Choose(c.Sigmas >= farSigmas, "far outside", "outside"))
	if x.Key != "" {
		s += fmt.Sprintf(" (check %s%s)", x.Key, Choose(c.Unusual, ", which is hardly ever so large or small: is it the right number, in the right unit?", ""))
	}
	return s
}
