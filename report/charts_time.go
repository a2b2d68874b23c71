package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis/ride"
	"evenfoot/report/chart"
	"evenfoot/report/words"

	"gonum.org/v1/plot"
)

// A trace is one channel over time, in printing units.
type trace struct {
	label, unit string
	ink         chart.Ink
	n           int
	at          func(i int) (t, v float64)
	gap         float64 // s; a longer silence is a gap
}

// envelope is a trace with, of each of n columns between lo and hi, its lowest
// and highest value, and a gap where the log has one. Long logs are read once.
func (t trace) envelope(lo, hi float64, n int) []chart.XY {
	var out []chart.XY
	col, prev := -1, math.NaN()
	var a, z chart.XY // lowest and highest of the column
	flush := func() {
		if col < 0 {
			return
		}
		if a.X > z.X {
			a, z = z, a
		}
		out = append(out, a)
		if a != z {
			out = append(out, z)
		}
		col = -1
	}
	for i := range t.n {
		x, v := t.at(i)
		if !words.Finite(v) || !(x >= lo && x <= hi) {
			continue
		}
		if x-prev > t.gap {
			flush()
			out = append(out, chart.XY{X: math.NaN(), Y: math.NaN()})
		}
		prev = x
		if c := int((x - lo) / (hi - lo) * float64(n)); c != col {
			flush()
			col, a, z = c, chart.XY{X: x, Y: v}, chart.XY{X: x, Y: v}
			continue
		}
		if v < a.Y {
			a = chart.XY{X: x, Y: v}
		}
		if v > z.Y {
			z = chart.XY{X: x, Y: v}
		}
	}
	flush()
	return out
}

// sampled is the mean of a trace in n columns; NaN where there is none.
func (t trace) sampled(lo, hi float64, n int) []float64 {
	sum, count := make([]float64, n), make([]float64, n)
	for i := range t.n {
		x, v := t.at(i)
		if c := int((x - lo) / (hi - lo) * float64(n)); words.Finite(v) && x >= lo && c < n && c >= 0 {
			sum[c] += v
			count[c]++
		}
	}
	for i := range sum {
		sum[i] /= count[i] // 0/0 is the NaN that is wanted
	}
	return sum
}

func gapFor(n int, first, last float64) float64 {
	if n < 2 {
		return 2
	}
	return math.Max(2, 5*(last-first)/float64(n-1))
}

