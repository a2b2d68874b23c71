package report

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot"
)

// band is an interval at x as a chart wants it, scaled.
func band(x float64, i interval.Interval, k float64) chart.BandPoint {
	return chart.BandPoint{X: x, Lo: i.Low * k, Hi: i.High * k}
}

// curve is a share curve as line and band, in percent.
func (b *builder) curve(c []advice.SharePoint) (line []chart.XY, area []chart.BandPoint) {
	for _, p := range c {
		x := b.u.SpeedValue(float64(p.Speed))
		line = append(line, chart.XY{X: x, Y: p.Share.Value * 100})
		area = append(area, band(x, p.Share, 100))
	}
	return line, area
}

func (b *builder) today() []advice.SharePoint {
	var c []advice.SharePoint
	for _, p := range b.r.FootLoad {
		c = append(c, advice.SharePoint{Speed: p.Speed, Share: p.FrontShare})
	}
	return c
}

// share is the front foot's share today and after the step, over the time
// spent at each speed.
func (b *builder) share() *figure {
	r := b.r
	if len(r.FootLoad) == 0 {
		return nil
	}
	f := &figure{ID: "share", Title: "Front foot's share of the load", Read: "Speed"}
	next := words.OutcomeOf(r)
	var best *advice.Option
	if a := r.Advice; a != nil {
		for i := range a.Options {
			if a.Options[i].Best {
				best = &a.Options[i]
			}
		}
	}
	f.Says = b.shareSays(next)
	f.Note = "50 % is even. The shaded bands hold the true value with 90 % probability."
	if len(r.SpeedHistogram) > 0 {
		f.Note += " The bars show how long you rode at each speed."
	}
	f.Legend = []legend{{"line", "now", "today"}}
	if next != nil {
		f.Legend = append(f.Legend, legend{"dash", "next", "after the next step"})
	}
	if best != nil {
		f.Legend = append(f.Legend, legend{"dots", "best", "all the way to the best trim"})
	}
	today := b.today()
	xr := b.speedRange()
	draw(f, 1.12, func(wide bool) []*chart.Panel {
		top := &chart.Panel{YLabel: "front share, %", X: xr, HideX: len(r.SpeedHistogram) > 0, Height: 3.2}
		if len(r.SpeedHistogram) == 0 {
			top.XLabel = b.speedLabel()
		}
		nowLine, nowBand := b.curve(today)
		top.Layers = append(top.Layers, chart.Band{Points: nowBand, Ink: "now-band"})
		if next != nil {
			_, nb := b.curve(next.Share)
			top.Layers = append(top.Layers, chart.Band{Points: nb, Ink: "next-band"})
		}
		top.Layers = append(top.Layers, chart.Rule{At: 50, Ink: "even"})
		if best != nil {
			l, _ := b.curve(best.Curve)
			top.Layers = append(top.Layers, chart.Line{Points: l, Ink: "best", Width: 2, Dash: dots})
		}
		top.Layers = append(top.Layers, chart.Line{Points: nowLine, Ink: "now", Width: 3})
		if next != nil {
			l, _ := b.curve(next.Share)
			top.Layers = append(top.Layers, chart.Line{Points: l, Ink: "next", Width: 3, Dash: dashes})
		}
		if len(r.SpeedHistogram) == 0 {
			return []*chart.Panel{top}
		}
		bars := &chart.Panel{XLabel: b.speedLabel(), YLabel: "min", X: xr, Height: 1.35,
			YTicks: chart.Ticks{Count: 2}, Layers: []plot.Plotter{b.histogram(xr)}}
		return []*chart.Panel{top, bars}
	})
	f.Table = &table{Caption: "Front foot's share of the load by speed, with 90 % intervals", Head: []string{"speed, " + b.u.SpeedName(), "today, %"}}
	if next != nil {
		f.Table.Head = append(f.Table.Head, "after the next step, %")
	}
	if best != nil {
		f.Table.Head = append(f.Table.Head, "best trim, %")
	}
	if len(r.SpeedHistogram) > 0 {
		f.Table.Head = append(f.Table.Head, "time there, min")
	}
	for _, p := range r.FootLoad {
		v := float64(p.Speed)
		cells := []string{words.Fixed(b.u.SpeedValue(v), 1), words.Between(p.FrontShare, 100, 0)}
		if next != nil {
			cells = append(cells, words.Between(words.ShareOf(next.Share, v), 100, 0))
		}
		if best != nil {
			cells = append(cells, words.Between(words.ShareOf(best.Curve, v), 100, 0))
		}
		if len(r.SpeedHistogram) > 0 {
			cells = append(cells, b.timeAt(v))
		}
		f.Table.add(b.u.SpeedValue(v), cells...)
	}
	return f
}

