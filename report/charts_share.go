package report

import (
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// A reading is one number of the feet's load, as it is shown.
type reading func(p analysis.LoadPoint) interval.Interval

func loadSpeed(p analysis.LoadPoint) interval.Number { return p.Speed }

// percent is a share as the charts show it.
func percent(share interval.Interval) interval.Interval { return words.Possible(share).Scale(100) }

// today is the front foot's share by speed.
func (b *builder) today() (c []advice.SharePoint) {
	for _, p := range b.r.FootLoad {
		c = append(c, advice.SharePoint{Speed: p.Speed, Share: p.FrontShare})
	}
	return c
}

// shares is a curve of the front foot's share as the charts show it.
func (b *builder) shares(c []advice.SharePoint) (out []sample) {
	for _, p := range c {
		out = append(out, sample{b.u.SpeedValue(float64(p.Speed)), percent(p.Share)})
	}
	return out
}

// steps are the bands, the lines and the columns of a number of the load
// today and, where there is a step, after it.
func (b *builder) steps(f *figure, unit string, digits int, of ...reading) (bands, lines []chart.Layer, cols []column[analysis.LoadPoint]) {
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "after the next step"}}
	if !stepOf(b.r) {
		f.Legend = f.Legend[:1]
	}
	for i, l := range f.Legend {
		var c []sample
		for _, p := range b.r.FootLoad {
			c = append(c, sample{b.u.SpeedValue(float64(p.Speed)), of[i](p)})
		}
		bands, lines = append(bands, l.band(c)), append(lines, l.line(c, 3))
		cols = append(cols, column[analysis.LoadPoint]{l.Text + ", " + unit, func(p analysis.LoadPoint) string { return words.Between(of[i](p), 1, digits) }})
	}
	return bands, lines, cols
}

// stepOf says whether a step is advised, after which the load is another.
func stepOf(r *analysis.Result) bool { return r.Advice != nil && r.Advice.Verdict == advice.Change }

// share is the front foot's share today and after the step, over the time
// spent at each speed.
func (b *builder) share() *figure {
	r := b.r
	if len(r.FootLoad) == 0 {
		return nil
	}
	lo, _, top := words.SpeedsOf(r)
	slow, _ := words.LoadAt(r, lo)
	fast, _ := words.LoadAt(r, top)
	f := newFigure("share", b.u, struct {
		Today       string
		Timed, Step bool
		Low, Top    interval.Interval // after the step
	}{words.Today(r, b.u), len(r.SpeedHistogram) > 0, stepOf(r), slow.FrontShareAfter, fast.FrontShareAfter})
	f.Read = "Speed"
	bands, lines, cols := b.steps(f, "%", 0, func(p analysis.LoadPoint) interval.Interval { return percent(p.FrontShare) },
		func(p analysis.LoadPoint) interval.Interval { return percent(p.FrontShareAfter) })
	if best := bestOption(r); best != nil {
		l := legend{"dots", "best", "all the way to the best trim"}
		bands, f.Legend = append(bands, l.line(b.shares(best.Curve), 2)), append(f.Legend, l)
		cols = append(cols, column[analysis.LoadPoint]{"best trim, %", func(p analysis.LoadPoint) string { return words.Share(shareOf(best.Curve, float64(p.Speed))) }})
	}
	lines = append(lines, b.measured(f)...)
	panels := []*chart.Panel{{YLabel: "front share, %", XLabel: b.speedLabel(), X: b.speedRange(), Height: 3.8,
		Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 50, Ink: "even"}}, lines)}}
	if len(r.SpeedHistogram) > 0 {
		cols = append(cols, column[analysis.LoadPoint]{"time there, min", func(p analysis.LoadPoint) string { return b.timeAt(float64(p.Speed)) }})
		panels[0].HideX, panels[0].XLabel = true, ""
		panels = append(panels, &chart.Panel{XLabel: b.speedLabel(), YLabel: "min", X: panels[0].X,
			YTicks: chart.Ticks{Count: 2}, Layers: []chart.Layer{b.histogram()}})
	}
	f.plot(tall(1.12), panels...)
	f.Table = bySpeed(b, "Front foot's share of the load by speed", r.FootLoad, loadSpeed, cols)
	return f
}

