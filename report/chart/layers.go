package chart

import (
	"cmp"
	"math"
	"slices"
)

// An XY is a point, in data units or on the canvas. One that is not finite, or
// beyond [sane], is a gap.
type XY struct{ X, Y float64 }

// sane bounds what can be drawn; a log that says more has a broken number.
const sane = 1e9

func finite(v float64) bool { return math.Abs(v) <= sane } // false for NaN

func (p XY) ok() bool { return finite(p.X) && finite(p.Y) }

// A Sample is a number with its interval at X.
type Sample struct{ X, Value, Lo, Hi float64 }

// A Layer is something drawn on a panel, whose axes must have room for its points.
type Layer interface {
	draw(a area)
	points() []XY
}

// Extent is the range of layers; points that are gaps do not count.
func Extent(layers ...Layer) (x0, x1, y0, y1 float64) {
	inf := math.Inf(1)
	x0, x1, y0, y1 = inf, -inf, inf, -inf
	for _, l := range layers {
		for _, p := range l.points() {
			if p.ok() {
				x0, x1, y0, y1 = min(x0, p.X), max(x1, p.X), min(y0, p.Y), max(y1, p.Y)
			}
		}
	}
	return x0, x1, y0, y1
}

// runs splits points where one is missing, and gives those on the canvas.
func (a area) runs(ps []XY) (out [][]XY) {
	gap := true
	for _, p := range ps {
		if p.ok() {
			if gap {
				out = append(out, nil)
			}
			out[len(out)-1] = append(out[len(out)-1], a.at(p.X, p.Y))
		}
		gap = !p.ok()
	}
	return out
}

// Line joins points in order, with a gap wherever one is missing.
type Line struct {
	Points []XY
	Ink    Ink
	Width  float64
	Dash   string
}

func (l Line) points() []XY { return l.Points }

func (l Line) draw(a area) {
	for _, run := range a.runs(l.Points) {
		if len(run) == 1 {
			run = append(run, XY{run[0].X + 1, run[0].Y}) // a lone point shows as a dash
		}
		a.Path(Pen{Class: "s-" + l.Ink, Width: cmp.Or(l.Width, 1), Dash: l.Dash}, false, run...)
	}
}

// Band fills between two bounds, with gaps where one is missing.
type Band struct {
	Points []Sample
	Ink    Ink
}

func (b Band) points() (out []XY) {
	for _, p := range b.Points {
		out = append(out, XY{p.X, p.Lo}, XY{p.X, p.Hi})
	}
	return out
}

func (b Band) draw(a area) {
	var low, high []XY
	for _, p := range b.Points {
		if !(XY{p.X, p.Lo + p.Hi}).ok() {
			p.Lo, p.Hi = math.NaN(), math.NaN()
		}
		low, high = append(low, XY{p.X, p.Lo}), append(high, XY{p.X, p.Hi})
	}
	lows := a.runs(low)
	for i, run := range a.runs(high) {
		if len(run) > 1 {
			slices.Reverse(lows[i])
			a.Fill("f-"+b.Ink, append(run, lows[i]...)...)
		}
	}
}

// A Shape tells series apart without colour.
type Shape = string

const (
	Round  Shape = "dot"
	Square Shape = "square"
	Cross  Shape = "cross"
)

// Dots marks points, round unless said otherwise; of those that fall on one
// pixel, one is drawn.
type Dots struct {
	Points []XY
	Ink    Ink
	Shape  Shape
	Size   float64
}

func (d Dots) points() []XY { return d.Points }

func (d Dots) draw(a area) {
	size := cmp.Or(d.Size, 4)
	with := Pen{Class: "d-" + d.Ink, Width: size, caps: "round"}
	switch d.Shape {
	case Square:
		with.Width, with.caps = 0.9*size, "square"
	case Cross:
		with.Width = 1.2
	}
	seen := map[[2]int]bool{}
	for _, q := range d.Points {
		p := a.at(q.X, q.Y)
		at := [2]int{int(p.X), int(p.Y)}
		if !q.ok() || !a.contains(p) || seen[at] {
			continue
		}
		seen[at] = true
		if r := size / 2; d.Shape == Cross {
			a.Path(with, false, XY{p.X - r, p.Y + r}, XY{p.X + r, p.Y - r})
			a.Path(with, false, XY{p.X - r, p.Y - r}, XY{p.X + r, p.Y + r})
		} else {
			a.Path(with, false, p, XY{p.X + 0.1, p.Y}) // the caps are the dot; some printers drop a line of no length
		}
	}
}

// A Box is a filled rectangle in data units.
type Box struct{ X0, X1, Y0, Y1 float64 }

// Boxes draws bars of any kind.
type Boxes struct {
	Boxes []Box
	Ink   Ink
}

func (b Boxes) points() (out []XY) {
	for _, q := range b.Boxes {
		out = append(out, XY{q.X0, q.Y0}, XY{q.X1, q.Y1})
	}
	return out
}

func (b Boxes) draw(a area) {
	for _, q := range b.Boxes {
		if (XY{q.X0, q.Y0}).ok() && (XY{q.X1, q.Y1}).ok() {
			a.Fill("f-"+b.Ink, a.at(q.X0, q.Y0), a.at(q.X1, q.Y0), a.at(q.X1, q.Y1), a.at(q.X0, q.Y1))
		}
	}
}

// Rule is a straight line across the panel at a value of one axis.
type Rule struct {
	At       float64
	Vertical bool
	Ink      Ink
}

func (r Rule) points() []XY { return nil }

func (r Rule) draw(a area) {
	at := a.at(r.At, r.At)
	p, q := XY{a.left, at.Y}, XY{a.right, at.Y}
	if r.Vertical {
		p, q = XY{at.X, a.bottom}, XY{at.X, a.top}
	}
	if finite(r.At) && a.contains(p) && a.contains(q) {
		a.Line("s-"+r.Ink, 1, p, q)
	}
}

// Note is a word at a point.
type Note struct {
	At     XY
	Text   string
	DX, DY float64 // px, + right and up
	Anchor string
}

func (n Note) points() []XY { return nil }

func (n Note) draw(a area) {
	const size = 11
	if at := a.at(n.At.X, n.At.Y); n.At.ok() {
		a.Text("text", size, n.Anchor, XY{at.X + n.DX, at.Y - n.DY + lineHeight(size)/2 - rise(size)}, n.Text)
	}
}

// Whiskers draws intervals as lines with a dot at the value, lying down on rows
// of a panel (X is the row), or standing up.
type Whiskers struct {
	Items   []Sample
	Ink     Ink
	Shape   Shape
	Upright bool
}

func (w Whiskers) point(row, v float64) XY {
	if w.Upright {
		return XY{row, v}
	}
	return XY{v, row}
}

func (w Whiskers) points() (out []XY) {
	for _, q := range w.Items {
		out = append(out, w.point(q.X, q.Value), w.point(q.X, q.Lo), w.point(q.X, q.Hi))
	}
	return out
}

func (w Whiskers) draw(a area) {
	var dots []XY
	for _, i := range w.Items {
		Line{Points: []XY{w.point(i.X, i.Lo), w.point(i.X, i.Hi)}, Ink: w.Ink, Width: 2}.draw(a)
		dots = append(dots, w.point(i.X, i.Value))
	}
	Dots{Points: dots, Ink: w.Ink, Shape: w.Shape, Size: 8}.draw(a)
}
