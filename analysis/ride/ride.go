// Package ride tells a session apart: flights from all the rest; straight reaches from turns; touchdowns and breaches.
//
// It imports filter, filter/align (for Motion), analysis/interval and gonum.
package ride

import (
	"math"

	"evenfoot/analysis/interval"
)

// A Session is what the outing was made of, in order of time. All times are
// seconds since the log's start.
type Session struct {
	Rides      []Ride
	Reaches    []Reach
	Turns      []Turn
	Events     []Event           // take-offs, touchdowns, breaches, falls
	WindFrom   interval.Interval // deg true; Unknown when it cannot be told
	BestSpeeds BestSpeeds
	BestByTack map[string]BestSpeeds // within reaches
	Totals     Totals
	Speed      SpeedSeries
}

// A Ride is one flight from take-off to touchdown or fall.
type Ride struct {
	Start, End float64 // s
	Distance   float64 // m
	MeanSpeed  float64 // m/s
	MaxSpeed   float64 // m/s
	Tack       string  // "port" | "starboard" = the side the wind comes from, "" when not known
}

// A Reach is a straight stretch of flight, no turn in it.
type Reach struct {
	Start, End float64 // s
	Ride       int     // index into Session.Rides
	Course     float64 // rad, mean course over ground, true, clockwise from north
	Tack       string
}

// A Turn joins two reaches.
type Turn struct {
	Start, End float64 // s
	Complete   bool    // changes tack (as against a bend in the course)
}

// An Event is a moment.
type Event struct {
	Time float64 // s
	Kind string  // "take-off" | "touchdown" | "breach" | "fall"
}

// BestSpeeds in m/s; Unknown where the log is too short.
type BestSpeeds struct {
	TwoSeconds, TenSeconds, Metres500, NauticalMile interval.Interval
}

type Totals struct {
	Foiling, Straight        float64 // s
	Distance                 float64 // m, foiling
	Rides, Turns, Touchdowns int
}

// SpeedSeries is the velocity over ground on an even time base that the rides
// were told from; NaN where there is no fix near.
type SpeedSeries struct {
	Start, Step float64   // s
	East, North []float64 // m/s
}

// speedCovered is the least share of a window's speeds that must be known.
const speedCovered = 0.7

// Mean is the mean velocity over ground between two times, m/s, with the change
// of speed, m/s²; ok is false where it is not covered.
func (v *SpeedSeries) Mean(t0, t1 float64) (east, north, surge float64, ok bool) {
	if !(v.Step > 0) {
		return 0, 0, 0, false
	}
	n := min(len(v.East), len(v.North))
	i := max(int(math.Ceil((t0-v.Start)/v.Step-0.5)), 0)
	j := min(int(math.Ceil((t1-v.Start)/v.Step-0.5)), n)
	if j <= i {
		j = min(i+1, n)
	}
	var count, st, ss, stt, sts float64
	for k := i; k < j; k++ {
		if math.IsNaN(v.East[k]) || math.IsNaN(v.North[k]) {
			continue
		}
		count++
		east += v.East[k]
		north += v.North[k]
		t, speed := float64(k)*v.Step, math.Hypot(v.East[k], v.North[k])
		st += t
		ss += speed
		stt += t * t
		sts += t * speed
	}
	if count < speedCovered*float64(j-i) || count == 0 {
		return 0, 0, 0, false
	}
	if d := stt - st*st/count; d > 0 {
		surge = (sts - st*ss/count) / d
	}
	return east / count, north / count, surge, true
}
