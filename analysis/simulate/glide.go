package simulate

import (
	"math"

	"evenfoot/analysis/trim"
)

// A Coast is how an outing's glides go: the rig pulls nothing, and what slows the
// board is the foil's drag, the rider and the luffed rig in the air, and what it
// climbs. The zero value has none; [Coasts] are usual ones.
type Coast struct {
	Count   int     // glides in the outing, one a reach
	Wind    float64 // m/s
	AirArea float64 // m², drag area in the air
	Posture float64 // ln, 1σ of it from glide to glide
	Rise    float64 // m, 1σ of the height that a glide wins or loses
	Scatter float64 // ln, 1σ of the drag in the water from glide to glide
	Pulled  float64 // chance that the rig still pulls, by 15 to 45 N
	Silent  bool    // the rider notes none of them
	// Drag is the drag in the water, N, at a speed, m/s, in place of the foil's.
	Drag func(speed float64) float64
}

// Coasts are n glides of an attentive rider in a fresh breeze.
func Coasts(n int) Coast {
	return Coast{Count: n, Wind: 7.5, AirArea: 0.95, Posture: 0.18, Rise: 0.15, Scatter: 0.03}
}

// A Glide is one of them.
type Glide struct {
	Span
	Pull float64 // N, left in the rig

	air, water float64 // factors of the drags
}

const (
	airDensity = 1.225 // kg/m³, standard atmosphere at sea level (ISO 2533)
	pullFades  = 0.6   // s
	regain     = 0.7   // m/s², after a glide
)

// pulls is the acceleration along the path in a glide, m/s², at a speed through
// the water on a course, with the path climbing at climb m/s, since s after its start.
func (g *Glide) pulls(sc *Scenario, f *trim.Foil, speed, course, climb, since float64) float64 {
	in := &f.In
	sin, cos := math.Sincos(course)
	fe, fn := sc.flowAt(g.Start)
	ws, wc := math.Sincos(sc.WindFrom)
	we, wn := speed*sin+fe+sc.Coast.Wind*ws, speed*cos+fn+sc.Coast.Wind*wc
	drag := g.water
	if sc.Coast.Drag != nil {
		drag *= sc.Coast.Drag(speed)
	} else {
		drag *= f.At(speed, trim.Gravity).Drag
	}
	drag += 0.5 * airDensity * sc.Coast.AirArea * g.air * math.Hypot(we, wn) * (we*sin + wn*cos)
	thrust := max(drag*(1-since/pullFades), g.Pull)
	return (thrust-drag)/(in.RiderMass+in.BoardMass) - trim.Gravity*climb/speed
}

// bare is the foil without the rig's lift.
func (sc *Scenario) bare() trim.Foil {
	in := sc.Foil
	in.RigLiftFraction = 0
	return trim.NewFoil(in)
}

// glide speeds up, lets the board run out for some seconds, and goes on.
func (s *script) glide() {
	sc := s.sc
	top := s.uniform(0.9, 1) * sc.SpeedHigh
	if v := s.speed.last(); v < top {
		d := (top-v)/regain + 3
		s.speed.to(s.now, s.now+d-2, top)
		s.phase("flight", d)
	}
	g := Glide{air: math.Exp(sc.Coast.Posture * s.r.NormFloat64()), water: math.Exp(sc.Coast.Scatter * s.r.NormFloat64())}
	if s.r.Float64() < sc.Coast.Pulled {
		g.Pull = s.uniform(15, 45)
	}
	f := sc.bare()
	v, t, least := s.speed.last(), 0.0, s.toV+0.5
	for longest := s.uniform(5.5, 9); t < longest && v > least; t += 0.05 {
		v += 0.05 * g.pulls(sc, &f, v, s.course.last(), 0, t)
	}
	g.Start, g.End = s.now, s.now+t
	s.t.Glides = append(s.t.Glides, g)
	s.coast.to(g.Start, g.Start+pullFades, 1)
	s.coast.to(g.End, g.End+1, 0)
	level := s.height.last()
	s.height.to(g.Start, g.End, level+sc.Coast.Rise*s.r.NormFloat64())
	s.height.to(g.End, g.End+2, level)
	s.speed.to(g.Start, g.End, v)
	d := (top-v)/regain + 1
	s.speed.to(g.End, g.End+d, top)
	s.phase("flight", t+d)
}

// A runOut lets the board slow down by itself while it glides.
type runOut struct {
	sc     *Scenario
	foil   trim.Foil
	glides []Glide
	v, off float64 // m/s, in the glide, and how far from the plan after it
}

// regained is how soon a rider is back at the plan's speed, s.
const regained = 1.2

// at is the speed at time t where the plan has v; climb is the path's, m/s.
func (r *runOut) at(t, dt, v, course, climb float64) float64 {
	for len(r.glides) > 0 {
		g := &r.glides[0]
		switch {
		case t < g.Start:
			r.off *= math.Exp(-dt / regained)
			r.v = v + r.off
			return r.v
		case t < g.End:
			r.v += dt * g.pulls(r.sc, &r.foil, r.v, course, climb, t-g.Start)
			r.off = r.v - v
			return r.v
		}
		r.glides = r.glides[1:]
	}
	r.off *= math.Exp(-dt / regained)
	return v + r.off
}
