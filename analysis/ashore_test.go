package analysis_test

import (
	"math"
	"math/rand/v2"
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
	sc := simulate.Default()
	sc.NoIMU, sc.Duration = true, 1500
	water := simulate.Run(sc).Log
	outing := func(change func(l *ingest.Log)) *ingest.Log {
		l := *water
		g := &l.GPS
		g.Alt, g.Speed, g.Course = slices.Clone(g.Alt), slices.Clone(g.Speed), slices.Clone(g.Course)
		change(&l)
		return &l
	}
	road := func(course func(t float64) float64) *ingest.Log { // flat, at a bicycle's pace
		return outing(func(l *ingest.Log) {
			g := &l.GPS
			for i, at := range g.Time {
				g.Speed[i], g.Course[i] = float32(6.2+0.8*math.Sin(at/37)), float32(math.Mod(course(at)+3600, 360))
				g.Alt[i] = 12
			}
		})
	}
	corners := rand.New(rand.NewPCG(1, 2))
	var streets [100]float64 // deg, of half a minute each
	for i := 1; i < len(streets); i++ {
		streets[i] = streets[i-1] + 30 + 90*corners.Float64()
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
		{"a flat road there and back", road(func(t float64) float64 { return 20*math.Sin(t/80) + 180*math.Floor(t/750) }), []analysis.Kind{analysis.LandRoad}},
		{"flat streets", road(func(t float64) float64 { return streets[int(t/30)] }), []analysis.Kind{analysis.LandCourses}},
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
		for _, k := range []analysis.Kind{analysis.LandSport, analysis.LandHeights, analysis.LandPace, analysis.LandRoad, analysis.LandCourses} {
			if len(analysis.Notes(r.Session.Warnings, k)) > 0 {
				got = append(got, k)
			}
		}
		if !slices.Equal(got, c.want) || len(r.Rides) == 0 {
			t.Errorf("%s: %v, want %v; %d rides, best %.1f m/s", c.name, got, c.want, len(r.Rides), float64(r.BestSpeeds.TenSeconds))
		}
	}
}
