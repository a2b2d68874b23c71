package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis/pitchlaw"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot"
)

const radian = 180 / math.Pi

// leftOut is the weight under which a window counts as left out of the fit.
const leftOut = 0.2

// windows sorts a fit's windows into what the charts tell apart.
type windows struct {
	port, starboard, either, out []pitchlaw.Window
	reasons                      []string // why windows were left out, most frequent first
}

func (b *builder) windows() windows {
	var w windows
	if b.r.Law == nil {
		return w
	}
	count := map[string]int{}
	for _, x := range b.r.Law.Windows {
		switch {
		case x.Weight < leftOut || x.Reason != "":
			w.out = append(w.out, x)
			count[words.Reason(x.Reason)]++
		case x.Tack > 0:
			w.starboard = append(w.starboard, x)
		case x.Tack < 0:
			w.port = append(w.port, x)
		default:
			w.either = append(w.either, x)
		}
	}
	names := make([]string, 0, len(count))
	for n := range count {
		names = append(names, n)
	}
	slices.SortFunc(names, func(p, q string) int {
		if d := count[q] - count[p]; d != 0 {
			return d
		}
		return strings.Compare(p, q)
	})
	for _, n := range names {
		w.reasons = append(w.reasons, fmt.Sprintf("%s (%d)", words.CleanTo(n, 60), count[n]))
	}
	return w
}

func (w windows) legend() []legend {
	var l []legend
	if len(w.port) > 0 {
		l = append(l, legend{"square", "port", "port tack (wind from the left)"})
	}
	if len(w.starboard) > 0 {
		l = append(l, legend{"dot", "stbd", "starboard tack (wind from the right)"})
	}
	if len(w.either) > 0 {
		l = append(l, legend{"dot", "stbd", "straight flight"})
	}
	if len(w.out) > 0 {
		l = append(l, legend{"cross", "out", "left out or given little weight"})
	}
	return append(l, legend{"line", "fit", "the fit, with its 90 % band"})
}

// layers draws the windows with x from the function given.
func (w windows) layers(x func(pitchlaw.Window) float64) []plot.Plotter {
	pts := func(ws []pitchlaw.Window) []chart.XY {
		out := make([]chart.XY, len(ws))
		for i, q := range ws {
			out[i] = chart.XY{X: x(q), Y: q.PitchCos * radian}
		}
		return out
	}
	return []plot.Plotter{
		chart.Dots{Points: pts(w.out), Ink: "out", Shape: chart.Cross, Size: 5},
		chart.Dots{Points: pts(w.port), Ink: "port", Shape: chart.Square, Size: 4},
		chart.Dots{Points: pts(append(slices.Clone(w.starboard), w.either...)), Ink: "stbd", Shape: chart.Round, Size: 4.4},
	}
}

func (w windows) used() int { return len(w.port) + len(w.starboard) + len(w.either) }

func (b *builder) pitchLabel() string {
	if b.r.Mount != nil && b.r.Mount.LevelZero {
		return "pitch, degrees (nose up +)"
	}
	return "pitch, degrees (zero unknown)"
}

// pitchSpeed is pitch against speed: the windows and the fit through them.
func (b *builder) pitchSpeed() *figure {
	w := b.windows()
	if len(w.out)+w.used() == 0 {
		return nil
	}
	f := &figure{ID: "pitch", Title: "Pitch against speed", Legend: w.legend()}
	f.Says = b.pitchSays(w)
	f.Note = "Pitch is the angle of the deck, nose up or down. Each mark is one to three seconds of straight flight. More speed needs less angle to carry the same weight."
	f.draw(tall(1), func(wide bool) []*chart.Panel {
		p := &chart.Panel{XLabel: b.speedLabel(), YLabel: b.pitchLabel()}
		var line []chart.XY
		var area []chart.BandPoint
		for _, q := range b.r.PitchCurve {
			x := b.u.SpeedValue(float64(q.Speed))
			line = append(line, chart.XY{X: x, Y: q.Pitch.Value})
			area = append(area, band(x, q.Pitch, 1))
		}
		p.Layers = append(p.Layers, w.layers(func(q pitchlaw.Window) float64 { return b.u.SpeedValue(q.Speed) })...)
		p.Layers = append(p.Layers, chart.Band{Points: area, Ink: "fit-band"}, chart.Line{Points: line, Ink: "fit", Width: 2.5})
		return []*chart.Panel{p}
	})
	if len(b.r.PitchCurve) > 0 {
		f.Read = "Speed"
		f.Table = &table{Caption: "Fitted pitch by speed, with 90 % intervals", Head: []string{"speed, " + b.u.SpeedName(), "pitch, degrees"}}
		for _, q := range b.r.PitchCurve {
			v := b.u.SpeedValue(float64(q.Speed))
			f.Table.add(v, words.Fixed(v, 1), words.Between(q.Pitch, 1, 2))
		}
	}
	return f
}

