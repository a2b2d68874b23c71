package pitchlaw

import (
	"math"
	"slices"

	"evenfoot/filter"

	"gonum.org/v1/gonum/floats"
)

// A velocity is one east and north per window, m/s.
type velocity struct{ east, north []float64 }

const (
	// leastSteady is how many windows tell a receiver's noise.
	leastSteady = 30
	// modelTrust is what the speeds' likelihood counts for: long sessions would
	// be sure of the wrong thing, as the model is only roughly right. Tuned on
	// simulated sessions 0 to 299.
	modelTrust = 0.2
	// GPS speed averaged over a window, before the log tells more: 0.08 m/s
	// within a factor of two (a single fix has 0.2 m/s at 95 % by the receivers'
	// user handbook).
	gpsNoise  = 0.08
	gpsFactor = 0.7 // 1σ of its logarithm
	// The receiver's noise: the share that is new in every window, and how long
	// its own filter spreads the rest, s.
	newNoise   = 0.25
	noiseFades = 3.0
)

// steadySpeeds takes the GPS noise out of the windows' velocities as far as
// it can be told from the board's own changes of speed, which its inertia
// makes smooth. Noise in X flattens a regression line (attenuation); the best
// estimate of the velocity leaves an error that does not (Berkson 1950;
// regression calibration, Carroll et al. 2006). The noise's share is estimated
// from the speeds themselves.
//
// The windows must be in order of time. left is the 1σ noise, m/s, that a
// window's speed still has.
func steadySpeeds(w []Window) (v velocity, left float64) {
	n := len(w)
	var s series
	for i := range w {
		s.time, s.reach, s.vary = append(s.time, w[i].Time), append(s.reach, w[i].Reach), append(s.vary, newNoise)
		v.east, v.north = append(v.east, w[i].East), append(v.north, w[i].North)
	}
	mean := velocity{s.reachMeans(v.east), s.reachMeans(v.north)}
	along, east, north := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range w {
		east[i], north[i] = v.east[i]-mean.east[i], v.north[i]-mean.north[i]
		if speed := math.Hypot(mean.east[i], mean.north[i]); speed > 0 {
			along[i] = (east[i]*mean.east[i] + north[i]*mean.north[i]) / speed
		}
	}
	if n < leastSteady {
		return v, 0
	}
	for _, m := range speedModels(&s, along) {
		g := s.filter(m.ridden)
		for _, c := range []struct{ of, off []float64 }{{v.east, east}, {v.north, north}} {
			told := g.told(c.off)
			floats.AddScaled(c.of, -m.weight, told)
			floats.AddScaled(c.of, m.weight, s.reachMeans(told)) // far better known than its windows
		}
		// What could be told of the noise and what not add up to its variance.
		told := g.told(along)
		left += m.weight * max(m.own*m.own-floats.Dot(told, told)/float64(n), 0)
	}
	return v, math.Sqrt(left)
}

// told is the receiver's part of a change of speed, as far as it can be told.
func (g *gains) told(x []float64) []float64 {
	own, third := g.smooth(x)
	floats.AddScaled(third, newNoise, own)
	return third
}

// reachMeans gives every window the mean of its reach.
func (s *series) reachMeans(x []float64) []float64 {
	m := make([]float64, len(x))
	for i := 0; i < len(x); {
		j, sum := i+1, x[i]
		for ; j < len(x) && !s.fresh(j); j++ {
			sum += x[j]
		}
		for mean := sum / float64(j-i); i < j; i++ {
			m[i] = mean
		}
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

func (v ridden) observe() hidden { return hidden{1, 0, 1} }

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

// speedGrid spans the ways in which changes of speed may divide into noise and
// riding: from noise alone to hardly any, from gusts to long lulls.
var speedGrid = func() []ridden {
	var g []ridden
	for _, ratio := range []float64{0.3, 1, 3, 10, 30, 100, 300, 1000, 3000} {
		for _, scale := range []float64{3, 6, 12, 24} {
			g = append(g, ridden{ratio, scale})
		}
	}
	return g
}()

// speedModels weighs the grid. A model counts when its weight is a fiftieth of
// the best one's.
func speedModels(s *series, along []float64) []speedModel {
	n := float64(len(along))
	list := make([]speedModel, len(speedGrid))
	filter.Each(len(speedGrid), func(i int) {
		g := s.filter(speedGrid[i])
		defer spareGains.Put(g)
		sum := g.gram(along, 1)[0]
		own := math.Sqrt(sum / n)
		z := math.Log(own/gpsNoise) / gpsFactor
		list[i] = speedModel{speedGrid[i], -0.5 * (modelTrust*(g.logDet+n*math.Log(sum)) + z*z), own}
	})
	if slices.ContainsFunc(list, func(m speedModel) bool { return m.own == 0 || math.IsNaN(m.weight) }) {
		return nil // speeds that do not change at all, or no numbers
	}
	return normalised(list, 0.02, func(m *speedModel) *float64 { return &m.weight })
}
