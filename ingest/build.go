package ingest

import (
	"cmp"
	"math"
	"slices"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// pauseBetweenOutings parts the outings that one file holds.
const pauseBetweenOutings = 3 * 3600 // s

// unsetBefore is the year before which a clock has not been set.
const unsetBefore = 2005

// A builder turns one file's columns into a Log.
type builder struct {
	r     *raw.Columns
	notes raw.Notes
	log   *Log
	jumps []jump
	ref   float64 // s, see mender
	// weightless: the accelerometer shows no gravity and was left out.
	weightless bool
}

// build mends the columns that a reader hands on and makes a Log of them.
func build(r *raw.Columns) (*Log, error) {
	b := &builder{
		r:     r,
		notes: raw.NotesOf(r),
		log:   &Log{Start: r.Start, noZone: r.NoZone, Files: []File{r.File}},
	}
	datedMarks(r)
	b.finite()
	b.believeDate()
	b.unwrap()
	if err := b.oneOuting(); err != nil {
		return nil, err
	}
	for _, s := range r.Streams() {
		if s.Name == "GPS" { // last: another series may tell how the clock leapt
			continue
		}
		b.mend(s)
	}
	b.refuseWeightless()
	b.fixes()
	b.mendMarks()
	b.rebase()

	f := &b.log.Files[0]
	f.Channels = b.channels()
	b.deck(f)
	for _, s := range r.Streams() {
		f.Read += len(s.Time())
	}
	if f.Read == 0 && !b.weightless {
		b.notes.Settle(r)
		return nil, r.Useless("holds no usable sample")
	}
	b.span(f)

	var lost int
	b.log.IMU, lost = joinIMU(&r.Acc, &r.Gyr)
	b.notes.Drop(lost, raw.NoGyroBeside, unit.SensorNames[unit.Acc])
	if len(r.Acc.Time) > 0 && len(r.Gyr.Time) > 0 && !b.log.IMU.hasGyro() {
		b.notes.Warn(raw.Warning{Kind: raw.ShortGyro})
	}
	if w, wrong := gyroUnit(&b.log.IMU, r.Gyr.Unit); wrong {
		b.notes.Warn(w)
	}
	b.log.GPS = b.gps()
	if len(r.Acc.Time) == 0 && len(r.Gyr.Time) > 0 {
		b.log.gyrOnly = r.Gyr
		b.notes.Warn(raw.Warning{Kind: raw.OnlyGyro, Lacks: unit.SensorNames[unit.Acc]})
	}
	b.log.Clock = untied
	if len(b.log.IMU.Time) > 0 && len(b.log.GPS.Time) > 0 {
		b.log.Clock.Tied, b.log.Clock.How = true, OneDevice
	}
	if w, apart := b.log.overlap(); apart {
		b.notes.Warn(w)
	}
	f.Dropped, b.log.Warnings = b.notes.Dropped(), b.notes.Warnings()
	f.Marks, b.log.Marks = r.File.Marks, b.marks()
	return b.log, nil
}

// at gives a warning its moment in the log.
func (b *builder) at(t float64, w raw.Warning) raw.Warning {
	w.At = t
	if !b.r.Start.IsZero() {
		w.Time = addSeconds(b.r.Start, t)
	}
	return w
}

// finite leaves out samples with NaN or an infinity in them.
func (b *builder) finite() {
	b.notes.Drop(b.whole(&b.r.Acc)+b.whole(&b.r.Gyr), raw.NotFinite, "")
	s := &b.r.Deck
	b.notes.Drop(s.Table().Keep(func(i int) bool { return math.Abs(s.Time[i]) < timeMost }), raw.NotFinite, "")
	b.finiteFixes()
}

// whole keeps the samples with three finite values; it says how many it leaves out.
func (b *builder) whole(s *raw.Series) (lost int) {
	return s.Table().Keep(func(i int) bool {
		x := s.V[0][i] - s.V[0][i] + s.V[1][i] - s.V[1][i] + s.V[2][i] - s.V[2][i]
		return x == 0 && math.Abs(s.Time[i]) < timeMost
	})
}

// deck hands on what presses on the deck, with its channels.
func (b *builder) deck(f *File) {
	s := &b.r.Deck
	if len(s.Time) == 0 {
		return
	}
	d := Deck{Time: s.Time, Feet: [2][]float32{s.V[0], s.V[1]}, Moment: s.V[2], Sides: b.r.Sides}
	d.Gaps, d.Rate = pace(d.Time)
	if d.Sides && told(s.V[0]) != told(s.V[1]) {
		b.log.foot = *s
		d.Feet = [2][]float32{unknown(len(s.Time)), unknown(len(s.Time))}
	}
	if len(b.log.foot.Time) == 0 || d.HasMoment() {
		b.log.Decks = []Deck{d}
	}
	if d.HasFeet() || len(b.log.foot.Time) > 0 {
		f.Channels = append(f.Channels, describe(unit.FootForces, unit.Text(s.Unit), s.Time))
	}
	if d.HasMoment() {
		f.Channels = append(f.Channels, describe(unit.MastMoment, "N·m", s.Time))
	}
}

// believeDate takes away the date of a log whose clock was never set.
func (b *builder) believeDate() {
	if b.r.Start.IsZero() {
		return
	}
	unset := b.unset()
	if slices.ContainsFunc(b.r.Streams(), func(s raw.Stream) bool {
		return slices.ContainsFunc(s.Time(), func(x float64) bool { return x >= unset })
	}) {
		return
	}
	b.notes.Warn(raw.Warning{Kind: raw.NeverSet, Time: b.r.Start})
	b.r.Start, b.log.Start = time.Time{}, time.Time{}
}

// oneOuting keeps the outing that was asked for of a file that holds several, or
// the one with the most samples; an error when there is none of that number.
func (b *builder) oneOuting() error {
	r := b.r
	var sorted [][]float64
	for _, s := range r.Streams() {
		t := s.Time()
		if !slices.IsSorted(t) {
			t = slices.Sorted(slices.Values(t))
		}
		sorted = append(sorted, t)
	}
	all := stretches(sorted, pauseBetweenOutings)
	if len(all) < 2 || b.clockSet(sorted) {
		return nil
	}
	kept := slices.MaxFunc(all, func(x, y stretch) int { return cmp.Compare(x.n, y.n) })
	w := b.tellOutings(all)
	if r.Outing > len(all) {
		w.Values[0] = float64(r.Outing)
		return &OutingError{w}
	}
	if r.Outing > 0 {
		kept = all[r.Outing-1]
	}
	from, to, outside := kept.from, kept.to, 0
	r.File.Marks = slices.DeleteFunc(r.File.Marks, func(m Mark) bool { return m.At < from-aroundOuting || m.At > to+aroundOuting })
	for _, s := range r.Streams() {
		t := s.Time()
		outside += s.Keep(func(i int) bool { return t[i] >= from && t[i] <= to })
	}
	b.notes.Drop(outside, raw.OtherOuting, "")
	w.Values[0] = float64(1 + slices.Index(all, kept))
	b.notes.Warn(w)
	return nil
}

// clockSet says whether the pause is a clock that was set on the way: that is
// mended, not cut.
func (b *builder) clockSet(sorted [][]float64) bool {
	if b.r.Start.IsZero() {
		return false
	}
	unset := b.unset()
	for _, t := range sorted {
		if len(t) > 0 && t[0] < unset && t[len(t)-1] >= unset {
			set, _ := slices.BinarySearch(t, unset)
			return len(stretches([][]float64{t[:set]}, pauseBetweenOutings)) == 1 && len(stretches([][]float64{t[set:]}, pauseBetweenOutings)) == 1
		}
	}
	return false
}

// unset is the time, in seconds of the log, before which no date is believed.
func (b *builder) unset() float64 {
	return secondsBetween(b.r.Start, time.Date(unsetBefore, 1, 1, 0, 0, 0, 0, time.UTC))
}

// relativeFar is the time above which a log without a date is counted from its
// own first sample: seconds since a phone was switched on tell nobody anything.
const relativeFar = 3600 // s

// rebase moves the zero of time near the first sample when that lies far off,
// and the start of a dated log before it.
func (b *builder) rebase() {
	first, _ := raw.Extent(b.r.Acc.Time, b.r.Gyr.Time, b.r.Gps.Time, b.r.Deck.Time)
	dated := !b.r.Start.IsZero()
	if math.IsInf(first, 1) || math.Abs(first) <= relativeFar && !(dated && first < 0) {
		return
	}
	if !dated {
		b.log.zero = first
		raw.ShiftAll(b.r, -first)
		return
	}
	whole := math.Floor(first)
	b.log.Start = addSeconds(b.r.Start, whole)
	b.r.Start = b.log.Start
	raw.ShiftAll(b.r, -whole)
}

// channels describes what was read, and tells how its rates change. A course or
// altitude that is missing at rest is no gap: the fixes' own gaps count for them.
func (b *builder) channels() (all []Channel) {
	for kind, name := range unit.SensorNames {
		s := b.r.Sensor(kind)
		if len(s.Time) == 0 {
			continue
		}
		if kind == unit.Acc || !raw.SameTimes(b.r.Acc.Time, s.Time) {
			b.tellRate(name, s.Time)
		}
		all = append(all, describe(name, unit.Text(s.Unit), s.Time))
	}
	f := &b.r.Gps
	if len(f.Time) == 0 {
		return all
	}
	b.tellRate("GPS", f.Time)
	every := describe("", "", f.Time)
	for _, c := range []struct {
		name, unit string
		gaps       bool // has gaps of its own
		times      []float64
	}{
		{"position", "deg", true, known(f.Time, f.Lat)},
		{"speed", unit.Text(cmp.Or(f.SpeedUnit, "mps")), true, known(f.Time, f.Speed)},
		{"course", "deg", false, known(f.Time, f.Course)},
		{"altitude", "m", false, known(f.Time, f.Alt)},
	} {
		if len(c.times) == 0 {
			continue
		}
		ch := describe(c.name, c.unit, c.times)
		if !c.gaps {
			ch.Gaps, ch.LongestGapS = every.Gaps, every.LongestGapS
		}
		all = append(all, ch)
	}
	return all
}

func describe(name, unit string, t []float64) Channel {
	gaps, hz := pace(t)
	return Channel{Name: name, Unit: unit, Samples: len(t), RateHz: hz, Gaps: len(gaps), LongestGapS: longest(gaps)}
}

// tellRate reports how a rate changes.
func (b *builder) tellRate(name string, t []float64) {
	for i, c := range rateChanges(t) {
		if i == rateChangesTold {
			b.notes.Warn(raw.Warning{Kind: raw.RateUnsteady, Sensor: name})
			return
		}
		b.notes.Warn(b.at(c.at, raw.Warning{Kind: raw.RateChange, Sensor: name, Values: []float64{c.from, c.to}}))
	}
}

// rateChangesTold bounds how many changes of a rate are told one by one.
const rateChangesTold = 3

// span sets a file's first and last time.
func (b *builder) span(f *File) {
	first, last := raw.Extent(b.r.Acc.Time, b.r.Gyr.Time, b.r.Gps.Time, b.r.Deck.Time)
	if last < first {
		return
	}
	if !b.log.Start.IsZero() {
		f.First, f.Last = addSeconds(b.log.Start, first), addSeconds(b.log.Start, last)
	}
	f.DurationS = last - first
}

// gyroLeast is the least part of the accelerometer's samples that a gyroscope
// must cover to be used.
const gyroLeast = 0.1

// joinIMU makes an IMU of accelerometer and gyroscope. Where they are stamped
// apart, the gyroscope is interpolated linearly to the accelerometer's times,
// inside its span and never across a gap; an accelerometer sample that has no
// gyroscope there is lost, since an attitude cannot be carried across it.
func joinIMU(acc, gyr *raw.Series) (imu IMU, lost int) {
	n := len(acc.Time)
	if n == 0 {
		return IMU{}, 0
	}
	imu = IMU{Time: acc.Time, Acc: acc.V}
	if raw.SameTimes(gyr.Time, acc.Time) {
		imu.Gyr = gyr.V
	} else if cols, has, covered := resample(gyr, acc.Time); float64(covered) < max(1, gyroLeast*float64(n)) {
		for k := range imu.Gyr { // too little to throw the rest away for
			imu.Gyr[k] = unknown(n)
		}
	} else {
		idx := raw.Indices(n, func(i int) bool { return has[i] })
		imu.Time = raw.Gather(acc.Time, idx)
		for k := range imu.Gyr {
			imu.Acc[k] = raw.Gather(acc.V[k], idx)
			imu.Gyr[k] = raw.Gather(cols[k], idx)
		}
		lost = n - covered
	}
	imu.Gaps, imu.Rate = pace(imu.Time)
	return imu, lost
}

// resample interpolates a series linearly to times t; has is false outside its
// span and inside its gaps, and true at so many as are covered.
func resample(s *raw.Series, t []float64) (cols [3][]float32, has []bool, covered int) {
	if len(s.Time) == 0 {
		return cols, nil, 0
	}
	has = make([]bool, len(t))
	for k := range cols {
		cols[k] = make([]float32, len(t))
	}
	widest := gapLimit(period(s.Time))
	j := 0
	for i, x := range t {
		for j < len(s.Time) && s.Time[j] < x {
			j++
		}
		switch {
		case j < len(s.Time) && s.Time[j] == x:
			for k := range cols {
				cols[k][i] = s.V[k][j]
			}
			has[i] = true
			covered++
		case j == 0 || j == len(s.Time): // nothing is made up beyond the ends
		case s.Time[j]-s.Time[j-1] <= widest:
			w := float32((x - s.Time[j-1]) / (s.Time[j] - s.Time[j-1]))
			for k := range cols {
				a := s.V[k][j-1]
				cols[k][i] = a + w*(s.V[k][j]-a)
			}
			has[i] = true
			covered++
		}
	}
	return cols, has, covered
}

// addSeconds adds seconds to a time, to the nanosecond and without the range
// of a Duration.
func addSeconds(t time.Time, s float64) time.Time {
	whole := math.Floor(s)
	if math.Abs(whole) > 1e11 {
		whole = math.Copysign(1e11, whole)
	}
	ns := math.Round((s - math.Floor(s)) * 1e9)
	return time.Unix(t.Unix()+int64(whole), int64(t.Nanosecond())+int64(ns)).UTC()
}

// secondsBetween is b - a in seconds.
func secondsBetween(a, b time.Time) float64 {
	return float64(b.Unix()-a.Unix()) + float64(b.Nanosecond()-a.Nanosecond())/1e9
}
