package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/ride"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// leastGap is the shortest silence that breaks a line, s.
const leastGap = 2

// A trace is one channel over time, in printing units.
type trace struct {
	label, unit string
	ink         string
	n           int
	at          func(i int) (t, v float64)
	gap         float64 // s; a longer silence is a gap
	fine        []bin   // fineBins of the whole log, where it is long
}

// fineBins is a common multiple of the columns that the page cuts an outing
// into: a long log is gone through once.
const fineBins = 36000

// A bin is one column of a trace: its lowest and highest point, and the sum of
// what lies between.
type bin struct {
	low, high chart.XY
	sum       float64
	n         int
	broken    bool // the log has a gap before or in it
}

// add takes in the columns of a later one.
func (b *bin) add(o *bin) {
	if o.n == 0 {
		return
	}
	if b.n == 0 {
		b.low, b.high = o.low, o.high
	}
	if o.low.Y < b.low.Y {
		b.low = o.low
	}
	if o.high.Y > b.high.Y {
		b.high = o.high
	}
	b.sum, b.n, b.broken = b.sum+o.sum, b.n+o.n, b.broken || o.broken
}

// bins cut a trace into n columns between lo and hi.
func (t trace) bins(lo, hi float64, n int) []bin {
	out := make([]bin, n)
	if t.fine != nil && fineBins%n == 0 {
		for i := range t.fine {
			out[i*n/fineBins].add(&t.fine[i])
		}
		return out
	}
	prev := math.NaN()
	for i := range t.n {
		x, v := t.at(i)
		if !words.Finite(v) || !(x >= lo && x <= hi) {
			continue
		}
		out[min(int((x-lo)/(hi-lo)*float64(n)), n-1)].add(&bin{chart.XY{X: x, Y: v}, chart.XY{X: x, Y: v}, v, 1, x-prev > t.gap})
		prev = x
	}
	return out
}

// envelope is a trace with the lowest and the highest value of each of n
// columns, and a gap where the log has one.
func (t trace) envelope(lo, hi float64, n int) []chart.XY {
	var out []chart.XY
	for _, b := range t.bins(lo, hi, n) {
		if b.n == 0 {
			continue
		}
		if b.broken {
			out = append(out, chart.XY{X: math.NaN(), Y: math.NaN()})
		}
		first, last := b.low, b.high
		if first.X > last.X {
			first, last = last, first
		}
		out = append(out, first)
		if last != first {
			out = append(out, last)
		}
	}
	return out
}

// gapFor is how long a silence makes a gap: five samples, and no less than least, s.
func gapFor(t []float64, least float64) float64 {
	if len(t) < 2 {
		return least
	}
	return math.Max(least, 5*(t[len(t)-1]-t[0])/float64(len(t)-1))
}

// traces are speed, pitch and heel, as far as the log has them.
func (b *builder) traces() []trace {
	var ts []trace
	r := b.r
	if r.Log != nil && len(r.Log.GPS.Speed) > 0 && len(r.Log.GPS.Time) == len(r.Log.GPS.Speed) {
		g := r.Log.GPS
		n := len(g.Time)
		ts = append(ts, trace{label: "speed", unit: b.u.SpeedName(), ink: "now", n: n, gap: gapFor(g.Time, leastGap), at: func(i int) (float64, float64) {
			if i < len(g.Flags) && g.Flags[i] != 0 {
				return g.Time[i], math.NaN()
			}
			return g.Time[i], b.u.SpeedValue(float64(g.Speed[i]))
		}})
	} else if s := b.outing().Speed; len(s.East) > 1 {
		ts = append(ts, trace{label: "speed", unit: b.u.SpeedName(), ink: "now", n: min(len(s.East), len(s.North)), gap: math.Max(leastGap, 5*s.Step), at: func(i int) (float64, float64) {
			return s.Start + float64(i)*s.Step, b.u.SpeedValue(math.Hypot(s.East[i], s.North[i]))
		}})
	}
	// What a sensor shows that is not fixed to the board is not the deck's angle.
	if m := r.Motion; m != nil && len(m.Time) > 0 && m.Mount.Rigid {
		n := len(m.Time)
		gap := gapFor(m.Time, leastGap)
		for _, x := range []struct {
			label string
			ink   string
			v     []float32
		}{{"pitch", "next", m.Pitch}, {"heel", "stbd", m.Heel}} {
			if len(x.v) == n {
				ts = append(ts, trace{label: x.label, unit: "degrees", ink: x.ink, n: n, gap: gap, at: func(i int) (float64, float64) { return m.Time[i], float64(x.v[i]) * radian }})
			}
		}
	}
	return ts
}

