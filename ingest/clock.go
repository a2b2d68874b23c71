package ingest

import (
	"math"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// ShiftIMU takes a clock offset out of the IMU's times:
//
//	t_imu = t_gps + offset + drift (t_gps - at)
//
// offsetS is the IMU's clock minus the GPS clock at second atS of the latter;
// driftPPM is how much faster the IMU's clock runs, parts per million. The SEs
// are their 1σ errors; how says where they come from. Clock.OffsetS is then the
// offset at the middle of the IMU's log. Times stay counted from Start, which
// moves when the IMU would begin before it. All times change in place, so that
// slices which others took of them stay in step.
func (l *Log) ShiftIMU(atS, offsetS, driftPPM, offsetSE, driftSE float64, how Tie) {
	l.Clock = Clock{Tied: true, How: how, OffsetS: offsetS, DriftPPM: driftPPM, OffsetSE: offsetSE, DriftSE: driftSE}
	t := l.IMU.Time
	if len(t) == 0 {
		return
	}
	shift := func(x float64) float64 { return atS + (x-atS-offsetS)/(1+driftPPM*1e-6) }
	mid := (t[0] + t[len(t)-1]) / 2
	l.Clock.OffsetS = mid - shift(mid)
	l.moveIMU(shift)
	if before := math.Floor(t[0]); before < 0 {
		l.moveIMU(later(-before))
		l.moveGPS(later(-before))
		if !l.Start.IsZero() {
			l.Start = addSeconds(l.Start, before)
		}
	}
	sortMarks(l.Marks)
}

// later is a clock that shows d seconds more.
func later(d float64) func(t float64) float64 { return func(t float64) float64 { return t + d } }

// move brings times and gaps to another clock, in place.
func move(t []float64, gaps []Span, by func(t float64) float64) {
	for i, x := range t {
		t[i] = by(x)
	}
	for i, g := range gaps {
		gaps[i] = Span{Start: by(g.Start), End: by(g.End)}
	}
}

// moveIMU brings the IMU to another clock, with the marks and decks of the files
// that are by the IMU's clock alone; moveGPS the GPS with all others.
func (l *Log) moveIMU(by func(t float64) float64) {
	move(l.IMU.Time, l.IMU.Gaps, by)
	l.moveNoted(true, by)
}

func (l *Log) moveGPS(by func(t float64) float64) {
	move(l.GPS.Time, l.GPS.Gaps, by)
	l.moveNoted(false, by)
}

func (l *Log) moveNoted(byIMU bool, by func(t float64) float64) {
	moves := func(file int) bool {
		return byIMU == ((file != l.GPS.File || len(l.GPS.Time) == 0) && l.Files[file].Has(unit.SensorNames[unit.Acc]))
	}
	for _, d := range l.Decks {
		if moves(d.File) {
			move(d.Time, d.Gaps, by)
		}
	}
	for i := range l.Marks {
		if m := &l.Marks[i]; moves(m.File) {
			m.At = by(m.At)
		}
	}
}

const (
	// enoughShared is the part of one device's log that the other must cover for
	// nothing to be said.
	enoughShared = 0.8
	// overlapLeast is the shortest log whose cover is worth a sentence, s.
	overlapLeast = 120
)

// covered is the time with samples at times t, with gaps, between from and to, s.
func covered(t []float64, gaps []Span, from, to float64) float64 {
	shared := func(a, b float64) float64 { return max(0, min(b, to)-max(a, from)) }
	length := shared(t[0], t[len(t)-1])
	for _, g := range gaps {
		length -= shared(g.Start, g.End)
	}
	return length
}

// overlap tells how much of one device's log the other covers; ok is false when
// it is most of both, or when a log is too short to matter.
func (l *Log) overlap() (w raw.Warning, ok bool) {
	u, g := &l.IMU, &l.GPS
	if len(u.Time) == 0 || len(g.Time) == 0 {
		return w, false
	}
	from, to := raw.Extent(u.Time)
	fromFix, toFix := raw.Extent(g.Time)
	motion, fixes := covered(u.Time, u.Gaps, from, to), covered(g.Time, g.Gaps, fromFix, toFix)
	both, bothFix := covered(u.Time, u.Gaps, fromFix, toFix), covered(g.Time, g.Gaps, from, to)
	switch {
	case max(motion, fixes) < overlapLeast:
		return w, false
	case l.Clock.How == "": // no common clock: only the lengths can be compared
		w = raw.Warning{Kind: raw.LengthsDiffer, Values: []float64{motion, fixes}}
		return w, min(motion, fixes) < enoughShared*max(motion, fixes)
	case to <= fromFix:
		w = raw.Warning{Kind: raw.NoSharedTime, Sensor: "GPS", Values: []float64{fromFix - to}}
	case toFix <= from:
		w = raw.Warning{Kind: raw.NoSharedTime, Sensor: "motion", Values: []float64{from - toFix}}
	case both < enoughShared*fixes:
		w = raw.Warning{Kind: raw.MotionPartly, Values: []float64{both, fixes}}
	case bothFix < enoughShared*motion:
		w = raw.Warning{Kind: raw.GPSPartly, Values: []float64{bothFix, motion}}
	default:
		return w, false
	}
	return w, true
}
