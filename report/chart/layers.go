package chart

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// An XY is a point in data units. A point that is not finite, or beyond
// [sane], is a gap.
type XY struct{ X, Y float64 }

// sane bounds what can be drawn; a log that says more has a broken number.
const sane = 1e9

func finite(v float64) bool { return math.Abs(v) <= sane } // false for NaN

func (p XY) ok() bool { return finite(p.X) && finite(p.Y) }

// A ranger is a layer that the axes must have room for.
type ranger interface{ points() []XY }

// Extent is the range of layers; points that are gaps do not count.
func Extent(layers ...Layer) (x0, x1, y0, y1 float64) {
	inf := math.Inf(1)
	x0, x1, y0, y1 = inf, -inf, inf, -inf
	for _, l := range layers {
		if r, ok := l.(ranger); ok {
			for _, p := range r.points() {
				if p.ok() {
					x0, x1, y0, y1 = min(x0, p.X), max(x1, p.X), min(y0, p.Y), max(y1, p.Y)
				}
			}
		}
	}
	return x0, x1, y0, y1
}

// Line joins points in order, with a gap wherever one is missing.
type Line struct {
	Points []XY
	Ink    Ink
	Width  float64
	Dash   []vg.Length
}

func (l Line) points() []XY { return l.Points }

func (l Line) draw(a area) {
	for _, run := range runs(l.Points) {
		pts := make([]vg.Point, len(run))
		for i, q := range run {
			pts[i] = a.at(q.X, q.Y)
		}
		if len(pts) == 1 {
			pts = append(pts, vg.Point{X: pts[0].X + 1, Y: pts[0].Y}) // a lone point shows as a dash
		}
		a.join(pen{ink: l.Ink, width: cmp.Or(l.Width, 1), dash: l.Dash}, pts...)
	}
}

// runs splits points where one is missing.
func runs[P interface{ ok() bool }](ps []P) [][]P {
	var out [][]P
	from := 0
	for i := range len(ps) + 1 {
		if i < len(ps) && ps[i].ok() {
			continue
		}
		if i > from {
			out = append(out, ps[from:i])
		}
		from = i + 1
	}
	return out
}

// A BandPoint is a lower and an upper bound at X.
type BandPoint struct{ X, Lo, Hi float64 }

func (p BandPoint) ok() bool { return finite(p.X) && finite(p.Lo) && finite(p.Hi) }

// Band fills between two bounds, with gaps where one is missing.
type Band struct {
	Points []BandPoint
	Ink    Ink
}

func (b Band) points() (out []XY) {
	for _, p := range b.Points {
		out = append(out, XY{p.X, p.Lo}, XY{p.X, p.Hi})
	}
	return out
}

func (b Band) draw(a area) {
	for _, run := range runs(b.Points) {
		if len(run) < 2 {
			continue
		}
		var poly []vg.Point
		for _, q := range run {
			poly = append(poly, a.at(q.X, q.Hi))
		}
		for _, q := range slices.Backward(run) {
			poly = append(poly, a.at(q.X, q.Lo))
		}
		a.fill(b.Ink, poly)
	}
}

// A Shape tells series apart without colour.
type Shape int

const (
	Round Shape = iota
	Square
	Cross
)

// Dots marks points; of those that fall on one pixel, one is drawn.
type Dots struct {
	Points []XY
	Ink    Ink
	Shape  Shape
	Size   float64
}

func (d Dots) points() []XY { return d.Points }

func (d Dots) draw(a area) {
	size := cmp.Or(d.Size, 4)
	type cell struct{ x, y int }
	seen := map[cell]bool{}
	var path vg.Path
	for _, q := range d.Points {
		if !q.ok() {
			continue
		}
		pt := a.at(q.X, q.Y)
		at := cell{int(pt.X.Points()), int(pt.Y.Points())}
		if !a.contains(pt) || seen[at] {
			continue
		}
		seen[at] = true
		if d.Shape == Cross {
			r := vg.Length(size / 2)
			path.Move(vg.Point{X: pt.X - r, Y: pt.Y - r})
			path.Line(vg.Point{X: pt.X + r, Y: pt.Y + r})
			path.Move(vg.Point{X: pt.X - r, Y: pt.Y + r})
			path.Line(vg.Point{X: pt.X + r, Y: pt.Y - r})
			continue
		}
		path.Move(pt)
		path.Line(vg.Point{X: pt.X + 0.1, Y: pt.Y}) // the caps are the dot; some printers drop a line of no length
	}
	width, ends := size, "round"
	switch d.Shape {
	case Square:
		ends = "square"
		width *= 0.9
	case Cross:
		width = 1.2
	}
	a.stroke(pen{ink: d.Ink, width: width, caps: ends}, path)
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
		if !(XY{q.X0, q.Y0}).ok() || !(XY{q.X1, q.Y1}).ok() {
			continue
		}
		p, r := a.at(q.X0, q.Y0), a.at(q.X1, q.Y1)
		a.fill(b.Ink, []vg.Point{p, {X: r.X, Y: p.Y}, r, {X: p.X, Y: r.Y}})
	}
}

// Rule is a straight line across the panel at a value of one axis.
type Rule struct {
	At       float64
	Vertical bool
	Ink      Ink
}

func (r Rule) draw(a area) {
	if !finite(r.At) {
		return
	}
	at := a.at(r.At, r.At)
	p, q := vg.Point{X: a.Min.X, Y: at.Y}, vg.Point{X: a.Max.X, Y: at.Y}
	if r.Vertical {
		p, q = vg.Point{X: at.X, Y: a.Min.Y}, vg.Point{X: at.X, Y: a.Max.Y}
	}
	if a.contains(p) && a.contains(q) {
		a.join(pen{ink: r.Ink, width: 1}, p, q)
	}
}

// Note is a word at a point.
type Note struct {
	At     XY
	Text   string
	Ink    Ink
	Size   float64
	DX, DY float64 // px, + right and up
	Align  float64 // 0 left, -0.5 middle, -1 right
}

func (n Note) draw(a area) {
	if !n.At.ok() {
		return
	}
	size := cmp.Or(n.Size, 11)
	at := a.at(n.At.X, n.At.Y).Add(vg.Point{X: vg.Length(n.DX), Y: vg.Length(n.DY + 0.2*size)})
	a.text(n.Text, at, textAt{size: size, ink: n.Ink, align: n.Align, drop: dropMiddle(size)})
}

// A Whisker is a value with its interval on one row of a panel (y = Row).
type Whisker struct{ Row, Value, Lo, Hi float64 }

// Whiskers draws intervals as lines with a dot at the value, lying down, or
// standing up when Upright (Row is then x).
type Whiskers struct {
	Items   []Whisker
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
		out = append(out, w.point(q.Row, q.Value), w.point(q.Row, q.Lo), w.point(q.Row, q.Hi))
	}
	return out
}

func (w Whiskers) draw(a area) {
	var dots []XY
	for _, i := range w.Items {
		Line{Points: []XY{w.point(i.Row, i.Lo), w.point(i.Row, i.Hi)}, Ink: w.Ink, Width: 2}.draw(a)
		dots = append(dots, w.point(i.Row, i.Value))
	}
	Dots{Points: dots, Ink: w.Ink, Shape: w.Shape, Size: 8}.draw(a)
}