// timeline is the session over time: an overview, and a long strip that
// slides under the finger.
func (b *builder) timeline() *figure {
	ts := b.traces()
	if len(ts) == 0 {
		return nil
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, t := range ts {
		if t.n > 0 {
			x0, _ := t.at(0)
			x1, _ := t.at(t.n - 1)
			lo, hi = math.Min(lo, x0), math.Max(hi, x1)
		}
	}
	if !(hi > lo) || hi-lo > 7*86400 {
		return nil
	}
	for i := range ts {
		if ts[i].n > 2*fineBins {
			ts[i].fine = ts[i].bins(lo, hi, fineBins)
		}
	}
	f := newFigure("session", b.u, struct {
		Totals analysis.Totals
		Pitch  bool
	}{b.r.Totals, len(ts) > 1})
	f.Legend = []legend{{"box", "fly", "on the foil"}}
	if len(b.outing().Turns) > 0 {
		f.Legend = append(f.Legend, legend{"dot", "turn", "turn"})
	}
	if len(b.outing().Events) > 0 {
		f.Legend = append(f.Legend, legend{"cross", "touch", "touchdown or fall"})
	}
	f.draw(tall(0.36*float64(len(ts))+0.12), func(wide bool) []*chart.Panel {
		return b.timePanels(ts, lo, hi, words.Choose(wide, wideWidth, narrowWidth), false)
	})
	// The strip: a pixel is a second at first, and never more than stripMax of them.
	const stripMax = 2400
	n := int(math.Min(stripMax, math.Max(720, hi-lo)))
	if hi-lo > 600 {
		strip := chart.Figure{Picture: chart.Picture{ID: f.ID + "-s", Class: "strip", Title: f.Title + ", in detail", Desc: "The same as above, stretched so that single rides can be read.",
			Width: float64(n), Height: 105*float64(len(ts)) + 30}, FontSize: 12.5, Panels: b.timePanels(ts, lo, hi, n, true), Natural: true}
		f.Scroll = template.HTML(strip.SVG())
	}
	f.Samples = b.samples(ts, lo, hi, min(n, 1500))
	f.Table = b.rideTable()
	return f
}

func (b *builder) timePanels(ts []trace, lo, hi float64, columns int, strip bool) []*chart.Panel {
	var ps []*chart.Panel
	for i, t := range ts {
		line := t.envelope(lo, hi, columns)
		ymin, ymax := b.flightRange(line)
		pad := 0.08*(ymax-ymin) + 0.1
		yr := chart.Range{Lo: ymin - pad, Hi: ymax + pad}
		if ymin == 0 {
			yr.Lo = 0
		}
		p := &chart.Panel{YLabel: t.label + ", " + strings.Replace(t.unit, "degrees", "°", 1), X: chart.Range{Lo: lo, Hi: hi}, Y: yr,
			HideX: i < len(ts)-1, YTicks: chart.Ticks{Count: 3}, XTicks: chart.ClockTicks{Count: max(4, columns/100)}}
		if strip {
			p.YLabel = ""
		}
		p.Layers = append(p.Layers, b.flights(yr), chart.Line{Points: line, Ink: t.ink, Width: 1.2})
		if i == 0 {
			p.Layers = append(p.Layers, b.marks(yr)...)
		}
		if strip {
			// The axis is out of sight when the strip slides: name it along the way.
			for x := 0.0; x < float64(columns); x += 560 {
				p.Layers = append(p.Layers, chart.Note{At: chart.XY{X: lo + (hi-lo)*x/float64(columns), Y: yr.Hi}, DX: 6, DY: -9, Text: t.label + ", " + t.unit})
				if x > 0 {
					for _, k := range (chart.Ticks{Count: 3}).Ticks(yr.Lo, yr.Hi) {
						p.Layers = append(p.Layers, chart.Note{At: chart.XY{X: lo + (hi-lo)*x/float64(columns), Y: k.Value}, DX: -4, DY: 6, Anchor: chart.Before, Text: k.Label})
					}
				}
			}
		}
		ps = append(ps, p)
	}
	ps[len(ps)-1].XLabel = "time since the start, " + words.Choose(hi < 3600, "min", "h:mm")
	return ps
}

// flightRange is the range of the values in flight and zero, so that a swim
// does not press the flights flat; of all values where there is no flight.
func (b *builder) flightRange(line []chart.XY) (lo, hi float64) {
	rides := b.outing().Rides
	all := len(rides) == 0
	for _, q := range line {
		if !words.Finite(q.X) || !words.Finite(q.Y) || math.Abs(q.Y) > 1e6 {
			continue
		}
		for len(rides) > 0 && rides[0].End < q.X {
			rides = rides[1:]
		}
		if all || len(rides) > 0 && rides[0].Start <= q.X {
			lo, hi = math.Min(lo, q.Y), math.Max(hi, q.Y)
		}
	}
	return lo, hi
}

func (b *builder) flights(yr chart.Range) chart.Layer {
	return chart.Boxes{Ink: "fly", Boxes: each(b.outing().Rides, func(x ride.Ride) chart.Box { return chart.Box{X0: x.Start, X1: x.End, Y0: yr.Lo, Y1: yr.Hi} })}
}

// marks puts turns along the top of the speed panel, and touchdowns along its foot.
func (b *builder) marks(yr chart.Range) []chart.Layer {
	edge := 0.05 * (yr.Hi - yr.Lo)
	var falls []chart.XY
	for _, e := range b.outing().Events {
		if e.Kind == "touchdown" || e.Kind == "fall" {
			falls = append(falls, chart.XY{X: e.Time, Y: yr.Lo + edge})
		}
	}
	turns := each(b.outing().Turns, func(t ride.Turn) chart.XY { return chart.XY{X: (t.Start + t.End) / 2, Y: yr.Hi - edge} })
	felt := b.marked(func(m mark.Mark) chart.XY { return chart.XY{X: float64(m.At), Y: b.speed(m.Speed)} })
	return []chart.Layer{chart.Dots{Points: felt, Ink: "text", Size: 7}, chart.Dots{Points: turns, Ink: "turn", Size: 5}, chart.Dots{Points: falls, Ink: "touch", Shape: chart.Cross, Size: 7}}
}

// marked are the marks that count, placed.
func (b *builder) marked(at func(mark.Mark) chart.XY) (out []chart.XY) {
	for _, m := range b.r.Marks {
		if m.Counts() {
			out = append(out, at(m))
		}
	}
	return out
}

// samples is what the read-out shows: a few numbers a column, as JSON.
func (b *builder) samples(ts []trace, lo, hi float64, n int) string {
	type series struct {
		Name string `json:"name"`
		Unit string `json:"unit"`
		V    []any  `json:"v"`
	}
	out := struct {
		Lo     float64  `json:"lo"`
		Step   float64  `json:"step"`
		Series []series `json:"series"`
		Ride   []int    `json:"ride"`
	}{Lo: math.Round(lo*10) / 10, Step: (hi - lo) / float64(n)}
	for _, t := range ts {
		s := series{Name: t.label, Unit: t.unit}
		for _, b := range t.bins(lo, hi, n) {
			if b.n > 0 {
				s.V = append(s.V, math.Round(10*b.sum/float64(b.n))/10)
			} else {
				s.V = append(s.V, nil)
			}
		}
		out.Series = append(out.Series, s)
	}
	for _, x := range b.outing().Rides {
		out.Ride = append(out.Ride, int(math.Round((x.Start-lo)/out.Step)), int(math.Round((x.End-lo)/out.Step)))
	}
	j, err := json.Marshal(out)
	if err != nil {
		return ""
	}
	return string(j)
}

func (b *builder) rideTable() *table {
	if len(b.r.Rides) == 0 {
		return nil
	}
	t := &table{Caption: "The rides", Head: []string{"ride", "start", "length", "distance", "mean speed, " + b.u.SpeedName(), "top speed, " + b.u.SpeedName(), "tack"}}
	for i, x := range b.r.Rides {
		tack := "not known"
		if x.Tack != nil {
			tack = words.Clean(*x.Tack)
		}
		t.add(fmt.Sprint(i+1), words.Clock(float64(x.Start)), words.Clock(float64(x.End-x.Start)), b.u.DistanceText(float64(x.Distance)),
			words.Fixed(b.speed(x.MeanSpeed), 1), words.Fixed(b.speed(x.MaxSpeed), 1), tack)
		if i == 199 {
			t.Caption = "The first 200 rides"
			break
		}
	}
	return t
}
