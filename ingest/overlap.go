package ingest

import (
	"fmt"
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
	c := cover{math.NaN(), math.NaN(), 0}
	if len(t) == 0 {
		return c
	}
	c.from, c.to = max(t[0], from), min(t[len(t)-1], to)
	if !(c.to > c.from) {
		return c
	}
	c.length = c.to - c.from
	for _, g := range gaps {
		c.length -= max(0, min(g.End, c.to)-max(g.Start, c.from))
	}
	return c
}

// overlap says in one sentence how much of one device's log the other covers;
// "" when it is most of both, or when a log is too short to matter.
func (l *Log) overlap() string {
	u, g := &l.IMU, &l.GPS
	whole := func(t []float64, gaps []Span) cover { return covered(t, gaps, math.Inf(-1), math.Inf(1)) }
	imu, gps := whole(u.Time, u.Gaps), whole(g.Time, g.Gaps)
	if !(max(imu.length, gps.length) >= overlapLeast) || len(u.Time) == 0 || len(g.Time) == 0 {
		return ""
	}
	if l.Clock.How == "" { // no common clock: only the lengths can be compared
		if short, long := min(imu.length, gps.length), max(imu.length, gps.length); short >= enoughShared*long {
			return ""
		}
		return fmt.Sprintf("The motion was logged for %s and the GPS for %s: one of them covers only a part of the outing.",
			lengthOf(imu.length), lengthOf(gps.length))
	}
	if imu.to <= gps.from || gps.to <= imu.from {
		from, to, after := imu.to, gps.from, "GPS"
		if gps.to <= imu.from {
			from, to, after = gps.to, imu.from, "motion"
		}
		return fmt.Sprintf("By their clocks the motion and the GPS share no time: the %s starts %s after the other ends. Either they are of different rides or one clock is wrong.",
			after, lengthOf(to-from))
	}
	motion := covered(u.Time, u.Gaps, gps.from, gps.to)
	fixes := covered(g.Time, g.Gaps, imu.from, imu.to)
	switch {
	case motion.length < enoughShared*gps.length:
		return fmt.Sprintf("There is motion for %s of the %s of the GPS log; the pitch can be known only there.", partOf(motion.length, gps.length), lengthOf(gps.length))
	case fixes.length < enoughShared*imu.length:
		return fmt.Sprintf("There is GPS for %s of the %s of the motion log; rides and speeds can be known only there.", partOf(fixes.length, imu.length), lengthOf(imu.length))
	}
	return ""
}

// lengthOf writes a length of time in minutes, or in hours or seconds where it
// is long or short.
func lengthOf(s float64) string {
	switch {
	case s >= 3*3600:
		return partOf(s, s) + " hours"
	case s < 90:
		return raw.Count(int(math.Round(s)), "second")
	}
	return partOf(s, s) + " minutes"
}

// partOf writes s in the unit and precision in which lengthOf writes whole.
func partOf(s, whole float64) string {
	switch {
	case whole >= 3*3600:
		return raw.TrimFloat(s/3600, 1)
	case whole >= 600:
		return raw.TrimFloat(s/60, 0)
	}
	return raw.TrimFloat(s/60, 1)
}
