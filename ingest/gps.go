package ingest

import (
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

// receiverSpeedSD is the 1σ error of a receiver's own speed, m/s. NAVSTAR GPS
// User Equipment Introduction (1996), §3.7, gives Doppler velocity to 0.2 m/s
// per axis at 95 %.
const receiverSpeedSD = 0.1

// Bounds of the receiver's records.
const (
	// timeMost is beyond any log, s.
	timeMost = 1e12
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
	var offEarth, null, inf, speed int
	for i := range f.Time {
		lat, lon := f.Lat[i], f.Lon[i]
		switch {
		case lat == 0 && lon == 0:
			null++ // what receivers write when they have no fix
			lat, lon = raw.NaN, raw.NaN
		case math.IsInf(lat, 0) || math.IsInf(lon, 0):
			inf++
			lat, lon = raw.NaN, raw.NaN
		case lat > 90 || lat < -90 || lon < -180 || lon > 360:
			offEarth++
			lat, lon = raw.NaN, raw.NaN
		case lon > 180:
			lon -= 360
		}
		if lat != lat || lon != lon {
			lat, lon = raw.NaN, raw.NaN
		}
		f.Lat[i], f.Lon[i] = lat, lon
		f.Alt[i] = finiteOrNaN(f.Alt[i])
		if v := f.Speed[i]; v < 0 || v-v != 0 && v == v {
			speed++
			f.Speed[i] = float32(raw.NaN)
		}
		f.Course[i] = course360(finiteOrNaN(f.Course[i]))
	}
	b.notes.Drop(null, raw.NoFix, "")
	b.notes.Drop(offEarth, raw.OffEarth, "")
	b.notes.Drop(inf, raw.NotFinite, "")
	b.notes.Drop(speed, raw.BadSpeedValue, "")
	f.Table().Keep(func(i int) bool {
		return (f.Lat[i] == f.Lat[i] || f.Speed[i] == f.Speed[i]) && math.Abs(f.Time[i]) < timeMost
	})
}

func finiteOrNaN(v float32) float32 {
	if v-v != 0 {
		return float32(raw.NaN)
	}
	return v
}

// course360 brings a course to 0 ≤ c < 360 deg; NaN stays.
func course360(c float32) float32 {
	if c >= 0 && c < 360 || c != c {
		return c
	}
	x := math.Mod(float64(c), 360)
	if x < 0 {
		x += 360
	}
	if c = float32(x); c >= 360 {
		c = 0
	}
	return c
}

// fixes mends the GPS records.
func (b *builder) fixes() {
	f := &b.r.Gps
	if len(f.Time) == 0 {
		return
	}
	b.unhold()
	b.oneTrack()
	b.mend(raw.Stream{Table: f.Table(), Name: "GPS"})
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
	b.notes.Drop(n-len(idx), raw.Held, "GPS")
	tab.Pick(idx)
}

// gps makes the log's GPS of the mended fixes.
func (b *builder) gps() GPS {
	f := &b.r.Gps
	if len(f.Time) == 0 {
		return GPS{}
	}
	g := GPS{Time: f.Time, Lat: f.Lat, Lon: f.Lon, Alt: f.Alt, Speed: f.Speed, Course: f.Course, Flags: make([]Flag, len(f.Time))}
	g.Gaps, g.Rate = pace(g.Time)
	given := len(known(g.Time, g.Speed))
	g.SpeedFrom, g.SpeedSD = FromReceiver, receiverSpeedSD
	track := newTrack(&g)
	if given > 0 && b.checkSpeeds(track) {
		given = 0
	}
	track.flag(given*2 >= len(g.Time))
	speedSD := track.velocities()
	if f.Computed || given == 0 {
		g.SpeedFrom = FromPositions
		g.SpeedSD = speedSD
	}
	filled := 0
	for i := range g.Time {
		vx, vy := track.vx[i], track.vy[i]
		v := math.Hypot(vx, vy)
		if g.Speed[i] != g.Speed[i] {
			g.Speed[i] = float32(v)
			if v == v {
				filled++
			} else {
				g.Flags[i] |= FlagSpike
			}
		}
		if g.Course[i] != g.Course[i] && v > courseSDs*speedSD && v > courseSpeed {
			g.Course[i] = course360(float32(degrees360(math.Atan2(vx, vy))))
		}
	}
	if given > 0 && filled > 0 && !f.Computed {
		b.notes.Warn(raw.Warning{Kind: raw.SpeedsFilled, Count: filled})
	}
	b.tellFlags(&g)
	return g
}

func (b *builder) tellFlags(g *GPS) {
	for _, k := range []struct {
		flag Flag
		kind raw.Kind
	}{{FlagSpike, raw.Spikes}, {FlagStale, raw.Stale}, {FlagJump, raw.Leaps}} {
		n, first := 0, 0.0
		for i, f := range slices.Backward(g.Flags) {
			if f&k.flag != 0 {
				n, first = n+1, g.Time[i]
			}
		}
		if n > 0 {
			b.notes.Warn(b.at(first, raw.Warning{Kind: k.kind, Count: n}))
		}
	}
}

// known is the times at which a column has a value.
func known[T float32 | float64](t []float64, col []T) []float64 {
	return raw.Gather(t, raw.Indices(len(t), func(i int) bool { return col[i] == col[i] }))
}
