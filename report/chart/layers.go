package chart

import (
	"math"

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

type extent struct{ x0, x1, y0, y1 float64 }

func newExtent() extent {
	inf := math.Inf(1)
	return extent{inf, -inf, inf, -inf}
}

func (e *extent) add(x, y float64) {
	if finite(x) && finite(y) {
		e.x0, e.x1 = math.Min(e.x0, x), math.Max(e.x1, x)
		e.y0, e.y1 = math.Min(e.y0, y), math.Max(e.y1, y)
	}
}

// Line joins points in order, with a gap wherever one is missing.
type Line struct {
	Points []XY
	Ink    Ink
	Width  float64
	Dash   []vg.Length
}

func (l Line) DataRange() (xmin, xmax, ymin, ymax float64) {
	e := newExtent()
	for _, p := range l.Points {
		e.add(p.X, p.Y)
	}
	return e.x0, e.x1, e.y0, e.y1
}

func (l Line) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	c.SetLineStyle(draw.LineStyle{Color: l.Ink, Width: vg.Points(orOne(l.Width)), Dashes: l.Dash})
	for _, run := range runs(l.Points) {
		pts := make([]vg.Point, len(run))
		for i, q := range run {
			pts[i] = vg.Point{X: trX(q.X), Y: trY(q.Y)}
		}
		if len(pts) == 1 {
			pts = append(pts, vg.Point{X: pts[0].X + 1, Y: pts[0].Y}) // a lone point shows as a dash
		}
		for _, seg := range c.ClipLinesXY(thin(pts)) {
			var path vg.Path
			for i, q := range seg {
				if i == 0 {
					path.Move(q)
				} else {
					path.Line(q)
				}
			}
			c.Stroke(path)
		}
	}
}

func orOne(v float64) float64 {
	if v == 0 {
		return 1
	}
	return v
}

// runs splits points where one is missing.
func runs(ps []XY) [][]XY {
	var out [][]XY
	from := -1
	for i, p := range ps {
		if p.ok() {
			if from < 0 {
				from = i
			}
		} else if from >= 0 {
			out, from = append(out, ps[from:i]), -1
		}
	}
	if from >= 0 {
		out = append(out, ps[from:])
	}
	return out
}

// thin keeps, of each pixel column, the first, lowest, highest and last point
// in their order, so that the line looks the same. Points must run left to
// right; others come back untouched.
func thin(ps []vg.Point) []vg.Point {
	if len(ps) < 4 {
		return ps
	}
	for i := 1; i < len(ps); i++ {
		if ps[i].X < ps[i-1].X {
			return ps
		}
	}
	out := ps[:0:0]
	for i := 0; i < len(ps); {
		col := math.Floor(ps[i].X.Points())
		j, lo, hi := i, i, i
		for ; j < len(ps) && math.Floor(ps[j].X.Points()) == col; j++ {
			if ps[j].Y < ps[lo].Y {
				lo = j
			}
			if ps[j].Y > ps[hi].Y {
				hi = j
			}
		}
		last := -1
		for _, k := range []int{i, min(lo, hi), max(lo, hi), j - 1} {
			if k != last {
				out = append(out, ps[k])
				last = k
			}
		}
		i = j
	}
	return out
}

// A BandPoint is a lower and an upper bound at X.
type BandPoint struct{ X, Lo, Hi float64 }

// Band fills between two bounds, with gaps where one is missing.
type Band struct {
	Points []BandPoint
	Ink    Ink
}

func (b Band) DataRange() (xmin, xmax, ymin, ymax float64) {
	e := newExtent()
	for _, p := range b.Points {
		e.add(p.X, p.Lo)
		e.add(p.X, p.Hi)
	}
	return e.x0, e.x1, e.y0, e.y1
}

func (b Band) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	var run []BandPoint
	flush := func() {
		if len(run) > 1 {
			var poly []vg.Point
			for _, q := range run {
				poly = append(poly, vg.Point{X: trX(q.X), Y: trY(q.Hi)})
			}
			for i := len(run) - 1; i >= 0; i-- {
				poly = append(poly, vg.Point{X: trX(run[i].X), Y: trY(run[i].Lo)})
			}
			c.FillPolygon(b.Ink, c.ClipPolygonXY(poly))
		}
		run = run[:0]
	}
	for _, q := range b.Points {
		if finite(q.X) && finite(q.Lo) && finite(q.Hi) {
			run = append(run, q)
		} else {
			flush()
		}
	}
	flush()
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
	size := d.Size
	if size == 0 {
		size = 4
	}
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
	e := newExtent()
	for _, q := range b.Boxes {
		e.add(q.X0, q.Y0)
		e.add(q.X1, q.Y1)
	}
	return e.x0, e.x1, e.y0, e.y1
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
	Dash     []vg.Length
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
	c.StrokeLine2(draw.LineStyle{Color: r.Ink, Width: 1, Dashes: r.Dash}, a.X, a.Y, b.X, b.Y)
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
	size := n.Size
	if size == 0 {
		size = 11
	}
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
	e := newExtent()
	for _, i := range w.Items {
		for _, v := range []float64{i.Value, i.Lo, i.Hi} {
			q := w.point(i.Row, v)
			e.add(q.X, q.Y)
		}
	}
	return e.x0, e.x1, e.y0, e.y1
}

func (w Whiskers) Plot(c draw.Canvas, p *plot.Plot) {
	var dots []XY
	for _, i := range w.Items {
		Line{Points: []XY{w.point(i.Row, i.Lo), w.point(i.Row, i.Hi)}, Ink: w.Ink, Width: 2}.Plot(c, p)
		dots = append(dots, w.point(i.Row, i.Value))
	}
	Dots{Points: dots, Ink: w.Ink, Shape: w.Shape, Size: 8}.Plot(c, p)
}
