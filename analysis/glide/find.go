package glide

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/filter/align"
)

// What a glide looks like in a log. Tuned on simulated outings of every rig, with
// and without glides.
const (
	leastSlowing = 0.25 // m/s², below it is a lull
	over         = 1.0  // s to either side, over which the slowing is taken
	straight     = 0.12 // rad/s, 7°/s, of the course
	pumpedHeave  = 1.2  // m/s² RMS of the vertical acceleration about its mean over 2 s
	fading       = 0.8  // s at the start in which the pull fades
	landing      = 0.7  // s before a touchdown
	shortest     = 2.5  // s that are left
	leastLoss    = 0.8  // m/s
	watchSlack   = 2.0  // s, of times that were noted
	pressEarly   = 3.0  // s that a press may come before the glide
	// One that nobody named is asked about from so much of the foil's own drag on,
	// and of this length and loss.
	askedDrag   = 0.6
	askedLength = 3.0  // s
	askedLoss   = 2.5  // m/s
	sampled     = 0.05 // s between the kept samples of the board's motion
)

// A Log is what glides are found in. Motion may be nil.
type Log struct {
	Ride   *ride.Session
	Motion *align.Motion
	Time   []float64 // s, of the velocities below, NaN where not known
	East   []float64
	North  []float64
	Body   Body
}

// Said is what the rider says: spans in which the rig pulled nothing, and presses
// at the start of a glide, s.
type Said struct {
	Spans   [][2]float64
	Presses []float64
}

// A Found glide is not tied to a height yet.
type Found struct {
	Glide
	time              []float64 // s
	pitch, normal, up []float64 // rad times cos heel, m/s², m/s²
}

