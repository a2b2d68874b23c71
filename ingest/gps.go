package ingest

import (
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

// fixes is the name of the receiver's stream.
const fixes = "GPS"

// receiverSpeedSD is the 1σ error of a receiver's own speed, m/s. NAVSTAR GPS
// User Equipment Introduction (1996), §3.7, gives Doppler velocity to 0.2 m/s
// per axis at 95 %.
const receiverSpeedSD = 0.1

// Bounds of the receiver's records.
const (
	// heldRecords is the shortest log that is looked at for a fix written again
	// and again, and heldRun the least that each is then written.
	heldRecords, heldRun = 20, 3
	// courseSpeed is the least speed at which positions tell a course, m/s, and
	// courseSDs how many of its errors it must exceed.
	courseSpeed, courseSDs = 0.5, 3
)

// finiteFixes takes impossible values out of the fixes, and out of the log the
// fixes of which nothing is left.
func (b *builder) finiteFixes() {
	f := &b.r.Gps
	bad := func(reason raw.Kind) (nan float64) {
		b.notes.Drop(1, reason, "")
		return raw.NaN
	}
	for i := range f.Time {
		lat, lon := f.Lat[i], f.Lon[i]
		switch {
		case lat == 0 && lon == 0:
			lat = bad(raw.NoFix) // what receivers write when they have no fix
		case math.IsInf(lat, 0) || math.IsInf(lon, 0):
			lat = bad(raw.NotFinite)
		case lat > 90 || lat < -90 || lon < -180 || lon > 360:
			lat = bad(raw.OffEarth)
		case lon > 180:
			lon -= 360
		}
		if lat != lat || lon != lon {
			lat, lon = raw.NaN, raw.NaN
		}
		f.Lat[i], f.Lon[i] = lat, lon
		if v := f.Speed[i]; v < 0 || math.IsInf(float64(v), 0) {
			f.Speed[i] = float32(bad(raw.BadSpeedValue))
		}
		f.Alt[i] += 0 * f.Alt[i] // an infinity becomes NaN
		f.Course[i] = course360(float64(f.Course[i]))
	}
	f.Table().Keep(func(i int) bool {
		return (f.Lat[i] == f.Lat[i] || f.Speed[i] == f.Speed[i]) && math.Abs(f.Time[i]) < timeMost
	})
}

// course360 brings a course to 0 ≤ c < 360 deg, NaN where there is none.
func course360(c float64) float32 {
	if c = math.Mod(c, 360); c < 0 {
		c += 360
	}
	if f := float32(c); f < 360 || f != f {
		return f
	}
	return 0
}

// fixes mends the GPS records.
func (b *builder) fixes() {
	if len(b.r.Gps.Time) == 0 {
		return
	}
	b.unhold()
	b.oneTrack()
	b.mend(raw.Stream{Table: b.r.Gps.Table(), Name: fixes})
}

// unhold thins the fixes of a logger that writes the last one with each of its
// fast samples until the next comes. It knows them by runs of equal records:
// when more than half of all records repeat the one before and most runs have
// the same length, the first of each run is the fix. At rest a receiver repeats
// itself too, so a longer run keeps one fix a run length.
func (b *builder) unhold() {
	f := &b.r.Gps
	n := len(f.Time)
	if n < heldRecords || len(b.r.Acc.Time)+len(b.r.Gyr.Time) < n/2 {
		return
	}
	tab := f.Table()
	held := runs(n, func(i int) bool { return !tab.Same(i, i-1) })
	lengths := make([]float64, len(held))
	for k, r := range held {
		lengths[k] = float64(r.b - r.a)
	}
	usual := raw.Median(lengths)
	if 2*(n-len(held)) < n || usual < heldRun {
		return
	}
	idx := []int32{}
	for _, r := range held {
		idx = append(idx, int32(r.a))
		for k := float64(r.a) + usual; k+usual/2 <= float64(r.b); k += usual {
			idx = append(idx, int32(k))
		}
	}
	b.notes.Drop(n-len(idx), raw.Held, fixes)
	tab.Pick(idx)
}

// gps makes the log's GPS of the mended fixes.
func (b *builder) gps() GPS {
	f := &b.r.Gps
	if len(f.Time) == 0 {
		return GPS{}
	}
	g := GPS{Time: f.Time, Lat: f.Lat, Lon: f.Lon, Alt: f.Alt, Speed: f.Speed, Course: f.Course}
	g.Flags = make([]Flag, len(f.Time))
	g.Gaps, g.Rate = pace(g.Time)
	track := newTrack(&g)
	given := len(known(g.Time, g.Speed))
	if given > 0 && b.checkSpeeds(track) {
		given = 0
	}
	track.flagSpeeds()
	withSpeed := given*2 >= len(g.Time)
	track.flagPositions(withSpeed)
	track.flagStale(withSpeed)
	velocities, sd := track.velocities()
	g.SpeedFrom, g.SpeedSD = FromReceiver, receiverSpeedSD
	if f.Computed || given == 0 {
		g.SpeedFrom, g.SpeedSD = FromPositions, sd
	}
	filled := 0
	for i, v := range velocities {
		speed := math.Hypot(v[0], v[1])
		if g.Speed[i] != g.Speed[i] {
			if g.Speed[i] = float32(speed); speed == speed {
				filled++
			} else {
				g.Flags[i] |= FlagSpike
			}
		}
		if g.Course[i] != g.Course[i] && speed > courseSDs*sd && speed > courseSpeed {
			g.Course[i] = course360(math.Atan2(v[0], v[1]) * 180 / math.Pi)
		}
	}
	if given > 0 && filled > 0 && !f.Computed {
		b.notes.Warn(raw.Warning{Kind: raw.SpeedsFilled, Count: filled})
	}
	b.tellFlags(&g)
	return g
}

// tellFlags says how many fixes are doubtful, and where the first is.
func (b *builder) tellFlags(g *GPS) {
	for k, kind := range []raw.Kind{raw.Spikes, raw.Stale, raw.Leaps} {
		n, first := 0, 0.0
		for i, f := range slices.Backward(g.Flags) {
			if f&(FlagSpike<<k) != 0 {
				n, first = n+1, g.Time[i]
			}
		}
		if n > 0 {
			b.notes.Warn(b.at(first, raw.Warning{Kind: kind, Count: n}))
		}
	}
}

// known is the times at which a column has a value.
func known[T float32 | float64](t []float64, col []T) []float64 {
	return raw.Gather(t, raw.Indices(len(t), func(i int) bool { return col[i] == col[i] }))
}

// Evidence of two tracks in one file.
const (
	// sharedLeast is how long they must lie side by side, s.
	sharedLeast = 10
	// likeness is the part of one's fixes that must be the other's, or fill its
	// holes, for them to be one track that was written in pieces or twice.
	likeness = 0.8
)

// oneTrack keeps one of the tracks that a file holds of the same time, as of
// two receivers. Fixes with a date are never moved in time, so that both could
// only be mixed up.
func (b *builder) oneTrack() {
	f := &b.r.Gps
	if b.r.Start.IsZero() || len(b.jumps) > 0 { // with the device's clock they are moved
		return
	}
	tracks := runs(len(f.Time), func(i int) bool { return f.Time[i] < f.Time[i-1]-sharedLeast })
	if len(tracks) < 2 || len(tracks) > maxPieces {
		return
	}
	slices.SortStableFunc(tracks, func(x, y run) int { return (y.b - y.a) - (x.b - x.a) }) // the longest is kept
	lost := 0
	kept := slices.Clone(tracks[:1])
	for _, r := range tracks[1:] {
		if slices.ContainsFunc(kept, func(k run) bool { return rivals(f.Table(), r, k) }) {
			lost += r.b - r.a
		} else {
			kept = append(kept, r)
		}
	}
	if lost == 0 {
		return
	}
	b.notes.Warn(b.at(f.Time[kept[0].a], raw.Warning{Kind: raw.OtherTrack, Count: lost}))
	b.notes.Drop(lost, raw.OtherTrack, "GPS fix")
	f.Table().Keep(func(i int) bool {
		return slices.ContainsFunc(kept, func(k run) bool { return i >= k.a && i < k.b })
	})
}

// rivals says whether two runs of fixes are tracks of the same time, as of two
// receivers: not one that was written twice, nor one that fills the other's
// holes.
func rivals(f raw.Table, r, q run) bool {
	t, other := f.Time()[r.a:r.b], f.Time()[q.a:q.b]
	from, to := max(t[0], other[0]), min(t[len(t)-1], other[len(other)-1])
	if to-from <= sharedLeast {
		return false
	}
	hole := gapLimit(period(other))
	shared, alike := 0, 0
	for i, x := range t {
		if x < from || x > to {
			continue
		}
		shared++
		k, same := slices.BinarySearch(other, x)
		if i, k := r.a+i, q.a+k; same && (f.Same(i, k) || f.Completes(i, k)) {
			alike++
		} else if !same && f.Time()[k]-f.Time()[k-1] > hole {
			alike++
		}
	}
	return float64(alike) < likeness*float64(shared)
}
