package align

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Signs are the conventions of the log: what its columns have to be
// multiplied by. A sensor with left-handed axes shows as both signs -1.
type Signs struct {
	Accelerometer int // +1, or -1 where the log reports the opposite of specific force
	Gyroscope     int // +1, or -1 where the log counts left-handed
	// Sure says that the motion settled the signs; otherwise they are the
	// usual +1 for want of turns.
	Sure bool
}

// What settles the signs, in log likelihood: over no relation to the GPS, and
// over the next best signs.
const (
	minSignGain = 30.0
	minSignLead = 20.0
)

// PlainLag is the largest lag, s, between IMU and GPS that a receiver's
// latency explains; a device whose sensors lie further apart stamps them
// wrongly.
const PlainLag = 2.0

// tryHands tries both hands of the gyroscope and both signs of the
// accelerometer at so many lags from first on, s, and returns what explains
// the GPS best, signs Sure when it did so by a wide margin.
//
// With the accelerometer negated, up becomes down and the horizontal motion is
// seen from below, in a mirror; with the gyroscope negated, the carried frame
// turns the wrong way. Either spoils the match with the GPS in every turn.
func (p *Pair) tryHands(first float64, n int) (best *match, signs Signs) {
	hands := []int{1, -1}
	if !p.bins.hasGyr {
		hands = hands[:1]
	}
	var tried [2]*match
	filter.Each(len(hands), func(k int) {
		tried[k] = p.hand(float64(hands[k])).match(p.vel, first, n)
	})
	top, second := math.Inf(-1), math.Inf(-1)
	for k, hand := range hands {
		for _, sign := range []int{1, -1} {
			m := *tried[k]
			m.mirror = sign < 0
			if _, ll := m.best(byAccel, math.Inf(1)); ll > top {
				best, signs.Accelerometer, signs.Gyroscope = &m, sign, hand
				top, second = ll, top
			} else {
				second = max(second, ll)
			}
		}
	}
	signs.Sure = p.bins.hasGyr && top > minSignGain && top-second > minSignLead
	return best, signs
}

// findSigns tells the signs at the clock's present offset, give or take the
// GPS receiver's latency.
func (p *Pair) findSigns() Signs {
	plain := Signs{Accelerometer: 1, Gyroscope: 1}
	if p.bins == nil || !p.bins.hasGyr {
		return plain
	}
	if p.vel != nil && len(p.vel.t) > minClockFixes {
		if _, s := p.near(); s.Sure {
			return s
		}
	}
	// Without turns under GPS, gravity can still show the gyroscope's hand.
	if p.bins.leftHanded() {
		plain.Gyroscope = -1
	}
	return plain
}

// finding is what there is to say of the signs.
func (s Signs) finding() Finding {
	switch {
	case s.Accelerometer < 0 && s.Gyroscope < 0:
		return Finding{Kind: LeftHanded}
	case s.Accelerometer < 0:
		return Finding{Kind: AccelerometerNeg}
	case s.Gyroscope < 0:
		return Finding{Kind: GyroscopeNeg}
	}
	return Finding{}
}

// What tells the gyroscope's hand from gravity alone. A wrong correction is
// worse than none: both spans must say the same, each this clearly. Tuned on
// five open trials and their mirror images, of which one shakes along its
// axes in time with its turns.
const (
	handShort, handLong = 4.0, 8.0 // s
	handFewest          = 8        // windows that tell
	handSpeed           = 0.5      // m/s, a window whose velocity strays less tells nothing
	handSure            = 3.0      // standard errors
)

// leftHanded says that the gyroscope clearly counts left-handed.
func (b *bins) leftHanded() bool {
	return b.handVote(handShort) < -handSure && b.handVote(handLong) < -handSure
}

// handVote compares, in windows of so many seconds, how well the specific
// force, seen from the frame that the gyroscope carries one way and the other,
// adds up to a steady gravity and a velocity that stays small. It returns a t
// value: positive for right-handed, zero when nothing tells.
func (b *bins) handVote(seconds float64) float64 {
	var n, sum, sumSq float64
	size := max(1, int(seconds/b.dt))
	for from := 0; from+size <= len(b.acc); from += size {
		if !b.unbroken(from, from+size) {
			continue
		}
		right, left := b.stray(from, from+size, 1), b.stray(from, from+size, -1)
		if max(right, left) < handSpeed {
			continue
		}
		x := clip(math.Log(left/right), 2)
		n++
		sum += x
		sumSq += x * x
	}
	if n < handFewest {
		return 0
	}
	mean := sum / n
	v := max(sumSq/n-mean*mean, 1e-6)
	return mean / math.Sqrt(v/n)
}

// stray is how far, m/s rms, the integral of specific force over bins
// [from, to) leaves the straight line that gravity alone would draw.
func (b *bins) stray(from, to int, hand float64) float64 {
	n := float64(to - from)
	q := quat.Number{Real: 1}
	var v, sum, moment r3.Vec
	path := make([]r3.Vec, 0, to-from)
	middle := (n - 1) / 2 * b.dt
	for i := from; i < to; i++ {
		if i > from {
			q = quat.Mul(q, b.turn(i, hand))
		}
		v = r3.Add(v, r3.Scale(b.dt, rotation.Rotate(q, b.acc[i])))
		path = append(path, v)
		sum = r3.Add(sum, v)
		moment = r3.Add(moment, r3.Scale(float64(i-from)*b.dt-middle, v))
	}
	gravity := r3.Scale(standardGravity, rotation.Direction(moment)) // along the line's slope
	mean := r3.Scale(1/n, sum)
	left := 0.0
	for i, v := range path {
		left += r3.Norm2(r3.Sub(r3.Sub(v, mean), r3.Scale(float64(i)*b.dt-middle, gravity)))
	}
	return math.Sqrt(left/n) + 1e-3
}

// apply returns the samples with the signs put right; the columns are copied
// only where a sign changes.
func (s Signs) apply(in attitude.Samples) attitude.Samples {
	if s.Accelerometer < 0 {
		in.Acc = corrected(in.Acc, -1, r3.Vec{})
	}
	if s.Gyroscope < 0 {
		in.Gyr = corrected(in.Gyr, -1, r3.Vec{})
	}
	return in
}

const (
	grossOffset = 1.5 * deg // rad/s: smaller ones the attitude filter finds by itself
	fewestBins  = 400       // that tell it
)

// grossOffset is the gyroscope's offset as the log reports it, rad/s, where
// it is so large that the attitude filter would not expect it; else zero. It
// is the median of the rates, which turns hardly move.
func (b *bins) grossOffset() r3.Vec {
	if b == nil || !b.hasGyr || len(b.gyr) < fewestBins || !(r3.Norm(b.offset) > grossOffset) {
		return r3.Vec{}
	}
	return b.offset
}
