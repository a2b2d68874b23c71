package report

import (
	"html/template"
	"math"

	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// mountDrawing shows this stabilizer on its fuselage with the shim in place.
// The tilt and the shim are drawn larger than they are.
func mountDrawing(s *words.Sheet, u words.Units) template.HTML {
	if s.Setup == nil || s.Shim == 0 {
		return ""
	}
	says := u.Letter("drawing mount", s)
	d := newDrawing("mount", "sketch", says["title"], says["desc"], 300, 120)
	const left, right = 66.0, 222.0 // trailing and leading edge
	up, face := -1.0, 60.0          // which way from the fuselage the stabilizer lies, and where they meet
	if s.Setup.Foil.Stabilizer.Mount == "bottom" {
		up, face = 1, 62
	}
	far := face - up*24
	d.Outline("part", 1.5, pt{X: 40, Y: face}, pt{X: 300, Y: face}, pt{X: 300, Y: far}, pt{X: 48, Y: far}, pt{X: 40, Y: (face + far) / 2})
	shimX, contactX := right-24.0, left+14.0
	if s.ShimAt() == "trailing edge" {
		shimX, contactX = left+24, right-14
	}
	tilt, out := math.Copysign(0.075, s.WithShim), s.Gone()
	if out {
		tilt = 0
	}
	// The stabilizer turns about the contact that has no shim.
	chord := right - left
	half := chord * 0.065
	d.Outline("part stab", 1.5, moved(section(chord, 0.13, 0), pt{X: right - contactX, Y: up * (half + 2)}, tilt, pt{X: contactX, Y: face})...)
	class, thick := "spacer", math.Abs(math.Sin(tilt)*(shimX-contactX))+2
	if out {
		class, thick = "ghost", 9
	}
	d.Outline(class, 1.5, pt{X: shimX - 15, Y: face}, pt{X: shimX + 15, Y: face}, pt{X: shimX + 15, Y: face + up*thick}, pt{X: shimX - 15, Y: face + up*thick})
	// Screws through both contacts.
	for _, x := range []float64{left + 24, right - 24} {
		end := face + up*(half*2+15)
		d.Line("s-screw", 3, pt{X: x, Y: far - up*3}, pt{X: x, Y: end})
		d.Line("s-screw", 7, pt{X: x - 5, Y: end}, pt{X: x + 5, Y: end})
	}
	// The call-out comes through the fuselage from the free side.
	start := far - up*16
	d.arrow("callout", 2.5, pt{X: shimX, Y: start}, pt{X: shimX, Y: face - up})
	d.Text("strong", 15, chart.Middle, pt{X: math.Max(82, math.Min(shimX, 214)), Y: start - up*6 + 5 - 5*up}, says["here"])
	// Which way the leading edge turns, and where the nose is.
	way, ay := math.Copysign(13, s.Shim), face+up*22
	d.arrow("now", 3, pt{X: right + 16, Y: ay + way}, pt{X: right + 16, Y: ay - way})
	d.Text("text", 13, "", pt{X: right + 26, Y: ay + 5}, says["turn"])
	d.Text("text", 12, chart.Before, pt{X: 294, Y: (face+far)/2 + 4}, "nose \u2192")
	d.Text("text", 12, "", pt{X: 118, Y: (face+far)/2 + 4}, "fuselage")
	d.Text("text", 12, "", pt{X: 4, Y: face + up*(half*2+13) + 4}, "stabilizer")
	return template.HTML(d.SVG())
}

// moveDrawing shows the mast in its track before and after.
func moveDrawing(s *words.Sheet, u words.Units) template.HTML {
	if s.Move == 0 {
		return ""
	}
	lo, hi := math.Min(-0.03, s.Move-0.01), math.Max(0.03, s.Move+0.01)
	if s.Setup != nil {
		lo, hi = math.Min(lo, s.Setup.Board.Track[0]-0.01), math.Max(hi, s.Setup.Board.Track[1]+0.01)
	}
	says := u.Letter("drawing move", s)
	d := newDrawing("move", "sketch", says["title"], says["desc"], 300, 120)
	const x0, x1 = 16.0, 284.0
	at := func(v float64) float64 { return x0 + (v-lo)/(hi-lo)*(x1-x0) }
	// The board's underside with the track, and a ruler above.
	const deck = 44.0
	box := func(x0, x1, y0, y1 float64) []pt {
		return []pt{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
	}
	d.Outline("part", 1.5, box(0, 300, deck-16, deck)...)
	if s.Setup != nil {
		d.Fill("f-slot", box(at(s.Setup.Board.Track[0]), at(s.Setup.Board.Track[1]), deck-6, deck)...)
	}
	from, to := at(0), at(s.Move)
	mast := func(class string, x float64) {
		d.Outline(class, 1.8, each([]pt{{X: -13, Y: 1}, {X: 13, Y: 1}, {X: 13, Y: 7}, {X: 8, Y: 7}, {X: 8, Y: 30}, {X: -8, Y: 30}, {X: -8, Y: 7}, {X: -13, Y: 7}},
			func(p pt) pt { return pt{X: x + p.X, Y: deck + p.Y} })...)
	}
	mast("ghost", from)
	mast("part after", to)
	d.arrow("callout", 3, pt{X: from, Y: deck + 42}, pt{X: to, Y: deck + 42})
	d.dashed("s-callout", pt{X: from, Y: deck + 32}, pt{X: from, Y: deck + 50})
	d.dashed("s-callout", pt{X: to, Y: deck + 32}, pt{X: to, Y: deck + 50})
	step, unit := 0.01, "1 mark = 1 cm"
	if u.Length == "in" {
		step, unit = 0.0254/2, "1 mark = ½ in"
	}
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		d.Line("s-axis", 1, pt{X: at(k * step), Y: deck - 16}, pt{X: at(k * step), Y: deck - words.Choose(int(k)%5 == 0, 24.0, 20)})
	}
	d.Text("text", 12, "", pt{X: 4, Y: 14}, "\u2190 tail")
	d.Text("text", 12, chart.Before, pt{X: 296, Y: 14}, "nose \u2192")
	d.Text("text", 12, chart.Middle, pt{X: 150, Y: 14}, unit)
	d.Text("strong", 15, chart.Middle, pt{X: math.Max(60, math.Min(240, (from+to)/2)), Y: deck + 68}, says["way"])
	return template.HTML(d.SVG())
}
