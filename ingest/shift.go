package ingest

import (
	"math"
	"slices"
)

// ShiftIMU takes a clock offset out of the IMU's times. offsetS is the IMU's
// clock minus the GPS clock at the middle of the IMU's log, s; driftPPM is how
// much faster the IMU's clock runs, parts per million. The SEs are their 1σ
// errors; how says where they come from ("estimated from the motion",
// "stated"). Times stay counted from Start, which moves when the IMU would
// begin before it.
func (l *Log) ShiftIMU(offsetS, driftPPM, offsetSE, driftSE float64, how string) {
	mid := 0.0
	if t := l.IMU.Time; len(t) > 0 {
		mid = (t[0] + t[len(t)-1]) / 2
	}
	l.ShiftIMUAt(mid-offsetS, offsetS, driftPPM, offsetSE, driftSE, how)
}

// ShiftIMUAt is [Log.ShiftIMU] for an offset that holds at second atS of the
// GPS clock:
//
//	t_imu = t_gps + offset + drift (t_gps - at)
//
// Clock.OffsetS is then the offset at the middle of the IMU's log.
func (l *Log) ShiftIMUAt(atS, offsetS, driftPPM, offsetSE, driftSE float64, how string) {
	l.Clock = Clock{Tied: true, How: how, OffsetS: offsetS, DriftPPM: driftPPM, OffsetSE: offsetSE, DriftSE: driftSE}
	t := l.IMU.Time
	if len(t) == 0 {
		return
	}
	d := driftPPM * 1e-6
	shift := func(x float64) float64 { return atS + (x-atS-offsetS)/(1+d) }
	mid := (t[0] + t[len(t)-1]) / 2
	l.Clock.OffsetS = mid - shift(mid)
	out := make([]float64, len(t))
	for i, x := range t {
		out[i] = shift(x)
	}
	l.IMU.Time = out
	l.IMU.Gaps = slices.Clone(l.IMU.Gaps)
	for i := range l.IMU.Gaps {
		g := &l.IMU.Gaps[i]
		g.Start, g.End = shift(g.Start), shift(g.End)
	}
	if out[0] >= 0 {
		return
	}
	before := math.Floor(out[0])
	for i := range out {
		out[i] -= before
	}
	l.IMU.Gaps = movedSpans(l.IMU.Gaps, -before)
	l.GPS.Time, l.GPS.Gaps = moved(l.GPS.Time, -before), movedSpans(l.GPS.Gaps, -before)
	if !l.Start.IsZero() {
		l.Start = addSeconds(l.Start, before)
	}
}
