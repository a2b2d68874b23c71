package report

import (
	"fmt"
	"html/template"
	"math"

	"evenfoot/analysis"
	"evenfoot/report/chart"
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
		f.Table.add(words.Fixed(b.speed(x.Speed), 0), words.Between(x.Pitch, 1, 1), words.Between(x.WingLift, perN, 0), words.Between(x.StabLift, perN, 0),
			words.Between(x.Drag, perN, 0), words.Share(x.FrontShare), words.Between(x.LoadPoint, perMM, 1))
	}
	return f
}

// sideAt is one of the three: board, mast and foil turned by the pitch about
// the point where the mast meets the board.
func (b *builder) sideAt(i int, f analysis.Forces) template.HTML {
	in := b.r.Posterior.MAP // the most probable foil
	speed, pitch, share := b.u.SpeedText(float64(f.Speed)), f.Pitch.Value/radian, f.FrontShare.Value
	turned := words.Fixed(f.Pitch.Value, 1)
	tail := math.Min(in.WingX-in.StabArm-0.12, in.BackFoot-0.3)
	bow := math.Max(in.FrontFoot+0.4, in.WingX+0.35)
	const w, originY = 300.0, 118.0
	scale := w / (bow - tail)
	perN := 78 / (in.RiderMass * words.Gravity)
	h := originY + in.Mast*scale + 62
	d := newDrawing("side-"+[]string{"low", "middle", "top"}[i], "side", "The foil at "+speed,
		fmt.Sprintf("Pitch %s degrees. The wing lifts %s, the stabilizer %s of weight. The front foot carries %s.", turned,
			b.u.WeightSigned(f.WingLift.Value), b.u.WeightSigned(f.StabLift.Value), words.Percent(share)), w, h)
	sin, cos := math.Sincos(pitch)
	// at is a point x forward and z up in the board's axes, off one px right and down of it.
	at := func(x, z float64) pt {
		return pt{X: (x*cos - z*sin - tail) * scale, Y: originY - (x*sin+z*cos)*scale}
	}
	off := func(p pt, right, down float64) pt { return pt{X: p.X + right, Y: p.Y + down} }
	bar := func(x0, x1, z0, z1 float64) {
		d.Outline("part", 1.2, at(x0, z0), at(x1, z0), at(x1, z1), at(x0, z1))
	}
	// Water line where the immersed mast ends.
	surface := at(0, -(in.Mast - in.Depth)).Y
	d.Fill("f-water", pt{Y: surface}, pt{X: w, Y: surface}, pt{X: w, Y: h}, pt{Y: h})
	d.Line("s-water", 1, pt{Y: surface}, pt{X: w, Y: surface})
	// Board with a raised nose, mast, fuselage, wing and stabilizer.
	deck, nose, stabX := in.DeckHeight, bow-0.05, in.WingX-in.StabArm
	d.Outline("part", 1.2, at(in.BackFoot-0.22, 0.02), at(in.BackFoot-0.2, deck), at(nose-0.1, deck), at(nose, deck*0.9), at(nose-0.16, 0.01), at(in.BackFoot-0.1, 0))
	bar(-in.MastChord/2, in.MastChord/2, -in.Mast, 0)
	bar(stabX-0.05, in.WingX+0.06, -in.Mast-0.01, -in.Mast+0.01)
	wing, stab := at(in.WingX, -in.Mast), at(stabX, -in.Mast)
	surf := func(place pt, chord, t, camber, incidence float64) {
		d.Outline("part stab", 1.2, moved(section(chord*scale, t, camber), pt{X: 0.25 * chord * scale}, pitch+incidence, place)...)
	}
	surf(wing, in.WingArea/in.WingSpan, in.WingThickness, in.CamberPercent/100, in.WingIncidence)
	surf(stab, in.StabArea/in.StabSpan, in.StabThickness, 0, in.WingIncidence+in.StabIncidence)
	if i == 0 {
		d.Text("text", 12, chart.Middle, off(wing, 12, 22), "wing")
		d.Text("text", 12, "", pt{X: math.Max(2, stab.X-14), Y: stab.Y - 26}, "stabilizer")
	}
	// Lift, drag.
	lift, down := off(wing, 0, -f.WingLift.Value*perN), off(stab, 0, -f.StabLift.Value*perN)
	d.arrow("now", 4, wing, lift)
	d.Text("now", 12, "", pt{X: math.Min(lift.X+8, w-74), Y: lift.Y + 14}, b.u.Weight(f.WingLift.Value))
	d.arrow("now", 3, stab, down)
	d.Text("now", 12, "", pt{X: math.Max(2, down.X-16), Y: math.Min(down.Y+words.Choose(f.StabLift.Value > 0, -4.0, 13), h-4)}, b.u.Weight(f.StabLift.Value))
	wet := at(-in.MastChord/2, -(in.Mast - in.Depth/2))
	d.arrow("drag", 2.5, wet, off(wet, -f.Drag.Value*perN, 0))
	// The feet: each arrow as long as that foot's load.
	foot := func(x, part float64) {
		p, l := at(x, deck), part*in.RiderMass*words.Gravity*(1-in.RigLiftFraction)*perN
		far, tip := off(p, 0, -math.Abs(l)-2), off(p, 0, -1)
		if l < 0 {
			far, tip = tip, far
		}
		d.arrow("next", 3.5, far, tip)
		d.Text("next", 13, chart.Middle, off(p, 0, -math.Abs(l)-8), words.Percent(part))
	}
	foot(in.FrontFoot, share)
	foot(in.BackFoot, 1-share)
	c := at(f.LoadPoint.Value/1000, 0)
	d.Fill("f-next", off(c, 0, 2), off(c, -7, 14), off(c, 7, 14))
	middle := at((in.FrontFoot+in.BackFoot)/2, deck)
	d.dashed("s-even", middle, off(middle, 0, -30))
	d.Text("strong", 15, "", pt{X: 4, Y: 17}, speed)
	d.Text("text", 12, "", pt{X: 4, Y: 33}, "pitch "+turned+"°")
	return template.HTML(d.SVG())
}
