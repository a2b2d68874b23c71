package simulate

import (
	"math"
	"math/rand/v2"

	"evenfoot/analysis/trim"
)

// A script is the outing as a plan: one track per channel, and what happens.
type script struct {
	speed  track // m/s through the water (over the ground ashore)
	course track // rad, clockwise from north, unwrapped
	fly    track // 0 on the water, 1 on the foil
	height track // m, of the deck above its floating height
	wet    track // 0 ashore, 1 in the water: flow and waves act
	side   track // +1 starboard tack, -1 port: the side to heel to
	heel   track // rad, off the foil
	pitch  track // rad, off the foil
	sway   track // rad RMS, how much the board rolls and pitches off the foil
	rough  track // vibration, 1 = in flight
	pump   track // 0 or 1
	coast  track // 0, or 1 in a glide

	t     Truth
	sc    *Scenario
	r     *rand.Rand
	now   float64
	end   float64 // when the last flight must be over
	up    float64 // start of the flight under way, NaN when not flying
	reach float64 // start of the reach under way, NaN when none
	tack  float64
	twa   float64
	toV   float64 // take-off speed
}

// write makes the plan of the scenario.
func write(sc *Scenario) *script {
	s := &script{sc: sc, r: stream(sc.Seed, 1), up: math.NaN(), reach: math.NaN()}
	s.toV = takeOffSpeed(sc)
	s.tack = 1
	s.twa = s.angle()
	for _, k := range []*track{&s.speed, &s.fly, &s.height, &s.wet, &s.heel, &s.sway, &s.rough, &s.pump, &s.coast} {
		k.set(0)
	}
	s.pitch.set(sc.LevelError)
	s.side.set(s.tack)
	s.course.set(s.heading())
	s.rest(sc.Rest)
	for _, c := range sc.Changes {
		s.leg(c.At + sc.Rest/2)
	}
	s.leg(sc.Duration)
	return s
}

// leg goes from the beach to the water and is back at rest until end, s.
func (s *script) leg(end float64) {
	sc := s.sc
	s.end = end - sc.Rest - sc.Carry - sc.Swim - 25
	s.carry(sc.Carry)
	s.swim(sc.Swim)
	for s.now < s.end-20 {
		s.outing()
	}
	if d := end - sc.Rest - sc.Carry - sc.Swim - s.now; d > 1 {
		s.taxi(d)
	}
	s.swim(min(sc.Swim, end-s.now))
	s.carry(min(sc.Carry, end-s.now))
	s.rest(end - s.now)
}

// stream is one of the scenario's independent random streams.
func stream(seed, which uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, which*0x9e3779b97f4a7c15))
}

func (s *script) uniform(a, b float64) float64 { return a + (b-a)*s.r.Float64() }

func (s *script) angle() float64 { return s.uniform(s.sc.Angles[0], s.sc.Angles[1]) }

// heading is the course of a reach on the present tack: with the wind from
// starboard the course lies to port of it.
func (s *script) heading() float64 { return s.sc.WindFrom - s.tack*s.twa }

// takeOffSpeed is where the wing needs 8° of angle of attack.
func takeOffSpeed(sc *Scenario) float64 {
	f := trim.NewFoil(sc.Foil)
	for v := 2.0; v < 20; v += 0.05 {
		if f.At(v, trim.Gravity).AlphaWing < 8*Deg {
			return v
		}
	}
	return 20
}

func (s *script) phase(kind string, d float64) (t0, t1 float64) {
	t0, t1 = s.now, s.now+d
	if n := len(s.t.Phases); n > 0 && s.t.Phases[n-1].Kind == kind {
		s.t.Phases[n-1].End = t1
	} else if d > 0 {
		s.t.Phases = append(s.t.Phases, Phase{t0, t1, kind})
	}
	s.now = t1
	return t0, t1
}

func (s *script) event(t float64, kind string) {
	s.t.Events = append(s.t.Events, Event{Time: t, Kind: kind})
}

