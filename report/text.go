package report

import (
	"fmt"
	"io"
	"strings"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// TextOptions say how the terminal's answer is laid out.
type TextOptions struct {
	Units words.Units
	Color bool // bold and dim; the words carry the meaning without
}

// limitsShown is how many reasons and limits go onto a terminal.
const limitsShown = 3

// textLines and textColumns are how large the answer on a terminal may be.
const textLines, textColumns = 24, 80

// Text writes the advice in words, in 24 lines of 80 columns where the cautions
// leave room: what these do not hold goes by whole sentences, the least needed
// first, and the last line says so.
func Text(w io.Writer, r *analysis.Result, o TextOptions) error {
	u := o.Units.OrDefault()
	t := newTextPage(o)
	x, other := words.For(r, u), words.ForOther(r, u)
	owner, walk := "", ""
	if other != nil { // who was asked for
		owner, walk, x = other.Owner+" on the same foil: "+x.Short(), other.Walk, other.Words
		x.Head = "For " + other.Name + ": " + x.Head
	}
	t.head(x.Title)
	t.row("", x.Head, vital)
	t.row("So far", x.SoFar, vital)
	t.row("Today", x.Today, vital)
	for _, s := range x.Steps {
		switch {
		case s.Kind == "ride":
			t.row(s.Name, s.Do, vital)
		case !s.Said:
			t.row(s.Name, strings.TrimSpace(s.Do+" "+s.How), vital)
		case s.Kind == "log":
			t.row("Then", s.How, vital)
		}
	}
	t.row(x.SureTag, x.Sure, needed)
	limits := x.Limits[:min(limitsShown, len(x.Limits))]
	why := "Why"
	if x.Calm {
		t.row(why, limits[0], needed)
		limits, why = limits[1:], ""
	}
	t.row("Feel", x.Feel, needed)
	t.row("Mind", x.Mind, uncut)
	t.row("Owner", words.UpperFirst(owner), vital)
	t.row("", walk, useful)
	t.row("Rests on", x.Carried, vital)
	t.row("Evidence", x.Evidence, useful)
	for i, l := range limits {
		t.row(words.Choose(i == 0, why, ""), l, words.Choose(i == 0 && !x.Calm, useful, spare))
	}
	if p := x.Plan.Trials; len(p) > 0 {
		t.row("To be surer", p[0].Do+" "+p[0].Tells+words.Choose(u.Forms, " “Plan the next outing” says how.", " evenfoot plan says how."), spare)
	}
	t.row("Ridden", u.Tell("ridden in short", u.Sheet(r)), useful)
	if n := len(words.Warned(r)); n > 0 {
		t.row("Warnings", words.UpperFirst(words.Plural(n, "warning"))+words.Choose(u.Forms, ", listed below.", "; the page lists them."), spare)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// PlanText writes the next outing, to be taken to the water.
func PlanText(w io.Writer, r *analysis.Result, o TextOptions) error {
	t := newTextPage(o)
	u := o.Units.OrDefault()
	p := words.For(r, u).Plan
	t.head("The next outing: " + words.Title(r))
	if len(p.Trials) == 0 {
		t.row("", "Nothing that could be marked or measured would narrow the answer.", vital)
	}
	if len(p.Trials) > 0 {
		t.row("Trim", p.Trim, vital)
	}
	for i, x := range p.Trials {
		t.list(words.Choose(i == 0, "Best", "Or"), append([]string{x.Do + " " + x.Tells}, x.How...))
	}
	t.list("Mind", p.Mind)
	if x := u.GlideProtocol(r); x != nil {
		t.list("Top end", append(append([]string{x.Do + " " + x.Tells}, x.How...), u.TellAll("top speed", nil)[0]))
	}
	t.list("Remember?", p.Ask)
	if len(p.Ask) > 0 {
		t.row("", words.Choose(o.Units.Forms, "Choose below what you remember.", "Write what you remember into the setup: [[mark]] with at = the time and front = the feel."), vital)
	}
	_, err := io.WriteString(w, t.all())
	return err
}

// plain keeps to signs that every terminal has.
var plain = strings.NewReplacer("±", "+/-", "−", "-", "²", "2", "→", "->", "°", " deg")

// How much a row is needed on a terminal.
const (
	uncut = iota // cautions
	vital
	needed
	useful // and may go altogether
	spare
)

// A textPage lays labelled rows out in two columns.
type textPage struct {
	color bool
	whole bool // every row is one line, with all signs: another page breaks it
	rows  []textRow
}

// A textRow is one row, or a line that is already laid out.
type textRow struct {
	label, text string
	need        int
	line        string
}

func newTextPage(o TextOptions) *textPage {
	return &textPage{color: o.Color, whole: o.Units.Forms}
}

const labelWidth = 14

func (t *textPage) style(code, s string) string {
	if !t.color || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

func (t *textPage) head(s string) {
	lines := words.Wrap(s, textColumns)
	t.add(t.style("1", lines[0]))
}

// row takes a label and its text, to be wrapped under one another.
func (t *textPage) row(label, s string, need int) {
	if s != "" {
		t.rows = append(t.rows, textRow{label: label, text: s, need: need})
	}
}

// list takes rows under one label.
func (t *textPage) list(label string, all []string) {
	for i, s := range all {
		t.row(words.Choose(i == 0, label, ""), s, vital)
	}
}

// add takes a line as it is.
func (t *textPage) add(s string) {
	t.rows = append(t.rows, textRow{line: strings.TrimRight(s, " ")})
}

// lines is how many lines are taken.
func (t *textPage) lines() int {
	n := 0
	for i := range t.rows {
		n += len(t.layout(i))
	}
	return n
}

// layout is a row's lines.
func (t *textPage) layout(i int) []string {
	r := t.rows[i]
	if r.text == "" {
		return []string{r.line}
	}
	var out []string
	label := r.label
	if len(label) > labelWidth-2 {
		out, label = append(out, t.style("2", label)), ""
	}
	for _, l := range words.Wrap(plain.Replace(r.text), textColumns-labelWidth) {
		if i == 1 && r.label == "" {
			l = t.style("1", l)
		}
		out = append(out, t.style("2", label)+strings.Repeat(" ", labelWidth-len(label))+l)
		label = ""
	}
	return out
}

// fit shortens the rows until they go into limit lines: the last sentences of
// the rows that are needed least go first. What is needed keeps one sentence.
func (t *textPage) fit(limit int) {
	for need := spare; need >= vital; need-- {
		for i := len(t.rows) - 1; i > 0; i-- {
			for t.rows[i].need == need && t.rows[i].text != "" && t.lines() > limit {
				short := withoutLast(t.rows[i].text)
				if short == "" && need <= needed {
					break
				}
				if short == "" {
					t.rows = append(t.rows[:i], t.rows[i+1:]...)
					break
				}
				t.rows[i].text = short
			}
		}
	}
}

// withoutLast is a text without its last sentence.
func withoutLast(s string) string {
	return s[:max(strings.LastIndex(s, ". "), strings.LastIndex(s, "? "))+1]
}

func (t *textPage) String() string {
	if t.lines() <= textLines {
		return t.all()
	}
	t.fit(textLines - 1)
	return t.all() + fmt.Sprintf("%-*s%s", labelWidth, "More", "The page says the rest.\n")
}

// all is every line.
func (t *textPage) all() string {
	var out []string
	for i, r := range t.rows {
		if t.whole && r.text != "" {
			out = append(out, fmt.Sprintf("%-*s%s", labelWidth, r.label+"  ", r.text))
			continue
		}
		out = append(out, t.layout(i)...)
	}
	return strings.Join(out, "\n") + "\n"
}
