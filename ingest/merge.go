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

// Weights in choosing among rivals.
const (
	gyroWorth     = 10  // of an accelerometer with a gyroscope beside it
	receiverWorth = 1.5 // of a receiver's own speed
	sharedWorth   = 3   // of one device: there is no clock offset to estimate
	rateWorth     = 0.1 // of each fix a second, up to rateUseful
	rateUseful    = 10  // Hz
)

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
	m := &merger{Log: Log{Clock: untied}}
	for _, l := range logs {
		if !l.Start.IsZero() && (m.Start.IsZero() || l.Start.Before(m.Start)) {
			m.Start = l.Start
		}
	}
	for _, l := range logs {
		m.add(l)
	}
	m.joinSensors()
	m.joinFeet()
	imu := m.choose(m.imus, raw.IMUUnused, imuTimes, func(p, q *part) { p.IMU.join(&q.IMU) }, func(p *part) float64 {
		if p.IMU.hasGyro() {
			return gyroWorth * float64(len(p.IMU.Time))
		}
		return float64(len(p.IMU.Time))
	})
	gps := m.choose(m.gpss, raw.GPSUnused, gpsTimes, func(p, q *part) { p.GPS.join(&q.GPS) }, func(p *part) float64 {
		s := p.GPS.worth()
		if imu != nil && imu.shares(p) {
			s *= sharedWorth
		}
		return s
	})
	if imu == nil && gps == nil {
		return nil, errors.New("none of the logs holds an accelerometer with its times, a position or a speed")
	}
	m.tie(imu, gps)
	sortMarks(m.Marks)
	m.forget()
	if w, apart := m.overlap(); apart {
		m.warn(w)
	}
	out := m.Log
	return &out, nil
}

// withoutLocalDates takes the date off logs in a local time of an unknown zone,
// where others are in UTC: their offset is then told from the motion.
func withoutLocalDates(logs []*Log) []*Log {
	if !slices.ContainsFunc(logs, func(l *Log) bool { return !l.noZone && !l.Start.IsZero() }) {
		return logs
	}
	logs = slices.Clone(logs)
	for i, l := range logs {
		if l.noZone {
			c := *l
			c.Start, c.zero = time.Time{}, 0
			logs[i] = &c
		}
	}
	return logs
}

// oneOuting refuses logs whose dates lie hours apart.
func oneOuting(logs []*Log) error {
	type dated struct {
		from, to time.Time
		name     string
	}
	var all []dated
	for _, l := range logs {
		times := [][]float64{l.IMU.Time, l.GPS.Time, l.gyrOnly.Time, l.foot.Time}
		for _, d := range l.Decks {
			times = append(times, d.Time)
		}
		if first, last := raw.Extent(times...); !l.Start.IsZero() && first <= last {
			all = append(all, dated{addSeconds(l.Start, first), addSeconds(l.Start, last), l.name()})
		}
	}
	slices.SortStableFunc(all, func(a, b dated) int { return a.from.Compare(b.from) })
	for i := 1; i < len(all); i++ {
		before := slices.MaxFunc(all[:i], func(a, b dated) int { return a.to.Compare(b.to) })
		if d := secondsBetween(before.to, all[i].from); d > apartMost {
			const day = "2006-01-02 15:04"
			apart := fmt.Sprintf("%.1f hours", d/3600)
			if d >= 48*3600 {
				apart = fmt.Sprintf("%.0f days", d/86400)
			}
			return fmt.Errorf("these logs are not of one outing: %s ends on %s UTC and %s starts on %s UTC, %s later. "+
				"Give the logs of one outing at a time; if a logger's clock was wrong, leave the date out of its file or correct it",
				before.name, before.to.Format(day), all[i].name, all[i].from.Format(day), apart)
		}
	}
	return nil
}

// name is what to call a log.
func (l *Log) name() string {
	var names []string
	for _, f := range l.Files {
		names = append(names, filepath.Base(f.Name))
	}
	return cmp.Or(raw.List(names, 3), "a log")
}

// A part is one sensor of a log, moved to the common start, and where the log's
// files went.
type part struct {
	Log
	files []int // in the merged log
}

func (p *part) dated() bool { return !p.Start.IsZero() }

// shares says whether two parts have a file in common.
func (p *part) shares(q *part) bool {
	return slices.ContainsFunc(p.files, func(f int) bool { return slices.Contains(q.files, f) })
}

// take notes that p holds what was in q.
func (p *part) take(q *part) {
	p.files, p.Files = slices.Concat(p.files, q.files), slices.Concat(p.Files, q.Files)
}

// A merger fills in the log that others make.
type merger struct {
	Log
	imus, gpss []*part
	gyrs, feet []*part // a gyroscope alone, one foot alone
}

func (m *merger) warn(w Warning) { m.Warnings = append(m.Warnings, w) }