func (b *builder) pitchSays(w windows) string {
	var s string
	if n := len(b.r.PitchCurve); n > 1 {
		p, q := b.r.PitchCurve[0], b.r.PitchCurve[n-1]
		if d := p.Pitch.Value - q.Pitch.Value; words.Finite(d) {
			way := "lower"
			if d < 0 {
				way = "higher"
			}
			s = fmt.Sprintf("From %s to %s the nose comes %s degrees %s. ", b.u.SpeedText(float64(p.Speed)), b.u.SpeedText(float64(q.Speed)), words.Fixed(math.Abs(d), 1), way)
		}
	}
	s += fmt.Sprintf("The fit uses %s of straight flight", words.Plural(w.used(), "window", "windows"))
	if len(w.out) > 0 {
		s += fmt.Sprintf(" and sets %d aside: %s", len(w.out), words.Listed(w.reasons))
	}
	s += "."
	if l := b.r.PitchLaw; l != nil && l.ByTack != nil {
		p, q := l.ByTack["port"], l.ByTack["starboard"]
		if p.Known() && q.Known() && p != q {
			d := p.Value - q.Value
			if math.Abs(d) > math.Hypot(p.High-p.Low, q.High-q.Low)/2 {
				s += fmt.Sprintf(" The two tacks differ by %s degrees.", words.Fixed(math.Abs(d), 1))
			} else {
				s += " The two tacks agree within their doubt."
			}
		}
	}
	return s
}

// liftArea is the same where the law is a straight line.
func (b *builder) liftArea() *figure {
	w := b.windows()
	law := b.r.Law
	if law == nil || w.used() < 2 || !law.Slope.Known() || !law.Zero.Known() {
		return nil
	}
	scale, unit := 1e4, "cm² per kg"
	if b.r.Setup != nil {
		scale, unit = 1e4*(b.r.Setup.Rider.Mass+b.r.Setup.Board.Mass), "cm²"
	}
	if b.u.Length == "in" {
		scale *= 1e-4 * words.InchPerMetre * words.InchPerMetre
		unit = strings.Replace(unit, "cm", "in", 1)
	}
	f := &figure{ID: "area", Title: "Pitch against lift area", Legend: w.legend(), Read: "Lift area"}
	f.Note = "Lift area is the weight to carry divided by the pressure of the water flow. Slow flight and turns need much of it, fast flight little. Against lift area the curve becomes a straight line, so a bend would show."
	if b.r.Mount != nil && b.r.Mount.LevelZero {
		f.Note += " The band here is the doubt of the line alone; the doubt of the level zero comes on top."
	}
	f.Says = fmt.Sprintf("The marks lie around a straight line, with a scatter of %s degrees.", words.Fixed(law.RMS*radian, 1))
	for _, x := range law.Bends {
		if says := words.Bend(x); says != "" {
			f.Says += " " + says
		}
	}
	lo, hi := math.Inf(1), 0.0
	for _, q := range append(append(slices.Clone(w.port), w.starboard...), w.either...) {
		if words.Finite(q.LiftArea) {
			lo, hi = math.Min(lo, q.LiftArea), math.Max(hi, q.LiftArea)
		}
	}
	if !(hi > lo) {
		return nil
	}
	f.Table = &table{Caption: "Fitted pitch by lift area, with 90 % intervals", Head: []string{"lift area, " + unit, "pitch, degrees"}}
	var line []chart.XY
	var area []chart.BandPoint
	for i := range 21 {
		x := lo + (hi-lo)*float64(i)/20
		iv := law.PitchAtArea(x).Scale(radian)
		line = append(line, chart.XY{X: x * scale, Y: iv.Value})
		area = append(area, band(x*scale, iv, 1))
		if i%2 == 0 {
			f.Table.add(x*scale, words.Fixed(x*scale, words.DigitsFor(hi*scale)), words.Between(iv, 1, 2))
		}
	}
	f.draw(tall(1), func(wide bool) []*chart.Panel {
		p := &chart.Panel{XLabel: "lift area, " + unit, YLabel: b.pitchLabel()}
		p.Layers = append(p.Layers, w.layers(func(q pitchlaw.Window) float64 { return q.LiftArea * scale })...)
		p.Layers = append(p.Layers, chart.Band{Points: area, Ink: "fit-band"}, chart.Line{Points: line, Ink: "fit", Width: 2.5})
		return []*chart.Panel{p}
	})
	return f
}
