package pitchlaw

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"evenfoot/analysis/interval"
)

// Estimate fits the law to windows of straight flight. It always returns a
// Fit; where the windows do not suffice, Enough is false and Missing says what
// would help.
func Estimate(w []Window, p Params) *Fit {
	f := &Fit{
		Zero: interval.Unknown(), Slope: interval.Unknown(),
		FlowEast: interval.Unknown(), FlowNorth: interval.Unknown(),
		FlowTurns:  [2]interval.Interval{interval.Unknown(), interval.Unknown()},
		ZeroByTack: map[string]interval.Interval{},
		Windows:    slices.Clone(w),
		Density:    p.density(),
		RMS:        math.NaN(), MinSpeed: math.NaN(), MaxSpeed: math.NaN(),
	}
	l, prior, velocities := newLaw(f.Windows, p)
	f.priorFlow(l, p)
	f.Missing = missingBefore(f.Windows, l)
	if len(f.Missing) > 0 {
		return f
	}
	beta, scale, r, err := l.robustStart(prior, p.Seed)
	if err != nil {
		f.Missing = append(f.Missing, "a spread of speeds: "+err.Error())
		return f
	}
	weights := l.settle(prior, r, beta, scale)
	post, at, err := l.infer(beta, noiseGrid, scale)
	if err == nil {
		weights = l.resettle(weights, at, &post)
		post, at, err = l.inferOver(velocities, at, noiseGrid, scale)
	}
	if err != nil {
		f.Missing = append(f.Missing, "more straight flight: too few windows agree")
		return f
	}
	f.fill(l, &post, at, weights, p)
	f.Missing = missingAfter(f, l)
	f.Enough = len(f.Missing) == 0
	if f.Enough {
		f.Bend = l.bends(at, post.noises(), scale, p)
	} else {
		f.withdraw(l, p)
	}
	f.note(l, &post, p)
	return f
}

// usable says whether a window can enter the fit at all.
func (w *Window) usable() bool {
	v := math.Hypot(w.East, w.North)
	s := w.PitchCos + w.Normal + w.Time
	return !math.IsNaN(s) && !math.IsInf(s, 0) && w.Normal > 0 && v > 1 && v < 60
}

// newLaw lays out the usable windows in order of time.
func newLaw(w []Window, p Params) (*law, []float64, []velocity) {
	l := &law{density: p.density()}
	for i := range w {
		w[i].Weight = 0
		if w[i].usable() {
			l.windowsIndex = append(l.windowsIndex, i)
		}
	}
	sort.SliceStable(l.windowsIndex, func(a, b int) bool {
		return w[l.windowsIndex[a]].Time < w[l.windowsIndex[b]].Time
	})
	ordered := make([]Window, len(l.windowsIndex))
	for k, i := range l.windowsIndex {
		ordered[k] = w[i]
	}
	velocities, left := steadySpeeds(ordered)
	l.speedSD = left
	l.velocity = velocities[len(velocities)/2]
	var prior, se []float64
	sides := map[int]float64{} // s
	for _, o := range ordered {
		se = append(se, o.PitchSE)
		sides[o.Tack] += o.Duration
	}
	typical := median(slices.DeleteFunc(se, func(v float64) bool { return !(v > 0) }))
	middle := 0.0
	if n := len(ordered); n > 0 {
		middle = (ordered[0].Time + ordered[n-1].Time) / 2
	}
	for _, o := range ordered {
		l.y = append(l.y, o.PitchCos)
		l.normal = append(l.normal, o.Normal)
		l.side = append(l.side, float64(o.Tack))
		l.hour = append(l.hour, (o.Time-middle)/3600)
		l.usable.time = append(l.usable.time, o.Time)
		l.usable.reach = append(l.usable.reach, o.Reach)
		k := priorWeight(o.Reason)
		if o.PitchSE > typical {
			k *= typical * typical / (o.PitchSE * o.PitchSE)
		}
		prior = append(prior, k)
	}
	l.tacksKnown = sides[1]+sides[-1] > 0
	l.bothTacks = min(sides[1], sides[-1]) >= leastTack
	if !l.bothTacks && l.tacksKnown {
		l.single = 1
		if sides[-1] > sides[1] {
			l.single = -1
		}
	}
	l.priors(p)
	l.rangeOfX()
	return l, prior, velocities
}

