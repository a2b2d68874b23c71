package analysis_test

import (
	"math"
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// TestLandTracks: an outing that goes up and down, at a runner's pace or called
// a ride on a bicycle, is doubted; one on the water is not.
func TestLandTracks(t *testing.T) {
	t.Parallel()
	outing := func(change func(l *ingest.Log)) *ingest.Log {
		sc := simulate.Default()
		sc.NoIMU, sc.Duration = true, 1500
		l := simulate.Run(sc).Log
		change(l)
		return l
	}
	for _, c := range []struct {
		name string
		log  *ingest.Log
		want []analysis.Kind
	}{
		{"water", outing(func(*ingest.Log) {}), nil},
		{"hills", outing(func(l *ingest.Log) {
			for i := range l.GPS.Alt {
				l.GPS.Alt[i] += 40 * float32(math.Sin(l.GPS.Time[i]/200))
			}
		}), []analysis.Kind{analysis.LandHeights}},
		{"bicycle", outing(func(l *ingest.Log) { l.Marks = []ingest.Mark{{Kind: raw.Session, Text: "cycling"}} }), []analysis.Kind{analysis.LandSport}},
		{"on foot", outing(func(l *ingest.Log) {
			for i := range l.GPS.Speed {
				l.GPS.Speed[i] *= 0.3
			}
		}), []analysis.Kind{analysis.LandPace}},
	} {
		r, err := analysis.Run(analysis.Request{Log: c.log})
		if err != nil {
			t.Fatal(err)
		}
		var got []analysis.Kind
		for _, k := range []analysis.Kind{analysis.LandSport, analysis.LandHeights, analysis.LandPace} {
			if len(analysis.Notes(r.Session.Warnings, k)) > 0 {
				got = append(got, k)
			}
		}
		if !slices.Equal(got, c.want) || len(r.Rides) == 0 {
			t.Errorf("%s: %v, want %v; %d rides, best %.1f m/s", c.name, got, c.want, len(r.Rides), float64(r.BestSpeeds.TenSeconds))
		}
	}
}
