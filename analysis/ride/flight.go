package ride

import (
	"math"
	"slices"

	"evenfoot/filter"
)

// States of the board, step by step.
const (
	unknown = iota // no speed known
	afloat         // on the water, or ashore
	aloft          // on the foil
)

// No foil carries a rider below this speed, m/s: a wing of 0.3 m² at
// its highest lift coefficient, 1.2, lifts 90 kg at 2.2 m/s; the one absolute bound.
const slowestFlight = 2.2

// Where speeds part. Tuned on simulated ordinary, beginner, kite and rough
// outings, with a logger and with a watch alone.
const (
	speedBin            = 0.1      // m/s, of the histogram of speeds
	movingFrom          = 1.0      // m/s
	leastMoving         = 10.0     // s
	flyingReach         = 1.25     // the fastest speeds to the slowest flight, at least
	kernelShare         = 0.02     // of the fastest speed: the histogram's smoothing, three times over
	kernelLeast         = 0.25     // m/s, and its least
	taxiLow             = 1.4      // m/s, the slowest taxiing
	valleyLow           = 0.3      // of the fastest speed: lift coefficients from 0.1 to 1
	valleyHigh          = 0.66     // of the fastest speed
	floorRise           = 0.12     // of the peak above the floor, where the floor ends
	floorShare          = 0.55     // of the way from valley to the floor's end: take-off
	slowShare           = 0.42     // of the take-off speed
	slowLeast, slowMost = 0.9, 1.6 // m/s
	slowUsual           = 1.2      // m/s, when nothing flies
	flyingSpeeds        = 1.2      // the fastest speeds to take-off, at least
)

// How flight is told step by step, in nats. Tuned on the same.
const (
	leastSteps    = 50   // that shaking is learnt from
	tellBound     = 4.5  // of its evidence
	speedWidth    = 0.06 // of the take-off speed, plus
	speedWidthLow = 0.1  // m/s: how sharply speed tells
	tooSlowBound  = -3.0 // too slow says that the board cannot fly,
	fastBound     = 0.8  // fast enough that it can
	perStep       = 0.3  // of the evidence of a step: a fifth of a second is not independent
	changePrice   = 4.0  // of a change of state
	changeByGPS   = 3.3  // a watch has only speed to overcome it
	neverFlies    = 0.6  // of the take-off speed
	neverPrice    = 2.0  // of flying below it
	surelyFlies   = 1.25 // of the take-off speed
	surelyFloats  = 0.75
	steadyFlight  = 1.15    // of the take-off speed, where steady flight is learnt
	hullDrag      = 2.0     // m/s², what hitting the water does, give or take as much
	brakeBound    = 6.0     // less the better the board's shaking tells, by up to
	brakeLess     = 3.0     // which keeps glides in flight
	steadyLeast   = 0.3     // m/s², the least spread of speed's change in flight
	turnSpread    = 1.6     // times that in a turn, which costs speed on the foil too
	turnRate      = 6 * deg // rad/s, what counts as a turn here
	heightLeak    = 2.0     // s, after which integrated height is forgotten
	heightLeast   = 0.03    // m, the least spread of its change
	heightFrom    = 2.0     // σ, from which a change of height tells
	heightBound   = 3.5     // so that it cannot end a flight by itself
)

// A split is where this log's speeds part into taxiing and flying.
type split struct {
	ok      bool
	takeOff float64 // m/s, between the two
	slow    float64 // m/s, below it the rider swims, walks or waits
	fast    float64 // m/s, 95th percentile of moving speeds
}

