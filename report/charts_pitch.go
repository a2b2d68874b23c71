package report

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

const radian = 180 / math.Pi

// leftOut is the weight under which a window counts as left out of the fit.
const leftOut = 0.2

// A sort of windows is drawn alike.
type sort struct {
	legend
	size float64
	of   []pitchlaw.Window
}

// The sorts that the charts tell apart; the fit believes all but the first.
const (
	outWindows = iota
	portWindows
	starboardWindows
	eitherWindows
)

// windows are a fit's windows, sorted.
type windows struct {
	sorts   [4]sort
	used    []pitchlaw.Window // that the fit believes
	reasons []string          // why the others were left out, most frequent first
}

func (b *builder) windows() *windows {
	w := &windows{sorts: [4]sort{
		{legend{"cross", "out", "left out or given little weight"}, 5, nil},
		{legend{"square", "port", "port tack (wind from the left)"}, 4, nil},
		{legend{"dot", "stbd", "starboard tack (wind from the right)"}, 4.4, nil},
		{legend{"dot", "stbd", "straight flight"}, 4.4, nil},
	}}
	if b.r.Law == nil {
		return w
	}
	count := map[string]int{}
	for _, x := range b.r.Law.Windows {
		s := eitherWindows
		switch {
		case x.Weight < leftOut || x.Reason != "":
			s = outWindows
			count[words.Reason(x.Reason)]++
		case x.Tack > 0:
			s = starboardWindows
		case x.Tack < 0:
			s = portWindows
		}
		w.sorts[s].of = append(w.sorts[s].of, x)
	}
	for _, s := range w.sorts[portWindows:] {
		w.used = append(w.used, s.of...)
	}
	for _, n := range slices.SortedFunc(maps.Keys(count), func(p, q string) int { return cmp.Or(count[q]-count[p], strings.Compare(p, q)) }) {
		w.reasons = append(w.reasons, fmt.Sprintf("%s (%d)", words.CleanTo(n, 60), count[n]))
	}
	return w
}

// layers draws the windows with x from the function given.
func (w *windows) layers(x func(pitchlaw.Window) float64) (out []chart.Layer) {
	for _, s := range w.sorts {
		if len(s.of) > 0 {
			out = append(out, s.dots(s.size, each(s.of, func(q pitchlaw.Window) chart.XY { return chart.XY{X: x(q), Y: q.PitchCos * radian} })...))
		}
	}
	return out
}

// fit fills in a figure of windows and the fit through them against what is
// named x; every so many points get a row in the table.
func (b *builder) fit(f *figure, w *windows, axis, head string, of func(pitchlaw.Window) float64, fit []chart.Sample, every, digits int) {
	for _, s := range append(w.sorts[portWindows:], w.sorts[outWindows]) {
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
		q := fit[i]
		f.Table.at(q.X, words.Fixed(q.X, digits), words.Between(interval.Interval{Value: q.Value, Low: q.Lo, High: q.Hi}, 1, 2))
	}
	level := b.r.Mount != nil && b.r.Mount.LevelZero
	f.plot(tall(1), &chart.Panel{XLabel: axis, YLabel: words.Choose(level, "pitch, degrees (nose up +)", "pitch, degrees (zero unknown)"),
		Layers: append(w.layers(of), l.band(fit), l.line(fit, 2.5))})
}

// pitchSpeed is pitch against speed: the windows and the fit through them.
func (b *builder) pitchSpeed() *figure {
	w := b.windows()
	out, used := len(w.sorts[outWindows].of), len(w.used)
	if out+used == 0 {
		return nil
	}
	says := struct {
		From, To, Falls float64 // degrees
		Used, Out       int
		Reasons         []string
		Tacks           interval.Interval
	}{Falls: math.NaN(), Used: used, Out: out, Reasons: w.reasons, Tacks: b.u.Sheet(b.r).Tacks()}
	if n := len(b.r.PitchCurve); n > 1 {
		p, q := b.r.PitchCurve[0], b.r.PitchCurve[n-1]
		says.From, says.To, says.Falls = float64(p.Speed), float64(q.Speed), p.Pitch.Value-q.Pitch.Value
	}
	f := newFigure("pitch", b.u, says)
	f.Read = words.Choose(len(b.r.PitchCurve) > 0, "Speed", "")
	fit := each(b.r.PitchCurve, func(q analysis.PitchPoint) chart.Sample { return sample(b.speed(q.Speed), q.Pitch) })
	b.fit(f, w, b.speedLabel(), "speed, "+b.u.SpeedName(), func(q pitchlaw.Window) float64 { return b.u.SpeedValue(q.Speed) }, fit, 1, 1)
	return f
}