// histogram draws the time at each speed as bars from zero, in minutes.
func (b *builder) histogram(xr chart.Range) plot.Plotter {
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

func (b *builder) shareSays(next *words.Outcome) string {
	s := words.Today(b.r, b.u)
	if next == nil {
		return s
	}
	lo, _, top := words.SpeedsOf(b.r)
	x, y := words.ShareOf(next.Share, lo), words.ShareOf(next.Share, top)
	if x.Known() && y.Known() {
		s += fmt.Sprintf(" After the next step it is about %s and %s.", words.Percent(x.Value), words.Percent(y.Value))
	}
	return s
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
	today, todayBand := b.curve(b.today())
	xr := b.speedRange()
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range todayBand {
		if words.Finite(p.Lo) && words.Finite(p.Hi) {
			lo, hi = math.Min(lo, p.Lo), math.Max(hi, p.Hi)
		}
	}
	for _, o := range a.Options {
		_, nb := b.curve(o.Curve)
		for _, p := range nb {
			if words.Finite(p.Lo) && words.Finite(p.Hi) {
				lo, hi = math.Min(lo, p.Lo), math.Max(hi, p.Hi)
			}
		}
	}
	yr := chart.Range{Lo: math.Max(-40, math.Min(40, lo-3)), Hi: math.Min(140, math.Max(60, hi+3))}
	drawColumns(f, 1, 2, 3, func(wide bool) []*chart.Panel {
		var ps []*chart.Panel
		for _, o := range a.Options {
			line, area := b.curve(o.Curve)
			ps = append(ps, &chart.Panel{Title: optionName(o), X: xr, Y: yr, YTicks: chart.Ticks{Count: 3, Suffix: "%"}, XTicks: chart.Ticks{Count: 3},
				Layers: []plot.Plotter{chart.Rule{At: 50, Ink: "even"}, chart.Band{Points: area, Ink: "next-band"},
					chart.Line{Points: today, Ink: "now", Width: 1.5}, chart.Line{Points: line, Ink: "next", Width: 2.5, Dash: dashes}}})
		}
		return ps
	})
	lowV, midV, topV := words.SpeedsOf(b.r)
	f.Table = &table{Caption: "What each choice does, with 90 % intervals", Head: []string{"choice", "shim, mm", "foil move, " + b.u.LengthName() + " (+ forward)",
		"front share at " + b.u.SpeedText(lowV) + ", %", "at " + b.u.SpeedText(midV) + ", %", "at " + b.u.SpeedText(topV) + ", %", "pitch stiffness at " + b.u.SpeedText(topV) + ", today = 1", "chance of more even", "within reach"}}
	if slices.ContainsFunc(a.Options, func(o advice.Option) bool { return !o.StiffnessChange.Known() }) {
		f.Note += " A dash for the stiffness: today's may be zero or less at the top speed, so a ratio to it would mean nothing."
	}
	for _, o := range a.Options {
		reach := "yes"
		if !o.Reachable {
			reach = "no"
		}
		better := words.Chance(float64(o.ChanceBetter))
		if o.Cards == 0 && !o.Best && math.Abs(o.FoilMove.Value) < 0.5 {
			better = "-"
		}
		f.Table.add(math.NaN(), optionName(o), words.Fixed(float64(o.Shim), 2), words.Between(o.FoilMove, b.u.LengthValue(0.001), b.u.LengthDigits()),
			words.Between(o.ShareLow, 100, 0), words.Between(o.ShareMid, 100, 0), words.Between(o.ShareTop, 100, 0), dash(words.Between(o.StiffnessChange, 1, 2)), better, reach)
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
		return words.UpperFirst(words.Plural(-o.Cards, "card", "cards")) + " down"
	}
	return words.UpperFirst(words.Plural(o.Cards, "card", "cards")) + " up"
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
