package report

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
)

// overlayLimit is how many curves one picture can hold and stay readable.
const overlayLimit = 6

var (
	overlayInks   = []chart.Ink{"now", "next", "best", "port", "fit", "drag"}
	overlayDashes = [][]vg.Length{nil, {7, 4}, {2, 3}, {10, 3, 2, 3}, {4, 2}, {12, 5}}
)

func compareFigures(cs []contender, u words.Units, top float64) []*figure {
	var out []*figure
	for _, f := range []*figure{overlayShare(cs, u), overlayLaw(cs, u),
		rowsFigure(cs, "even", "How far the load is from even", "percent of the load away from even", func(c contender) interval.Interval { return c.evenness }),
		rowsFigure(cs, "attop", "Front share at "+u.SpeedText(top), "front share, %", func(c contender) interval.Interval { return c.top }),
		rowsFigure(cs, "slope", "Pitch needed for lift, without the rider's weight", "degrees per 100 cm² of lift area", func(c contender) interval.Interval { return c.slope }),
		rowsFigure(cs, "tacks", "Difference between the tacks", "port less starboard, degrees of pitch", func(c contender) interval.Interval { return c.tacks })} {
		if f != nil {
			out = append(out, f)
		}
	}
	return out
}

// overlay draws a few sessions' curves in one picture, each named by its
// letter at the end of the line.
func overlay(f *figure, xl, yl string, cs []contender, curve func(contender) []chart.XY, ref []plot.Plotter) *figure {
	n := 0
	f.draw(tall(1), func(wide bool) []*chart.Panel {
		p := &chart.Panel{XLabel: xl, YLabel: yl}
		p.Layers = append(p.Layers, ref...)
		n = 0
		for i, c := range cs {
			line := curve(c)
			if len(line) == 0 {
				continue
			}
			k := i % overlayLimit
			p.Layers = append(p.Layers, chart.Line{Points: line, Ink: overlayInks[k], Width: 2.5, Dash: overlayDashes[k]},
				chart.Note{At: line[len(line)-1], Text: c.Key, Ink: overlayInks[k], Size: 14, DX: 1, DY: 8, Align: -1})
			n++
		}
		return []*chart.Panel{p}
	})
	if n < 2 {
		return nil
	}
	for i, c := range cs {
		kind := "line"
		if i%overlayLimit > 0 {
			kind = "dash"
		}
		if i%overlayLimit == 2 {
			kind = "dots"
		}
		f.Legend = append(f.Legend, legend{kind, string(overlayInks[i%overlayLimit]), c.label()})
	}
	return f
}

func overlayShare(cs []contender, u words.Units) *figure {
	if len(cs) > overlayLimit {
		return nil
	}
	f := &figure{ID: "shares", Title: "Front foot's share against speed"}
	f.Says = spread(cs, func(c contender) interval.Interval { return c.top }, "At the top speed that all rode the front foot carries", "%", 0)
	return overlay(f, "speed through the water, "+u.SpeedName(), "front share, %", cs, func(c contender) []chart.XY {
		b := &builder{r: c.r, u: u}
		l, _ := b.curve(b.today())
		return slices.DeleteFunc(l, func(p chart.XY) bool { return !words.Finite(p.X) || !words.Finite(p.Y) })
	}, []plot.Plotter{chart.Rule{At: 50, Ink: "even"}})
}

// overlayLaw is the pitch law against lift area: what differs here is foil
// and board, not the rider's weight.
func overlayLaw(cs []contender, u words.Units) *figure {
	if len(cs) > overlayLimit {
		return nil
	}
	f := &figure{ID: "laws", Title: "Pitch against lift area, without the rider's weight"}
	f.Says = spread(cs, func(c contender) interval.Interval { return c.slope }, "For 100 cm² more lift area the nose comes up by", "degrees", 2)
	f.Note = "Each line starts at zero lift, so that a sensor mounted at another angle does no harm. A steeper line is a foil with less lifting area."
	return overlay(f, "lift area, cm²", "pitch above zero lift, degrees", cs, func(c contender) []chart.XY {
		if !c.slope.Known() || c.r.Setup == nil {
			return nil
		}
		return []chart.XY{{X: 0, Y: 0}, {X: 600, Y: 6 * c.slope.Value}}
	}, nil)
}

// spread says between what values the sessions lie.
func spread(cs []contender, of func(contender) interval.Interval, what, unit string, digits int) string {
	lo, hi := -1, -1
	for i, c := range cs {
		v := of(c)
		if !v.Known() {
			continue
		}
		if lo < 0 || v.Value < of(cs[lo]).Value {
			lo = i
		}
		if hi < 0 || v.Value > of(cs[hi]).Value {
			hi = i
		}
	}
	if lo < 0 || lo == hi {
		return "Too few of the sessions tell it."
	}
	return fmt.Sprintf("%s: from %s (session %s) to %s (session %s).", what, words.Fixed(of(cs[lo]).Value, digits), cs[lo].Key, words.Fixed(of(cs[hi]).Value, digits)+words.NBSP+unit, cs[hi].Key)
}

// rowsFigure is one quantity of all sessions, one row each, sorted.
func rowsFigure(cs []contender, id, name, axis string, of func(contender) interval.Interval) *figure {
	var known []contender
	for _, c := range cs {
		if v := of(c); v.Known() && words.Finite(v.Value) {
			known = append(known, c)
		}
	}
	if len(known) < 2 {
		return nil
	}
	slices.SortStableFunc(known, func(a, b contender) int { return words.UnknownLast(of(a).Value, of(b).Value) })
	f := &figure{ID: id, Title: name}
	first, last := of(known[0]), of(known[len(known)-1])
	f.Says = fmt.Sprintf("From %s (session %s) to %s (session %s).", words.Fixed(first.Value, words.DigitsFor(last.Value*4)), known[0].Key, words.Fixed(last.Value, words.DigitsFor(last.Value*4)), known[len(known)-1].Key)
	if last.Low <= first.High {
		f.Says += " The intervals overlap: each by its own log, the sessions are not clearly different."
	} else {
		f.Says += " These two are clearly different."
	}
	f.Table = &table{Caption: name + ", with 90 % intervals", Head: []string{"session", axis}}
	for _, c := range known {
		f.Table.add(math.NaN(), c.label(), words.Between(of(c), 1, words.DigitsFor(last.Value*4)))
	}
	h := 62 + 24*float64(len(known))
	f.draw(layout{narrow: h, wide: h}, func(wide bool) []*chart.Panel {
		names := make(chart.Named, len(known))
		var items []chart.Whisker
		for i, c := range known {
			y := len(known) - 1 - i
			names[y] = c.Key
			if wide {
				names[y] = c.label()
			}
			v := of(c)
			items = append(items, chart.Whisker{Row: float64(y), Value: v.Value, Lo: v.Low, Hi: v.High})
		}
		layers := []plot.Plotter{chart.Whiskers{Items: items, Ink: "now"}}
		if id == "tacks" {
			layers = append([]plot.Plotter{chart.Rule{At: 0, Vertical: true, Ink: "even"}}, layers...)
		}
		return []*chart.Panel{{XLabel: axis, Y: chart.Range{Lo: -0.7, Hi: float64(len(known)) - 0.3}, YTicks: names, Layers: layers}}
	})
	return f
}