// liftArea is the same where the law is a straight line.
func (b *builder) liftArea() *figure {
	w := b.windows()
	law := b.r.Law
	if law == nil || len(w.used) < 2 || !law.Slope.Known() || !law.Zero.Known() {
		return nil
	}
	scale, unit := b.u.LengthValue(b.u.LengthValue(1)), b.u.LengthName()+"² per kg"
	if b.r.Setup != nil {
		scale, unit = scale*(b.r.Setup.Rider.Mass+b.r.Setup.Board.Mass), b.u.LengthName()+"²"
	}
	lo, hi := math.Inf(1), 0.0
	for _, q := range w.used {
		if words.Finite(q.LiftArea) {
			lo, hi = math.Min(lo, q.LiftArea), math.Max(hi, q.LiftArea)
		}
	}
	if !(hi > lo) {
		return nil
	}
	f := newFigure("area", b.u, struct {
		Level bool
		RMS   float64
		Bends []pitchlaw.Bend
	}{b.r.Mount != nil && b.r.Mount.LevelZero, law.RMS * radian, law.Bends})
	f.Read = "Lift area"
	const points = 21
	var fit []chart.Sample
	for i := range points {
		x := lo + (hi-lo)*float64(i)/(points-1)
		fit = append(fit, sample(x*scale, law.PitchAtArea(x).Scale(radian)))
	}
	b.fit(f, w, "lift area, "+unit, "lift area, "+unit, func(q pitchlaw.Window) float64 { return q.LiftArea * scale }, fit, 2, words.DigitsFor(hi*scale))
	return f
}

// effort is how much the feet work at each speed.
func (b *builder) effort() *figure {
	pts := slices.DeleteFunc(slices.Clone(b.r.ControlEffort), func(p analysis.EffortPoint) bool { return !words.Finite(p.Interval.Value) })
	if len(pts) == 0 {
		return nil
	}
	both := slices.DeleteFunc(slices.Clone(pts), func(p analysis.EffortPoint) bool { return p.Tack != "" })
	told := len(both) < len(pts) // the tacks apart
	if len(both) == 0 {
		both = pts
	}
	rate := func(p, q analysis.EffortPoint) int { return cmp.Compare(p.Interval.Value, q.Interval.Value) }
	least, most := slices.MinFunc(both, rate), slices.MaxFunc(both, rate)
	f := newFigure("effort", b.u, struct {
		Least, Most interval.Number
		Times       float64
	}{least.Speed, most.Speed, most.Interval.Value / math.Max(least.Interval.Value, 1e-9)})
	f.Table = &table{Caption: "Pitch corrections by speed and tack", Head: []string{"speed, " + b.u.SpeedName(), "tack", "degrees per second"}}
	for _, p := range pts {
		f.Table.add(words.Fixed(b.speed(p.Speed), 1), cmp.Or(words.Clean(p.Tack), "both"), words.Between(p.Interval, 1, 2))
	}
	var layers []chart.Layer
	for _, s := range []struct {
		tack string
		legend
		shift float64 // so that two marks at one speed stand beside each other
	}{{"port", legend{"square", "port", "port tack"}, -0.12}, {"starboard", legend{"dot", "stbd", "starboard tack"}, 0.12}, {"", legend{"dot", "now", "both tacks"}, 0}} {
		w := chart.Whiskers{Ink: s.Ink, Shape: s.Kind, Upright: true}
		for _, p := range pts {
			if p.Tack == s.tack && (s.tack != "" || !told) { // both tacks only where they are not told apart
				w.Items = append(w.Items, sample(b.speed(p.Speed)+s.shift, p.Interval))
			}
		}
		if len(w.Items) > 0 {
			layers, f.Legend = append(layers, w), append(f.Legend, s.legend)
		}
	}
	f.plot(tall(0.85), &chart.Panel{XLabel: b.speedLabel(), YLabel: "degrees per second", Layers: layers})
	return f
}

// tornadoRows is how many inputs the picture of the doubt shows.
const tornadoRows = 10

// tornado is what the doubt comes from, largest first.
func (b *builder) tornado() *figure {
	before := func(a analysis.Assumption) float64 { return math.Abs(float64(a.ShimDegPerSigma)) }
	after := func(a analysis.Assumption) float64 { return math.Abs(float64(a.ShimDegPerSigmaAfter)) }
	all := slices.DeleteFunc(slices.Clone(b.r.Assumptions), func(a analysis.Assumption) bool { return !words.Finite(before(a)) || !words.Finite(after(a)) })
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(p, q analysis.Assumption) int { return cmp.Compare(after(q), after(p)) })
	f := newFigure("doubt", b.u, all[0])
	f.Legend = []legend{{"box", "hist", "before this log"}, {"box", "now", "with this log and your notes"}}
	f.Table = &table{Caption: "Shift of the best stabilizer angle by the usual error of each input, degrees", Head: []string{"input", "before", "after", "from"}}
	for _, a := range all {
		f.Table.add(words.Clean(a.Name), words.Fixed(before(a), 2), words.Fixed(after(a), 2), givenBy(a))
	}
	all = all[:min(len(all), tornadoRows)]
	first, then := chart.Boxes{Ink: "hist"}, chart.Boxes{Ink: "now"}
	hi := 1e-6
	for i, a := range all {
		y := float64(len(all) - 1 - i)
		first.Boxes = append(first.Boxes, chart.Box{X1: before(a), Y0: y + 0.04, Y1: y + 0.36})
		then.Boxes = append(then.Boxes, chart.Box{X1: after(a), Y0: y - 0.32, Y1: y})
		hi = max(hi, before(a), after(a))
	}
	f.rows(len(all), func(i int, wide bool) string {
		return words.CleanTo(all[i].Name, words.Choose(wide, words.NameLimit, 24))
	},
		chart.Panel{XLabel: "degrees of stabilizer angle", X: chart.Range{Lo: 0, Hi: 1.04 * hi}, Layers: []chart.Layer{first, then}})
	return f
}
