package report

import (
	"fmt"
	"html/template"
	"math"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// mountDrawing shows this stabilizer on its fuselage with the shim in place.
// The tilt and the shim are drawn larger than they are.
func mountDrawing(r *analysis.Result, u words.Units) template.HTML {
	a := r.Advice
	if a == nil || r.Setup == nil {
		return ""
	}
	step := float64(a.Shim) / 1000
	if !words.Finite(step) || math.Abs(step) < 0.00005 {
		return ""
	}
	st := r.Setup.Foil.Stabilizer
	after := st.Shim + step
	top := st.Mount != "bottom"
	edge := words.EdgeFor(r, after)
	out := math.Abs(after) < 0.00015 // the step takes the shim out
	if out {
		edge = words.EdgeFor(r, st.Shim)
	}
	side := "on top of"
	if !top {
		side = "below"
	}
	desc := fmt.Sprintf("Side view of the rear end of the fuselage, nose to the right. The stabilizer sits %s the fuselage. The shim of %s goes between the two at the %s.", side, u.Thin(math.Abs(after)), edge)
	if out {
		desc = fmt.Sprintf("Side view of the rear end of the fuselage, nose to the right. The stabilizer sits %s the fuselage. The shim comes out at the %s.", side, edge)
	}
	d := newDrawing("mount", "sketch", "Where the shim goes", desc, 300, 120)

	const left, right = 66.0, 222.0 // trailing and leading edge
	up, face := -1.0, 60.0          // which way from the fuselage the stabilizer lies, and where they meet
	if !top {
		up, face = 1, 62
	}
	far := face - up*24
	d.path("part", 1.5, true, pt{40, face}, pt{300, face}, pt{300, far}, pt{48, far}, pt{40, (face + far) / 2})
	shimX, contactX := right-24.0, left+14.0
	if edge == "trailing edge" {
		shimX, contactX = left+24, right-14
	}
	tilt := 0.075 * sign(after)
	if out {
		tilt = 0
	}
	// The stabilizer turns about the contact that has no shim.
	chord := right - left
	half := chord * 0.065
	body := section(chord, 0.13, 0)
	for i := range body {
		body[i].x += right - contactX
		body[i].y += up * (half + 2)
	}
	d.path("part stab", 1.5, true, moved(body, tilt, pt{contactX, face})...)
	gap := math.Abs(math.Sin(tilt)) * math.Abs(shimX-contactX)
	block := func(class string, thick float64) {
		d.path(class, 1.5, true, pt{shimX - 15, face}, pt{shimX + 15, face}, pt{shimX + 15, face + up*thick}, pt{shimX - 15, face + up*thick})
	}
	if out {
		block("ghost", 9)
	} else {
		block("spacer", gap+2)
	}
	// Screws through both contacts.
	for _, x := range []float64{left + 24, right - 24} {
		end := face + up*(half*2+15)
		d.line("s-screw", 3, pt{x, far - up*3}, pt{x, end})
		d.line("s-screw", 7, pt{x - 5, end}, pt{x + 5, end})
	}
	// The call-out comes through the fuselage from the free side.
	start := far - up*16
	d.arrow("callout", 2.5, pt{shimX, start}, pt{shimX, face - up*1})
	text := u.Thin(math.Abs(after)) + " in all, here"
	if out {
		text = "shim out, here"
	} else if st.Shim == 0 {
		text = "shim here: " + u.Thin(math.Abs(after))
	}
	d.text("t-strong", 15, 1, pt{math.Max(82, math.Min(shimX, 214)), start - up*6 + 5 - 5*up}, text)
	// Which way the leading edge turns, and where the nose is.
	way := sign(step)
	ay := face + up*22
	d.arrow("now", 3, pt{right + 16, ay + way*13}, pt{right + 16, ay - way*13})
	if st.ShimSpan > 0 {
		turn := words.Fixed(math.Abs(math.Atan(step/st.ShimSpan))*radian, 1) + "° " + words.Choose(step > 0, "up", "down")
		d.text("t-text", 13, 0, pt{right + 26, ay + 5}, turn)
	}
	d.text("t-text", 12, 2, pt{294, (face+far)/2 + 4}, "nose \u2192")
	d.text("t-text", 12, 0, pt{118, (face+far)/2 + 4}, "fuselage")
	d.text("t-text", 12, 0, pt{4, face + up*(half*2+13) + 4}, "stabilizer")
	return d.svg()
}

func sign(v float64) float64 {
	if v < 0 {
		return -1
	}
	return 1
}

// moveDrawing shows the mast in its track before and after.
func moveDrawing(r *analysis.Result, u words.Units) template.HTML {
	a := r.Advice
	if a == nil {
		return ""
	}
	mv := float64(a.MoveNow) / 1000
	if !words.Finite(mv) || math.Abs(mv) < 0.0005 {
		return ""
	}
	lo, hi := math.Min(-0.03, mv-0.01), math.Max(0.03, mv+0.01)
	known := r.Setup != nil
	if known {
		lo, hi = math.Min(lo, r.Setup.Board.Track[0]-0.01), math.Max(hi, r.Setup.Board.Track[1]+0.01)
	}
	d := newDrawing("move", "sketch", "How far the foil moves",
		fmt.Sprintf("The mast in its track seen from the side, nose to the right: it moves %s %s.", u.LengthText(math.Abs(mv)), words.ForeAft(mv)), 300, 120)
	const x0, x1 = 16.0, 284.0
	at := func(v float64) float64 { return x0 + (v-lo)/(hi-lo)*(x1-x0) }
	// The board's underside with the track, and a ruler below.
	const deck = 44.0
	d.path("part", 1.5, true, pt{0, deck - 16}, pt{300, deck - 16}, pt{300, deck}, pt{0, deck})
	if known {
		d.fill("f-slot", pt{at(r.Setup.Board.Track[0]), deck - 6}, pt{at(r.Setup.Board.Track[1]), deck - 6}, pt{at(r.Setup.Board.Track[1]), deck}, pt{at(r.Setup.Board.Track[0]), deck})
	}
	mast := func(class string, x float64) {
		const half = 13.0
		d.path(class, 1.8, true, pt{x - half, deck + 1}, pt{x + half, deck + 1}, pt{x + half, deck + 7}, pt{x + 8, deck + 7}, pt{x + 8, deck + 30}, pt{x - 8, deck + 30}, pt{x - 8, deck + 7}, pt{x - half, deck + 7})
	}
	mast("ghost", at(0))
	mast("part after", at(mv))
	d.arrow("callout", 3, pt{at(0), deck + 42}, pt{at(mv), deck + 42})
	d.dashed("s-callout", pt{at(0), deck + 32}, pt{at(0), deck + 50})
	d.dashed("s-callout", pt{at(mv), deck + 32}, pt{at(mv), deck + 50})
	step := 0.01
	if u.Length == "in" {
		step = 0.0254 / 2
	}
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		x := at(k * step)
		h := 4.0
		if int(k)%5 == 0 {
			h = 8
		}
		d.line("s-axis", 1, pt{x, deck - 16}, pt{x, deck - 16 - h})
	}
	d.text("t-text", 12, 0, pt{4, 14}, "\u2190 tail")
	d.text("t-text", 12, 2, pt{296, 14}, "nose \u2192")
	unit := "1 mark = 1 cm"
	if u.Length == "in" {
		unit = "1 mark = ½ in"
	}
	d.text("t-text", 12, 1, pt{150, 14}, unit)
	mid := (at(0) + at(mv)) / 2
	d.text("t-strong", 15, 1, pt{math.Max(60, math.Min(240, mid)), deck + 68}, u.LengthText(math.Abs(mv))+" "+words.ForeAft(mv))
	return d.svg()
}
