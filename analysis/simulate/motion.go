package simulate

import (
	"math"
	"slices"
	"sync"

	"evenfoot/analysis/trim"

	"gonum.org/v1/gonum/num/quat"
)

// motion is the board's path on the simulation's grid, ENU.
type motion struct {
	dt                float64
	n                 int
	vE, vN, vU        []float64 // m/s over ground
	x, y              []float64 // m
	speed             []float64 // m/s through the water
	course            []float64 // rad, through the water
	pitch, heel, yaw  []float64 // rad; yaw counterclockwise from east
	normal            []float64 // m/s², deck-normal specific force at the reference
	fly, rough, sway  []float64
	sin, cos          []float64 // of the course
	coast             []float64 // 1 in a glide; nil without any
	zero, slope       float64   // θ = zero + slope·(M f_z - R)/q
	acc               [3][]float64
	zeroPort, zeroStb float64
	*scratch
}

// scratch is memory that a session takes and the next one has again: columns of
// any values, the first used of them taken.
type scratch struct {
	columns [][]float64
	used    int
	quats   [3][]quat.Number
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

func (m *motion) column() []float64 {
	m.used++
	if m.used > len(m.columns) {
		m.columns = append(m.columns, nil)
	}
	c := &m.columns[m.used-1]
	*c = slices.Grow((*c)[:0], m.n)[:m.n]
	return *c
}

func (m *motion) rotations(k int) []quat.Number {
	m.quats[k] = slices.Grow(m.quats[k][:0], m.n)[:m.n]
	return m.quats[k]
}

// free ends the use of the motion.
func (m *motion) free() {
	m.used = 0
	scratches.Put(m.scratch)
}

// law is the straight line of pitch that a true foil with a stiff fuselage
// follows exactly, θ = zero + (M f_z - R)/(q A); one that bends, at two speeds.
func law(in trim.Inputs) (zero, perArea float64) {
	zero, perMass := trim.NewFoil(in).Law(6, 12)
	return zero, perMass * trim.Gravity / in.Carried(trim.Gravity)
}

// move plays the script: speed, course and height first, then the attitude
// that the foil needs to follow them.
func move(sc *Scenario, s *script, dt float64) *motion {
	n := int(sc.Duration/dt) + 1
	m := &motion{dt: dt, n: n, scratch: scratches.Get().(*scratch)}
	m.fly = m.samples(s.fly, 0.3)
	m.speed = m.samples(s.speed, 1.0)
	m.course = m.samples(s.course, 1.4)
	m.rough = m.samples(s.rough, 0.1)
	m.sway = m.samples(s.sway, 0.6)
	height := m.samples(s.height, 0.3)
	wet := m.samples(s.wet, 1)
	side := m.samples(s.side, 1.5)
	heel := m.samples(s.heel, 0.9)
	pitch := m.samples(s.pitch, 0.9)
	pump := m.samples(s.pump, 0.8)
	eta := m.column() // what the waves do to the height of the water

	if len(s.t.Glides) > 0 {
		m.coast = m.samples(s.coast, 0.6)
	}
	m.ride(sc, s, height, wet, pump, eta)
	m.travel(sc, wet, height)
	m.attitude(sc, s, side, heel, pitch, eta, height)
	return m
}

// ride adds what no rider holds steady: speed, course and height.
func (m *motion) ride(sc *Scenario, s *script, height, wet, pump, eta []float64) {
	slow := newSpline(stream(sc.Seed, 2), m.dt, 7)
	gust := newSpline(stream(sc.Seed, 3), m.dt, 1.5)
	wander := newSpline(stream(sc.Seed, 4), m.dt, 6)
	level := newSpline(stream(sc.Seed, 5), m.dt, 4)
	wob := newSpline(stream(sc.Seed, 6), m.dt, wobbleSpacing)
	waveA := newSpline(stream(sc.Seed, 7), m.dt, 9)
	waveB := newSpline(stream(sc.Seed, 7), m.dt, 9)
	gustSpeed := sc.Gust * 1.5 / splineSlope
	control := unsteadiness(sc)
	lowest := 0.92 * s.toV
	out := runOut{sc: sc, foil: sc.bare(), glides: s.t.Glides}
	for i := range m.n {
		t := float64(i) * m.dt
		f := m.fly[i]
		v := m.speed[i] + f*(sc.Variation*slow.next()+gustSpeed*gust.next())
		floor := lowest * f
		if d := v - floor; d < 1.5 && f > 0 { // keep flying: a soft floor
			v = floor + 0.25*math.Log1p(math.Exp(d/0.25))*f + max(d, 0)*(1-f)
		}
		if m.coast != nil && i > 1 {
			v = out.at(t, m.dt, v, m.course[i], (height[i-1]-height[i-2])/m.dt)
		}
		m.speed[i] = max(v, 0)
		w := wander.next()
		m.course[i] += w * (sc.Wander*f + 7*Deg*(1-f)*min(m.speed[i]/2, 1))
		height[i] += f * (0.04*level.next() + control.at(m.speed[i])*m.speed[i]*wobbleSpacing/splineSlope*wob.next())
		sin, cos := math.Sincos(2 * math.Pi / wavePeriod * t)
		eta[i] = sc.Wave * wet[i] * (waveA.next()*cos + waveB.next()*sin)
		height[i] += eta[i] * (1 - 0.6*f)
		if pump[i] != 0 {
			height[i] += pumpHeave * pump[i] * math.Sin(2*math.Pi*1.1*t)
		}
	}
}

const (
	wobbleSpacing = 0.5  // s; the rider's band ends near 1 Hz
	wavePeriod    = 3.5  // s, of encounter
	pumpHeave     = 0.06 // m, amplitude at 1.1 Hz
)

// A perSpeed is a quantity at 0, 1, 2 … m/s, linear in between.
type perSpeed [40]float64

func (p *perSpeed) at(v float64) float64 {
	k := min(int(v), len(p)-2)
	u := min(v-float64(k), 1)
	return p[k]*(1-u) + p[k+1]*u
}

// unsteadiness is the RMS path angle that the rider fails to hold.
func unsteadiness(sc *Scenario) (p perSpeed) {
	f := trim.NewFoil(sc.Foil)
	for i := range p {
		m := f.At(max(float64(i), 2), trim.Gravity).NetMoment
		p[i] = sc.Control + sc.ControlPerMoment*min(math.Abs(m), 300)
	}
	return p
}

// offLine is how far a fuselage that bends takes the pitch off the straight
// law, rad; nothing for a stiff one.
func offLine(in trim.Inputs, zero, perArea float64) (p perSpeed) {
	if in.FuselageFlex == 0 {
		return p
	}
	f := trim.NewFoil(in)
	lift := in.Carried(trim.Gravity)
	for i := range p {
		v := max(float64(i), 2)
		p[i] = f.At(v, trim.Gravity).Pitch - zero - perArea*lift/(0.5*in.Density*v*v)
	}
	return p
}

// flowAt is the water's velocity at t.
func (sc *Scenario) flowAt(t float64) (east, north float64) {
	east, north = sc.Flow[0], sc.Flow[1]
	if sc.FlowEnd != nil && sc.Duration > 0 {
		u := t / sc.Duration
		east += (sc.FlowEnd[0] - east) * u
		north += (sc.FlowEnd[1] - north) * u
	}
	return east, north
}

// travel gives the velocity over ground, the path and the acceleration.
func (m *motion) travel(sc *Scenario, wet, height []float64) {
	m.vE, m.vN, m.vU, m.x, m.y = m.column(), m.column(), m.column(), m.column(), m.column()
	m.sin, m.cos = m.column(), m.column()
	m.x[0], m.y[0] = 0, 0
	for i := range m.n {
		sin, cos := math.Sincos(m.course[i])
		m.sin[i], m.cos[i] = sin, cos
		fe, fn := sc.flowAt(float64(i) * m.dt)
		m.vE[i] = m.speed[i]*sin + fe*wet[i]
		m.vN[i] = m.speed[i]*cos + fn*wet[i]
		m.vU[i] = slope(height, i, m.dt)
		if i > 0 {
			m.x[i] = m.x[i-1] + 0.5*(m.vE[i]+m.vE[i-1])*m.dt
			m.y[i] = m.y[i-1] + 0.5*(m.vN[i]+m.vN[i-1])*m.dt
		}
	}
	for k, v := range [3][]float64{m.vE, m.vN, m.vU} {
		m.acc[k] = m.column()
		for i := range v {
			m.acc[k][i] = slope(v, i, m.dt)
		}
	}
}

// attitude finds heel, then the pitch that carries the load: θ cos φ is the
// angle of attack to the water, which waves and climbing turn.
func (m *motion) attitude(sc *Scenario, s *script, side, freeHeel, freePitch, eta, height []float64) {
	m.zero, m.slope = law(sc.Foil)
	in := sc.Foil
	off := offLine(in, m.zero, m.slope)
	shims := make([]float64, len(sc.Changes)) // what they do to the zero
	for k, c := range sc.Changes {
		zero, _ := law(in.Raise(c.Change.Raise))
		shims[k] = zero - m.zero
	}
	mass, rig := in.RiderMass+in.BoardMass, in.RigLiftFraction*in.RiderMass*trim.Gravity
	pull := sc.SidePull * mass * trim.Gravity * math.Tan(sc.WindwardHeel) // N to leeward
	roll := newSpline(stream(sc.Seed, 8), m.dt, 0.8)
	rollSlow := newSpline(stream(sc.Seed, 9), m.dt, 4)
	swayR := newSpline(stream(sc.Seed, 10), m.dt, 0.9)
	swayP := newSpline(stream(sc.Seed, 11), m.dt, 0.9)
	eddy := newSpline(stream(sc.Seed, 12), m.dt, 0.5)
	n := m.n
	m.heel, m.pitch, m.yaw, m.normal = m.column(), m.column(), m.column(), m.column()
	var port, stb, nPort, nStb float64
	sinZero, cosZero := math.Sincos(m.zero)
	for i := range n {
		f, held := m.fly[i], 1.0 // 0 where the rig holds nothing
		if m.coast != nil {
			held -= m.coast[i]
		}
		sinC, cosC := m.sin[i], m.cos[i]
		along := m.acc[0][i]*sinC + m.acc[1][i]*cosC
		right := m.acc[0][i]*cosC - m.acc[1][i]*sinC
		bank := math.Atan(m.speed[i] * slope(m.course, i, m.dt) / trim.Gravity)
		windward := held * side[i] * sc.WindwardHeel
		phi := f*(bank+windward+1*Deg*roll.next()+1.5*Deg*rollSlow.next()) + (1-f)*(freeHeel[i]+m.sway[i]*swayR.next())
		leeway := held * side[i] * sc.Leeway * f
		if sc.LeewaySpeed > 0 {
			fall := sc.LeewaySpeed / max(m.speed[i], 0.8*s.toV)
			leeway *= fall * fall
		}
		m.yaw[i] = math.Pi/2 - (m.course[i] + leeway)
		m.heel[i] = phi

		sinP, cosP := math.Sincos(phi)
		v := max(m.speed[i], 0.8*s.toV)
		q := 0.5 * in.Density * v * v
		climb := (m.vU[i] - 0.6*slope(eta, i, m.dt)) / v
		extra := sc.TackZero*side[i] + sc.ZeroDrift*float64(i)*m.dt/3600
		if n := sc.partAt(float64(i) * m.dt); n > 0 {
			extra += shims[n-1]
		}
		turned := -sc.LeewayOnPitch * leeway * sinP
		if sc.LeewaySpeed == 0 { // else it falls as the load does: no part of the law's zero
			extra, turned = extra+turned, 0
		}
		if f > 0.99 {
			if side[i] > 0.9 {
				stb, nStb = stb+m.zero+extra, nStb+1
			} else if side[i] < -0.9 {
				port, nPort = port+m.zero+extra, nPort+1
			}
		}
		noise := sc.PitchNoise * eddy.next()
		var pitch, fz float64
		sinT, cosT := sinZero, cosZero
		for try := range 2 { // f_z depends on pitch only through its small sine
			if try > 0 {
				sinT, cosT = math.Sincos(pitch)
			}
			fz = -along*cosP*sinT + right*sinP + (m.acc[2][i]+trim.Gravity)*cosP*cosT
			alpha := m.zero + m.slope*(mass*fz-held*rig+held*pull*side[i]*sinP)/q + extra + turned + off.at(v)
			pitch = soft(alpha/max(cosP, 0.5)+climb, 14*Deg) + noise
		}
		m.normal[i] = fz
		m.pitch[i] = f*pitch + (1-f)*(freePitch[i]+m.sway[i]*swayP.next())
	}
	m.zeroPort, m.zeroStb = m.zero-sc.TackZero, m.zero+sc.TackZero
	if nPort > 0 {
		m.zeroPort = port / nPort
	}
	if nStb > 0 {
		m.zeroStb = stb / nStb
	}
	// A board does not follow the load within a tenth of a second.
	h := int(0.04 / m.dt)
	tmp := m.column()
	boxMean(tmp, m.pitch, h)
	boxMean(m.pitch, tmp, h)
}

// soft limits x to ±limit without a corner; it changes nothing below half of it.
func soft(x, limit float64) float64 {
	half := limit / 2
	if math.Abs(x) <= half {
		return x
	}
	return math.Copysign(half+half*math.Tanh((math.Abs(x)-half)/half), x)
}

// board is the board's attitude at sample i.
func (m *motion) board(i int) quat.Number { return Euler(m.yaw[i], m.pitch[i], m.heel[i]) }
