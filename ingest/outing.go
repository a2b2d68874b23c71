package ingest

import (
	"math"

	"evenfoot/ingest/raw"
)

const (
	// aroundOuting is how far before and after an outing its marks may lie, s.
	aroundOuting = 60
	// outingsTold bounds the list of a file's outings.
	outingsTold = 20
	// pauseOfWay is the longest step between fixes that counts as a way, s.
	pauseOfWay = 60
)

// An OutingError says that a log does not hold the outing that was asked for.
type OutingError struct {
	// Warning lists the outings there are, as [raw.Outings] does, with the number
	// that was asked for in place of the one that is read.
	Warning Warning
}

func (e *OutingError) Error() string { return e.Warning.String() }

// tellOutings lists the outings of a file: of each its start and length, s, and
// the way, m, 0 where there are no positions. The first value is left to the
// caller.
func (b *builder) tellOutings(all []stretch) Warning {
	w := b.at(all[0].from, raw.Warning{Kind: raw.Outings, File: b.r.File.Name, Count: len(all), Values: []float64{0}})
	for _, s := range all[:min(len(all), outingsTold)] {
		w.Values = append(w.Values, s.from, s.to-s.from, b.way(s))
	}
	return w
}

// way is the length of the track in a stretch, m.
func (b *builder) way(s stretch) float64 {
	f := &b.r.Gps
	sum, last := 0.0, -1
	var here plane
	for i, t := range f.Time {
		if t < s.from || t > s.to || f.Lat[i] != f.Lat[i] {
			continue
		}
		if last >= 0 && math.Abs(t-f.Time[last]) < pauseOfWay {
			if d := math.Hypot(here.project(f.Lat[i], f.Lon[i])); d < speedMost*pauseOfWay {
				sum += d
			}
		}
		here, last = newPlane(f.Lat[i], f.Lon[i]), i
	}
	return sum
}
