package ingest

import "math"

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
	for i, x := range t {
		t[i] = shift(x)
	}
	for i := range l.IMU.Gaps {
		g := &l.IMU.Gaps[i]
		g.Start, g.End = shift(g.Start), shift(g.End)
	}
	l.shiftNoted(l.byIMU, shift)
	if t[0] >= 0 {
		return
	}
	before := math.Floor(t[0])
	shiftTimes(t, l.IMU.Gaps, -before)
	shiftTimes(l.GPS.Time, l.GPS.Gaps, -before)
	l.shiftNoted(func(int) bool { return true }, func(t float64) float64 { return t - before })
	if !l.Start.IsZero() {
		l.Start = addSeconds(l.Start, before)
	}
}
