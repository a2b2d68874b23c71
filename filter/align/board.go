package align

import (
	"math"
	"slices"
	"sort"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// standardGravity is the conventional acceleration of gravity, m/s².
const standardGravity = 9.80665

// Board finds the board's motion from a sensor mounted anywhere on it: signs,
// attitude, mount, whether the sensor stays put, and the level zero. The
// clocks must be tied. Without GPS pitch and heel are about the sensor's
// nearest axes. A sensor that is not fixed to the board gives a Motion with
// Mount.Rigid false and the reason; it is not an error. The errors are those
// of [attitude.TwoSided].
//
// pitchZero is the pitch that the logger shows when the deck is level, rad: the
// slope of the sensor's plane nearest to the deck, towards the bow; NaN where
// that is to be found.
func (p *Pair) Board(pitchZero float64) (*Motion, error) {
	tr, signs, err := p.Track()
	if err != nil {
		return nil, err
	}
	s := signs.apply(p.samples)
	m := &Motion{Time: s.Time, Track: tr}
	m.note(signs.finding())
	looks := newLooks(s, tr, p.vel)
	if tr.HeadingKnown {
		tellRiding(looks)
	}
	if n := len(those(looks, straight)); n < minStraight {
		m.fallback(looks, p.vel, n)
	} else {
		m.solve(s, looks, pitchZero)
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

// A part is a stretch of the log over which the sensor sat in one way, with
// what tells how. Its mount's pitch counts from the mean of straight riding
// until all is known.
type part struct {
	Part
	looks  []look
	heelSE float64 // rad, of the heel's zero
	tacks  int     // 1 or 2: ways that were ridden
	zero   float64 // rad, the pitch at which the deck is level
}

// fixed says that the mount was not refused.
func (p *part) fixed() bool { return p.Mount.Why.Kind == "" }

// cut divides the log at samples.
func cut(looks []look, at []int, n int) (parts []part) {
	slices.Sort(at)
	from := 0
	for _, to := range append(at, n) {
		lo := sort.Search(len(looks), func(k int) bool { return looks[k].from >= from })
		hi := sort.Search(len(looks), func(k int) bool { return looks[k].to > to })
		parts = append(parts, part{Part: Part{From: from, To: to}, looks: looks[lo:max(lo, hi)]})
		from = to
	}
	return parts
}

// solve finds the parts over which the sensor stayed put, and each one's mount.
func (m *Motion) solve(s attitude.Samples, looks []look, pitchZero float64) {
	whole := part{looks: looks}
	whole.solve(m.Track.HeadingSE)
	parts, shifts := m.divide(s, looks, whole.Mount.ToBoard)
	for i := range parts {
		p := &parts[i]
		if p.Mount, p.heelSE, p.tacks = whole.Mount, whole.heelSE, whole.tacks; len(parts) > 1 {
			p.solve(m.Track.HeadingSE)
		}
		p.Start, p.Mount.Why = s.Time[p.From], loose(swings(those(p.looks, straight), p.Mount.ToBoard))
		if pitchZero == pitchZero {
			p.givenZero(pitchZero)
		} else {
			p.findLevel(m.Track)
		}
	}
	m.judge(parts, shifts)
	shareLevel(parts)
	for i := range parts {
		p := &parts[i]
		p.Mount.ToBoard = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Y: -p.zero}), p.Mount.ToBoard))
		p.Mount.Rigid = p.fixed()
		m.Parts = append(m.Parts, p.Part)
	}
	if whole.tacks < 2 {
		m.note(Finding{Kind: OneTack})
	}
}

// divide cuts the log where the sensor came loose or was fixed at last, and
// where it shifted; shifts are told within what is fixed.
func (m *Motion) divide(s attitude.Samples, looks []look, toBoard quat.Number) (parts []part, shifts []shift) {
	var cuts []int
	if l := looseFrom(swings(those(looks, straight), toBoard)); l != nil {
		cuts = append(cuts, l.from)
	}
	for _, p := range cut(looks, cuts, len(m.Time)) {
		if at := those(p.looks, straight); loose(swings(at, toBoard)).Kind == "" {
			shifts = append(shifts, findShifts(looks, at, m.Track.HeadingSE, s)...)
		}
	}
	for _, sh := range shifts {
		cuts = append(cuts, sh.sample)
	}
	return cut(looks, cuts, len(m.Time)), shifts
}