// traces are speed, pitch and heel, as far as the log has them.
func (b *builder) traces() []trace {
	var ts []trace
	r := b.r
	if r.Log != nil && len(r.Log.GPS.Speed) > 0 && len(r.Log.GPS.Time) == len(r.Log.GPS.Speed) {
		g := r.Log.GPS
		n := len(g.Time)
		ts = append(ts, trace{"speed", b.u.SpeedName(), "now", n, func(i int) (float64, float64) {
			if i < len(g.Flags) && g.Flags[i] != 0 {
				return g.Time[i], math.NaN()
			}
			return g.Time[i], b.u.SpeedValue(float64(g.Speed[i]))
		}, gapFor(n, g.Time[0], g.Time[n-1])})
	} else if r.Ride != nil && len(r.Ride.Speed.East) > 1 {
		s := r.Ride.Speed
		ts = append(ts, trace{"speed", b.u.SpeedName(), "now", min(len(s.East), len(s.North)), func(i int) (float64, float64) {
			return s.Start + float64(i)*s.Step, b.u.SpeedValue(math.Hypot(s.East[i], s.North[i]))
		}, math.Max(2, 5*s.Step)})
	}
	// What a sensor shows that is not fixed to the board is not the deck's angle.
	if m := r.Motion; m != nil && len(m.Time) > 0 && m.Mount.Rigid {
		n := len(m.Time)
		gap := gapFor(n, m.Time[0], m.Time[n-1])
		for _, x := range []struct {
			label string
			ink   chart.Ink
			v     []float32
		}{{"pitch", "next", m.Pitch}, {"heel", "stbd", m.Heel}} {
			if len(x.v) == n {
				ts = append(ts, trace{x.label, "degrees", x.ink, n, func(i int) (float64, float64) { return m.Time[i], float64(x.v[i]) * radian }, gap})
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
	f := &figure{ID: "session", Title: "The session over time"}
	f.Says = b.timelineSays()
	f.Note = "The tinted stretches are flights."
	if len(ts) > 1 {
		f.Note = "Pitch is the angle of the deck, nose up is positive. Heel is the side lean of the board, starboard (right) side down is positive."
	}
	f.Legend = []legend{{"box", "fly", "on the foil"}}
	if b.r.Ride != nil && len(b.r.Ride.Turns) > 0 {
		f.Legend = append(f.Legend, legend{"dot", "turn", "turn"})
	}
	if b.r.Ride != nil && len(b.r.Ride.Events) > 0 {
		f.Legend = append(f.Legend, legend{"cross", "touch", "touchdown or fall"})
	}
	height := 0.36 * float64(len(ts))
	f.draw(tall(height+0.12), func(wide bool) []*chart.Panel {
		n := narrowWidth
		if wide {
			n = wideWidth
		}
		return b.timePanels(ts, lo, hi, n, false)
	})
	// The strip: a pixel is a second at first, and never more than stripMax of them.
	const stripMax = 2400
	n := int(math.Min(stripMax, math.Max(720, hi-lo)))
	if hi-lo > 600 {
		strip := chart.Figure{ID: f.ID + "-s", Class: "strip", Title: f.Title + ", in detail", Desc: "The same as above, stretched so that single rides can be read.",
			Width: float64(n), Height: 105*float64(len(ts)) + 30, FontSize: 12.5, Panels: b.timePanels(ts, lo, hi, n, true), Natural: true}
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
				p.Layers = append(p.Layers, chart.Note{At: chart.XY{X: lo + (hi-lo)*x/float64(columns), Y: yr.Hi}, DX: 6, DY: -9, Text: t.label + ", " + t.unit, Ink: "text"})
				if x > 0 {
					for _, k := range (chart.Ticks{Count: 3}).Ticks(yr.Lo, yr.Hi) {
						p.Layers = append(p.Layers, chart.Note{At: chart.XY{X: lo + (hi-lo)*x/float64(columns), Y: k.Value}, DX: -4, DY: 6, Align: -1, Text: k.Label, Ink: "text"})
					}
				}
			}
		}
		ps = append(ps, p)
	}
	if n := len(ps); n > 0 {
		ps[n-1].Height = 1.3
		ps[n-1].XLabel = "time since the start"
		if hi < 3600 {
			ps[n-1].XLabel += ", min"
		} else {
			ps[n-1].XLabel += ", h:mm"
		}
	}
	return ps
}

// flightRange is the range of the values in flight and zero, so that a swim
// does not press the flights flat; of all values where there is no flight.
func (b *builder) flightRange(line []chart.XY) (lo, hi float64) {
	var rides []ride.Ride
	if b.r.Ride != nil {
		rides = b.r.Ride.Rides
	}
	k := 0
	for _, q := range line {
		if !words.Finite(q.X) || !words.Finite(q.Y) || math.Abs(q.Y) > 1e6 {
			continue
		}
		for k < len(rides) && rides[k].End < q.X {
			k++
		}
		if len(rides) == 0 || k < len(rides) && rides[k].Start <= q.X {
			lo, hi = math.Min(lo, q.Y), math.Max(hi, q.Y)
		}
	}
	return lo, hi
}

func (b *builder) flights(yr chart.Range) plot.Plotter {
	var boxes []chart.Box
	if b.r.Ride != nil {
		for _, x := range b.r.Ride.Rides {
			boxes = append(boxes, chart.Box{X0: x.Start, X1: x.End, Y0: yr.Lo, Y1: yr.Hi})
		}
	}
	return chart.Boxes{Boxes: boxes, Ink: "fly"}
}

// marks puts turns and touchdowns along the top of the speed panel.
func (b *builder) marks(yr chart.Range) []plot.Plotter {
	if b.r.Ride == nil {
		return nil
	}
	y := yr.Hi - 0.05*(yr.Hi-yr.Lo)
	var turns, falls []chart.XY
	for _, t := range b.r.Ride.Turns {
		turns = append(turns, chart.XY{X: (t.Start + t.End) / 2, Y: y})
	}
	for _, e := range b.r.Ride.Events {
		if e.Kind == "touchdown" || e.Kind == "fall" {
			falls = append(falls, chart.XY{X: e.Time, Y: yr.Lo + 0.05*(yr.Hi-yr.Lo)})
		}
	}
	return []plot.Plotter{chart.Dots{Points: turns, Ink: "turn", Size: 5}, chart.Dots{Points: falls, Ink: "touch", Shape: chart.Cross, Size: 7}}
}

func (b *builder) timelineSays() string {
	t := b.r.Totals
	if t.Rides == 0 {
		return "No ride on the foil was found in this log."
	}
	s := fmt.Sprintf("%s on the foil: %s", words.UpperFirst(words.Minutes(float64(t.Foiling))), words.Plural(t.Rides, "ride", "rides"))
	if t.Turns > 0 {
		s += ", " + words.Plural(t.Turns, "turn", "turns")
	}
	if t.Touchdowns > 0 {
		s += ", " + words.Plural(t.Touchdowns, "touchdown", "touchdowns")
	}
	return s + "."
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
		for _, v := range t.sampled(lo, hi, n) {
			if words.Finite(v) {
				s.V = append(s.V, math.Round(v*10)/10)
			} else {
				s.V = append(s.V, nil)
			}
		}
		out.Series = append(out.Series, s)
	}
	if b.r.Ride != nil {
		for _, x := range b.r.Ride.Rides {
			out.Ride = append(out.Ride, int(math.Round((x.Start-lo)/out.Step)), int(math.Round((x.End-lo)/out.Step)))
		}
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
		t.add(math.NaN(), fmt.Sprint(i+1), words.Clock(float64(x.Start)), words.Clock(float64(x.End-x.Start)), b.u.DistanceText(float64(x.Distance)),
			words.Fixed(b.u.SpeedValue(float64(x.MeanSpeed)), 1), words.Fixed(b.u.SpeedValue(float64(x.MaxSpeed)), 1), tack)
		if i == 199 {
			t.Caption = "The first 200 rides"
			break
		}
	}
	return t
}

