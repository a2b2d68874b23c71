package ingest

import (
	"math"

	"evenfoot/ingest/raw"
)

const (
	// enoughShared is the part of one device's log that the other must cover for
	// nothing to be said.
	enoughShared = 0.8
	// overlapLeast is the shortest log whose cover is worth a sentence, s.
	overlapLeast = 120
)

// A cover is a log's span, and the time in it with samples, s.
type cover struct{ from, to, length float64 }

// covered is what samples at times t, with gaps, cover between from and to.
func covered(t []float64, gaps []Span, from, to float64) cover {
	first, last := raw.Extent(t)
	c := cover{from: max(first, from), to: min(last, to)}
	if c.length = c.to - c.from; !(c.length > 0) {
		c.length = 0
		return c
	}
	for _, g := range gaps {
		c.length -= max(0, min(g.End, c.to)-max(g.Start, c.from))
	}
	return c
}

// overlap tells how much of one device's log the other covers; ok is false when
// it is most of both, or when a log is too short to matter.
func (l *Log) overlap() (w raw.Warning, ok bool) {
	u, g := &l.IMU, &l.GPS
	whole := func(t []float64, gaps []Span) cover { return covered(t, gaps, math.Inf(-1), math.Inf(1)) }
	imu, gps := whole(u.Time, u.Gaps), whole(g.Time, g.Gaps)
	if !(max(imu.length, gps.length) >= overlapLeast) || len(u.Time) == 0 || len(g.Time) == 0 {
		return w, false
	}
	motion := covered(u.Time, u.Gaps, gps.from, gps.to)
	fixes := covered(g.Time, g.Gaps, imu.from, imu.to)
	switch {
	case l.Clock.How == "": // no common clock: only the lengths can be compared
		w = raw.Warning{Kind: raw.LengthsDiffer, Values: []float64{imu.length, gps.length}}
		return w, min(imu.length, gps.length) < enoughShared*max(imu.length, gps.length)
	case imu.to <= gps.from:
		w = raw.Warning{Kind: raw.NoSharedTime, Sensor: "GPS", Values: []float64{gps.from - imu.to}}
	case gps.to <= imu.from:
		w = raw.Warning{Kind: raw.NoSharedTime, Sensor: "motion", Values: []float64{imu.from - gps.to}}
	case motion.length < enoughShared*gps.length:
		w = raw.Warning{Kind: raw.MotionPartly, Values: []float64{motion.length, gps.length}}
	case fixes.length < enoughShared*imu.length:
		w = raw.Warning{Kind: raw.GPSPartly, Values: []float64{fixes.length, imu.length}}
	default:
		return w, false
	}
	return w, true
}
