// Package chart draws figures as inline SVG for the report: colours and fonts
// by class instead of by value, lines split at gaps, at most a few points a
// pixel, a title and a description for those who do not see it.
//
// It imports gonum/plot's paths, without the fonts and file formats that its
// root package brings along, and nothing of this module.
package chart

import (
	"cmp"
	"fmt"
	"html"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
)

// A Figure is one picture: panels on top of each other that share their x axis.
type Figure struct {
	ID            string // unique on the page; used in ids, so letters, digits, "-"
	Class         string // of the svg element
	Title, Desc   string // plain text, escaped here
	Width, Height float64
	FontSize      float64 // px, 0 for 12
	Panels        []*Panel
	// Natural gives the svg element its size in px, for a drawing that is wider
	// than the screen; others take the room they get.
	Natural bool
	// Columns lays the panels out in a grid instead; each keeps its own x axis.
	Columns int
}

// A Panel is one pair of axes.
type Panel struct {
	Title          string
	XLabel, YLabel string
	X, Y           Range // empty: from the layers
	XTicks, YTicks Ticker
	Height         float64 // relative to the other panels, 0 for 1
	HideX          bool    // no axis
	Equal          bool    // one unit is as long on x as on y
	Layers         []Layer
}

// A Range is an interval on an axis; it is empty when Hi is not above Lo.
type Range struct{ Lo, Hi float64 }

func (r Range) empty() bool { return !(r.Hi > r.Lo) }

// Inks that the style sheet must know, beside those of the layers.
const (
	inkAxis = Ink("axis")
	inkGrid = Ink("grid")
	inkText = Ink("text")
)

// SVG is the figure as an svg element. The attributes data-left, data-right
// (viewBox units), data-top and data-bottom, and data-lo, data-hi (x values there) let a script find the
// value under a pointer.
func (f Figure) SVG() string {
	f.FontSize = cmp.Or(f.FontSize, 12)
	c := &canvas{h: f.Height}
	panels := make([]*axes, len(f.Panels))
	for i, p := range f.Panels {
		panels[i] = f.axes(p)
	}
	var attrs string
	if len(panels) > 0 && f.Columns > 0 {
		f.grid(panels, c)
	} else if len(panels) > 0 {
		attrs = f.stack(panels, c)
	}
	if f.Natural {
		attrs += fmt.Sprintf(` width="%s" height="%s"`, short(f.Width), short(f.Height))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d"%s><title id="%s-t">%s</title><desc id="%s-d">%s</desc>`,
		html.EscapeString(f.Class), short(f.Width), short(f.Height), f.ID, f.ID, attrs, f.ID, html.EscapeString(f.Title), f.ID, html.EscapeString(f.Desc))
	b.WriteString(c.markup())
	b.WriteString("</svg>")
	return b.String()
}

// nameRoom is the room for names beside an axis, as a multiple of the drawn
// font's: the reader's own may be wider. The widest of the usual system fonts
// is 1.2 times as wide.
const nameRoom = 1.25

// Room at the edges for the ends of the labels, px.
const sideRoom, topRoom = 7.0, 8.0

// stack draws the panels under one another with their data areas aligned.
func (f Figure) stack(panels []*axes, c *canvas) string {
	total := 0.0
	for _, p := range f.Panels {
		total += cmp.Or(p.Height, 1)
	}
	named := slices.ContainsFunc(f.Panels, func(p *Panel) bool { _, named := p.YTicks.(Named); return named })
	width := f.Width - 1 - sideRoom
	var room frame // of all, left and right
	measure := func() (own []frame, height []float64) {
		room = frame{}
		for _, p := range panels {
			h := (f.Height - 1 - topRoom) * cmp.Or(p.panel.Height, 1) / total
			own, height = append(own, p.frame(width, h)), append(height, h)
			room = room.max(own[len(own)-1])
		}
		if named {
			room.left *= nameRoom
		}
		return own, height
	}
	own, height := measure()
	if slices.ContainsFunc(f.Panels, func(p *Panel) bool { return p.Equal }) {
		for i, p := range panels {
			if p.panel.Equal {
				p.equalise(width-room.left-room.right, height[i]-own[i].bottom-own[i].top)
			}
		}
		own, height = measure() // the labels may be wider now
	}
	var attrs string
	var bottom float64
	top := topRoom
	for i, p := range panels {
		left, right := 1+room.left, 1+width-room.right
		bottom = top + height[i] - own[i].bottom
		p.draw(f.area(c, left, right, top+own[i].top, bottom), frame{room.left, room.right, own[i].bottom, own[i].top})
		if i == 0 {
			attrs = fmt.Sprintf(` data-left="%s" data-right="%s" data-lo="%.6g" data-hi="%.6g" data-top="%s"`,
				short(left), short(right), p.x.Lo, p.x.Hi, short(top+own[i].top))
		}
		top += height[i]
	}
	return attrs + fmt.Sprintf(` data-bottom="%s"`, short(bottom))
}

// area is the part of the canvas between distances from its left and top, px.
func (f Figure) area(c *canvas, left, right, top, bottom float64) area {
	return area{canvas: c, Rectangle: vg.Rectangle{
		Min: vg.Point{X: vg.Length(left), Y: vg.Length(f.Height - bottom)},
		Max: vg.Point{X: vg.Length(right), Y: vg.Length(f.Height - top)},
	}}
}

// Room between small multiples, px.
const gapX, gapY = 12.0, 10.0

// grid draws small multiples, all data areas of one size.
func (f Figure) grid(panels []*axes, c *canvas) {
	rows := (len(panels) + f.Columns - 1) / f.Columns
	width := f.Width - 1 - sideRoom - gapX*float64(f.Columns-1)
	height := f.Height - 1 - topRoom - gapY*float64(rows-1)
	across, down := make([]frame, f.Columns), make([]frame, rows)
	for i, p := range panels {
		own := p.frame(width/float64(f.Columns), height/float64(rows))
		across[i%f.Columns] = across[i%f.Columns].max(own)
		down[i/f.Columns] = down[i/f.Columns].max(own)
	}
	for _, r := range across {
		width -= r.left + r.right
	}
	for _, r := range down {
		height -= r.top + r.bottom
	}
	width, height = width/float64(f.Columns), height/float64(rows)
	top := topRoom
	for j, d := range down {
		left := 1.0
		for i, r := range across {
			if n := j*f.Columns + i; n < len(panels) {
				panels[n].draw(f.area(c, left+r.left, left+r.left+width, top+d.top, top+d.top+height), frame{r.left, r.right, d.bottom, d.top})
			}
			left += r.left + width + r.right + gapX
		}
		top += d.top + height + d.bottom + gapY
	}
}
