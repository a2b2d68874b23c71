package ingest

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// pauseBetweenOutings parts the outings that one file holds.
const pauseBetweenOutings = 3 * 3600 // s

// unsetBefore is the year before which a clock has not been set.
const unsetBefore = 2005

// A builder turns one file's columns into a Log.
type builder struct {
	r     *raw
	notes notes
	log   *Log
	jumps []jump
}

// build mends the columns that a reader hands on and makes a Log of them.
func build(r *raw) (*Log, error) {
	b := &builder{
		r:     r,
		notes: notes{file: r.file.Name, list: r.warnings, dropped: r.file.Dropped},
		log:   &Log{Start: r.start, Files: []File{r.file}},
	}
	b.finite()
	b.believeDate()
	b.oneOuting()
	if m, both := b.series(&r.acc, "accelerometer"); both {
		b.reorder(&r.gyr, m)
	} else {
		b.series(&r.gyr, "gyroscope")
	}
	b.series(&r.mag, "magnetometer")
	b.fixes()
	b.rebase()

	f := &b.log.Files[0]
	f.Channels = append(f.Channels, b.channel("accelerometer", &r.acc, nil)...)
	f.Channels = append(f.Channels, b.channel("gyroscope", &r.gyr, r.acc.time)...)
	f.Channels = append(f.Channels, b.channel("magnetometer", &r.mag, r.acc.time)...)
	f.Channels = append(f.Channels, b.gpsChannels()...)
	f.Read = len(r.acc.time) + len(r.gyr.time) + len(r.mag.time) + len(r.gps.time)
	if f.Read == 0 {
		return nil, b.nothing()
	}
	b.span(f)

	b.log.IMU = b.join(&r.acc, &r.gyr)
	if w := gyroUnit(&b.log.IMU, r.gyr.unit); w != "" {
		b.notes.warn("gyroscopes in another unit", 0, -1, "%s", w)
	}
	b.log.GPS = b.gps()
	if len(r.acc.time) == 0 && len(r.gyr.time) > 0 {
		b.log.gyrOnly = r.gyr
		b.notes.lack("accelerometer", "a lonely gyroscope", 0, -1, "There is a gyroscope but no accelerometer; it is of use only together with the accelerometer's file.")
	}
	if len(b.log.IMU.Time) > 0 && len(b.log.GPS.Time) > 0 {
		b.log.Clock = Clock{Tied: true, How: "one device", OffsetSE: math.NaN(), DriftSE: math.NaN()}
	} else {
		b.log.Clock = Clock{OffsetSE: math.NaN(), DriftSE: math.NaN()}
	}
	if what := b.log.overlap(); what != "" {
		b.notes.warn("sensors that cover parts", 0, -1, "%s", what)
	}
	f.Dropped = b.notes.dropped
	if f.Dropped == nil {
		f.Dropped = []Dropped{} // an empty list in the JSON
	}
	b.log.Warnings = b.notes.warnings()
	return b.log, nil
}

// nothing is the error for a file without a usable sample.
func (b *builder) nothing() error {
	s := fmt.Sprintf("%s: holds no usable sample", b.r.file.Name)
	var why []string
	for _, d := range b.notes.dropped {
		why = append(why, fmt.Sprintf("%d × %s", d.Count, d.Reason))
	}
	if len(why) > 0 {
		s += " (left out: " + sentenceList(why, 4) + ")"
	}
	if w := b.notes.warnings(); len(w) > 0 {
		s += ". First problem: "
		if w[0].Line > 0 {
			s += fmt.Sprintf("line %d: ", w[0].Line)
		}
		s += w[0].What
	}
	return errors.New(s)
}

// finite leaves out samples with NaN or an infinity in them.
func (b *builder) finite() {
	for _, s := range []*series{&b.r.acc, &b.r.gyr, &b.r.mag} {
		n := min(len(s.time), len(s.v[0]), len(s.v[1]), len(s.v[2]))
		ok := func(i int) bool {
			x := s.v[0][i] - s.v[0][i] + s.v[1][i] - s.v[1][i] + s.v[2][i] - s.v[2][i]
			return x == 0 && math.Abs(s.time[i]) < 1e12
		}
		bad := 0
		for i := range n {
			if !ok(i) {
				bad++
			}
		}
		if bad == 0 {
			continue
		}
		var idx []int32
		for i := range n {
			if ok(i) {
				idx = append(idx, int32(i))
			}
		}
		if idx == nil {
			idx = []int32{}
		}
		*s = series{time: gather(s.time, idx), v: [3][]float32{gather(s.v[0], idx), gather(s.v[1], idx), gather(s.v[2], idx)}, unit: s.unit}
		b.notes.drop(bad, "NaN or infinite value")
	}
	b.finiteFixes()
}

