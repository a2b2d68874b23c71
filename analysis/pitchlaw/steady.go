package pitchlaw

import (
	"cmp"
	"math"
	"slices"
)

// A velocity is one east and north per window, m/s.
type velocity struct{ east, north []float64 }

// steadySpeeds takes the GPS noise out of the windows' velocities as far as
// it can be told from the board's own changes of speed, which its inertia
// makes smooth. Noise in X flattens a regression line (attenuation); the best
// estimate of the velocity leaves an error that does not (Berkson 1950;
// regression calibration, Carroll et al. 2006). The noise's share is estimated
// from the speeds themselves; as that is not exact, several equally likely
// versions come back, from the least to the most noise taken out.
//
// The windows must be in order of time. left is the 1σ noise, m/s, that a
// window's speed still has.
func steadySpeeds(w []Window) (versions []velocity, left float64) {
	n := len(w)
	s := series{time: make([]float64, n), reach: make([]int, n), vary: make([]float64, n)}
	raw := velocity{make([]float64, n), make([]float64, n)}
	for i := range w {
		s.time[i], s.reach[i], s.vary[i] = w[i].Time, w[i].Reach, newNoise
		raw.east[i], raw.north[i] = w[i].East, w[i].North
	}
	if n < 30 {
		return []velocity{raw}, 0
	}
	mean := velocity{s.reachMeans(raw.east), s.reachMeans(raw.north)}
	along := make([]float64, n)
	for i := range w {
		if v := math.Hypot(mean.east[i], mean.north[i]); v > 0 {
			along[i] = ((raw.east[i]-mean.east[i])*mean.east[i] + (raw.north[i]-mean.north[i])*mean.north[i]) / v
		}
	}
	models := speedModels(&s, along)
	if len(models) == 0 {
		return []velocity{raw}, 0
	}
	for range speedVersions {
		versions = append(versions, velocity{make([]float64, n), make([]float64, n)})
	}
	noise := func(x, mean []float64, g *gains) []float64 {
		change := make([]float64, n)
		for i := range x {
			change[i] = x[i] - mean[i]
		}
		u := g.noise(change)
		// A reach keeps its mean: that is known far better than its windows.
		for i, m := range s.reachMeans(u) {
			u[i] -= m
		}
		return u
	}
	var before float64
	for _, m := range models {
		g := s.filter(m.ridden)
		east, north := noise(raw.east, mean.east, &g), noise(raw.north, mean.north, &g)
		for k := range versions {
			lo, hi := float64(k)/speedVersions, float64(k+1)/speedVersions
			share := (min(before+m.weight, hi) - max(before, lo)) * speedVersions
			if share <= 0 {
				continue
			}
			take := 1 + modelDoubt*float64(k-speedVersions/2)
			for i := range n {
				versions[k].east[i] += share * (raw.east[i] - take*east[i])
				versions[k].north[i] += share * (raw.north[i] - take*north[i])
			}
		}
		before += m.weight
		// What could be told of the noise and what not add up to its variance.
		var told float64
		for _, u := range g.noise(along) {
			told += u * u
		}
		left += m.weight * max(m.own*m.own-told/float64(n), 0)
	}
	return versions, math.Sqrt(left)
}

// noise is the receiver's part of a change of speed, as far as it can be told.
func (g *gains) noise(x []float64) []float64 {
	own, third := g.smooth(x)
	for i := range own {
		own[i] = newNoise*own[i] + third[i]
	}
	return own
}

// speedVersions is into how many equally likely parts the models are gathered.
const speedVersions = 3

// modelDoubt is how far the versions differ beyond that, as a share of the
// noise: neither boards nor receivers are exactly what [ridden] says.
const modelDoubt = 0.4

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

// A ridden speed changes as smoothly as inertia lets gusts through (Matérn
// 3/2). Its variance is relative to that of the receiver's noise, which is
// partly new in every window and partly what the receiver's own filter
// spreads over a few seconds.
type ridden struct {
	Ratio float64
	Scale float64 // s
}

const (
	newNoise   = 0.25 // share of the noise that is new in every window
	noiseFades = 3.0  // s, the rest
)

func (v ridden) observe() state { return state{1, 0, 1} }

func (v ridden) step(dt float64, fresh bool) (f, q transition) {
	l := math.Sqrt(3) / v.Scale
	v0, v1 := v.Ratio, v.Ratio*l*l // stationary variances
	f.e = math.Exp(-dt / noiseFades)
	q.e = (1 - newNoise) * (1 - f.e*f.e)
	if fresh {
		q.a, q.d = v0, v1
		return f, q
	}
	e := math.Exp(-l * dt)
	f.a, f.b, f.c, f.d = e*(1+l*dt), e*dt, -e*l*l*dt, e*(1-l*dt)
	q.a = v0 - f.a*f.a*v0 - f.b*f.b*v1
	q.b = -f.a*f.c*v0 - f.b*f.d*v1
	q.d = v1 - f.c*f.c*v0 - f.d*f.d*v1
	return f, q
}

type speedModel struct {
	ridden
	weight float64
	own    float64 // m/s, 1σ of the noise
}

// GPS speed averaged over a window, before the log tells more: about 0.08 m/s
// within a factor of two (0.2 m/s at 95 % for a single fix, checks.md 12a).
const (
	gpsNoise  = 0.08
	gpsFactor = 0.7 // 1σ of its logarithm
	// modelTrust is what the speeds' likelihood counts for: long sessions would
	// be sure of the wrong thing, as the model is only roughly right.
	modelTrust = 0.2
)

// speedModels weighs the ways in which the changes of speed divide into
// noise, new in every window, and what lasts; from the least noise to the most.
func speedModels(s *series, along []float64) []speedModel {
	var list []speedModel
	var values []float64
	top := math.Inf(-1)
	n := float64(len(along))
	for _, ratio := range []float64{0.3, 1, 3, 10, 30, 100, 300, 1000, 3000} {
		for _, scale := range []float64{3, 6, 12, 24} {
			m := speedModel{ridden: ridden{ratio, scale}}
			g := s.filter(m.ridden)
			var sum float64
			g.whiten(along, 1, func(_ int, e []float64) { sum += e[0] * e[0] })
			if sum == 0 {
				return nil
			}
			m.own = math.Sqrt(sum / n)
			z := math.Log(m.own/gpsNoise) / gpsFactor
			l := -0.5 * (modelTrust*(g.logDet+n*math.Log(sum)) + z*z)
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
	slices.SortStableFunc(kept, func(a, b speedModel) int { return cmp.Compare(a.own, b.own) })
	return kept
}
