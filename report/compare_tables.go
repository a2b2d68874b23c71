package report

import (
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

// Judged is what the outing before foretold and the outing after shows.
func (p *compared) Judged() *table {
	t := &table{Caption: "What the outing before foretold and what the outing after shows, with 90 % intervals", Head: []string{"quantity", "unit", "foretold", "seen", "so"}}
	for _, r := range p.Only.Rows {
		pred, seen, unit := r.Predicted, r.Observed, r.Unit
		if unit == "m/s" {
			k := p.u.SpeedValue(1)
			pred, seen, unit = pred.Scale(k), seen.Scale(k), p.u.SpeedName()
		}
		d := words.DigitsFor(5 * math.Max(math.Abs(seen.Value), math.Abs(seen.High-seen.Low)))
		t.add(quantity(r, p.u), words.Clean(unit), dash(words.Between(pred, 1, d)), words.Between(seen, 1, d), words.Clean(string(r.Outcome)))
	}
	return t.orNone()
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
}

func (m measure) cell(v interval.Interval) string { return dash(words.Between(v, 1, m.digits)) }

// tenSeconds is the best speed.
func (p *compared) tenSeconds() measure {
	return measure{"", "", "", "best 10 s, " + p.u.SpeedName(), 1, p.best}
}

// measures are those that can be had: front shares only at speeds that all have.
func (p *compared) measures() []measure {
	ms := []measure{
		{"even", "How far the load is from even", "percent of the load away from even", "load off even, % of the load", 0, func(c contender) interval.Interval { return c.OffEven().Scale(100) }},
		{"slope", "Pitch needed for lift, without the rider's weight", "degrees per 100 cm² of lift area", "pitch per 100 cm² of lift area, degrees", 2, contender.slope},
		{"tacks", "Difference between the tacks", "starboard minus port, degrees of pitch", "starboard minus port, degrees", 1, func(c contender) interval.Interval { return c.Tacks() }},
	}
	if words.Finite(p.lo) {
		at := func(v float64) func(contender) interval.Interval {
			return func(c contender) interval.Interval { return c.share(v).Scale(100) }
		}
		ms = slices.Insert(ms, 1,
			measure{"", "", "", "front share at " + p.u.SpeedFine(p.lo) + ", %", 0, at(p.lo)},
			measure{"attop", "Front share at " + p.u.SpeedFine(p.top) + ", which all rode", "front share, %", "front share at " + p.u.SpeedFine(p.top) + ", %", 0, at(p.top)})
	}
	return ms
}

// table is all in numbers.
func (p *compared) table() *table {
	ms := append([]measure{p.tenSeconds()}, p.measures()...)
	t := &table{Caption: "All in numbers", Head: append([]string{"letter", "name", "day", "rider", "advice", "on the foil, min"}, each(ms, func(m measure) string { return m.head })...)}
	for _, c := range p.all {
		verdict, rider := "–", ""
		if c.Advice != nil {
			verdict = words.Clean(c.Advice.Verdict)
		}
		if c.Setup != nil {
			rider = p.u.RiderText(c.Setup)
		}
		t.add(append([]string{c.Key, words.Title(c.Result), dayOf(c.Result), rider, verdict, dash(words.Fixed(float64(c.Totals.Foiling)/60, 0))},
			each(ms, func(m measure) string { return m.cell(m.of(c)) })...)...)
	}
	return t
}

// differences is every session minus the first, in what has a figure.
func (p *compared) differences() *table {
	// Of the load, the doubts of two sessions go together: the judgement tells it.
	ms := append(slices.DeleteFunc(p.measures(), func(m measure) bool { return m.id == "" || m.id == "even" }), p.tenSeconds())
	t := &table{Caption: "The difference of each session from session A, with 90 % intervals", Head: append([]string{"session"}, each(ms, func(m measure) string { return m.head })...)}
	for _, c := range p.all[1:] {
		t.add(append([]string{c.label(26)}, each(ms, func(m measure) string { return m.cell(minus(m.of(c), m.of(p.all[0]))) })...)...)
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

// partsTable is a log's parts, each with its own trim.
func partsTable(r *analysis.Result, u words.Units) *table {
	t := &table{Caption: "The parts of " + words.Title(r) + ", the trim as it counts from the start", Head: []string{"when, UTC", "trim", "on the foil", "as marked there, with 90 % intervals"}}
	for _, p := range r.Parts {
		when, trim, flown, felt := u.Part(p)
		t.add(when, trim, flown, felt)
	}
	return t
}