// add moves a log to the common start and files its parts. Values are shared
// with the log as it came; times are copied.
func (m *merger) add(l *Log) {
	base := len(m.Files)
	m.Files = append(m.Files, l.Files...)
	m.Warnings = append(m.Warnings, l.Warnings...)
	p := part{Log: *l}
	for i := range l.Files {
		p.files = append(p.files, base+i)
	}
	d := l.zero
	if p.dated() {
		d = secondsBetween(m.Start, l.Start)
	}
	for _, k := range l.Marks {
		k.At, k.File = k.At+d, k.File+base
		m.Marks = append(m.Marks, k)
	}
	moved := func(t *[]float64, gaps *[]Span, to *[]*part) {
		if len(*t) == 0 {
			return
		}
		*t, *gaps = slices.Clone(*t), slices.Clone(*gaps)
		move(*t, *gaps, later(d))
		q := p
		*to = append(*to, &q)
	}
	for _, k := range l.Decks {
		moved(&k.Time, &k.Gaps, new([]*part))
		k.File += base
		m.Decks = append(m.Decks, k)
	}
	p.IMU.File += base
	p.GPS.File += base
	moved(&p.IMU.Time, &p.IMU.Gaps, &m.imus)
	moved(&p.GPS.Time, &p.GPS.Gaps, &m.gpss)
	moved(&p.gyrOnly.Time, new([]Span), &m.gyrs)
	moved(&p.foot.Time, new([]Span), &m.feet)
}

// joinSensors gives accelerometers without a gyroscope the gyroscope of another
// file.
func (m *merger) joinSensors() {
	for _, g := range m.gyrs {
		var best *part
		most := 0
		for _, p := range m.imus {
			if p.IMU.hasGyro() || p.dated() != g.dated() {
				continue
			}
			if _, idx := resample(&g.gyrOnly, p.IMU.Time); len(idx) > most {
				best, most = p, len(idx)
			}
		}
		if best == nil {
			m.warn(Warning{Kind: raw.GyroAlone, Text: []string{g.name()}})
			continue
		}
		file := best.IMU.File
		imu, lost := joinIMU(&raw.Series{Time: best.IMU.Time, V: best.IMU.Acc}, &g.gyrOnly)
		imu.File = file
		if lost > 0 {
			f, d := &m.Files[file], Dropped{Count: lost, Reason: raw.NoGyroBeside, Sensor: unit.SensorNames[unit.Acc]}
			f.Dropped = append(slices.Clone(f.Dropped), d)
		}
		best.IMU = imu
		best.take(g)
		if w, wrong := settleGyro(&best.IMU, &g.gyrOnly); wrong {
			w.File = g.name()
			for _, f := range g.files {
				m.Files[f].Channels = slices.Clone(m.Files[f].Channels)
				for i := range m.Files[f].Channels {
					if c := &m.Files[f].Channels[i]; c.Name == unit.SensorNames[unit.Gyr] {
						c.Unit = unit.Text(g.gyrOnly.Unit)
					}
				}
			}
			m.warn(w)
		}
	}
}

// joinFeet makes decks of the insoles' files, one for each of the left: the right
// foot's force is brought to its times from all files that have any. Counters
// without a date are taken as one clock only where there is one file a side, and
// that is told.
func (m *merger) joinFeet() {
	slices.SortStableFunc(m.feet, func(p, q *part) int { return cmp.Compare(p.foot.Time[0], q.foot.Time[0]) })
	for _, p := range m.feet {
		left := p.foot
		if !told(left.V[0]) {
			continue
		}
		var right raw.Series
		joined := []*part{p}
		alike := 0 // files of either side with a date, or without, as p
		for _, q := range m.feet {
			if q.dated() != p.dated() {
				continue
			}
			alike++
			_, end := raw.Extent(right.Time)
			if _, idx := resample(&q.foot, left.Time); len(idx) > 0 && !told(q.foot.V[0]) && q.foot.Time[0] > end {
				right.Table().Join(q.foot.Table())
				joined = append(joined, q)
			}
		}
		if len(joined) == 1 || !p.dated() && alike > 2 {
			continue
		}
		force, idx := resample(&right, left.Time)
		d := Deck{Time: raw.Gather(left.Time, idx), Sides: true, File: p.files[0], Moment: unknown(len(idx))}
		d.Feet = [2][]float32{raw.Gather(left.V[0], idx), force[1]}
		d.Gaps, d.Rate = pace(d.Time)
		m.Decks = append(m.Decks, d)
		m.Warnings = slices.DeleteFunc(m.Warnings, func(w Warning) bool {
			return w.Kind == raw.OneFoot && slices.ContainsFunc(joined, func(q *part) bool { return w.File == q.Files[0].Name })
		})
		if !p.dated() {
			m.warn(Warning{Kind: raw.FeetUndated, Text: []string{p.name(), joined[1].name()}})
		}
	}
}

