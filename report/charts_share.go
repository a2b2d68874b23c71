package report

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// A reading is one number of the feet's load.
type reading func(p analysis.LoadPoint) interval.Interval

// by is a number of the load by speed.
func (b *builder) by(of reading) []advice.SharePoint {
	var c []advice.SharePoint
	for _, p := range b.r.FootLoad {
		c = append(c, advice.SharePoint{Speed: p.Speed, Share: of(p)})
	}
	return c
}

func (b *builder) today() []advice.SharePoint {
	return b.by(func(p analysis.LoadPoint) interval.Interval { return p.FrontShare })
}

// percent is a share as the charts show it.
func percent(share interval.Interval) interval.Interval { return words.Possible(share).Scale(100) }

// curve is a curve in the unit in which it is shown.
func (b *builder) curve(c []advice.SharePoint, shown func(interval.Interval) interval.Interval) (out []sample) {
	for _, p := range c {
		out = append(out, sample{b.u.SpeedValue(float64(p.Speed)), shown(p.Share)})
	}
	return out
}

// steps are the bands, the lines and the columns of a number of the load
// today and, where there is a step, after it.
func (b *builder) steps(f *figure, unit string, digits int, shown func(interval.Interval) interval.Interval, of ...reading) (bands, lines []chart.Layer, cols []column) {
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "after the next step"}}
	if !stepOf(b.r) {
		f.Legend = f.Legend[:1]
	}
	for i, l := range f.Legend {
		c := b.curve(b.by(of[i]), shown)
		bands, lines = append(bands, l.band(c)), append(lines, l.line(c, 3))
		cols = append(cols, column{l.Text + ", " + unit, func(p analysis.LoadPoint) string { return words.Between(shown(of[i](p)), 1, digits) }})
	}
	return bands, lines, cols
}

// share is the front foot's share today and after the step, over the time
// spent at each speed.
func (b *builder) share() *figure {
	r := b.r
	if len(r.FootLoad) == 0 {
		return nil
	}
	f := &figure{ID: "share", Title: "Front foot's share of the load", Read: "Speed"}
	f.Says = b.shareSays()
	f.Note = "50 % is even; at 59 % or 41 % the load is “off even” by 9 %. The shaded bands hold the true value with 90 % probability."
	bands, lines, cols := b.steps(f, "%", 0, percent,
		func(p analysis.LoadPoint) interval.Interval { return p.FrontShare }, func(p analysis.LoadPoint) interval.Interval { return p.FrontShareAfter })
	if best := bestOption(r); best != nil {
		l := legend{"dots", "best", "all the way to the best trim"}
		bands, f.Legend = append(bands, l.line(b.curve(best.Curve, percent), 2)), append(f.Legend, l)
		cols = append(cols, column{"best trim, %", func(p analysis.LoadPoint) string { return words.Share(shareOf(best.Curve, float64(p.Speed))) }})
	}
	lines = append(lines, b.measured(f)...)
	top := &chart.Panel{YLabel: "front share, %", XLabel: b.speedLabel(), X: b.speedRange(), Height: 3.2,
		Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 50, Ink: "even"}}, lines)}
	panels := []*chart.Panel{top}
	if len(r.SpeedHistogram) > 0 {
		f.Note += " The bars show how long you rode at each speed."
		cols = append(cols, column{"time there, min", func(p analysis.LoadPoint) string { return b.timeAt(float64(p.Speed)) }})
		top.HideX, top.XLabel = true, ""
		panels = append(panels, &chart.Panel{XLabel: b.speedLabel(), YLabel: "min", X: top.X, Height: 1.35,
			YTicks: chart.Ticks{Count: 2}, Layers: []chart.Layer{b.histogram()}})
	}
	f.draw(tall(1.12), func(bool) []*chart.Panel { return panels })
	f.Table = b.loadTable("Front foot's share of the load", cols)
	return f
}

// measured are the shares that foot forces show, with their 90 % intervals.
func (b *builder) measured(f *figure) (out []chart.Layer) {
	if b.r.FootForces == nil || len(b.r.FootForces.Shares) == 0 {
		return nil
	}
	dots := chart.Dots{Ink: "stbd", Size: 6}
	for _, s := range b.r.FootForces.Shares {
		x := b.u.SpeedValue(float64(s.Speed))
		share := percent(s.Front)
		dots.Points = append(dots.Points, chart.XY{X: x, Y: share.Value})
		out = append(out, chart.Line{Points: []chart.XY{{X: x, Y: share.Low}, {X: x, Y: share.High}}, Ink: "stbd", Width: 1.5})
	}
	f.Legend = append(f.Legend, legend{"dot", "stbd", "measured under the feet"})
	return append(out, dots)
}

// bestOption is the trim to which the steps lead, nil for none.
func bestOption(r *analysis.Result) *advice.Option {
	if r.Advice == nil {
		return nil
	}
	if i := slices.IndexFunc(r.Advice.Options, func(o advice.Option) bool { return o.Best }); i >= 0 {
		return &r.Advice.Options[i]
	}
	return nil
}

// histogram draws the time at each speed as bars from zero, in minutes.
func (b *builder) histogram() chart.Layer {
	var boxes []chart.Box
	for _, h := range b.r.SpeedHistogram {
		lo, hi := b.u.SpeedValue(h.Low), b.u.SpeedValue(h.High)
		gap := 0.06 * (hi - lo)
		boxes = append(boxes, chart.Box{X0: lo + gap, X1: hi - gap, Y0: 0, Y1: h.Seconds / 60})
	}
	return chart.Boxes{Boxes: boxes, Ink: "hist"}
}

