package ingest

import (
	"cmp"
	"math"
	"slices"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

const (
	// timeMost is beyond any log, s.
	timeMost = 1e12
	// unsetBefore is the year before which a clock has not been set.
	unsetBefore = 2005
	// relativeFar is the time above which a log without a date is counted from its
	// own first sample, s: seconds since a phone was switched on tell nobody
	// anything.
	relativeFar = 3600
	// rateChangesTold bounds how many changes of a rate are told one by one.
	rateChangesTold = 3
	// gyroLeast is the least part of the accelerometer's samples that a gyroscope
	// must cover to be used.
	gyroLeast = 0.1
)

// A builder turns one file's columns into a Log.
type builder struct {
	r     *raw.Columns
	notes raw.Notes
	log   *Log // of its own: within the builder it would keep the columns as read
	jumps []jump
	ref   float64 // s, see mender
	// weightless: the accelerometer shows no gravity and was left out.
	weightless bool
}

// build mends the columns that a reader hands on and makes a Log of them.
func build(r *raw.Columns) (*Log, error) {
	b := &builder{r: r, notes: raw.NotesOf(r), log: new(Log)}
	b.dateMarks()
	b.finite()
	b.believeDate()
	b.unwrap()
	if err := b.oneOuting(); err != nil {
		return nil, err
	}
	for _, s := range r.Streams() {
		if s.Name != fixes { // last: another series may tell how the clock leapt
			b.mend(s)
		}
	}
	b.refuseWeightless()
	b.fixes()
	b.mendMarks()
	b.rebase()

	f, l := &r.File, b.log
	for _, s := range r.Streams() {
		f.Read += len(s.Time())
	}
	if f.Read == 0 && !b.weightless {
		b.notes.Settle(r)
		return nil, r.Useless("holds no usable sample")
	}
	if first, last := b.extent(); first <= last {
		f.DurationS = last - first
		if !r.Start.IsZero() {
			f.First, f.Last = addSeconds(r.Start, first), addSeconds(r.Start, last)
		}
	}
	l.IMU = b.imu()
	f.Channels = b.channels()
	b.deck()
	l.GPS = b.gps()
	if len(r.Acc.Time) == 0 && len(r.Gyr.Time) > 0 {
		l.gyrOnly = r.Gyr
		b.notes.Warn(raw.Warning{Kind: raw.OnlyGyro, Lacks: unit.SensorNames[unit.Acc]})
	}
	l.Start, l.noZone, l.Clock = r.Start, r.NoZone, untied
	if len(l.IMU.Time) > 0 && len(l.GPS.Time) > 0 {
		l.Clock.Tied, l.Clock.How = true, OneDevice
	}
	if w, apart := l.overlap(); apart {
		b.notes.Warn(w)
	}
	l.Marks = b.marks()
	b.notes.Settle(r)
	l.Files, l.Warnings = []File{*f}, r.Warnings
	return l, nil
}

// at gives a warning its moment in the log.
func (b *builder) at(t float64, w raw.Warning) raw.Warning {
	w.At = t
	if !b.r.Start.IsZero() {
		w.Time = addSeconds(b.r.Start, t)
	}
	return w
}

// extent is the first and last time of the log, s.
func (b *builder) extent() (first, last float64) {
	return raw.Extent(b.r.Acc.Time, b.r.Gyr.Time, b.r.Gps.Time, b.r.Deck.Time)
}

// unset is the time, in seconds of the log, before which no date is believed.
func (b *builder) unset() float64 {
	if b.r.Start.IsZero() {
		return math.Inf(1)
	}
	return secondsBetween(b.r.Start, time.Date(unsetBefore, 1, 1, 0, 0, 0, 0, time.UTC))
}

// finite leaves out samples with NaN or an infinity in them.
func (b *builder) finite() {
	for _, s := range []*raw.Series{&b.r.Acc, &b.r.Gyr} {
		b.notes.Drop(s.Table().Keep(func(i int) bool {
			x := s.V[0][i] - s.V[0][i] + s.V[1][i] - s.V[1][i] + s.V[2][i] - s.V[2][i]
			return x == 0 && math.Abs(s.Time[i]) < timeMost
		}), raw.NotFinite, "")
	}
	t := b.r.Deck.Time // a row of the deck may lack values
	b.notes.Drop(b.r.Deck.Table().Keep(func(i int) bool { return math.Abs(t[i]) < timeMost }), raw.NotFinite, "")
	b.finiteFixes()
}

// believeDate takes away the date of a log whose clock was never set.
func (b *builder) believeDate() {
	unset := b.unset()
	if b.r.Start.IsZero() || slices.ContainsFunc(b.r.Streams(), func(s raw.Stream) bool {
		return slices.ContainsFunc(s.Time(), func(x float64) bool { return x >= unset })
	}) {
		return
	}
	b.notes.Warn(raw.Warning{Kind: raw.NeverSet, Time: b.r.Start})
	b.r.Start = time.Time{}
}

// rebase moves the zero of time near the first sample when that lies far off,
// and the start of a dated log before it.
func (b *builder) rebase() {
	first, _ := b.extent()
	dated := !b.r.Start.IsZero()
	switch {
	case math.IsInf(first, 1) || math.Abs(first) <= relativeFar && !(dated && first < 0):
		return
	case dated:
		first = math.Floor(first)
		b.r.Start = addSeconds(b.r.Start, first)
	default:
		b.log.zero = first
	}
	raw.ShiftAll(b.r, -first)
}

// channels describes what was read, and tells how its rates change. A course or
// altitude that is missing at rest is no gap: the fixes' own gaps count for them.
func (b *builder) channels() (all []Channel) {
	r, f := b.r, &b.r.Gps
	b.tellRate(unit.SensorNames[unit.Acc], r.Acc.Time)
	if !raw.SameTimes(r.Acc.Time, r.Gyr.Time) {
		b.tellRate(unit.SensorNames[unit.Gyr], r.Gyr.Time)
	}
	b.tellRate(fixes, f.Time)
	every, _ := pace(f.Time)
	var feet, moment []float64
	if told(r.Deck.V[0]) || told(r.Deck.V[1]) {
		feet = r.Deck.Time
	}
	if told(r.Deck.V[2]) {
		moment = r.Deck.Time
	}
	for _, c := range []struct {
		name, unit string
		t          []float64
		rests      bool // may be missing at rest
	}{
		{unit.SensorNames[unit.Acc], unit.Text(r.Acc.Unit), r.Acc.Time, false},
		{unit.SensorNames[unit.Gyr], unit.Text(r.Gyr.Unit), r.Gyr.Time, false},
		{"position", "deg", known(f.Time, f.Lat), false},
		{"speed", unit.Text(cmp.Or(f.SpeedUnit, "mps")), known(f.Time, f.Speed), false},
		{"course", "deg", known(f.Time, f.Course), true},
		{"altitude", "m", known(f.Time, f.Alt), true},
		{unit.FootForces, unit.Text(r.Deck.Unit), feet, false},
		{unit.MastMoment, "N·m", moment, false},
	} {
		if len(c.t) == 0 {
			continue
		}
		gaps, hz := pace(c.t)
		if c.rests {
			gaps = every
		}
		ch := Channel{Name: c.name, Unit: c.unit, Samples: len(c.t), RateHz: hz, Gaps: len(gaps)}
		for _, g := range gaps {
			ch.LongestGapS = max(ch.LongestGapS, g.End-g.Start)
		}
		all = append(all, ch)
	}
	return all
}

// tellRate reports how a rate changes.
func (b *builder) tellRate(sensor string, t []float64) {
	for i, c := range rateChanges(t) {
		if i == rateChangesTold {
			b.notes.Warn(raw.Warning{Kind: raw.RateUnsteady, Sensor: sensor})
			return
		}
		b.notes.Warn(b.at(c.at, raw.Warning{Kind: raw.RateChange, Sensor: sensor, Values: []float64{c.from, c.to}}))
	}
}

// deck hands on what presses on the deck; the force of one foot alone waits for
// the other's.
func (b *builder) deck() {
	s := &b.r.Deck
	if len(s.Time) == 0 {
		return
	}
	d := Deck{Time: s.Time, Feet: [2][]float32{s.V[0], s.V[1]}, Moment: s.V[2], Sides: b.r.Sides}
	d.Gaps, d.Rate = pace(d.Time)
	alone := d.Sides && told(s.V[0]) != told(s.V[1])
	if alone {
		b.log.foot = *s
		d.Feet = [2][]float32{unknown(len(s.Time)), unknown(len(s.Time))}
	}
	if !alone || d.HasMoment() {
		b.log.Decks = []Deck{d}
	}
}

// imu makes the log's IMU of the mended samples.
func (b *builder) imu() IMU {
	acc, gyr := &b.r.Acc, &b.r.Gyr
	u, lost := joinIMU(acc, gyr)
	b.notes.Drop(lost, raw.NoGyroBeside, unit.SensorNames[unit.Acc])
	if len(acc.Time) > 0 && len(gyr.Time) > 0 && !u.hasGyro() {
		b.notes.Warn(raw.Warning{Kind: raw.ShortGyro})
	}
	if w, wrong := settleGyro(&u, gyr); wrong {
		b.notes.Warn(w)
	}
	return u
}

// joinIMU makes an IMU of accelerometer and gyroscope. Where they are stamped
// apart, the gyroscope is interpolated linearly to the accelerometer's times,
// inside its span and never across a gap; an accelerometer sample that has no
// gyroscope there is lost, since an attitude cannot be carried across it.
func joinIMU(acc, gyr *raw.Series) (imu IMU, lost int) {
	n := len(acc.Time)
	if n == 0 {
		return IMU{}, 0
	}
	imu = IMU{Time: acc.Time, Acc: acc.V, Gyr: gyr.V}
	if gyr.Guessed {
		imu.GyrGuess = unit.Text(gyr.Unit)
	}
	if !raw.SameTimes(gyr.Time, acc.Time) {
		cols, idx := resample(gyr, acc.Time)
		if float64(len(idx)) < max(1, gyroLeast*float64(n)) { // too little to throw the rest away for
			imu.Gyr = [3][]float32{unknown(n), unknown(n), unknown(n)}
		} else {
			imu.Gyr, lost = cols, n-len(idx)
			imu.Time = raw.Gather(acc.Time, idx)
			for k := range imu.Acc {
				imu.Acc[k] = raw.Gather(acc.V[k], idx)
			}
		}
	}
	imu.Gaps, imu.Rate = pace(imu.Time)
	return imu, lost
}

// resample interpolates a series linearly to those of times t that lie inside
// its span and outside its gaps: idx says which.
func resample(s *raw.Series, t []float64) (cols [3][]float32, idx []int32) {
	n := len(s.Time)
	widest := gapLimit(period(s.Time))
	idx = make([]int32, 0, len(t))
	for k := range cols {
		cols[k] = make([]float32, 0, len(t))
	}
	j := 0
	for i, x := range t {
		for j < n && s.Time[j] < x {
			j++
		}
		if j == n || j == 0 && s.Time[0] > x {
			continue // nothing is made up beyond the ends
		}
		a, w := j, float32(0)
		if s.Time[j] > x {
			step := s.Time[j] - s.Time[j-1]
			if step > widest {
				continue
			}
			a, w = j-1, float32((x-s.Time[j-1])/step)
		}
		for k, v := range s.V {
			cols[k] = append(cols[k], v[a]+w*(v[j]-v[a]))
		}
		idx = append(idx, int32(i))
	}
	return cols, idx
}

// addSeconds adds seconds to a time, to the nanosecond and without the range
// of a Duration.
func addSeconds(t time.Time, s float64) time.Time {
	const most = 1e11 // s
	whole := math.Floor(s)
	ns := math.Round((s - whole) * 1e9)
	return time.Unix(t.Unix()+int64(min(max(whole, -most), most)), int64(t.Nanosecond())+int64(ns)).UTC()
}

// secondsBetween is b - a in seconds.
func secondsBetween(a, b time.Time) float64 {
	return float64(b.Unix()-a.Unix()) + float64(b.Nanosecond()-a.Nanosecond())/1e9
}
