package report

import (
	"errors"
	"fmt"
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

// CompareHTML writes a page that sets several sessions or riders side by side.
func CompareHTML(w io.Writer, rs []*analysis.Result, o Options) error {
	if len(rs) < 2 {
		return errTooFew
	}
	return render(w, "compare.html", newComparePage(rs, o))
}

// A contender is one session of a comparison, in printing units.
type contender struct {
	r        *analysis.Result
	Key      string // "A", "B", ..., "AA"
	Name     string
	Day      string
	Rider    string
	evenness interval.Interval // percent
	low, top interval.Interval // front share at the common speeds, percent
	slope    interval.Interval // degrees per 100 cm² of lift area
	tacks    interval.Interval // port less starboard, degrees
	best     float64           // best 10 s, printing unit
	minutes  float64
}

type comparePage struct {
	Title    string
	Head     string
	Basis    string // whose evidence the numbers rest on
	Verdict  *verdictPart
	Figures  []*figure
	All      *table
	Diffs    *table
	Cautions []string
	Version  string
	Made     string
}

const ownLogs = "In the table and the pictures each session is taken by its own log and notes. A sheet that counts earlier sessions in gives other numbers."

// A verdictPart says whether a change did what was foretold.
type verdictPart struct {
	Tag     string
	Says    string
	Changed []string
	Rows    *table
	Next    string
	Mind    string // the caution that belongs to it
}

func newComparePage(rs []*analysis.Result, o Options) *comparePage {
	before := o.Before
	u := o.Units.OrDefault()
	rs = inTime(rs, before)
	cs, lo, top := contenders(rs, u)
	p := &comparePage{Title: fmt.Sprintf("%s compared", words.UpperFirst(words.Plural(len(rs), "session"))), Cautions: words.EveryTime(false, false, false), Version: words.Clean(o.Version)}
	if !o.Now.IsZero() {
		p.Made = o.Now.Format("2 January 2006")
	}
	p.Head, p.Basis = compareHead(cs, before), ownLogs
	if before != nil {
		p.Verdict = verdictFor(before, rs[len(rs)-1], u)
		p.Basis += " The judgement above takes both together, and can tell more."
	}
	ms := measures(u, lo, top)
	p.Figures = compareFigures(cs, ms, u)
	p.All, p.Diffs = compareTable(cs, ms, u), diffTable(cs, ms, u)
	return p
}

// inTime puts the session before a change first, as the judgement does, so
// that A is before and B is after.
func inTime(rs []*analysis.Result, before *advice.BeforeAfter) []*analysis.Result {
	if before == nil || len(rs) != 2 {
		return rs
	}
	if a, b := rs[0].Session.Start, rs[1].Session.Start; a != nil && b != nil && a.After(*b) {
		return []*analysis.Result{rs[1], rs[0]}
	}
	return rs
}

// contenders reads the numbers that are compared, at speeds that all have.
func contenders(rs []*analysis.Result, u words.Units) (cs []contender, lo, top float64) {
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
		c := contender{r: r, Key: letters(i), Name: words.Title(r), evenness: interval.Unknown(), slope: interval.Unknown(), tacks: interval.Unknown(), best: math.NaN(), minutes: float64(r.Totals.Foiling) / 60}
		if t := r.Session.Start; t != nil && !t.IsZero() {
			c.Day = t.UTC().Format("2006-01-02")
		}
		if r.Setup != nil {
			c.Rider = words.Clean(r.Setup.Rider.Name)
			if c.Rider == "" {
				c.Rider = u.MassText(r.Setup.Rider.Mass)
			}
		}
		if r.Advice != nil {
			c.evenness = r.Advice.EvennessNow.Scale(100)
		}
		c.low, c.top = shareAt(r, lo).Scale(100), shareAt(r, top).Scale(100)
		if l := r.PitchLaw; l != nil && l.Enough {
			c.slope = l.Slope.Scale(0.01)
			if len(l.ByTack) > 1 {
				c.tacks = less(l.ByTack["port"], l.ByTack["starboard"])
			}
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

func (c contender) label() string { return c.Key + "  " + words.CleanTo(c.Name, 26) }

func compareHead(cs []contender, before *advice.BeforeAfter) string {
	if before != nil {
		return words.VerdictHead(before)
	}
	best, known := -1, 0
	for i, c := range cs {
		if c.evenness.Known() {
			known++
		}
		if c.evenness.Known() && (best < 0 || c.evenness.Value < cs[best].evenness.Value) {
			best = i
		}
	}
	if best < 0 {
		return "The sessions can be compared by speed and by pitch law only: no setup tells the load on the feet."
	}
	if known == 1 {
		return fmt.Sprintf("Only session %s (%s) has a setup that tells the load on the feet. The others can be compared by speed and by pitch law.", cs[best].Key, cs[best].Name)
	}
	clear := true
	for i, c := range cs {
		if i != best && c.evenness.Known() && !(c.evenness.Low > cs[best].evenness.High) {
			clear = false
		}
	}
	s := fmt.Sprintf("Session %s (%s) has the most even load", cs[best].Key, cs[best].Name)
	if !clear {
		return s + ", but not clearly: its interval overlaps with others."
	}
	return s + ", clearly so."
}

func verdictFor(b *advice.BeforeAfter, after *analysis.Result, u words.Units) *verdictPart {
	v := &verdictPart{Tag: words.UpperFirst(words.Clean(b.Verdict)), Says: u.Judgement(b)}
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
			v.Rows.add(math.NaN(), quantity(r, u), words.Clean(unit), dash(words.Between(pred, 1, d)), words.Between(seen, 1, d), words.Clean(string(r.Outcome)))
		}
	}
	v.Next, v.Mind = u.NextOf(b, after)
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
func dash(s string) string {
	if strings.HasPrefix(s, words.Unknown) {
		return "–"
	}
	return s
}

// A measure is one number that sessions are compared by, in printing units.
type measure struct {
	id, title, axis string // of its figure; "" for none
	head            string // of its column
	digits          int
	of              func(contender) interval.Interval
}

func measures(u words.Units, lo, top float64) []measure {
	return []measure{
		{"even", "How far the load is from even", "percent of the load away from even", "load off even, % of the load", 0, func(c contender) interval.Interval { return c.evenness }},
		{"", "", "", "front share at " + u.SpeedText(lo) + ", %", 0, func(c contender) interval.Interval { return c.low }},
		{"attop", "Front share at " + u.SpeedText(top), "front share, %", "front share at " + u.SpeedText(top) + ", %", 0, func(c contender) interval.Interval { return c.top }},
		{"slope", "Pitch needed for lift, without the rider's weight", "degrees per 100 cm² of lift area", "pitch per 100 cm² of lift area, degrees", 2, func(c contender) interval.Interval { return c.slope }},
		{"tacks", "Difference between the tacks", "port less starboard, degrees of pitch", "port less starboard, degrees", 1, func(c contender) interval.Interval { return c.tacks }},
	}
}

func compareTable(cs []contender, ms []measure, u words.Units) *table {
	t := &table{Caption: "All sessions", Head: []string{"session", "name", "day", "rider", "advice", "on the foil, min", "best 10 s, " + u.SpeedName()}}
	for _, m := range ms {
		t.Head = append(t.Head, m.head)
	}
	for _, c := range byEvenness(cs) {
		verdict := "–"
		if c.r.Advice != nil {
			verdict = words.Clean(c.r.Advice.Verdict)
		}
		cells := []string{c.Key, c.Name, c.Day, c.Rider, verdict, dash(words.Fixed(c.minutes, 0)), dash(words.Fixed(c.best, 1))}
		for _, m := range ms {
			cells = append(cells, dash(words.Between(m.of(c), 1, m.digits)))
		}
		t.add(math.NaN(), cells...)
	}
	return t
}

// byEvenness puts the most even load first; two sessions stay in the order of
// time, before and after.
func byEvenness(cs []contender) []contender {
	order := slices.Clone(cs)
	if len(cs) > 2 {
		slices.SortStableFunc(order, func(a, b contender) int { return words.UnknownLast(a.evenness.Value, b.evenness.Value) })
	}
	return order
}

// diffTable is every session less the first, in what has a figure.
func diffTable(cs []contender, ms []measure, u words.Units) *table {
	ms = slices.DeleteFunc(slices.Clone(ms), func(m measure) bool { return m.id == "" })
	t := &table{Caption: "Each session less session A, with 90 % intervals", Head: []string{"session"}}
	for _, m := range ms {
		t.Head = append(t.Head, m.head)
	}
	t.Head = append(t.Head, "best 10 s, "+u.SpeedName())
	for _, c := range cs[1:] {
		cells := []string{c.label()}
		for _, m := range ms {
			cells = append(cells, dash(words.Between(less(m.of(c), m.of(cs[0])), 1, m.digits)))
		}
		t.add(math.NaN(), append(cells, dash(words.Fixed(c.best-cs[0].best, 1)))...)
	}
	return t
}

// less is a minus b, two numbers that know nothing of each other.
func less(a, b interval.Interval) interval.Interval {
	if !a.Known() || !b.Known() {
		return interval.Unknown()
	}
	return interval.Normal(a.Value-b.Value, math.Hypot(a.SD(), b.SD()))
}

// CompareText writes the comparison for a terminal, at most 24 lines.
func CompareText(w io.Writer, rs []*analysis.Result, o TextOptions) error {
	if len(rs) < 2 {
		return errTooFew
	}
	u, before := o.Units.OrDefault(), o.Before
	rs = inTime(rs, before)
	cs, lo, top := contenders(rs, u)
	t := newTextPage(o)
	t.head(words.UpperFirst(words.Plural(len(rs), "session")) + " compared")
	t.row("", compareHead(cs, before), vital)
	if before != nil {
		t.row("Why", u.Judgement(before), needed)
		next, mind := u.NextOf(before, rs[len(rs)-1])
		t.row("Next", next, vital)
		t.row("Mind", mind, vital)
	}
	name := max(12, min(30, t.width-44))
	t.add(t.style("2", fmt.Sprintf("%-*s%10s%12s%10s%10s", name, "session", "off even", "front share", "", "best 10 s")))
	t.add(t.style("2", fmt.Sprintf("%-*s%10s%12s%10s%10s", name, "", "%", ascii(u.SpeedText(lo)), ascii(u.SpeedText(top)), u.SpeedName())))
	short := func(v float64, d int) string {
		if !words.Finite(v) {
			return "-"
		}
		return plain.Replace(words.Fixed(v, d))
	}
	for i, c := range byEvenness(cs) {
		if left := textLines - t.lines(); left <= 1 && i < len(cs)-1 {
			t.add(fmt.Sprintf("and %d more; the page shows them all", len(cs)-i))
			break
		}
		t.add(fmt.Sprintf("%-*s%10s%12s%10s%10s", name, words.CleanTo(c.Key+"  "+c.Name, name-1), short(c.evenness.Value, 0), short(c.low.Value, 0), short(c.top.Value, 0), short(c.best, 1)))
	}
	if t.lines() < textLines {
		t.add(t.style("2", "Each session by its own log and notes."))
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// ascii is s with plain spaces.
func ascii(s string) string { return strings.ReplaceAll(s, words.NBSP, " ") }
