package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot/vg"
)

// overlayLimit is how many curves one picture can hold and stay readable.
const overlayLimit = 6

// overlays tell those curves apart.
var overlays = [overlayLimit]struct {
	ink  chart.Ink
	kind string // in the legend
	dash []vg.Length
}{{"now", "line", nil}, {"next", "dash", []vg.Length{7, 4}}, {"best", "dots", []vg.Length{2, 3}},
	{"port", "dash", []vg.Length{10, 3, 2, 3}}, {"fit", "dash", []vg.Length{4, 2}}, {"drag", "dash", []vg.Length{12, 5}}}

func compareFigures(cs []contender, ms []measure, u words.Units) []*figure {
	var out []*figure
	if len(cs) <= overlayLimit {
		out = append(out, overlayShare(cs, u), overlayLaw(cs))
	}
	for _, m := range ms {
		if m.id != "" {
			out = append(out, rowsFigure(cs, m))
		}
	}
	return slices.DeleteFunc(out, func(f *figure) bool { return f == nil })
}

// overlay draws a few sessions' curves in one picture, each named by its
// letter at the end of the line.
func overlay(f *figure, xl, yl string, cs []contender, curve func(contender) []chart.XY, ref ...chart.Layer) *figure {
	layers, n := ref, 0
	for i, c := range cs {
		l := overlays[i]
		f.Legend = append(f.Legend, legend{l.kind, string(l.ink), c.label()})
		if line := curve(c); len(line) > 0 {
			layers = append(layers, chart.Line{Points: line, Ink: l.ink, Width: 2.5, Dash: l.dash},
				chart.Note{At: line[len(line)-1], Text: c.Key, Ink: l.ink, Size: 14, DX: 1, DY: 8, Align: -1})
			n++
		}
	}
	if n < 2 {
		return nil
	}
	f.draw(tall(1), func(bool) []*chart.Panel { return []*chart.Panel{{XLabel: xl, YLabel: yl, Layers: layers}} })
	return f
}

func overlayShare(cs []contender, u words.Units) *figure {
	f := &figure{ID: "shares", Title: "Front foot's share against speed"}
	f.Says = spread(cs, func(c contender) interval.Interval { return c.top }, "At the top speed that all rode the front foot carries", "%", 0)
	return overlay(f, "speed through the water, "+u.SpeedName(), "front share, %", cs, func(c contender) []chart.XY {
		b := &builder{r: c.r, u: u}
		l, _ := b.curve(b.today(), percent)
		return slices.DeleteFunc(l, func(p chart.XY) bool { return !words.Finite(p.X) || !words.Finite(p.Y) })
	}, chart.Rule{At: 50, Ink: "even"})
}

// overlayLaw is the pitch law against lift area: what differs here is foil
// and board, not the rider's weight.
func overlayLaw(cs []contender) *figure {
	f := &figure{ID: "laws", Title: "Pitch against lift area, without the rider's weight"}
	f.Says = spread(cs, func(c contender) interval.Interval { return c.slope }, "For 100 cm² more lift area the nose comes up by", "degrees", 2)
	f.Note = "Each line starts at zero lift, so that a sensor mounted at another angle does no harm. A steeper line is a foil with less lifting area."
	return overlay(f, "lift area, cm²", "pitch above zero lift, degrees", cs, func(c contender) []chart.XY {
		if !c.slope.Known() || c.r.Setup == nil {
			return nil
		}
		return []chart.XY{{X: 0, Y: 0}, {X: 600, Y: 6 * c.slope.Value}}
	})
}

// spread says between what values the sessions lie.
func spread(cs []contender, of func(contender) interval.Interval, what, unit string, digits int) string {
	known := slices.DeleteFunc(slices.Clone(cs), func(c contender) bool { return !of(c).Known() })
	if len(known) < 2 {
		return "Too few of the sessions tell it."
	}
	by := func(a, b contender) int { return cmp.Compare(of(a).Value, of(b).Value) }
	lo, hi := slices.MinFunc(known, by), slices.MaxFunc(known, by)
	return fmt.Sprintf("%s: from %s (session %s) to %s (session %s).", what, words.Fixed(of(lo).Value, digits), lo.Key, words.Fixed(of(hi).Value, digits)+words.NBSP+unit, hi.Key)
}

// rowsFigure is one measure of all sessions, one row each, sorted.
func rowsFigure(cs []contender, m measure) *figure {
	known := slices.DeleteFunc(slices.Clone(cs), func(c contender) bool { return !words.Finite(m.of(c).Value) })
	if len(known) < 2 {
		return nil
	}
	slices.SortStableFunc(known, func(a, b contender) int { return cmp.Compare(m.of(a).Value, m.of(b).Value) })
	f := &figure{ID: m.id, Title: m.title}
	a, z := known[0], known[len(known)-1]
	first, last := m.of(a), m.of(z)
	digits := words.DigitsFor(last.Value * 4)
	f.Says = fmt.Sprintf("From %s (session %s) to %s (session %s).", words.Fixed(first.Value, digits), a.Key, words.Fixed(last.Value, digits), z.Key)
	f.Says += words.Choose(last.Low <= first.High, " The intervals overlap: each by its own log, the sessions are not clearly different.", " These two are clearly different.")
	f.Table = &table{Caption: m.title + ", with 90 % intervals", Head: []string{"session", m.axis}}
	whiskers := chart.Whiskers{Ink: "now"}
	for i, c := range known {
		v := m.of(c)
		f.Table.add(math.NaN(), c.label(), words.Between(v, 1, digits))
		whiskers.Items = append(whiskers.Items, chart.Whisker{Row: float64(len(known) - 1 - i), Value: v.Value, Lo: v.Low, Hi: v.High})
	}
	layers := []chart.Layer{whiskers}
	if m.id == "tacks" {
		layers = []chart.Layer{chart.Rule{At: 0, Vertical: true, Ink: "even"}, whiskers}
	}
	h := 62 + 24*float64(len(known))
	f.draw(layout{narrow: h, wide: h}, func(wide bool) []*chart.Panel {
		names := make(chart.Named, len(known))
		for i, c := range known {
			names[len(known)-1-i] = words.Choose(wide, c.label(), c.Key)
		}
		return []*chart.Panel{{XLabel: m.axis, Y: chart.Range{Lo: -0.7, Hi: float64(len(known)) - 0.3}, YTicks: names, Layers: layers}}
	})
	return f
}
