package report

import (
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// A dragPart is what glides show.
type dragPart struct {
	Says     []string
	Figure   *figure
	Options  *table
	Glides   *table
	Lines    string // of the setup, for glides that nobody named
	Cautions []string
}

func dragFor(r *analysis.Result, u words.Units) *dragPart {
	if len(r.Glides) == 0 {
		return nil
	}
	p := &dragPart{Says: u.Drag(r), Lines: words.GlideLines(r.Glides)}
	p.Glides = &table{Caption: "Glides, and what became of them", Head: []string{"when", "what", "taken as"}}
	for _, g := range r.Glides {
		when, what, became := u.Glide(g)
		p.Glides.add(math.NaN(), when, what, became)
	}
	if len(p.Says) == 0 {
		p.Says = []string{"No stretch counts as a glide yet, so the drag is not known."}
		return p
	}
	p.Cautions = append([]string{u.Cavitation(r)}, words.TopSpeedCautions...)
	p.Figure = (&builder{r: r, u: u}).drag()
	p.Says = slices.DeleteFunc(p.Says, func(s string) bool { return s == p.Figure.Says })
	if rows := u.DragOptions(r.Drag); len(rows) > 0 {
		p.Options = &table{Caption: "What cards do to the drag at the top speed, with 90 % intervals; the speed is at the same pull", Head: []string{"cards (+ raises the leading edge)", "drag, N", "speed, " + u.SpeedName()}}
		for _, row := range rows {
			p.Options.add(math.NaN(), row...)
		}
	}
	return p
}

// drag is the drag against speed, and its parts.
func (b *builder) drag() *figure {
	d := b.r.Drag
	f := &figure{ID: "drag", Open: true, Title: "Drag against speed", Read: "Speed", Says: b.u.Drag(b.r)[2],
		Note: "In level flight, under the whole weight. The shaded band holds the true drag in the water with 90 % probability; the parts are what the foil's model makes of it."}
	parts := []struct {
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
	f.Table = &table{Caption: "Drag by speed, N, with 90 % intervals", Head: []string{"speed, " + b.u.SpeedName()}}
	var layers []chart.Layer
	for i, x := range parts {
		var c []sample
		for _, p := range d.Curve {
			c = append(c, sample{b.u.SpeedValue(float64(p.Speed)), x.of(p)})
		}
		if i == 0 {
			layers = append(layers, x.band(c))
		}
		layers = append(layers, x.line(c, words.Choose(i == 0, 3.0, 2.0)))
		f.Legend, f.Table.Head = append(f.Legend, x.legend), append(f.Table.Head, x.Text)
	}
	f.Table.Head = append(f.Table.Head, "lift to drag")
	for _, p := range d.Curve {
		at := b.u.SpeedValue(float64(p.Speed))
		cells := []string{words.Fixed(at, 1)}
		for _, x := range parts {
			cells = append(cells, words.Between(x.of(p), 1, 0))
		}
		f.Table.add(at, append(cells, words.Between(p.LiftToDrag, 1, 1))...)
	}
	f.draw(tall(1), func(bool) []*chart.Panel {
		return []*chart.Panel{{XLabel: b.speedLabel(), YLabel: "drag, N", Layers: layers}}
	})
	return f
}