func (l *law) priors(p Params) {
	for j := range l.sd {
		l.sd[j] = math.Inf(1)
	}
	l.sd[parTack] = tackSD
	l.sd[parDrift] = driftSD
	flow := flowSD
	if p.GivenFlow != nil {
		flow = givenSD
		l.mean[parEast], l.mean[parNorth] = p.GivenFlow[0], p.GivenFlow[1]
	}
	if p.FlowSD > 0 {
		flow = p.FlowSD
	}
	l.sd[parEast], l.sd[parNorth] = flow, flow
	l.sd[parEastRate], l.sd[parNorthRate] = flowRateSD, flowRateSD
	l.free = []int{parZero, parSlope, parEast, parNorth, parDrift}
	if l.tacksKnown {
		l.free = append(l.free, parTack)
	}
	if p.GivenFlow == nil {
		l.free = append(l.free, parEastRate, parNorthRate)
	}
}

// rangeOfX sets the middle and half range of X that curvature is measured on:
// the 5th to 95th percentile at the prior's flow.
func (l *law) rangeOfX() {
	var xs []float64
	for i := range l.y {
		x, _, _ := l.liftArea(i, &l.mean)
		xs = append(xs, x)
	}
	l.mid, l.half = 0, 1
	if len(xs) == 0 {
		return
	}
	slices.Sort(xs)
	lo, hi := xs[len(xs)/20], xs[len(xs)-1-len(xs)/20]
	l.mid, l.half = (lo+hi)/2, max((hi-lo)/2, 1e-9)
}

// trust is the final fit's weight for an error of t standard deviations: 1 to
// 2.5, 0 beyond 4.5. A flat top keeps the standard errors of least squares
// true.
func trust(t float64) float64 {
	t = math.Abs(t)
	if t <= 2.5 {
		return 1
	}
	k := max(0, 1-(t-2.5)*(t-2.5)/4)
	return k * k
}

// settle turns the robust residuals into weights. The limit is loose, 4σ: what
// a whole reach shares is no outlier, and trimming it would hide how much
// reaches differ. [law.resettle] judges the windows themselves.
func (l *law) settle(prior, r, at []float64, scale float64) []float64 {
	w := make([]float64, len(r))
	for i, v := range r {
		w[i] = prior[i] * trust(v/scale*2.5/4)
	}
	l.believe(w, at, scale)
	return w
}

// believe makes the weights count: a window's variance is that of its own
// error, ownSD², plus what its speed's error makes of the slope, over its
// weight.
func (l *law) believe(w, at []float64, ownSD float64) {
	l.usable.vary = make([]float64, len(w))
	b := l.full(at)
	for i, k := range w {
		l.usable.vary[i] = math.Inf(1)
		if k > 1e-3 {
			_, xe, xn := l.liftArea(i, &b)
			bySpeed := b[parSlope] * math.Hypot(xe, xn) * l.speedSD / ownSD
			l.usable.vary[i] = (1 + bySpeed*bySpeed) / k
		}
	}
}

// resettle looks for outliers once more, among the windows' own errors: what
// is left when the errors that neighbours share are taken out.
func (l *law) resettle(w, at []float64, q *posterior) []float64 {
	n := len(w)
	r, jac := make([]float64, n), make([]float64, n*len(l.free))
	l.eval(at, r, jac)
	g := l.usable.filter(q.likeliest())
	own, _ := g.smooth(r)
	var kept []float64
	for i := range own {
		if math.IsInf(l.usable.vary[i], 1) {
			own[i] = 0
			continue
		}
		// The best guess of the own error, per σ of the window.
		own[i] *= math.Sqrt(l.usable.vary[i])
		kept = append(kept, own[i])
	}
	scale := medianAbs(kept) / consistency
	out := make([]float64, n)
	for i := range w {
		out[i] = w[i]
		if scale > 0 {
			out[i] *= trust(own[i] / scale)
		}
	}
	l.believe(out, at, q.ownSD())
	return out
}

