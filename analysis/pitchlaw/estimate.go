package pitchlaw

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/filter"
)

// Errors that last all session. The windows cannot show them.
const (
	// attitudeSD is the pitch's, rad, 1σ, apart from the level zero's:
	// accelerometer bias in a heel, a receiver's latency. Simulated loggers
	// have as much.
	attitudeSD = 0.045 * math.Pi / 180
	// slopeSD is the slope's, 1σ relative: a mount that bends with speed,
	// receiver noise that its model does not catch, unsteady lift.
	slopeSD = 0.04
	// slopeHeel is the same per sine of the usual heel: the rig's pull along
	// the deck's normal, and leeway. Simulated sessions with either set it.
	slopeHeel = 0.4
)

// Estimate fits the law to windows of straight flight. It always returns a
// Fit; where the windows do not suffice, Enough is false and Missing says what
// would help.
//
// The slope's interval holds, beside the scatter of the windows, a systematic
// part of 1σ = 4 % and, in quadrature, 0.4 sin|φ|, φ the usual heel.
func Estimate(w []Window, p Params) *Fit {
	f := &Fit{Windows: slices.Clone(w), Density: p.density(), RMS: math.NaN(), MinSpeed: math.NaN(), MaxSpeed: math.NaN()}
	l := newLaw(f.Windows, p)
	f.withdraw(l, p)
	if f.Missing = missingBefore(f.Windows, l); len(f.Missing) > 0 {
		return f
	}
	at, scale, err := l.robustLine()
	if err != nil {
		f.Missing = []Lack{{Kind: Undetermined}}
		return f
	}
	weights := l.settle(at, scale)
	post, at, err := l.infer(at, noiseGrid, scale)
	if err == nil {
		weights = l.resettle(weights, at, &post)
		post, at, err = l.infer(at, noiseGrid, scale)
	}
	if err != nil {
		f.Missing = []Lack{{Kind: NoAgreement}}
		return f
	}
	f.fill(l, &post, at, weights, p)
	f.Missing = missingAfter(f, l)
	f.Enough = len(f.Missing) == 0
	switch {
	case f.Enough:
		f.Bends = l.bends(at, post.noises(), scale)
	case len(f.Missing) == 1 && l.single != 0:
		// A single tack keeps its own line: the slope and that tack's zero are
		// sound, only the mean of the tacks is not.
	default:
		f.withdraw(l, p)
	}
	return f
}

// withdraw leaves nothing known but the flow before any evidence.
func (f *Fit) withdraw(l *law, p Params) {
	none := interval.Unknown()
	f.Zero, f.Slope, f.FlowTurns = none, none, [2]interval.Interval{none, none}
	f.ZeroByTack, f.Covariance = map[string]interval.Interval{}, [2][2]float64{}
	f.FlowDoubt, f.FlowAxis, f.Systematic = math.NaN(), math.NaN(), math.NaN()
	f.FlowEast = interval.Normal(l.mean[parEast], l.sd[parEast])
	f.FlowNorth = interval.Normal(l.mean[parNorth], l.sd[parNorth])
	f.FlowSource = "assumed zero"
	if p.GivenFlow != nil {
		f.FlowSource = "given"
	}
}

// Where the final weight of a window falls, in σ of its error: 1 up to the
// first, 0 from the second. A flat top keeps the standard errors of least
// squares true.
const (
	trustAll  = 2.5
	trustNone = 4.5
	// looseness widens both for residuals that hold what a whole reach shares:
	// that is no outlier, and trimming it would hide how much reaches differ.
	looseness = 1.6
)

func trust(t float64) float64 {
	return bisquare(max(math.Abs(t)-trustAll, 0) / (trustNone - trustAll))
}

// settle turns the robust line's residuals into weights. [law.resettle] judges
// the windows themselves.
func (l *law) settle(at []float64, scale float64) []float64 {
	w := l.residuals(at)
	for i, r := range w {
		w[i] = l.prior[i] * trust(r/scale/looseness)
	}
	l.believe(w, at, scale)
	return w
}

// believe makes the weights count: a window's variance is that of its own
// error, ownSD², plus what its speed's error makes of the slope, over its
// weight.
func (l *law) believe(w, at []float64, ownSD float64) {
	l.usable.vary = make([]float64, len(w))
	b := l.all(at)
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
	own, _ := l.usable.filter(q.likeliest()).smooth(l.residuals(at))
	var kept []float64
	for i, v := range l.usable.vary {
		if math.IsInf(v, 1) {
			own[i] = 0
			continue
		}
		own[i] *= math.Sqrt(v) // the best guess of the own error, per σ of the window
		kept = append(kept, own[i])
	}
	out := slices.Clone(w)
	if scale := medianAbs(kept) / consistency; scale > 0 {
		for i := range out {
			out[i] *= trust(own[i] / scale)
		}
	}
	l.believe(out, at, q.ownSD())
	return out
}

