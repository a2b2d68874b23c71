package analysis_test

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
)

const deg = math.Pi / 180

// throughFiles writes a simulated session as the devices would, and reads it
// back: what the analysis sees has been through every reader.
func throughFiles(t testing.TB, s *simulate.Session, fit bool) *ingest.Log {
	t.Helper()
	dir := t.TempDir()
	save := func(name string, fill func(io.Writer) error) string {
		var b bytes.Buffer
		if err := fill(&b); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var paths []string
	if fit {
		paths = append(paths, save("outing.fit", func(w io.Writer) error { return write.FIT(w, s.Log) }))
	} else {
		paths = append(paths, save("watch.gpx", func(w io.Writer) error { return write.GPX(w, s.GPSLog) }))
		if len(s.IMULog.IMU.Time) > 0 {
			paths = append(paths, save("logger.csv", func(w io.Writer) error { return write.CSV(w, s.IMULog) }))
		}
	}
	if s.DeckLog != nil {
		paths = append(paths, save("feet.csv", func(w io.Writer) error { return write.CSV(w, s.DeckLog) }))
	}
	var logs []*ingest.Log
	for _, p := range paths {
		l, err := ingest.Open(p, ingest.Options{})
		if err != nil {
			t.Fatal(err)
		}
		logs = append(logs, l)
	}
	log, err := ingest.Merge(logs)
	if err != nil {
		t.Fatal(err)
	}
	return log
}

func parse(t testing.TB, text string) *setup.Setup {
	t.Helper()
	s, _, err := setup.Parse("setup.toml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return s
}

func holds(t *testing.T, what string, i interval.Interval, truth float64) {
	t.Helper()
	if !i.Contains(truth) {
		t.Errorf("%s: truth %.5g is outside %.5g (%.5g to %.5g)", what, truth, i.Value, i.Low, i.High)
	}
}

var first struct {
	once sync.Once
	s    *simulate.Session
	log  ingest.Log
	r    *analysis.Result
}

// demoNotes are where the demo's rider notes the feel, m/s.
var demoNotes = []float64{6.7, 8.2, 9.8, 10.8}

// firstOuting is the demo's first, as played, as read from GPX and CSV, and as
// analysed; it is all tests'.
func firstOuting(t *testing.T) (*simulate.Session, ingest.Log, *analysis.Result) {
	first.once.Do(func() {
		s := simulate.Run(simulate.Demo()[0])
		log := *throughFiles(t, s, false)
		first.s, first.log = s, log // as it is before an analysis ties it to one clock
		first.r = demoAnalysed(t, s, &log)
	})
	if first.r == nil {
		t.Fatal("the first outing could not be analysed")
	}
	return first.s, first.log, first.r
}

func demoAnalysed(t *testing.T, s *simulate.Session, log *ingest.Log) *analysis.Result {
	t.Helper()
	r, err := analysis.Run(analysis.Request{Log: log, Setup: parse(t, s.SetupTOML(s.FeelNotes(demoNotes, 0.04)))})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestDemoTruthIsRecovered goes the whole way: simulate, write files, read
// them, analyse. The truth must lie inside the stated intervals. The first is read from
// GPX and CSV, the second from FIT; -long reads both from either.
func TestDemoTruthIsRecovered(t *testing.T) {
	for i, sc := range simulate.Demo() {
		var s *simulate.Session
		for _, fit := range []bool{false, true} {
			var r *analysis.Result
			switch {
			case !*long && fit != (i == 1):
				continue
			case !fit && i == 0:
				s, _, r = firstOuting(t)
			default:
				if s == nil {
					s = simulate.Run(sc)
				}
				r = demoAnalysed(t, s, throughFiles(t, s, fit))
			}
			tr, best := s.Truth, advice.Best(s.Scenario.Foil, weightsOf(r), r.Setup.Rider.Level)
			t.Log(r.Session.Warnings, r.PitchLaw.Missing, r.Mount)
			t.Logf("outing %d, fit %v: clock %+v, slope %+v (%.4g), zero %+v (%.4g), shim %+v (%.3g)", i+1, fit, r.Session.ClockOffset,
				r.PitchLaw.Slope, tr.Slope/deg, r.PitchLaw.Zero, tr.Zero/deg, r.Advice.StabilizerChange, best.Raise/deg)
			holds(t, "slope", r.PitchLaw.Slope, tr.Slope/deg)
			holds(t, "zero", r.PitchLaw.Zero, tr.Zero/deg)
			holds(t, "flow east", r.WaterFlow.East, tr.Flow[0])
			holds(t, "flow north", r.WaterFlow.North, tr.Flow[1])
			holds(t, "best shim", r.Advice.StabilizerChange, best.Raise/deg)
			holds(t, "best move", r.Advice.FoilMove, best.Foil*1000)
			if f := float64(r.Totals.Foiling) / tr.FoilingS; math.Abs(f-1) > 0.05 {
				t.Errorf("foiling time is %.3f of the truth", f)
			}
			for _, p := range r.FootLoad {
				holds(t, "front share", p.FrontShare, s.Share(float64(p.Speed)))
			}
		}
	}
}

// TestTaxiingIsNoFlight: a setup tells below which speed its foil cannot fly.
func TestTaxiingIsNoFlight(t *testing.T) {
	sc := simulate.Default()
	sc.NoFlight, sc.Duration, sc.IMURate, sc.Taxi = true, 600, 50, 2.6
	s := simulate.Run(sc)
	set := parse(t, s.SetupTOML(nil))
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set, Range: [2]float64{6, 10}})
	if err != nil {
		t.Fatal(err)
	}
	if r.Totals.Rides != 0 {
		t.Errorf("%d rides at %.1f m/s, where the foil cannot fly", r.Totals.Rides, sc.Taxi)
	}
}
