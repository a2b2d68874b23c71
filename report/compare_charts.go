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

func compareFigures(cs []contender, ms []measure, u words.Units) []*figure {
	out := []*figure{overlayShare(cs, u)}
	for _, m := range ms {
		if m.id == "slope" {
			out = append(out, overlayLaw(cs))
		}
		if m.id != "" {
			out = append(out, rowsFigure(cs, m))
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
func overlay(f *figure, xl, yl string, cs []contender, curve func(contender) []chart.Sample, ref ...chart.Layer) *figure {
	var all []contender
	var lines [][]chart.Sample
	for _, c := range cs {
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

func overlayShare(cs []contender, u words.Units) *figure {
	f := newFigure("shares", u, spread(cs, func(c contender) interval.Interval { return u.Sheet(c.r).Front().Scale(100) }, "At each one's own top speed the front foot carries", "%", 0))
	return overlay(f, "speed through the water, "+u.SpeedName(), "front share, %", cs, func(c contender) []chart.Sample {
		b := &builder{r: c.r, u: u}
		return slices.DeleteFunc(b.shares(b.today()), func(p chart.Sample) bool { return !words.Finite(p.X) || !words.Finite(p.Value) })
	}, chart.Rule{At: 50, Ink: "even"})
}

// overlayLaw is the pitch law against lift area: what differs here is foil
// and board, not the rider's weight.
func overlayLaw(cs []contender) *figure {
	f := newFigure("laws", words.Units{}, spread(cs, func(c contender) interval.Interval { return c.slope }, "For 100 cm² more lift area the nose comes up by", "degrees", 2))
	return overlay(f, "lift area, cm²", "pitch above zero lift, degrees", cs, func(c contender) []chart.Sample {
		if !c.slope.Known() || c.r.Setup == nil {
			return nil
		}
		return []chart.Sample{{}, {X: 600, Value: 6 * c.slope.Value}}
	})
}

// spread says between what values they lie.
func spread(cs []contender, of func(contender) interval.Interval, what, unit string, digits int) string {
	known := slices.DeleteFunc(slices.Clone(cs), func(c contender) bool { return !of(c).Known() })
	says := struct{ What, Low, Least, High, Most string }{What: what}
	if len(known) > 1 {
		by := func(a, b contender) int { return cmp.Compare(of(a).Value, of(b).Value) }
		lo, hi := slices.MinFunc(known, by), slices.MaxFunc(known, by)
		says.Low, says.Least = words.Fixed(of(lo).Value, digits), lo.Name
		says.High, says.Most = words.Fixed(of(hi).Value, digits)+words.NBSP+unit, hi.Name
	}
	return words.Units{}.Tell("spread", says)
}

// rowsFigure is one measure of all, one row each, sorted.
func rowsFigure(cs []contender, m measure) *figure {
	known := slices.DeleteFunc(slices.Clone(cs), func(c contender) bool { return !words.Finite(m.of(c).Value) })
	if len(known) < 2 {
		return nil
	}
	slices.SortStableFunc(known, func(a, b contender) int { return cmp.Compare(m.of(a).Value, m.of(b).Value) })
	f := &figure{ID: m.id, Title: m.title}
	a, z := known[0], known[len(known)-1]
	first, last := m.of(a), m.of(z)
	f.Says = fmt.Sprintf("From %s (%s) to %s (%s).", words.Fixed(first.Value, m.digits), a.Name, words.Fixed(last.Value, m.digits), z.Name)
	f.Says += " " + cmp.Or(m.apart, words.Choose(last.Low <= first.High, "Their intervals overlap: these two are not clearly different.", "These two are clearly different."))
	f.Table = &table{Caption: m.title + ", with 90 % intervals", Head: []string{"who", m.axis}}
	whiskers := chart.Whiskers{Ink: "now"}
	for i, c := range known {
		v := m.of(c)
		f.Table.add(c.label(26), words.Between(v, 1, m.digits))
		whiskers.Items = append(whiskers.Items, sample(float64(len(known)-1-i), v))
	}
	layers := []chart.Layer{whiskers}
	if m.id == "tacks" {
		layers = []chart.Layer{chart.Rule{At: 0, Vertical: true, Ink: "even"}, whiskers}
	}
	f.rows(len(known), func(i int, wide bool) string { return known[i].label(words.Choose(wide, 24, 12)) }, chart.Panel{XLabel: m.axis, Layers: layers})
	return f
}