// shareClasses cut the front share for the colours of the track.
var shareClasses = []float64{0.40, 0.45, 0.55, 0.60}

var shareInks = []chart.Ink{"sh1", "sh2", "sh3", "sh4", "sh5"}

func shareClass(s float64) int {
	c, _ := slices.BinarySearch(shareClasses, s)
	return c
}

// track is the way over the water, in metres from the start.
func (b *builder) track() *figure {
	pos := b.positions()
	if len(pos) < 2 {
		return nil
	}
	f := &figure{ID: "track", Title: "The way over the water"}
	byShare := len(b.r.FootLoad) > 0
	if byShare {
		f.Legend = []legend{{"line", "sh1", "front foot under 40 %"}, {"line", "sh2", "40 to 45 %"}, {"line", "sh3", "even: 45 to 55 %"}, {"line", "sh4", "55 to 60 %"}, {"line", "sh5", "over 60 %"}}
	} else {
		f.Legend = []legend{{"line", "now", "on the foil"}}
	}
	f.Legend = append(f.Legend, legend{"line", "idle", "not on the foil"})
	f.Note = "North is up. The axes are metres from the start; this page holds no coordinates of the place."
	f.Says = b.trackSays()
	span := 0.0
	for _, p := range pos {
		span = math.Max(span, math.Max(math.Abs(p.x), math.Abs(p.y)))
	}
	f.draw(tall(1.25), func(wide bool) []*chart.Panel {
		limit := 2200
		if wide {
			limit = 4500
		}
		ps := thinTrack(pos, span/400, limit)
		p := &chart.Panel{XLabel: "metres east", YLabel: "metres north", Equal: true}
		idle, flown := []chart.XY{}, make([][]chart.XY, len(shareInks))
		prev := -2
		for i, q := range ps {
			cls := -1
			if q.flying {
				cls = 0
				if byShare {
					cls = q.class
				}
			}
			xy := chart.XY{X: q.x, Y: q.y}
			if i > 0 && q.broken {
				prev = -2
			}
			dst := &idle
			if cls >= 0 {
				dst = &flown[cls]
			}
			if cls != prev {
				*dst = append(*dst, chart.XY{X: math.NaN()})
				if prev > -2 && i > 0 {
					*dst = append(*dst, chart.XY{X: ps[i-1].x, Y: ps[i-1].y})
				}
			}
			*dst = append(*dst, xy)
			prev = cls
		}
		p.Layers = append(p.Layers, chart.Line{Points: idle, Ink: "idle", Width: 1})
		for i, l := range flown {
			if len(l) > 0 {
				ink := shareInks[i]
				if !byShare {
					ink = "now"
				}
				p.Layers = append(p.Layers, chart.Line{Points: l, Ink: ink, Width: 2})
			}
		}
		p.Layers = append(p.Layers, chart.Dots{Points: []chart.XY{{X: ps[0].x, Y: ps[0].y}}, Ink: "text", Size: 7}, chart.Note{At: chart.XY{X: ps[0].x, Y: ps[0].y}, DX: 7, DY: 7, Text: "start", Ink: "text"})
		return []*chart.Panel{p}
	})
	return f
}