// measured are the shares that foot forces show, with their 90 % intervals.
func (b *builder) measured(f *figure) (out []chart.Layer) {
	if b.r.FootForces == nil || len(b.r.FootForces.Shares) == 0 {
		return nil
	}
	dots := chart.Dots{Ink: "stbd", Size: 6}
	for _, s := range b.r.FootForces.Shares {
		x, share := b.u.SpeedValue(float64(s.Speed)), percent(s.Front)
		dots.Points = append(dots.Points, chart.XY{X: x, Y: share.Value})
		out = append(out, chart.Line{Points: []chart.XY{{X: x, Y: share.Low}, {X: x, Y: share.High}}, Ink: "stbd", Width: 1.5})
	}
	f.Legend = append(f.Legend, legend{"dot", "stbd", "measured under the feet"})
	return append(out, dots)
}

// bestOption is the trim to which the steps lead, nil for none.
func bestOption(r *analysis.Result) *advice.Option {
	if r.Advice != nil {
		if i := slices.IndexFunc(r.Advice.Options, func(o advice.Option) bool { return o.Best }); i >= 0 {
			return &r.Advice.Options[i]
		}
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

// shareOf is a curve's share at a speed, between its points; unknown outside.
func shareOf(c []advice.SharePoint, v float64) interval.Interval {
	i, on, ok := words.Place(len(c), func(i int) interval.Number { return c[i].Speed }, v)
	if !ok {
		return interval.Unknown()
	}
	return interval.Mix(c[i].Share, c[i+words.Choose(on > 0, 1, 0)].Share, on)
}

// topOf is the top speed that counts, m/s.
func topOf(r *analysis.Result) float64 {
	_, _, top := words.SpeedsOf(r)
	return top
}

// gradient is how much the front foot's share grows with speed: what steadies
// a board that runs faster.
func (b *builder) gradient() *figure {
	if !slices.ContainsFunc(b.r.FootLoad, func(p analysis.LoadPoint) bool { return p.Gradient.Known() }) {
		return nil
	}
	top := topOf(b.r)
	p, known := words.LoadAt(b.r, top)
	says := struct {
		Known, Step    bool
		Top, Overshoot float64
		Now, Then      interval.Interval
	}{known, stepOf(b.r), top, math.NaN(), p.Gradient, p.GradientAfter}
	if a := b.r.Advice; a != nil {
		if says.Overshoot = float64(a.Overshoot); a.GradientNow.Known() {
			says.Now, says.Then = a.GradientNow, a.GradientAfter // the advice's own, by cards that are not all alike
		}
	}
	f := newFigure("gradient", b.u, says)
	f.Read = "Speed"
	unit := b.u.GradientUnit()
	k, newton := b.u.Moment(1)
	bands, lines, cols := b.steps(f, unit, 1, func(p analysis.LoadPoint) interval.Interval { return b.u.Gradient(p.Gradient) },
		func(p analysis.LoadPoint) interval.Interval { return b.u.Gradient(p.GradientAfter) })
	cols = append(cols, column[analysis.LoadPoint]{"moment the feet must hold today, " + newton + " (nose-up +)", func(p analysis.LoadPoint) string { return words.Between(p.Moment, k, 0) }})
	f.Table = bySpeed(b, "Speed gradient of the front foot's share by speed", b.r.FootLoad, loadSpeed, cols)
	f.plot(tall(0.85), &chart.Panel{XLabel: b.speedLabel(), YLabel: unit, Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 0, Ink: "even"}}, lines)})
	return f
}