// believeDate takes away the date of a log whose clock was never set.
func (b *builder) believeDate() {
	if b.r.start.IsZero() {
		return
	}
	unset := b.unset()
	for _, t := range [][]float64{b.r.acc.time, b.r.gyr.time, b.r.gps.time} {
		if slices.ContainsFunc(t, func(x float64) bool { return x >= unset }) {
			return
		}
	}
	b.notes.warn("clocks never set", 0, -1, "The device's clock was not set (it says %s); the times are taken as relative.",
		b.r.start.UTC().Format("2006-01-02"))
	b.r.start, b.log.Start = time.Time{}, time.Time{}
}

// oneOuting keeps the longest outing of a file that holds several.
func (b *builder) oneOuting() {
	r := b.r
	all := [][]float64{r.acc.time, r.gyr.time, r.gps.time}
	sorted := make([][]float64, 0, len(all))
	for _, t := range all {
		if !slices.IsSorted(t) {
			t = slices.Clone(t)
			slices.Sort(t)
		}
		sorted = append(sorted, t)
	}
	from, to, outside, n := outings(sorted, pauseBetweenOutings)
	if n < 2 || b.clockSet(sorted, from) {
		return
	}
	keep := func(t float64) bool { return t >= from && t <= to }
	for _, s := range []*series{&r.acc, &r.gyr, &r.mag} {
		if idx := indexIf(s.time, keep); idx != nil {
			*s = series{time: gather(s.time, idx), v: [3][]float32{gather(s.v[0], idx), gather(s.v[1], idx), gather(s.v[2], idx)}, unit: s.unit}
		}
	}
	if idx := indexIf(r.gps.time, keep); idx != nil {
		r.gps = r.gps.pick(idx)
	}
	when := ""
	if !r.start.IsZero() {
		when = " (" + addSeconds(r.start, from).UTC().Format("2006-01-02 15:04") + " UTC)"
	}
	b.notes.drop(outside, fmt.Sprintf("belongs to another outing, more than %d h away", pauseBetweenOutings/3600))
	b.notes.warn("several outings", 0, -1, "The file holds %d stretches more than %d h apart; only the one with the most samples%s is read. To see another, cut the file in pieces.",
		n, pauseBetweenOutings/3600, when)
}

// clockSet says whether the pause is a clock that was set on the way: that is
// mended, not cut.
func (b *builder) clockSet(sorted [][]float64, from float64) bool {
	if b.r.start.IsZero() {
		return false
	}
	unset := b.unset()
	for _, t := range sorted {
		if len(t) > 0 && t[0] < unset && t[len(t)-1] >= unset {
			_, _, _, n := outings([][]float64{t[:firstAtLeast(t, unset)]}, pauseBetweenOutings)
			_, _, _, k := outings([][]float64{t[firstAtLeast(t, unset):]}, pauseBetweenOutings)
			return n == 1 && k == 1
		}
	}
	return false
}

func firstAtLeast(t []float64, x float64) int {
	i, _ := slices.BinarySearch(t, x)
	return i
}

// unset is the time, in seconds of the log, before which no date is believed.
func (b *builder) unset() float64 {
	return secondsBetween(b.r.start, time.Date(unsetBefore, 1, 1, 0, 0, 0, 0, time.UTC))
}

// indexIf lists the indices of t for which keep holds; nil when all do.
func indexIf(t []float64, keep func(float64) bool) []int32 {
	n := 0
	for _, x := range t {
		if keep(x) {
			n++
		}
	}
	if n == len(t) {
		return nil
	}
	idx := make([]int32, 0, n)
	for i, x := range t {
		if keep(x) {
			idx = append(idx, int32(i))
		}
	}
	return idx
}

// series mends one sensor. both says that the gyroscope has the accelerometer's
// times, so that what was done goes for it too.
func (b *builder) series(s *series, name string) (out mending, both bool) {
	if len(s.time) == 0 {
		return out, false
	}
	g := &b.r.gyr
	both = s == &b.r.acc && len(g.time) == len(s.time) && (&g.time[0] == &s.time[0] || slices.Equal(g.time, s.time))
	m := mender{
		t: s.time,
		same: func(i, j int) bool {
			eq := s.v[0][i] == s.v[0][j] && s.v[1][i] == s.v[1][j] && s.v[2][i] == s.v[2][j]
			return eq && (!both || g.v[0][i] == g.v[0][j] && g.v[1][i] == g.v[1][j] && g.v[2][i] == g.v[2][j])
		},
		dated: !b.r.start.IsZero(),
		unset: b.unset(),
		known: b.jumps,
	}
	out = m.mend()
	if both {
		name = "accelerometer and gyroscope"
	}
	b.tell(&out, name)
	b.reorder(s, out)
	return out, both
}

