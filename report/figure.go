package report

import (
	"fmt"
	"html/template"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/ride"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot/vg"
)

// A figure is one picture with the sentence that says what the log shows.
type figure struct {
	ID, Title string
	Says      string // what this log shows
	Note      string // how to read it, where that is needed
	Legend    []legend
	SVG       []template.HTML // variants by width of the screen
	Scroll    template.HTML   // a long drawing in a window that slides
	Samples   string          // JSON for the read-out of Scroll
	Open      bool            // shown without being asked for
	Read      string          // what the read-out slides along, "" for no read-out
	Table     *table
}

// newFigure is a figure with its words about x.
func newFigure(id string, u words.Units, x any) *figure {
	l := u.Letter("figure "+id, x)
	return &figure{ID: id, Title: l["title"], Note: l["note"], Says: l["says"]}
}

// A legend entry shows the line, mark or area and what it stands for.
type legend struct {
	Kind string // "line" | "dash" | "band" | "dot" | "square" | "cross" | "box"
	Ink  string
	Text string
}

// A table holds a figure's numbers. X are the rows' values for the read-out.
type table struct {
	Caption string
	Head    []string
	Rows    []row
}

type row struct {
	X     string // data-x, "" for none
	Cells []string
}

// add is a row, at one that the read-out finds by its number.
func (t *table) add(cells ...string) { t.Rows = append(t.Rows, row{Cells: cells}) }

func (t *table) at(x float64, cells ...string) {
	t.Rows = append(t.Rows, row{words.Choose(words.Finite(x), fmt.Sprintf("%.5g", x), ""), cells})
}

// A column of a table by speed.
type column[P any] struct {
	head string
	at   func(p P) string
}

// bySpeed is a table with a row for each point.
func bySpeed[P any](b *builder, caption string, of []P, speed func(P) interval.Number, cols []column[P]) *table {
	t := &table{Caption: caption + ", with 90 % intervals", Head: []string{"speed, " + b.u.SpeedName()}}
	for _, c := range cols {
		t.Head = append(t.Head, c.head)
	}
	for _, p := range of {
		x := b.u.SpeedValue(float64(speed(p)))
		cells := []string{words.Fixed(x, 1)}
		for _, c := range cols {
			cells = append(cells, c.at(p))
		}
		t.at(x, cells...)
	}
	return t
}

// A builder makes the figures of one result.
type builder struct {
	r *analysis.Result
	u words.Units

	coordinates bool // the page tells the place
}

// outing is what was ridden, empty where no log tells.
func (b *builder) outing() *ride.Session {
	if b.r.Ride == nil {
		return &ride.Session{}
	}
	return b.r.Ride
}

// sizes of the two variants: for a phone held upright, and for the rest.
const (
	narrowWidth, narrowHeight = 360, 290
	wideWidth, wideHeight     = 720, 306
)

// A layout is how high the two variants are, px, and in how many columns their
// panels stand; 0 puts them under one another.
type layout struct {
	narrow, wide         float64
	colsNarrow, colsWide int
}

// tall is a layout so many times as high as usual.
func tall(k float64) layout { return layout{narrow: narrowHeight * k, wide: wideHeight * k} }

// multiples is a layout of n small pictures of those heights.
func multiples(n int, narrow float64, colsNarrow int, wide float64, colsWide int) layout {
	rows := func(cols int) float64 { return math.Ceil(float64(n) / float64(cols)) }
	return layout{narrow * rows(colsNarrow), wide * rows(colsWide), colsNarrow, colsWide}
}

// draw renders the panels in both widths.
func (f *figure) draw(l layout, panels func(wide bool) []*chart.Panel) {
	fig := chart.Figure{Title: f.Title, Desc: f.Says + " The numbers are in the table below the picture."}
	n, w := fig, fig
	n.ID, n.Class, n.Width, n.Height, n.FontSize, n.Columns, n.Panels = f.ID+"-n", "narrow", narrowWidth, l.narrow, 12.5, l.colsNarrow, panels(false)
	w.ID, w.Class, w.Width, w.Height, w.FontSize, w.Columns, w.Panels = f.ID+"-w", "wide", wideWidth, l.wide, 13, l.colsWide, panels(true)
	f.SVG = []template.HTML{template.HTML(n.SVG()), template.HTML(w.SVG())}
}

// plot renders panels that are the same in both.
func (f *figure) plot(l layout, panels ...*chart.Panel) {
	f.draw(l, func(bool) []*chart.Panel { return panels })
}

// dashes are the lines that are not drawn through, by the legend's kind.
var dashes = map[string][]vg.Length{"dash": {6, 4}, "dots": {2, 3}}

// A sample is a number with its doubt at a value of the abscissa, in printing units.
type sample struct {
	x float64
	v interval.Interval
}

// line and band draw samples as a legend's entry shows them.
func (l legend) line(of []sample, width float64) chart.Line {
	out := chart.Line{Ink: chart.Ink(l.Ink), Width: width, Dash: dashes[l.Kind]}
	for _, s := range of {
		out.Points = append(out.Points, chart.XY{X: s.x, Y: s.v.Value})
	}
	return out
}

func (l legend) band(of []sample) chart.Band {
	out := chart.Band{Ink: chart.Ink(l.Ink + "-band")}
	for _, s := range of {
		out.Points = append(out.Points, chart.BandPoint{X: s.x, Lo: s.v.Low, Hi: s.v.High})
	}
	return out
}

// speedLabel is the x axis of most figures.
func (b *builder) speedLabel() string { return "speed through the water, " + b.u.SpeedName() }

func (b *builder) speedRange() chart.Range {
	lo, _, top := words.SpeedsOf(b.r)
	for _, p := range b.r.FootLoad {
		lo, top = math.Min(lo, float64(p.Speed)), math.Max(top, float64(p.Speed))
	}
	if !words.Finite(lo) || !words.Finite(top) || !(top > lo) {
		return chart.Range{}
	}
	return chart.Range{Lo: b.u.SpeedValue(lo), Hi: b.u.SpeedValue(top)}
}
