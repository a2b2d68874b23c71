// Package chart draws figures as inline SVG for the report: colours and fonts
// by class instead of by value, lines split at gaps, at most a few points a
// pixel, a title and a description for those who do not see it. What is drawn by
// hand goes through the same [Canvas].
//
// It imports nothing of this module.
package chart

import (
	"cmp"
	"fmt"
	"math"
)

// A Figure is one picture: panels on top of each other that share their x axis.
type Figure struct {
	Picture
	FontSize float64 // px, 0 for 12
	Panels   []*Panel
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
	Height         float64 // of the data, relative to the other panels, 0 for 1
	HideX          bool    // no axis
	Equal          bool    // one unit is as long on x as on y
	Layers         []Layer
}

// A Range is an interval on an axis; it is empty when Hi is not above Lo.
type Range struct{ Lo, Hi float64 }

func (r Range) norm(v float64) float64 { return (v - r.Lo) / (r.Hi - r.Lo) }

// SVG is the figure as an svg element. The attributes data-left, data-right
// (viewBox units), data-top and data-bottom, and data-lo, data-hi (x values there) let a script find the
// value under a pointer.
func (f Figure) SVG() string {
	f.FontSize = cmp.Or(f.FontSize, 12)
	c := &Canvas{Picture: f.Picture}
	f.lay(c)
	if f.Natural {
		c.attrs += fmt.Sprintf(` width="%s" height="%s"`, short(f.Width), short(f.Height))
	}
	return c.SVG()
}

// nameRoom is the room for names beside an axis, as a multiple of the drawn
// font's: the reader's own may be wider. The widest of the usual system fonts
// is 1.2 times as wide.
const nameRoom = 1.25

// Room at the edges for the ends of the labels, and between small multiples, px.
const sideRoom, topRoom, gapX, gapY = 7.0, 8.0, 12.0, 10.0

// lay draws the panels, under one another or in a grid, with the data areas of a
// column and of a row aligned, and tells where those of a column lie.
func (f Figure) lay(c *Canvas) {
	if len(f.Panels) == 0 {
		return
	}
	cols, gap := f.Columns, gapY
	if cols == 0 {
		cols, gap = 1, 0
	}
	rows := (len(f.Panels) + cols - 1) / cols
	panels, units := make([]*axes, len(f.Panels)), 0.0
	height := func(row int) float64 { return cmp.Or(f.Panels[row*cols].Height, 1) }
	for i, p := range f.Panels {
		panels[i] = f.axes(p)
	}
	for j := range rows {
		units += height(j)
	}
	across, down := make([]frame, cols), make([]frame, rows)
	measure := func() (w, h float64) { // of a column's data, and of a unit of a row's
		clear(across)
		clear(down)
		w, h = f.Width-1-sideRoom-gapX*float64(cols-1), f.Height-1-topRoom-gap*float64(rows-1)
		whole := w / float64(cols)
		for i, p := range panels {
			own := p.frame(whole)
			across[i%cols], down[i/cols] = across[i%cols].max(own), down[i/cols].max(own)
		}
		for _, r := range across {
			w -= r.left + r.right
		}
		for _, r := range down {
			h -= r.top + r.bottom
		}
		return w / float64(cols), h / units
	}
	w, h := measure()
	for i, p := range panels {
		if p.Equal {
			p.equalise(w, h*height(i/cols))
			w, h = measure() // the labels may be wider now
		}
	}
	top := topRoom
	for j, d := range down {
		a := area{Canvas: c, right: 1 - gapX, top: top + d.top, bottom: top + d.top + h*height(j)}
		for i, r := range across {
			a.left = a.right + gapX + r.left
			a.right = a.left + w
			if n := j*cols + i; n < len(panels) {
				a.x, a.y = panels[n].X, panels[n].Y
				panels[n].draw(a, r.left)
			}
			a.right += r.right
		}
		if f.Columns == 0 && j == 0 {
			c.attrs = fmt.Sprintf(` data-left="%s" data-right="%s" data-lo="%.6g" data-hi="%.6g" data-top="%s"`, short(a.left), short(a.left+w), a.x.Lo, a.x.Hi, short(a.top))
		}
		if f.Columns == 0 && j == rows-1 {
			c.attrs += fmt.Sprintf(` data-bottom="%s"`, short(a.bottom))
		}
		top = a.bottom + d.bottom + gap
	}
}

// equalise widens one axis so that a metre is a metre both ways on w × h px.
func (p *axes) equalise(w, h float64) {
	if w <= 0 || h <= 0 {
		return
	}
	perPx := math.Max((p.X.Hi-p.X.Lo)/w, (p.Y.Hi-p.Y.Lo)/h)
	grow := func(r Range, px float64) Range {
		mid := (r.Lo + r.Hi) / 2
		return Range{mid - perPx*px/2, mid + perPx*px/2}
	}
	p.X, p.Y = grow(p.X, w), grow(p.Y, h)
}
