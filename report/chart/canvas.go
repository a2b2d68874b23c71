package chart

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// An Ink is a colour by name: the page's style sheet says what it looks like,
// in light, in dark and in print.
type Ink = string

// A Picture is an svg element: where it stands on the page, and what it says to
// those who do not see it.
type Picture struct {
	ID            string // unique on the page; used in ids, so letters, digits, "-"
	Class         string
	Title, Desc   string // plain text, escaped here
	Width, Height float64
}

// A Canvas writes SVG with classes, in px of the viewBox, y down: strokes have
// the class s-INK, fills f-INK, dots d-INK, text t-INK.
type Canvas struct {
	Picture
	attrs string // more of the element's
	out   strings.Builder
	open  string // look of the path that is still being added to
	path  strings.Builder
	cut   bool // what is drawn stays within an element of its own
}

// SVG is the element with what was drawn.
func (c *Canvas) SVG() string {
	c.flush()
	return fmt.Sprintf(`<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%[4]s-t %[4]s-d"%s><title id="%[4]s-t">%[6]s</title><desc id="%[4]s-d">%[7]s</desc>%[8]s</svg>`,
		html.EscapeString(c.Class), short(c.Width), short(c.Height), c.ID, c.attrs, html.EscapeString(c.Title), html.EscapeString(c.Desc), c.out.String())
}

// within draws what follows within a rectangle, nothing beyond it showing, until
// free.
func (c *Canvas) within(x0, y0, x1, y1 float64) {
	if c.cut {
		return
	}
	c.flush()
	c.cut = true
	x, y, w, h := short(x0), short(y0), short(x1-x0), short(y1-y0)
	fmt.Fprintf(&c.out, `<svg class="in" x="%s" y="%s" width="%s" height="%s" viewBox="%[1]s %[2]s %[3]s %[4]s">`, x, y, w, h)
}

func (c *Canvas) free() {
	if c.cut {
		c.flush()
		c.out.WriteString("</svg>")
	}
	c.cut = false
}

// A Pen is the look of a path.
type Pen struct {
	Class string
	Width float64 // px, 0 for none
	Dash  string  // lengths of strokes and gaps, px
	caps  string  // of dots
}

func (p Pen) attrs() string {
	a := `class="` + p.Class + `"`
	if p.Width > 0 {
		a += ` stroke-width="` + short(p.Width) + `"`
	}
	if p.caps != "" {
		a += ` stroke-linecap="` + p.caps + `"`
	}
	if p.Dash != "" {
		a += ` stroke-dasharray="` + p.Dash + `"`
	}
	return a
}

// Path joins points, which must all be finite.
func (c *Canvas) Path(with Pen, closed bool, points ...XY) {
	var p vg.Path
	for i, at := range points {
		to := vg.Point{X: vg.Length(at.X), Y: vg.Length(at.Y)}
		switch {
		case !at.ok():
			return
		case i == 0:
			p.Move(to)
		default:
			p.Line(to)
		}
	}
	if closed {
		p.Close()
	}
	c.stroke(with, p)
}

// stroke writes a path of straight pieces. It adds to the path before it where the
// look is the same: a hundred ticks are one element.
func (c *Canvas) stroke(with Pen, p vg.Path) {
	if a := with.attrs(); a != c.open {
		c.flush()
		c.open = a
	}
	var at XY // what the rounded path has reached
	for _, s := range p {
		dx, dy := round1(float64(s.Pos.X)-at.X), round1(float64(s.Pos.Y)-at.Y)
		if s.Type != vg.CloseComp {
			at = XY{at.X + dx, at.Y + dy}
		}
		switch {
		case s.Type == vg.CloseComp:
			c.path.WriteString("z")
		case s.Type == vg.MoveComp:
			c.path.WriteString("M" + pair(at.X, at.Y))
		case dy == 0:
			c.path.WriteString("h" + short(dx))
		case dx == 0:
			c.path.WriteString("v" + short(dy))
		default:
			c.path.WriteString("l" + pair(dx, dy))
		}
	}
}

// Line is a line of a class through points, Fill what they go around.
func (c *Canvas) Line(class string, width float64, points ...XY) {
	c.Path(Pen{Class: class, Width: width}, false, points...)
}

func (c *Canvas) Fill(class string, points ...XY) { c.Path(Pen{Class: class}, true, points...) }

// Outline is a shape that hides what lies behind it.
func (c *Canvas) Outline(class string, width float64, points ...XY) {
	c.Path(Pen{Class: class, Width: width}, true, points...)
	c.flush()
}

func (c *Canvas) flush() {
	if c.path.Len() > 0 {
		c.out.WriteString("<path " + c.open + ` d="` + c.path.String() + `"/>`)
	}
	c.open = ""
	c.path.Reset()
}

// Where a text stands from its place: after it unless said otherwise.
const (
	Middle = "middle"
	Before = "end"
)

// Text writes one line.
func (c *Canvas) Text(ink Ink, size float64, anchor string, at XY, s string) {
	c.text(ink, size, anchor, "", at, s)
}

func (c *Canvas) text(ink Ink, size float64, anchor, more string, at XY, s string) {
	if strings.TrimSpace(s) == "" {
		return
	}
	c.flush()
	if anchor != "" {
		anchor = ` text-anchor="` + anchor + `"`
	}
	fmt.Fprintf(&c.out, `<text class="t-%s" x="%s" y="%s" font-size="%s"%s%s>%s</text>`, ink, short(at.X), short(at.Y), short(size), anchor, more, html.EscapeString(s))
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
