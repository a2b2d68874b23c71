package align

import (
	"math"
)

// ClockParams bound the search for the clock's offset.
type ClockParams struct {
	// MaxOffset is the largest offset, s. Default 3,700 (an hour: a time zone or
	// summer time wrong by one); +Inf tries every offset at which the logs overlap.
	MaxOffset float64
	// SaidEqual is for logs that are said to share a clock: where the motions
	// agree within [PlainLag] of no offset, nothing further is searched, and
	// neither drift nor the last hundredths of the offset are told.
	SaidEqual bool
}

// The largest drift to expect of a crystal, s/s, and its 1σ.
const mostDrift, driftSD = 150e-6, 0.7 * mostDrift

// A Clock says how the IMU's clock stands to the GPS clock:
//
//	t_imu = t_gps + OffsetS + DriftPPM·1e-6·(t_gps − AtS)
//
// The receiver's latency is part of the offset, which ties the moments at
// which both devices show the same motion: a fix that reports the velocity of
// 0.3 s ago makes the offset 0.3 s smaller than the clocks'.
type Clock struct {
	OffsetS   float64 // IMU minus GPS at AtS, s
	OffsetSE  float64 // 1σ, s
	DriftPPM  float64 // IMU against GPS, parts per million
	DriftSE   float64 // 1σ
	AtS       float64 // the middle of the common motion, s on the GPS clock
	Agreement float64 // correlation of the velocity changes at the offset found, 0..1
	OK        bool
	Why       Finding // why the offset cannot be told; none when OK
}

// ToGPS turns a time on the IMU's clock into GPS time.
func (c Clock) ToGPS(imu float64) float64 {
	d := c.DriftPPM * 1e-6
	return c.AtS + (imu-c.AtS-c.OffsetS)/(1+d)
}

func noClock(why Finding) Clock {
	nan := math.NaN()
	return Clock{OffsetS: nan, OffsetSE: nan, DriftPPM: nan, DriftSE: nan, Why: why}
}

// What the logs must hold to be compared.
const (
	minClockFixes  = 30
	minClockMoving = 20.0 // s
)

// Clock finds the IMU clock's offset (IMU minus GPS) and drift from the motion
// itself: yaw rate against course rate, and horizontal specific force against
// the change of velocity. Neither needs to know how the sensor is mounted.
// When the motions do not single out one offset, OK is false and Why says the
// reason.
func (p *Pair) Clock(par ClockParams) Clock {
	if !(par.MaxOffset > 0) {
		par.MaxOffset = 3700
	}
	b, g := p.bins, p.vel
	switch {
	case b == nil && p.span > 0:
		return noClock(Finding{Kind: TooLong, Until: p.span})
	case b == nil:
		return noClock(Finding{Kind: IMUTooShort})
	case g == nil || len(g.t) < minClockFixes:
		n := 0
		if g != nil {
			n = len(g.t)
		}
		return noClock(Finding{Kind: FewFixes, Count: n, Needed: minClockFixes})
	case g.moving < minClockMoving:
		return noClock(Finding{Kind: HardlyMoves, Speed: movingSpeed, Count: int(g.moving), Needed: minClockMoving})
	}
	if par.SaidEqual {
		if c := p.equalClocks(); c.OK {
			return c
		}
	}
	lag, why := p.coarseClock(par.MaxOffset, 1)
	if why.Kind != "" && b.hasGyr {
		// A gyroscope of the other hand spoils the estimate of up.
		if l, none := p.coarseClock(par.MaxOffset, -1); none.Kind == "" {
			lag, why = l, none
		}
	}
	if why.Kind != "" {
		return noClock(why)
	}
	return p.fineClock(lag)
}

// overlap is the part of the GPS log that the IMU saw at a lag, s.
func (p *Pair) overlap(lag float64) (from, to float64) {
	b, g := p.bins, p.vel
	return max(g.t[0], b.start-lag), min(g.t[len(g.t)-1], b.start+float64(len(b.acc))*b.dt-lag)
}

