package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// apartMost is how far the dates of two logs may lie apart, end to start, for
// them to be of one outing, s.
const apartMost = 2 * 3600

// Merge puts the logs of one outing on one time base. It picks the IMU and the
// GPS: parts that a device split in sequence are joined, an accelerometer and a
// gyroscope from two files become one, and of rivals (two watches) the better
// is used and the others are named in a warning.
//
// Clock says how far IMU and GPS times can be compared. From one device they
// are tied. From two, Tied is false and How is [BothUTC] or, when the IMU has
// no date, "": then its times count from its own first sample, and the offset
// must be told from the motion and taken out with [Log.ShiftIMU].
//
// Logs whose dates lie more than two hours apart are not of one outing: an
// error.
func Merge(logs []*Log) (*Log, error) {
	logs = slices.DeleteFunc(slices.Clone(logs), func(l *Log) bool { return l == nil })
	switch len(logs) {
	case 0:
		return nil, errors.New("there is no log to merge")
	case 1:
		return logs[0], nil
	}
	logs = withoutLocalDates(logs)
	if err := oneOuting(logs); err != nil {
		return nil, err
	}
	m := &merger{out: &Log{Clock: Clock{OffsetSE: raw.NaN, DriftSE: raw.NaN}}}
	for _, l := range logs {
		if !l.Start.IsZero() && (m.out.Start.IsZero() || l.Start.Before(m.out.Start)) {
			m.out.Start = l.Start
		}
	}
	for _, l := range logs {
		m.add(l)
	}
	m.joinSensors()
	m.joinFeet()
	imu, gps := m.choose()
	if imu != nil {
		m.out.IMU = imu.log.IMU
	}
	if gps != nil {
		m.out.GPS = gps.log.GPS
	}
	if imu == nil && gps == nil {
		return nil, errors.New("none of the logs holds an accelerometer with its times, a position or a speed")
	}
	m.tie(imu, gps)
	sortMarks(m.out.Marks)
	m.forget()
	if w, apart := m.out.overlap(); apart {
		m.warn(w)
	}
	return m.out, nil
}

// withoutLocalDates takes the date off logs in a local time of an unknown zone,
// where others are in UTC: their offset is then told from the motion.
func withoutLocalDates(logs []*Log) []*Log {
	if !slices.ContainsFunc(logs, func(l *Log) bool { return !l.noZone && !l.Start.IsZero() }) {
		return logs
	}
	for i, l := range logs {
		if l.noZone {
			c := *l
			c.Start, c.zero = time.Time{}, 0
			logs[i] = &c
		}
	}
	return logs
}

// Weights in choosing among rivals.
const (
	gyroWorth     = 10  // of an accelerometer with a gyroscope beside it
	receiverWorth = 1.5 // of a receiver's own speed
	sharedWorth   = 3   // of one device: there is no clock offset to estimate
	rateWorth     = 0.1 // of each fix a second, up to rateUseful
	rateUseful    = 10  // Hz
)

// A part is one log, moved to the common start, and where its files went.
type part struct {
	log   *Log
	files []int // in the merged log
	dated bool
}

type merger struct {
	out  *Log
	imus []*part
	gpss []*part
	gyrs []*part
	feet []*part // of one foot each
}

func (m *merger) warn(w Warning) { m.out.Warnings = append(m.out.Warnings, w) }

// add moves a log to the common start and files its parts. Values are shared
// with the log as it came; times are copied.
func (m *merger) add(l *Log) {
	base := len(m.out.Files)
	m.out.Files = append(m.out.Files, l.Files...)
	m.out.Warnings = append(m.out.Warnings, l.Warnings...)
	c := *l
	p := &part{log: &c, dated: !l.Start.IsZero()}
	for i := range l.Files {
		p.files = append(p.files, base+i)
	}
	d := l.zero
	if p.dated {
		d = secondsBetween(m.out.Start, l.Start)
	}
	for _, k := range l.Marks {
		k.At, k.File = k.At+d, k.File+base
		m.out.Marks = append(m.out.Marks, k)
	}
	moved := func(t *[]float64, gaps *[]Span) {
		*t, *gaps = slices.Clone(*t), slices.Clone(*gaps)
		move(*t, *gaps, later(d))
	}
	moved(&c.IMU.Time, &c.IMU.Gaps)
	moved(&c.GPS.Time, &c.GPS.Gaps)
	moved(&c.gyrOnly.Time, new([]Span))
	moved(&c.foot.Time, new([]Span))
	for _, k := range l.Decks {
		moved(&k.Time, &k.Gaps)
		k.File += base
		m.out.Decks = append(m.out.Decks, k)
	}
	c.IMU.File += base
	c.GPS.File += base
	for _, k := range []struct {
		t  []float64
		of *[]*part
	}{{c.IMU.Time, &m.imus}, {c.GPS.Time, &m.gpss}, {c.foot.Time, &m.feet}, {c.gyrOnly.Time, &m.gyrs}} {
		if len(k.t) > 0 {
			*k.of = append(*k.of, p)
		}
	}
}

