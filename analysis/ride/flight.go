package ride

import (
	"math"
	"slices"
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
	const bin = 0.1
	hist := make([]float64, int(fastest/bin)+1)
	var moving []float64
	for _, v := range g.speed {
		if math.IsNaN(v) || v < 1 {
			continue
		}
		hist[int(v/bin)]++
		moving = append(moving, v)
	}
	s := split{slow: 1.2}
	if float64(len(moving))*g.step < 10 {
		return s
	}
	slices.Sort(moving)
	s.fast = moving[len(moving)*95/100]
	if s.fast < 1.25*slowest {
		return s
	}
	dens := kernel(hist, math.Max(0.25, 0.02*s.fast)/bin)
	at := func(v float64) int { return min(max(int(v/bin), 0), len(dens)-1) }
	// Taxiing is the densest speed in the lower third that is a peak, not the
	// foot of the flying speeds; no hull as short taxies much beyond 4 m/s.
	lo, hi := at(1.4), at(math.Min(0.42*s.fast, 4.2))
	taxi := lo
	var peak float64
	for i := lo; i < len(dens)-1; i++ {
		if i <= hi && dens[i] > dens[taxi] && dens[i] >= dens[i-1] && dens[i] >= dens[i+1] {
			taxi = i
		}
		peak = math.Max(peak, dens[i])
	}
	// The first valley above it, for a second one may part slow reaches from
	// fast; but not one between walking and taxiing: no foil flies at less than
	// some 30 % of its top speed (lift coefficients from 0.1 to 1).
	from := max(taxi, at(math.Max(slowest, 0.3*s.fast)))
	top := max(at(0.66*s.fast), from+1)
	valley := from
	for i := from; i <= top; i++ {
		if dens[i] < dens[valley] {
			valley = i
		}
		if dens[i] > math.Max(3*dens[valley], dens[valley]+0.1*peak) {
			break
		}
	}
	// The valley's floor is wide where few pass: take-off is near its upper
	// end, for the board only flies on where it can.
	edge := valley
	for edge < top && dens[edge] < dens[valley]+0.12*(peak-dens[valley]) {
		edge++
	}
	s.takeOff = math.Max(bin*(float64(valley)+0.55*float64(edge-valley)), slowest)
	s.slow = math.Min(math.Max(0.42*s.takeOff, 0.9), 1.6)
	s.ok = s.fast > 1.2*s.takeOff
	return s
}

// kernel smooths a histogram with a Gaussian of sd bins.
func kernel(h []float64, sd float64) []float64 {
	out := make([]float64, len(h))
	w := int(3*sd) + 1
	g := make([]float64, w+1)
	for k := range g {
		g[k] = math.Exp(-0.5 * float64(k*k) / (sd * sd))
	}
	for i := range h {
		for k := -w; k <= w; k++ {
			if j := i + k; j >= 0 && j < len(h) {
				out[i] += h[j] * g[max(k, -k)]
			}
		}
	}
	return out
}

// A tell is how well one feature tells flying from floating in this log.
type tell struct {
	x                    []float64
	muUp, sdUp, muW, sdW float64
	weight               float64 // 0 when it does not tell
}

// learn fits a feature on steps whose speed leaves no doubt.
func learn(x []float64, up, water []int) tell {
	t := tell{x: x}
	var nUp, nW int
	t.muUp, t.sdUp, nUp = moments(x, up)
	t.muW, t.sdW, nW = moments(x, water)
	if nUp < 50 || nW < 50 {
		return t
	}
	sd := math.Sqrt(0.5 * (t.sdUp*t.sdUp + t.sdW*t.sdW))
	if d := math.Abs(t.muUp-t.muW) / sd; d > 1 {
		t.weight = math.Min((d-1)/2, 1)
	}
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
	slices.Sort(v)
	q := func(p float64) float64 { return v[int(p*float64(len(v)-1))] }
	mean = q(0.5)
	sd = math.Max((q(0.84)-q(0.16))/2, 1e-3)
	return mean, sd, len(v)
}

// evidence for flying over floating at step i, in nats, bounded.
func (t *tell) evidence(i int) float64 {
	if t.weight == 0 || math.IsNaN(t.x[i]) {
		return 0
	}
	a, b := (t.x[i]-t.muUp)/t.sdUp, (t.x[i]-t.muW)/t.sdW
	l := 0.5*(b*b-a*a) + math.Log(t.sdW/t.sdUp)
	return t.weight * math.Min(math.Max(l, -4.5), 4.5)
}

