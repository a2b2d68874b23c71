package report

import (
	"fmt"
	"html/template"
	"math"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// side draws the foil from the side at three speeds, with the forces.
func (b *builder) side() *figure {
	fs := b.r.Forces
	if b.r.Setup == nil || b.r.Posterior == nil || len(fs) == 0 {
		return nil
	}
	slow, fast := fs[0], fs[len(fs)-1]
	f := newFigure("side", b.u, struct {
		Slow, Fast  analysis.Forces
		Ahead, Walk float64 // of the load point from slow to fast, + forward; of the wing under the feet, + back; m
	}{slow, fast, (fast.LoadPoint.Value - slow.LoadPoint.Value) / 1000,
		b.r.Setup.Foil.Mast * (math.Sin(slow.Pitch.Value/radian) - math.Sin(fast.Pitch.Value/radian))})
	f.Legend = []legend{{"line", "now", "lift of wing and stabilizer"}, {"line", "next", "what the feet press"}, {"line", "drag", "drag of the water"}}
	f.Table = &table{Caption: "Forces at the three speeds, with 90 % intervals", Head: []string{"speed, " + b.u.SpeedName(), "pitch, degrees", "wing lift, " + b.u.Mass, "stabilizer lift, " + b.u.Mass + " (+ up)", "drag, " + b.u.Mass, "front share, %", "load point from the mast, " + b.u.LengthName() + " (+ forward)"}}
	perN, perMM := b.u.WeightOf(1), b.u.LengthValue(0.001)
	for i, x := range fs {
		if !words.Finite(x.Pitch.Value) || !words.Finite(x.FrontShare.Value) {
			return nil
		}
		f.SVG = append(f.SVG, b.sideAt(i, x))
		f.Table.add(words.Fixed(b.u.SpeedValue(float64(x.Speed)), 0), words.Between(x.Pitch, 1, 1), words.Between(x.WingLift, perN, 0), words.Between(x.StabLift, perN, 0),
			words.Between(x.Drag, perN, 0), words.Share(x.FrontShare), words.Between(x.LoadPoint, perMM, 1))
	}
	return f
}

// sideAt is one of the three: board, mast and foil turned by the pitch about
// the point where the mast meets the board.
func (b *builder) sideAt(i int, f analysis.Forces) template.HTML {
	in := b.r.Posterior.MAP // the most probable foil
	v, pitch, share := float64(f.Speed), f.Pitch.Value/radian, f.FrontShare.Value
	name := []string{"low", "middle", "top"}[i]
	tail := math.Min(in.WingX-in.StabArm-0.12, in.BackFoot-0.3)
	bow := math.Max(in.FrontFoot+0.4, in.WingX+0.35)
	const w = 300.0
	scale := w / (bow - tail)
	perN := 78 / (in.RiderMass * words.Gravity)
	originY := 118.0
	h := originY + in.Mast*scale + 62
	d := newDrawing("side-"+name, "side", fmt.Sprintf("The foil at %s", b.u.SpeedText(v)),
		fmt.Sprintf("Pitch %s degrees. The wing lifts %s, the stabilizer %s of weight. The front foot carries %s.", words.Fixed(f.Pitch.Value, 1),
			b.u.WeightSigned(f.WingLift.Value), b.u.WeightSigned(f.StabLift.Value), words.Percent(share)), w, h)
	sin, cos := math.Sincos(pitch)
	// at is a point x forward and z up in the board's axes.
	at := func(x, z float64) pt {
		return pt{(x*cos - z*sin - tail) * scale, originY - (x*sin+z*cos)*scale}
	}
	quad := func(class string, x0, x1, z0, z1 float64) {
		d.path(class, 1.2, true, at(x0, z0), at(x1, z0), at(x1, z1), at(x0, z1))
	}
	// Water line where the immersed mast ends.
	surface := at(0, -(in.Mast - in.Depth)).y
	d.fill("f-water", pt{0, surface}, pt{w, surface}, pt{w, h}, pt{0, h})
	d.line("s-water", 1, pt{0, surface}, pt{w, surface})
	// Board with a raised nose, mast, fuselage, wing and stabilizer.
	deck := in.DeckHeight
	nose := bow - 0.05
	d.path("part", 1.2, true, at(in.BackFoot-0.22, 0.02), at(in.BackFoot-0.2, deck), at(nose-0.1, deck), at(nose, deck*0.9), at(nose-0.16, 0.01), at(in.BackFoot-0.1, 0))
	quad("part", -in.MastChord/2, in.MastChord/2, -in.Mast, 0)
	quad("part", in.WingX-in.StabArm-0.05, in.WingX+0.06, -in.Mast-0.01, -in.Mast+0.01)
	place := func(class string, x, chord, t, camber, incidence float64) {
		body := section(chord*scale, t, camber)
		for k := range body {
			body[k].x += 0.25 * chord * scale
		}
		d.path(class, 1.2, true, moved(body, pitch+incidence, at(x, -in.Mast))...)
	}
	place("part stab", in.WingX, in.WingArea/in.WingSpan, in.WingThickness, in.CamberPercent/100, in.WingIncidence)
	place("part stab", in.WingX-in.StabArm, in.StabArea/in.StabSpan, in.StabThickness, 0, in.WingIncidence+in.StabIncidence)
	if i == 0 {
		a, c := at(in.WingX, -in.Mast), at(in.WingX-in.StabArm, -in.Mast)
		d.text("t-text", 12, 1, pt{a.x + 12, a.y + 22}, "wing")
		d.text("t-text", 12, 0, pt{math.Max(2, c.x-14), c.y - 26}, "stabilizer")
	}
	// Lift, drag.
	up := func(ink string, width, x, newton float64) pt {
		a := at(x, -in.Mast)
		e := pt{a.x, a.y - newton*perN}
		d.arrow(ink, width, a, e)
		return e
	}
	tip := up("now", 4, in.WingX, f.WingLift.Value)
	d.text("t-now", 12, 0, pt{math.Min(tip.x+8, w-74), tip.y + 14}, b.u.Weight(f.WingLift.Value))
	tip = up("now", 3, in.WingX-in.StabArm, f.StabLift.Value)
	ty := tip.y + 13
	if f.StabLift.Value > 0 {
		ty = tip.y - 4
	}
	d.text("t-now", 12, 0, pt{math.Max(2, tip.x-16), math.Min(ty, h-4)}, b.u.Weight(f.StabLift.Value))
	a := at(-in.MastChord/2, -(in.Mast - in.Depth/2))
	d.arrow("drag", 2.5, a, pt{a.x - f.Drag.Value*perN, a.y})
	// The feet: each arrow as long as that foot's load.
	n := in.RiderMass * words.Gravity * (1 - in.RigLiftFraction)
	foot := func(x, part float64) {
		p := at(x, deck)
		l := part * n * perN
		if l >= 0 {
			d.arrow("next", 3.5, pt{p.x, p.y - l - 3}, pt{p.x, p.y - 1})
		} else {
			d.arrow("next", 3.5, pt{p.x, p.y - 1}, pt{p.x, p.y + l - 3})
		}
		d.text("t-next", 13, 1, pt{p.x, p.y - math.Abs(l) - 8}, words.Percent(part))
	}
	foot(in.FrontFoot, share)
	foot(in.BackFoot, 1-share)
	c := at(f.LoadPoint.Value/1000, 0)
	d.fill("f-next", pt{c.x, c.y + 2}, pt{c.x - 7, c.y + 14}, pt{c.x + 7, c.y + 14})
	m := at((in.FrontFoot+in.BackFoot)/2, deck)
	d.dashed("s-even", pt{m.x, m.y}, pt{m.x, m.y - 30})
	d.text("t-strong", 15, 0, pt{4, 17}, b.u.SpeedText(v))
	d.text("t-text", 12, 0, pt{4, 33}, "pitch "+words.Fixed(f.Pitch.Value, 1)+"°")
	return d.svg()
}
