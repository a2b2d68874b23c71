package fit

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// fitSI turns a sensor's calibrated unit in FIT (g, deg/s) to SI.
var fitSI = [2]float64{unit.Gravity, math.Pi / 180}

var units = [2]string{"g", "deg/s"}

// maxSpread bounds, in s, the stretch over which samples without a time of
// their own are spread.
const maxSpread = 5

// maxOffset bounds, in ms, how far a sample may be from its message's time.
const maxOffset = 1e7

// A sensor is one sensor's samples on the way in.
type sensor struct {
	kind   int
	s      *raw.Series
	cal    *cal
	raw    []fitRange // samples still in counts, for want of a calibration
	holes  bool       // some samples are NaN, to be taken out
	spread bool       // some have no times of their own
}

// A fitRange is a range of indices, from lo up to and without hi.
type fitRange struct{ lo, hi int }

// A cal turns counts into calibrated values (three_d_sensor_calibration).
type cal struct {
	gain   float64
	zero   [3]float64
	matrix [3][3]float64
}

// extend makes room for n more samples and returns the index of the first.
func (f *reader) extend(s *raw.Series, n int) int {
	i := len(s.Time)
	if cap(s.Time) < i+n {
		s.Table().Resize(i+n, f.capacity(i+n))
	}
	s.Cut(i + n)
	return i
}

// A form is one way in which a message holds samples: three fields from a slot
// on, and the unit that their values times scale are SI of.
type form struct {
	slot   int
	scale  float64
	unit   string
	counts bool // to be calibrated
}

func (f *reader) accel(d *def, b []byte, _ int64)  { f.sensor(&f.acc, d, b) }
func (f *reader) gyro(d *def, b []byte, pos int64) { f.sensor(&f.gyr, d, b) }

// sensor takes in a message with an array of samples.
func (f *reader) sensor(s *sensor, d *def, b []byte) {
	si := fitSI[s.kind]
	// The same samples may be there calibrated, compressed and as counts;
	// the best that is valid is taken.
	forms := []form{{5, si, units[s.kind], false}, {8, si / 1000, "mG", false}, {2, 1, "counts", true}}
	switch d.global {
	case hsaAccel:
		forms = []form{{2, si / 1024, "mG", false}}
	case hsaGyro:
		forms = []form{{2, si / 28.57143, "deg/s", false}}
	}
	lost := 0
	for _, g := range forms {
		a, c, e := d.slot[g.slot].n, d.slot[g.slot+1].n, d.slot[g.slot+2].n
		n, most := min(a, c, e), max(a, c, e)
		lost = max(lost, most)
		if n == 0 {
			continue
		}
		i, good := f.axes(s, d, b, g.slot, n, g.scale)
		if good == 0 && !g.counts {
			s.s.Cut(i) // nothing valid in this form
			continue
		}
		if at, ok := f.millis(d.or(b, 0, 0)); ok {
			f.place(s, i, n, n-good, at, f.offsets(d, b, n))
		} else {
			clear(s.s.Time[i:])
			f.void(s, fitRange{i, i + n}, raw.NoStamp)
		}
		if s.s.Unit == "" {
			s.s.Unit = g.unit
		}
		if g.counts {
			if s.cal != nil {
				s.cal.apply(s, fitRange{i, i + n})
			} else if k := len(s.raw); k > 0 && s.raw[k-1].hi == i {
				s.raw[k-1].hi = i + n
			} else {
				s.raw = append(s.raw, fitRange{i, i + n})
			}
		}
		if most > n {
			f.drop(s, most-n, raw.AxisMissing)
		}
		return
	}
	if lost > 0 {
		f.drop(s, lost, raw.Invalid)
	}
}

// axes appends n samples from the three fields at slot, times scale. It
// returns the index of the first and how many are valid; the others are NaN.
func (f *reader) axes(s *sensor, d *def, b []byte, slot, n int, scale float64) (first, good int) {
	i := f.extend(s.s, n)
	for k := range 3 {
		fd := d.slot[slot+k]
		dst := s.s.V[k][i : i+n]
		if fd.base == typeFloat32 && d.order == binary.LittleEndian { // nearly always
			src := b[fd.off : fd.off+4*n]
			for j := range dst {
				v := math.Float32frombits(binary.LittleEndian.Uint32(src[4*j:]))
				dst[j] = float32(float64(v) * scale)
			}
			continue
		}
		for j := range dst {
			v, _ := d.value(b, fd, j)
			dst[j] = float32(v * scale)
		}
	}
	return i, s.check(i, n)
}

// check makes holes of the samples i to i+n that are not finite; it says how
// many are.
func (s *sensor) check(i, n int) (good int) {
	x, y, z := s.s.V[0][i:i+n], s.s.V[1][i:i+n], s.s.V[2][i:i+n]
	for j := range x {
		if x[j]-x[j] == 0 && y[j]-y[j] == 0 && z[j]-z[j] == 0 {
			good++
		} else {
			s.hole(i + j)
		}
	}
	return good
}

// offsets are the times, ms after the message's, of its n samples, NaN where it
// tells none; nil when it tells none at all.
func (f *reader) offsets(d *def, b []byte, n int) []float64 {
	off := d.slot[1]
	f.off = f.off[:0]
	if d.global == hsaAccel || d.global == hsaGyro {
		step, _ := d.value(b, off, 0)
		if d.global == hsaGyro {
			step *= 1000.0 / 32768
		}
		if !(step > 0 && step*float64(n) <= maxOffset) {
			return nil
		}
		for j := range n {
			f.off = append(f.off, float64(j)*step)
		}
		return f.off
	}
	if off.base == typeUint16 && d.order == binary.LittleEndian { // nearly always; at half the cost
		for j := range min(n, off.n) {
			v := raw.NaN
			if u := binary.LittleEndian.Uint16(b[off.off+2*j:]); u != math.MaxUint16 {
				v = float64(u)
			}
			f.off = append(f.off, v)
		}
	}
	for j := len(f.off); j < n; j++ {
		v, _ := d.value(b, off, j)
		f.off = append(f.off, v)
	}
	if !slices.ContainsFunc(f.off, near) {
		return nil
	}
	return f.off
}

