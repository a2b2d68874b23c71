package align

import (
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// standardGravity is the conventional acceleration of gravity, m/s².
const standardGravity = 9.80665

// Options steer [Pair.Board]. The zero value finds everything itself.
type Options struct {
	// PitchZero is the pitch that the logger shows when the deck is level, rad,
	// the slope of the sensor's plane nearest to the deck, towards the bow; used
	// when PitchZeroKnown.
	PitchZero      float64
	PitchZeroKnown bool
}

// Board finds the board's motion from a sensor mounted anywhere on it: signs,
// attitude, mount, whether the sensor stays put, and the level zero. The
// clocks must be tied. Without GPS pitch and heel are about the sensor's
// nearest axes. A sensor that is not fixed to the board gives a Motion with
// Mount.Rigid false and the reason; it is not an error. The errors are those
// of [attitude.TwoSided].
func (p *Pair) Board(opt Options) (*Motion, error) {
	tr, signs, err := p.Track()
	if err != nil {
		return nil, err
	}
	s := signs.apply(p.samples)
	m := &Motion{Time: s.Time, Track: tr}
	m.note(signs.finding())
	looks := newLooks(s, tr, p.vel)
	var r ridden
	if tr.HeadingKnown {
		r = pickRidden(looks)
		r.headingSE = tr.HeadingSE
	}
	if len(r.straight) < minStraight {
		m.fallback(looks, p.vel, len(r.straight))
	} else {
		m.solve(s, looks, r, &opt)
	}
	for i := range m.Parts {
		mt := &m.Parts[i].Mount
		mt.AccelerometerSign, mt.GyroscopeSign = signs.Accelerometer, signs.Gyroscope
		mt.describe()
	}
	m.pickMount()
	m.fill(s)
	return m, nil
}

func (m *Motion) note(f Finding) {
	if f.Kind != "" {
		m.Notes = append(m.Notes, f)
	}
}

// solve finds the parts over which the sensor stayed put, and each one's mount.
func (m *Motion) solve(s attitude.Samples, looks []look, r ridden, opt *Options) {
	whole := solveMount(looks, r)
	parts, shifts := divide(s, looks, r, &whole)
	for i := range parts {
		p := &parts[i]
		p.sol = whole
		if len(parts) > 1 {
			p.sol = solveMount(looks, p.ridden)
		}
		p.refused = loose(swings(looks, p.ridden.straight, p.sol.toBoard))
		if p.level = levelFrom(looks, p.lookFrom, p.lookTo, m.Track, &p.sol); opt.PitchZeroKnown {
			p.level = givenZero(&p.sol, opt.PitchZero)
		}
	}
	m.judge(parts, shifts)
	shareLevel(looks, parts)
	for i := range parts {
		p := &parts[i]
		mt := Mount{
			ToBoard:   rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Y: -p.level.zero}), p.sol.toBoard)),
			HeadingSE: p.sol.headingSE,
			LevelZero: p.level.ok, LevelFrom: p.level.how, LevelSE: math.NaN(),
			Rigid: p.refused.Kind == "", Why: p.refused,
		}
		if p.level.ok {
			mt.LevelSE = p.level.se
		}
		m.Parts = append(m.Parts, Part{From: p.from, To: p.to, Start: s.Time[p.from], Mount: mt})
	}
	if whole.tacks < 2 {
		m.note(Finding{Kind: OneTack})
	}
}

// divide cuts the log where the sensor came loose or was fixed at last, and
// where it shifted; shifts are told within what is fixed.
func divide(s attitude.Samples, looks []look, r ridden, whole *solution) (parts []part, shifts []shift) {
	var cuts []shift
	if at := looseFrom(swings(looks, r.straight, whole.toBoard)); at >= 0 {
		cuts = append(cuts, shift{t: looks[at].t, look: at, split: looks[at].from})
	}
	for _, p := range cut(looks, r, cuts, len(s.Time)) {
		if why := loose(swings(looks, p.ridden.straight, whole.toBoard)); why.Kind == "" {
			shifts = append(shifts, findShifts(looks, p.ridden, s)...)
		}
	}
	cuts = append(cuts, shifts...)
	slices.SortFunc(cuts, func(a, b shift) int { return a.split - b.split })
	return cut(looks, r, cuts, len(s.Time)), shifts
}

