package chart

import (
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// An Ink is a colour by name: the page's style sheet says what it looks like,
// in light, in dark and in print.
type Ink string

// RGBA makes an Ink a color.Color; on a canvas other than ours it is black.
func (Ink) RGBA() (r, g, b, a uint32) { return 0, 0, 0, 0xffff }

// A Canvas is a [vg.Canvas] that writes SVG with classes. Strokes get the
// class s-NAME, fills f-NAME, dots d-NAME, text t-NAME.
type Canvas struct {
	w, h  float64
	out   strings.Builder
	state canvasState
	stack []canvasState
	open  string // attributes of the path that is still being added to
	path  strings.Builder
}

type canvasState struct {
	m     [6]float64 // x' = m0 x + m2 y + m4, y' = m1 x + m3 y + m5
	ink   color.Color
	width float64
	dash  []vg.Length
	cap   string
}

// NewCanvas is an empty canvas, width × height px.
func NewCanvas(width, height float64) *Canvas {
	c := &Canvas{w: width, h: height, state: canvasState{m: [6]float64{1, 0, 0, 1, 0, 0}}}
	vg.Initialize(c)
	return c
}

// Markup is what was drawn, without the svg element around it.
func (c *Canvas) Markup() string {
	c.flush()
	return c.out.String()
}

func (c *Canvas) Size() (w, h vg.Length)                 { return vg.Length(c.w), vg.Length(c.h) }
func (c *Canvas) SetLineWidth(w vg.Length)               { c.state.width = w.Points() }
func (c *Canvas) SetLineDash(d []vg.Length, _ vg.Length) { c.state.dash = d }
func (c *Canvas) SetColor(k color.Color)                 { c.state.ink = k }
func (c *Canvas) Push()                                  { c.stack = append(c.stack, c.state) }

func (c *Canvas) Pop() {
	if n := len(c.stack); n > 0 {
		c.state, c.stack = c.stack[n-1], c.stack[:n-1]
	}
}

func (c *Canvas) transform(a, b, d, e, x, y float64) {
	m := c.state.m
	c.state.m = [6]float64{
		m[0]*a + m[2]*b, m[1]*a + m[3]*b,
		m[0]*d + m[2]*e, m[1]*d + m[3]*e,
		m[0]*x + m[2]*y + m[4], m[1]*x + m[3]*y + m[5],
	}
}

func (c *Canvas) Rotate(rad float64) {
	s, k := math.Sincos(rad)
	c.transform(k, s, -s, k, 0, 0)
}

func (c *Canvas) Translate(p vg.Point) { c.transform(1, 0, 0, 1, p.X.Points(), p.Y.Points()) }
func (c *Canvas) Scale(x, y float64)   { c.transform(x, 0, 0, y, 0, 0) }

// at is a point in SVG's frame, y down.
func (c *Canvas) at(p vg.Point) (x, y float64) {
	px, py, m := p.X.Points(), p.Y.Points(), c.state.m
	return m[0]*px + m[2]*py + m[4], c.h - (m[1]*px + m[3]*py + m[5])
}

func inkName(k color.Color) string {
	if i, ok := k.(Ink); ok {
		return string(i)
	}
	return "text"
}

func (c *Canvas) Stroke(p vg.Path) {
	if c.state.width <= 0 || len(p) == 0 {
		return
	}
	kind := "s-"
	if c.state.cap != "" {
		kind = "d-"
	}
	a := `class="` + kind + inkName(c.state.ink) + `" stroke-width="` + short(c.state.width) + `"`
	if c.state.cap != "" {
		a += ` stroke-linecap="` + c.state.cap + `"`
	}
	if len(c.state.dash) > 0 {
		d := make([]string, len(c.state.dash))
		for i, l := range c.state.dash {
			d[i] = short(l.Points())
		}
		a += ` stroke-dasharray="` + strings.Join(d, " ") + `"`
	}
	c.emit(a, p)
}

func (c *Canvas) Fill(p vg.Path) {
	if len(p) > 0 {
		c.emit(`class="f-`+inkName(c.state.ink)+`"`, p)
	}
}

// emit adds to the open path where the look is the same: a hundred ticks are
// one element.
func (c *Canvas) emit(attrs string, p vg.Path) {
	if attrs != c.open {
		c.flush()
		c.open = attrs
	}
	var lx, ly float64 // what the rounded path has reached
	to := func(cmd string, q vg.Point) {
		x, y := c.at(q)
		if cmd == "M" {
			lx, ly = round1(x), round1(y)
			c.path.WriteString("M" + pair(lx, ly))
			return
		}
		dx, dy := round1(x-lx), round1(y-ly)
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
	for _, s := range p {
		switch s.Type {
		case vg.MoveComp:
			to("M", s.Pos)
		case vg.LineComp, vg.ArcComp, vg.CurveComp: // nothing here draws a curve
			to("l", s.Pos)
		case vg.CloseComp:
			c.path.WriteString("z")
		}
	}
}

func (c *Canvas) flush() {
	if c.open != "" && c.path.Len() > 0 {
		c.out.WriteString("<path " + c.open + ` d="` + c.path.String() + `"/>`)
	}
	c.open = ""
	c.path.Reset()
}

type textAt struct {
	size, rotate, align, drop float64
	ink                       color.Color
}

func (c *Canvas) text(s string, p vg.Point, t textAt) {
	if strings.TrimSpace(s) == "" {
		return
	}
	c.flush()
	x, y := c.at(p)
	anchor := ""
	switch {
	case t.align <= -0.75:
		anchor = ` text-anchor="end"`
	case t.align <= -0.25:
		anchor = ` text-anchor="middle"`
	}
	turn := ""
	if t.rotate != 0 {
		turn = ` transform="rotate(` + short(-t.rotate*180/math.Pi) + " " + short(x) + " " + short(y) + `)"`
	}
	c.out.WriteString(`<text class="t-` + inkName(t.ink) + `" x="` + short(x) + `" y="` + short(y+t.drop) + `" font-size="` + short(t.size) + `"` + anchor + turn + ">" + html.EscapeString(s) + "</text>")
}

// FillString is what gonum calls for text that has no handler of ours.
func (c *Canvas) FillString(f font.Face, p vg.Point, s string) {
	c.text(s, p, textAt{size: f.Font.Size.Points(), ink: c.state.ink})
}

// DrawImage draws nothing: the report has no pictures made of pixels.
func (c *Canvas) DrawImage(vg.Rectangle, image.Image) {}

func round1(v float64) float64 { return math.Round(v*10) / 10 }

// short is a number for SVG with at most one decimal and no needless zero.
func short(v float64) string {
	v = round1(v)
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if strings.HasPrefix(s, "0.") {
		return s[1:]
	}
	if strings.HasPrefix(s, "-0.") {
		return "-" + s[2:]
	}
	return s
}

// pair is two numbers, with the comma left out where a minus sign parts them.
func pair(x, y float64) string {
	b := short(y)
	if b[0] == '-' {
		return short(x) + b
	}
	return short(x) + " " + b
}
