package report

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/mark"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// ways are the legend of the track: off the foil, then by class of share.
var ways = []legend{{"line", "idle", "not on the foil"}, {"line", "sh1", "front foot under 40 %"}, {"line", "sh2", "40 to 45 %"}, {"line", "sh3", "even: 45 to 55 %"}, {"line", "sh4", "55 to 60 %"}, {"line", "sh5", "over 60 %"}}

// track is the way over the water, in metres from the start.
func (b *builder) track() *figure {
	pos := b.positions()
	if len(pos) < 2 {
		return nil
	}
	f := newFigure("track", b.u, struct {
		Coordinates bool
		Says        string
	}{b.coordinates, b.trackSays()})
	of := ways
	if len(b.r.FootLoad) == 0 {
		of = []legend{ways[0], {"line", "now", "on the foil"}}
	}
	f.Legend = append(slices.Clone(of[1:]), of[0])
	span := 0.0
	for _, p := range pos {
		span = max(span, math.Abs(p.at.X), math.Abs(p.at.Y))
	}
	f.draw(tall(1.25), func(wide bool) []*chart.Panel {
		limit := 2200
		if wide {
			limit = 4500
		}
		ps := thinTrack(pos, span/400, limit)
		lines := make([][]chart.XY, len(of))
		for i := 1; i < len(ps); i++ {
			if ps[i].broken {
				continue
			}
			l := &lines[min(ps[i].class, len(of)-1)]
			if n := len(*l); n == 0 || (*l)[n-1] != ps[i-1].at {
				*l = append(*l, chart.XY{X: math.NaN()}, ps[i-1].at)
			}
			*l = append(*l, ps[i].at)
		}
		p := &chart.Panel{XLabel: "metres east", YLabel: "metres north", Equal: true}
		for i, l := range lines {
			if len(l) > 0 {
				p.Layers = append(p.Layers, chart.Line{Points: l, Ink: of[i].Ink, Width: float64(min(i, 1) + 1)})
			}
		}
		p.Layers = append(p.Layers, chart.Dots{Points: b.marked(func(m mark.Mark) chart.XY {
			k, _ := slices.BinarySearchFunc(pos, float64(m.At), func(p place, t float64) int { return cmp.Compare(p.time, t) })
			return pos[min(k, len(pos)-1)].at
		}), Ink: "text", Size: 7})
		p.Layers = append(p.Layers, chart.Dots{Points: []chart.XY{ps[0].at}, Ink: "text", Size: 7}, chart.Note{At: ps[0].at, DX: 7, DY: 7, Text: "start"})
		return []*chart.Panel{p}
	})
	return f
}

// A place is one fix, as a point of the track.
type place struct {
	at     chart.XY // m east, north of the start
	time   float64  // s
	broken bool     // a gap before this one
	class  int      // index into ways
}

// longSilence makes a gap in the track, s.
const longSilence = 10

// positions are the fixes in metres from the first, on the sphere that fits
// there; nothing finer is needed for a drawing.
func (b *builder) positions() []place {
	if b.r.Log == nil || len(b.r.Log.GPS.Lat) != len(b.r.Log.GPS.Time) || len(b.r.Log.GPS.Lon) != len(b.r.Log.GPS.Time) {
		return nil
	}
	g := b.r.Log.GPS
	const metresPerDeg = 6371008.8 / radian
	var flow [2]float64
	if w := b.r.WaterFlow; w != nil && w.East.Known() && w.North.Known() {
		flow = [2]float64{w.East.Value, w.North.Value}
	}
	rides := b.outing().Rides
	today, gap := b.today(), gapFor(g.Time, longSilence)
	var out []place
	lat0, lon0, last := math.NaN(), math.NaN(), math.NaN()
	for i, t := range g.Time {
		if !words.Finite(g.Lat[i]) || !words.Finite(g.Lon[i]) || (i < len(g.Flags) && g.Flags[i] != 0) {
			continue
		}
		if len(out) == 0 {
			lat0, lon0 = g.Lat[i], g.Lon[i]
		}
		p := place{time: t, broken: t-last > gap}
		p.at = chart.XY{X: math.Remainder(g.Lon[i]-lon0, 360) * metresPerDeg * math.Cos(lat0/radian), Y: (g.Lat[i] - lat0) * metresPerDeg}
		last = t
		for len(rides) > 0 && rides[0].End < t {
			rides = rides[1:]
		}
		if len(rides) > 0 && rides[0].Start <= t {
			v := 0.0
			if i < len(g.Speed) {
				v = float64(g.Speed[i])
			}
			if i < len(g.Course) && words.Finite(float64(g.Course[i])) {
				s, c := math.Sincos(float64(g.Course[i]) / radian)
				v = math.Hypot(v*s-flow[0], v*c-flow[1])
			}
			p.class = 1 + words.Class(shareClamped(today, v))
		}
		out = append(out, p)
	}
	return out
}

// shareClamped is the share at v, or at the nearest end of the curve.
func shareClamped(c []advice.SharePoint, v float64) float64 {
	if len(c) == 0 || !words.Finite(v) {
		return 0.5
	}
	v = math.Max(float64(c[0].Speed), math.Min(float64(c[len(c)-1].Speed), v))
	if s := shareOf(c, v); s.Known() {
		return s.Value
	}
	return 0.5
}

// thinTrack drops fixes that lie closer than step to the last one kept, and
// then more until the limit holds; changes of colour and gaps stay.
func thinTrack(ps []place, step float64, limit int) []place {
	for {
		out := ps[:1:1]
		for i := 1; i < len(ps); i++ {
			q, l := ps[i], out[len(out)-1]
			if math.Hypot(q.at.X-l.at.X, q.at.Y-l.at.Y) >= step || q.broken || i == len(ps)-1 {
				out = append(out, q)
			}
		}
		if len(out) <= limit || step > 1e6 {
			return out
		}
		step = math.Max(step*1.5, 0.5)
	}
}

// tellsNothing is how much of the time the doubt may add before a percentage of
// it says nothing.
const tellsNothing = 0.5

// trackSays is how the time on the foil divides by the front foot's share.
func (b *builder) trackSays() string {
	today := b.today()
	if len(today) == 0 || len(b.r.SpeedHistogram) == 0 {
		return b.u.Tell("ridden", b.r.Totals)
	}
	var total, maybe float64
	var in [5]float64 // by class
	for _, h := range b.r.SpeedHistogram {
		v := (h.Low + h.High) / 2
		total += h.Seconds
		in[words.Class(shareClamped(today, v))] += h.Seconds
		if i := shareOf(today, v); i.Known() && words.Class(i.Low) <= words.Even && words.Class(i.High) >= words.Even {
			maybe += h.Seconds
		}
	}
	if !(total > 0) {
		return b.u.Tell("ridden", b.r.Totals)
	}
	return b.u.Tell("track", struct{ Total, Front, Even, Maybe, Back, Much float64 }{total, in[4] / total, in[words.Even] / total, maybe / total, in[0] / total, tellsNothing})
}