func (s *script) rest(d float64) {
	if d <= 0 {
		return
	}
	t0, _ := s.phase("rest", d)
	s.speed.to(t0, t0+1.5, 0)
	s.heel.to(t0, t0+2, 0)
	s.pitch.to(t0, t0+2, s.sc.LevelError)
	s.sway.to(t0, t0+2, 0)
	s.rough.to(t0, t0+2, 0)
	s.wet.to(t0, t0+1, 0)
}

func (s *script) carry(d float64) {
	if d <= 0 {
		return
	}
	t0, _ := s.phase("carry", d)
	s.wet.to(t0, t0+2, 0)
	s.speed.to(t0, t0+2, 1.25)
	s.heel.to(t0, t0+3, 80*Deg)
	s.pitch.to(t0, t0+3, -5*Deg)
	s.sway.to(t0, t0+2, 6*Deg)
	s.rough.to(t0, t0+1, 0.4)
}

func (s *script) swim(d float64) {
	if d <= 0 {
		return
	}
	t0, t1 := s.phase("swim", d)
	s.wet.to(t0, t0+3, 1)
	s.speed.to(t0, t0+2, 0.35)
	tilt := s.uniform(40, 160) * Deg
	if s.r.IntN(2) == 0 {
		tilt = -tilt
	}
	s.heel.to(t0, t0+min(2, d/4), tilt)
	s.heel.to(t1-min(4, d/2), t1-0.2, 0)
	s.pitch.to(t0, t0+min(2, d/4), s.uniform(-15, 15)*Deg)
	s.pitch.to(t1-min(3, d/2), t1, 4*Deg)
	s.sway.to(t0, t0+1.5, 8*Deg)
	s.rough.to(t0, t0+1, 0.3)
}

func (s *script) taxi(d float64) {
	t0, _ := s.phase("taxi", d)
	s.wet.to(t0, t0+1, 1)
	s.speed.to(t0, t0+min(3, d), s.sc.Taxi*s.uniform(0.85, 1.15))
	s.heel.to(t0, t0+1, 0)
	s.pitch.to(t0, t0+1, 4*Deg)
	s.sway.to(t0, t0+1, 2.5*Deg)
	s.rough.to(t0, t0+0.6, 1.6)
	s.pump.to(t0, t0+0.5, 0)
}

// takeoff accelerates from the taxi to v and begins a reach; the flight starts when
// half-way up.
func (s *script) takeoff(v float64) {
	v = max(v, s.toV+0.6)
	from := s.speed.last()
	acc := s.uniform(0.9, 1.4)
	t0 := s.now
	tc := t0 + (s.toV-from)/acc
	s.phase("taxi", tc-t0)
	t1 := t0 + (v-from)/acc
	s.speed.to(t0, t1, v)
	s.fly.to(tc-0.7, tc+0.7, 1)
	s.height.to(tc-0.7, tc+1, s.sc.Height)
	s.heel.to(tc-1, tc, 0)
	s.sway.to(tc-0.5, tc+0.5, 0)
	s.rough.to(tc-0.5, tc+0.5, 1)
	s.up = tc
	s.event(tc, "take-off")
	s.phase("flight", t1+1-tc)
	s.reach = s.now
}

// land ends the flight at t; the board is on the water from then on.
func (s *script) land(t float64, kind string) {
	s.fly.to(t-0.25, t+0.25, 0)
	if s.height.last() > s.sc.Height+0.1 { // out of the water: it drops like a stone
		s.height.to(t-0.4, t+0.05, 0)
	} else {
		s.height.to(t-0.5, t+0.3, 0)
	}
	s.pump.to(t-0.6, t-0.2, 0)
	s.sway.to(t, t+0.5, 2.5*Deg)
	s.rough.to(t-0.1, t+0.2, 2.2)
	s.rough.to(t+0.4, t+0.8, 1.6)
	s.pitch.to(t-0.5, t, 2*Deg)
	if n := len(s.t.Phases); n > 0 { // the flight's phase ends here
		s.t.Phases[n-1].End = t
	}
	s.now = t
	s.event(t, kind)
	s.t.Flights = append(s.t.Flights, Span{s.up, t})
	s.up = math.NaN()
}

