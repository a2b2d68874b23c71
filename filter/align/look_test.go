package align

import (
	"math"
	"testing"

	"evenfoot/filter/attitude"

	"gonum.org/v1/gonum/num/quat"
)

// Seen through a receiver that tells of 1.2 s ago, a steady turn has at each
// second the course that it has there, not the one that is told then.
func TestLooksTakeTheLatencyOut(t *testing.T) {
	t.Parallel()
	const late, rate, speed = 1.2, 0.4, 8.0 // s, rad/s, m/s
	aid := attitude.Aid{SD: 0.1}
	for x := 0.0; x < 60; x += 0.2 {
		sin, cos := math.Sincos(rate * (x - late))
		aid.Time, aid.East, aid.North = append(aid.Time, x), append(aid.East, speed*cos), append(aid.North, speed*sin)
	}
	var s attitude.Samples
	tr := &attitude.Track{LatencyS: late, HeadingKnown: true}
	for x := 5.0; x < 50; x += 0.02 {
		s.Time = append(s.Time, x)
		for k := range 3 {
			s.Acc[k], s.Gyr[k] = append(s.Acc[k], 0), append(s.Gyr[k], 0)
		}
		tr.Q = append(tr.Q, quat.Number{Real: 1})
	}
	tr.Segments = [][2]int{{0, len(s.Time)}}
	looks := newLooks(s, tr, newFixes(aid))
	if len(looks) < 40 {
		t.Fatalf("%d looks", len(looks))
	}
	for _, l := range looks {
		if e := wrapPi(l.course - rate*l.t); math.Abs(e) > 1*deg || math.Abs(l.rate-rate) > 0.01 || math.Abs(l.speed-speed) > 0.1 {
			t.Errorf("at %.1f s: course off by %.1f°, rate %.3f rad/s, speed %.2f m/s", l.t, e/deg, l.rate, l.speed)
		}
	}
}