// splitSpeeds finds the speed at which this rider spends the least time on the
// way from taxiing to flying: the valley between two populations. Below slowest,
// m/s, there is no flight.
func splitSpeeds(g *grid, slowest float64) split {
	hist := make([]float64, int(fastest/speedBin)+1)
	var moving []float64
	for _, v := range g.speed {
		if math.IsNaN(v) || v < movingFrom {
			continue
		}
		hist[int(v/speedBin)]++
		moving = append(moving, v)
	}
	s := split{slow: slowUsual}
	if float64(len(moving))*g.Step < leastMoving {
		return s
	}
	slices.Sort(moving)
	s.fast = moving[len(moving)*95/100]
	if s.fast < flyingReach*slowest {
		return s
	}
	h := int(math.Max(kernelLeast, kernelShare*s.fast) / speedBin)
	dens := filter.MovingMean(filter.MovingMean(filter.MovingMean(hist, h), h), h)
	at := func(v float64) int { return min(max(int(v/speedBin), 0), len(dens)-1) }
	// Not a valley between walking and taxiing: no foil flies at less than some
	// 30 % of its top speed (lift coefficients from 0.1 to 1).
	valley := at(math.Max(slowest, valleyLow*s.fast))
	top := max(at(valleyHigh*s.fast), valley+1)
	for i := valley; i <= top; i++ {
		if dens[i] < dens[valley] {
			valley = i
		}
	}
	peak := slices.Max(dens[at(taxiLow):])
	// The valley's floor is wide where few pass: take-off is near its upper
	// end, for the board only flies on where it can.
	edge := valley
	for edge < top && dens[edge] < dens[valley]+floorRise*(peak-dens[valley]) {
		edge++
	}
	s.takeOff = math.Max(speedBin*(float64(valley)+floorShare*float64(edge-valley)), slowest)
	s.slow = math.Min(math.Max(slowShare*s.takeOff, slowLeast), slowMost)
	s.ok = s.fast > flyingSpeeds*s.takeOff
	return s
}

// A tell is how well the board's shaking tells flying from floating in this log.
type tell struct {
	x                    []float64
	muUp, sdUp, muW, sdW float64
	logSD                float64 // of sdW / sdUp
	weight               float64 // 0 when it does not tell
}

// learnTell learns from steps whose speed leaves no doubt.
func learnTell(g *grid, s split) (t tell) {
	if g.imu == nil {
		return t
	}
	var up, water []int
	for i, v := range g.speed {
		switch {
		case v > surelyFlies*s.takeOff:
			up = append(up, i)
		case v > s.slow && v < surelyFloats*s.takeOff:
			water = append(water, i)
		}
	}
	t.x = filter.MovingMean(g.imu.shake, g.samples(0.2))
	var nUp, nW int
	t.muUp, t.sdUp, nUp = moments(t.x, up)
	t.muW, t.sdW, nW = moments(t.x, water)
	if nUp < leastSteps || nW < leastSteps {
		return t
	}
	t.logSD = math.Log(t.sdW / t.sdUp)
	sd := math.Sqrt(0.5 * (t.sdUp*t.sdUp + t.sdW*t.sdW))
	t.weight = math.Min(math.Max((math.Abs(t.muUp-t.muW)/sd-1)/2, 0), 1)
	return t
}

// moments are the mean and spread of what is known, outliers trimmed.
func moments(x []float64, at []int) (mean, sd float64, n int) {
	v := make([]float64, 0, len(at))
	for _, i := range at {
		if !math.IsNaN(x[i]) {
			v = append(v, x[i])
		}
	}
	if len(v) < 8 {
		return 0, 1, len(v)
	}
	q := func(p float64) float64 { return filter.Nth(v, int(p*float64(len(v)-1))) }
	return q(0.5), math.Max((q(0.84)-q(0.16))/2, 1e-3), len(v)
}

// evidence for flying over floating at step i, in nats, bounded.
func (t *tell) evidence(i int) float64 {
	if t.weight == 0 || math.IsNaN(t.x[i]) {
		return 0
	}
	a, b := (t.x[i]-t.muUp)/t.sdUp, (t.x[i]-t.muW)/t.sdW
	l := 0.5*(b*b-a*a) + t.logSD
	return t.weight * math.Min(math.Max(l, -tellBound), tellBound)
}