// constants are the errors that last all session, 1σ: of the level, rad, and
// of the slope, which turns the line about the windows' mean.
type constants struct{ level, slope, mid float64 }

// on is their 1σ in a combination of the parameters.
func (c constants) on(a params) float64 {
	return math.Hypot(c.level*a[parZero], c.slope*(a[parSlope]-c.mid*a[parZero]))
}

// usual is the windows' mean lift area, m²/kg, and their median heel, rad,
// whichever the side.
func (l *law) usual(windows []Window, b *params, weights []float64) (x, heel float64) {
	var sum, total float64
	var heels []float64
	for i, w := range weights {
		xi, _, _ := l.liftArea(i, b)
		sum += w * xi
		total += w
		if h := math.Abs(windows[l.from[i]].Heel); w > 0 && !math.IsNaN(h) {
			heels = append(heels, h)
		}
	}
	if len(heels) > 0 {
		heel = filter.Median(heels)
	}
	return sum / total, min(heel, math.Pi/2)
}

// fill writes the posterior into the fit.
func (f *Fit) fill(l *law, q *posterior, at, weights []float64, p Params) {
	zero, slope := unit(parZero), unit(parSlope)
	b := l.all(at)
	mid, heel := l.usual(f.Windows, &b, weights)
	f.Systematic = math.Hypot(slopeSD, slopeHeel*math.Sin(heel))
	c := constants{level: attitudeSD, slope: f.Systematic * math.Abs(b[parSlope]), mid: mid}
	f.Zero, f.Slope = q.interval(zero, c.on(zero)), q.interval(slope, c.on(slope))
	for _, side := range []int{-1, 1} {
		if l.bothTacks || l.single == side {
			a := zero
			a[parTack] = float64(side)
			f.ZeroByTack[TackName(side)] = q.interval(a, c.on(a))
		}
	}
	f.fillFlow(l, q, p)
	cov := q.covariance(zero, slope)
	cov[0][0] += c.level*c.level + c.mid*c.mid*c.slope*c.slope
	cov[0][1] -= c.mid * c.slope * c.slope
	cov[1][0] = cov[0][1]
	cov[1][1] += c.slope * c.slope
	// The mixture's tails are longer than a normal's.
	k := [2]float64{f.Zero.SD() / math.Sqrt(cov[0][0]), f.Slope.SD() / math.Sqrt(cov[1][1])}
	for i := range cov {
		for j := range cov {
			f.Covariance[i][j] = cov[i][j] * k[i] * k[j]
		}
	}
	f.fillWindows(l, at, weights)
}

// estimatedBelow is how much narrower than the prior the flow's interval must
// be on one axis to count as estimated.
const estimatedBelow = 0.9

func (f *Fit) fillFlow(l *law, q *posterior, p Params) {
	f.FlowEast, f.FlowNorth = q.interval(unit(parEast), 0), q.interval(unit(parNorth), 0)
	// The axis of greatest doubt.
	c := q.covariance(unit(parEast), unit(parNorth))
	mean, diff := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	f.FlowDoubt = math.Sqrt(max(mean+math.Hypot(diff, c[0][1]), 0))
	fromEast := 0.5 * math.Atan2(2*c[0][1], c[0][0]-c[1][1])
	f.FlowAxis = math.Mod(2.5*math.Pi-fromEast, math.Pi)
	if p.GivenFlow != nil {
		return
	}
	f.FlowTurns = [2]interval.Interval{q.interval(unit(parEastRate), 0), q.interval(unit(parNorthRate), 0)}
	if min(f.FlowEast.SD(), f.FlowNorth.SD()) <= estimatedBelow*l.sd[parEast] {
		f.FlowSource = "estimated"
	}
}

// believed is the weight above which a window's speed counts as seen.
const believed = 0.1

func (f *Fit) fillWindows(l *law, at, weights []float64) {
	b := l.all(at)
	r := l.residuals(at)
	var sum, total float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for k, i := range l.from {
		x, _, _ := l.liftArea(k, &b)
		w := &f.Windows[i]
		w.Weight, w.LiftArea = weights[k], x
		w.Speed = math.Sqrt(2 * w.Normal / (l.density * x))
		sum += weights[k] * r[k] * r[k]
		total += weights[k]
		if weights[k] > believed {
			lo, hi = min(lo, w.Speed), max(hi, w.Speed)
		}
	}
	if total > 0 {
		f.RMS = math.Sqrt(sum / total)
	}
	if lo <= hi {
		f.MinSpeed, f.MaxSpeed = lo, hi
	}
}
