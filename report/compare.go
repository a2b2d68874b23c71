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

var errTooFew = errors.New("comparing needs at least two sessions")

// CompareHTML writes a page that sets sessions, or athletes, side by side.
func CompareHTML(w io.Writer, c *analysis.Comparison, o Options) error {
	if len(c.Results) < 2 {
		return errTooFew
	}
	return render(w, "compare.html", newComparePage(c, o))
}

// A contender is one of those that are compared, in printing units: an
// athlete's latest session, or each session where there is one athlete.
type contender struct {
	r        *analysis.Result
	Key      string // "A", "B", ..., "AA"
	Name     string
	off      interval.Interval // even, percent of the load
	low, top interval.Interval // front share at the common speeds, percent
	slope    interval.Interval // degrees per 100 cm² of lift area
	tacks    interval.Interval // starboard minus port, degrees
	best     float64           // best 10 s, printing unit
}

type comparePage struct {
	Title    string
	Head     string
	Basis    string // whose evidence the numbers rest on
	Verdict  *verdictPart
	Team     []mate
	Seasons  []season
	Figures  []*figure
	All      *table
	Parts    []*table // of each log with changes
	Diffs    *table   // nil where each is somebody else
	Cautions []string
	Version  string
	Made     string
	LeftOut  []analysis.LeftOut
}

// A mate is one athlete's line.
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

// A verdictPart says whether a change did what was expected.
type verdictPart struct {
	Says    string
	Changed []string
	Rows    *table
	Next    string
	Mind    string // the caution that belongs to it
	Drag    string // what became of the drag, "" without glides in both
}

func newComparePage(c *analysis.Comparison, o Options) *comparePage {
	u := o.Units.OrDefault()
	cs, lo, top := contenders(c, u)
	p := &comparePage{LeftOut: c.LeftOut, Title: comparedTitle(c), Head: compareHead(c, cs), Cautions: words.EveryTime(false, false, false), Version: words.Clean(o.Version)}
	if !o.Now.IsZero() {
		p.Made = o.Now.Format("2 January 2006")
	}
	p.Basis = "Each session counts in the earlier sessions of the same rider and foil that are on this page."
	var taken []string
	for _, r := range c.Results {
		for _, n := range analysis.Notes(r.Session.Warnings, analysis.SizesTaken) {
			taken = append(taken, n.Keys...)
		}
	}
	if slices.Sort(taken); len(taken) > 0 {
		p.Basis += " " + u.Tell("sizes of one", slices.Compact(taken))
	}
	sheet := func(r *analysis.Result) string {
		if i := slices.Index(c.Results, r); i < len(o.Sheets) {
			return o.Sheets[i]
		}
		return ""
	}
	if b := onlyChange(c); b != nil {
		p.Verdict = verdictFor(b, c.Athletes[0].Last(), u)
		p.Verdict.Drag = u.DragChange(c.Athletes[0].Changes[0].Drag)
		if a := b.Next; a != nil {
			p.Cautions = words.EveryTime(a.Shim != 0, a.MoveNow != 0, false)
		}
	} else {
		for _, a := range c.Athletes {
			if len(a.Sessions) > 1 {
				p.Seasons = append(p.Seasons, seasonOf(a, sheet, len(c.Athletes) == 1, u))
			}
		}
	}
	if len(c.Athletes) > 1 {
		for _, a := range slices.SortedStableFunc(slices.Values(c.Athletes), func(a, b analysis.Athlete) int { return words.MostToGain(a.Last(), b.Last()) }) {
			p.Team = append(p.Team, mateOf(a, sheet(a.Last()), u))
		}
	}
	ms := measures(u, lo, top)
	if b := onlyChange(c); b != nil {
		ms[0].apart = u.Tell("apart", b)
	}
	p.Figures = compareFigures(cs, ms, u)
	p.All = compareTable(c, cs, ms, u)
	for _, r := range c.Results {
		if len(r.Parts) > 0 {
			p.Parts = append(p.Parts, partsTable(r, u))
		}
	}
	if len(c.Athletes) == 1 {
		p.Diffs = diffTable(cs, ms, u)
	}
	return p
}