func (b *builder) reorder(s *series, m mending) {
	s.time = m.t
	for k := range s.v {
		s.v[k] = gather(s.v[k], m.idx)
	}
}

// tell reports what mending did.
func (b *builder) tell(m *mending, name string) {
	if m.late > 0 {
		b.notes.warn("sensors out of order", 0, -1, "%s: %s stood out of order of time and %s sorted in.", upper(name), count(m.late, "sample"), were(m.late))
	}
	b.notes.drop(m.repeats, name+": the same sample twice")
	b.notes.drop(m.clashes, name+": another sample with the same time stamp")
	if m.clashes > 0 {
		b.notes.warn("sensors with repeated time stamps", 0, -1, "%s: %s had the time stamp of the one before but other values; the first was kept.", upper(name), count(m.clashes, "sample"))
	}
	if m.placed > 0 {
		b.notes.warn("sensors with shared time stamps", 0, -1, "%s: %s had the time stamp of the one before and %s set between it and the next.", upper(name), count(m.placed, "sample"), were(m.placed))
	}
	if m.folded > 0 {
		b.notes.warn("records joined", 0, -1, "%s: %s with one time stamp and complementary values %s joined.", upper(name), count(m.folded, "record"), were(m.folded))
	}
	if m.quantum > 0 {
		b.notes.warn("sensors with cut time stamps", 0, -1, "%s: time stamps are cut to %s s while there are about %s samples in each; they were spread evenly in the order of the file, as cut, not rounded: were they rounded, all times are %s s late.",
			upper(name), trimFloat(m.quantum, 3), trimFloat(m.perStamp, 1), trimFloat(m.quantum/2, 3))
	}
	for _, j := range m.jumps {
		if len(b.jumps) < 100 {
			b.jumps = append(b.jumps, j)
		}
		step := trimFloat(math.Abs(j.to-j.from), 3)
		switch {
		case j.unset:
			b.notes.warn("clock jumps", 0, -1, "%s: the clock had no date at first and was set at %s; the samples before were placed to end 1 s earlier, the true pause is not known.",
				upper(name), clock(b.r.start, j.to))
		case j.restart:
			b.notes.warn("clock jumps", 0, -1, "%s: the clock falls back by %s s at %s, as after a restart; the two parts were joined with a gap, whose true length is not known.",
				upper(name), step, clock(b.r.start, j.from))
		default:
			b.notes.warn("clock jumps", 0, -1, "%s: the clock leaps back by %s s at %s while sampling goes on; the leap was taken out.",
				upper(name), step, clock(b.r.start, j.from))
		}
	}
}

// relativeFar is the time above which a log without a date is counted from its
// own first sample: seconds since a phone was switched on tell nobody anything.
const relativeFar = 3600 // s

// rebase moves the zero of time near the first sample when that lies far off,
// and the start of a dated log before it.
func (b *builder) rebase() {
	first := math.Inf(1)
	for _, t := range [][]float64{b.r.acc.time, b.r.gyr.time, b.r.gps.time} {
		if len(t) > 0 {
			first = min(first, t[0])
		}
	}
	dated := !b.r.start.IsZero()
	if math.IsInf(first, 1) || math.Abs(first) <= relativeFar && !(dated && first < 0) {
		return
	}
	if !dated {
		b.log.zero = first
		shiftAll(b.r, -first)
		return
	}
	whole := math.Floor(first)
	b.log.Start = addSeconds(b.r.start, whole)
	b.r.start = b.log.Start
	shiftAll(b.r, -whole)
}

// channel describes one sensor. Of times that were told of already it says
// nothing more.
func (b *builder) channel(name string, s *series, told []float64) []Channel {
	if len(s.time) == 0 {
		return nil
	}
	c := describe(name, unitText(s.unit), s.time)
	if len(told) == 0 || !slices.Equal(told, s.time) {
		b.tellRate(name, s.time)
	}
	return []Channel{c}
}

func describe(name, unit string, t []float64) Channel {
	gaps := findGaps(t, period(t))
	return Channel{Name: name, Unit: unit, Samples: len(t), RateHz: rate(t), Gaps: len(gaps), LongestGapS: longest(gaps)}
}

// tellRate reports how a rate changes.
func (b *builder) tellRate(name string, t []float64) {
	for i, c := range rateChanges(t) {
		if i == 3 {
			b.notes.warn("rate changes", 0, -1, "%s: the rate changes more often than is told here.", upper(name))
			return
		}
		b.notes.warn("rate changes", 0, -1, "%s: the rate changes from %s to %s Hz at %s.", upper(name), trimFloat(c.from, 1), trimFloat(c.to, 1), clock(b.r.start, c.at))
	}
}

