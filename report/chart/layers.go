package chart

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// An XY is a point in data units. A point that is not finite, or beyond
// [sane], is a gap.
type XY struct{ X, Y float64 }

// sane bounds what can be drawn; a log that says more has a broken number.
const sane = 1e9

func finite(v float64) bool { return math.Abs(v) <= sane } // false for NaN

func (p XY) ok() bool { return finite(p.X) && finite(p.Y) }

// extent is the range of n points; points that are gaps do not count.
func extent(n int, at func(i int) XY) (x0, x1, y0, y1 float64) {
	inf := math.Inf(1)
	x0, x1, y0, y1 = inf, -inf, inf, -inf
	for i := range n {
		if p := at(i); p.ok() {
			x0, x1, y0, y1 = min(x0, p.X), max(x1, p.X), min(y0, p.Y), max(y1, p.Y)
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

func (l Line) DataRange() (xmin, xmax, ymin, ymax float64) {
	return extent(len(l.Points), func(i int) XY { return l.Points[i] })
}

func (l Line) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	for _, run := range runs(l.Points) {
		pts := make([]vg.Point, len(run))
		for i, q := range run {
			pts[i] = vg.Point{X: trX(q.X), Y: trY(q.Y)}
		}
		if len(pts) == 1 {
			pts = append(pts, vg.Point{X: pts[0].X + 1, Y: pts[0].Y}) // a lone point shows as a dash
		}
		c.StrokeLines(draw.LineStyle{Color: l.Ink, Width: vg.Points(cmp.Or(l.Width, 1)), Dashes: l.Dash}, c.ClipLinesXY(pts)...)
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

func (b Band) DataRange() (xmin, xmax, ymin, ymax float64) {
	return extent(2*len(b.Points), func(i int) XY {
		p := b.Points[i/2]
		return XY{p.X, [2]float64{p.Lo, p.Hi}[i%2]}
	})
}

func (b Band) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	for _, run := range runs(b.Points) {
		if len(run) < 2 {
			continue
		}
		var poly []vg.Point
		for _, q := range run {
			poly = append(poly, vg.Point{X: trX(q.X), Y: trY(q.Hi)})
		}
		for _, q := range slices.Backward(run) {
			poly = append(poly, vg.Point{X: trX(q.X), Y: trY(q.Lo)})
		}
		c.FillPolygon(b.Ink, c.ClipPolygonXY(poly))
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

func (d Dots) DataRange() (xmin, xmax, ymin, ymax float64) {
	return Line{Points: d.Points}.DataRange()
}

func (d Dots) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	size := cmp.Or(d.Size, 4)
	type cell struct{ x, y int }
	seen := map[cell]bool{}
	var path vg.Path
	for _, q := range d.Points {
		if !q.ok() {
			continue
		}
		pt := vg.Point{X: trX(q.X), Y: trY(q.Y)}
		at := cell{int(pt.X.Points()), int(pt.Y.Points())}
		if !c.Contains(pt) || seen[at] {
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
	c.SetLineStyle(draw.LineStyle{Color: d.Ink, Width: vg.Points(width)})
	if svg := unwrap(c.Canvas); svg != nil {
		svg.state.cap = ends
		defer func() { svg.state.cap = "" }()
	}
	c.Stroke(path)
}

// A Box is a filled rectangle in data units.
type Box struct{ X0, X1, Y0, Y1 float64 }

// Boxes draws bars of any kind.
type Boxes struct {
	Boxes []Box
	Ink   Ink
}

func (b Boxes) DataRange() (xmin, xmax, ymin, ymax float64) {
	return extent(2*len(b.Boxes), func(i int) XY {
		q := b.Boxes[i/2]
		return [2]XY{{q.X0, q.Y0}, {q.X1, q.Y1}}[i%2]
	})
}

func (b Boxes) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	for _, q := range b.Boxes {
		if !finite(q.X0) || !finite(q.X1) || !finite(q.Y0) || !finite(q.Y1) {
			continue
		}
		x0, x1, y0, y1 := trX(q.X0), trX(q.X1), trY(q.Y0), trY(q.Y1)
		c.FillPolygon(b.Ink, c.ClipPolygonXY([]vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}))
	}
}

// Rule is a straight line across the panel at a value of one axis.
type Rule struct {
	At       float64
	Vertical bool
	Ink      Ink
}

func (r Rule) Plot(c draw.Canvas, p *plot.Plot) {
	if !finite(r.At) {
		return
	}
	trX, trY := p.Transforms(&c)
	a, b := vg.Point{X: c.Min.X, Y: trY(r.At)}, vg.Point{X: c.Max.X, Y: trY(r.At)}
	if r.Vertical {
		a, b = vg.Point{X: trX(r.At), Y: c.Min.Y}, vg.Point{X: trX(r.At), Y: c.Max.Y}
	}
	if !c.Contains(a) || !c.Contains(b) {
		return
	}
	c.StrokeLine2(draw.LineStyle{Color: r.Ink, Width: 1}, a.X, a.Y, b.X, b.Y)
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

func (n Note) Plot(c draw.Canvas, p *plot.Plot) {
	if !n.At.ok() {
		return
	}
	trX, trY := p.Transforms(&c)
	size := cmp.Or(n.Size, 11)
	pt := vg.Point{X: trX(n.At.X) + vg.Length(n.DX), Y: trY(n.At.Y) + vg.Length(n.DY) + vg.Points(0.2*size)}
	c.FillText(text.Style{Color: n.Ink, Font: sans(size), XAlign: text.XAlignment(n.Align), YAlign: -0.5, Handler: handler}, pt, n.Text)
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

func (w Whiskers) DataRange() (xmin, xmax, ymin, ymax float64) {
	return extent(3*len(w.Items), func(i int) XY {
		q := w.Items[i/3]
		return w.point(q.Row, [3]float64{q.Value, q.Lo, q.Hi}[i%3])
	})
}

func (w Whiskers) Plot(c draw.Canvas, p *plot.Plot) {
	var dots []XY
	for _, i := range w.Items {
		Line{Points: []XY{w.point(i.Row, i.Lo), w.point(i.Row, i.Hi)}, Ink: w.Ink, Width: 2}.Plot(c, p)
		dots = append(dots, w.point(i.Row, i.Value))
	}
	Dots{Points: dots, Ink: w.Ink, Shape: w.Shape, Size: 8}.Plot(c, p)
}
