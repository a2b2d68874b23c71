package report

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis/pitchlaw"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

const radian = 180 / math.Pi

// leftOut is the weight under which a window counts as left out of the fit.
const leftOut = 0.2

// A sort of windows is drawn alike.
type sort struct {
	legend legend
	shape  chart.Shape
	size   float64
	of     []pitchlaw.Window
}

// windows are a fit's windows, sorted into what the charts tell apart.
type windows struct {
	out, port, starboard, either sort
	reasons                      []string // why windows were left out, most frequent first
}

func (b *builder) windows() *windows {
	w := &windows{
		out:       sort{legend{"cross", "out", "left out or given little weight"}, chart.Cross, 5, nil},
		port:      sort{legend{"square", "port", "port tack (wind from the left)"}, chart.Square, 4, nil},
		starboard: sort{legend{"dot", "stbd", "starboard tack (wind from the right)"}, chart.Round, 4.4, nil},
		either:    sort{legend{"dot", "stbd", "straight flight"}, chart.Round, 4.4, nil},
	}
	if b.r.Law == nil {
		return w
	}
	count := map[string]int{}
	for _, x := range b.r.Law.Windows {
		s := &w.either
		switch {
		case x.Weight < leftOut || x.Reason != "":
			s = &w.out
			count[words.Reason(x.Reason)]++
		case x.Tack > 0:
			s = &w.starboard
		case x.Tack < 0:
			s = &w.port
		}
		s.of = append(s.of, x)
	}
	for _, n := range slices.SortedFunc(maps.Keys(count), func(p, q string) int { return cmp.Or(count[q]-count[p], strings.Compare(p, q)) }) {
		w.reasons = append(w.reasons, fmt.Sprintf("%s (%d)", words.CleanTo(n, 60), count[n]))
	}
	return w
}

// used are the windows that the fit believes.
func (w *windows) used() []pitchlaw.Window {
	return slices.Concat(w.port.of, w.starboard.of, w.either.of)
}

// layers draws the windows with x from the function given.
func (w *windows) layers(x func(pitchlaw.Window) float64) []chart.Layer {
	var out []chart.Layer
	for _, s := range []sort{w.out, w.port, w.starboard, w.either} {
		d := chart.Dots{Ink: chart.Ink(s.legend.Ink), Shape: s.shape, Size: s.size}
		for _, q := range s.of {
			d.Points = append(d.Points, chart.XY{X: x(q), Y: q.PitchCos * radian})
		}
		if len(s.of) > 0 {
			out = append(out, d)
		}
	}
	return out
}

// fit fills in a figure of windows and the fit through them against what is
// named x; every so many points get a row in the table.
func (b *builder) fit(f *figure, w *windows, axis, head string, of func(pitchlaw.Window) float64, fit []sample, every, digits int) {
	for _, s := range []sort{w.port, w.starboard, w.either, w.out} {
		if len(s.of) > 0 {
			f.Legend = append(f.Legend, s.legend)
		}
	}
	l := legend{"line", "fit", "the fit, with its 90 % band"}
	f.Legend = append(f.Legend, l)
	if len(fit) > 0 {
		f.Table = &table{Caption: "Fitted pitch by " + strings.ToLower(f.Read) + ", with 90 % intervals", Head: []string{head, "pitch, degrees"}}
	}
	for i := 0; i < len(fit); i += every {
		f.Table.add(fit[i].x, words.Fixed(fit[i].x, digits), words.Between(fit[i].v, 1, 2))
	}
	f.draw(tall(1), func(bool) []*chart.Panel {
		return []*chart.Panel{{XLabel: axis, YLabel: b.pitchLabel(), Layers: append(w.layers(of), l.band(fit), l.line(fit, 2.5))}}
	})
}

func (b *builder) pitchLabel() string {
	if b.r.Mount != nil && b.r.Mount.LevelZero {
		return "pitch, degrees (nose up +)"
	}
	return "pitch, degrees (zero unknown)"
}

// pitchSpeed is pitch against speed: the windows and the fit through them.
func (b *builder) pitchSpeed() *figure {
	w := b.windows()
	if len(w.out.of)+len(w.used()) == 0 {
		return nil
	}
	f := &figure{ID: "pitch", Title: "Pitch against speed"}
	f.Says = b.pitchSays(w)
	f.Note = "Pitch is the angle of the deck, nose up or down. Each mark is one to three seconds of straight flight. More speed needs less angle to carry the same weight."
	var fit []sample
	for _, q := range b.r.PitchCurve {
		fit = append(fit, sample{b.u.SpeedValue(float64(q.Speed)), q.Pitch})
		f.Read = "Speed"
	}
	b.fit(f, w, b.speedLabel(), "speed, "+b.u.SpeedName(), func(q pitchlaw.Window) float64 { return b.u.SpeedValue(q.Speed) }, fit, 1, 1)
	return f
}

func (b *builder) pitchSays(w *windows) string {
	var s string
	if n := len(b.r.PitchCurve); n > 1 {
		p, q := b.r.PitchCurve[0], b.r.PitchCurve[n-1]
		if d := p.Pitch.Value - q.Pitch.Value; words.Finite(d) {
			s = fmt.Sprintf("From %s to %s the nose comes %s degrees %s. ", b.u.SpeedText(float64(p.Speed)), b.u.SpeedText(float64(q.Speed)), words.Fixed(math.Abs(d), 1), words.Choose(d < 0, "higher", "lower"))
		}
	}
	s += fmt.Sprintf("The fit uses %s of straight flight", words.Plural(len(w.used()), "window"))
	if len(w.out.of) > 0 {
		s += fmt.Sprintf(" and sets %d aside: %s", len(w.out.of), words.Listed(w.reasons))
	}
	s += "."
	switch t := words.Tacks(b.r); {
	case !t.Known():
	case t.Low*t.High > 0:
		s += fmt.Sprintf(" The two tacks differ by %s degrees.", words.Fixed(math.Abs(t.Value), 1))
	default:
		s += " The two tacks agree within their doubt."
	}
	return s
}

// liftArea is the same where the law is a straight line.
func (b *builder) liftArea() *figure {
	w := b.windows()
	law := b.r.Law
	if law == nil || len(w.used()) < 2 || !law.Slope.Known() || !law.Zero.Known() {
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
	f := &figure{ID: "area", Title: "Pitch against lift area", Read: "Lift area"}
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
	for _, q := range w.used() {
		if words.Finite(q.LiftArea) {
			lo, hi = math.Min(lo, q.LiftArea), math.Max(hi, q.LiftArea)
		}
	}
	if !(hi > lo) {
		return nil
	}
	const points = 21
	var fit []sample
	for i := range points {
		x := lo + (hi-lo)*float64(i)/(points-1)
		fit = append(fit, sample{x * scale, law.PitchAtArea(x).Scale(radian)})
	}
	b.fit(f, w, "lift area, "+unit, "lift area, "+unit, func(q pitchlaw.Window) float64 { return q.LiftArea * scale }, fit, 2, words.DigitsFor(hi*scale))
	return f
}
