package report

import (
	"cmp"
	"fmt"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// crowd is how many curves a picture of one among all can hold behind the one.
const crowd = 12

func (p *compared) figures() []*figure {
	out := []*figure{p.overlayShare()}
	for _, m := range p.measures() {
		if m.id == "slope" {
			out = append(out, p.overlayLaw())
		}
		if m.id != "" {
			out = append(out, p.rowsFigure(m))
		}
	}
	out = slices.DeleteFunc(out, func(f *figure) bool { return f == nil })
	for _, f := range out {
		f.Open = f.ID == "shares" || f.ID == "even"
	}
	return out
}

// overlay draws two curves in one picture, and more of them in one each, before
// all the others, on the same axes.
func (p *compared) overlay(f *figure, xl, yl string, curve func(contender) []chart.Sample, ref ...chart.Layer) *figure {
	var all []contender
	var lines [][]chart.Sample
	for _, c := range p.all {
		if line := curve(c); len(line) > 1 {
			all, lines = append(all, c), append(lines, line)
		}
	}
	if len(all) < 2 {
		return nil
	}
	if len(all) == 2 {
		f.Legend = []legend{{"line", "now", all[0].label(40)}, {"dash", "next", all[1].label(40)}}
		layers := append(ref, f.Legend[0].line(lines[0], 2.5), f.Legend[1].line(lines[1], 2.5))
		f.plot(tall(1), &chart.Panel{XLabel: xl, YLabel: yl, Layers: layers})
		return f
	}
	x0, x1, y0, y1 := chart.Extent(legend{}.line(slices.Concat(lines...), 1))
	pad := 0.06 * (y1 - y0)
	xr, yr := chart.Range{Lo: x0, Hi: x1}, chart.Range{Lo: y0 - pad, Hi: y1 + pad}
	f.Note += fmt.Sprintf(" Across: %s. Up: %s. All have the same axes.", xl, yl)
	one, others := legend{"line", "now", "the one named"}, legend{"line", "idle", "the others"}
	f.Legend = []legend{one}
	if len(all) <= crowd {
		f.Legend = append(f.Legend, others)
	}
	var panels []*chart.Panel
	for i, c := range all {
		layers := slices.Clone(ref)
		for k, other := range lines {
			if k != i && len(all) <= crowd {
				layers = append(layers, others.line(other, 1))
			}
		}
		panels = append(panels, &chart.Panel{Title: words.CleanTo(c.Name, 20), X: xr, Y: yr, YTicks: chart.Ticks{Count: 3}, XTicks: chart.Ticks{Count: 3},
			Layers: append(layers, one.line(lines[i], 2.5))})
	}
	f.plot(multiples(len(all), 125, 2, 130, 4), panels...)
	return f
}

func (p *compared) overlayShare() *figure {
	f := newFigure("shares", p.u, p.spread(func(c contender) interval.Interval { return c.Front().Scale(100) }, "At each one's own top speed the front foot carries", "%", 0))
	return p.overlay(f, "speed through the water, "+p.u.SpeedName(), "front share, %", func(c contender) []chart.Sample {
		b := &builder{r: c.Result, u: p.u}
		return slices.DeleteFunc(b.shares(b.today()), func(p chart.Sample) bool { return !words.Finite(p.X) || !words.Finite(p.Value) })
	}, chart.Rule{At: 50, Ink: "even"})
}

// overlayLaw is the pitch law against lift area: what differs here is foil
// and board, not the rider's weight.
func (p *compared) overlayLaw() *figure {
	f := newFigure("laws", p.u, p.spread(contender.slope, "For 100 cm² more lift area the nose comes up by", "degrees", 2))
	return p.overlay(f, "lift area, cm²", "pitch above zero lift, degrees", func(c contender) []chart.Sample {
		if !c.slope().Known() || c.Setup == nil {
			return nil
		}
		return []chart.Sample{{}, {X: 600, Value: 6 * c.slope().Value}}
	})
}

// ranked are those of whom a measure is known, the least first.
func (p *compared) ranked(of func(contender) interval.Interval) []contender {
	known := slices.DeleteFunc(slices.Clone(p.all), func(c contender) bool { return !words.Finite(of(c).Value) })
	slices.SortStableFunc(known, func(a, b contender) int { return cmp.Compare(of(a).Value, of(b).Value) })
	return known
}

// spread says between what values they lie.
func (p *compared) spread(of func(contender) interval.Interval, what, unit string, digits int) string {
	says := struct {
		What, Low, Least, High, Most string
		Same                         bool // as they are told
	}{What: what}
	if all := p.ranked(of); len(all) > 1 {
		a, z := all[0], all[len(all)-1]
		says.Low, says.Least = words.Fixed(of(a).Value, digits), a.Name
		says.High, says.Most = words.Fixed(of(z).Value, digits), z.Name
		says.Same = says.Low == says.High
		says.High += words.NBSP + unit
	}
	return p.u.Tell("spread", says)
}

// rowsFigure is one measure of all, one row each, sorted.
func (p *compared) rowsFigure(m measure) *figure {
	all := p.ranked(m.of)
	if len(all) < 2 {
		return nil
	}
	f := &figure{ID: m.id, Title: m.title}
	a, z := all[0], all[len(all)-1]
	first, last := m.of(a), m.of(z)
	f.Says = fmt.Sprintf("From %s (%s) to %s (%s). ", words.Fixed(first.Value, m.digits), a.Name, words.Fixed(last.Value, m.digits), z.Name)
	apart := words.Choose(last.Low <= first.High, "Their intervals overlap: these two are not clearly different.", "These two are clearly different.")
	if m.id == "even" && p.Only != nil { // the judgement tells more than their intervals
		apart = cmp.Or(p.u.Tell("apart", p.Only), apart)
	}
	f.Says += apart
	f.Table = &table{Caption: m.title + ", with 90 % intervals", Head: []string{"who", m.axis}}
	whiskers := chart.Whiskers{Ink: "now"}
	for i, c := range all {
		f.Table.add(c.label(26), words.Between(m.of(c), 1, m.digits))
		whiskers.Items = append(whiskers.Items, sample(float64(len(all)-1-i), m.of(c)))
	}
	layers := []chart.Layer{whiskers}
	if m.id == "tacks" {
		layers = []chart.Layer{chart.Rule{At: 0, Vertical: true, Ink: "even"}, whiskers}
	}
	f.rows(len(all), func(i int, wide bool) string { return all[i].label(words.Choose(wide, 24, 12)) }, chart.Panel{XLabel: m.axis, Layers: layers})
	return f
}
