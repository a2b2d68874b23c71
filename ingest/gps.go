package ingest

import "math"

// receiverSpeedSD is the 1σ error of a receiver's own speed, m/s. NAVSTAR GPS
// User Equipment Introduction (1996), §3.7, gives Doppler velocity to 0.2 m/s
// per axis at 95 %.
const receiverSpeedSD = 0.1

// pick is the fixes with the given indices.
func (f *fixes) pick(idx []int32) fixes {
	g := *f
	g.time = gather(f.time, idx)
	g.lat, g.lon = gather(f.lat, idx), gather(f.lon, idx)
	g.alt, g.speed, g.course = gather(f.alt, idx), gather(f.speed, idx), gather(f.course, idx)
	return g
}

// finiteFixes takes impossible values out of the fixes, and out of the log the
// fixes of which nothing is left.
func (b *builder) finiteFixes() {
	f := &b.r.gps
	keep := make([]bool, len(f.time))
	var range_, null, inf, speed int
	for i := range f.time {
		lat, lon := f.lat[i], f.lon[i]
		switch {
		case lat == 0 && lon == 0:
			null++ // what receivers write when they have no fix
			lat, lon = nan, nan
		case math.IsInf(lat, 0) || math.IsInf(lon, 0):
			inf++
			lat, lon = nan, nan
		case lat > 90 || lat < -90 || lon < -180 || lon > 360:
			range_++
			lat, lon = nan, nan
		case lon > 180:
			lon -= 360
		}
		if math.IsNaN(lat) || math.IsNaN(lon) {
			lat, lon = nan, nan
		}
		f.lat[i], f.lon[i] = lat, lon
		f.alt[i] = finiteOrNaN(f.alt[i])
		if v := f.speed[i]; v < 0 || v-v != 0 && v == v {
			speed++
			f.speed[i] = float32(nan)
		}
		f.course[i] = course360(finiteOrNaN(f.course[i]))
		keep[i] = (lat == lat || f.speed[i] == f.speed[i]) && math.Abs(f.time[i]) < 1e12
	}
	b.notes.drop(null, "position 0, 0: no fix")
	b.notes.drop(range_, "position outside the earth")
	b.notes.drop(inf, "NaN or infinite value")
	b.notes.drop(speed, "negative or infinite speed")
	if idx := indexIfTrue(keep); idx != nil {
		*f = f.pick(idx)
	}
}

