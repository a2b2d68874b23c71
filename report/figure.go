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

// orNone is nil for a table without rows.
func (t *table) orNone() *table {
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// add is a row, at one that the read-out finds by its number.
func (t *table) add(cells ...string) { t.Rows = append(t.Rows, row{Cells: cells}) }

func (t *table) at(x float64, cells ...string) {
	t.Rows = append(t.Rows, row{words.Choose(words.Finite(x), fmt.Sprintf("%.5g", x), ""), cells})
}

// A column of a table by speed has a cell for each row.
type column struct {
	head  string
	cells []string
}

// each is what every one of several gives.
func each[P, Q any](of []P, give func(P) Q) []Q {
	out := make([]Q, 0, len(of))
	for _, p := range of {
		out = append(out, give(p))
	}
	return out
}

// bySpeed is a table with a row for each speed, in the reader's unit.
func (b *builder) bySpeed(caption string, speeds []float64, cols ...column) *table {
	t := &table{Caption: caption + ", with 90 % intervals", Head: append([]string{"speed, " + b.u.SpeedName()}, each(cols, func(c column) string { return c.head })...)}
	for i, x := range speeds {
		t.at(x, append([]string{words.Fixed(x, 1)}, each(cols, func(c column) string { return c.cells[i] })...)...)
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
	p := chart.Picture{ID: f.ID + "-n", Class: "narrow", Title: f.Title, Desc: f.Says + " The numbers are in the table below the picture.", Width: narrowWidth, Height: l.narrow}
	narrow := chart.Figure{Picture: p, FontSize: 12.5, Columns: l.colsNarrow, Panels: panels(false)}
	p.ID, p.Class, p.Width, p.Height = f.ID+"-w", "wide", wideWidth, l.wide
	wide := chart.Figure{Picture: p, FontSize: 13, Columns: l.colsWide, Panels: panels(true)}
	f.SVG = []template.HTML{template.HTML(narrow.SVG()), template.HTML(wide.SVG())}
}

// plot renders panels that are the same in both.
func (f *figure) plot(l layout, panels ...*chart.Panel) {
	f.draw(l, func(bool) []*chart.Panel { return panels })
}

// rows draws a panel with a name beside each of n rows, the first on top, at n-1.
func (f *figure) rows(n int, name func(i int, wide bool) string, p chart.Panel) {
	h := 70 + 25*float64(n)
	f.draw(layout{narrow: h, wide: h}, func(wide bool) []*chart.Panel {
		p, names := p, make(chart.Named, n)
		for i := range n {
			names[n-1-i] = name(i, wide)
		}
		p.Y, p.YTicks = chart.Range{Lo: -0.7, Hi: float64(n) - 0.3}, names
		return []*chart.Panel{&p}
	})
}

// dashes are the lines that are not drawn through, by the legend's kind.
var dashes = map[string]string{"dash": "6 4", "dots": "2 3"}

// sample is a number with its doubt at a value of the abscissa, in printing units.
func sample(x float64, v interval.Interval) chart.Sample {
	return chart.Sample{X: x, Value: v.Value, Lo: v.Low, Hi: v.High}
}

// line, band and dots draw samples as a legend's entry shows them.
func (l legend) line(of []chart.Sample, width float64) chart.Line {
	return chart.Line{Points: each(of, func(s chart.Sample) chart.XY { return chart.XY{X: s.X, Y: s.Value} }), Ink: l.Ink, Width: width, Dash: dashes[l.Kind]}
}

func (l legend) band(of []chart.Sample) chart.Band {
	return chart.Band{Points: of, Ink: l.Ink + "-band"}
}

func (l legend) dots(size float64, at ...chart.XY) chart.Dots {
	return chart.Dots{Points: at, Ink: l.Ink, Shape: l.Kind, Size: size}
}

// speed is one in the reader's unit.
func (b *builder) speed(v interval.Number) float64 { return b.u.SpeedValue(float64(v)) }

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