// timeAt is the time spent in the histogram bin around v.
func (b *builder) timeAt(v float64) string {
	for _, h := range b.r.SpeedHistogram {
		if h.Low <= v && v < h.High {
			return words.Fixed(h.Seconds/60, 1)
		}
	}
	return "0"
}

func (b *builder) shareSays() string {
	s := words.Today(b.r, b.u)
	if !stepOf(b.r) {
		return s
	}
	lo, _, top := words.SpeedsOf(b.r)
	x, _ := words.LoadAt(b.r, lo)
	y, _ := words.LoadAt(b.r, top)
	if x.FrontShareAfter.Known() && y.FrontShareAfter.Known() {
		s += fmt.Sprintf(" After the next step it is about %s and %s.", words.Percent(x.FrontShareAfter.Value), words.Percent(y.FrontShareAfter.Value))
	}
	return s
}

// shareOf is a curve's share at a speed, between its points; unknown outside.
func shareOf(c []advice.SharePoint, v float64) interval.Interval {
	i, on, ok := words.Place(len(c), func(i int) interval.Number { return c[i].Speed }, v)
	if !ok {
		return interval.Unknown()
	}
	return interval.Mix(c[i].Share, c[i+words.Choose(on > 0, 1, 0)].Share, on)
}

// options shows each number of cards as a small picture of its own.
func (b *builder) options() *figure {
	a := b.r.Advice
	if a == nil || len(a.Options) < 2 {
		return nil
	}
	f := &figure{ID: "options", Title: "The choices, one by one"}
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "with this choice"}}
	f.Note = "Each choice is a number of cards (one card is 0.76 mm) that turn the stabilizer's leading edge up or down from today, with the foil move that goes with it. Shim and move work together."
	f.Says = b.optionsSays()
	today := b.curve(b.today(), percent)
	all := today
	for _, o := range a.Options {
		all = append(all, b.curve(o.Curve, percent)...)
	}
	_, _, lo, hi := legend{}.band(all).DataRange()
	xr, yr := b.speedRange(), chart.Range{Lo: math.Max(-40, math.Min(40, lo-3)), Hi: math.Min(140, math.Max(60, hi+3))}
	rows := func(columns int) float64 { return math.Ceil(float64(len(a.Options)) / float64(columns)) }
	f.draw(layout{165 * rows(2), 170 * rows(3), 2, 3}, func(bool) []*chart.Panel {
		var ps []*chart.Panel
		for _, o := range a.Options {
			c := b.curve(o.Curve, percent)
			ps = append(ps, &chart.Panel{Title: optionName(o), X: xr, Y: yr, YTicks: chart.Ticks{Count: 3, Suffix: "%"}, XTicks: chart.Ticks{Count: 3},
				Layers: []chart.Layer{chart.Rule{At: 50, Ink: "even"}, f.Legend[1].band(c), f.Legend[0].line(today, 1.5), f.Legend[1].line(c, 2.5)}})
		}
		return ps
	})
	lowV, midV, topV := words.SpeedsOf(b.r)
	f.Table = &table{Caption: "What each choice does, with 90 % intervals", Head: []string{"choice", "shim, mm", "foil move, " + b.u.LengthName() + " (+ forward)",
		"front share at " + b.u.SpeedText(lowV) + ", %", "at " + b.u.SpeedText(midV) + ", %", "at " + b.u.SpeedText(topV) + ", %", "speed gradient at " + b.u.SpeedText(topV) + ", " + b.u.GradientUnit(), "chance that it is below zero", "chance of more even", "within reach"}}
	for _, o := range a.Options {
		reach := "yes"
		if !o.Reachable {
			reach = "no"
		} else if o.FeetToo {
			reach = "with the feet"
		}
		better := words.Percent(float64(o.ChanceBetter))
		if o.Cards == 0 && !o.Best && math.Abs(o.FoilMove.Value) < 0.5 {
			better = "-"
		}
		f.Table.add(math.NaN(), optionName(o), words.Fixed(float64(o.Shim), 2), words.Between(o.FoilMove, b.u.LengthValue(0.001), b.u.LengthDigits()),
			words.Share(o.ShareLow), words.Share(o.ShareMid), words.Share(o.ShareTop), words.Between(b.u.Gradient(o.Gradient), 1, 1), words.Percent(float64(o.Overshoot)), better, reach)
	}
	return f
}

func optionName(o advice.Option) string {
	switch {
	case o.Best:
		return "Best trim"
	case o.Cards == 0:
		return "Shim as today"
	case o.Cards < 0:
		return words.UpperFirst(words.Plural(int(-o.Cards), "card")) + " down"
	}
	return words.UpperFirst(words.Plural(int(o.Cards), "card")) + " up"
}

func (b *builder) optionsSays() string {
	a := b.r.Advice
	pick := -1
	for i, o := range a.Options {
		if !o.Best && o.Evenness.Known() && o.Reachable && (pick < 0 || o.Evenness.Value < a.Options[pick].Evenness.Value) {
			pick = i
		}
	}
	if pick < 0 {
		return "None of the choices is within reach of this track."
	}
	o := a.Options[pick]
	name := words.LowerFirst(optionName(o))
	s := fmt.Sprintf("Of the choices within reach, %s comes closest to even: the share is off by about %s of the load instead of %s.",
		name, words.Percent(o.Evenness.Value), words.Percent(a.EvennessNow.Value))
	if a.Verdict == advice.Change && a.Cards != o.Cards {
		s += " Go there one card a session."
	}
	return s
}
