package ingest

import (
	"evenfoot/ingest/unit"
	"math"
	"slices"
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
	defer sortMarks(l.Marks)
	d := driftPPM * 1e-6
	shift := func(x float64) float64 { return atS + (x-atS-offsetS)/(1+d) }
	mid := (t[0] + t[len(t)-1]) / 2
	l.Clock.OffsetS = mid - shift(mid)
	move(t, l.IMU.Gaps, shift)
	l.moveNoted(l.byIMU, shift)
	if t[0] >= 0 {
		return
	}
	before := math.Floor(t[0])
	move(t, l.IMU.Gaps, later(-before))
	move(l.GPS.Time, l.GPS.Gaps, later(-before))
	l.moveNoted(func(int) bool { return true }, later(-before))
	if !l.Start.IsZero() {
		l.Start = addSeconds(l.Start, before)
	}
}

// move brings times and gaps to another clock, in place.
func move(t []float64, gaps []Span, by func(t float64) float64) {
	for i, x := range t {
		t[i] = by(x)
	}
	for i, g := range gaps {
		gaps[i] = Span{Start: by(g.Start), End: by(g.End)}
	}
}

// later is a clock that shows d seconds more.
func later(d float64) func(t float64) float64 { return func(t float64) float64 { return t + d } }

// byIMU says whether file i is by the clock of the IMU alone.
func (l *Log) byIMU(i int) bool {
	return (i != l.GPS.File || len(l.GPS.Time) == 0) && slices.ContainsFunc(l.Files[i].Channels, func(c Channel) bool {
		return c.Name == unit.SensorNames[unit.Acc]
	})
}

// moveNoted moves what some files hold besides IMU and GPS: marks and decks.
func (l *Log) moveNoted(of func(file int) bool, by func(t float64) float64) {
	for _, d := range l.Decks {
		if of(d.File) {
			move(d.Time, d.Gaps, by)
		}
	}
	for i := range l.Marks {
		if m := &l.Marks[i]; of(m.File) {
			m.At = by(m.At)
		}
	}
}