// near says whether a sample may lie so far from its message, ms.
func near(off float64) bool { return math.Abs(off) <= maxOffset }

// place gives samples from i on their times: at, in ms, and their offsets;
// without offsets they are spread. So many of the n are invalid.
func (f *reader) place(s *sensor, i, n, invalid int, at int64, offsets []float64) {
	if offsets == nil {
		f.drop(s, invalid, raw.Invalid)
		for j := i; j < i+n; j++ {
			s.s.Time[j] = float64(at) / 1000
		}
		if n > 1 && !s.spread {
			s.spread = true
			f.Warn(raw.Warning{Kind: raw.SpreadSamples, Byte: f.win.Pos, Sensor: unit.SensorNames[s.kind]})
		}
		return
	}
	untimed := 0
	for j, off := range offsets[:n] {
		if near(off) {
			s.s.Time[i+j] = (float64(at) + off) / 1000
			continue
		}
		s.s.Time[i+j] = float64(at) / 1000
		if s.hole(i + j) {
			untimed++
		} else {
			invalid-- // neither time nor value: padding, no loss
		}
	}
	f.drop(s, invalid, raw.Invalid)
	f.drop(s, untimed, raw.NoOffset)
}

// drop counts samples of a sensor that are left out.
func (f *reader) drop(s *sensor, n int, reason raw.Kind) { f.Drop(n, reason, unit.SensorNames[s.kind]) }

// hole marks a sample to be taken out; false when it was already.
func (s *sensor) hole(j int) bool {
	was := s.s.V[0][j] != s.s.V[0][j]
	s.s.V[0][j] = float32(raw.NaN)
	s.holes = true
	return !was
}

// void takes samples out, later, and counts them.
func (f *reader) void(s *sensor, r fitRange, reason raw.Kind) {
	n := 0
	for j := r.lo; j < r.hi; j++ {
		if s.hole(j) {
			n++
		}
	}
	f.drop(s, n, reason)
}

// endPart settles what needed a whole file of the chain, whose samples begin at
// start: those that share a stamp for want of times of their own, and counts that
// were never calibrated.
func (f *reader) endPart(s *sensor, start int) {
	if s.spread {
		spread(s.s.Time[start:])
	}
	for _, r := range s.raw {
		f.void(s, r, raw.Uncalibrated)
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
	n, v := 0, &s.s.V // one pass: with indices it takes a tenth of the reader's time
	for i, t := range s.s.Time {
		if v[0][i] == v[0][i] {
			s.s.Time[n], v[0][n], v[1][n], v[2][n] = t, v[0][i], v[1][i], v[2][i]
			n++
		}
	}
	s.s.Cut(n)
}

// calibration takes in a three_d_sensor_calibration message. Counts that came
// before the first calibration of their sensor are brought up to it.
func (f *reader) calibration(d *def, b []byte, pos int64) {
	kind, ok := d.value(b, d.slot[0], 0)
	if !ok || kind != unit.Acc && kind != unit.Gyr {
		return // of a barometer, or of a sensor that is not read
	}
	s := f.sensors()[int(kind)]
	factor, ok1 := d.value(b, d.slot[1], 0)
	divisor, ok2 := d.value(b, d.slot[2], 0)
	if !ok1 || !ok2 || factor == 0 || divisor == 0 {
		f.Warn(raw.Warning{Kind: raw.BadCalibration, Byte: pos, Sensor: unit.SensorNames[s.kind]})
		return
	}
	c := &cal{gain: factor / divisor}
	for k := range c.zero {
		c.zero[k] = d.or(b, 3, 0)
		if v, ok := d.value(b, d.slot[4], k); ok {
			c.zero[k] += v
		}
	}
	whole := d.slot[5].n >= 9
	largest := 0.0
	for k := range 9 {
		v, ok := d.value(b, d.slot[5], k)
		whole = whole && ok
		c.matrix[k/3][k%3] = v / 65535
		largest = max(largest, math.Abs(v))
	}
	if !whole || largest == 0 {
		c.matrix = [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	}
	s.cal = c
	for _, r := range s.raw {
		c.apply(s, r)
	}
	if len(s.raw) > 0 {
		f.Warn(raw.Warning{Kind: raw.LateCalibration, Byte: pos, Sensor: unit.SensorNames[s.kind]})
		s.raw = nil
	}
}

// apply calibrates samples that are in counts:
//
//	v = M · (counts − level shift − offset) · factor/divisor
//
// as in the notes of the FIT profile on message 167 (from memory), then to SI.
func (c *cal) apply(s *sensor, r fitRange) {
	gain := c.gain * fitSI[s.kind]
	x, y, z := s.s.V[0], s.s.V[1], s.s.V[2]
	for j := r.lo; j < r.hi; j++ {
		p := [3]float64{float64(x[j]) - c.zero[0], float64(y[j]) - c.zero[1], float64(z[j]) - c.zero[2]}
		for k := range 3 {
			m := &c.matrix[k]
			s.s.V[k][j] = float32(gain * (m[0]*p[0] + m[1]*p[1] + m[2]*p[2]))
		}
	}
}
