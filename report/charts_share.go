package report

import (
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/feet"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// percent is a share as the charts show it.
func percent(share interval.Interval) interval.Interval { return words.Possible(share).Scale(100) }

// today is the front foot's share by speed.
func (b *builder) today() []advice.SharePoint {
	return each(b.r.FootLoad, func(p analysis.LoadPoint) advice.SharePoint {
		return advice.SharePoint{Speed: p.Speed, Share: p.FrontShare}
	})
}

// shares is a curve of the front foot's share as the charts show it.
func (b *builder) shares(c []advice.SharePoint) []chart.Sample {
	return each(c, func(p advice.SharePoint) chart.Sample { return sample(b.speed(p.Speed), percent(p.Share)) })
}

// steps are the bands, the lines and the columns of a number of the load
// today and, where there is a step, after it.
func (b *builder) steps(f *figure, unit string, digits int, of ...func(analysis.LoadPoint) interval.Interval) (bands, lines []chart.Layer, cols []column) {
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "after the next step"}}
	if !b.u.Sheet(b.r).Step() {
		f.Legend = f.Legend[:1]
	}
	for i, l := range f.Legend {
		c := each(b.r.FootLoad, func(p analysis.LoadPoint) chart.Sample { return sample(b.speed(p.Speed), of[i](p)) })
		bands, lines = append(bands, l.band(c)), append(lines, l.line(c, 3))
		cols = append(cols, b.load(l.Text+", "+unit, func(p analysis.LoadPoint) string { return words.Between(of[i](p), 1, digits) }))
	}
	return bands, lines, cols
}

// load is a column of the load's table, and loadTable the table.
func (b *builder) load(head string, cell func(analysis.LoadPoint) string) column {
	return column{head, each(b.r.FootLoad, cell)}
}

func (b *builder) loadTable(caption string, cols []column) *table {
	return b.bySpeed(caption, each(b.r.FootLoad, func(p analysis.LoadPoint) float64 { return b.speed(p.Speed) }), cols...)
}

// share is the front foot's share today and after the step, over the time
// spent at each speed.
func (b *builder) share() *figure {
	r := b.r
	if len(r.FootLoad) == 0 {
		return nil
	}
	f := newFigure("share", b.u, b.u.Sheet(r))
	f.Read = "Speed"
	bands, lines, cols := b.steps(f, "%", 0, func(p analysis.LoadPoint) interval.Interval { return percent(p.FrontShare) },
		func(p analysis.LoadPoint) interval.Interval { return percent(p.FrontShareAfter) })
	if best := b.u.Sheet(r).Best(); best != nil {
		l := legend{"dots", "best", "all the way to the best trim"}
		bands, f.Legend = append(bands, l.line(b.shares(best.Curve), 2)), append(f.Legend, l)
		cols = append(cols, b.load("best trim, %", func(p analysis.LoadPoint) string { return words.Share(shareOf(best.Curve, float64(p.Speed))) }))
	}
	lines = append(lines, b.measured(f)...)
	panels := []*chart.Panel{{YLabel: "front share, %", XLabel: b.speedLabel(), X: b.speedRange(), Height: 3.8,
		Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 50, Ink: "even"}}, lines)}}
	if len(r.SpeedHistogram) > 0 {
		cols = append(cols, b.load("time there, min", func(p analysis.LoadPoint) string { return b.timeAt(float64(p.Speed)) }))
		panels[0].HideX, panels[0].XLabel = true, ""
		panels = append(panels, &chart.Panel{XLabel: b.speedLabel(), YLabel: "min", X: panels[0].X,
			YTicks: chart.Ticks{Count: 2}, Layers: []chart.Layer{b.histogram()}})
	}
	f.plot(tall(1.12), panels...)
	f.Table = b.loadTable("Front foot's share of the load by speed", cols)
	return f
}

// measured are the shares that foot forces show, with their 90 % intervals.
func (b *builder) measured(f *figure) []chart.Layer {
	if b.r.FootForces == nil || len(b.r.FootForces.Shares) == 0 {
		return nil
	}
	f.Legend = append(f.Legend, legend{"dot", "stbd", "measured under the feet"})
	return []chart.Layer{chart.Whiskers{Ink: "stbd", Upright: true, Items: each(b.r.FootForces.Shares, func(s feet.Share) chart.Sample { return sample(b.speed(s.Speed), percent(s.Front)) })}}
}

// histogram draws the time at each speed as bars from zero, in minutes.
func (b *builder) histogram() chart.Layer {
	return chart.Boxes{Ink: "hist", Boxes: each(b.r.SpeedHistogram, func(h analysis.SpeedBin) chart.Box {
		lo, hi := b.u.SpeedValue(h.Low), b.u.SpeedValue(h.High)
		gap := 0.06 * (hi - lo)
		return chart.Box{X0: lo + gap, X1: hi - gap, Y1: h.Seconds / 60}
	})}
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

// shareOf is a curve's share at a speed, between its points; unknown outside.
func shareOf(c []advice.SharePoint, v float64) interval.Interval {
	i, on, ok := words.Place(len(c), func(i int) interval.Number { return c[i].Speed }, v)
	if !ok {
		return interval.Unknown()
	}
	return interval.Mix(c[i].Share, c[i+words.Choose(on > 0, 1, 0)].Share, on)
}

// gradient is how much the front foot's share grows with speed: what steadies
// a board that runs faster.
func (b *builder) gradient() *figure {
	if !slices.ContainsFunc(b.r.FootLoad, func(p analysis.LoadPoint) bool { return p.Gradient.Known() }) {
		return nil
	}
	f := newFigure("gradient", b.u, b.u.Sheet(b.r))
	f.Read = "Speed"
	unit := b.u.GradientUnit()
	k, newton := b.u.Moment(1)
	bands, lines, cols := b.steps(f, unit, 1, func(p analysis.LoadPoint) interval.Interval { return b.u.Gradient(p.Gradient) },
		func(p analysis.LoadPoint) interval.Interval { return b.u.Gradient(p.GradientAfter) })
	cols = append(cols, b.load("moment the feet must hold today, "+newton+" (nose-up +)", func(p analysis.LoadPoint) string { return words.Between(p.Moment, k, 0) }))
	f.Table = b.loadTable("Speed gradient of the front foot's share by speed", cols)
	f.plot(tall(0.85), &chart.Panel{XLabel: b.speedLabel(), YLabel: unit, Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 0, Ink: "even"}}, lines)})
	return f
}

