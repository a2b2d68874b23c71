package report

import (
	"errors"
	"io"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

// A compared is what is set side by side, for the page and the terminal: athletes
// by their latest session, or the sessions of one athlete.
type compared struct {
	*analysis.Comparison
	Only    *advice.BeforeAfter // the judgement of two sessions of one athlete, nil for others
	u       words.Units
	all     []contender
	lo, top float64 // the speeds that all have, m/s; NaN without
}

// A contender is one of those that are compared.
type contender struct {
	*words.Sheet
	Key, Name string // Key is "A", "B", ..., "AA"
}

func (c contender) label(room int) string { return c.Key + "  " + words.CleanTo(c.Name, room) }

func newCompared(c *analysis.Comparison, u words.Units) (*compared, error) {
	if len(c.Results) < 2 {
		return nil, errors.New("comparing needs at least two sessions")
	}
	p := &compared{Comparison: c, Only: onlyChange(c), u: u, lo: math.Inf(-1), top: math.Inf(1)}
	rs, name := each(c.Athletes, analysis.Athlete.Last), AthleteName
	if p.oneAthlete() {
		rs, name = c.Athletes[0].Sessions, words.Title
	}
	for i, r := range rs {
		x := contender{u.Sheet(r), letters(i), name(r)}
		p.all = append(p.all, x)
		if words.Finite(x.Lo) && len(r.FootLoad) > 0 {
			p.lo, p.top = math.Max(p.lo, x.Lo), math.Min(p.top, x.Top)
		}
	}
	if !(p.top > p.lo) || math.IsInf(p.lo, -1) {
		p.lo, p.top = math.NaN(), math.NaN()
	}
	return p, nil
}

// onlyChange is the judgement of two sessions of one athlete, nil for others.
func onlyChange(c *analysis.Comparison) *advice.BeforeAfter {
	if len(c.Results) == 2 && len(c.Athletes) == 1 {
		return c.Athletes[0].Changes[0].Judged
	}
	return nil
}

func (p *compared) oneAthlete() bool { return len(p.Athletes) == 1 }

// Drag is what became of the drag between two sessions of one athlete.
func (p *compared) Drag() string {
	if len(p.Results) != 2 || !p.oneAthlete() {
		return ""
	}
	return p.u.DragChange(p.Athletes[0].Changes[0].Drag)
}

// Title is what is compared, Head the answer in a sentence.
func (p *compared) Title() string {
	if n := len(p.Athletes); n > 1 {
		return words.UpperFirst(words.Plural(n, "athlete")) + " side by side"
	}
	return words.UpperFirst(words.Plural(len(p.Results), "session")) + " compared"
}

func (p *compared) Head() string {
	known := slices.DeleteFunc(slices.Clone(p.all), func(x contender) bool { return !x.OffEven().Known() })
	says := struct {
		Change          string
		Known           int
		One             bool // athlete
		First, Last, To contender
	}{Known: len(known), One: p.oneAthlete()}
	if p.Only != nil {
		says.Change = words.VerdictHead(p.Only)
	}
	if len(known) > 0 {
		says.First, says.Last = known[0], known[len(known)-1]
		says.To = slices.MinFunc(known, func(a, b contender) int { return words.MostToGain(a.Result, b.Result) })
	}
	return p.u.Tell("compared", says)
}

// AthleteName is what a coach knows an athlete by.
func AthleteName(r *analysis.Result) string {
	if r.Setup != nil {
		if n := words.Clean(r.Setup.Rider.Name); n != "" {
			return n
		}
	}
	return words.Title(r)
}

// letters numbers sessions as A to Z, AA and so on.
func letters(i int) string {
	s := ""
	for i++; i > 0; i = (i - 1) / 26 {
		s = string(rune('A'+(i-1)%26)) + s
	}
	return s
}

// share is today's front share at a speed.
func (c contender) share(v float64) interval.Interval {
	p, _ := words.LoadAt(c.Result, v)
	return words.Possible(p.FrontShare)
}

// slope is the pitch that lift needs, degrees per 100 cm² of lift area.
func (c contender) slope() interval.Interval {
	if c.PitchLaw == nil || !c.PitchLaw.Enough {
		return interval.Unknown()
	}
	return c.PitchLaw.Slope.Scale(0.01)
}

// best is the best 10 s in the reader's unit.
func (p *compared) best(c contender) interval.Interval {
	if !(c.BestSpeeds.TenSeconds > 0) {
		return interval.Unknown()
	}
	return interval.Exact(p.u.SpeedValue(float64(c.BestSpeeds.TenSeconds)))
}

// A comparePage is what the template shows.
type comparePage struct {
	paper
	*compared
	Next, Mind string // what to do after a change, and the caution that belongs to it
	Team       []mate
	Seasons    []season
	All        *table
	Parts      []*table // of each log with changes
	Diffs      *table   // nil where each is somebody else
}

// A mate is one athlete's line, or one session's.
type mate struct {
	Name, Of, Sheet string
	Cells           []words.Fact
}

// cellKind is how a cell is laid out: the step takes a line of its own on a
// phone, and what is long everywhere.
func cellKind(name string) string {
	switch name {
	case "Next step":
		return "step"
	case "Mind", "Warning", "Changed", "What it did", "Drag":
		return "long"
	}
	return ""
}

// A season is an athlete's sessions, what was changed between them, and what
// that did.
type season struct {
	Name     string
	Sessions []mate
}

// CompareHTML writes a page that sets sessions, or athletes, side by side.
func CompareHTML(w io.Writer, c *analysis.Comparison, o Options) error {
	p := &comparePage{paper: newPaper(o)}
	var err error
	if p.compared, err = newCompared(c, p.U); err != nil {
		return err
	}
	sheet := func(r *analysis.Result) string {
		if i := slices.Index(c.Results, r); i < len(o.Sheets) {
			return o.Sheets[i]
		}
		return ""
	}
	if p.Only != nil {
		p.Next, p.Mind = p.U.NextOf(c.Athletes[0].Last())
	}
	for _, a := range c.Athletes {
		if len(a.Sessions) > 1 && p.Only == nil {
			p.Seasons = append(p.Seasons, p.seasonOf(a, sheet))
		}
	}
	if !p.oneAthlete() {
		for _, a := range slices.SortedStableFunc(slices.Values(c.Athletes), func(a, b analysis.Athlete) int { return words.MostToGain(a.Last(), b.Last()) }) {
			p.Team = append(p.Team, p.mateOf(a, sheet(a.Last())))
		}
	}
	p.Figures, p.All = p.figures(), p.table()
	for _, r := range c.Results {
		if len(r.Parts) > 0 {
			p.Parts = append(p.Parts, partsTable(r, p.U))
		}
	}
	if p.oneAthlete() {
		p.Diffs = p.differences()
	}
	return render(w, "compare.html", p)
}

// Taken are the keys that were measured in one session and hold for the others too.
func (p *comparePage) Taken() []string {
	var keys []string
	for _, r := range p.Results {
		for _, n := range analysis.Notes(r.Session.Warnings, analysis.SizesTaken) {
			keys = append(keys, n.Keys...)
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// Cautions are those for every time, but for what a judged change says itself.
func (p *comparePage) Cautions() []string {
	if p.Only != nil && p.Only.Next != nil {
		return words.EveryTime(p.Only.Next.Shim != 0, p.Only.Next.MoveNow != 0, false)
	}
	return words.EveryTime(false, false, false)
}

// mateOf is an athlete's line, by the latest session.
func (p *compared) mateOf(a analysis.Athlete, sheet string) mate {
	r := a.Last()
	s, w := p.u.Sheet(r), words.For(r, p.u)
	m := mate{Name: AthleteName(r), Of: dayOf(r), Sheet: sheet}
	if m.Name != w.Title {
		m.Of = strings.TrimPrefix(m.Of+", "+w.Title, ", ")
	}
	m.Cells = slices.Concat(p.u.Facts("numbers", s), []words.Fact{{Name: "Season", Value: trend(a)}}, p.step(s, w, p.u.Tell("overshoot", s)))
	for _, f := range words.Warned(r) {
		m.Cells = append(m.Cells, words.Fact{Name: "Warning", Value: words.Sentence(p.u.Say(f))})
	}
	return m
}

// step is the next step, how sure it is, what would make it surer, and what to mind.
func (p *compared) step(s *words.Sheet, w words.Answer, mind string) []words.Fact {
	return p.u.Facts("next step", struct {
		words.Answer
		*words.Sheet
		Mind string
	}{w, s, mind})
}

// trend is how far off even the load was, session by session.
func trend(a analysis.Athlete) string {
	const most = 5
	var all []string
	for _, r := range a.Sessions[max(0, len(a.Sessions)-most):] {
		if r.Advice != nil && r.Advice.EvennessNow.Known() {
			all = append(all, words.Fixed(100*r.Advice.EvennessNow.Value, 0))
		}
	}
	if len(all) < 2 {
		return "–"
	}
	return words.Choose(len(a.Sessions) > most, "… ", "") + strings.Join(all, ", ") + " %"
}

// dayOf is when a session was, "" where that is not known.
func dayOf(r *analysis.Result) string {
	if t := r.Session.Start; t != nil && !t.IsZero() {
		return t.UTC().Format("2 Jan 2006")
	}
	return ""
}

// seasonOf is every session of an athlete, every change between them, and where
// nothing else tells it the next step.
func (p *compared) seasonOf(a analysis.Athlete, sheet func(*analysis.Result) string) season {
	s := season{Name: AthleteName(a.Last())}
	for i, r := range a.Sessions {
		x := p.u.Sheet(r)
		m := mate{Name: words.Title(r), Of: dayOf(r), Sheet: sheet(r), Cells: p.u.Facts("numbers", x)}
		if i > 0 {
			m.Cells = append(p.u.Facts("change", a.Changes[i-1]), m.Cells...)
		}
		if p.oneAthlete() && r == a.Last() {
			w := words.For(r, p.u)
			m.Cells = append(m.Cells, p.step(x, w, w.Mind)...)
		}
		s.Sessions = append(s.Sessions, m)
	}
	return s
}
