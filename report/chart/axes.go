package chart

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// A Layer is something drawn on a panel.
type Layer interface{ draw(a area) }

// A ranger is a layer that the axes must have room for.
type ranger interface {
	DataRange() (xmin, xmax, ymin, ymax float64)
}

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

func (r Range) norm(v float64) float64 { return (v - r.Lo) / (r.Hi - r.Lo) }

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
	x := axis{label: p.XLabel, ticks: p.XTicks}
	y := axis{label: p.YLabel, ticks: p.YTicks}
	if x.ticks == nil {
		x.ticks = Ticks{Count: int(max(3, f.Width/float64(max(f.Columns, 1))/85))}
	}
	if y.ticks == nil {
		y.ticks = Ticks{Count: 5}
	}
	if p.HideX {
		x.ticks = nil
	}
	inf := math.Inf(1)
	x.Range, y.Range = Range{inf, -inf}, Range{inf, -inf}
	for _, l := range p.Layers {
		if r, ok := l.(ranger); ok {
			x0, x1, y0, y1 := r.DataRange()
			x.Range, y.Range = Range{min(x.Lo, x0), max(x.Hi, x1)}, Range{min(y.Lo, y0), max(y.Hi, y1)}
		}
	}
	x.Range, y.Range = x.widened(p.X, 0.02), y.widened(p.Y, 0.06)
	return &axes{panel: p, size: f.FontSize, x: x, y: y}
}

// widened is the range that was asked for, or else the data's with a share of
// it on both sides.
func (r Range) widened(asked Range, pad float64) Range {
	switch {
	case !asked.empty() && finite(asked.Lo) && finite(asked.Hi):
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
// labels take of width × height px.
func (p *axes) frame(width, height float64) (f frame) {
	line := lineHeight(p.size)
	if p.panel.Title != "" {
		f.top = line + titlePad
	}
	if p.x.label != "" {
		f.bottom = line + labelPad
	}
	if p.y.label != "" {
		f.left = fontDescent*p.size + line + labelPad
	}
	xs, ys := p.x.marks(), p.y.marks()
	if len(xs) > 0 {
		f.bottom += tickLength + line
	}
	if p.x.ticks != nil {
		f.bottom += 0.5 // half of the axis' line
	}
	if w := p.widest(ys); w > 0 {
		f.left += w + textWidth(" ", p.size)
	}
	over := func(length float64, marks []Tick, a axis, half func(label string) float64) (most float64) {
		beyond := func(at, half float64) { // at: a share of the axis
			if at > 0 {
				most = max(most, half-(1-at)*(length-half)/at)
			}
		}
		beyond(0.5, textWidth(a.label, p.size)/2)
		for _, t := range marks {
			beyond(a.norm(t.Value), half(t.Label))
		}
		return most
	}
	f.right = over(width-f.left, xs, p.x, func(s string) float64 { return textWidth(s, p.size) / 2 })
	f.top += over(height-f.bottom-f.top, ys, p.y, func(string) float64 { return line / 2 })
	return f
}

func (p *axes) widest(marks []Tick) (w float64) {
	for _, t := range marks {
		w = max(w, textWidth(t.Label, p.size))
	}
	return w
}

// draw draws the panel around the data area a, whose frame is f.
func (p *axes) draw(a area, f frame) {
	a.x, a.y = p.x.Range, p.y.Range
	descent := fontDescent * p.size
	write := func(s string, x, y vg.Length, t textAt) {
		t.size, t.ink = p.size, inkText
		a.text(s, vg.Point{X: x, Y: y}, t)
	}
	if p.panel.Title != "" {
		own := p.frame((a.Max.X-a.Min.X).Points()+f.left+f.right, math.Inf(1))
		write(p.panel.Title, (a.Min.X+a.Max.X+vg.Length(f.right-own.left))/2, a.Max.Y+vg.Length(f.top+descent),
			textAt{align: -0.5, drop: dropTop(p.size)})
	}
	p.drawX(a, write)
	ys := p.y.marks()
	blank, widest := vg.Length(0), vg.Length(p.widest(ys))
	if widest > 0 {
		blank = vg.Length(textWidth(" ", p.size))
	}
	write(p.y.label, a.Min.X-blank-widest-vg.Length(labelPad+2*descent), (a.Min.Y+a.Max.Y)/2, textAt{align: -0.5, rotate: math.Pi / 2, drop: dropBottom(p.size)})
	for _, t := range ys {
		write(t.Label, a.Min.X-blank, a.at(0, t.Value).Y+vg.Length(descent), textAt{align: -1, drop: dropMiddle(p.size)})
	}
	for _, t := range ys {
		at := a.at(0, t.Value).Y
		a.join(pen{ink: inkGrid, width: 1}, []vg.Point{{X: a.Min.X, Y: at}, {X: a.Max.X, Y: at}})
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

// drawX draws the axis below the data.
func (p *axes) drawX(a area, write func(s string, x, y vg.Length, t textAt)) {
	line, descent := vg.Length(lineHeight(p.size)), vg.Length(fontDescent*p.size)
	marks := p.x.marks()
	y := a.Min.Y
	if p.x.ticks != nil {
		y -= 0.5 // half of its line
	}
	foot := y // of the ticks
	label := y
	if len(marks) > 0 {
		foot -= tickLength
		label = foot - line
	}
	write(p.x.label, (a.Min.X+a.Max.X)/2, label-line-labelPad+descent, textAt{align: -0.5, drop: dropBottom(p.size)})
	for _, t := range marks {
		write(t.Label, a.at(t.Value, 0).X, foot+descent, textAt{align: -0.5, drop: dropTop(p.size)})
	}
	grey := pen{ink: inkAxis, width: 1}
	for _, t := range marks {
		x := a.at(t.Value, 0).X
		a.join(grey, []vg.Point{{X: x, Y: foot}, {X: x, Y: y}})
	}
	if p.x.ticks != nil {
		a.join(grey, []vg.Point{{X: a.Min.X, Y: y}, {X: a.Max.X, Y: y}})
	}
}

// equalise widens one axis so that a metre is a metre both ways on w × h px.
func (p *axes) equalise(w, h float64) {
	if w <= 0 || h <= 0 {
		return
	}
	perPx := math.Max((p.x.Hi-p.x.Lo)/w, (p.y.Hi-p.y.Lo)/h)
	grow := func(r Range, px float64) Range {
		mid := (r.Lo + r.Hi) / 2
		return Range{mid - perPx*px/2, mid + perPx*px/2}
	}
	p.x.Range, p.y.Range = grow(p.x.Range, w), grow(p.y.Range, h)
}
