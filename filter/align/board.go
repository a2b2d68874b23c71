package align

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Options steer [Board] and [Track]. The zero value finds everything itself.
type Options struct {
	// Params of the attitude filter; nil for its defaults.
	Params *attitude.Params
	// PitchZero is the pitch that the logger shows when the deck is level, rad,
	// the slope of the sensor's plane nearest to the deck, towards the bow; used
	// when PitchZeroKnown. PitchZeroSE is its 1σ (default 0.3°).
	PitchZero      float64
	PitchZeroKnown bool
	PitchZeroSE    float64
	// FlightSpeed is the least speed of flight when it is known, m/s; 0 takes
	// what is fast for the log.
	FlightSpeed float64
	// Signs overrides the detection of the sensor's signs when not nil.
	Signs *Signs
}

func (o *Options) params() attitude.Params {
	if o.Params != nil {
		return *o.Params
	}
	return attitude.Default()
}

// Track estimates the attitude, whatever the mount, with the sensor's signs
// detected and put right. The clocks must be tied. aid may be nil. The errors
// are those of [attitude.TwoSided].
func Track(s attitude.Samples, aid *attitude.Aid, opt Options) (*attitude.Track, Signs, error) {
	tr, _, signs, _, err := track(s, aid, &opt)
	return tr, signs, err
}

func track(s attitude.Samples, aid *attitude.Aid, opt *Options) (*attitude.Track, attitude.Samples, Signs, *fixes, error) {
	if n := len(s.Time); n < 2 {
		return nil, s, Signs{}, nil, fmt.Errorf("align: the log holds %d inertial samples; at least 2 are needed", n)
	}
	var vel *fixes
	if aid != nil {
		if len(aid.East) != len(aid.Time) || len(aid.North) != len(aid.Time) {
			return nil, s, Signs{}, nil, fmt.Errorf("align: GPS velocity has %d times, %d east and %d north values", len(aid.Time), len(aid.East), len(aid.North))
		}
		vel = newFixes(*aid)
	}
	for k := range 3 {
		if len(s.Acc[k]) != len(s.Time) || len(s.Gyr[k]) != len(s.Time) {
			return nil, s, Signs{}, nil, fmt.Errorf("align: %d times, but %d accelerometer and %d gyroscope samples on axis %c",
				len(s.Time), len(s.Acc[k]), len(s.Gyr[k]), 'x'+rune(k))
		}
	}
	b := newBins(s)
	var signs Signs
	if opt.Signs != nil {
		signs = *opt.Signs
	} else {
		signs = findSigns(b, vel)
	}
	s = signs.apply(s)
	if vel != nil && len(vel.t) < 2 {
		aid, vel = nil, nil
	}
	// An offset beyond what the filter expects is taken out first.
	offset := r3.Scale(float64(signs.Gyroscope), b.grossOffset())
	tr, err := attitude.TwoSided(withoutOffset(s, offset), aid, opt.params())
	if err != nil {
		return nil, s, signs, vel, fmt.Errorf("align: no attitude from this log: %w", err)
	}
	for i := range tr.Bias {
		tr.Bias[i] = r3.Add(tr.Bias[i], offset)
	}
	return tr, s, signs, vel, nil
}

// withoutOffset takes an offset out of the gyroscope's columns, copying them.
func withoutOffset(s attitude.Samples, offset r3.Vec) attitude.Samples {
	for k, o := range [3]float64{offset.X, offset.Y, offset.Z} {
		if o == 0 {
			continue
		}
		c := make([]float32, len(s.Gyr[k]))
		for i, v := range s.Gyr[k] {
			c[i] = v - float32(o)
		}
		s.Gyr[k] = c
	}
	return s
}

// Board finds the board's motion from a sensor mounted anywhere on it: signs,
// attitude, mount, whether the sensor stays put, and the level zero. The
// clocks must be tied. aid may be nil: pitch and heel are then about the
// sensor's nearest axes. A sensor that is not fixed to the board gives a
// Motion with Mount.Rigid false and the reason; it is not an error. The
// errors are those of [attitude.TwoSided].
func Board(s attitude.Samples, aid *attitude.Aid, opt Options) (*Motion, error) {
	tr, s, signs, vel, err := track(s, aid, &opt)
	if err != nil {
		return nil, err
	}
	m := &Motion{Time: s.Time, Track: tr}
	m.note(signs.Note)
	looks := newLooks(s, tr, vel)
	var r ridden
	if tr.HeadingKnown {
		r = pickRidden(looks, opt.FlightSpeed)
	}
	if len(r.straight) < minStraight {
		m.fallback(looks, len(s.Time), vel, len(r.straight))
	} else {
		m.solve(s, looks, r, &opt)
	}
	for i := range m.Parts {
		p := &m.Parts[i].Mount
		p.AccelerometerSign, p.GyroscopeSign = signs.Accelerometer, signs.Gyroscope
		p.describe()
	}
	m.pickMount()
	m.fill(s)
	return m, nil
}

