package align

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
)

const (
	movingSpeed = 2.0 // m/s, the least speed at which a course is worth having
	maxFixGap   = 3.0 // s, the longest wait between two fixes that may be differenced
	// stretchS is how long a carried heading is trusted, s: a MEMS gyroscope's
	// offset of 0.1 °/s turns it by 12°.
	stretchS = 120.0
)

// fixes are the GPS velocities that can be used, and what they say of motion.
type fixes struct {
	t, east, north []float64 // s, m/s
	between        int       // fixes between the two ends of a change: about one second
	moving         float64   // s, time spent above movingSpeed
	stretches      []gpsStretch
}

// A gpsStretch is what the fixes of stretchS say.
type gpsStretch struct {
	mid     float64 // s
	changes []change
}

// A change is what the fixes say of about a second of riding.
type change struct {
	from, to    float64 // s
	east, north float64 // m/s, change of velocity
	turn        float64 // rad, change of course, counter-clockwise
}

func newFixes(aid attitude.Aid) *fixes {
	g := &fixes{}
	last := math.Inf(-1)
	for i, t := range aid.Time[:min(len(aid.Time), len(aid.East), len(aid.North))] {
		if v := aid.East[i] + aid.North[i]; v-v != 0 || !(t > last) || math.IsInf(t, 0) {
			continue
		}
		g.t, g.east, g.north = append(g.t, t), append(g.east, aid.East[i]), append(g.north, aid.North[i])
		last = t
	}
	if len(g.t) < 2 {
		return g
	}
	for i, t := range g.t[1:] {
		if d := t - g.t[i]; d < maxFixGap && g.fast(i) {
			g.moving += d
		}
	}
	g.between = max(1, int(math.Round(1/max(filter.MedianStep(g.t), 1e-3))))
	for from := 0; from < len(g.t); {
		to := from + 1
		for to < len(g.t) && g.t[to] < g.t[from]+stretchS {
			to++
		}
		s := gpsStretch{mid: (g.t[from] + g.t[to-1]) / 2}
		for i := from; i+g.between < to; i++ {
			if k := i + g.between; g.t[k]-g.t[i] <= maxFixGap && g.fast(i) && g.fast(k) {
				s.changes = append(s.changes, change{g.t[i], g.t[k], g.east[k] - g.east[i], g.north[k] - g.north[i], g.turn(i, k)})
			}
		}
		if len(s.changes) > 0 {
			g.stretches = append(g.stretches, s)
		}
		from = to
	}
	return g
}

// fast says that fix i moves.
func (g *fixes) fast(i int) bool { return sq(g.east[i])+sq(g.north[i]) > movingSpeed*movingSpeed }

// cruise is the median speed of the fixes that move, m/s.
func (g *fixes) cruise() float64 {
	v := []float64{movingSpeed}
	for i := range g.t {
		if g.fast(i) {
			v = append(v, math.Hypot(g.east[i], g.north[i]))
		}
	}
	return filter.Median(v)
}

// turn is the change of course between two fixes, rad, counter-clockwise.
func (g *fixes) turn(i, k int) float64 {
	return math.Atan2(g.east[i]*g.north[k]-g.north[i]*g.east[k], g.east[i]*g.east[k]+g.north[i]*g.north[k])
}

// rates are the course rate, rad/s counter-clockwise, and the size of the
// acceleration, m/s², over each second of riding, with its middle, s.
func (g *fixes) rates() (t, course, accel []float64) {
	for _, s := range g.stretches {
		for _, c := range s.changes {
			dt := c.to - c.from
			t = append(t, (c.from+c.to)/2)
			course, accel = append(course, c.turn/dt), append(accel, math.Hypot(c.east, c.north)/dt)
		}
	}
	return t, course, accel
}

// at interpolates the velocity at time t; ok is false away from the fixes.
// hint is where the last search ended.
func (g *fixes) at(t float64, hint *int) (east, north float64, ok bool) {
	i := *hint
	for i > 0 && g.t[i] > t {
		i--
	}
	for i+1 < len(g.t) && g.t[i+1] < t {
		i++
	}
	*hint = i
	if i+1 >= len(g.t) || g.t[i] > t || g.t[i+1]-g.t[i] > maxFixGap {
		return 0, 0, false
	}
	u := (t - g.t[i]) / (g.t[i+1] - g.t[i])
	return g.east[i] + u*(g.east[i+1]-g.east[i]), g.north[i] + u*(g.north[i+1]-g.north[i]), true
}
