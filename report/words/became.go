package words

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/ingest/raw"
)

// What became of each mark and each glide, by why it does not count.
var becameBook = newBook("became")

// ofDay is when something was: the time of day, or since the log's start.
func ofDay(t *time.Time, at interval.Number) string {
	if t == nil {
		return Clock(float64(at))
	}
	return hours(*t) + " UTC"
}

// hours is a time of day as the setup takes it.
func hours(t time.Time) string { return t.UTC().Format("15:04:05") }

// Mark says what a mark was and what became of it.
func (u Units) Mark(m mark.Mark) (when, what, became string) {
	what = Choose(m.Kind == mark.Answer, "noted in the setup", MarkName(m.Kind))
	if Finite(float64(m.Speed)) {
		what += ", " + u.SpeedText(float64(m.Speed))
	}
	if m.Tack != "" {
		what += ", " + m.Tack + " tack"
	}
	return ofDay(m.Time, m.At), what, becameBook.say(u, cmp.Or(string(m.Why), Choose(m.Even, "even", "note")), m)
}

// Glide says what a glide was and what became of it.
func (u Units) Glide(g glide.Glide) (when, what, became string) {
	if Finite(float64(g.From)) {
		what = fmt.Sprintf("%.0f s, %s to %s, course %03.0f°", float64(g.End-g.Start), u.SpeedFine(float64(g.From)), u.SpeedFine(float64(g.To)), float64(g.Course))
	}
	return ofDay(g.Time, g.Start), what, becameBook.say(u, cmp.Or(string(g.Why), "glide"), g)
}

// MarkLines are the setup's lines that say what each mark meant, to be corrected.
func MarkLines(marks []mark.Mark) string {
	var out []string
	for _, m := range marks {
		if m.Time != nil && m.Kind != mark.Answer && m.Kind != raw.Knock {
			out = append(out, fmt.Sprintf("[[mark]]\nat = %q\nfront = %q", hours(*m.Time), Choose(m.Means == "", "nothing", strings.TrimSuffix(Clean(m.Means), " on the front foot"))))
		}
	}
	return strings.Join(slices.Compact(out), "\n")
}

// GlideLines are the setup's lines for what looks like a glide and was not named.
func GlideLines(glides []glide.Glide) string {
	var out []string
	for _, g := range glides {
		if g.Time != nil && g.Why == glide.Unconfirmed {
			end := g.Time.Add(time.Duration(float64(g.End-g.Start) * float64(time.Second)))
			out = append(out, fmt.Sprintf("[[glide]]\nfrom = %q\nto = %q", hours(*g.Time), hours(end)))
		}
	}
	return strings.Join(out, "\n")
}
