package ride

import (
	"math"

	"evenfoot/analysis/interval"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// windRad is the wind's direction in radians, when known.
func (d *detector) windRad() (float64, bool) {
	return d.s.WindFrom.Value * deg, d.s.WindFrom.Known()
}

// What the wind is told from. Tuned on simulated ordinary, beginner, kite and
// rough outings, with a logger and with a watch alone.
const (
	leastLegs   = 2.0      // weight of the legs together
	fullLeg     = 30.0     // s of a leg that weigh 1
	shortestLeg = 6.0      // s
	sameLegTime = 120.0    // s after which a course taken up again is new evidence
	sameLegTurn = 20 * deg // rad, within which it is the same course
	sureWind    = 0.9      // probability within nearWind of the best
	nearWind    = 60       // deg
	widestWind  = 90       // deg, the longest interval that is given
	gridWind    = 1.5      // deg, the shortest half of one: the grid is 1°

	closedSector = 38 * deg // rad off the wind where no board sails
	closedSoft   = 20 * deg // rad by which it is closed the more
	closedMost   = 20.0     // bound of its evidence
	reachFloor   = 5 * deg  // rad, the least spread of reaches about their mean
	heelFloor    = 1.5 * deg
	windward     = 0.985 // how sure it is that riders heel to windward

	wideTurn, widestTurn = 140 * deg, 300 * deg // rad, of turns that tell
	mostTurnOdds         = 2.8                  // nats
)

// A leg is a reach as the wind sees it.
type leg struct{ course, seconds, weight, heel float64 }

// wind estimates where the wind comes from. Three things tell: reaches lie
// alike on both sides of it and not close to it; the board is heeled to
// windward, against the rig; and from a beam reach a rider jibes more often
// than tacks. Where windward and leeward stay in doubt it is left unknown.
func wind(legs []leg, turns []bend) interval.Interval {
	var total float64
	for _, l := range legs {
		total += l.weight
	}
	if total < leastLegs {
		return interval.Unknown()
	}
	const n = 360
	var logp [n]float64
	best := math.Inf(-1)
	for w := range n {
		dir := float64(w) * deg
		logp[w] = reachEvidence(legs, dir) + heelEvidence(legs, dir) + turnEvidence(turns, dir)
		best = math.Max(best, logp[w])
	}
	var p [n]float64
	var sum, east, north float64
	top := 0
	for w := range p {
		p[w] = math.Exp(logp[w] - best)
		sum += p[w]
		if p[w] > p[top] {
			top = w
		}
	}
	var near float64
	for k := -nearWind; k <= nearWind; k++ {
		w := (top + k + n) % n
		near += p[w]
		s, c := math.Sincos(float64(w) * deg)
		east, north = east+p[w]*s, north+p[w]*c
	}
	mean := math.Atan2(east, north) / deg
	lo, hi := tails(p[:], mean, near)
	if near/sum < sureWind || hi-lo > widestWind {
		return interval.Unknown()
	}
	// Draws of direction are relative to the value, so that 350 and 10 agree.
	v := wrap(mean*deg) / deg
	return interval.Interval{Value: v, Low: v + lo, High: v + hi}
}

// tails are the bounds of the central 90 % of the posterior near mean, degrees
// from it.
func tails(p []float64, mean, mass float64) (lo, hi float64) {
	var c float64
	lo, hi = -nearWind, nearWind
	found := false
	for k := -nearWind; k <= nearWind; k++ {
		w := (int(math.Round(mean)) + k + 720) % 360
		c += p[w] / mass
		if !found && c >= 0.05 {
			lo, found = float64(k)-0.5, true
		}
		if c >= 0.95 {
			hi = float64(k) + 0.5
			break
		}
	}
	return math.Min(lo, -gridWind), math.Max(hi, gridWind)
}

func (d *detector) legs() []leg {
	var out []leg
	last := math.Inf(-1)
	for _, r := range d.s.Reaches {
		if r.End-r.Start < shortestLeg {
			continue
		}
		l := leg{course: r.Course, seconds: r.End - r.Start, heel: d.meanHeel(r.Start+1, r.End-1)}
		// The same course taken up again is no new evidence.
		if n := len(out); n > 0 && r.Start-last < sameLegTime && math.Abs(wrapPi(out[n-1].course-l.course)) < sameLegTurn {
			m := &out[n-1]
			u := l.seconds / (m.seconds + l.seconds)
			m.course += u * wrapPi(l.course-m.course)
			if math.IsNaN(m.heel) {
				m.heel = l.heel
			} else if !math.IsNaN(l.heel) {
				m.heel += u * (l.heel - m.heel)
			}
			m.seconds += l.seconds
		} else {
			out = append(out, l)
		}
		last = r.End
	}
	for i := range out {
		out[i].weight = math.Min(out[i].seconds/fullLeg, 1)
	}
	return out
}

// meanHeel between two times, rad; NaN without IMU, or when it is not known
// which way the bow is.
func (d *detector) meanHeel(t0, t1 float64) float64 {
	if d.g.imu == nil || math.IsNaN(d.in.Motion.Mount.HeadingSE) {
		return math.NaN()
	}
	var sum, n float64
	for _, v := range d.g.imu.heel[d.g.index(t0) : d.g.index(t1)+1] {
		if v == v {
			sum, n = sum+v, n+1
		}
	}
	return sum / n
}

// reachEvidence is the log likelihood that reaches lie alike on both sides of
// the wind: their angles off it share one mean and spread, profiled out; the
// sector close to the wind is closed.
func reachEvidence(legs []leg, from float64) float64 {
	var sw, s1, s2, closed float64
	for _, l := range legs {
		a := math.Abs(wrapPi(l.course - from))
		sw += l.weight
		s1 += l.weight * a
		s2 += l.weight * a * a
		if a < closedSector {
			closed += l.weight * (closedSector - a) / closedSoft
		}
	}
	mean := s1 / sw
	sd := math.Sqrt(math.Max(s2/sw-mean*mean, 0) + reachFloor*reachFloor)
	return -sw*math.Log(sd) - 2*math.Min(closed, closedMost)
}

// heelEvidence: on starboard tack the board heels to starboard.
func heelEvidence(legs []leg, from float64) float64 {
	var mean [2]float64
	var n [2]float64
	var all, all2, na float64
	for _, l := range legs {
		if math.IsNaN(l.heel) {
			continue
		}
		k := 0
		if wrapPi(from-l.course) > 0 { // wind from starboard
			k = 1
		}
		mean[k] += l.weight * l.heel
		n[k] += l.weight
		all, all2, na = all+l.weight*l.heel, all2+l.weight*l.heel*l.heel, na+l.weight
	}
	if n[0] < 0.5 || n[1] < 0.5 {
		return math.Log(0.5)
	}
	diff := mean[1]/n[1] - mean[0]/n[0]
	within := math.Max(all2/na-(all/na)*(all/na)-n[0]*n[1]/(na*na)*diff*diff, 0)
	se := math.Sqrt((within + heelFloor*heelFloor) * (1/n[0] + 1/n[1]))
	p := distuv.UnitNormal.CDF(diff / se)
	return math.Log(windward*p + (1-windward)*(1-p))
}

// turnEvidence: turns of more than 140° are mostly jibes, for who reaches
// across the wind does not turn through it. The rider's share of jibes has a
// Beta(4, 1) prior, and the whole is bounded: one rider's habits are one piece
// of evidence.
func turnEvidence(turns []bend, from float64) float64 {
	var through, away float64
	for _, b := range turns {
		if a := math.Abs(b.by); a < wideTurn || a > widestTurn {
			continue
		}
		w, l := sweeps(b, from), sweeps(b, from+math.Pi)
		if w && !l {
			through++
		} else if l && !w {
			away++
		}
	}
	odds := mathext.Lbeta(away+4, through+1) - mathext.Lbeta(through+4, away+1)
	return math.Min(math.Max(odds, -mostTurnOdds), mostTurnOdds) / 2
}