// options shows each number of cards as a small picture of its own.
func (b *builder) options() *figure {
	a := b.r.Advice
	if a == nil || len(a.Options) < 2 {
		return nil
	}
	var pick *advice.Option // the closest to even
	for i := range a.Options {
		if o := &a.Options[i]; !o.Best && o.Evenness.Known() && o.Reachable && (pick == nil || o.Evenness.Value < pick.Evenness.Value) {
			pick = o
		}
	}
	says := struct {
		*analysis.Result
		Pick *advice.Option
		Name string
	}{b.r, pick, ""}
	if pick != nil {
		says.Name = optionName(*pick)
	}
	f := newFigure("options", b.u, says)
	f.Legend = []legend{{"line", "now", "today"}, {"dash", "next", "with this choice"}}
	today := b.shares(b.today())
	all := today
	for _, o := range a.Options {
		all = append(all, b.shares(o.Curve)...)
	}
	_, _, lo, hi := chart.Extent(legend{}.band(all))
	xr, yr := b.speedRange(), chart.Range{Lo: math.Max(-40, math.Min(40, lo-3)), Hi: math.Min(140, math.Max(60, hi+3))}
	var panels []*chart.Panel
	lowV, midV, topV := words.SpeedsOf(b.r)
	f.Table = &table{Caption: "What each choice does, with 90 % intervals", Head: []string{"choice", "shim, mm", "foil move, " + b.u.LengthName() + " (+ forward)",
		"front share at " + b.u.SpeedText(lowV) + ", %", "at " + b.u.SpeedText(midV) + ", %", "at " + b.u.SpeedText(topV) + ", %", "speed gradient at " + b.u.SpeedText(topV) + ", " + b.u.GradientUnit(), "chance that it is below zero", "chance of more even", "within reach"}}
	for _, o := range a.Options {
		c := b.shares(o.Curve)
		panels = append(panels, &chart.Panel{Title: optionName(o), X: xr, Y: yr, YTicks: chart.Ticks{Count: 3, Suffix: "%"}, XTicks: chart.Ticks{Count: 3},
			Layers: []chart.Layer{chart.Rule{At: 50, Ink: "even"}, f.Legend[1].band(c), f.Legend[0].line(today, 1.5), f.Legend[1].line(c, 2.5)}})
		reach, better := "no", words.Percent(float64(o.ChanceBetter))
		if o.Reachable {
			reach = words.Choose(o.FeetToo, "with the feet", "yes")
		}
		if o.Cards == 0 && !o.Best && math.Abs(o.FoilMove.Value) < 0.5 {
			better = "-"
		}
		f.Table.add(optionName(o), words.Fixed(float64(o.Shim), 2), words.Between(o.FoilMove, b.u.LengthValue(0.001), b.u.LengthDigits()),
			words.Share(o.ShareLow), words.Share(o.ShareMid), words.Share(o.ShareTop), words.Between(b.u.Gradient(o.Gradient), 1, 1), words.Percent(float64(o.Overshoot)), better, reach)
	}
	f.plot(multiples(len(panels), 165, 2, 170, 3), panels...)
	return f
}

func optionName(o advice.Option) string {
	switch {
	case o.Best:
		return "Best trim"
	case o.Cards == 0:
		return "Shim as today"
	}
	return words.UpperFirst(words.CardCount(o.Cards))
}

// dragSpeed and the drag's parts, as they are drawn.
func dragSpeed(p analysis.DragPoint) interval.Number { return p.Speed }

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
	f := newFigure("drag", b.u, nil)
	f.Open, f.Read, f.Says = true, "Speed", b.u.Drag(b.r)[2]
	var cols []column[analysis.DragPoint]
	var layers []chart.Layer
	for i, x := range dragParts {
		var c []sample
		for _, p := range b.r.Drag.Curve {
			c = append(c, sample{b.u.SpeedValue(float64(p.Speed)), x.of(p)})
		}
		if i == 0 {
			layers = append(layers, x.band(c))
		}
		layers = append(layers, x.line(c, words.Choose(i == 0, 3.0, 2.0)))
		f.Legend = append(f.Legend, x.legend)
		cols = append(cols, column[analysis.DragPoint]{x.Text, func(p analysis.DragPoint) string { return words.Between(x.of(p), 1, 0) }})
	}
	cols = append(cols, column[analysis.DragPoint]{"lift to drag", func(p analysis.DragPoint) string { return words.Between(p.LiftToDrag, 1, 1) }})
	f.Table = bySpeed(b, "Drag by speed, N", b.r.Drag.Curve, dragSpeed, cols)
	f.plot(tall(1), &chart.Panel{XLabel: b.speedLabel(), YLabel: "drag, N", Layers: layers})
	return f
}
