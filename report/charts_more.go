package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// gradient is how much the front foot's share grows with speed: what steadies
// a board that runs faster.
func (b *builder) gradient() *figure {
	f := &figure{ID: "gradient", Title: "How the load grows with speed", Read: "Speed"}
	if !slices.ContainsFunc(b.r.FootLoad, func(p analysis.LoadPoint) bool { return p.Gradient.Known() }) {
		return nil
	}
	unit := b.u.GradientUnit()
	k, newton := b.u.Moment(1)
	f.Note = "The line says how much of the load, in percent, moves onto the front foot with each " + b.u.SpeedName() + ", the feet held still. Above zero a board that runs faster lifts its nose and slows itself: calm. At zero the load is even at every speed and nothing steadies it. Below zero it drops its nose and runs away. The shaded bands hold the true value with 90 % probability."
	f.Says = b.gradientSays(stepOf(b.r))
	bands, lines, cols := b.steps(f, unit, 1, b.u.Gradient,
		func(p analysis.LoadPoint) interval.Interval { return p.Gradient }, func(p analysis.LoadPoint) interval.Interval { return p.GradientAfter })
	cols = append(cols, column{"moment the feet must hold today, " + newton + " (nose-up +)", func(p analysis.LoadPoint) string { return words.Between(p.Moment, k, 0) }})
	f.Table = b.loadTable("Speed gradient of the front foot's share", cols)
	f.draw(tall(0.85), func(bool) []*chart.Panel {
		return []*chart.Panel{{XLabel: b.speedLabel(), YLabel: unit, Layers: slices.Concat(bands, []chart.Layer{chart.Rule{At: 0, Ink: "even"}}, lines)}}
	})
	return f
}

// topOf is the top speed that counts, m/s.
func topOf(r *analysis.Result) float64 {
	_, _, top := words.SpeedsOf(r)
	return top
}

// gradientSays is what this log shows at the top speed.
func (b *builder) gradientSays(step bool) string {
	top := topOf(b.r)
	p, ok := words.LoadAt(b.r, top)
	if !ok {
		return "The load at the top speed is not known."
	}
	now, then := p.Gradient, p.GradientAfter
	if a := b.r.Advice; a != nil && a.GradientNow.Known() {
		now, then = a.GradientNow, a.GradientAfter // the advice's own, by cards that are not all alike
	}
	s := fmt.Sprintf("At the top speed (%s) the front foot %s of the load with each %s", b.u.SpeedText(top), b.u.Gains(now), b.u.SpeedName())
	if step {
		s += "; after the next step it " + b.u.Gains(then)
	}
	s += "."
	if a := b.r.Advice; a != nil && words.Finite(float64(a.Overshoot)) {
		s += fmt.Sprintf(" The chance that it is %sbelow zero: %s.", words.Choose(step, "then ", ""), words.Percent(float64(a.Overshoot)))
	}
	return s
}

// stepOf says whether a step is advised, after which the load is another.
func stepOf(r *analysis.Result) bool { return r.Advice != nil && r.Advice.Verdict == advice.Change }

