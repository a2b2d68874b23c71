package ingest

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

const (
	// pauseBetweenOutings parts the outings that one file holds, s.
	pauseBetweenOutings = 3 * 3600
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

// oneOuting keeps the outing that was asked for of a file that holds several, or
// the one with the most samples; an error when there is none of that number. A
// pause in which the clock was set is mended, not cut.
func (b *builder) oneOuting() error {
	r, unset := b.r, b.unset()
	var sorted [][]float64
	for _, s := range r.Streams() {
		t := s.Time()
		if !slices.IsSorted(t) {
			t = slices.Sorted(slices.Values(t))
		}
		sorted = append(sorted, t)
	}
	all := stretches(sorted, pauseBetweenOutings)
	set := slices.ContainsFunc(sorted, func(t []float64) bool { return t[0] < unset && t[len(t)-1] >= unset })
	if len(all) < 2 || len(all) == 2 && set {
		return nil
	}
	kept := slices.MaxFunc(all, func(x, y stretch) int { return cmp.Compare(x.n, y.n) })
	w := b.tellOutings(all)
	if r.Outing > len(all) {
		w.Values[0] = float64(r.Outing)
		return &OutingError{w}
	}
	if r.Outing > 0 {
		kept = all[r.Outing-1]
	}
	w.Values[0] = float64(1 + slices.Index(all, kept))
	b.notes.Warn(w)
	outside := 0
	for _, s := range r.Streams() {
		t := s.Time()
		outside += s.Keep(func(i int) bool { return t[i] >= kept.from && t[i] <= kept.to })
	}
	b.notes.Drop(outside, raw.OtherOuting, "")
	r.File.Marks = slices.DeleteFunc(r.File.Marks, func(m Mark) bool {
		return m.At < kept.from-aroundOuting || m.At > kept.to+aroundOuting
	})
	return nil
}

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
	sum, last := 0.0, math.Inf(-1)
	var here plane
	for i, t := range f.Time {
		if t < s.from || t > s.to || f.Lat[i] != f.Lat[i] {
			continue
		}
		if d := math.Hypot(here.project(f.Lat[i], f.Lon[i])); math.Abs(t-last) < pauseOfWay && d < speedMost*pauseOfWay {
			sum += d
		}
		here, last = newPlane(f.Lat[i], f.Lon[i]), t
	}
	return sum
}

// wraps are where the counters of loggers begin anew, s: 2³² microseconds and
// milliseconds, the seconds of a day and of a week.
var wraps = []float64{(1 << 32) * 1e-6, (1 << 32) * 1e-3, 86400, 7 * 86400}

// wrapSlack is how far from its ends a counter may be seen before and after, s.
const wrapSlack = 5

// unwrap lets counters that begin anew go on. Times with a date never do.
func (b *builder) unwrap() {
	if !b.r.Start.IsZero() {
		return
	}
	for _, s := range b.r.Streams() {
		t := s.Time()
		shift, was := 0.0, t[0]
		for i, x := range t {
			if w := wrapBetween(was, x); w > 0 {
				shift += w
				b.notes.Warn(raw.Warning{Kind: raw.ClockWrapped, Sensor: s.Name, Values: []float64{w}, At: x + shift})
			}
			was = x
			t[i] = x + shift
		}
	}
	shift, marks := 0.0, b.r.File.Marks
	for k := range b.r.Backs {
		back := &b.r.Backs[k]
		w := wrapBetween(back[0], back[1])
		back[0] += shift
		shift += w
		back[1] += shift
		for i := range marks {
			if marks[i].Behind > k {
				marks[i].At += w
			}
		}
	}
}

// wrapBetween is where a counter began anew between two stamps, s; 0 when none did.
func wrapBetween(was, is float64) float64 {
	for _, w := range wraps {
		if is < was-wrapSlack && math.Abs(was-w) < wrapSlack && is >= 0 && is < wrapSlack {
			return w
		}
	}
	return 0
}