// judge refuses the mount where the sensor shifted too often or too far, and
// notes the shifts that were put right.
func (m *Motion) judge(parts []part, shifts []shift) {
	refuse := func(why Finding, over bool) {
		for i := range parts {
			if over || parts[i].fixed() {
				parts[i].Mount.Why = why
			}
		}
	}
	often := len(shifts) > mostShifts
	if often {
		refuse(Finding{Kind: ShiftedOften, Count: len(shifts), At: m.Time[shifts[0].sample], Turn: shifts[0].by}, true)
	}
	for _, sh := range shifts {
		if t := m.Time[sh.sample]; sh.by > movedBy {
			refuse(Finding{Kind: Moved, At: t, Turn: sh.by}, false)
		} else if !often {
			m.note(Finding{Kind: Shifted, At: t, Turn: sh.by})
		}
	}
}

// shareLevel gives a part without a level zero that of the part that has one,
// by flying at the same pitch at the same speed.
func shareLevel(parts []part) {
	for i := range parts {
		p := &parts[i]
		if p.Mount.LevelZero || !p.fixed() {
			continue
		}
		if j := slices.IndexFunc(parts, func(o part) bool { return o.Mount.LevelZero && o.fixed() }); j >= 0 {
			from := &parts[j]
			gap, se := pitchGap(from, p)
			p.setLevel(from.zero+gap, math.Hypot(from.Mount.LevelSE, se), Finding{Kind: LevelEqualPitch, Of: &from.Mount.LevelFrom})
		}
	}
	if !parts[0].Mount.LevelZero { // no zero at all: bring the later parts to the first one's
		for i := range parts[1:] {
			parts[i+1].zero, _ = pitchGap(&parts[0], &parts[i+1])
		}
	}
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
func pitchGap(a, b *part) (gap, se float64) {
	var n, x, y [2]float64 // sums
	var xx, xy, yy float64 // about each part's means
	for i, p := range []*part{a, b} {
		for _, l := range those(p.looks, straight) {
			if pitch, _, _ := l.angles(p.Mount.ToBoard); math.Abs(pitch) < fallPitch {
				u := 1 / sq(l.speed)
				n[i], x[i], y[i] = n[i]+1, x[i]+u, y[i]+pitch
				xx, xy, yy = xx+u*u, xy+u*pitch, yy+pitch*pitch
			}
		}
		if n[i] < gapAlike {
			return 0, gapUnseen
		}
		xx, xy, yy = xx-x[i]*x[i]/n[i], xy-x[i]*y[i]/n[i], yy-y[i]*y[i]/n[i]
	}
	if !(xx > 0) {
		return 0, gapUnseen
	}
	slope := xy / xx
	v := max(yy-slope*xy, 0) / (n[0] + n[1])
	return (y[1]-slope*x[1])/n[1] - (y[0]-slope*x[0])/n[0], math.Sqrt(v*gapAlike*(1/n[0]+1/n[1]) + sq(gapSD))
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
			up = rotation.Direction(sum)
		}
	}
	// Forward is the sensor's x axis, or y where x stands up.
	x := r3.Vec{X: 1}
	if math.Abs(up.X) > 0.75 {
		x = r3.Vec{Y: 1}
	}
	level := rotation.Upright(up)
	x = rotation.Rotate(level, x)
	mt := Mount{
		ToBoard: rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Z: -math.Atan2(x.Y, x.X)}), level)), HeadingSE: math.NaN(),
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
	columns := []*[]float32{&m.Pitch, &m.Heel, &m.PitchSE, &m.Normal, &m.PitchRate, &m.Up}
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
		m.Up[i] = float32(r3.Dot(f, up) - standardGravity)
	}
}