// judge refuses the mount where the sensor shifted too often or too far, and
// notes the shifts that were put right.
func (m *Motion) judge(parts []part, shifts []shift) {
	refuse := func(why Finding, over bool) {
		for i := range parts {
			if over || parts[i].refused.Kind == "" {
				parts[i].refused = why
			}
		}
	}
	if len(shifts) > mostShifts {
		refuse(Finding{Kind: ShiftedOften, Count: len(shifts), At: shifts[0].t, Turn: shifts[0].by}, true)
	}
	for _, sh := range shifts {
		if sh.by > movedBy {
			refuse(Finding{Kind: Moved, At: sh.t, Turn: sh.by}, false)
		} else if len(shifts) <= mostShifts {
			m.note(Finding{Kind: Shifted, At: sh.t, Turn: sh.by})
		}
	}
}

// shareLevel gives a part without a level zero that of the part that has one,
// by flying at the same pitch at the same speed.
func shareLevel(looks []look, parts []part) {
	for i := range parts {
		p := &parts[i]
		if p.level.ok {
			continue
		}
		for j := range parts {
			o := &parts[j]
			if j == i || !o.level.ok || o.refused.Kind != "" || p.refused.Kind != "" {
				continue
			}
			gap, se := pitchGap(looks, o, p)
			p.level = levelZero{ok: true, zero: o.level.zero + gap, se: math.Hypot(o.level.se, se), how: Finding{Kind: LevelEqualPitch, Of: &o.level.how}}
			break
		}
	}
	if !parts[0].level.ok { // no zero at all: bring the later parts to the first one's
		for i := range parts[1:] {
			parts[i+1].level.zero, _ = pitchGap(looks, &parts[0], &parts[i+1])
		}
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
		within := func(of []int) (in []int) {
			for _, k := range of {
				if looks[k].from >= p.from && looks[k].to <= p.to {
					in = append(in, k)
				}
			}
			return in
		}
		p.ridden = ridden{straight: within(r.straight), turning: within(r.turning), headingSE: r.headingSE}
	}
	return parts
}

// Doubts of equal pitch at equal speed, rad (1σ).
const (
	gapSD     = 0.2 * deg // the rider's stance differs from time to time
	gapUnseen = 2 * deg   // with too few looks to tell
	gapAlike  = 10        // looks that count as one
)

// pitchGap is how much lower the zero of part b has to be counted than that
// of part a for both to fly at the same pitch at the same speed, rad: a line
// in 1/V² for each part, of one slope.
func pitchGap(looks []look, a, b *part) (gap, se float64) {
	var n [2]int
	var rows, pitches []float64
	for i, p := range []*part{a, b} {
		for _, k := range p.ridden.straight {
			if pitch, _, _ := looks[k].angles(p.sol.toBoard); math.Abs(pitch) < fallPitch {
				rows, pitches = append(rows, float64(1-i), float64(i), 1/sq(looks[k].speed)), append(pitches, pitch)
				n[i]++
			}
		}
		if n[i] < gapAlike {
			return 0, gapUnseen
		}
	}
	x, y := mat.NewDense(len(pitches), 3, rows), mat.NewVecDense(len(pitches), pitches)
	var line, left mat.VecDense
	if line.SolveVec(x, y) != nil {
		return 0, gapUnseen
	}
	left.MulVec(x, &line)
	left.SubVec(y, &left)
	v := mat.Dot(&left, &left) / float64(len(pitches))
	return line.AtVec(1) - line.AtVec(0), math.Sqrt(v*gapAlike*(1/float64(n[0])+1/float64(n[1])) + sq(gapSD))
}

