package chart

import (
	"fmt"
	"math"
	"slices"
)

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
	*Canvas
	left, right, top, bottom float64 // px
	x, y                     Range
}

// at is where a point of the data lies.
func (a *area) at(x, y float64) XY {
	return XY{a.left + a.x.norm(x)*(a.right-a.left), a.bottom - a.y.norm(y)*(a.bottom-a.top)}
}

// contains says that a point lies within; slop is what rounding may put it outside by, px.
func (a *area) contains(p XY) bool {
	const slop = 3e-8
	return p.X <= a.right+slop && p.X >= a.left-slop && p.Y <= a.bottom+slop && p.Y >= a.top-slop
}

// axes are a panel with its ranges and ticks settled, ready to be drawn.
type axes struct {
	Panel
	size float64 // of the font, px
}

// Room around the data area, px.
const (
	tickLength = 4.0
	labelPad   = 2.0
	titlePad   = 3.0
)

func (f Figure) axes(panel *Panel) *axes {
	p := &axes{*panel, f.FontSize}
	x0, x1, y0, y1 := Extent(p.Layers...)
	p.X, p.Y = Range{x0, x1}.widened(p.X, 0.02), Range{y0, y1}.widened(p.Y, 0.06)
	switch {
	case p.HideX:
		p.XTicks = nil
	case p.XTicks == nil:
		p.XTicks = Ticks{Count: int(max(3, f.Width/float64(max(f.Columns, 1))/85))}
	}
	if p.YTicks == nil {
		p.YTicks = Ticks{Count: 5}
	}
	return p
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

// marks are the ticks that lie on an axis.
func (r Range) marks(t Ticker) []Tick {
	if t == nil {
		return nil
	}
	return slices.DeleteFunc(t.Ticks(r.Lo, r.Hi), func(t Tick) bool { n := r.norm(t.Value); return n < 0 || n > 1 })
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
	xs, ys := p.X.marks(p.XTicks), p.Y.marks(p.YTicks)
	if p.Title != "" {
		f.top = line + titlePad
	}
	if len(ys) > 0 {
		f.top = max(f.top, line/2)
	}
	if p.XLabel != "" {
		f.bottom = line + labelPad
	}
	if len(xs) > 0 {
		f.bottom += tickLength + line
	}
	if p.YLabel != "" {
		f.left = fontDescent*p.size + line + labelPad
	}
	if w := p.widest(ys); w > 0 {
		f.left += w + textWidth(" ", p.size)
	}
	f.right = max(0, (textWidth(p.XLabel, p.size)-width+f.left)/2)
	for _, t := range xs {
		f.right = max(f.right, textWidth(t.Label, p.size)/2-(1-p.X.norm(t.Value))*(width-f.left))
	}
	return f
}

// widest is the room for the labels beside the axis.
func (p *axes) widest(marks []Tick) (w float64) {
	for _, t := range marks {
		w = max(w, textWidth(t.Label, p.size))
	}
	if _, named := p.YTicks.(Named); named {
		w *= nameRoom
	}
	return w
}

// draw draws the panel around the data area a, with so much room on its left.
func (p *axes) draw(a area, left float64) {
	line, rise := lineHeight(p.size), rise(p.size)
	across, up := (a.left+a.right)/2, (a.top+a.bottom)/2
	write := func(s, anchor string, x, foot float64) { a.Text("text", p.size, anchor, XY{x, foot - rise}, s) }
	write(p.Title, Middle, across, a.top-titlePad)
	// The axis below the data, its ticks and their labels.
	xs, foot, label := p.X.marks(p.XTicks), a.bottom, a.bottom
	if len(xs) > 0 {
		foot += tickLength
		label = foot + line
	}
	write(p.XLabel, Middle, across, label+line+labelPad)
	for _, t := range xs {
		write(t.Label, Middle, a.at(t.Value, 0).X, foot+line)
	}
	for _, t := range xs {
		x := a.at(t.Value, 0).X
		a.Line("s-axis", 1, XY{x, foot}, XY{x, a.bottom})
	}
	if p.XTicks != nil {
		a.Line("s-axis", 1, XY{a.left, a.bottom}, XY{a.right, a.bottom})
	}
	// The label and the ticks' beside it, and the grid.
	beside := XY{a.left - left + line - rise, up}
	a.text("text", p.size, Middle, fmt.Sprintf(` transform="rotate(-90 %s %s)"`, short(beside.X), short(beside.Y)), beside, p.YLabel)
	ys := p.Y.marks(p.YTicks)
	for _, t := range ys {
		write(t.Label, Before, a.left-textWidth(" ", p.size), a.at(0, t.Value).Y+line/2)
	}
	for _, t := range ys {
		y := a.at(0, t.Value).Y
		a.Line("s-grid", 1, XY{a.left, y}, XY{a.right, y})
	}
	for _, l := range p.Layers {
		switch l.(type) {
		case Line, Band, Boxes:
			a.within(a.left, a.top, a.right, a.bottom)
		default: // drawn whole, or not at all
			a.free()
		}
		l.draw(a)
	}
	a.free()
}
