package fit

import (
	"cmp"
	"encoding/binary"
	"math"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// maxSpread bounds, in s, the stretch over which samples without a time of
// their own are spread.
const maxSpread = 5

// maxOffset bounds, in ms, how far a sample may be from its message's time.
const maxOffset = 1e7

// A sensor is one sensor's samples on the way in.
type sensor struct {
	raw.Series
	name   string
	cal    *cal
	raw    []fitRange // samples still in counts, for want of a calibration
	holes  bool       // some samples are NaN, to be taken out
	spread bool       // some have no times of their own
}

// A fitRange is a range of indices, from lo up to and without hi.
type fitRange struct{ lo, hi int }

// A cal turns counts into calibrated values (three_d_sensor_calibration).
type cal struct {
	gain   float64 // to SI
	zero   [3]float64
	matrix [9]float64
}

// motion takes in a message with an array of samples.
func (f *reader) motion(m *msg) { f.samples(m, m.kind.sensor, calibrated, compressed, counts) }

// samples takes a sensor's samples out of a message. The same ones may be there
// calibrated, compressed and as counts; the best of these forms, which start
// at these slots, that has a valid one is taken.
func (f *reader) samples(m *msg, kind int, forms ...int) {
	s := &f.sensors[kind]
	lost := 0
	for _, slot := range forms {
		x, y, z := m.best(slot).n, m.best(slot+1).n, m.best(slot+2).n
		n, most := min(x, y, z), max(x, y, z)
		lost = max(lost, most)
		i := len(s.Time)
		good := f.axes(s, m, slot, n)
		if good == 0 {
			s.Cut(i) // nothing valid in this form
			continue
		}
		at, ok := f.time(m)
		if !ok {
			s.Cut(i)
			f.Drop(good, raw.NoStamp, s.name)
			return
		}
		f.place(s, m, i, n-good, at)
		s.Unit = cmp.Or(s.Unit, m.best(slot).unit)
		if r := (fitRange{i, i + n}); slot == counts && s.cal != nil {
			s.cal.apply(s, r)
		} else if slot == counts {
			s.raw = append(s.raw, r)
		}
		f.Drop(most-n, raw.AxisMissing, s.name)
		return
	}
	f.Drop(lost, raw.Invalid, s.name)
}

// axes appends n samples from the three fields at slot. It says how many are
// valid; the others are holes.
func (f *reader) axes(s *sensor, m *msg, slot, n int) (good int) {
	i := len(s.Time)
	if cap(s.Time) < i+n {
		s.Table().Resize(i+n, f.capacity(i+n))
	}
	s.Cut(i + n)
	odd := false
	for k := range 3 {
		fd := m.best(slot + k)
		dst := s.V[k][i:]
		if fd.base == typeFloat32 && m.order == binary.LittleEndian && fd.zero == 0 { // nearly always
			src, gain := m.b[fd.off:fd.off+4*n], fd.gain
			for j := range dst {
				v := math.Float32frombits(binary.LittleEndian.Uint32(src[4*j:]))
				v = float32(float64(v) * gain)
				dst[j] = v
				odd = odd || v-v != 0
			}
			continue
		}
		for j := range dst {
			v := float32(m.value(m.b, fd, j))
			dst[j] = v
			odd = odd || v-v != 0
		}
	}
	if !odd {
		return n
	}
	x, y, z := s.V[0][i:], s.V[1][i:], s.V[2][i:]
	for j := range x {
		if x[j]-x[j] == 0 && y[j]-y[j] == 0 && z[j]-z[j] == 0 {
			good++
		} else {
			s.hole(i + j)
		}
	}
	return good
}

// capacity says how many samples to make room for when want are needed.
func (f *reader) capacity(want int) int { return raw.GrowTo(want, 3, f.size, f.win.Pos()) }

// after sets the times of samples, ms after their message's, NaN where it tells
// none.
func (m *msg) after(t []float64) {
	fd := m.best(offsets)
	plain := fd.base == typeUint16 && m.order == binary.LittleEndian && fd.gain == 1 && fd.zero == 0
	step := m.num(interval)
	for j := range t {
		switch {
		case step > 0:
			t[j] = float64(j) * step
		case plain && j < fd.n: // nearly always; at half the cost
			t[j] = raw.NaN
			if u := binary.LittleEndian.Uint16(m.b[fd.off+2*j:]); u != math.MaxUint16 {
				t[j] = float64(u)
			}
		default:
			t[j] = m.value(m.b, fd, j)
		}
	}
}

// place gives the samples from i on their times: at, in ms, and their offsets;
// without offsets they share one until the part ends. So many are invalid.
func (f *reader) place(s *sensor, m *msg, i, invalid int, at int64) {
	t := s.Time[i:]
	m.after(t)
	timed, untimed := 0, 0
	for j, off := range t {
		t[j] = (float64(at) + off) / 1000
		if math.Abs(off) <= maxOffset {
			timed++
		} else {
			t[j] = raw.NaN
		}
	}
	for j := range t {
		if timed == len(t) {
			break
		}
		if t[j] == t[j] {
			continue
		}
		t[j] = float64(at) / 1000
		if timed > 0 && s.hole(i+j) {
			untimed++
		} else if timed > 0 {
			invalid-- // neither time nor value: padding, no loss
		}
	}
	f.Drop(invalid, raw.Invalid, s.name)
	f.Drop(untimed, raw.NoOffset, s.name)
	if timed == 0 && len(t) > 1 && !s.spread {
		s.spread = true
		f.Warn(raw.Warning{Kind: raw.SpreadSamples, Byte: m.pos, Sensor: s.name})
	}
}

// hole marks a sample to be taken out; false when it was already.
func (s *sensor) hole(j int) bool {
	was := s.V[0][j] != s.V[0][j]
	s.V[0][j] = float32(raw.NaN)
	s.holes = true
	return !was
}

// endPart settles what needed a whole file of the chain, whose samples begin at
// start: those that share a stamp for want of times of their own, and counts that
// were never calibrated.
func (f *reader) endPart(s *sensor, start int) {
	if s.spread {
		spread(s.Time[start:])
	}
	for _, r := range s.raw {
		for j := r.lo; j < r.hi; j++ {
			if s.hole(j) {
				f.Drop(1, raw.Uncalibrated, s.name)
			}
		}
	}
	s.raw, s.cal, s.spread = nil, nil, false
}

// spread spreads samples that share a stamp up to the next. When that is too far
// away, or not known, the last rate is kept, or else a second is taken to be full.
func spread(t []float64) {
	step := 0.0 // s, the last that is known
	for a, b := 0, 0; a < len(t); a = b {
		for b = a + 1; b < len(t) && t[b] == t[a]; b++ {
		}
		n := float64(b - a)
		if b < len(t) && n > 1 && t[b] > t[a] && t[b]-t[a] <= maxSpread {
			step = (t[b] - t[a]) / n
		}
		for j := a + 1; j < b; j++ {
			t[j] += float64(j-a) * cmp.Or(step, 1/n)
		}
	}
}

// closeHoles takes out the samples that were left as holes.
func (s *sensor) closeHoles() {
	if !s.holes {
		return
	}
	n, v := 0, &s.V // one pass: with indices it takes a tenth of the reader's time
	for i, t := range s.Time {
		if v[0][i] == v[0][i] {
			s.Time[n], v[0][n], v[1][n], v[2][n] = t, v[0][i], v[1][i], v[2][i]
			n++
		}
	}
	s.Cut(n)
}

// calibration takes in a three_d_sensor_calibration message. Counts that came
// before the first calibration of their sensor are brought up to it.
func (f *reader) calibration(m *msg) {
	kind := m.num(0)
	if kind != unit.Acc && kind != unit.Gyr {
		return // of a barometer, or of a sensor that is not read
	}
	s := &f.sensors[int(kind)]
	c := &cal{gain: m.num(1) / m.num(2) * fitSI[int(kind)], matrix: [9]float64{0: 1, 4: 1, 8: 1}}
	if c.gain == 0 || c.gain-c.gain != 0 {
		f.Warn(raw.Warning{Kind: raw.BadCalibration, Byte: m.pos, Sensor: s.name})
		return
	}
	for k := range c.zero {
		c.zero[k] = or(m.num(3), 0) + or(m.value(m.b, m.best(4), k), 0)
	}
	size := 0.0
	var matrix [9]float64
	for k := range matrix {
		matrix[k] = m.value(m.b, m.best(5), k) / 65535
		size += math.Abs(matrix[k])
	}
	if size > 0 { // whole, and not nought
		c.matrix = matrix
	}
	s.cal = c
	for _, r := range s.raw {
		c.apply(s, r)
	}
	if len(s.raw) > 0 {
		f.Warn(raw.Warning{Kind: raw.LateCalibration, Byte: m.pos, Sensor: s.name})
		s.raw = nil
	}
}

// apply calibrates samples that are in counts:
//
//	v = M · (counts − level shift − offset) · factor/divisor
//
// as in the notes of the FIT profile on message 167 (from memory), then to SI.
func (c *cal) apply(s *sensor, r fitRange) {
	for j := r.lo; j < r.hi; j++ {
		x, y, z := float64(s.V[0][j])-c.zero[0], float64(s.V[1][j])-c.zero[1], float64(s.V[2][j])-c.zero[2]
		for k := range 3 {
			m := c.matrix[3*k:]
			s.V[k][j] = float32(c.gain * (m[0]*x + m[1]*y + m[2]*z))
		}
	}
}