// oneOuting refuses logs whose dates lie hours apart.
func oneOuting(logs []*Log) error {
	type stretch struct {
		from, to time.Time
		name     string
	}
	var all []stretch
	for _, l := range logs {
		first, last := raw.Extent(append([][]float64{l.IMU.Time, l.GPS.Time, l.gyrOnly.Time, l.foot.Time}, l.deckTimes()...)...)
		if l.Start.IsZero() || math.IsInf(first, 0) {
			continue
		}
		all = append(all, stretch{addSeconds(l.Start, first), addSeconds(l.Start, last), l.name()})
	}
	slices.SortStableFunc(all, func(a, b stretch) int { return a.from.Compare(b.from) })
	for i := 1; i < len(all); i++ {
		before := slices.MaxFunc(all[:i], func(a, b stretch) int { return a.to.Compare(b.to) })
		if d := secondsBetween(before.to, all[i].from); d > apartMost {
			const day = "2006-01-02 15:04"
			return fmt.Errorf("these logs are not of one outing: %s ends on %s UTC and %s starts on %s UTC, %s later. "+
				"Give the logs of one outing at a time; if a logger's clock was wrong, leave the date out of its file or correct it",
				before.name, before.to.Format(day), all[i].name, all[i].from.Format(day), hours(d))
		}
	}
	return nil
}

func hours(s float64) string {
	switch {
	case s >= 48*3600:
		return fmt.Sprintf("%.0f days", s/86400)
	case s >= 5400:
		return fmt.Sprintf("%.1f hours", s/3600)
	}
	return fmt.Sprintf("%.0f minutes", s/60)
}

// name is what to call a log.
func (l *Log) name() string {
	var names []string
	for _, f := range l.Files {
		names = append(names, filepath.Base(f.Name))
	}
	return cmp.Or(raw.List(names, 3), "a log")
}

// joinSensors gives accelerometers without a gyroscope the gyroscope of another
// file.
func (m *merger) joinSensors() {
	for _, g := range m.gyrs {
		var best *part
		most := 0
		for _, p := range m.imus {
			if p.log.IMU.hasGyro() || p.dated != g.dated {
				continue
			}
			if _, _, n := resample(&g.log.gyrOnly, p.log.IMU.Time); n > most {
				best, most = p, n
			}
		}
		if best == nil {
			m.warn(Warning{Kind: raw.GyroAlone, Text: []string{g.log.name()}})
			continue
		}
		acc := raw.Series{Time: best.log.IMU.Time, V: best.log.IMU.Acc}
		imu, lost := joinIMU(&acc, &g.log.gyrOnly)
		imu.File = best.log.IMU.File
		if lost > 0 {
			f := &m.out.Files[imu.File]
			f.Dropped = append(slices.Clone(f.Dropped), Dropped{Count: lost, Reason: raw.NoGyroBeside, Sensor: unit.SensorNames[unit.Acc]})
		}
		best.log.IMU = imu
		best.files = append(best.files, g.files...)
		if w, wrong := gyroUnit(&imu, g.log.gyrOnly.Unit); wrong {
			w.File = g.log.name()
			m.warn(w)
		}
	}
}