// priorFlow is the flow before any evidence.
func (f *Fit) priorFlow(l *law, p Params) {
	f.FlowEast = interval.Normal(l.mean[parEast], l.sd[parEast])
	f.FlowNorth = interval.Normal(l.mean[parNorth], l.sd[parNorth])
	f.FlowSource = "assumed zero"
	if p.GivenFlow != nil {
		f.FlowSource = "given"
	}
}

func unit(j int) *[parCount]float64 {
	var a [parCount]float64
	a[j] = 1
	return &a
}

// attitudeSD is the error of the pitch that lasts all session, rad, 1σ, apart
// from the level zero's: accelerometer bias in a heel, a receiver's latency.
// The windows cannot show it. Simulated loggers have as much.
const attitudeSD = 0.045 * math.Pi / 180

// tiltSD is the same for the slope, 1σ relative: what receiver noise that the
// model of it does not catch, and unsteady lift, make of it in the same way
// all session. By kind of outing, simulated slopes were off by -2 to +3 %.
const tiltSD = 0.012

// constants are the errors that last all session.
type constants struct{ level, tilt, mid float64 }

// on is their 1σ in a combination of the parameters. A wrong slope turns the
// line about the windows' mean.
func (c constants) on(a *[parCount]float64) float64 {
	return math.Hypot(c.level*a[parZero], c.tilt*(a[parSlope]-c.mid*a[parZero]))
}

// meanX is the windows' mean lift area per kilogram, m²/kg.
func (l *law) meanX(b *[parCount]float64, weights []float64) float64 {
	var sum, total float64
	for i, w := range weights {
		x, _, _ := l.liftArea(i, b)
		sum += w * x
		total += w
	}
	return sum / total
}

// fill writes the posterior into the fit.
func (f *Fit) fill(l *law, q *posterior, at, weights []float64, p Params) {
	zero, slope := unit(parZero), unit(parSlope)
	b := l.full(at)
	c := constants{level: attitudeSD, tilt: tiltSD * math.Abs(b[parSlope]), mid: l.meanX(&b, weights)}
	if p.Level && p.LevelSE > 0 {
		c.level = math.Hypot(c.level, p.LevelSE)
	}
	f.Zero, f.Slope = q.interval(zero, c.on(zero)), q.interval(slope, c.on(slope))
	for side, name := range map[float64]string{1: "starboard", -1: "port"} {
		if l.bothTacks || float64(l.single) == side {
			a := *zero
			a[parTack] = side
			f.ZeroByTack[name] = q.interval(&a, c.on(&a))
		}
	}
	f.FlowEast, f.FlowNorth = q.interval(unit(parEast), 0), q.interval(unit(parNorth), 0)
	if p.GivenFlow == nil {
		f.FlowTurns = [2]interval.Interval{q.interval(unit(parEastRate), 0), q.interval(unit(parNorthRate), 0)}
		f.FlowSource = "estimated"
		if min(f.FlowEast.SD(), f.FlowNorth.SD()) > 0.9*l.sd[parEast] {
			f.FlowSource = "assumed zero"
		}
	}
	f.scatter(q, c, p)
	f.fillWindows(l, at, weights)
}

// scatter fills the covariance and the draws.
func (f *Fit) scatter(q *posterior, c constants, p Params) {
	_, cov := q.moments([2]*[parCount]float64{unit(parZero), unit(parSlope)})
	cov[0][0] += c.level*c.level + c.mid*c.mid*c.tilt*c.tilt
	cov[0][1] -= c.mid * c.tilt * c.tilt
	cov[1][0] = cov[0][1]
	cov[1][1] += c.tilt * c.tilt
	// The mixture's tails are longer than a normal's.
	k := [2]float64{f.Zero.SD() / math.Sqrt(cov[0][0]), f.Slope.SD() / math.Sqrt(cov[1][1])}
	for i := range cov {
		for j := range cov {
			f.Covariance[i][j] = cov[i][j] * k[i] * k[j]
		}
	}
	count := p.Draws
	if count == 0 {
		count = 400
	}
	// The constant errors take quantiles of the normal, in a fixed order that
	// has nothing to do with the draws'.
	normal := func(n int, step float64) float64 {
		return math.Sqrt2 * math.Erfinv(2*math.Mod((float64(n)+0.5)*step, 1)-1)
	}
	for n, d := range q.draws(count, p.Seed) {
		tilt := c.tilt * normal(n, math.Sqrt2)
		f.Draws = append(f.Draws, Draw{
			Zero:     d[parZero] + c.level*normal(n, math.Phi) - c.mid*tilt,
			Slope:    d[parSlope] + tilt,
			FlowEast: d[parEast], FlowNorth: d[parNorth],
		})
	}
}