func (s *script) closeReach(t float64) {
	if !math.IsNaN(s.reach) && t > s.reach+1 {
		s.t.Reaches = append(s.t.Reaches, Reach{Span{s.reach, t}, wrap2(s.course.last()), tackName(s.tack)})
	}
	s.reach = math.NaN()
}

func tackName(side float64) string {
	if side > 0 {
		return "starboard"
	}
	return "port"
}

// outing is one chain of reaches and turns from a taxi until a fall, or the end.
func (s *script) outing() {
	if s.sc.NoFlight {
		s.taxi(s.uniform(20, 40))
		s.tack = -s.tack
		s.course.to(s.now-8, s.now, s.course.last()+s.uniform(2, 4)*s.tack)
		return
	}
	s.taxi(s.uniform(4, 10))
	s.takeoff(s.pickSpeed())
	for {
		if !s.straight(min(s.uniform(s.sc.ReachMin, s.sc.ReachMax), s.end-s.now)) {
			return
		}
		if s.now > s.end-25 {
			s.closeReach(s.now - 0.5)
			s.phase("flight", 0.8)
			s.land(s.now, "touchdown")
			s.taxi(6)
			return
		}
		s.turn()
	}
}

func (s *script) pickSpeed() float64 {
	return max(s.uniform(s.sc.SpeedLow, s.sc.SpeedHigh), s.toV+0.6)
}

// straight rides on for d seconds, mishaps and all; false when it ended in a fall.
func (s *script) straight(d float64) bool {
	until := s.now + d
	target := s.sc.SpeedHigh
	if v := s.speed.last(); v-s.sc.SpeedLow > s.sc.SpeedHigh-v {
		target = max(s.sc.SpeedLow, s.toV+0.6)
	}
	ride := func(span float64) {
		if v, left := s.speed.last(), until-s.now; s.sc.Sweep && left > 0 {
			s.speed.to(s.now, s.now+span, v+(target-v)*min(span/left, 1))
		}
		s.phase("flight", span)
	}
	if len(s.t.Glides) < s.sc.Coast.Count && d > 30 {
		ride(6)
		s.glide()
	}
	rates := []float64{s.sc.Touchdowns, s.sc.Breaches, s.sc.Falls, s.sc.Pumping}
	var total float64
	for _, r := range rates {
		total += r / 3600
	}
	for {
		wait := math.Inf(1)
		if total > 0 {
			wait = 8 + s.r.ExpFloat64()/total
		}
		if s.now+wait > until-8 {
			ride(max(until-s.now, 0.5))
			return true
		}
		ride(wait)
		x := s.r.Float64() * total * 3600
		kind := 0
		for x > rates[kind] && kind < 3 {
			x -= rates[kind]
			kind++
		}
		switch kind {
		case 0:
			s.touchdown()
		case 1:
			s.breach()
			if s.r.Float64() < 0.3 {
				s.fall()
				return false
			}
			s.touchdown()
		case 2:
			s.fall()
			return false
		case 3:
			b := s.uniform(5, 9)
			s.pump.to(s.now, s.now+1, 1)
			s.phase("flight", b)
			s.pump.to(s.now-1, s.now, 0)
		}
	}
}

// touchdown loses the foil and finds it again: 60 % short touches, else a taxi.
func (s *script) touchdown() {
	v := s.speed.last()
	s.closeReach(s.now - 0.3)
	s.land(s.now, "touchdown")
	if s.r.Float64() < 0.6 {
		c := s.uniform(1.2, 2.5)
		s.phase("taxi", 0.3)
		low := max(v-s.uniform(2, 3.5), s.sc.Taxi)
		s.speed.to(s.now-0.3, s.now+0.6*c, low)
		s.now += 0.6 * c
		s.t.Phases[len(s.t.Phases)-1].End = s.now
		s.relaunch(low, v)
		return
	}
	s.taxi(s.uniform(5, 11))
	s.takeoff(v)
}

