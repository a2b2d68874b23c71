package align

import (
	"fmt"
	"math"
)

// fineReach is how far the coarse lag may be off, s, besides the drift.
const fineReach = 2.5

// fineClock refines the coarse lag stretch by stretch and fits offset and drift.
func fineClock(b *bins, g *fixes, pk clockPeak, p ClockParams) Clock {
	// The part of the GPS log that the IMU saw.
	lo := max(g.t[0], b.t[0]-pk.lag)
	hi := min(g.t[len(g.t)-1], b.t[len(b.t)-1]-pk.lag)
	mid, half := (lo+hi)/2, (hi-lo)/2
	var lags []float64
	for x := -fineReach; x <= fineReach+1e-9; x += 0.1 {
		lags = append(lags, pk.lag+x)
	}
	m := b.chirality(g, lags)
	byAccel := func(s *stretch) []float64 { return s.byAccel }
	byTurn := func(s *stretch) []float64 { return s.byTurn }
	out := Clock{AtS: mid, OverlapS: hi - lo, Agreement: pk.corr, LatencyNote: latencyNote}
	prior := 0.7 * p.MaxDriftPPM * 1e-6
	acc := m.line(byAccel, mid, half, prior, p)
	yaw := m.line(byTurn, mid, half, prior, p)
	// Velocity is the same thing for both devices; the course may lag the bow
	// in a turn. So the turns only add what they agree on.
	var l lagLine
	switch {
	case acc.n == 0 && yaw.n == 0:
		nan := math.NaN()
		return Clock{OffsetS: nan, OffsetSE: nan, DriftPPM: nan, DriftSE: nan, OverlapS: hi - lo,
			Why: fmt.Sprintf("Near an offset of %+.1f s the motions match only roughly; too few turns and speed changes to tie the clocks to a fraction of a second.", pk.lag)}
	case yaw.n == 0:
		l = acc
	case acc.n == 0:
		l = yaw
		l.atSE = math.Hypot(l.atSE, 0.1) // the course's own lag is not known
	default:
		l = combine(acc, yaw)
	}
	out.OffsetS, out.DriftPPM = l.at, l.slope*1e6
	out.OffsetSE = math.Hypot(l.atSE, 0.025) // sensors off the mast, lags within the devices
	out.DriftSE = math.Hypot(l.slopeSE*1e6, 0.5)
	out.Agreement = math.Sqrt(m.explained(func(t float64) float64 { return l.at + l.slope*(t-mid) }))
	switch {
	case out.Agreement < minAgreement:
		out.Why = fmt.Sprintf("The motion in the two logs is most alike at an offset of %+.1f s, but does not match there (correlation of velocity changes %.2f; at least %.2f is needed).", l.at, out.Agreement, minAgreement)
	case out.OffsetSE > 0.3:
		out.Why = fmt.Sprintf("The offset is near %+.1f s, but only to ±%.1f s; too few turns and speed changes to tie the clocks.", l.at, 1.645*out.OffsetSE)
	default:
		out.OK = true
	}
	return out
}

// minAgreement is the least correlation of velocity changes between logs of
// one outing. Simulated ones reach 0.85 to 0.95, even with the sensor on the
// wrist; of logs of different outings, at their best offset, 0.3 to 0.6.
const minAgreement = 0.68

// line finds the best pair of lag and drift over all stretches together, then
// lets each stretch vote near it.
func (m *match) line(of func(*stretch) []float64, mid, half, prior float64, p ClockParams) lagLine {
	if len(m.stretch) == 0 {
		return lagLine{}
	}
	bestLL, bestAt, bestSlope := math.Inf(-1), 0.0, 0.0
	step := m.lags[1] - m.lags[0]
	dStep := max(0.05/max(half, 60), 1e-6)
	for d := -p.MaxDriftPPM * 1e-6; d <= p.MaxDriftPPM*1e-6+1e-12; d += dStep {
		for _, at := range m.lags {
			ll := -0.5 * d * d / (prior * prior)
			for i := range m.stretch {
				s := &m.stretch[i]
				x := (at + d*(s.mid-mid) - m.lags[0]) / step
				k := int(x)
				v := of(s)
				if x < 0 || k+1 >= len(v) {
					continue
				}
				ll += v[k] + (x-float64(k))*(v[k+1]-v[k])
			}
			if ll > bestLL {
				bestLL, bestAt, bestSlope = ll, at, d
			}
		}
	}
	pts := m.points(of, func(t float64) float64 { return bestAt + bestSlope*(t-mid) })
	return fitLine(pts, mid, prior)
}

// combine weighs two lines of the same thing; where they disagree the better
// known one is kept and half the difference becomes doubt.
func combine(a, b lagLine) lagLine {
	mean := func(x, sx, y, sy float64) (float64, float64) {
		wx, wy := 1/(sx*sx), 1/(sy*sy)
		return (wx*x + wy*y) / (wx + wy), 1 / math.Sqrt(wx+wy)
	}
	out := a
	d := a.at - b.at
	if math.Abs(d) < 2*math.Hypot(a.atSE, b.atSE) {
		out.at, out.atSE = mean(a.at, a.atSE, b.at, b.atSE)
	} else if a.atSE > 2*math.Abs(d) {
		out.at = b.at
		out.atSE = math.Hypot(b.atSE, d/2)
	} else {
		out.atSE = math.Hypot(a.atSE, d/2)
	}
	if s := a.slope - b.slope; math.Abs(s) < 2*math.Hypot(a.slopeSE, b.slopeSE) {
		out.slope, out.slopeSE = mean(a.slope, a.slopeSE, b.slope, b.slopeSE)
	} else {
		out.slopeSE = math.Hypot(a.slopeSE, s/2)
	}
	out.n = a.n + b.n
	return out
}