type place struct {
	x, y           float64 // m east, north of the start
	flying, broken bool    // broken: a gap before this one
	class          int
}

// positions are the fixes in metres from the first, on the sphere that fits
// there; nothing finer is needed for a drawing.
func (b *builder) positions() []place {
	if b.r.Log == nil || len(b.r.Log.GPS.Lat) != len(b.r.Log.GPS.Time) || len(b.r.Log.GPS.Lon) != len(b.r.Log.GPS.Time) {
		return nil
	}
	g := b.r.Log.GPS
	var out []place
	const metresPerDeg = 6371008.8 * math.Pi / 180
	lat0, lon0, last := math.NaN(), math.NaN(), math.NaN()
	var flow [2]float64
	if w := b.r.WaterFlow; w != nil && w.East.Known() && w.North.Known() {
		flow = [2]float64{w.East.Value, w.North.Value}
	}
	today := b.today()
	k, rides := 0, []ride.Ride{}
	if b.r.Ride != nil {
		rides = b.r.Ride.Rides
	}
	gap := 10.0
	if n := len(g.Time); n > 1 {
		gap = math.Max(gap, 5*(g.Time[n-1]-g.Time[0])/float64(n-1))
	}
	for i, t := range g.Time {
		if !words.Finite(g.Lat[i]) || !words.Finite(g.Lon[i]) || (i < len(g.Flags) && g.Flags[i] != 0) {
			continue
		}
		if math.IsNaN(lat0) {
			lat0, lon0 = g.Lat[i], g.Lon[i]
		}
		dlon := math.Remainder(g.Lon[i]-lon0, 360)
		p := place{x: dlon * metresPerDeg * math.Cos(lat0*math.Pi/180), y: (g.Lat[i] - lat0) * metresPerDeg, broken: t-last > gap}
		last = t
		for k < len(rides) && rides[k].End < t {
			k++
		}
		p.flying = k < len(rides) && rides[k].Start <= t
		if p.flying && i < len(g.Speed) {
			v := float64(g.Speed[i])
			if i < len(g.Course) && words.Finite(float64(g.Course[i])) {
				s, c := math.Sincos(float64(g.Course[i]) * math.Pi / 180)
				v = math.Hypot(v*s-flow[0], v*c-flow[1])
			}
			p.class = shareClass(shareClamped(today, v))
		}
		out = append(out, p)
	}
	return out
}
