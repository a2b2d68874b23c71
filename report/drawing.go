package report

import (
	"math"

	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// A drawing is a small picture made by hand: y down, px of the viewBox.
type drawing struct{ chart.Canvas }

type pt = chart.XY

func newDrawing(id, class, title, desc string, w, h float64) *drawing {
	return &drawing{chart.Canvas{Picture: chart.Picture{ID: id, Class: class, Title: title, Desc: desc, Width: w, Height: h}}}
}

// dashed is a thin broken line.
func (d *drawing) dashed(class string, a, b pt) {
	d.Path(chart.Pen{Class: class, Width: 1, Dash: "4 3"}, false, a, b)
}

// arrow ends at b; a short one keeps its head.
func (d *drawing) arrow(ink string, width float64, a, b pt) {
	l := math.Hypot(b.X-a.X, b.Y-a.Y)
	if !(l > 0.5) || !words.Finite(l) {
		return
	}
	ux, uy := (b.X-a.X)/l, (b.Y-a.Y)/l
	head := math.Min(2.2*width+4, math.Max(l, 6))
	base, half := pt{X: b.X - ux*head, Y: b.Y - uy*head}, head*0.5
	if l > head {
		d.Line("s-"+ink, width, a, base)
	}
	d.Fill("f-"+ink, b, pt{X: base.X - uy*half, Y: base.Y + ux*half}, pt{X: base.X + uy*half, Y: base.Y - ux*half})
}

// section is the outline of a symmetric section (NACA 00xx, Abbott & von
// Doenhoff), leading edge at the origin, chord along -x, thickness ratio t,
// upper surface first; camber lifts the middle.
func section(chord, t, camber float64) []pt {
	const n = 18
	out := make([]pt, 2*n+1)
	for i := range n + 1 {
		x := 0.5 * (1 - math.Cos(math.Pi*float64(i)/n))
		y := 5 * t * (0.2969*math.Sqrt(x) - 0.1260*x - 0.3516*x*x + 0.2843*x*x*x - 0.1036*x*x*x*x)
		c := 4 * camber * x * (1 - x)
		out[2*n-i] = pt{X: -x * chord, Y: -(c - y) * chord}
		out[i] = pt{X: -x * chord, Y: -(c + y) * chord}
	}
	return out
}

// moved shifts points by what comes first, turns them (bow-up > 0) and shifts
// them to a place; y is down and the nose to +x.
func moved(ps []pt, first pt, turn float64, to pt) []pt {
	s, c := math.Sincos(turn)
	return each(ps, func(p pt) pt {
		x, y := p.X+first.X, p.Y+first.Y
		return pt{X: to.X + x*c + y*s, Y: to.Y + y*c - x*s}
	})
}
