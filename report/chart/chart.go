// Package chart draws gonum/plot figures as inline SVG for the report: colours
// and fonts by class instead of by value, lines split at gaps, at most a few
// points a pixel, a title and a description for those who do not see it.
//
// It imports gonum/plot and nothing of this module.
package chart

import (
	"cmp"
	"fmt"
	"html"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// A Figure is one picture: panels on top of each other that share their x axis.
type Figure struct {
	ID            string // unique on the page; used in ids, so letters, digits, "-"
	Class         string // of the svg element
	Title, Desc   string // plain text, escaped here
	Width, Height float64
	FontSize      float64 // px, 0 for 12
	Panels        []*Panel
	// Natural gives the svg element its size in px, for a drawing that is wider
	// than the screen; others take the room they get.
	Natural bool
	// Columns lays the panels out in a grid instead; each keeps its own x axis.
	Columns int
}

// A Panel is one pair of axes.
type Panel struct {
	Title          string
	XLabel, YLabel string
	X, Y           Range // empty: from the layers
	XTicks, YTicks plot.Ticker
	Height         float64 // relative to the other panels, 0 for 1
	HideX          bool    // no axis
	Equal          bool    // one unit is as long on x as on y
	Layers         []plot.Plotter
}

// A Range is an interval on an axis; it is empty when Hi is not above Lo.
type Range struct{ Lo, Hi float64 }

func (r Range) empty() bool { return !(r.Hi > r.Lo) }

// Inks that the style sheet must know, beside those of the layers.
const (
	inkAxis = Ink("axis")
	inkGrid = Ink("grid")
	inkText = Ink("text")
)

// SVG is the figure as an svg element. The attributes data-left, data-right
// (viewBox units), data-top and data-bottom, and data-lo, data-hi (x values there) let a script find the
// value under a pointer.
func (f Figure) SVG() string {
	f.FontSize = cmp.Or(f.FontSize, 12)
	c := NewCanvas(f.Width, f.Height)
	area := draw.Crop(draw.New(c), 1, -7, 1, -8) // room for the ends of the labels
	plots := make([]*plot.Plot, len(f.Panels))
	for i, p := range f.Panels {
		plots[i] = f.plot(p)
	}
	var attrs string
	if f.Columns > 0 {
		f.grid(plots, area)
	} else {
		attrs = f.stack(plots, area)
	}
	if f.Natural {
		attrs += fmt.Sprintf(` width="%s" height="%s"`, short(f.Width), short(f.Height))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d"%s><title id="%s-t">%s</title><desc id="%s-d">%s</desc>`,
		html.EscapeString(f.Class), short(f.Width), short(f.Height), f.ID, f.ID, attrs, f.ID, html.EscapeString(f.Title), f.ID, html.EscapeString(f.Desc))
	b.WriteString(c.Markup())
	b.WriteString("</svg>")
	return b.String()
}

// nameRoom is the room for names beside an axis, as a multiple of the drawn
// font's: the reader's own may be wider. The widest of the usual system fonts
// is 1.2 times as wide.
const nameRoom = 1.25

// stack draws the panels under one another with their data areas aligned.
func (f Figure) stack(plots []*plot.Plot, area draw.Canvas) string {
	if len(plots) == 0 {
		return ""
	}
	total := 0.0
	for _, p := range f.Panels {
		total += cmp.Or(p.Height, 1)
	}
	left, right := vg.Length(0), vg.Length(0)
	cells := make([]draw.Canvas, len(plots))
	top := area.Max.Y
	for i, p := range plots {
		h := (area.Max.Y - area.Min.Y) * vg.Length(cmp.Or(f.Panels[i].Height, 1)/total)
		cells[i] = area
		cells[i].Max.Y, cells[i].Min.Y = top, top-h
		top -= h
		d := p.DataCanvas(cells[i])
		left = max(left, d.Min.X-area.Min.X)
		right = max(right, area.Max.X-d.Max.X)
	}
	if slices.ContainsFunc(f.Panels, func(p *Panel) bool { _, named := p.YTicks.(Named); return named }) {
		left *= nameRoom
	}
	var attrs string
	var bottom float64
	for i, p := range plots {
		d := p.DataCanvas(cells[i])
		cells[i] = draw.Crop(cells[i], left-(d.Min.X-area.Min.X), -(right - (area.Max.X - d.Max.X)), 0, 0)
		if f.Panels[i].Equal {
			equalise(p, p.DataCanvas(cells[i]))
		}
		p.Draw(cells[i])
		d = p.DataCanvas(cells[i])
		if i == 0 {
			attrs = fmt.Sprintf(` data-left="%s" data-right="%s" data-lo="%.6g" data-hi="%.6g" data-top="%s"`,
				short(d.Min.X.Points()), short(d.Max.X.Points()), p.X.Min, p.X.Max, short(f.Height-d.Max.Y.Points()))
		}
		bottom = f.Height - d.Min.Y.Points()
	}
	return attrs + fmt.Sprintf(` data-bottom="%s"`, short(bottom))
}

// grid draws small multiples.
func (f Figure) grid(plots []*plot.Plot, area draw.Canvas) {
	rows := (len(plots) + f.Columns - 1) / f.Columns
	if rows == 0 {
		return
	}
	cells := make([][]*plot.Plot, rows)
	for i := range cells {
		cells[i] = make([]*plot.Plot, f.Columns)
		copy(cells[i], plots[i*f.Columns:min((i+1)*f.Columns, len(plots))])
	}
	tiles := draw.Tiles{Rows: rows, Cols: f.Columns, PadX: 12, PadY: 10}
	at := plot.Align(cells, tiles, area)
	for i := range cells {
		for j, p := range cells[i] {
			if p != nil {
				p.Draw(at[i][j])
			}
		}
	}
}

// equalise widens one axis so that a metre is a metre both ways.
func equalise(p *plot.Plot, c draw.Canvas) {
	w, h := (c.Max.X - c.Min.X).Points(), (c.Max.Y - c.Min.Y).Points()
	if w <= 0 || h <= 0 {
		return
	}
	perPx := math.Max((p.X.Max-p.X.Min)/w, (p.Y.Max-p.Y.Min)/h)
	grow := func(a *plot.Axis, px float64) {
		mid := (a.Min + a.Max) / 2
		a.Min, a.Max = mid-perPx*px/2, mid+perPx*px/2
	}
	grow(&p.X, w)
	grow(&p.Y, h)
}

// plot sets gonum's plot up in the report's dress.
func (f Figure) plot(panel *Panel) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = handler
	f.dress(&p.X, panel.XLabel, panel.HideX, panel.XTicks, max(3, f.Width/float64(max(f.Columns, 1))/85))
	f.dress(&p.Y, panel.YLabel, false, panel.YTicks, 5)
	p.Y.LineStyle.Width = 0
	p.Y.Tick.LineStyle.Width = 0
	p.Y.Tick.Length = 0
	if panel.Title != "" {
		p.Title.Text = panel.Title
		p.Title.TextStyle.Font = sans(f.FontSize)
		p.Title.TextStyle.Color = inkText
		p.Title.TextStyle.Handler = handler
		p.Title.Padding = 3
	}
	g := plotter.NewGrid()
	g.Vertical.Color = nil
	g.Horizontal = draw.LineStyle{Color: inkGrid, Width: 1}
	p.Add(g)
	p.Add(panel.Layers...)
	setRange(&p.X, panel.X, 0.02)
	setRange(&p.Y, panel.Y, 0.06)
	return p
}

