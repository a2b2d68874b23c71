package align_test

import (
	"math"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
)

// A receiver that tells of 1.2 s ago, on a shared clock: the filter finds it
// late, not early; the clock's offset is that much negative; and the course of
// each second is taken from the fix that tells of it, so that the heading holds.
func TestReceiverLatencyHasItsSign(t *testing.T) {
	t.Parallel()
	const late = 1.2
	sc := simulate.Default()
	sc.Duration, sc.IMURate, sc.GPSRate, sc.GPSLatency = 1500, 50, 5, late
	s := simulate.Run(sc)
	aid := aidOf(s)
	p := align.NewPair(samplesOf(s), &aid)
	for _, said := range []bool{true, false} {
		c := p.Clock(align.ClockParams{MaxOffset: 60, SaidEqual: said})
		if !c.OK || math.Abs(c.OffsetS+late) > 0.1 {
			t.Errorf("clocks said to be equal %v: offset %.2f s, want %.1f (%+v)", said, c.OffsetS, -late, c.Why)
		}
	}
	m, err := p.Board(math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.Track.LatencyS-late) > 0.1 {
		t.Errorf("latency %.2f s, want %.1f", m.Track.LatencyS, late)
	}
	e := headingError(m.Mount.ToBoard, s.Truth.Mount)
	t.Logf("latency %.2f s, heading off by %.2f° (SE %.2f°), %d parts", m.Track.LatencyS, e, m.Mount.HeadingSE/deg, len(m.Parts))
	if math.Abs(e) > 1 || m.Mount.HeadingSE > 0.8*deg || len(m.Parts) != 1 {
		t.Errorf("heading off by %.2f° (SE %.2f°), %d parts", e, m.Mount.HeadingSE/deg, len(m.Parts))
	}
}