// effort is how much the feet work at each speed.
func (b *builder) effort() *figure {
	pts := slices.DeleteFunc(slices.Clone(b.r.ControlEffort), func(p analysis.EffortPoint) bool { return !words.Finite(p.Interval.Value) })
	if len(pts) == 0 {
		return nil
	}
	f := &figure{ID: "effort", Title: "How hard your feet work"}
	f.Note = "The mark is the size of the quick pitch corrections (root mean square of the pitch rate), with its 90 % interval. Less is calmer."
	f.Table = &table{Caption: "Pitch corrections by speed and tack", Head: []string{"speed, " + b.u.SpeedName(), "tack", "degrees per second"}}
	for _, p := range pts {
		f.Table.add(math.NaN(), words.Fixed(b.u.SpeedValue(float64(p.Speed)), 1), words.Choose(p.Tack == "", "both", words.Clean(p.Tack)), words.Between(p.Interval, 1, 2))
	}
	rate := func(p, q analysis.EffortPoint) int { return cmp.Compare(p.Interval.Value, q.Interval.Value) }
	tacks := slices.ContainsFunc(pts, func(p analysis.EffortPoint) bool { return p.Tack != "" })
	both := slices.DeleteFunc(slices.Clone(pts), func(p analysis.EffortPoint) bool { return p.Tack != "" })
	if len(both) == 0 {
		both = pts
	}
	least, most := slices.MinFunc(both, rate), slices.MaxFunc(both, rate)
	f.Says = "Your feet work about equally hard at all speeds."
	if lo, hi := least.Interval.Value, most.Interval.Value; hi >= 1.1*lo {
		f.Says = fmt.Sprintf("Your feet work least at about %s and most at about %s, %s times as much.", b.u.SpeedText(float64(least.Speed)), b.u.SpeedText(float64(most.Speed)), words.Fixed(hi/math.Max(lo, 1e-9), 1))
	}
	var layers []chart.Layer
	for _, s := range []struct {
		tack, ink, name, kind string
		shape                 chart.Shape
		shift                 float64 // so that two marks at one speed stand beside each other
	}{{"port", "port", "port tack", "square", chart.Square, -0.12}, {"starboard", "stbd", "starboard tack", "dot", chart.Round, 0.12}, {"", "now", "both tacks", "dot", chart.Round, 0}} {
		w := chart.Whiskers{Ink: chart.Ink(s.ink), Shape: s.shape, Upright: true}
		for _, p := range pts {
			if p.Tack == s.tack && (s.tack != "" || !tacks) { // both tacks only where they are not told apart
				w.Items = append(w.Items, chart.Whisker{Row: b.u.SpeedValue(float64(p.Speed)) + s.shift, Value: p.Interval.Value, Lo: p.Interval.Low, Hi: p.Interval.High})
			}
		}
		if len(w.Items) > 0 {
			layers, f.Legend = append(layers, w), append(f.Legend, legend{s.kind, s.ink, s.name})
		}
	}
	f.draw(tall(0.85), func(bool) []*chart.Panel {
		return []*chart.Panel{{XLabel: b.speedLabel(), YLabel: "degrees per second", Layers: layers}}
	})
	return f
}

// tornadoRows is how many inputs the picture of the doubt shows.
const tornadoRows = 10

// tornado is what the doubt comes from, largest first.
func (b *builder) tornado() *figure {
	type item struct {
		name, from    string
		before, after float64
	}
	var all []item
	for _, a := range b.r.Assumptions {
		before, after := math.Abs(float64(a.ShimDegPerSigma)), math.Abs(float64(a.ShimDegPerSigmaAfter))
		if words.Finite(before) && words.Finite(after) {
			all = append(all, item{words.Clean(a.Name), words.Choose(a.Default, "assumed", "setup"), before, after})
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(p, q item) int { return cmp.Compare(q.after, p.after) })
	f := &figure{ID: "doubt", Title: "Where the doubt comes from"}
	f.Legend = []legend{{"box", "hist", "before this log"}, {"box", "now", "with this log and your notes"}}
	f.Note = "Each bar says how many degrees the best stabilizer angle would shift if this input were off by its usual error."
	f.Says = fmt.Sprintf("The largest doubt left is the %s: its usual error shifts the best stabilizer angle by %s degrees.", all[0].name, words.Fixed(all[0].after, 2))
	if all[0].from == "assumed" {
		f.Says += " The setup does not give it."
	}
	f.Table = &table{Caption: "Shift of the best stabilizer angle by the usual error of each input, degrees", Head: []string{"input", "before", "after", "from"}}
	for _, i := range all {
		f.Table.add(math.NaN(), i.name, words.Fixed(i.before, 2), words.Fixed(i.after, 2), i.from)
	}
	items := all[:min(len(all), tornadoRows)]
	f.draw(tall(0.25+0.085*float64(len(items))), func(wide bool) []*chart.Panel {
		names := make(chart.Named, len(items))
		before, after := chart.Boxes{Ink: "hist"}, chart.Boxes{Ink: "now"}
		hi := 1e-6
		for i, it := range items {
			row := len(items) - 1 - i
			names[row] = it.name
			if !wide {
				names[row] = words.CleanTo(it.name, 24)
			}
			y := float64(row)
			before.Boxes = append(before.Boxes, chart.Box{X0: 0, X1: it.before, Y0: y + 0.04, Y1: y + 0.36})
			after.Boxes = append(after.Boxes, chart.Box{X0: 0, X1: it.after, Y0: y - 0.32, Y1: y})
			hi = max(hi, it.before, it.after)
		}
		return []*chart.Panel{{XLabel: "degrees of stabilizer angle", X: chart.Range{Lo: 0, Hi: 1.04 * hi},
			Y: chart.Range{Lo: -0.6, Hi: float64(len(items)) - 0.4}, YTicks: names, Layers: []chart.Layer{before, after}}}
	})
	return f
}
