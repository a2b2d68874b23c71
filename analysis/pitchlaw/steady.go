package pitchlaw

import "math"

// steadySpeeds takes the GPS noise out of the windows' velocities as far as
// it can be told from the board's own changes of speed, which its inertia
// makes smooth. Noise in X flattens a regression line (attenuation); the best
// estimate of the velocity leaves an error that does not (Berkson 1950;
// regression calibration, Carroll et al. 2006). The noise's share is estimated
// from the speeds themselves.
//
// It returns one east and north per window, which must be in order of time,
// and the 1σ noise that a window's speed had.
func steadySpeeds(w []Window) (east, north []float64, sd float64) {
	n := len(w)
	s := series{time: make([]float64, n), reach: make([]int, n), vary: make([]float64, n)}
	east, north = make([]float64, n), make([]float64, n)
	for i := range w {
		s.time[i], s.reach[i], s.vary[i] = w[i].Time, w[i].Reach, 1
		east[i], north[i] = w[i].East, w[i].North
	}
	if n < 30 {
		return east, north, 0
	}
	meanEast, meanNorth := s.reachMeans(east), s.reachMeans(north)
	along := make([]float64, n)
	for i := range w {
		if v := math.Hypot(meanEast[i], meanNorth[i]); v > 0 {
			along[i] = ((east[i]-meanEast[i])*meanEast[i] + (north[i]-meanNorth[i])*meanNorth[i]) / v
		}
	}
	models := speedModels(&s, along)
	for _, m := range models {
		sd += m.weight * m.own
	}
	for k, x := range [][]float64{east, north} {
		mean := [][]float64{meanEast, meanNorth}[k]
		change, noise := make([]float64, n), make([]float64, n)
		for i := range x {
			change[i] = x[i] - mean[i]
		}
		for _, m := range models {
			g := s.filter(m.smooth)
			for i, u := range g.precision(change) {
				noise[i] += m.weight * u
			}
		}
		// A reach keeps its mean: that is known far better than its windows.
		kept := s.reachMeans(noise)
		for i := range x {
			x[i] -= noise[i] - kept[i]
		}
	}
	return east, north, sd
}

// reachMeans gives every window the mean of its reach.
func (s *series) reachMeans(x []float64) []float64 {
	m := make([]float64, len(x))
	start := 0
	var sum float64
	for i := range x {
		sum += x[i]
		if i+1 < len(x) && !s.fresh(i+1) {
			continue
		}
		for j := start; j <= i; j++ {
			m[j] = sum / float64(i+1-start)
		}
		start, sum = i+1, 0
	}
	return m
}

// smooth is a process with a rate of its own: what inertia leaves of gusts
// (Matérn 3/2). The variance is relative to the windows' noise.
type smooth struct {
	Ratio float64
	Scale float64 // s
}

func (v smooth) observe() two { return two{1, 0} }

func (v smooth) step(dt float64, fresh bool) (f, q [2]two) {
	l := math.Sqrt(3) / v.Scale
	if fresh {
		q[0][0], q[1][1] = v.Ratio, v.Ratio*l*l
		return f, q
	}
	e := math.Exp(-l * dt)
	f = [2]two{{e * (1 + l*dt), e * dt}, {-e * l * l * dt, e * (1 - l*dt)}}
	p := two{v.Ratio, v.Ratio * l * l}
	for a := range 2 {
		for b := range 2 {
			q[a][b] = -f[a][0]*p[0]*f[b][0] - f[a][1]*p[1]*f[b][1]
		}
		q[a][a] += p[a]
	}
	return f, q
}

type speedModel struct {
	smooth
	weight float64
	own    float64 // m/s, 1σ of the noise
}

// GPS speed averaged over a window, before the log tells more: about 0.08 m/s
// within a factor of two (0.2 m/s at 95 % for a single fix, checks.md 12a).
const (
	gpsNoise  = 0.08
	gpsFactor = 0.7 // 1σ of its logarithm
)

// speedModels weighs the ways in which the changes of speed divide into
// noise, new in every window, and what lasts.
func speedModels(s *series, along []float64) []speedModel {
	var list []speedModel
	var values []float64
	top := math.Inf(-1)
	n := float64(len(along))
	for _, ratio := range []float64{0.3, 1, 3, 8, 20, 50, 120, 300, 800, 3000} {
		for _, scale := range []float64{3, 6, 12, 24} {
			m := speedModel{smooth: smooth{ratio, scale}}
			g := s.filter(m.smooth)
			var sum float64
			g.whiten(along, 1, func(_ int, e []float64) { sum += e[0] * e[0] })
			if sum == 0 {
				return nil
			}
			m.own = math.Sqrt(sum / n)
			z := math.Log(m.own/gpsNoise) / gpsFactor
			l := -0.5 * (g.logDet + n*math.Log(sum) + z*z)
			list, values = append(list, m), append(values, l)
			top = max(top, l)
		}
	}
	var total float64
	kept := list[:0]
	for i, m := range list {
		if m.weight = math.Exp(values[i] - top); m.weight > 0.02 {
			total += m.weight
			kept = append(kept, m)
		}
	}
	for i := range kept {
		kept[i].weight /= total
	}
	return kept
}