func setRange(a *plot.Axis, r Range, pad float64) {
	if !r.empty() && finite(r.Lo) && finite(r.Hi) {
		a.Min, a.Max = r.Lo, r.Hi
		return
	}
	if !finite(a.Min) || !finite(a.Max) || a.Min > a.Max {
		a.Min, a.Max = 0, 1
		return
	}
	d := (a.Max - a.Min) * pad
	if a.Max-a.Min < 1e-9*math.Max(1, math.Abs(a.Max)) {
		d = math.Max(0.5, 0.1*math.Abs(a.Max)) // one point still needs an axis around it
	}
	a.Min, a.Max = a.Min-d, a.Max+d
}

func (f Figure) dress(a *plot.Axis, label string, hide bool, t plot.Ticker, n float64) {
	a.Padding = 0
	a.LineStyle = draw.LineStyle{Color: inkAxis, Width: 1}
	a.Label.Text = label
	a.Label.TextStyle.Font = sans(f.FontSize)
	a.Label.TextStyle.Color = inkText
	a.Label.TextStyle.Handler = handler
	a.Label.Padding = 2
	a.Tick.Label.Font = sans(f.FontSize)
	a.Tick.Label.Color = inkText
	a.Tick.Label.Handler = handler
	a.Tick.LineStyle = draw.LineStyle{Color: inkAxis, Width: 1}
	a.Tick.Length = 4
	a.Tick.Marker = Ticks{Count: int(n)}
	if t != nil {
		a.Tick.Marker = t
	}
	if hide {
		a.LineStyle.Width = 0
		a.Tick.LineStyle.Width = 0
		a.Tick.Length = 0
		a.Tick.Marker = plot.ConstantTicks{}
	}
}

func sans(size float64) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(size)}
}

// handler measures text in Liberation Sans, whose widths are those of Arial,
// and leaves the alignment to the SVG so that another font does no harm.
var handler text.Handler = textHandler{text.Plain{Fonts: font.DefaultCache}}

type textHandler struct{ text.Plain }

func (h textHandler) Draw(c vg.Canvas, txt string, sty text.Style, pt vg.Point) {
	svg := unwrap(c)
	if svg == nil {
		h.Plain.Draw(c, txt, sty, pt)
		return
	}
	ext := h.Extents(sty.Font)
	lines := h.Lines(txt)
	for i, line := range lines {
		svg.text(line, pt, textAt{
			size: sty.Font.Size.Points(), ink: sty.Color, rotate: sty.Rotation, align: float64(sty.XAlign),
			drop: baseline(sty, ext.Ascent.Points(), ext.Descent.Points(), i, len(lines)),
		})
	}
}

// baseline is how far line i's baseline lies below the anchor, in px. gonum
// places text for text.Plain, so the sum is the same as there, and a little
// for digits, which have no descenders.
func baseline(sty text.Style, ascent, descent float64, i, n int) float64 {
	size := sty.Font.Size.Points()
	height := float64(n) * (ascent + descent)
	return ascent - height*float64(sty.YAlign) - float64(n-i)*size + 0.08*size
}

func unwrap(c vg.Canvas) *Canvas {
	for {
		switch v := c.(type) {
		case *Canvas:
			return v
		case draw.Canvas:
			c = v.Canvas
		case *draw.Canvas:
			c = v.Canvas
		default:
			return nil
		}
	}
}
