package chart

import (
	"html"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// An Ink is a colour by name: the page's style sheet says what it looks like,
// in light, in dark and in print.
type Ink string

// A canvas writes SVG with classes: strokes get the class s-NAME, fills f-NAME,
// dots d-NAME, text t-NAME.
type canvas struct {
	h    float64 // px
	out  strings.Builder
	open string // attributes of the path that is still being added to
	path strings.Builder

	cut bool // what is drawn stays within an element of its own
}

// within draws what follows within a rectangle, nothing beyond it showing, until
// free.
func (c *canvas) within(low, high vg.Point) {
	if c.cut {
		return
	}
	c.flush()
	c.cut = true
	x0, y1 := c.at(low)
	x1, y0 := c.at(high)
	at := short(x0) + " " + short(y0) + " " + short(x1-x0) + " " + short(y1-y0)
	c.out.WriteString(`<svg class="in" x="` + short(x0) + `" y="` + short(y0) + `" width="` + short(x1-x0) + `" height="` + short(y1-y0) + `" viewBox="` + at + `">`)
}

func (c *canvas) free() {
	if c.cut {
		c.flush()
		c.out.WriteString("</svg>")
	}
	c.cut = false
}

// markup is what was drawn, without the svg element around it.
func (c *canvas) markup() string {
	c.flush()
	return c.out.String()
}

// at is a point in SVG's frame, y down.
func (c *canvas) at(p vg.Point) (x, y float64) { return p.X.Points(), c.h - p.Y.Points() }

// A pen is the look of a stroke.
type pen struct {
	ink   Ink
	width float64 // px
	dash  []vg.Length
	caps  string // of the dots that it draws, "" for a line
}

func (c *canvas) stroke(with pen, p vg.Path) {
	if len(p) == 0 {
		return
	}
	kind, caps := "s-", ""
	if with.caps != "" {
		kind, caps = "d-", ` stroke-linecap="`+with.caps+`"`
	}
	a := `class="` + kind + string(with.ink) + `" stroke-width="` + short(with.width) + `"` + caps
	if len(with.dash) > 0 {
		d := make([]string, len(with.dash))
		for i, l := range with.dash {
			d[i] = short(l.Points())
		}
		a += ` stroke-dasharray="` + strings.Join(d, " ") + `"`
	}
	c.emit(a, p)
}

// join strokes a line through points, fill fills a polygon.
func (c *canvas) join(with pen, points ...vg.Point) { c.stroke(with, through(points)) }

func (c *canvas) fill(ink Ink, polygon []vg.Point) {
	if len(polygon) > 0 {
		p := through(polygon)
		p.Close()
		c.emit(`class="f-`+string(ink)+`"`, p)
	}
}

func through(points []vg.Point) (p vg.Path) {
	for i, q := range points {
		if i == 0 {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	return p
}

// emit adds to the open path where the look is the same: a hundred ticks are
// one element.
func (c *canvas) emit(attrs string, p vg.Path) {
	if attrs != c.open {
		c.flush()
		c.open = attrs
	}
	var lx, ly float64 // what the rounded path has reached
	for _, s := range p {
		x, y := c.at(s.Pos)
		switch dx, dy := round1(x-lx), round1(y-ly); {
		case s.Type == vg.CloseComp:
			c.path.WriteString("z")
		case s.Type == vg.MoveComp:
			lx, ly = round1(x), round1(y)
			c.path.WriteString("M" + pair(lx, ly))
		default:
			lx, ly = lx+dx, ly+dy
			switch {
			case dy == 0:
				c.path.WriteString("h" + short(dx))
			case dx == 0:
				c.path.WriteString("v" + short(dy))
			default:
				c.path.WriteString("l" + pair(dx, dy))
			}
		}
	}
}

func (c *canvas) flush() {
	if c.open != "" && c.path.Len() > 0 {
		c.out.WriteString("<path " + c.open + ` d="` + c.path.String() + `"/>`)
	}
	c.open = ""
	c.path.Reset()
}

type textAt struct {
	size, rotate, drop float64
	align              float64 // 0 left, -0.5 middle, -1 right
	ink                Ink
}

func (c *canvas) text(s string, p vg.Point, t textAt) {
	if strings.TrimSpace(s) == "" {
		return
	}
	c.flush()
	x, y := c.at(p)
	anchor, turn := "", ""
	if t.align != 0 {
		anchor = ` text-anchor="` + map[float64]string{-0.5: "middle", -1: "end"}[t.align] + `"`
	}
	if t.rotate != 0 {
		turn = ` transform="rotate(` + short(-t.rotate*180/math.Pi) + " " + short(x) + " " + short(y) + `)"`
	}
	c.out.WriteString(`<text class="t-` + string(t.ink) + `" x="` + short(x) + `" y="` + short(y+t.drop) + `" font-size="` + short(t.size) + `"` + anchor + turn + ">" + html.EscapeString(s) + "</text>")
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }

// short is a number for SVG with at most one decimal and no needless zero.
func short(v float64) string {
	v = round1(v)
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', -1, 64)
	return strings.Replace(strings.TrimPrefix(s, "0"), "-0.", "-.", 1)
}

// pair is two numbers, with the comma left out where a minus sign parts them.
func pair(x, y float64) string {
	b := short(y)
	if b[0] == '-' {
		return short(x) + b
	}
	return short(x) + " " + b
}