// joinFeet makes decks of the insoles' files, one for each of the left: the right
// foot's force is brought to its times from all files that have any. Counters
// without a date are taken as one clock only where there is one file a side, and
// that is told.
func (m *merger) joinFeet() {
	for _, p := range m.feet {
		left := p.log.foot
		if !told(left.V[0]) {
			continue
		}
		var right raw.Series
		joined := []*part{p}
		alike := 0 // files of either side with a date, or without, as p
		for _, q := range m.feet {
			if q.dated != p.dated {
				continue
			}
			alike++
			if told(q.log.foot.V[0]) {
				continue
			}
			if _, _, n := resample(&q.log.foot, left.Time); n > 0 {
				right.Table().Join(q.log.foot.Table())
				joined = append(joined, q)
			}
		}
		if len(joined) == 1 || !p.dated && alike > 2 {
			continue
		}
		idx := make([]int32, len(right.Time))
		for i := range idx {
			idx[i] = int32(i)
		}
		slices.SortStableFunc(idx, func(i, j int32) int { return cmp.Compare(right.Time[i], right.Time[j]) })
		right.Table().Pick(idx)
		force, has, _ := resample(&right, left.Time)
		idx = raw.Indices(len(has), func(i int) bool { return has[i] })
		d := Deck{Time: raw.Gather(left.Time, idx), Sides: true, File: p.files[0]}
		d.Feet = [2][]float32{raw.Gather(left.V[0], idx), raw.Gather(force[1], idx)}
		d.Moment = unknown(len(d.Time))
		d.Gaps, d.Rate = pace(d.Time)
		m.out.Decks = append(m.out.Decks, d)
		m.out.Warnings = slices.DeleteFunc(m.out.Warnings, func(w Warning) bool {
			return w.Kind == raw.OneFoot && slices.ContainsFunc(joined, func(q *part) bool { return w.File == q.log.Files[0].Name })
		})
		if !p.dated {
			m.warn(Warning{Kind: raw.FeetUndated, Text: []string{p.log.name(), joined[1].log.name()}})
		}
	}
}

// unknown is a column of n values that are not known.
func unknown(n int) []float32 { return slices.Repeat([]float32{float32(raw.NaN)}, n) }

// forget drops what the files' own warnings say they lack and another file
// brings; of a gyroscope without an accelerometer joinSensors has told.
func (m *merger) forget() {
	m.out.Warnings = slices.DeleteFunc(m.out.Warnings, func(w Warning) bool {
		return w.Lacks == unit.SensorNames[unit.Acc] || w.Lacks != "" && slices.ContainsFunc(m.out.Files, func(f File) bool {
			return slices.ContainsFunc(f.Channels, func(c Channel) bool { return c.Name == w.Lacks })
		})
	})
}

func (u *IMU) hasGyro() bool { return len(u.Gyr[0]) > 0 && !math.IsNaN(float64(u.Gyr[0][0])) }

// choose picks the IMU and the GPS. A device that holds both is preferred,
// unless another's record is much better.
func (m *merger) choose() (imu, gps *part) {
	m.imus = m.sequence(m.imus, func(l *Log) []float64 { return l.IMU.Time }, m.appendIMU)
	m.gpss = m.sequence(m.gpss, func(l *Log) []float64 { return l.GPS.Time }, m.appendGPS)
	imu = pickBest(m.imus, func(p *part) float64 {
		s := float64(len(p.log.IMU.Time))
		if p.log.IMU.hasGyro() {
			s *= gyroWorth
		}
		return s
	})
	gps = pickBest(m.gpss, func(p *part) float64 {
		g := &p.log.GPS
		sound := 0
		for _, f := range g.Flags {
			if f == 0 {
				sound++
			}
		}
		rate := g.Rate
		if rate <= 0 {
			rate = 1
		}
		// Seconds covered by sound fixes; more fixes a second count a little.
		s := float64(sound) / rate * (1 + rateWorth*min(rate, rateUseful))
		if g.SpeedFrom == "receiver" {
			s *= receiverWorth
		}
		if imu != nil && imu.shares(p) {
			s *= sharedWorth
		}
		return s
	})
	m.tellUnused(raw.IMUUnused, imu, m.imus)
	m.tellUnused(raw.GPSUnused, gps, m.gpss)
	return imu, gps
}

func (m *merger) tellUnused(kind raw.Kind, used *part, ps []*part) {
	for _, p := range ps {
		if p != used {
			m.warn(Warning{Kind: kind, Text: []string{m.files(used), m.files(p)}})
		}
	}
}

func pickBest(ps []*part, score func(*part) float64) *part {
	var best *part
	most := math.Inf(-1)
	for _, p := range ps {
		if s := score(p); s > most {
			best, most = p, s
		}
	}
	return best
}

