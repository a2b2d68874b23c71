package align_test

import (
	"flag"
	"math"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
)

// -long runs the studies over many simulated sessions:
//
//	go test ./filter/align -long -v -timeout 30m
var long = flag.Bool("long", false, "run the long studies over many simulated sessions")

// seeds is how many sessions a test runs: all with -long.
func seeds(few, all int) int {
	if *long {
		return all
	}
	return few
}

const deg = math.Pi / 180

func samplesOf(s *simulate.Session) attitude.Samples {
	return attitude.Samples{Time: s.Log.IMU.Time, Acc: s.Log.IMU.Acc, Gyr: s.Log.IMU.Gyr}
}

func aidOf(s *simulate.Session) attitude.Aid {
	g := s.Log.GPS
	a := attitude.Aid{Time: g.Time, SD: g.SpeedSD, East: make([]float64, len(g.Time)), North: make([]float64, len(g.Time))}
	for i := range g.Time {
		a.East[i], a.North[i] = math.NaN(), math.NaN()
		if g.Flags[i] != 0 {
			continue
		}
		v, c := float64(g.Speed[i]), float64(g.Course[i])*deg
		if math.IsNaN(c) && v < 0.5 {
			c = 0
		}
		sin, cos := math.Sincos(c)
		a.East[i], a.North[i] = v*sin, v*cos
	}
	return a
}

// find is the note of a kind; the zero value when it was not made.
func find(m *align.Motion, k align.Kind) align.Finding {
	for _, n := range m.Notes {
		if n.Kind == k {
			return n
		}
	}
	return align.Finding{}
}

func has(m *align.Motion, k align.Kind) bool { return find(m, k).Kind == k }