// onlyChange is the judgement of two sessions of one athlete, nil for others.
func onlyChange(c *analysis.Comparison) *advice.BeforeAfter {
	if len(c.Results) == 2 && len(c.Athletes) == 1 {
		return c.Athletes[0].Changes[0].Judged
	}
	return nil
}

func comparedTitle(c *analysis.Comparison) string {
	if n := len(c.Athletes); n > 1 {
		return words.UpperFirst(words.Plural(n, "athlete")) + " side by side"
	}
	return words.UpperFirst(words.Plural(len(c.Results), "session")) + " compared"
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

// contenders reads the numbers that are compared, at speeds that all have.
func contenders(c *analysis.Comparison, u words.Units) (cs []contender, lo, top float64) {
	var rs []*analysis.Result
	name := AthleteName
	for _, a := range c.Athletes {
		rs = append(rs, a.Last())
	}
	if len(c.Athletes) == 1 {
		rs, name = c.Athletes[0].Sessions, words.Title
	}
	lo, top = math.Inf(-1), math.Inf(1)
	for _, r := range rs {
		if a, _, b := words.SpeedsOf(r); words.Finite(a) && len(r.FootLoad) > 0 {
			lo, top = math.Max(lo, a), math.Min(top, b)
		}
	}
	if !(top > lo) {
		lo, top = math.NaN(), math.NaN()
	}
	for i, r := range rs {
		c := contender{r: r, Key: letters(i), Name: name(r), off: interval.Unknown(), slope: interval.Unknown(), tacks: u.Sheet(r).Tacks(), best: math.NaN()}
		if r.Advice != nil {
			c.off = r.Advice.EvennessNow.Scale(100)
		}
		c.low, c.top = shareAt(r, lo).Scale(100), shareAt(r, top).Scale(100)
		if l := r.PitchLaw; l != nil && l.Enough {
			c.slope = l.Slope.Scale(0.01)
		}
		if v := float64(r.BestSpeeds.TenSeconds); words.Finite(v) && v > 0 {
			c.best = u.SpeedValue(v)
		}
		cs = append(cs, c)
	}
	return cs, lo, top
}

// shareAt is today's front share at a speed.
func shareAt(r *analysis.Result, v float64) interval.Interval {
	p, _ := words.LoadAt(r, v)
	return words.Possible(p.FrontShare)
}

// letters numbers sessions as A to Z, AA and so on.
func letters(i int) string {
	s := ""
	for i++; i > 0; i = (i - 1) / 26 {
		s = string(rune('A'+(i-1)%26)) + s
	}
	return s
}

func (c contender) label(room int) string { return c.Key + "  " + words.CleanTo(c.Name, room) }

// compareHead is the answer in a sentence.
func compareHead(c *analysis.Comparison, cs []contender) string {
	known := slices.DeleteFunc(slices.Clone(cs), func(x contender) bool { return !x.off.Known() })
	says := struct {
		Change, First, Gains string // of a change; who comes first, and gains most
		Known                int
		One                  bool // athlete
		From, To             interval.Interval
		Now, After           float64
	}{Known: len(known), One: len(c.Athletes) == 1}
	if b := onlyChange(c); b != nil {
		says.Change = words.VerdictHead(b)
	}
	if len(known) > 0 {
		says.First, says.From, says.To = known[0].Name, known[0].off, known[len(known)-1].off
		most := slices.MinFunc(known, func(a, b contender) int { return words.MostToGain(a.r, b.r) })
		if words.Gain(most.r) > 0 {
			says.Gains, says.Now, says.After = most.Name, most.r.Advice.EvennessNow.Value, most.r.Advice.EvennessAfter.Value
		}
	}
	return words.Units{}.Tell("compared", says)
}

// mateOf is an athlete's line, by the latest session.
func mateOf(a analysis.Athlete, sheet string, u words.Units) mate {
	r := a.Last()
	s, w := u.Sheet(r), words.For(r, u)
	m := mate{Name: AthleteName(r), Of: dayOf(r), Sheet: sheet}
	if m.Name != w.Title {
		m.Of = strings.TrimPrefix(m.Of+", "+w.Title, ", ")
	}
	m.Cells = slices.Concat(u.Facts("numbers", s), []words.Fact{{Name: "Season", Value: trend(a)}}, stepOfAthlete(s, w, u))
	if mind := u.Tell("overshoot", s); mind != "" {
		m.Cells = append(m.Cells, words.Fact{Name: "Mind", Value: mind})
	}
	for _, f := range r.Session.Warnings {
		m.Cells = append(m.Cells, words.Fact{Name: "Warning", Value: words.Sentence(u.Say(f))})
	}
	return m
}

// stepOfAthlete is the next step, how sure it is, and what would make it surer.
func stepOfAthlete(s *words.Sheet, w words.Answer, u words.Units) []words.Fact {
	return u.Facts("next step", struct {
		words.Answer
		*words.Sheet
	}{w, s})
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
func seasonOf(a analysis.Athlete, sheet func(*analysis.Result) string, next bool, u words.Units) season {
	s := season{Name: AthleteName(a.Last())}
	for i, r := range a.Sessions {
		m := mate{Name: words.Title(r), Of: dayOf(r), Sheet: sheet(r), Cells: u.Facts("numbers", u.Sheet(r))}
		if i > 0 {
			m.Cells = append(u.Facts("change", a.Changes[i-1]), m.Cells...)
		}
		if next && r == a.Last() {
			w := words.For(r, u)
			m.Cells = append(append(m.Cells, stepOfAthlete(u.Sheet(r), w, u)...), words.Fact{Name: "Mind", Value: w.Mind})
		}
		s.Sessions = append(s.Sessions, m)
	}
	return s
}

func verdictFor(b *advice.BeforeAfter, after *analysis.Result, u words.Units) *verdictPart {
	v := &verdictPart{Says: u.Judgement(b)}
	for _, c := range u.Changed(b.Changed) {
		v.Changed = append(v.Changed, words.Sentence(c))
	}
	if len(b.Rows) > 0 {
		v.Rows = &table{Caption: "What the outing before foretold and what the outing after shows, with 90 % intervals", Head: []string{"quantity", "unit", "foretold", "seen", "so"}}
		for _, r := range b.Rows {
			pred, seen, unit := r.Predicted, r.Observed, r.Unit
			if unit == "m/s" {
				k := u.SpeedValue(1)
				pred, seen, unit = pred.Scale(k), seen.Scale(k), u.SpeedName()
			}
			d := words.DigitsFor(5 * math.Max(math.Abs(seen.Value), math.Abs(seen.High-seen.Low)))
			v.Rows.add(quantity(r, u), words.Clean(unit), dash(words.Between(pred, 1, d)), words.Between(seen, 1, d), words.Clean(string(r.Outcome)))
		}
	}
	v.Next, v.Mind = u.NextOf(after)
	return v
}

// quantity names a row's quantity so that a level and a change are told apart.
func quantity(c advice.Comparison, u words.Units) string {
	switch c.Kind {
	case advice.ShareChange:
		return u.Row(c)
	case advice.ShareAfter:
		return u.Row(c) + ", as noted after the change"
	}
	return "change of the " + u.Row(c)
}

// dash is how a table shows what is not known.
func dash(s string) string { return words.Choose(s == words.Unknown, "–", s) }

// A measure is one number that sessions are compared by, in printing units.
type measure struct {
	id, title, axis string // of its figure; "" for none
	head            string // of its column
	digits          int
	of              func(contender) interval.Interval
	apart           string // how surely the two differ, where more than their intervals tells
}

// measures are those that can be had: front shares only at speeds that all have.
func measures(u words.Units, lo, top float64) []measure {
	ms := []measure{
		{"even", "How far the load is from even", "percent of the load away from even", "load off even, % of the load", 0, func(c contender) interval.Interval { return c.off }, ""},
		{"slope", "Pitch needed for lift, without the rider's weight", "degrees per 100 cm² of lift area", "pitch per 100 cm² of lift area, degrees", 2, func(c contender) interval.Interval { return c.slope }, ""},
		{"tacks", "Difference between the tacks", "starboard minus port, degrees of pitch", "starboard minus port, degrees", 1, func(c contender) interval.Interval { return c.tacks }, ""},
	}
	if words.Finite(lo) {
		ms = slices.Insert(ms, 1,
			measure{"", "", "", "front share at " + u.SpeedText(lo) + ", %", 0, func(c contender) interval.Interval { return c.low }, ""},
			measure{"attop", "Front share at " + u.SpeedText(top) + ", which all rode", "front share, %", "front share at " + u.SpeedText(top) + ", %", 0, func(c contender) interval.Interval { return c.top }, ""})
	}
	return ms
}

func compareTable(c *analysis.Comparison, cs []contender, ms []measure, u words.Units) *table {
	t := &table{Caption: "All in numbers", Head: []string{"letter", "name", "day", "rider", "advice", "on the foil, min", "best 10 s, " + u.SpeedName()}}
	for _, m := range ms {
		t.Head = append(t.Head, m.head)
	}
	for _, c := range cs {
		verdict, rider := "–", ""
		if c.r.Advice != nil {
			verdict = words.Clean(c.r.Advice.Verdict)
		}
		if c.r.Setup != nil {
			rider = u.RiderText(c.r.Setup)
		}
		cells := []string{c.Key, words.Title(c.r), dayOf(c.r), rider, verdict, dash(words.Fixed(float64(c.r.Totals.Foiling)/60, 0)), dash(words.Fixed(c.best, 1))}
		for _, m := range ms {
			cells = append(cells, dash(words.Between(m.of(c), 1, m.digits)))
		}
		t.add(cells...)
	}
	return t
}

// partsTable is a log's parts, each with its own trim.
func partsTable(r *analysis.Result, u words.Units) *table {
	t := &table{Caption: "The parts of " + words.Title(r) + ", the trim as it counts from the start", Head: []string{"when, UTC", "trim", "on the foil", "as marked there, with 90 % intervals"}}
	for _, p := range r.Parts {
		when, trim, flown, felt := u.Part(p)
		t.add(when, trim, flown, felt)
	}
	return t
}

// diffTable is every session minus the first, in what has a figure.
func diffTable(cs []contender, ms []measure, u words.Units) *table {
	ms = slices.DeleteFunc(slices.Clone(ms), func(m measure) bool { return m.id == "" })
	t := &table{Caption: "The difference of each session from session A, with 90 % intervals", Head: []string{"session"}}
	for _, m := range ms {
		t.Head = append(t.Head, m.head)
	}
	t.Head = append(t.Head, "best 10 s, "+u.SpeedName())
	for _, c := range cs[1:] {
		cells := []string{c.label(26)}
		for _, m := range ms {
			cells = append(cells, dash(words.Between(minus(m.of(c), m.of(cs[0])), 1, m.digits)))
		}
		t.add(append(cells, dash(words.Fixed(c.best-cs[0].best, 1)))...)
	}
	return t
}

// minus is a minus b, two numbers that know nothing of each other.
func minus(a, b interval.Interval) interval.Interval {
	if !a.Known() || !b.Known() {
		return interval.Unknown()
	}
	return interval.Normal(a.Value-b.Value, math.Hypot(a.SD(), b.SD()))
}