func finiteOrNaN(v float32) float32 {
	if v-v != 0 {
		return float32(nan)
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

func eq32(a, b float32) bool { return a == b || a != a && b != b }
func eq64(a, b float64) bool { return a == b || a != a && b != b }

func (f *fixes) same(i, j int) bool {
	return eq64(f.lat[i], f.lat[j]) && eq64(f.lon[i], f.lon[j]) && eq32(f.speed[i], f.speed[j]) &&
		eq32(f.course[i], f.course[j]) && eq32(f.alt[i], f.alt[j])
}

// completes says that fixes i and j do not contradict each other and that one
// has a value that the other lacks.
func (f *fixes) completes(i, j int) bool {
	lacks := false
	for _, col := range [][]float64{f.lat, f.lon} {
		a, b := col[i], col[j]
		if a == a && b == b && a != b {
			return false
		}
		lacks = lacks || (a == a) != (b == b)
	}
	for _, col := range [][]float32{f.speed, f.course, f.alt} {
		a, b := col[i], col[j]
		if a == a && b == b && a != b {
			return false
		}
		lacks = lacks || (a == a) != (b == b)
	}
	return lacks
}

// fold takes the values of fix j into fix i where i has none.
func (f *fixes) fold(i, j int) {
	if f.lat[i] != f.lat[i] {
		f.lat[i], f.lon[i] = f.lat[j], f.lon[j]
	}
	for _, col := range [][]float32{f.speed, f.course, f.alt} {
		if col[i] != col[i] {
			col[i] = col[j]
		}
	}
}

// fixes mends the GPS records.
func (b *builder) fixes() {
	f := &b.r.gps
	if len(f.time) == 0 {
		return
	}
	b.unhold()
	m := mender{t: f.time, same: f.same, completes: f.completes, fold: f.fold, dated: !b.r.start.IsZero(), unset: b.unset(), known: b.jumps}
	out := m.mend()
	b.tell(&out, "GPS")
	*f = f.pick(out.idx)
	f.time = out.t
}

// unhold thins the fixes of a logger that writes the last one with each of its
// fast samples until the next comes. It knows them by runs of equal records:
// when more than half of all records repeat the one before and most runs have
// the same length, the first of each run is the fix. At rest a receiver repeats
// itself too, so a longer run keeps one fix a run length.
func (b *builder) unhold() {
	f := &b.r.gps
	n := len(f.time)
	if n < 20 || len(b.r.acc.time)+len(b.r.gyr.time) < n/2 {
		return
	}
	repeats := 0
	var runs []float64
	start := 0
	for i := 1; i <= n; i++ {
		if i < n && f.same(i, i-1) {
			repeats++
			continue
		}
		runs = append(runs, float64(i-start))
		start = i
	}
	usual := medianOf(runs)
	if repeats*2 < n || usual < 3 {
		return
	}
	idx := []int32{}
	for i := 0; i < n; {
		j := i + 1
		for j < n && f.same(j, i) {
			j++
		}
		idx = append(idx, int32(i))
		for k := float64(i) + usual; k+usual/2 <= float64(j); k += usual {
			idx = append(idx, int32(k))
		}
		i = j
	}
	b.notes.drop(n-len(idx), "GPS: the last fix, written again until the next")
	*f = f.pick(idx)
}

// gps makes the log's GPS of the mended fixes.
func (b *builder) gps() GPS {
	f := &b.r.gps
	if len(f.time) == 0 {
		return GPS{}
	}
	g := GPS{Time: f.time, Lat: f.lat, Lon: f.lon, Alt: f.alt, Speed: f.speed, Course: f.course, Flags: make([]Flag, len(f.time))}
	p := period(g.Time)
	g.Gaps, g.Rate = findGaps(g.Time, p), rate(g.Time)
	given := 0
	for _, v := range g.Speed {
		if v == v {
			given++
		}
	}
	g.SpeedFrom, g.SpeedSD = "receiver", receiverSpeedSD
	track := newTrack(&g)
	if given > 0 && b.checkSpeeds(track) {
		given = 0
	}
	track.flag(given*2 >= len(g.Time))
	speedSD := track.velocities()
	if f.computed || given == 0 {
		g.SpeedFrom = "positions"
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
		if g.Course[i] != g.Course[i] && v > 3*speedSD && v > 0.5 {
			g.Course[i] = course360(float32(degrees360(math.Atan2(vx, vy))))
		}
	}
	if given > 0 && filled > 0 && !f.computed {
		b.notes.warn("speeds filled in", 0, -1, "GPS: %s had no speed; it was computed from the positions there.", count(filled, "fix"))
	}
	b.tellFlags(&g)
	return g
}

func (b *builder) tellFlags(g *GPS) {
	for _, k := range []struct {
		flag Flag
		what string
	}{
		{FlagSpike, "with a speed or position that no motion explains, or no speed to be had"},
		{FlagStale, "that only repeat an older one while the board moved"},
		{FlagJump, "at which the position leaps although the speed does not"},
	} {
		n, first := 0, 0
		for i, f := range g.Flags {
			if f&k.flag != 0 {
				if n == 0 {
					first = i
				}
				n++
			}
		}
		if n > 0 {
			b.notes.warn("doubtful fixes", 0, -1, "GPS: %s %s (first at %s); marked, and left out of the analysis.",
				count(n, "fix"), k.what, clock(b.log.Start, g.Time[first]))
		}
	}
}

// gpsChannels describes what the fixes hold. A course or altitude that is
// missing at rest is no gap: the fixes' own gaps count for them.
func (b *builder) gpsChannels() []Channel {
	f := &b.r.gps
	if len(f.time) == 0 {
		return nil
	}
	b.tellRate("GPS", f.time)
	unit := f.speedUnit
	if unit == "" {
		unit = "mps"
	}
	all := describe("", "", f.time)
	var out []Channel
	for _, c := range []struct {
		name, unit string
		own        bool // has gaps of its own
		has        func(i int) bool
	}{
		{"position", "deg", true, func(i int) bool { return f.lat[i] == f.lat[i] }},
		{"speed", unitText(unit), true, func(i int) bool { return f.speed[i] == f.speed[i] }},
		{"course", "deg", false, func(i int) bool { return f.course[i] == f.course[i] }},
		{"altitude", "m", false, func(i int) bool { return f.alt[i] == f.alt[i] }},
	} {
		var t []float64
		for i, x := range f.time {
			if c.has(i) {
				t = append(t, x)
			}
		}
		if len(t) == 0 {
			continue
		}
		ch := describe(c.name, c.unit, t)
		if !c.own {
			ch.Gaps, ch.LongestGapS = all.Gaps, all.LongestGapS
		}
		out = append(out, ch)
	}
	return out
}
