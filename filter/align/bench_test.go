package align_test

import (
	"math"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
)

// twoHours is a session of two hours at 100 Hz with a 1 Hz receiver.
func twoHours(offset, drift float64) (attitude.Samples, *attitude.Aid) {
	sc := simulate.Default()
	sc.Duration, sc.ClockOffset, sc.DriftPPM = 7200, offset, drift
	s := simulate.Run(sc)
	aid := aidOf(s)
	return samplesOf(s), &aid
}

func report(b *testing.B, s attitude.Samples) {
	b.ReportMetric(float64(len(s.Time))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

func BenchmarkBoardTwoHours(b *testing.B) {
	s, aid := twoHours(0, 0)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := align.NewPair(s, aid).Board(math.NaN()); err != nil {
			b.Fatal(err)
		}
	}
	report(b, s)
}

func BenchmarkEstimateClockTwoHours(b *testing.B) {
	s, aid := twoHours(3600, 50)
	b.ReportAllocs()
	for b.Loop() {
		if c := clockOf(s, *aid, align.ClockParams{}); !c.OK {
			b.Fatal(c.Why)
		}
	}
	report(b, s)
}

// One device: the clocks are only checked, and what that makes gives the signs.
func BenchmarkCheckClockTwoHours(b *testing.B) {
	s, aid := twoHours(0, 0)
	b.ReportAllocs()
	for b.Loop() {
		if c := align.NewPair(s, aid).Clock(align.ClockParams{MaxOffset: 60, SaidEqual: true}); !c.OK {
			b.Fatal(c.Why)
		}
	}
	report(b, s)
}
