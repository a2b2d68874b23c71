package pitchlaw

import (
	"cmp"
	"evenfoot/filter"
	"math"
	"slices"
)

// The parameters of the law, in the order in which they are kept.
const (
	parZero      = iota // rad, mean of the tacks, mid-session
	parTack             // rad, half of starboard minus port
	parSlope            // rad per (m²/kg)
	parEast             // m/s, the water's flow at mid-session
	parNorth            //
	parEastRate         // m/s per hour: the flow turns with the tide
	parNorthRate        //
	parDrift            // rad per hour, of the pitch itself
	parBend             // rad, curvature: what both ends of the range of X lie above the line
	parCount
)

// params are values of all parameters, or the coefficients of a combination.
type params [parCount]float64

func unit(j int) params {
	var a params
	a[j] = 1
	return a
}

// Weak priors at zero, 1σ, of what is not the law itself. Data overrule them;
// without data they stand for the doubt.
const (
	tackSD     = 0.6 * math.Pi / 180 // rad: leeway of a few degrees times a heel of ten, and stance
	flowSD     = 0.5                 // m/s: currents where people ride
	givenSD    = 0.1                 // m/s: how well a stated current is known
	flowRateSD = 0.3                 // m/s per hour: a tide of 0.6 m/s turns in six hours
	driftSD    = 0.3 * math.Pi / 180 // rad per hour: a mount that creeps, a rider who tires
)

// A law is the regression on one session's windows: what is observed, what is
// free and what the priors say.
type law struct {
	density    float64
	y, normal  []float64
	velocity             // over ground
	speedSD    float64   // m/s, 1σ error of each window's speed
	side       []float64 // +1 starboard, -1 port, 0 not known
	hour       []float64 // h from mid-session
	prior      []float64 // weights before the fit
	mid, half  float64   // of X, for the curvature
	free       []int
	mean, sd   params // priors; sd +Inf for none
	tacksKnown bool   // of some windows at least
	bothTacks  bool   // enough time on each
	single     int    // the one tack there is enough of, +1 or -1; 0 when tacks are unknown or both are there
	usable     series
	from       []int // into the caller's windows
}

// usable says whether a window can enter the fit at all.
func (w *Window) usable() bool {
	v := math.Hypot(w.East, w.North)
	s := w.PitchCos + w.Normal + w.Time
	return !math.IsNaN(s) && !math.IsInf(s, 0) && w.Normal > 0 && v > 1 && v < 60
}

// newLaw lays out the usable windows in order of time.
func newLaw(w []Window, p Params) *law {
	l := &law{density: p.density()}
	for i := range w {
		w[i].Weight = 0
		if w[i].usable() {
			l.from = append(l.from, i)
		}
	}
	slices.SortStableFunc(l.from, func(a, b int) int { return cmp.Compare(w[a].Time, w[b].Time) })
	ordered := make([]Window, len(l.from))
	var se []float64
	seconds := map[int]float64{} // on each side
	for k, i := range l.from {
		o := w[i]
		ordered[k] = o
		if o.PitchSE > 0 {
			se = append(se, o.PitchSE)
		}
		seconds[o.Tack] += o.Duration
		l.usable.time, l.usable.reach = append(l.usable.time, o.Time), append(l.usable.reach, o.Reach)
	}
	l.velocity, l.speedSD = steadySpeeds(ordered)
	typical := filter.Median(se)
	middle := 0.0
	if n := len(ordered); n > 0 {
		middle = (ordered[0].Time + ordered[n-1].Time) / 2
	}
	for _, o := range ordered {
		l.y, l.normal = append(l.y, o.PitchCos), append(l.normal, o.Normal)
		l.side, l.hour = append(l.side, float64(o.Tack)), append(l.hour, (o.Time-middle)/3600)
		k := 1.0
		if o.Reason != "" {
			k = reasonWeight
		}
		if o.PitchSE > typical {
			k *= typical * typical / (o.PitchSE * o.PitchSE)
		}
		l.prior = append(l.prior, k)
	}
	l.tacksKnown = seconds[1]+seconds[-1] > 0
	l.bothTacks = min(seconds[1], seconds[-1]) >= leastTack
	if !l.bothTacks && l.tacksKnown {
		l.single = 1
		if seconds[-1] > seconds[1] {
			l.single = -1
		}
	}
	l.setPriors(p)
	l.setRange()
	return l
}

