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

// check looks for columns of unequal length.
func (p *Pair) check() error {
	s, a := &p.samples, p.aid
	if n := len(s.Time); n < 2 {
		return fmt.Errorf("align: the log holds %d inertial samples; at least 2 are needed", n)
	}
	for k := range 3 {
		if len(s.Acc[k]) != len(s.Time) || len(s.Gyr[k]) != len(s.Time) {
			return fmt.Errorf("align: %d times, but %d accelerometer and %d gyroscope samples on axis %c",
				len(s.Time), len(s.Acc[k]), len(s.Gyr[k]), 'x'+rune(k))
		}
	}
	if a != nil && (len(a.East) != len(a.Time) || len(a.North) != len(a.Time)) {
		return fmt.Errorf("align: GPS velocity has %d times, %d east and %d north values", len(a.Time), len(a.East), len(a.North))
	}
	return nil
}

// Track estimates the attitude, whatever the mount, with the sensor's signs
// detected and put right. The clocks must be tied. The errors are those of
// [attitude.TwoSided].
func (p *Pair) Track() (*attitude.Track, Signs, error) {
	tr, _, signs, err := p.track()
	return tr, signs, err
}

// track also returns the samples with their signs put right.
func (p *Pair) track() (*attitude.Track, attitude.Samples, Signs, error) {
	s := p.samples
	if err := p.check(); err != nil {
		return nil, s, Signs{}, err
	}
	signs := p.findSigns()
	s = signs.apply(s)
	aid := p.aid
	if p.vel == nil {
		aid = nil
	}
	// An offset beyond what the filter expects is taken out first.
	offset := r3.Scale(float64(signs.Gyroscope), p.bins.grossOffset())
	tr, err := attitude.TwoSided(withoutOffset(s, offset), aid, attitude.Default())
	if err != nil {
		return nil, s, signs, fmt.Errorf("align: no attitude from this log: %w", err)
	}
	for i := range tr.Bias {
		tr.Bias[i] = r3.Add(tr.Bias[i], offset)
	}
	return tr, s, signs, nil
}

// withoutOffset takes an offset out of the gyroscope's columns, copying them.
func withoutOffset(s attitude.Samples, offset r3.Vec) attitude.Samples {
	for k, o := range [3]float64{offset.X, offset.Y, offset.Z} {
		if o == 0 {
			continue
		}
		c := make([]float32, len(s.Gyr[k]))
		for i, v := range s.Gyr[k] {
			c[i] = v - float32(o)
		}
		s.Gyr[k] = c
	}
	return s
}