// Find lists the stretches that are glides by the log or by the rider, in order
// of time.
func Find(l Log, said Said) []Found {
	runs := l.runs()
	taken := make([]bool, len(runs))
	var out []Found
	spans := slices.Clone(said.Spans)
	slices.SortFunc(spans, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	counted := math.Inf(-1) // a stretch of the log counts once
	for _, s := range spans {
		best, most, again := -1, shortest-1, false
		for i, r := range runs {
			end, start := min(r[1], s[1]+watchSlack), max(r[0], s[0]-watchSlack)
			again = again || end-start > shortest-1
			if d := end - max(start, counted); d > most {
				best, most = i, d
			}
		}
		if best < 0 {
			f := l.none(s)
			if again {
				f.Why = Twice
			}
			out = append(out, f)
			continue
		}
		taken[best] = true
		r := runs[best]
		start := max(r[0], s[0]-watchSlack, counted)
		counted = min(r[1], s[1]+watchSlack)
		out = append(out, l.take([2]float64{start, counted}, BySetup))
	}
	for i, r := range runs {
		pressed := slices.ContainsFunc(said.Presses, func(t float64) bool { return t > r[0]-pressEarly && t < r[1] })
		switch {
		case taken[i]:
		case pressed:
			out = append(out, l.take(r, ByMark))
		case l.asks(r):
			f := l.take(r, "")
			f.Why = cmp.Or(f.Why, Unconfirmed)
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b Found) int { return cmp.Compare(a.Start, b.Start) })
	return out
}

// runs are the stretches of straight flight that slow down steadily.
func (l *Log) runs() (out [][2]float64) {
	v := &l.Ride.Speed
	if !(v.Step > 0) {
		return nil
	}
	turning := func(t float64) bool {
		return slices.ContainsFunc(l.Ride.Turns, func(x ride.Turn) bool { return t >= x.Start && t <= x.End })
	}
	for _, r := range l.Ride.Rides {
		from := math.NaN()
		end := func(t float64) {
			if run := [2]float64{from + fading, min(t, r.End-landing)}; run[1]-run[0] >= shortest && l.loss(run) >= leastLoss {
				out = append(out, run)
			}
			from = math.NaN()
		}
		for t := r.Start + over; t < r.End; t += v.Step {
			east, north, slowing, ok := v.Mean(t-over, t+over)
			e, n, _, _ := v.Mean(t, t+over)
			slows := ok && slowing < -leastSlowing && !turning(t) &&
				math.Abs(math.Atan2(east*n-north*e, east*e+north*n)) < straight*over/2
			switch {
			case slows && math.IsNaN(from):
				from = t
			case !slows && !math.IsNaN(from):
				end(t)
			}
		}
		if !math.IsNaN(from) {
			end(r.End)
		}
	}
	return out
}

// loss is the speed that a stretch loses, m/s.
func (l *Log) loss(run [2]float64) float64 {
	speed := func(t float64) float64 {
		e, n, _, _ := l.Ride.Speed.Mean(t-0.3, t+0.3)
		return math.Hypot(e, n)
	}
	return speed(run[0]) - speed(run[1])
}

// asks says whether a stretch that nobody named is worth a question.
func (l *Log) asks(run [2]float64) bool {
	e, n, slowing, ok := l.Ride.Speed.Mean(run[0], run[1])
	profile, induced := l.Body.drags(math.Hypot(e, n))
	return ok && run[1]-run[0] >= askedLength && l.loss(run) >= askedLoss && -slowing*l.Body.Mass >= askedDrag*(profile+induced)
}

// none is what the rider named and the log does not show.
func (l *Log) none(s [2]float64) Found {
	nan := interval.Number(math.NaN())
	f := Found{Glide: Glide{Start: interval.Number(s[0]), End: interval.Number(s[1]), From: nan, To: nan, Course: nan, Weight: 0,
		Rise: interval.Unknown(), Drag: interval.Unknown(), By: BySetup, Why: NotSlowing}}
	if v := &l.Ride.Speed; s[0] < v.Start || s[1] > v.Start+v.Step*float64(len(v.East)) {
		f.Why = Outside
	}
	return f
}

// take is the glide of a stretch, with the board's motion over it.
func (l *Log) take(run [2]float64, by By) Found {
	var fixes []Fix
	for i := sort.SearchFloat64s(l.Time, run[0]); i < len(l.Time) && l.Time[i] <= run[1]; i++ {
		if s := l.East[i] + l.North[i]; s == s {
			fixes = append(fixes, Fix{T: l.Time[i], East: l.East[i], North: l.North[i]})
		}
	}
	if n := len(fixes); n < 2 || fixes[n-1].T-fixes[0].T < shortest-1 {
		f := l.none(run)
		f.By = by
		return f
	}
	f := Found{Glide: FromFixes(fixes, 0, by)}
	if m := l.Motion; m != nil && m.Mount.Rigid {
		f.motion(m, run)
		if heave := f.heave(); heave > pumpedHeave {
			f.Why = Pumped
		}
	}
	return f
}

// motion keeps the board's motion over a stretch, thinned by means.
func (f *Found) motion(m *align.Motion, run [2]float64) {
	i := sort.SearchFloat64s(m.Time, run[0])
	for i < len(m.Time) && m.Time[i] <= run[1] {
		edge := m.Time[i] + sampled
		var t, p, a, u, n float64
		for ; i < len(m.Time) && m.Time[i] < edge; i++ {
			if s := float64(m.Pitch[i] + m.Normal[i] + m.Up[i]); s != s {
				continue
			}
			n++
			t += m.Time[i]
			p += float64(m.Pitch[i]) * math.Cos(float64(m.Heel[i]))
			a += float64(m.Normal[i])
			u += float64(m.Up[i])
		}
		if n > 0 {
			f.time = append(f.time, t/n)
			f.pitch, f.normal, f.up = append(f.pitch, p/n), append(f.normal, a/n), append(f.up, u/n)
		}
	}
}

// heave is the RMS of the vertical acceleration about its mean over two seconds.
func (f *Found) heave() float64 {
	var sum, n float64
	for i, t := range f.time {
		lo, hi := sort.SearchFloat64s(f.time, t-1), sort.SearchFloat64s(f.time, t+1)
		var mean float64
		for _, u := range f.up[lo:hi] {
			mean += u / float64(hi-lo)
		}
		sum, n = sum+(f.up[i]-mean)*(f.up[i]-mean), n+1
	}
	return math.Sqrt(sum / math.Max(n, 1))
}

// 1σ of a glide's rise, m: of what a mast leaves room for, where nothing tells,
// and by the pitch.
const (
	riseUnknown = 0.2
	riseTold    = 0.1
)

// Height ties the rise of a glide to the pitch law; law may be nil. The
// vertical velocity is the integral of the vertical acceleration, which tells
// what is fast, with a start and a drift by which it fits that of the path,
//
//	V (θ cos φ - θ0 - K f_z / q)
//
// which tells what is slow. The law was seen with the rig's lift in it: light is
// the part of the whole weight that it took, and a glide has not.
func (f *Found) Height(law *pitchlaw.Fit, flow [2]float64, density, light float64) Glide {
	g := f.Glide
	g.riseSD = riseUnknown
	if law != nil && law.Enough && len(f.time) > 20 && len(g.fixes) > 1 {
		if f.climb(&g, law.Zero.Value, law.Slope.Value/(1-light), flow, density) {
			g.riseSD = riseTold
		}
	}
	if n := len(g.fixes); n > 0 {
		g.Rise = interval.Normal(g.fixes[n-1].Rise, g.riseSD)
	}
	return g
}

// climb writes the rise of every fix; false where the motion does not cover them.
func (f *Found) climb(g *Glide, zero, slope float64, flow [2]float64, density float64) bool {
	n := len(f.time)
	if f.time[0] > g.fixes[0].T+1 || f.time[n-1] < g.fixes[len(g.fixes)-1].T-1 {
		return false
	}
	speed := func(t float64) float64 {
		i := min(max(sort.Search(len(g.fixes), func(i int) bool { return g.fixes[i].T > t }), 1), len(g.fixes)-1)
		a, b := g.fixes[i-1], g.fixes[i]
		u := math.Min(math.Max((t-a.T)/(b.T-a.T), 0), 1)
		return math.Hypot(a.East+u*(b.East-a.East)-flow[0], a.North+u*(b.North-a.North)-flow[1])
	}
	// The path's vertical velocity less the integral: a straight line in time.
	fast := make([]float64, n)
	var st, sd, stt, std float64
	mid := (f.time[0] + f.time[n-1]) / 2
	for i, t := range f.time {
		if i > 0 {
			fast[i] = fast[i-1] + 0.5*(f.up[i]+f.up[i-1])*(t-f.time[i-1])
		}
		v := speed(t)
		d := v*(f.pitch[i]-zero-slope*f.normal[i]*2/(density*v*v)) - fast[i]
		st, sd, stt, std = st+t-mid, sd+d, stt+(t-mid)*(t-mid), std+(t-mid)*d
	}
	k := float64(n)
	drift := (std - st*sd/k) / (stt - st*st/k)
	start := (sd - drift*st) / k
	height := make([]float64, n)
	for i := 1; i < n; i++ {
		a := fast[i-1] + start + drift*(f.time[i-1]-mid)
		b := fast[i] + start + drift*(f.time[i]-mid)
		height[i] = height[i-1] + 0.5*(a+b)*(f.time[i]-f.time[i-1])
	}
	at := func(t float64) float64 {
		i := min(max(sort.SearchFloat64s(f.time, t), 1), n-1)
		u := (t - f.time[i-1]) / (f.time[i] - f.time[i-1])
		return height[i-1] + u*(height[i]-height[i-1])
	}
	for i := range g.fixes {
		g.fixes[i].Rise = at(g.fixes[i].T) - at(g.fixes[0].T)
	}
	return true
}