func (l *law) setPriors(p Params) {
	for j := range l.sd {
		l.sd[j] = math.Inf(1)
	}
	l.sd[parTack], l.sd[parDrift] = tackSD, driftSD
	l.sd[parEast], l.sd[parNorth] = flowSD, flowSD
	l.sd[parEastRate], l.sd[parNorthRate] = flowRateSD, flowRateSD
	l.free = []int{parZero, parSlope, parEast, parNorth, parDrift}
	if l.tacksKnown {
		l.free = append(l.free, parTack)
	}
	if p.GivenFlow == nil {
		l.free = append(l.free, parEastRate, parNorthRate)
		return
	}
	l.sd[parEast], l.sd[parNorth] = givenSD, givenSD
	l.mean[parEast], l.mean[parNorth] = p.GivenFlow[0], p.GivenFlow[1]
}

// setRange sets the middle and half range of X that curvature is measured on:
// the 5th to 95th percentile at the prior's flow.
func (l *law) setRange() {
	l.mid, l.half = 0, 1
	xs := make([]float64, len(l.y))
	for i := range xs {
		xs[i], _, _ = l.liftArea(i, &l.mean)
	}
	if len(xs) == 0 {
		return
	}
	slices.Sort(xs)
	lo, hi := xs[len(xs)/20], xs[len(xs)-1-len(xs)/20]
	l.mid, l.half = (lo+hi)/2, max((hi-lo)/2, 1e-9)
}

// liftArea is X, 2f/(ρV²), and its derivatives by the flow.
func (l *law) liftArea(i int, b *params) (x, dEast, dNorth float64) {
	e := l.east[i] - b[parEast] - b[parEastRate]*l.hour[i]
	n := l.north[i] - b[parNorth] - b[parNorthRate]*l.hour[i]
	v2 := max(e*e+n*n, 0.25)
	x = 2 * l.normal[i] / (l.density * v2)
	return x, 2 * x * e / v2, 2 * x * n / v2
}

// all spreads the free parameters over all, the others at their prior mean.
func (l *law) all(beta []float64) params {
	b := l.mean
	for k, j := range l.free {
		b[j] = beta[k]
	}
	return b
}

// eval fills one row a window: the derivatives by the free parameters, and
// observed minus model.
func (l *law) eval(beta, rows []float64) {
	b := l.all(beta)
	p := len(l.free)
	var d params
	for i := range l.y {
		x, xe, xn := l.liftArea(i, &b)
		u := (x - l.mid) / l.half
		d[parZero] = 1
		d[parTack] = l.side[i]
		d[parSlope] = x
		k := b[parSlope] + 2*b[parBend]*u/l.half // dθ/dX
		d[parEast], d[parNorth] = k*xe, k*xn
		d[parEastRate], d[parNorthRate] = k*xe*l.hour[i], k*xn*l.hour[i]
		d[parDrift] = l.hour[i]
		d[parBend] = u * u
		row := rows[i*(p+1) : (i+1)*(p+1)]
		for q, j := range l.free {
			row[q] = d[j]
		}
		row[p] = l.y[i] - b[parZero] - b[parTack]*l.side[i] - b[parSlope]*x - b[parDrift]*l.hour[i] - b[parBend]*u*u
	}
}

// residuals are observed minus model.
func (l *law) residuals(beta []float64) []float64 {
	p := len(l.free)
	rows := make([]float64, len(l.y)*(p+1))
	l.eval(beta, rows)
	r := make([]float64, len(l.y))
	for i := range r {
		r[i] = rows[i*(p+1)+p]
	}
	return r
}

// leastClean is how many windows without a reason the robust start wants,
// before it takes all.
const leastClean = 30

// robustLine fits zero, tack and slope to the clean windows at the flow that is
// likeliest before them: the free parameters, and the scale of the residuals.
func (l *law) robustLine() (beta []float64, scale float64, err error) {
	clean := func(k float64) bool { return k >= 0.5 }
	count := 0
	for _, k := range l.prior {
		if clean(k) {
			count++
		}
	}
	var x, y []float64
	for i, k := range l.prior {
		if count >= leastClean && !clean(k) {
			continue
		}
		xi, _, _ := l.liftArea(i, &l.mean)
		x = append(x, 1, xi)
		if l.bothTacks {
			x = append(x, l.side[i])
		}
		y = append(y, l.y[i])
	}
	g, scale, err := regress(x, y)
	if err != nil {
		return nil, 0, err
	}
	start := l.mean
	start[parZero], start[parSlope] = g.beta[0], g.beta[1]
	if l.bothTacks {
		start[parTack] = g.beta[2]
	}
	for _, j := range l.free {
		beta = append(beta, start[j])
	}
	return beta, max(scale, smallestScale), nil
}

// smallestScale keeps windows that agree to rounding error from leaving none, rad.
const smallestScale = 1e-6