func (f *Fit) fillWindows(l *law, at, weights []float64) {
	b := l.full(at)
	r, jac := make([]float64, len(l.y)), make([]float64, len(l.y)*len(l.free))
	l.eval(at, r, jac)
	var sum, total float64
	var speeds []float64
	for k, i := range l.windowsIndex {
		x, _, _ := l.liftArea(k, &b)
		w := &f.Windows[i]
		w.Weight, w.LiftArea = weights[k], x
		w.Speed = math.Sqrt(2 * w.Normal / (l.density * x))
		sum += weights[k] * r[k] * r[k]
		total += weights[k]
		if weights[k] > 0.1 {
			speeds = append(speeds, w.Speed)
		}
	}
	if total > 0 {
		f.RMS = math.Sqrt(sum / total)
	}
	if len(speeds) > 0 {
		f.MinSpeed, f.MaxSpeed = slices.Min(speeds), slices.Max(speeds)
	}
}

// withdraw takes back what must not be used. A single tack keeps its own line:
// the slope and that tack's zero are sound, only the mean of the tacks is not.
func (f *Fit) withdraw(l *law, p Params) {
	if len(f.Missing) == 1 && l.single != 0 {
		return
	}
	f.Zero, f.Slope = interval.Unknown(), interval.Unknown()
	f.ZeroByTack = map[string]interval.Interval{}
	f.FlowTurns = [2]interval.Interval{interval.Unknown(), interval.Unknown()}
	f.Covariance = [2][2]float64{}
	f.Draws = nil
	f.priorFlow(l, p)
}

// note adds what a reader should know of the fit.
func (f *Fit) note(l *law, q *posterior, p Params) {
	if !p.Level {
		f.Notes = append(f.Notes, "Pitch is relative: its zero depends on how the sensor was mounted; slope and differences do not.")
	}
	if !l.tacksKnown {
		f.Notes = append(f.Notes, "The tacks are not known, so one line stands for both.")
	}
	if f.FlowSource != "given" && f.Slope.Known() {
		f.noteFlow(q)
	}
	lowered := map[string]int{}
	for _, w := range f.Windows {
		if w.Reason != "" {
			lowered[w.Reason]++
		}
	}
	for _, k := range sortedKeys(lowered) {
		f.Notes = append(f.Notes, fmt.Sprintf("%d of %d windows count for less: %s.", lowered[k], len(f.Windows), k))
	}
}

// noteFlow says along which line the flow is not known, and whether it turned.
func (f *Fit) noteFlow(q *posterior) {
	_, c := q.moments([2]*[parCount]float64{unit(parEast), unit(parNorth)})
	mean, diff := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	worst := math.Sqrt(max(mean+math.Hypot(diff, c[0][1]), 0))
	if worst > 0.3 {
		// The axis of greatest doubt, as a line through north.
		axis := 0.5 * math.Atan2(2*c[0][1], c[0][0]-c[1][1]) // from east, anticlockwise
		bearing := math.Mod(450-axis*180/math.Pi, 180)
		f.Notes = append(f.Notes, fmt.Sprintf("The headings are too few to tell the water's flow along the line %03.0f°–%03.0f° (±%.1f m/s); a reach on another heading would.",
			bearing, bearing+180, interval.Z90*worst))
	}
	for k, name := range []string{"east", "north"} {
		t := f.FlowTurns[k]
		if t.Known() && t.Low*t.High > 0 {
			f.Notes = append(f.Notes, fmt.Sprintf("The water's flow to the %s changed by %+.2f m/s per hour (%+.2f to %+.2f).", name, t.Value, t.Low, t.High))
		}
	}
}

func sortedKeys(m map[string]int) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