// equalClocks looks whether the motions agree near no offset.
func (p *Pair) equalClocks() Clock {
	m, signs := p.near()
	lag, _ := m.best(byAccel, PlainLag)
	from, to := p.overlap(lag)
	c := Clock{OffsetS: lag, OffsetSE: m.step, DriftSE: mostDrift * 1e6, AtS: (from + to) / 2}
	c.Agreement = m.agreement(byAccel, func(float64) float64 { return lag })
	c.OK = signs.Sure && c.Agreement >= minAgreement && math.Abs(lag) < PlainLag-m.step/2
	return c
}

// fineReach is how far the coarse lag may be off, s, besides the drift.
const fineReach = 2.5

// What no number of stretches averages out, 1σ; tuned on 320 simulated
// sessions with a watch that gives positions only.
const (
	courseLagSD = 0.12  // s, of the course against the bow in a turn
	offMastSD   = 0.3   // m, of the sensor along the board
	deviceLagSD = 0.025 // s, within the devices
)

// fineClock refines the coarse lag stretch by stretch and fits offset and drift.
func (p *Pair) fineClock(lag float64) Clock {
	from, to := p.overlap(lag)
	mid, half := (from+to)/2, (to-from)/2
	m, _ := p.tryHands(lag-fineReach, int(2*fineReach/p.bins.dt)+1)
	acc, yaw := m.line(byAccel, mid, half), m.line(byTurn, mid, half)
	// Velocity is the same thing for both devices; the course may lag the bow
	// in a turn. So the turns only add what they agree on. A sensor ahead of the
	// mast turns into a new course before the receiver does.
	yaw.atSE = math.Hypot(yaw.atSE, courseLagSD)
	acc.atSE = math.Hypot(acc.atSE, offMastSD/p.vel.cruise())
	if acc.n+yaw.n == 0 {
		return noClock(Finding{Kind: FewTurns, Offset: lag})
	}
	mean := func(x, sx, y, sy float64) (float64, float64) {
		wx, wy := 1/(sx*sx), 1/(sy*sy)
		return (wx*x + wy*y) / (wx + wy), 1 / math.Sqrt(wx+wy)
	}
	var l lagLine
	l.at, l.atSE = mean(acc.at, acc.atSE, yaw.at, yaw.atSE)
	l.slope, l.slopeSE = mean(acc.slope, acc.slopeSE, yaw.slope, yaw.slopeSE)
	c := Clock{
		OffsetS: l.at, DriftPPM: l.slope * 1e6, AtS: mid,
		OffsetSE: math.Hypot(l.atSE, deviceLagSD),
		DriftSE:  math.Hypot(l.slopeSE*1e6, 0.5),
	}
	c.Agreement = m.agreement(byAccel, func(t float64) float64 { return l.at + l.slope*(t-mid) })
	switch {
	case c.Agreement < minAgreement:
		c.Why = Finding{Kind: Disagree, Offset: l.at, Correlation: c.Agreement, Needed: minAgreement}
	case c.OffsetSE > maxOffsetSE:
		c.Why = Finding{Kind: FewTurns, Offset: l.at, Other: 1.645 * c.OffsetSE}
	default:
		c.OK = true
	}
	return c
}

const (
	// minAgreement is the least correlation of velocity changes between logs of
	// one outing. Simulated ones reach 0.85 to 0.95, even with the sensor on the
	// wrist; of logs of different outings, at their best offset, 0.3 to 0.6.
	minAgreement = 0.68
	// maxOffsetSE is the doubt, s, 1σ, up to which clocks count as tied: the
	// attitude filter finds the rest as the receiver's latency.
	maxOffsetSE = 0.3
)

// lineReach is how far, s, a stretch's lag may lie from that which suits all
// together, besides the drift.
const lineReach = 0.6

// line lets each stretch vote near the lag that suits all together.
func (m *match) line(by int, mid, half float64) lagLine {
	guess, _ := m.best(by, math.Inf(1))
	return fitLine(m.points(by, guess, lineReach+mostDrift*half), mid, driftSD)
}