func (m *Motion) note(s string) {
	if s != "" {
		m.Notes = append(m.Notes, s)
	}
}

// solve finds the parts over which the sensor stayed put, and each one's mount.
func (m *Motion) solve(s attitude.Samples, looks []look, r ridden, opt *Options) {
	whole := solveMount(looks, r)
	var cuts []shift
	if at := looseFrom(swings(looks, r.straight, whole.toBoard)); at >= 0 {
		cuts = append(cuts, shift{t: looks[at].t, look: at, split: looks[at].from})
	}
	// Shifts are told within what is fixed.
	var shifts []shift
	for _, p := range cut(looks, r, cuts, len(s.Time)) {
		if why := loose(swings(looks, p.ridden.straight, whole.toBoard)); why == "" {
			shifts = append(shifts, findShifts(looks, p.ridden, s)...)
		}
	}
	cuts = append(cuts, shifts...)
	slices.SortFunc(cuts, func(a, b shift) int { return a.split - b.split })
	parts := cut(looks, r, cuts, len(s.Time))
	type solved struct {
		sol   solution
		level levelZero
		why   string
	}
	out := make([]solved, len(parts))
	for i, p := range parts {
		o := &out[i]
		o.sol = whole
		if len(parts) > 1 {
			o.sol = solveMount(looks, p.ridden)
		}
		o.why = loose(swings(looks, p.ridden.straight, o.sol.toBoard))
		o.level = levelFrom(looks, p.lookFrom, p.lookTo, o.sol)
		if opt.PitchZeroKnown {
			o.level = givenZero(o.sol, opt)
		}
	}
	if len(shifts) > 2 {
		why := fmt.Sprintf("The sensor is not fixed to the board: it shifted %d times, first at %s by %.0f°.", len(shifts), clock(shifts[0].t), shifts[0].by/deg)
		for i := range out {
			out[i].why = why
		}
	}
	for _, sh := range shifts {
		if sh.by > movedBy {
			why := fmt.Sprintf("The sensor was moved on the board at %s: it turned by %.0f°.", clock(sh.t), sh.by/deg)
			for i := range out {
				if out[i].why == "" {
					out[i].why = why
				}
			}
		} else if len(shifts) <= 2 {
			m.note(fmt.Sprintf("The sensor shifted by %.0f° at %s; the mount was found anew from there.", sh.by/deg, clock(sh.t)))
		}
	}
	// A part without a level zero takes it from the part that has one, by
	// flying at the same pitch at the same speed.
	for i := range out {
		if out[i].level.ok || opt.PitchZeroKnown {
			continue
		}
		for j := range out {
			if j == i || !out[j].level.ok || out[i].why != "" || out[j].why != "" {
				continue
			}
			gap, se := pitchGap(looks, parts[j].ridden.straight, out[j].sol, parts[i].ridden.straight, out[i].sol)
			out[i].level.zero = out[j].level.zero + gap
			out[i].level.se = math.Hypot(out[j].level.se, se)
			out[i].level.ok = true
			out[i].level.how = "equal pitch at equal speed with the part that has a " + out[j].level.how
			break
		}
	}
	if len(out) > 1 && !out[0].level.ok {
		// No zero at all: bring the later parts to the first one's.
		for i := 1; i < len(out); i++ {
			gap, _ := pitchGap(looks, parts[0].ridden.straight, out[0].sol, parts[i].ridden.straight, out[i].sol)
			out[i].level.zero = gap
		}
	}
	for i, p := range parts {
		o := &out[i]
		mt := Mount{
			ToBoard:   rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Y: -o.level.zero}), o.sol.toBoard)),
			HeadingSE: o.sol.headingSE / deg,
			LevelZero: o.level.ok, LevelFrom: o.level.how, LevelSE: math.NaN(),
			Rigid: o.why == "", Why: o.why,
		}
		if o.level.ok {
			mt.LevelSE = o.level.se
		}
		m.Parts = append(m.Parts, Part{From: p.from, To: p.to, Start: s.Time[p.from], Mount: mt})
	}
	if whole.tacks < 2 {
		m.note("All riding was on one tack: leeway and heel to windward could not be averaged out, so the sensor's heading and the heel's zero are less certain.")
	}
}

