package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// CompareText writes the comparison for a terminal, at most 24 lines.
func CompareText(w io.Writer, c *analysis.Comparison, o TextOptions) error {
	u := o.Units.OrDefault()
	p, err := newCompared(c, u)
	if err != nil {
		return err
	}
	t := newTextPage(o)
	t.head(p.Title())
	t.row("", p.Head(), vital)
	if p.Only != nil {
		t.row("Why", u.Judgement(p.Only), needed)
	}
	if p.oneAthlete() {
		last := c.Athletes[0].Last()
		next, mind := u.NextOf(last)
		t.row("Next", next, vital)
		for _, s := range words.For(last, u).Steps {
			if s.Kind == "ride" && u.Sheet(last).Step() {
				t.row(s.Name, s.Do, vital)
			}
		}
		t.row("Mind", mind, uncut)
	}
	t.row("Drag", p.Drag(), vital)
	if !p.oneAthlete() {
		t.row("Mind", "One small step a session, at low speed first, in clear water, with helmet and vest. Each one's sheet says what to check.", uncut)
		slices.SortStableFunc(p.all, func(a, b contender) int { return words.MostToGain(a.Result, b.Result) })
		t.team(p)
	} else {
		t.sessions(p)
	}
	_, err = io.WriteString(w, t.String())
	return err
}

// short is a number in a table of the terminal.
func short(v float64, d int) string {
	return plain.Replace(words.Choose(words.Finite(v), words.Fixed(v, d), "-"))
}

// team is a line for each athlete, and under it the next step where there is room.
func (t *textPage) team(p *compared) {
	u := p.u
	const name = textColumns - 58
	row := func(name string, room int, cells ...any) string {
		return fmt.Sprintf("%-*s", room, name) + fmt.Sprintf("%6s%6s%13s%9s%7s%7s%10s", cells...)
	}
	t.add(t.style("2", row("athlete", name, "off", "after", "front, top", "gradient", "tacks", "10 s", "sure")))
	t.add(t.style("2", row("", name, "%", "%", "% at "+u.SpeedName(), "%/"+u.SpeedName(), "deg", u.SpeedName(), "")))
	var lines, steps [][]string
	for _, c := range p.all {
		after, gradient, front, sure := "-", "-", "-", "-"
		if a := c.Advice; a != nil {
			gradient = short(u.Gradient(a.GradientNow).Value, 1)
			if c.Step() {
				after, sure = short(100*a.EvennessAfter.Value, 0), plain.Replace(words.Percent(float64(a.ChanceBetter)))
			}
		}
		if c.Front().Known() {
			front = short(100*c.Front().Value, 0) + " at " + short(u.SpeedValue(c.Top), 0)
		}
		lines = append(lines, []string{row(words.CleanTo(c.Name, name-1), name, short(100*c.OffEven().Value, 0), after, front, gradient, short(math.Abs(c.Tacks().Value), 1), short(p.best(c).Value, 1), sure)})
		w := words.For(c.Result, u)
		steps = append(steps, words.Wrap(plain.Replace(w.Head+" "+w.SoFar), textColumns-1))
	}
	if t.lines()+len(lines)+len(slices.Concat(steps...)) <= textLines {
		for i := range lines {
			for _, s := range steps[i] {
				lines[i] = append(lines[i], " "+s)
			}
		}
	}
	for i, l := range lines {
		if left := textLines - t.lines(); left < len(l)+min(1, len(lines)-1-i) {
			t.add(fmt.Sprintf("and %d more; the page shows them all", len(lines)-i))
			break
		}
		for _, s := range l {
			t.add(s)
		}
	}
}

// partsShown is how many parts of a log go onto a terminal.
const partsShown = 5

// parts is a line for each part of a log with changes.
func (t *textPage) parts(r *analysis.Result, u words.Units) {
	if n := len(r.Parts); n > partsShown {
		t.add(fmt.Sprintf("  %d parts; the page shows them", n))
		return
	}
	for _, p := range r.Parts {
		when, trim, flown, felt := u.Part(p)
		t.add("  " + words.CleanTo(fmt.Sprintf("%s, %s, %s: %s", strings.ReplaceAll(when, "–", "-"), flown, trim, plain.Replace(felt)), textColumns-2))
	}
}

// sessions is a line for each session of one athlete, and what was changed before it.
func (t *textPage) sessions(p *compared) {
	u := p.u
	const name = 30
	line := "%-*s%10s%12s%10s%10s"
	ascii := func(v float64) string { return strings.ReplaceAll(u.SpeedFine(v), words.NBSP, " ") }
	did, wanted := make([][]string, len(p.all)), 2+len(p.all) // what was changed before each; lines
	for i, x := range p.all {
		if parts := len(x.Parts); parts > partsShown {
			wanted++
		} else {
			wanted += parts
		}
		if ch := p.Athletes[0].Changes; i > 0 && len(p.all) > 2 && ch[i-1].Judged != nil {
			did[i] = words.Wrap(plain.Replace(words.VerdictHead(ch[i-1].Judged)), textColumns-2)
		}
	}
	told := len(slices.Concat(did...))
	t.fit(max(textLines-wanted-told, textLines/2))
	room := textLines - t.lines() - wanted
	heads := []string{"", ""}
	if words.Finite(p.lo) {
		heads = []string{ascii(p.lo), ascii(p.top)}
	}
	t.add(t.style("2", fmt.Sprintf(line, name, "session", "off even", "front share", "", "best 10 s")))
	t.add(t.style("2", fmt.Sprintf(line, name, "", "from 50 %", heads[0], heads[1], u.SpeedName())))
	for i, x := range p.all {
		if left := textLines - t.lines(); left <= 1 && i < len(p.all)-1 {
			t.add(fmt.Sprintf("and %d more; the page shows them all", len(p.all)-i))
			break
		}
		for _, l := range did[i] {
			if room >= told {
				t.add("  " + l)
			}
		}
		t.add(fmt.Sprintf(line, name, words.CleanTo(x.Key+"  "+x.Name, name-1), short(100*x.OffEven().Value, 0), short(100*x.share(p.lo).Value, 0), short(100*x.share(p.top).Value, 0), short(p.best(x).Value, 1)))
		t.parts(x.Result, u)
	}
}