// options shows each number of cards as a small picture of its own.
func (b *builder) options() *figure {
	a := b.r.Advice
	if a == nil || len(a.Options) < 2 {
		return nil
	}
	s := b.u.Sheet(b.r)
	f := newFigure("options", b.u, s)
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "with this choice"}}
	today := b.shares(b.today())
	all := today
	for _, o := range a.Options {
		all = append(all, b.shares(o.Curve)...)
	}
	_, _, lo, hi := chart.Extent(legend{}.band(all))
	xr, yr := b.speedRange(), chart.Range{Lo: math.Max(-40, math.Min(40, lo-3)), Hi: math.Min(140, math.Max(60, hi+3))}
	var panels []*chart.Panel
	f.Table = &table{Caption: "What each choice does, with 90 % intervals", Head: []string{"choice", "shim, mm", "foil move, " + b.u.LengthName() + " (+ forward)",
		"front share at " + b.u.SpeedText(s.Lo) + ", %", "at " + b.u.SpeedText(s.Mid) + ", %", "at " + b.u.SpeedText(s.Top) + ", %", "speed gradient at " + b.u.SpeedText(s.Top) + ", " + b.u.GradientUnit(), "chance that it is below zero", "chance of more even", "within reach"}}
	for _, o := range a.Options {
		c := b.shares(o.Curve)
		panels = append(panels, &chart.Panel{Title: words.ChoiceName(o), X: xr, Y: yr, YTicks: chart.Ticks{Count: 3, Suffix: "%"}, XTicks: chart.Ticks{Count: 3},
			Layers: []chart.Layer{chart.Rule{At: 50, Ink: "even"}, f.Legend[1].band(c), f.Legend[0].line(today, 1.5), f.Legend[1].line(c, 2.5)}})
		reach, better := "no", words.Percent(float64(o.ChanceBetter))
		if o.Reachable {
			reach = words.Choose(o.FeetToo, "with the feet", "yes")
		}
		if o.Cards == 0 && !o.Best && math.Abs(o.FoilMove.Value) < 0.5 {
			better = "-"
		}
		f.Table.add(words.ChoiceName(o), words.Fixed(float64(o.Shim), 2), words.Between(o.FoilMove, b.u.LengthValue(0.001), b.u.LengthDigits()),
			words.Share(o.ShareLow), words.Share(o.ShareMid), words.Share(o.ShareTop), words.Between(b.u.Gradient(o.Gradient), 1, 1), words.Percent(float64(o.Overshoot)), better, reach)
	}
	f.plot(multiples(len(panels), 165, 2, 170, 3), panels...)
	return f
}

// dragParts are the drag's parts, as they are drawn.
var dragParts = []struct {
	legend
	of func(analysis.DragPoint) interval.Interval
}{
	{legend{"line", "now", "in the water"}, func(p analysis.DragPoint) interval.Interval { return p.Drag }},
	{legend{"dash", "next", "wing"}, func(p analysis.DragPoint) interval.Interval { return p.Wing }},
	{legend{"dots", "best", "stabilizer"}, func(p analysis.DragPoint) interval.Interval { return p.Stabilizer }},
	{legend{"dash", "drag", "mast with spray"}, func(p analysis.DragPoint) interval.Interval {
		return interval.Exact(p.Mast.Value + p.Spray.Value)
	}},
	{legend{"line", "stbd", "in the air"}, func(p analysis.DragPoint) interval.Interval { return p.Air }},
}

// drag is the drag against speed, and its parts.
func (b *builder) drag() *figure {
	says := b.u.Drag(b.r)
	if len(says) == 0 {
		return nil
	}
	f, curve := newFigure("drag", b.u, nil), b.r.Drag.Curve
	f.Open, f.Read, f.Says = true, "Speed", says[2]
	var cols []column
	var layers []chart.Layer
	for i, x := range dragParts {
		c := each(curve, func(p analysis.DragPoint) chart.Sample { return sample(b.speed(p.Speed), x.of(p)) })
		if i == 0 {
			layers = append(layers, x.band(c))
		}
		layers = append(layers, x.line(c, words.Choose(i == 0, 3.0, 2.0)))
		f.Legend = append(f.Legend, x.legend)
		cols = append(cols, column{x.Text, each(curve, func(p analysis.DragPoint) string { return words.Between(x.of(p), 1, 0) })})
	}
	cols = append(cols, column{"lift to drag", each(curve, func(p analysis.DragPoint) string { return words.Between(p.LiftToDrag, 1, 1) })})
	f.Table = b.bySpeed("Drag by speed, N", each(curve, func(p analysis.DragPoint) float64 { return b.speed(p.Speed) }), cols...)
	f.plot(tall(1), &chart.Panel{XLabel: b.speedLabel(), YLabel: "drag, N", Layers: layers})
	return f
}