// shares says whether two parts have a file in common.
func (p *part) shares(q *part) bool {
	return slices.ContainsFunc(p.files, func(f int) bool { return slices.Contains(q.files, f) })
}

func (m *merger) files(p *part) string {
	var l Log
	for _, f := range p.files {
		l.Files = append(l.Files, m.out.Files[f])
	}
	return l.name()
}

// sequence joins parts of one kind of clock that follow each other in time.
func (m *merger) sequence(ps []*part, times func(*Log) []float64, join func(a, b *part)) []*part {
	slices.SortStableFunc(ps, func(a, b *part) int { return cmp.Compare(times(a.log)[0], times(b.log)[0]) })
	var out []*part
next:
	for _, p := range ps {
		for _, q := range out {
			_, end := raw.Extent(times(q.log))
			pause := times(p.log)[0] - end
			if p.dated == q.dated && pause > 0 && (p.dated || pause <= apartMost) && m.alike(p, q) {
				join(q, p)
				q.files = slices.Concat(q.files, p.files)
				continue next
			}
		}
		cp := *p
		lg := *p.log
		cp.log = &lg
		out = append(out, &cp)
	}
	return out
}

// alike says whether two parts seem to come from the same device.
func (m *merger) alike(p, q *part) bool {
	a, b := m.out.Files[p.files[0]], m.out.Files[q.files[0]]
	return a.Kind == b.Kind && a.Device == b.Device && p.log.IMU.hasGyro() == q.log.IMU.hasGyro() &&
		(len(p.log.GPS.Time) > 0) == (len(q.log.GPS.Time) > 0)
}

func (m *merger) appendIMU(a, b *part) {
	u := &a.log.IMU
	u.table().Join(b.log.IMU.table())
	u.Gaps, u.Rate = pace(u.Time)
}

func (m *merger) appendGPS(a, b *part) {
	u, v := &a.log.GPS, &b.log.GPS
	u.table().Join(v.table())
	u.Flags = slices.Concat(u.Flags, v.Flags)
	u.Gaps, u.Rate = pace(u.Time)
	u.SpeedSD = max(u.SpeedSD, v.SpeedSD)
	if v.SpeedFrom == "positions" {
		u.SpeedFrom = v.SpeedFrom
	}
}

func (u *IMU) table() raw.Table {
	return raw.Table{Times: []*[]float64{&u.Time}, Cols: []*[]float32{&u.Acc[0], &u.Acc[1], &u.Acc[2], &u.Gyr[0], &u.Gyr[1], &u.Gyr[2]}}
}

func (g *GPS) table() raw.Table {
	return raw.Table{Times: []*[]float64{&g.Time}, Wide: []*[]float64{&g.Lat, &g.Lon}, Cols: []*[]float32{&g.Alt, &g.Speed, &g.Course}}
}

// tie says how the two clocks stand to each other. Scales without a date count
// from their first sample when that is far from zero, each its own until the
// offset is known.
func (m *merger) tie(imu, gps *part) {
	c := &m.out.Clock
	u, g := &m.out.IMU, &m.out.GPS
	first, _ := raw.Extent(u.Time)
	firstFix, _ := raw.Extent(g.Time)
	if imu != nil && gps != nil {
		switch {
		case imu.shares(gps):
			c.Tied, c.How = true, OneDevice
			first = min(first, firstFix)
			firstFix = first
		case imu.dated && gps.dated && m.sameDevice(imu, gps):
			c.Tied, c.How = true, OneDevice
		case imu.dated && gps.dated:
			c.How = BothUTC
		}
	}
	// The times are copies of the log's own.
	if imu != nil && !imu.dated && math.Abs(first) > relativeFar {
		move(u.Time, u.Gaps, later(-first))
		m.out.moveNoted(m.out.byIMU, later(-first))
	}
	if gps != nil && !gps.dated && math.Abs(firstFix) > relativeFar {
		move(g.Time, g.Gaps, later(-firstFix))
		m.out.moveNoted(func(f int) bool { return !m.out.byIMU(f) }, later(-firstFix))
	}
}

func (m *merger) sameDevice(p, q *part) bool {
	a, b := m.out.Files[p.files[0]], m.out.Files[q.files[0]]
	return a.Device != "" && a.Device == b.Device
}
