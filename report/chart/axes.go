package chart

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// A Layer is something drawn on a panel.
type Layer interface{ draw(a area) }

// A Tick is a labelled place on an axis.
type Tick struct {
	Value float64
	Label string
}

// A Ticker puts ticks on an axis that reaches from lo to hi.
type Ticker interface {
	Ticks(lo, hi float64) []Tick
}

// An area is the part of the canvas where a panel's data are drawn, and what
// its sides stand for.
type area struct {
	*canvas
	vg.Rectangle
	x, y Range
}

// at is where a point of the data lies.
func (a *area) at(x, y float64) vg.Point {
	size := a.Size()
	return vg.Point{X: a.Min.X + vg.Length(a.x.norm(x))*size.X, Y: a.Min.Y + vg.Length(a.y.norm(y))*size.Y}
}

// contains says that a point lies within; slop is what rounding may put it outside by, px.
func (a *area) contains(p vg.Point) bool {
	const slop = 3e-8
	return p.X <= a.Max.X+slop && p.X >= a.Min.X-slop && p.Y <= a.Max.Y+slop && p.Y >= a.Min.Y-slop
}

// An axis is one side of a panel.
type axis struct {
	Range
	label string
	ticks Ticker
}

// marks are the ticks that lie on the axis.
func (a axis) marks() []Tick {
	if a.ticks == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(a.ticks.Ticks(a.Lo, a.Hi)), func(t Tick) bool { n := a.norm(t.Value); return n < 0 || n > 1 })
}

// axes are a panel with its two axes, ready to be drawn. Sizes are px.
type axes struct {
	panel *Panel
	size  float64 // of the font
	x, y  axis
}

// Room around the data area, px.
const (
	tickLength = 4.0
	labelPad   = 2.0
	titlePad   = 3.0
)

func (f Figure) axes(p *Panel) *axes {
	x0, x1, y0, y1 := Extent(p.Layers...)
	a := &axes{p, f.FontSize, axis{Range{x0, x1}.widened(p.X, 0.02), p.XLabel, p.XTicks}, axis{Range{y0, y1}.widened(p.Y, 0.06), p.YLabel, p.YTicks}}
	if a.x.ticks == nil {
		a.x.ticks = Ticks{Count: int(max(3, f.Width/float64(max(f.Columns, 1))/85))}
	}
	if a.y.ticks == nil {
		a.y.ticks = Ticks{Count: 5}
	}
	if p.HideX {
		a.x.ticks = nil
	}
	return a
}

// widened is the range that was asked for, or else the data's with a share of
// it on both sides.
func (r Range) widened(asked Range, pad float64) Range {
	switch {
	case asked.Hi > asked.Lo && finite(asked.Lo) && finite(asked.Hi):
		return asked
	case !finite(r.Lo) || !finite(r.Hi) || r.Lo > r.Hi:
		return Range{0, 1}
	}
	d := (r.Hi - r.Lo) * pad
	if r.Hi-r.Lo < 1e-9*math.Max(1, math.Abs(r.Hi)) {
		d = math.Max(0.5, 0.1*math.Abs(r.Hi)) // one point still needs an axis around it
	}
	return Range{r.Lo - d, r.Hi + d}
}

// A frame is the room between the sides of a panel and its data.
type frame struct{ left, right, bottom, top float64 }

func (f frame) max(g frame) frame {
	return frame{max(f.left, g.left), max(f.right, g.right), max(f.bottom, g.bottom), max(f.top, g.top)}
}

// frame is the room that titles, labels and the halves of the outermost tick
// labels take of a panel of that width.
func (p *axes) frame(width float64) (f frame) {
	line := lineHeight(p.size)
	xs, ys := p.x.marks(), p.y.marks()
	if p.panel.Title != "" {
		f.top = line + titlePad
	}
	if len(ys) > 0 {
		f.top = max(f.top, line/2)
	}
	if p.x.label != "" {
		f.bottom = line + labelPad
	}
	if len(xs) > 0 {
		f.bottom += tickLength + line
	}
	if p.y.label != "" {
		f.left = fontDescent*p.size + line + labelPad
	}
	if w := p.widest(ys); w > 0 {
		f.left += w + textWidth(" ", p.size)
	}
	f.right = max(0, (textWidth(p.x.label, p.size)-width+f.left)/2)
	for _, t := range xs {
		f.right = max(f.right, textWidth(t.Label, p.size)/2-(1-p.x.norm(t.Value))*(width-f.left))
	}
	return f
}

// widest is the room for the labels beside the axis.
func (p *axes) widest(marks []Tick) (w float64) {
	for _, t := range marks {
		w = max(w, textWidth(t.Label, p.size))
	}
	if _, named := p.y.ticks.(Named); named {
		w *= nameRoom
	}
	return w
}

// draw draws the panel around the data area a, with so much room on its left.
func (p *axes) draw(a area, left float64) {
	a.x, a.y = p.x.Range, p.y.Range
	line, descent := vg.Length(lineHeight(p.size)), vg.Length(fontDescent*p.size)
	middle := (a.Min.X + a.Max.X) / 2
	write := func(s string, x, y vg.Length, t textAt) {
		t.size, t.ink = p.size, inkText
		a.text(s, vg.Point{X: x, Y: y}, t)
	}
	write(p.panel.Title, middle, a.Max.Y+titlePad+line+descent, textAt{align: -0.5, drop: dropTop(p.size)})
	// The axis below the data, its ticks and their labels.
	xs, foot, label := p.x.marks(), a.Min.Y, a.Min.Y
	if len(xs) > 0 {
		foot -= tickLength
		label = foot - line
	}
	write(p.x.label, middle, label-line-labelPad+descent, textAt{align: -0.5, drop: dropBottom(p.size)})
	grey, grid := pen{ink: inkAxis, width: 1}, pen{ink: inkGrid, width: 1}
	for _, t := range xs {
		write(t.Label, a.at(t.Value, 0).X, foot+descent, textAt{align: -0.5, drop: dropTop(p.size)})
	}
	for _, t := range xs {
		x := a.at(t.Value, 0).X
		a.join(grey, vg.Point{X: x, Y: foot}, vg.Point{X: x, Y: a.Min.Y})
	}
	if p.x.ticks != nil {
		a.join(grey, a.Min, vg.Point{X: a.Max.X, Y: a.Min.Y})
	}
	// The label and the ticks' beside it, and the grid.
	write(p.y.label, a.Min.X-vg.Length(left)+line-descent, (a.Min.Y+a.Max.Y)/2, textAt{align: -0.5, rotate: math.Pi / 2, drop: dropBottom(p.size)})
	blank := vg.Length(textWidth(" ", p.size))
	for _, t := range p.y.marks() {
		write(t.Label, a.Min.X-blank, a.at(0, t.Value).Y+descent, textAt{align: -1, drop: dropMiddle(p.size)})
	}
	for _, t := range p.y.marks() {
		y := a.at(0, t.Value).Y
		a.join(grid, vg.Point{X: a.Min.X, Y: y}, vg.Point{X: a.Max.X, Y: y})
	}
	for _, l := range p.panel.Layers {
		switch l.(type) {
		case Line, Band, Boxes:
			a.within(a.Min, a.Max)
		default: // drawn whole, or not at all
			a.free()
		}
		l.draw(a)
	}
	a.free()
}
