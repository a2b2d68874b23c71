package report

import (
	"fmt"
	"html/template"
	"math"

	"evenfoot/analysis"
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
	Read      string          // what the read-out slides along, "" for no read-out
	Table     *table
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

func (t *table) add(x float64, cells ...string) {
	r := row{Cells: cells}
	if words.Finite(x) {
		r.X = fmt.Sprintf("%.5g", x)
	}
	t.Rows = append(t.Rows, r)
}

// A builder makes the figures of one result.
type builder struct {
	r *analysis.Result
	u words.Units
}

// sizes of the two variants: for a phone held upright, and for the rest.
const (
	narrowWidth, narrowHeight = 360, 290
	wideWidth, wideHeight     = 720, 306
)

// draw renders the panels in both widths.
func draw(f *figure, heightScale float64, panels func(wide bool) []*chart.Panel) {
	drawColumns(f, heightScale, 0, 0, panels)
}

// drawColumns does the same in a grid of columns (narrow and wide count).
func drawColumns(f *figure, heightScale float64, colsNarrow, colsWide int, panels func(wide bool) []*chart.Panel) {
	desc := f.Says + " The numbers are in the table below the picture."
	n := chart.Figure{ID: f.ID + "-n", Class: "narrow", Title: f.Title, Desc: desc, Width: narrowWidth, Height: narrowHeight * heightScale,
		FontSize: 12.5, Panels: panels(false), Columns: colsNarrow}
	w := chart.Figure{ID: f.ID + "-w", Class: "wide", Title: f.Title, Desc: desc, Width: wideWidth, Height: wideHeight * heightScale,
		FontSize: 13, Panels: panels(true), Columns: colsWide}
	if colsNarrow > 0 {
		rows := math.Ceil(float64(len(n.Panels)) / float64(colsNarrow))
		n.Height = 165 * rows
		w.Height = 170 * math.Ceil(float64(len(w.Panels))/float64(colsWide))
	}
	f.SVG = []template.HTML{template.HTML(n.SVG()), template.HTML(w.SVG())}
}

var dashes = []vg.Length{6, 4}
var dots = []vg.Length{2, 3}

// speedLabel is the x axis of most figures.
func (b *builder) speedLabel() string {
	return "speed through the water, " + b.u.SpeedName()
}

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
