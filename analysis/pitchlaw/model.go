package pitchlaw

import (
	"math"
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

// Weak priors at zero, 1σ, of what is not the law itself. Data overrule them;
// without data they stand for the doubt.
const (
	tackSD     = 0.6 * math.Pi / 180 // rad: leeway of a few degrees times a heel of ten, and stance
	flowSD     = 0.5                 // m/s (trim model §1)
	givenSD    = 0.1                 // m/s: how well a stated current is known
	flowRateSD = 0.3                 // m/s per hour: a tide of 0.6 m/s turns in six hours
	driftSD    = 0.3 * math.Pi / 180 // rad per hour: a mount that creeps, a rider who tires
)

// A law is the regression on one session's windows: what is observed, what is
// free and what the priors say.
type law struct {
	density      float64
	y, normal    []float64
	velocity               // over ground
	speedSD      float64   // m/s, 1σ error of each window's speed
	side         []float64 // +1 starboard, -1 port, 0 not known
	hour         []float64 // h from mid-session
	mid, half    float64   // of X, for the curvature
	free         []int
	mean, sd     [parCount]float64 // priors; sd +Inf for none
	tacksKnown   bool              // of some windows at least
	bothTacks    bool              // enough time on each
	single       int               // the one tack there is enough of, +1 or -1; 0 when tacks are unknown or both are there
	usable       series
	windowsIndex []int // into the caller's windows
}

// liftArea is X per kilogram, 2f/(ρV²), and its derivatives by the flow.
func (l *law) liftArea(i int, b *[parCount]float64) (x, dEast, dNorth float64) {
	e := l.east[i] - b[parEast] - b[parEastRate]*l.hour[i]
	n := l.north[i] - b[parNorth] - b[parNorthRate]*l.hour[i]
	v2 := max(e*e+n*n, 0.25)
	x = 2 * l.normal[i] / (l.density * v2)
	return x, 2 * x * e / v2, 2 * x * n / v2
}

// full spreads the free parameters over all, the others at their prior mean.
func (l *law) full(beta []float64) [parCount]float64 {
	b := l.mean
	for k, j := range l.free {
		b[j] = beta[k]
	}
	return b
}

// eval fills residuals and derivatives, one row a window.
func (l *law) eval(beta, r, jac []float64) {
	b := l.full(beta)
	p := len(l.free)
	var d [parCount]float64
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
		r[i] = l.y[i] - b[parZero] - b[parTack]*l.side[i] - b[parSlope]*x - b[parDrift]*l.hour[i] - b[parBend]*u*u
		for q, j := range l.free {
			jac[i*p+q] = d[j]
		}
	}
}

// priorRows are the priors as observations for errors of 1σ = scale: rows
// [A|b] for a step from beta.
func (l *law) priorRows(beta []float64, scale float64) ([]float64, int) {
	p := len(l.free)
	var rows []float64
	m := 0
	for k, j := range l.free {
		if math.IsInf(l.sd[j], 1) {
			continue
		}
		row := make([]float64, p+1)
		row[k] = scale / l.sd[j]
		row[p] = scale / l.sd[j] * (l.mean[j] - beta[k])
		rows = append(rows, row...)
		m++
	}
	return rows, m
}

// robustStart is the MM step: it returns the free parameters, the scale and
// every window's residual.
func (l *law) robustStart(prior []float64, seed uint64) (beta []float64, scale float64, r []float64, err error) {
	b := l.mean
	for round := range 2 {
		beta, scale, err = l.linearMM(&b, prior, seed)
		if err != nil {
			return nil, 0, nil, err
		}
		beta, r, err = l.robustStep(beta, prior, scale)
		if err != nil {
			return nil, 0, nil, err
		}
		if round == 0 {
			b = l.full(beta) // the scale is found again at this flow
		}
	}
	return beta, scale, r, nil
}

// linearMM fits zero, tack and slope at a fixed flow.
func (l *law) linearMM(b *[parCount]float64, prior []float64, seed uint64) ([]float64, float64, error) {
	least := 0.5
	for {
		var x, y []float64
		p := 2
		if l.bothTacks {
			p = 3
		}
		for i := range l.y {
			if prior[i] < least {
				continue
			}
			xi, _, _ := l.liftArea(i, b)
			x = append(x, 1, xi)
			if l.bothTacks {
				x = append(x, l.side[i])
			}
			y = append(y, l.y[i]-b[parDrift]*l.hour[i])
		}
		if least > 0 && len(y) < 30 {
			least = 0 // too few clean windows: start from all
			continue
		}
		g, err := Regress(x, y, MM, seed)
		if err != nil {
			return nil, 0, err
		}
		start := *b
		start[parZero], start[parSlope] = g.Coef[0], g.Coef[1]
		if p == 3 {
			start[parTack] = g.Coef[2]
		}
		beta := make([]float64, len(l.free))
		for k, j := range l.free {
			beta[k] = start[j]
		}
		// Windows that agree to rounding error would leave no scale at all.
		return beta, max(g.Scale, 1e-6), nil
	}
}

// robustStep frees the rest and iterates Tukey's bisquare at the given scale.
// Errors shared within a reach make the windows count for fewer than they
// are; until that is known, ten for one.
func (l *law) robustStep(beta, prior []float64, scale float64) ([]float64, []float64, error) {
	const shared = 10
	n, p := len(l.y), len(l.free)
	_, m := l.priorRows(beta, 1)
	q := problem{n: n + m, p: p}
	q.eval = func(beta, r, jac []float64) {
		l.eval(beta, r[:n], jac[:n*p])
		rows, _ := l.priorRows(beta, scale*math.Sqrt(shared))
		for k := range m {
			copy(jac[(n+k)*p:], rows[k*(p+1):k*(p+1)+p])
			r[n+k] = rows[k*(p+1)+p]
		}
	}
	q.weigh = func(r, w []float64) {
		for i := range n {
			w[i] = prior[i] * bisquare(r[i]/scale)
		}
	}
	s, err := q.minimise(beta, 60)
	if err != nil {
		return nil, nil, err
	}
	return s.beta, s.r[:n], nil
}
