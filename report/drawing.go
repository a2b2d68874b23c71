package report

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"evenfoot/report/words"
)

// A drawing is a small SVG made by hand: y down, px of the viewBox.
type drawing struct {
	id, title, desc, class string
	w, h                   float64
	b                      strings.Builder
}

func newDrawing(id, class, title, desc string, w, h float64) *drawing {
	return &drawing{id: id, class: class, title: title, desc: desc, w: w, h: h}
}

func (d *drawing) svg() template.HTML {
	return template.HTML(fmt.Sprintf(`<svg class="%s" viewBox="0 0 %.5g %.5g" role="img" aria-labelledby="%s-t %s-d"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s</svg>`,
		d.class, d.w, d.h, d.id, d.id, d.id, html.EscapeString(d.title), d.id, html.EscapeString(d.desc), d.b.String()))
}

type pt struct{ x, y float64 }

func (d *drawing) path(class string, width float64, closed bool, ps ...pt) {
	var s strings.Builder
	for i, p := range ps {
		if !words.Finite(p.x) || !words.Finite(p.y) {
			return
		}
		cmd := "L"
		if i == 0 {
			cmd = "M"
		}
		fmt.Fprintf(&s, "%s%.1f %.1f", cmd, p.x, p.y)
	}
	if closed {
		s.WriteString("z")
	}
	w := ""
	if width > 0 {
		w = fmt.Sprintf(` stroke-width="%g"`, width)
	}
	fmt.Fprintf(&d.b, `<path class="%s"%s d="%s"/>`, class, w, s.String())
}

func (d *drawing) line(class string, width float64, ps ...pt) { d.path(class, width, false, ps...) }
func (d *drawing) fill(class string, ps ...pt)                { d.path(class, 0, true, ps...) }

// dashed is a thin broken line.
func (d *drawing) dashed(class string, a, b pt) {
	fmt.Fprintf(&d.b, `<path class="%s" stroke-width="1" stroke-dasharray="4 3" d="M%.1f %.1fL%.1f %.1f"/>`, class, a.x, a.y, b.x, b.y)
}

// arrow ends at b; a short one keeps its head.
func (d *drawing) arrow(ink string, width float64, a, b pt) {
	l := math.Hypot(b.x-a.x, b.y-a.y)
	if !(l > 0.5) || !words.Finite(l) {
		return
	}
	ux, uy := (b.x-a.x)/l, (b.y-a.y)/l
	head := math.Min(2.2*width+4, math.Max(l, 6))
	base := pt{b.x - ux*head, b.y - uy*head}
	if l > head {
		d.line("s-"+ink, width, a, base)
	}
	half := head * 0.5
	d.fill("f-"+ink, b, pt{base.x - uy*half, base.y + ux*half}, pt{base.x + uy*half, base.y - ux*half})
}

// text is anchored at its start, middle or end (align 0, 1, 2).
func (d *drawing) text(class string, size float64, align int, p pt, s string) {
	anchor := []string{"start", "middle", "end"}[align]
	fmt.Fprintf(&d.b, `<text class="%s" x="%.1f" y="%.1f" font-size="%g" text-anchor="%s">%s</text>`, class, p.x, p.y, size, anchor, html.EscapeString(s))
}

// section is the outline of a symmetric section (NACA 00xx, Abbott & von
// Doenhoff), leading edge at the origin, chord along -x, thickness ratio t,
// upper surface first; camber lifts the middle.
func section(chord, t, camber float64) []pt {
	var up, low []pt
	const n = 18
	for i := range n + 1 {
		x := 0.5 * (1 - math.Cos(math.Pi*float64(i)/n))
		y := 5 * t * (0.2969*math.Sqrt(x) - 0.1260*x - 0.3516*x*x + 0.2843*x*x*x - 0.1036*x*x*x*x)
		c := 4 * camber * x * (1 - x)
		up = append(up, pt{-x * chord, -(c + y) * chord})
		low = append(low, pt{-x * chord, -(c - y) * chord})
	}
	for i := n; i > 0; i-- {
		up = append(up, low[i])
	}
	return up
}

// moved turns (bow-up > 0), then shifts points given with y down and the nose to +x.
func moved(ps []pt, turn float64, to pt) []pt {
	s, c := math.Sincos(turn)
	out := make([]pt, len(ps))
	for i, p := range ps {
		out[i] = pt{to.x + p.x*c + p.y*s, to.y + p.y*c - p.x*s}
	}
	return out
}