// span sets a file's first and last time.
func (b *builder) span(f *File) {
	first, last := math.Inf(1), math.Inf(-1)
	for _, t := range [][]float64{b.r.acc.time, b.r.gyr.time, b.r.mag.time, b.r.gps.time} {
		if len(t) > 0 {
			first, last = min(first, t[0]), max(last, t[len(t)-1])
		}
	}
	if !b.log.Start.IsZero() {
		f.First, f.Last = addSeconds(b.log.Start, first), addSeconds(b.log.Start, last)
	}
	f.DurationS = last - first
}

// join makes the IMU of accelerometer and gyroscope. Where they are stamped
// apart, the gyroscope is interpolated linearly to the accelerometer's times,
// inside its span and never across a gap; an accelerometer sample that has no
// gyroscope there is left out, since an attitude cannot be carried across it.
func (b *builder) join(acc, gyr *series) IMU {
	imu, lost := joinIMU(acc, gyr)
	if lost > 0 {
		b.notes.drop(lost, "accelerometer sample without the gyroscope beside it")
	}
	if len(acc.time) > 0 && len(gyr.time) > 0 && lost == 0 && len(imu.Gyr[0]) > 0 && math.IsNaN(float64(imu.Gyr[0][0])) {
		b.notes.warn("short gyroscopes", 0, -1, "The gyroscope covers too little of the accelerometer's time and is not used.")
	}
	return imu
}

// joinIMU is join without the notes; lost counts the samples left out.
func joinIMU(acc, gyr *series) (imu IMU, lost int) {
	n := len(acc.time)
	if n == 0 {
		return IMU{}, 0
	}
	imu = IMU{Time: acc.time, Acc: acc.v}
	switch {
	case len(gyr.time) == 0:
		for k := range imu.Gyr {
			imu.Gyr[k] = nanColumn(n)
		}
	case len(gyr.time) == n && (&gyr.time[0] == &acc.time[0] || slices.Equal(gyr.time, acc.time)):
		imu.Gyr = gyr.v
	default:
		cols, has := resample(gyr, acc.time)
		n := 0
		for _, h := range has {
			if h {
				n++
			}
		}
		if n*10 < len(has) { // too little to throw the rest away for
			for k := range imu.Gyr {
				imu.Gyr[k] = nanColumn(len(has))
			}
			break
		}
		idx := indexIfTrue(has)
		imu.Time = gather(acc.time, idx)
		for k := range imu.Gyr {
			imu.Acc[k] = gather(acc.v[k], idx)
			imu.Gyr[k] = gather(cols[k], idx)
		}
		lost = len(has) - n
	}
	p := period(imu.Time)
	imu.Gaps = findGaps(imu.Time, p)
	imu.Rate = rate(imu.Time)
	return imu, lost
}

// resample interpolates a series linearly to times t; has is false outside its
// span and inside its gaps.
func resample(s *series, t []float64) (cols [3][]float32, has []bool) {
	has = make([]bool, len(t))
	for k := range cols {
		cols[k] = make([]float32, len(t))
	}
	if len(s.time) == 0 {
		return cols, has
	}
	widest := max(gapPeriods*period(s.time), gapLeast)
	j := 0
	for i, x := range t {
		for j < len(s.time) && s.time[j] < x {
			j++
		}
		switch {
		case j < len(s.time) && s.time[j] == x:
			for k := range cols {
				cols[k][i] = s.v[k][j]
			}
			has[i] = true
		case j == 0 || j == len(s.time): // nothing is made up beyond the ends
		case s.time[j]-s.time[j-1] <= widest:
			w := float32((x - s.time[j-1]) / (s.time[j] - s.time[j-1]))
			for k := range cols {
				a := s.v[k][j-1]
				cols[k][i] = a + w*(s.v[k][j]-a)
			}
			has[i] = true
		}
	}
	return cols, has
}

func nanColumn(n int) []float32 {
	c := make([]float32, n)
	for i := range c {
		c[i] = float32(nan)
	}
	return c
}

func indexIfTrue(has []bool) []int32 {
	if !slices.Contains(has, false) {
		return nil
	}
	idx := []int32{}
	for i, h := range has {
		if h {
			idx = append(idx, int32(i))
		}
	}
	return idx
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

// trimFloat writes a number with at most that many decimals.
func trimFloat(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + pluralOf(what)
}

func pluralOf(what string) string {
	if strings.HasSuffix(what, "x") {
		return what + "es"
	}
	return what + "s"
}

func were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// unitText shows a unit as people write it.
func unitText(u string) string {
	switch u {
	case "mps2":
		return "m/s²"
	case "radps":
		return "rad/s"
	case "dps":
		return "°/s"
	case "mdps":
		return "m°/s"
	case "ut":
		return "µT"
	case "mps":
		return "m/s"
	case "kmh":
		return "km/h"
	}
	return u
}
