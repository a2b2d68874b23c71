package align

import (
	"fmt"

	"evenfoot/filter/attitude"

	"gonum.org/v1/gonum/spatial/r3"
)

// A Pair is an inertial log beside the GPS velocities, with what comparing the
// two needs. Made once, it serves the clock, the signs and the mount, as long
// as the times stay as they are. It is not for use by several goroutines.
type Pair struct {
	samples attitude.Samples
	aid     *attitude.Aid
	vel     *fixes  // nil without at least two fixes
	bins    *bins   // nil when the log is too short or too long to be compared
	span    float64 // s, of a log that is too long
	hands   [2]*carried
	nearby  *match // of near, with its signs
	signs   Signs
}

// NewPair prepares the comparison; aid may be nil.
func NewPair(s attitude.Samples, aid *attitude.Aid) *Pair {
	p := &Pair{samples: s, aid: aid}
	if aid != nil {
		if v := newFixes(*aid); len(v.t) >= 2 {
			p.vel = v
		}
	}
	p.bins, p.span = newBins(s)
	return p
}

// hand is the motion as carried by the gyroscope taken as right-handed (1) or
// left-handed (-1).
func (p *Pair) hand(hand float64) *carried {
	k := 0
	if hand < 0 {
		k = 1
	}
	if p.hands[k] == nil {
		p.hands[k] = p.bins.carry(hand)
	}
	return p.hands[k]
}

// near compares the logs at lags that a receiver's latency explains.
func (p *Pair) near() (*match, Signs) {
	if p.nearby == nil {
		p.nearby, p.signs = p.tryHands(-PlainLag, int(2*PlainLag/p.bins.dt)+1)
	}
	return p.nearby, p.signs
}

// Track estimates the attitude, whatever the mount, with the sensor's signs
// detected and put right. The clocks must be tied. The errors are those of
// [attitude.TwoSided].
func (p *Pair) Track() (*attitude.Track, Signs, error) {
	signs := p.findSigns()
	s := signs.apply(p.samples)
	// An offset beyond what the filter expects is taken out first.
	offset := r3.Scale(float64(signs.Gyroscope), p.bins.grossOffset())
	if offset != (r3.Vec{}) {
		s.Gyr = corrected(s.Gyr, 1, offset)
	}
	tr, err := attitude.TwoSided(s, p.aid)
	if err != nil {
		return nil, signs, fmt.Errorf("align: no attitude from this log: %w", err)
	}
	for i := range tr.Bias {
		tr.Bias[i] = r3.Add(tr.Bias[i], offset)
	}
	return tr, signs, nil
}

// corrected are columns times a sign, less an offset.
func corrected(c [3][]float32, sign float32, offset r3.Vec) (out [3][]float32) {
	for k, o := range [3]float64{offset.X, offset.Y, offset.Z} {
		out[k] = make([]float32, len(c[k]))
		for i, v := range c[k] {
			out[k][i] = sign*v - float32(o)
		}
	}
	return out
}