// cut divides looks and samples at the shifts.
func cut(looks []look, r ridden, shifts []shift, n int) []part {
	parts := []part{{lookTo: len(looks), to: n}}
	for _, sh := range shifts {
		last := &parts[len(parts)-1]
		next := part{lookFrom: sh.look, lookTo: last.lookTo, from: sh.split, to: last.to}
		last.lookTo, last.to = sh.look, sh.split
		parts = append(parts, next)
	}
	for i := range parts {
		p := &parts[i]
		p.ridden.least = r.least
		within := func(k int) bool { return looks[k].from >= p.from && looks[k].to <= p.to }
		for _, k := range r.straight {
			if within(k) {
				p.ridden.straight = append(p.ridden.straight, k)
			}
		}
		for _, k := range r.turning {
			if within(k) {
				p.ridden.turning = append(p.ridden.turning, k)
			}
		}
	}
	return parts
}

// givenZero is the level zero that the setup states.
func givenZero(sol solution, opt *Options) levelZero {
	// The sensor's axis nearest to the deck normal, and the slope of the plane
	// across it, towards the bow.
	n := rotation.Rotate(sol.toBoard, nearestAxis(sol.toBoard))
	shown := math.Atan2(-n.X, n.Z)
	se := opt.PitchZeroSE
	if !(se > 0) {
		se = 0.3 * deg
	}
	return levelZero{ok: true, zero: opt.PitchZero - shown, se: se, how: "setup"}
}

// nearestAxis is the sensor's axis, signed, that is nearest to the deck normal.
func nearestAxis(toBoard quat.Number) r3.Vec {
	up := rotation.Rotate(quat.Conj(toBoard), r3.Vec{Z: 1})
	x, y, z := math.Abs(up.X), math.Abs(up.Y), math.Abs(up.Z)
	switch {
	case x >= y && x >= z:
		return r3.Vec{X: math.Copysign(1, up.X)}
	case y >= z:
		return r3.Vec{Y: math.Copysign(1, up.Y)}
	}
	return r3.Vec{Z: math.Copysign(1, up.Z)}
}

// pitchGap is how much lower the zero of part b has to be counted than that
// of part a for both to fly at the same pitch at the same speed, rad.
func pitchGap(looks []look, a []int, sa solution, b []int, sb solution) (gap, se float64) {
	var n, x, y [2]float64
	var sxx, sxy, syy float64
	for i, at := range [][]int{a, b} {
		toBoard := sa.toBoard
		if i == 1 {
			toBoard = sb.toBoard
		}
		var xs, ys []float64
		for _, k := range at {
			pitch, _, _ := looks[k].angles(toBoard)
			if math.Abs(pitch) < 0.4 {
				xs, ys = append(xs, 1/sq(looks[k].speed)), append(ys, pitch)
			}
		}
		n[i] = float64(len(xs))
		if n[i] < 10 {
			return 0, 2 * deg
		}
		for j := range xs {
			x[i] += xs[j] / n[i]
			y[i] += ys[j] / n[i]
		}
		for j := range xs {
			sxx += sq(xs[j] - x[i])
			sxy += (xs[j] - x[i]) * (ys[j] - y[i])
			syy += sq(ys[j] - y[i])
		}
	}
	slope := 0.0
	if sxx > 0 {
		slope = sxy / sxx
	}
	v := (syy - slope*sxy) / (n[0] + n[1])
	// Part b should fly at a's mean plus the slope's share, and shows its own mean.
	gap = y[1] - (y[0] + slope*(x[1]-x[0]))
	return gap, math.Sqrt(v*10*(1/n[0]+1/n[1]) + sq(0.2*deg))
}

// fallback settles on the sensor's own axes when the bow cannot be told.
func (m *Motion) fallback(looks []look, n int, vel *fixes, straight int) {
	up := r3.Vec{Z: 1}
	for round := range 3 {
		var sum r3.Vec
		for i := range looks {
			u := rotation.Rotate(quat.Conj(looks[i].q), r3.Vec{Z: 1})
			if round == 0 || r3.Dot(u, up) > 0.7 {
				sum = r3.Add(sum, u)
			}
		}
		if r3.Norm(sum) > 0 {
			up = unit(sum)
		}
	}
	// Forward is the sensor's x axis, or y where x stands up.
	x := r3.Vec{X: 1}
	if math.Abs(up.X) > 0.75 {
		x = r3.Vec{Y: 1}
	}
	x = unit(r3.Sub(x, r3.Scale(r3.Dot(x, up), up)))
	mt := Mount{
		ToBoard: rotation.FromAxes(x, r3.Cross(up, x), up), HeadingSE: math.NaN(),
		LevelFrom: "the bow is not known; pitch is relative", LevelSE: math.NaN(), Rigid: true,
	}
	why := "Without GPS"
	switch {
	case vel == nil:
	case vel.moving < minStraight:
		why = "Without motion in the GPS log"
	case !m.Track.HeadingKnown:
		mt.Rigid = false
		mt.Why = "The sensor's motion does not match the GPS: it is not on the board, or its clock is off."
		why = "Without motion in common with the GPS"
	default:
		why = fmt.Sprintf("With only %d s of straight riding", straight)
	}
	m.note(why + " the bow cannot be told: pitch and heel are about the sensor's own axes, and relative.")
	m.Parts = []Part{{To: n, Start: m.Time[0], Mount: mt}}
}

