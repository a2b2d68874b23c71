package report

import (
	"fmt"
	"io"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
)

// TextOptions say how the terminal's answer is laid out.
type TextOptions struct {
	Units Units
	Width int  // columns, 0 for 80
	Color bool // bold and dim; the words carry the meaning without
	// Before is the judgement of a change, for a comparison; nil for none.
	Before *advice.BeforeAfter
}

// textLines is how long the answer on a terminal may be.
const textLines = 24

// Text writes the advice in words, at most 24 lines at 80 columns.
func Text(w io.Writer, r *analysis.Result, o TextOptions) error {
	u := o.Units.orDefault()
	t := newTextPage(o)
	x := wordsFor(r, u)
	t.head(x.Title)
	t.row("", x.Head, 4)
	t.row("Today", upperFirst(strings.TrimPrefix(x.Today, "Today ")), 3)
	for _, s := range x.Steps {
		switch s.Kind {
		case "shim", "move", "feet": // the headline says it
		case "ride":
			t.row(s.Name, s.Do, 2)
		default:
			t.row(s.Name, s.Do+" "+s.How, 4)
		}
	}
	t.row(x.SureTag, x.Sure, 4)
	t.row("Feel", x.Feel, 4)
	t.row("Mind", x.Mind, 3)
	if p := otherFor(r, u); p != nil {
		t.row("Other rider", p.short(), 3)
	}
	for i, l := range x.Limits {
		if i == 2 {
			break
		}
		t.row(choose(i == 0, "Why", ""), l, 3)
	}
	if len(x.Buys) > 0 {
		t.row("To be surer", x.Buys[0], 3)
	}
	t.row("Ridden", ridden(r, u), 2)
	if n := len(r.Session.Warnings); n > 0 {
		t.row("Warnings", upperFirst(plural(n, "warning", "warnings"))+"; the page lists them.", 1)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// ridden is the session in one line.
func ridden(r *analysis.Result, u Units) string {
	t := r.Totals
	if t.Rides == 0 {
		return ""
	}
	s := fmt.Sprintf("%s on the foil in %s", minutes(float64(t.Foiling)), plural(t.Rides, "ride", "rides"))
	if d := u.distanceText(float64(t.Distance)); d != unknown {
		s += ", " + d
	}
	if v := u.speedFine(float64(r.BestSpeeds.TenSeconds)); v != unknown {
		s += ", best 10 s " + v
	}
	return s + "."
}

// plain keeps to signs that every terminal has.
var plain = strings.NewReplacer("±", "+/-", "−", "-", "²", "2", "→", "->", "σ", "sigma", "°", " deg")

// A textPage lays labelled rows out in two columns.
type textPage struct {
	width int
	color bool
	lines []string
}

func newTextPage(o TextOptions) *textPage {
	t := &textPage{width: o.Width, color: o.Color}
	if t.width <= 0 {
		t.width = 80
	}
	t.width = max(40, min(t.width, 120))
	return t
}

const labelWidth = 14

func (t *textPage) style(code, s string) string {
	if !t.color || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

func (t *textPage) head(s string) {
	lines := wrap(s, t.width)
	t.add(t.style("1", lines[0]))
}

// row writes a label and its text, wrapped under one another.
func (t *textPage) row(label, s string, limit int) {
	if s == "" {
		return
	}
	lines := wrap(plain.Replace(s), t.width-labelWidth)
	if len(lines) > limit {
		// Better the whole sentences that fit than half a one more.
		fits := strings.Join(lines[:limit], " ")
		if i := strings.LastIndex(fits, ". "); i >= len(fits)/2 {
			lines = wrap(fits[:i+1], t.width-labelWidth)
		}
	}
	if len(lines) > limit {
		lines = lines[:limit]
		last := lines[limit-1]
		if i := strings.LastIndexByte(last, ' '); i > 0 {
			last = last[:i]
		}
		lines[limit-1] = last + " ..."
	}
	if len(label) > labelWidth-2 {
		t.add(t.style("2", label))
		label = ""
	}
	for i, l := range lines {
		lab := ""
		if i == 0 {
			lab = label
		}
		pad := strings.Repeat(" ", labelWidth-len(lab))
		if label == "" && len(t.lines) <= 3 {
			l = t.style("1", l)
		}
		t.add(t.style("2", lab) + pad + l)
	}
}

func (t *textPage) add(s string) {
	if len(t.lines) < textLines {
		t.lines = append(t.lines, strings.TrimRight(s, " "))
	}
}

func (t *textPage) String() string { return strings.Join(t.lines, "\n") + "\n" }

// wrap breaks a text at spaces into lines of at most width runes; a word that
// is longer is cut.
func wrap(s string, width int) []string {
	var out []string
	line, n := "", 0
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' }) {
		r := []rune(strings.ReplaceAll(word, nbsp, " "))
		for len(r) > width {
			if n > 0 {
				out, line, n = append(out, line), "", 0
			}
			out, r = append(out, string(r[:width])), r[width:]
		}
		if n > 0 && n+1+len(r) > width {
			out, line, n = append(out, line), "", 0
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+string(r), n+len(r)
	}
	if n > 0 || len(out) == 0 {
		out = append(out, line)
	}
	return out
}
