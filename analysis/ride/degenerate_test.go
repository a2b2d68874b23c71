package ride_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/analysis/ride"
	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
)

// TestNothingToTell: logs with little or nothing in them give few or no rides,
// and what is not known says so.
func TestNothingToTell(t *testing.T) {
	nan := math.NaN()
	taxi := simulate.Default()
	taxi.NoFlight = true
	taxi.Duration = 900
	short := simulate.Default()
	short.Duration, short.Rest, short.Carry, short.Swim = 120, 0, 0, 0
	one := simulate.Default()
	one.OneTack, one.Duration = true, 900
	still := simulate.Default()
	still.Duration, still.Rest = 300, 400
	run := func(sc simulate.Scenario) (logger, watch ride.Input) {
		sc.IMURate = 50
		s := simulate.Run(sc)
		return input(s, true), input(s, false)
	}
	taxied, taxiedWatch := run(taxi)
	atRest, atRestWatch := run(still)
	brief, briefWatch := run(short)
	tack, tackWatch := run(one)
	imuOnly := tack
	imuOnly.Time, imuOnly.East, imuOnly.North = nil, nil, nil
	for _, c := range []struct {
		name    string
		in      ride.Input
		flights int // -1: some
	}{
		{"empty", ride.Input{}, 0},
		{"one fix", ride.Input{Time: []float64{5}, East: []float64{8}, North: []float64{0}}, 0},
		{"NaN everywhere", ride.Input{Time: []float64{0, 1, 2, 3}, East: []float64{nan, nan, nan, nan}, North: []float64{nan, nan, nan, nan}}, 0},
		{"times run backwards", ride.Input{Time: []float64{3, 2, 1}, East: []float64{8, 8, 8}, North: []float64{0, 0, 0}}, 0},
		{"columns of different length", ride.Input{Time: []float64{0, 1, 2}, East: []float64{8}, North: []float64{0, 0}}, 0},
		{"centuries apart", ride.Input{Time: []float64{0, 1e10}, East: []float64{8, 8}, North: []float64{0, 0}}, 0},
		{"taxiing only", taxied, 0},
		{"taxiing only, watch alone", taxiedWatch, 0},
		{"at rest", atRest, 0},
		{"at rest, watch alone", atRestWatch, 0},
		{"two minutes", brief, -1},
		{"two minutes, watch alone", briefWatch, -1},
		{"one tack", tack, -1},
		{"one tack, watch alone", tackWatch, -1},
		{"IMU without GPS", imuOnly, 0},
	} {
		got := ride.Detect(c.in)
		if c.flights == 0 && len(got.Rides) != 0 || c.flights < 0 && len(got.Rides) == 0 {
			t.Errorf("%s: %d rides", c.name, len(got.Rides))
		}
		if got.WindFrom.Known() {
			t.Errorf("%s: wind %v", c.name, got.WindFrom)
		}
		if len(got.Rides) == 0 && got.Totals != (ride.Totals{}) {
			t.Errorf("%s: totals %+v without a ride", c.name, got.Totals)
		}
		consistent(t, c.name, got)
	}
	if b := ride.Detect(briefWatch).BestSpeeds; b.NauticalMile.Known() || !b.TwoSeconds.Known() {
		t.Errorf("two minutes: best speeds %+v", b)
	}
}

// consistent holds what must be true of every session.
func consistent(t *testing.T, name string, s *ride.Session) {
	t.Helper()
	last := math.Inf(-1)
	for i, r := range s.Rides {
		if r.End <= r.Start || r.Start < last || math.IsNaN(r.Distance+r.MeanSpeed+r.MaxSpeed) || r.Distance < 0 || r.MaxSpeed < r.MeanSpeed-0.5 {
			t.Errorf("%s: ride %d: %+v", name, i, r)
		}
		last = r.End
	}
	for i, r := range s.Reaches {
		if r.Ride < 0 || r.Ride >= len(s.Rides) || r.Start < s.Rides[r.Ride].Start-1e-6 || r.End > s.Rides[r.Ride].End+1e-6 || math.IsNaN(r.Course) {
			t.Errorf("%s: reach %d: %+v", name, i, r)
		}
	}
	last = math.Inf(-1)
	for i, e := range s.Events {
		if !(e.Time >= last) {
			t.Errorf("%s: event %d: %+v", name, i, e)
		}
		last = e.Time
	}
}

// TestMangled feeds the detector torn logs: it must not panic, and what it
// says must hang together.
func TestMangled(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 400, 50
	base := input(simulate.Run(sc), true)
	r := rand.New(rand.NewPCG(7, 7))
	bad := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e9, -1e9, 0}
	tear := func(x []float64) []float64 {
		x = append([]float64(nil), x...)
		for range 1 + r.IntN(20) {
			if len(x) > 0 {
				x[r.IntN(len(x))] = bad[r.IntN(len(bad))]
			}
		}
		return x[:r.IntN(len(x)+1)]
	}
	tear32 := func(x []float32) []float32 {
		x = append([]float32(nil), x...)
		for range r.IntN(40) {
			x[r.IntN(len(x))] = float32(bad[r.IntN(len(bad))])
		}
		return x[:len(x)-r.IntN(3)]
	}
	for range 60 {
		in := base
		switch r.IntN(3) {
		case 0:
			in.East, in.North = tear(base.East), tear(base.North)
		case 1:
			in.Time = tear(base.Time)
		}
		if r.IntN(2) == 0 {
			m := *base.Motion
			m.Normal, m.Heel, m.PitchRate, m.Up = tear32(m.Normal), tear32(m.Heel), tear32(m.PitchRate), tear32(m.Up)
			if r.IntN(3) == 0 {
				m.Time = tear(m.Time)
			}
			in.Motion = &m
		}
		in.Gaps = append(in.Gaps, [2]float64{100 * r.Float64(), 400 * r.Float64()})
		got := ride.Detect(in)
		consistent(t, "mangled", got)
	}
	ride.Detect(ride.Input{Motion: &align.Motion{}})
}

// TestFlaggedFixesDoNotCount: a wild speed that is flagged leaves no trace in
// the best speeds, and neither does a gap.
func TestFlaggedFixesDoNotCount(t *testing.T) {
	in := ride.Input{SpeedSD: 0.1}
	for i := range 600 {
		v := 8.0
		if i > 300 && i < 340 {
			v = math.NaN() // flagged: the receiver said 25 m/s
		}
		in.Time, in.East, in.North = append(in.Time, float64(i)), append(in.East, v), append(in.North, 0)
	}
	in.East[100] = math.NaN()
	b := ride.Detect(in).BestSpeeds
	for _, x := range []float64{b.TwoSeconds.Value, b.TenSeconds.Value, b.Metres500.Value, b.NauticalMile.Value} {
		if math.Abs(x-8) > 0.01 {
			t.Errorf("best speed %.3f at a steady 8 m/s", x)
		}
	}
	// 240 s of 8 m/s in one piece: no more than the mile fits, and not across the gap.
	in.East[200], in.East[450] = math.NaN(), math.NaN()
	if b := ride.Detect(in).BestSpeeds; b.NauticalMile.Known() {
		t.Errorf("a nautical mile across flagged fixes: %v", b.NauticalMile)
	}
}

func BenchmarkDetectTwoHours(b *testing.B) {
	sc := simulate.Default()
	sc.Duration = 7200
	in := input(simulate.Run(sc), true)
	b.ResetTimer()
	for b.Loop() {
		ride.Detect(in)
	}
}