// fallback settles on the sensor's own axes when the bow cannot be told.
func (m *Motion) fallback(looks []look, vel *fixes, straight int) {
	up := r3.Vec{Z: 1}
	for round := range 3 { // what is far from the mean is no ride
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
		LevelFrom: Finding{Kind: BowUnknown}, LevelSE: math.NaN(), Rigid: true,
	}
	switch {
	case vel == nil:
		m.note(Finding{Kind: NoGPS})
	case vel.moving < minStraight:
		m.note(Finding{Kind: NoMotion})
	case !m.Track.HeadingKnown:
		mt.Rigid, mt.Why = false, Finding{Kind: OffBoard}
		m.note(Finding{Kind: NotInCommon})
	default:
		m.note(Finding{Kind: LittleStraight, Count: straight, Needed: minStraight})
	}
	m.Parts = []Part{{To: len(m.Time), Start: m.Time[0], Mount: mt}}
}

// describe fills the angles that say how the sensor sits.
func (mt *Mount) describe() {
	up := rotation.Rotate(quat.Conj(mt.ToBoard), r3.Vec{Z: 1})
	mt.Tilt = math.Acos(clip(r3.Dot(up, nearestAxis(mt.ToBoard)), 1))
	if mt.Heading = math.NaN(); math.IsNaN(mt.HeadingSE) {
		return
	}
	x, turn := rotation.Rotate(mt.ToBoard, r3.Vec{X: 1}), 0.0
	if math.Abs(x.Z) > 0.9 { // x stands up: take y, a quarter turn on
		x, turn = rotation.Rotate(mt.ToBoard, r3.Vec{Y: 1}), math.Pi/2
	}
	mt.Heading = wrapPi(math.Atan2(x.Y, x.X) - turn)
}

// pickMount takes the longest part's mount for the whole's; a part that was
// refused speaks for the whole when it is the longest.
func (m *Motion) pickMount() {
	longest := slices.MaxFunc(m.Parts, func(a, b Part) int { return (a.To - a.From) - (b.To - b.From) })
	m.Mount = longest.Mount
	for i := range m.Parts {
		if p := &m.Parts[i]; !p.Mount.Rigid && m.Mount.Rigid {
			m.note(Finding{Kind: PartRefused, At: p.Start, Of: &p.Mount.Why})
		}
	}
}

// fill works out the board's motion at every sample; NaN in gaps, and in a
// part that was refused while the rest was not.
func (m *Motion) fill(s attitude.Samples) {
	n := len(s.Time)
	columns := []*[]float32{&m.Pitch, &m.Heel, &m.PitchSE, &m.Normal, &m.PitchRate, &m.YawRate, &m.Up}
	for _, c := range columns {
		*c = make([]float32, n)
	}
	done := 0
	blank := func(to int) {
		for _, c := range columns {
			for i := done; i < to; i++ {
				(*c)[i] = float32(math.NaN())
			}
		}
	}
	for i := range m.Parts {
		p := &m.Parts[i]
		if m.Mount.Rigid && !p.Mount.Rigid {
			continue // what a loose sensor shows is not the board's motion
		}
		for k, seg := range m.Track.Segments {
			from, to := max(seg[0], p.From), min(seg[1], p.To)
			if from >= to {
				continue
			}
			m.Segments = append(m.Segments, [2]int{from, to})
			blank(from)
			done = to
			filter.InParts(to-from, func(a, b int) { m.fillPart(s, &p.Mount, m.Track.Bias[k], from+a, from+b) })
		}
	}
	blank(n)
}

// fillPart fills samples [from, to), which share a mount and a gyroscope's offset.
func (m *Motion) fillPart(s attitude.Samples, mt *Mount, bias r3.Vec, from, to int) {
	headingSE := mt.HeadingSE
	if math.IsNaN(headingSE) {
		headingSE = 0
	}
	b := r3.Rotation(mt.ToBoard).Mat()
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
