package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot"
)

// stiffness is how firmly the board holds its pitch, and what the step does to it.
func (b *builder) stiffness() *figure {
	k, unit := b.u.Moment(1)
	now := words.StiffnessNow(b.r)
	if len(now) == 0 {
		return nil
	}
	f := &figure{ID: "stiffness", Title: "How firmly the board holds its pitch", Read: "Speed"}
	after := words.OutcomeOf(b.r)
	f.Legend = []legend{{"line", "now", "today"}}
	f.Note = "Pitch stiffness is the moment that turns the board back when its nose goes up one degree and your feet stay put. High is calm, low is lively. Below zero the board runs away and you must correct all the time."
	f.Says = b.stiffnessSays(after)
	points := func(all []words.StiffAt) (line []chart.XY, area []chart.BandPoint) {
		for _, s := range all {
			x := b.u.SpeedValue(s.Speed)
			line, area = append(line, chart.XY{X: x, Y: s.K.Value * k}), append(area, band(x, s.K, k))
		}
		return line, area
	}
	line, area := points(now)
	layers := []plot.Plotter{chart.Band{Points: area, Ink: "now-band"}, chart.Rule{At: 0, Ink: "even"}, chart.Line{Points: line, Ink: "now", Width: 3}}
	cols := []column{{"stiffness today, " + unit + " per degree", func(p analysis.LoadPoint) string { return words.Between(p.Stiffness, k, 1) }}}
	if after != nil && len(after.Stiffness) > 0 {
		next, _ := points(after.Stiffness)
		layers = append(layers, chart.Line{Points: next, Ink: "next", Width: 3, Dash: dashes})
		f.Legend = append(f.Legend, legend{"dash", "next", "after the next step"})
		cols = append(cols, column{"after the next step, " + unit + " per degree", func(p analysis.LoadPoint) string { return words.Between(p.StiffnessAfter, k, 1) }})
	}
	cols = append(cols, column{"moment the feet must hold today, " + unit + " (nose-up +)", func(p analysis.LoadPoint) string { return words.Between(p.Moment, k, 0) }})
	f.Table = b.loadTable("Pitch stiffness", cols)
	f.draw(tall(0.85), func(bool) []*chart.Panel {
		return []*chart.Panel{{XLabel: b.speedLabel(), YLabel: unit + " per degree", Layers: layers}}
	})
	return f
}

func (b *builder) stiffnessSays(after *words.Outcome) string {
	ks := words.Within(b.r, words.StiffnessNow(b.r))
	if len(ks) == 0 {
		return "The pitch stiffness is not known over your speeds."
	}
	var s string
	switch now := words.Loose(ks, b.u); now {
	case "":
		s = b.growth(ks)
	default:
		s = strings.TrimPrefix(words.NoHold(now, true, ""), "As today, ") + ": your feet must correct all the time."
		s = words.UpperFirst(s)
		if now != words.EverySpeed {
			s += " At the other speeds it does."
		}
	}
	if after == nil {
		return s
	}
	if then := words.Loose(words.Within(b.r, after.Stiffness), b.u); then != "" {
		s += " After the next step this is so " + then + "."
	}
	_, _, top := words.SpeedsOf(b.r)
	p, q := words.StiffnessAt(ks, top), words.StiffnessAt(after.Stiffness, top)
	k, unit := b.u.Moment(1)
	switch {
	case words.ClearRatio(after.Ratio):
		s += fmt.Sprintf(" At the top speed (%s) the stiffness after the next step is about %s of today's.", b.u.SpeedText(top), words.Percent(after.Ratio.Value))
	case p.Known() && q.Known():
		s += fmt.Sprintf(" At the top speed (%s) it goes from %s to %s %s per degree with the next step; a ratio is not known, because %s.", b.u.SpeedText(top),
			words.Fixed(p.Value*k, 1), words.Fixed(q.Value*k, 1), unit, words.Choose(after.Ratio.Known(), "it may fall to zero or below", "today's may be zero or below"))
	}
	return s
}

// growth says how a stiffness above zero goes with speed.
func (b *builder) growth(ks []words.StiffAt) string {
	least, most := ks[0], ks[0]
	up, down := true, true
	for i, k := range ks {
		if k.K.Value < least.K.Value {
			least = k
		}
		if k.K.Value > most.K.Value {
			most = k
		}
		if i > 0 {
			up, down = up && k.K.Value >= ks[i-1].K.Value, down && k.K.Value <= ks[i-1].K.Value
		}
	}
	from, to := b.u.SpeedText(ks[0].Speed), b.u.SpeedText(ks[len(ks)-1].Speed)
	switch {
	case up && down || from == to:
		return "The board holds its pitch about equally firmly at all your speeds."
	case up:
		return fmt.Sprintf("The board gets firmer with speed: from %s to %s the stiffness grows.", from, to)
	case down:
		return fmt.Sprintf("The board gets livelier with speed: from %s to %s the stiffness falls.", from, to)
	}
	return fmt.Sprintf("The board holds its pitch by itself at all your speeds, most firmly at about %s and least at about %s.", b.u.SpeedText(most.Speed), b.u.SpeedText(least.Speed))
}

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
	least, most := slices.MinFunc(pts, rate), slices.MaxFunc(pts, rate)
	f.Says = "Your feet work about equally hard at all speeds."
	if lo, hi := least.Interval.Value, most.Interval.Value; hi >= 1.1*lo {
		f.Says = fmt.Sprintf("Your feet work least at about %s and most at about %s, %s times as much.", b.u.SpeedText(float64(least.Speed)), b.u.SpeedText(float64(most.Speed)), words.Fixed(hi/math.Max(lo, 1e-9), 1))
	}
	tacks := slices.ContainsFunc(pts, func(p analysis.EffortPoint) bool { return p.Tack != "" })
	var layers []plot.Plotter
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
	f.Note = "Each bar says how many degrees the best stabilizer angle would shift if this input were off by its usual error (one standard deviation)."
	f.Says = fmt.Sprintf("The largest doubt left is the %s: its usual error shifts the best stabilizer angle by %s degrees.", all[0].name, words.Fixed(all[0].after, 2))
	if all[0].from == "assumed" {
		f.Says += " The setup does not give it."
	}
	f.Table = &table{Caption: "Shift of the best stabilizer angle by one standard deviation of each input, degrees", Head: []string{"input", "before", "after", "from"}}
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
			Y: chart.Range{Lo: -0.6, Hi: float64(len(items)) - 0.4}, YTicks: names, Layers: []plot.Plotter{before, after}}}
	})
	return f
}