// states tells flying from floating, step by step: the most likely sequence
// given speed and, where they tell in this log, the board's shaking, rolling
// and heaving.
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
	tells := learnTells(g, s)
	brake := braking(g, s, tells)
	bySpeed := make([]float64, g.n)
	width := 0.06*s.takeOff + 0.1
	for i, v := range g.speed {
		if !math.IsNaN(v) {
			// Fast enough says that the board can fly, too slow that it cannot.
			bySpeed[i] = math.Min(math.Max((v-s.takeOff)/width, -3), 0.8)
		}
	}
	// One step is a fifth of a second, its evidence is not independent.
	const perStep = 0.3
	change := 4.0 // nats for a change of state
	if g.imu == nil {
		change = 3.3 // a watch has only speed to overcome it
	}
	step := heightSteps(g, s)
	up, down := 0.0, 0.0
	back := make([][2]uint8, g.n)
	for i := range g.n {
		l := bySpeed[i] + brake[i]
		for k := range tells {
			l += tells[k].evidence(i)
		}
		l *= perStep
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
		if v := g.speed[i]; !math.IsNaN(v) && v < 0.6*s.takeOff {
			l -= 2
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

func learnTells(g *grid, s split) []tell {
	if g.imu == nil {
		return nil
	}
	var up, water []int
	for i, v := range g.speed {
		switch {
		case math.IsNaN(v):
		case v > 1.25*s.takeOff:
			up = append(up, i)
		case v > s.slow && v < 0.75*s.takeOff:
			water = append(water, i)
		}
	}
	var out []tell
	h := g.samples(0.2)
	for k, x := range [][]float64{g.imu.shake, g.imu.roll, g.imu.nod} {
		if k > 0 { // rolling is slow: it takes seconds to tell
			h = g.samples(1)
		}
		if t := learn(smooth(x, h), up, water); t.weight > 0 {
			out = append(out, t)
		}
	}
	return out
}

// braking is the evidence of hitting the water: a loss of speed that nothing
// in this log's steady flight explains. Zero or negative, in nats.
func braking(g *grid, s split, tells []tell) []float64 {
	acc := make([]float64, g.n)
	var up []int
	h := g.samples(0.5)
	for i := range acc {
		a, b := i-h, i+h
		if a < 0 || b >= g.n {
			acc[i] = math.NaN()
			continue
		}
		acc[i] = (g.speed[b] - g.speed[a]) / (float64(b-a) * g.step)
		if g.speed[i] > 1.15*s.takeOff && !math.IsNaN(acc[i]) {
			up = append(up, i)
		}
	}
	_, steady, _ := moments(acc, up)
	steady = math.Max(steady, 0.3)
	const hull = 2.0 // m/s², what hitting the water does, give or take as much
	most := 6.0      // nats; the better the board's shaking tells, the less it is needed
	for _, t := range tells {
		most = math.Min(most, 6-3*t.weight)
	}
	out := make([]float64, g.n)
	for i, a := range acc {
		if !(a < 0) {
			continue
		}
		sd := steady
		if turning(g, i, h) { // a turn costs speed on the foil too
			sd *= 1.6
		}
		flying := -0.5 * (a / sd) * (a / sd)
		water := -0.5*(a+hull)*(a+hull)/(hull*hull) + math.Log(sd/hull)
		out[i] = math.Max(math.Min(flying-water, 0), -most)
	}
	return out
}

// turning says whether the course changes by more than 6°/s about step i.
func turning(g *grid, i, h int) bool {
	a, b := max(i-2*h, 0), min(i+2*h, g.n-1)
	cross := g.se[b]*g.sn[a] - g.sn[b]*g.se[a]
	dot := g.se[a]*g.se[b] + g.sn[a]*g.sn[b]
	return math.Abs(math.Atan2(cross, dot)) > 6*deg*float64(b-a)*g.step
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
	const leak = 2.0 // s
	height := make([]float64, g.n)
	var w, z float64
	for i, a := range f.up {
		if math.IsNaN(a) {
			w, z = 0, 0
		} else {
			w += g.step * (a - w/leak)
			z += g.step * (w - z/leak)
		}
		height[i] = z
	}
	h := g.samples(0.6)
	var steady []int
	for i := range out {
		out[i] = height[min(i+h, g.n-1)] - height[max(i-h, 0)]
		if g.speed[i] > 1.15*s.takeOff {
			steady = append(steady, i)
		}
	}
	_, sd, n := moments(out, steady)
	for i, d := range out {
		out[i] = 0
		if k := math.Abs(d) / math.Max(sd, 0.03); n > 50 && k > 2 {
			out[i] = math.Copysign(math.Min(0.5*k*k-2, 3.5), d)
		}
	}
	return out
}
