package chart

import "gonum.org/v1/plot/vg"

// slop is what rounding may put a point outside by, px.
const slop = 3e-8

// outside is how far a point lies beyond each side, px; not positive within.
func (a *area) outside(p vg.Point) [4]vg.Length {
	return [4]vg.Length{p.X - a.Max.X, a.Min.X - p.X, p.Y - a.Max.Y, a.Min.Y - p.Y}
}

func (a *area) contains(p vg.Point) bool {
	for _, d := range a.outside(p) {
		if d > slop {
			return false
		}
	}
	return true
}

// cut cuts what is beyond one side off lines, or off one polygon, which is a
// line that ends where it begins: a point beyond gives way to where the side is
// crossed. A polygon stays in one piece (Sutherland and Hodgman, Communications
// of the ACM 17, 1974, from memory).
func (a *area) cut(side int, points []vg.Point, polygon bool) (pieces [][]vg.Point) {
	var piece []vg.Point
	for i, p := range points {
		d := a.outside(p)[side]
		if i > 0 {
			q := points[i-1]
			if e := a.outside(q)[side]; (d > slop) != (e > slop) {
				piece = append(piece, p.Add(q.Sub(p).Scale(d/(d-e))))
			}
		}
		switch {
		case d <= slop:
			piece = append(piece, p)
		case !polygon:
			if len(piece) > 1 {
				pieces = append(pieces, piece)
			}
			piece = nil
		}
	}
	if len(piece) > 1 {
		pieces = append(pieces, piece)
	}
	return pieces
}

// clipLine is what of a line lies in the area, in as many pieces as that has.
func (a *area) clipLine(points []vg.Point) [][]vg.Point {
	lines := [][]vg.Point{points}
	for side := range 4 {
		var within [][]vg.Point
		for _, l := range lines {
			within = append(within, a.cut(side, l, false)...)
		}
		lines = within
	}
	return lines
}

// clipPolygon is what of a polygon lies in the area.
func (a *area) clipPolygon(points []vg.Point) []vg.Point {
	for side := range 4 {
		if len(points) == 0 {
			return nil
		}
		pieces := a.cut(side, append(points[:len(points):len(points)], points[0]), true)
		if len(pieces) == 0 {
			return nil
		}
		points = pieces[0]
		if n := len(points); n > 1 && points[0] == points[n-1] {
			points = points[:n-1]
		}
	}
	return points
}
