package analysis_test

import (
	"errors"
	"math"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
)

// Speeds that the foil cannot fly at give no advice, and speeds that nobody
// rode are told apart from what was.
func TestSpeedsThatCount(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.NoIMU = 900, true
	s := simulate.Run(sc)
	set := parse(t, s.SetupTOML(nil))
	const knot = 1852.0 / 3600
	run := func(low, high float64, s *simulate.Session) (*analysis.Result, error) {
		return analysis.Run(analysis.Request{Log: s.Log, Setup: set, Range: [2]float64{low * knot, high * knot}})
	}
	var bad *analysis.SpeedError
	if _, err := run(3, 5, s); !errors.As(err, &bad) {
		t.Errorf("3 to 5 kn: %v", err)
	}
	// Nothing checks the model more than 2 kn beyond what was ridden.
	if _, err := run(27, 30, s); !errors.As(err, &bad) || bad.Slowest != 0 || bad.Known[1] > 25*knot || bad.Known[1] < 20*knot {
		t.Errorf("27 to 30 kn: %v", err)
	}
	for _, c := range []struct {
		low, high float64
		beyond    bool
	}{{0, 0, false}, {13, 20, false}, {20, 30, true}, {7, 20, true}} {
		r, err := run(c.low, c.high, s)
		if err != nil {
			t.Fatal(err)
		}
		if got := len(analysis.Notes(r.Session.Warnings, analysis.RangeCut)) > 0; got != c.beyond {
			t.Errorf("%g to %g kn: %v", c.low, c.high, r.Session.Warnings)
		}
	}

	// Taxiing at five knots, whatever the rides are told to be.
	sc.NoFlight, sc.Duration, sc.NoIMU, sc.IMURate = true, 600, false, 50
	if r, err := run(0, 0, simulate.Run(sc)); err == nil {
		t.Errorf("advice on a log without flight: %s", r.Advice.Next.Kind)
	}
}

// What an earlier session could not tell is said.
func TestEarlierWarnings(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 900, 50
	today := simulate.Run(sc)
	set := parse(t, today.SetupTOML(nil))
	sc.Seed, sc.Mounting = 2, simulate.Wrist
	was := simulate.Run(sc)
	r, err := analysis.Run(analysis.Request{Log: today.Log, Setup: set, Earlier: []analysis.Given{{Name: "first", Log: was.Log, Setup: set}}})
	if err != nil {
		t.Fatal(err)
	}
	if told := analysis.Notes(r.Session.Warnings, analysis.InEarlier); len(told) == 0 || told[0].Session != "first" {
		t.Errorf("nothing is said of the earlier session: %v", r.Session.Warnings)
	}
}

// A current that the setup states counts without a pitch law too: speeds are
// through the water, and the speeds of the notes are in doubt by it.
func TestStatedCurrentWithoutLogger(t *testing.T) {
	sc := simulate.Default()
	sc.Duration, sc.NoIMU = 900, true
	sc.Flow = [2]float64{1.2, -0.5}
	s := simulate.Run(sc)
	top := func(stated *[2]float64) *analysis.Result {
		s.Scenario.Gear.StatedCurrent = stated
		r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: parse(t, s.SetupTOML(nil))})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r, without := top(&sc.Flow), top(nil)
	if f := r.WaterFlow; f == nil || f.Source != "given" || math.Abs(f.East.Value-1.2) > 0.01 || math.Abs(f.North.Value+0.5) > 0.01 {
		t.Errorf("water flow %+v", f)
	}
	if without.WaterFlow != nil {
		t.Errorf("a flow that nobody stated: %+v", without.WaterFlow)
	}
	// The truth rides between 6 and 10.5 m/s through the water, within a metre a second.
	if r.RangeHigh > 11.5 || !(without.RangeHigh > r.RangeHigh+0.3) {
		t.Errorf("top speed %.1f m/s with the current, %.1f m/s without", r.RangeHigh, without.RangeHigh)
	}
}