// describe fills the angles that say how the sensor sits.
func (mt *Mount) describe() {
	up := rotation.Rotate(quat.Conj(mt.ToBoard), r3.Vec{Z: 1})
	mt.TiltDeg = math.Acos(clip(r3.Dot(up, nearestAxis(mt.ToBoard)), 1)) / deg
	x, turn := rotation.Rotate(mt.ToBoard, r3.Vec{X: 1}), 0.0
	if math.Abs(x.Z) > 0.9 { // x stands up: take y, a quarter turn on
		x, turn = rotation.Rotate(mt.ToBoard, r3.Vec{Y: 1}), 90
	}
	mt.HeadingDeg = math.Remainder(math.Atan2(x.Y, x.X)/deg-turn, 360)
	if math.IsNaN(mt.HeadingSE) {
		mt.HeadingDeg = math.NaN()
	}
}

// pickMount takes the longest part's mount for the whole's; a part that was
// refused speaks for the whole when it is the longest.
func (m *Motion) pickMount() {
	best := 0
	for i, p := range m.Parts {
		if p.To-p.From > m.Parts[best].To-m.Parts[best].From {
			best = i
		}
	}
	m.Mount = m.Parts[best].Mount
	for _, p := range m.Parts {
		if !p.Mount.Rigid && m.Mount.Rigid {
			m.note(fmt.Sprintf("From %s the mount is refused: %s", clock(p.Start), p.Mount.Why))
		}
	}
}

// fill works out the board's motion at every sample; NaN in gaps, and in a
// part that was refused while the rest was not.
func (m *Motion) fill(s attitude.Samples) {
	n := len(s.Time)
	for _, c := range []*[]float32{&m.Pitch, &m.Heel, &m.PitchSE, &m.Normal, &m.PitchRate, &m.YawRate, &m.Up} {
		*c = make([]float32, n)
	}
	for _, p := range m.Parts {
		if m.Mount.Rigid && !p.Mount.Rigid {
			continue // what a loose sensor shows is not the board's motion
		}
		headingSE := p.Mount.HeadingSE * deg
		if math.IsNaN(headingSE) {
			headingSE = 0
		}
		b := r3.Rotation(p.Mount.ToBoard).Mat()
		for k, seg := range m.Track.Segments {
			from, to := max(seg[0], p.From), min(seg[1], p.To)
			if from >= to {
				continue
			}
			m.Segments = append(m.Segments, [2]int{from, to})
			bias := m.Track.Bias[k]
			for i := from; i < to; i++ {
				q := m.Track.Q[i]
				up := b.MulVec(r3.Vec{X: 2 * (q.Imag*q.Kmag - q.Real*q.Jmag), Y: 2 * (q.Jmag*q.Kmag + q.Real*q.Imag), Z: 1 - 2*(q.Imag*q.Imag+q.Jmag*q.Jmag)})
				f := b.MulVec(s.AccAt(i))
				w := b.MulVec(r3.Sub(s.GyrAt(i), bias))
				flat := math.Sqrt(up.Y*up.Y + up.Z*up.Z)
				m.Pitch[i] = float32(math.Atan2(up.X, flat))
				m.Heel[i] = float32(math.Atan2(up.Y, up.Z))
				// A heading that is off by δ mixes δ sin(heel) into pitch.
				se := float64(m.Track.SE[i])
				m.PitchSE[i] = float32(math.Sqrt(se*se/2 + sq(headingSE*up.Y)))
				m.Normal[i] = float32(f.Z)
				m.PitchRate[i] = float32((w.Z*up.Y - w.Y*up.Z) / max(flat, 1e-6))
				m.YawRate[i] = float32(-r3.Dot(w, up))
				m.Up[i] = float32(r3.Dot(f, up) - standardGravity)
			}
		}
	}
	m.blankRest()
}

// blankRest marks the samples outside every segment as unknown.
func (m *Motion) blankRest() {
	nan := float32(math.NaN())
	next := 0
	for k := 0; k <= len(m.Segments); k++ {
		to := len(m.Time)
		if k < len(m.Segments) {
			to = m.Segments[k][0]
		}
		for i := next; i < to; i++ {
			m.Pitch[i], m.Heel[i], m.PitchSE[i], m.Normal[i] = nan, nan, nan, nan
			m.PitchRate[i], m.YawRate[i], m.Up[i] = nan, nan, nan
		}
		if k < len(m.Segments) {
			next = m.Segments[k][1]
		}
	}
}
