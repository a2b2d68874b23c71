package words

import (
	"embed"
	"fmt"
	"strings"
	"text/template"
)

// The sentences stand in files of their own, a line for each kind of finding:
// the kind, a colon, and the sentence as a template. [book.say] fills it in.
//
//go:embed sentences
var sentences embed.FS

// A book is the sentences of one package's findings by their kind.
type book map[string]string

func newBook(name string) book {
	b := book{}
	text, _ := sentences.ReadFile("sentences/" + name + ".txt") // a missing one is found by every test
	for line := range strings.Lines(string(text)) {
		if kind, says, ok := strings.Cut(strings.TrimSpace(line), ": "); ok && !strings.HasPrefix(kind, "#") {
			b[kind] = says
		}
	}
	return b
}

// say is the sentence of a kind about x, with what the template may call; ""
// where the book has none.
func (b book) say(kind string, x any, can template.FuncMap) string {
	t, err := template.New(kind).Funcs(can).Parse(b[kind])
	if err != nil {
		return err.Error() // a test says every sentence
	}
	var s strings.Builder
	if err := t.Execute(&s, x); err != nil {
		return err.Error()
	}
	return s.String()
}

// can is what the sentences of all books may call, in the reader's units.
func (u Units) can() template.FuncMap {
	return template.FuncMap{
		"say": u.Say, "speed": u.SpeedText, "fine": u.SpeedFine, "length": u.LengthText, "clock": sinceStart, "span": fromTo,
		"deg":   func(rad float64, digits int) string { return fmt.Sprintf("%.*f°", digits, rad*radian) },
		"round": func(v float64) string { return fmt.Sprintf("%.0f", v) },
		"ahead": func(s float64) string { return fmt.Sprintf("%+.1f", s) },
		"hours": func(s float64) string { return fmt.Sprintf("%.0f", s/3600) },
	}
}