// relaunch takes off again after a short touch.
func (s *script) relaunch(low, v float64) {
	tc := s.now + max(0.5, (s.toV-low)/1.6)
	s.phase("taxi", tc-s.now)
	s.speed.to(s.now-0.5, s.now+(v-low)/1.6, v)
	s.fly.to(tc-0.35, tc+0.35, 1)
	s.height.to(tc-0.3, tc+0.9, s.sc.Height)
	s.sway.to(tc-0.3, tc+0.3, 0)
	s.rough.to(tc-0.3, tc+0.3, 1)
	s.up = tc
	s.event(tc, "take-off")
	s.reach = s.now
	s.phase("flight", 2)
}

// breach brings the wing out of the water: up for a second, then a free fall.
func (s *script) breach() {
	t := s.now + 1
	s.height.to(s.now, t, s.sc.Height+0.35)
	s.event(t, "breach")
	s.phase("flight", 1.4)
}

// fall throws the rider off: the board stops within a second or two.
func (s *script) fall() {
	s.closeReach(s.now - 0.3)
	s.land(s.now, "fall")
	s.speed.to(s.now-0.2, s.now+s.uniform(1, 1.8), 0.4)
	s.swim(s.uniform(14, 35))
}

// turn brings the board to the other tack, flown or dropped half-way.
func (s *script) turn() {
	if s.sc.OneTack {
		s.closeReach(s.now)
		s.land(s.now, "touchdown")
		s.taxi(s.uniform(5, 9))
		s.takeoff(s.pickSpeed())
		return
	}
	s.closeReach(s.now)
	from := s.course.last()
	next := s.angle()
	through := s.twa+next < 210*Deg && s.r.Float64() < s.sc.Tacks
	// Away from the wind a starboard tacker turns to port, through it to starboard.
	by := -s.tack * (2*math.Pi - s.twa - next)
	if through {
		by = s.tack * (s.twa + next)
	}
	s.tack, s.twa = -s.tack, next
	v := s.speed.last()
	slow := max(v-s.uniform(0.8, 1.8), s.toV+0.4)
	rate := trim.Gravity * math.Tan(s.sc.TurnHeel*s.uniform(0.85, 1.1)) / (0.5 * (v + slow))
	d := max(math.Abs(by)/rate, 3)
	flown := s.r.Float64() < s.sc.FlownTurns
	t0 := s.now
	v2 := s.pickSpeed()
	if flown {
		s.speed.to(t0, t0+d/2, slow)
		s.course.to(t0, t0+d, from+by)
		s.side.to(t0+0.25*d, t0+0.75*d, s.tack)
		s.phase("flight", d)
		s.speed.to(s.now, s.now+math.Abs(v2-slow)/0.7, v2)
		s.reach = s.now
	} else {
		drop := d * s.uniform(0.35, 0.6)
		s.speed.to(t0, t0+drop, slow)
		s.phase("flight", drop)
		rest := max(d-drop, 4)
		s.land(s.now, "touchdown")
		s.course.to(t0, s.now, from+by*drop/d)
		s.course.to(s.now, s.now+rest, from+by)
		s.side.to(s.now, s.now+rest, s.tack)
		d = drop + rest
		s.taxi(rest + s.uniform(2, 7))
		s.takeoff(v2)
	}
	s.t.Turns = append(s.t.Turns, Turn{Span{t0, t0 + d}, flown})
}

// wrap2 brings an angle to 0..2π.
func wrap2(a float64) float64 {
	if a >= 0 && a < 2*math.Pi {
		return a
	}
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a
}