// forget drops what the files' own warnings say they lack and another file
// brings; of a gyroscope without an accelerometer joinSensors has told.
func (m *merger) forget() {
	m.Warnings = slices.DeleteFunc(m.Warnings, func(w Warning) bool {
		brought := slices.ContainsFunc(m.Files, func(f File) bool { return f.Has(w.Lacks) })
		return w.Lacks == unit.SensorNames[unit.Acc] || brought
	})
}

func imuTimes(p *part) []float64 { return p.IMU.Time }
func gpsTimes(p *part) []float64 { return p.GPS.Time }

// choose joins parts of one kind that follow each other in time, and picks the
// best, nil where there is none; the others are named.
func (m *merger) choose(ps []*part, unused raw.Kind, times func(p *part) []float64,
	join func(p, q *part), worth func(p *part) float64) *part {
	if len(ps) == 0 {
		return nil
	}
	slices.SortStableFunc(ps, func(p, q *part) int { return cmp.Compare(times(p)[0], times(q)[0]) })
	var all []*part
	for _, p := range ps {
		k := slices.IndexFunc(all, func(q *part) bool {
			_, end := raw.Extent(times(q))
			pause := times(p)[0] - end
			return pause > 0 && (p.dated() || pause <= apartMost) && p.alike(q)
		})
		if k < 0 {
			all = append(all, p)
			continue
		}
		join(all[k], p)
		all[k].take(p)
	}
	best := slices.MaxFunc(all, func(p, q *part) int { return cmp.Compare(worth(p), worth(q)) })
	for _, p := range all {
		if p != best {
			m.warn(Warning{Kind: unused, Text: []string{best.name(), p.name()}})
		}
	}
	return best
}

// alike says whether two parts seem to come from the same device.
func (p *part) alike(q *part) bool {
	a, b := p.Files[0], q.Files[0]
	return p.dated() == q.dated() && a.Kind == b.Kind && a.Device == b.Device && p.IMU.hasGyro() == q.IMU.hasGyro() &&
		(len(p.GPS.Time) > 0) == (len(q.GPS.Time) > 0)
}

func (u *IMU) hasGyro() bool { return len(u.Gyr[0]) > 0 && !math.IsNaN(float64(u.Gyr[0][0])) }

func (u *IMU) table() raw.Table {
	a, g := &u.Acc, &u.Gyr
	return raw.Table{Times: []*[]float64{&u.Time}, Cols: []*[]float32{&a[0], &a[1], &a[2], &g[0], &g[1], &g[2]}}
}

// join adds the samples of v, which follow.
func (u *IMU) join(v *IMU) {
	u.table().Join(v.table())
	u.Gaps, u.Rate = pace(u.Time)
}

func (g *GPS) table() raw.Table {
	return raw.Table{Times: []*[]float64{&g.Time},
		Wide: []*[]float64{&g.Lat, &g.Lon}, Cols: []*[]float32{&g.Alt, &g.Speed, &g.Course}}
}

// join adds the fixes of v, which follow.
func (g *GPS) join(v *GPS) {
	g.table().Join(v.table())
	g.Flags = slices.Concat(g.Flags, v.Flags)
	g.Gaps, g.Rate = pace(g.Time)
	g.SpeedSD = max(g.SpeedSD, v.SpeedSD)
	if v.SpeedFrom == FromPositions {
		g.SpeedFrom = FromPositions
	}
}

// worth is the seconds covered by sound fixes; more fixes a second count a
// little, and a receiver's own speed.
func (g *GPS) worth() float64 {
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
	s := float64(sound) / rate * (1 + rateWorth*min(rate, rateUseful))
	if g.SpeedFrom == FromReceiver {
		s *= receiverWorth
	}
	return s
}

// tie takes over the IMU and the GPS and says how their clocks stand to each
// other. Scales without a date count from their first sample when that is far
// from zero, each its own until the offset is known.
func (m *merger) tie(imu, gps *part) {
	if imu != nil {
		m.IMU = imu.IMU
	}
	if gps != nil {
		m.GPS = gps.GPS
	}
	first, _ := raw.Extent(m.IMU.Time)
	firstFix, _ := raw.Extent(m.GPS.Time)
	if imu != nil && gps != nil {
		a, b := imu.Files[0].Device, gps.Files[0].Device
		dated := imu.dated() && gps.dated()
		switch {
		case imu.shares(gps):
			first = min(first, firstFix)
			firstFix = first
			fallthrough
		case dated && a != "" && a == b:
			m.Clock.Tied, m.Clock.How = true, OneDevice
		case dated:
			m.Clock.How = BothUTC
		}
	}
	// The times are copies of the log's own.
	if imu != nil && !imu.dated() && math.Abs(first) > relativeFar {
		m.moveIMU(later(-first))
	}
	if gps != nil && !gps.dated() && math.Abs(firstFix) > relativeFar {
		m.moveGPS(later(-firstFix))
	}
}