// states tells flying from floating, step by step: the most likely sequence
// given speed and, where they tell in this log, the board's shaking and
// heaving.
func states(g *grid, s split) []uint8 {
	out := make([]uint8, g.n)
	for i := range out {
		if !math.IsNaN(g.speed[i]) {
			out[i] = afloat
		}
	}
	if !s.ok {
		return out
	}
	tell := learnTell(g, s)
	brake := braking(g, s, brakeBound-brakeLess*tell.weight)
	bySpeed := make([]float64, g.n)
	width := speedWidth*s.takeOff + speedWidthLow
	for i, v := range g.speed {
		if !math.IsNaN(v) {
			bySpeed[i] = math.Min(math.Max((v-s.takeOff)/width, tooSlowBound), fastBound)
		}
	}
	change := changePrice
	if g.imu == nil {
		change = changeByGPS
	}
	step := heightSteps(g, s)
	up, down := 0.0, 0.0
	back := make([][2]uint8, g.n)
	for i := range g.n {
		l := perStep * (bySpeed[i] + brake[i] + tell.evidence(i))
		if math.IsNaN(g.speed[i]) {
			l = 0
		}
		u0, d0 := up, down
		back[i] = [2]uint8{aloft, afloat}
		rise, drop := change-math.Max(step[i], 0), change-math.Max(-step[i], 0)
		if d0-rise > u0 {
			up, back[i][0] = d0-rise, afloat
		}
		if u0-drop > d0 {
			down, back[i][1] = u0-drop, aloft
		}
		// Too slow to fly, whatever else is said.
		if v := g.speed[i]; !math.IsNaN(v) && v < neverFlies*s.takeOff {
			l -= neverPrice
		}
		up, down = up+l/2, down-l/2
	}
	state := uint8(afloat)
	if up > down {
		state = aloft
	}
	for i := g.n - 1; i >= 0; i-- {
		if !math.IsNaN(g.speed[i]) {
			out[i] = state
		}
		if state == aloft {
			state = back[i][0]
		} else {
			state = back[i][1]
		}
	}
	return out
}

// braking is the evidence of hitting the water: a loss of speed that nothing
// in this log's steady flight explains. Zero or negative, in nats, at most most.
func braking(g *grid, s split, most float64) []float64 {
	acc := make([]float64, g.n)
	var up []int
	h := g.samples(0.5)
	for i := range acc {
		a, b := i-h, i+h
		if a < 0 || b >= g.n {
			acc[i] = math.NaN()
			continue
		}
		acc[i] = (g.speed[b] - g.speed[a]) / (float64(b-a) * g.Step)
		if g.speed[i] > steadyFlight*s.takeOff && !math.IsNaN(acc[i]) {
			up = append(up, i)
		}
	}
	_, steady, _ := moments(acc, up)
	steady = math.Max(steady, steadyLeast)
	const hull = hullDrag
	out := make([]float64, g.n)
	for i, a := range acc {
		if !(a < 0) {
			continue
		}
		sd := steady
		if turning(g, i, h) {
			sd *= turnSpread
		}
		flying := -0.5 * (a / sd) * (a / sd)
		water := -0.5*(a+hull)*(a+hull)/(hull*hull) + math.Log(sd/hull)
		out[i] = math.Max(math.Min(flying-water, 0), -most)
	}
	return out
}

// turning says whether the course turns about step i.
func turning(g *grid, i, h int) bool {
	a, b := max(i-2*h, 0), min(i+2*h, g.n-1)
	cross := g.se[b]*g.sn[a] - g.sn[b]*g.se[a]
	dot := g.se[a]*g.se[b] + g.sn[a]*g.sn[b]
	return math.Abs(math.Atan2(cross, dot)) > turnRate*float64(b-a)*g.Step
}

// heightSteps is the evidence of coming up on the foil (positive) or down from
// it (negative): the change of the board's height over a second, against what
// waves and wobbling do in this log's steady flight. Zero without IMU; in
// nats, bounded so that it cannot end a flight by itself.
func heightSteps(g *grid, s split) []float64 {
	out := make([]float64, g.n)
	f := g.imu
	if f == nil {
		return out
	}
	// Vertical acceleration integrated twice; the leak forgets its errors.
	height := make([]float64, g.n)
	var w, z float64
	for i, a := range f.up {
		if math.IsNaN(a) {
			w, z = 0, 0
		} else {
			w += g.Step * (a - w/heightLeak)
			z += g.Step * (w - z/heightLeak)
		}
		height[i] = z
	}
	h := g.samples(0.6)
	var steady []int
	for i := range out {
		out[i] = height[min(i+h, g.n-1)] - height[max(i-h, 0)]
		if g.speed[i] > steadyFlight*s.takeOff {
			steady = append(steady, i)
		}
	}
	_, sd, _ := moments(out, steady)
	for i, d := range out {
		out[i] = 0
		if k := math.Abs(d) / math.Max(sd, heightLeast); k > heightFrom {
			out[i] = math.Copysign(math.Min(0.5*(k*k-heightFrom*heightFrom), heightBound), d)
		}
	}
	return out
}
