package analysis

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/csv"
	"evenfoot/ingest/opendata"
)

// TestGarbledSamplesAreLeftOut: one sample in a thousand is nonsense, as from a
// bad card or a noisy wire; the rest still gives clock, mount and law.
func TestGarbledSamplesAreLeftOut(t *testing.T) {
	const deg = math.Pi / 180
	sc := simulate.Default()
	sc.Duration, sc.ClockOffset = 1500, 12
	s := simulate.Run(sc)
	u := &s.Log.IMU
	rng := rand.New(rand.NewPCG(4, 2))
	spoilt := []int{}
	for i := 5; i < len(u.Time)-5; i += 3 + rng.IntN(2000) {
		spoilt = append(spoilt, i)
		switch k := rng.IntN(3); rng.IntN(4) {
		case 0:
			u.Acc[k][i] = 1e9
		case 1:
			u.Acc[k][i] = -150
		case 2:
			u.Gyr[k][i] = 34
		case 3:
			u.Gyr[k][i] = -4e8
		}
	}
	was := slices.Clone(u.Acc[0])
	set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(nil)))
	if err != nil {
		t.Fatal(err)
	}
	found := append(garbled(u.Time, &u.Acc, accMost, accLeap), garbled(u.Time, &u.Gyr, gyrMost, gyrLeap)...)
	slices.Sort(found)
	if missed := len(spoilt) - len(slices.Compact(found)); missed < 0 || missed > len(spoilt)/50 {
		t.Errorf("%d samples were spoilt, %d found", len(spoilt), len(spoilt)-missed)
	}
	if (&observation{log: s.Log}).samples(); !slices.Equal(was, u.Acc[0]) {
		t.Error("the log itself was changed")
	}
	r, err := Run(Request{Log: s.Log, Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	if r.PitchLaw == nil || !r.PitchLaw.Enough || len(Notes(r.Session.Warnings, Garbled)) != 1 {
		t.Fatalf("law %+v; %v", r.PitchLaw, r.Session.Warnings)
	}
	for what, x := range map[string]struct{ low, high, truth float64 }{
		"slope": {r.PitchLaw.Slope.Low, r.PitchLaw.Slope.High, s.Truth.Slope / deg},
		"zero":  {r.PitchLaw.Zero.Low, r.PitchLaw.Zero.High, s.Truth.Zero / deg},
		"clock": {float64(r.Session.ClockOffset.Low) - 0.1, float64(r.Session.ClockOffset.High) + 0.1, 12 - sc.GPSLatency},
	} {
		if !(x.low <= x.truth && x.truth <= x.high) {
			t.Errorf("%s: truth %.4g is outside %.4g to %.4g", what, x.truth, x.low, x.high)
		}
	}
}

// TestRoughRidesAreNotGarbled: no sample of a wild outing is left out.
func TestRoughRidesAreNotGarbled(t *testing.T) {
	for name, sc := range map[string]simulate.Scenario{"rough": simulate.Rough(), "kite": simulate.Kite(), "beginner": simulate.Beginner()} {
		sc.Duration, sc.Vibration = 900, 3
		u := simulate.Run(sc).Log.IMU
		if a, g := garbled(u.Time, &u.Acc, accMost, accLeap), garbled(u.Time, &u.Gyr, gyrMost, gyrLeap); len(a)+len(g) > 0 {
			t.Errorf("%s: %d and %d samples", name, len(a), len(g))
		}
	}
}

// TestRealLogsAreNotGarbled holds the rule against real sensors.
func TestRealLogsAreNotGarbled(t *testing.T) {
	for _, name := range []string{"slow_rotation", "slow_translation", "fast_combined", "vessel_imu"} {
		path := opendata.Path(t, "attitude/"+name+".csv.gz")
		text, ok := ingest.ProposeMap(path)
		if !ok {
			t.Fatalf("%s: no proposal", name)
		}
		file := t.TempDir() + "/map.toml"
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		m, err := csv.ReadMap(file)
		if err != nil {
			t.Fatal(err)
		}
		log, err := ingest.Open(path, ingest.Options{Map: m})
		if err != nil {
			t.Fatal(err)
		}
		u := &log.IMU
		if a, g := garbled(u.Time, &u.Acc, accMost, accLeap), garbled(u.Time, &u.Gyr, gyrMost, gyrLeap); len(a)+len(g) > 0 {
			t.Errorf("%s: %d and %d samples", name, len(a), len(g))
		}
	}
}
