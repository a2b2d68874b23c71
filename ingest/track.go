package ingest

import (
	"math"
	"slices"

	"evenfoot/ingest/raw"
)

// Bounds of what a board does, for telling errors of the receiver from motion.
const (
	// speedMost is faster than any board on water has been, m/s (87 kn).
	speedMost = 45
	// accelMost bounds how fast speed changes, falls included, m/s².
	accelMost = 12
	// positionSlack is how far a sound position may be off, m.
	positionSlack = 8
	// staleLeast is the shortest way that a repeated position must have missed
	// to count as stale, m.
	staleLeast = 1.5
	// velocityWindow is the half width of the filter for velocity, s.
	velocityWindow = 1.25
	// reachPeriods is the same at least, in periods: two fixes to each side.
	reachPeriods = 2.05
	// spikeSlack is how far a speed may stand out beside what acceleration
	// explains, m/s; spikeNear the time within which its neighbours count, s.
	spikeSlack, spikeNear = 3, 5
	// speedTrusted is how long a receiver's speed bounds the way, s, and wayMargin
	// the factor by which the way may be longer.
	speedTrusted, wayMargin = 10, 1.2
	// returnWithin is how many fixes a spike may last.
	returnWithin = 5
	// heldLeast is how long a position may stay behind a moving board, s, and
	// heldMost the longest that is looked at without a speed.
	heldLeast, heldMost = 3, 10
	// movingLeast is the least speed of a board that moves, m/s, and goesOn the
	// part of it that the way over a held position must keep.
	movingLeast, goesOn = 1.5, 0.7
	// windowMost bounds the fixes of a velocity's window to each side.
	windowMost = 200
	// unknownSD is the 1σ error of speeds from too few positions to tell, m/s, and
	// scatterLeast the least scatter that is believed, m.
	unknownSD, scatterLeast = 0.5, 0.005
	// scatterSD makes the 1σ error of a position of its median scatter: the square
	// of a few degrees of freedom has its median below its mean.
	scatterSD = 1.06
	// slowSD is what the slow wander of a receiver's positions adds to a speed,
	// 1σ, m/s (3 m in a minute; our estimate): the scatter does not show it.
	slowSD = 0.05
)

// A track is the fixes on a plane, for flags and for velocity.
type track struct {
	*GPS
	x, y   []float64 // m east and north of the first fix; NaN without position
	reach  float64   // s, half the width of the window of a velocity
	gap    float64   // s between fixes, above which it ends
	window [3][]float64
}

func newTrack(g *GPS) *track {
	n := len(g.Time)
	p := period(g.Time)
	t := &track{GPS: g, x: make([]float64, n), y: make([]float64, n), gap: gapLimit(p), reach: velocityWindow}
	if p > 0 {
		t.reach = max(t.reach, reachPeriods*p)
	}
	var local plane
	if k := slices.IndexFunc(g.Lat, func(lat float64) bool { return lat == lat }); k >= 0 {
		local = newPlane(g.Lat[k], g.Lon[k])
	}
	for i := range n {
		if i > 0 && g.Lat[i] == g.Lat[i-1] && g.Lon[i] == g.Lon[i-1] {
			t.x[i], t.y[i] = t.x[i-1], t.y[i-1]
		} else {
			t.x[i], t.y[i] = local.project(g.Lat[i], g.Lon[i])
		}
	}
	return t
}

// step is the distance in metres between fixes i and j.
func (t *track) step(i, j int) float64 { return math.Hypot(t.x[j]-t.x[i], t.y[j]-t.y[i]) }

// flagSpeeds marks a receiver's speed that is beyond any board's, or that
// stands out from the median of five by more than any acceleration explains.
func (t *track) flagSpeeds() {
	var near [5]float64
	for i, v := range t.Speed {
		n, span := 0, 0.0
		for k := max(0, i-2); k <= min(len(t.Speed)-1, i+2); k++ {
			if d := math.Abs(t.Time[k] - t.Time[i]); t.Speed[k] == t.Speed[k] && d <= spikeNear {
				near[n] = float64(t.Speed[k])
				span = max(span, d)
				n++
			}
		}
		standsOut := n == 5 && math.Abs(float64(v)-raw.Median(near[:])) > spikeSlack+accelMost*min(span, 1)
		if v > speedMost || v == v && standsOut {
			t.Flags[i] |= FlagSpike
		}
	}
}

// allowed is how far a board may get from fix i to fix j, m.
func (t *track) allowed(i, j int, withSpeed bool) float64 {
	dt, v := t.Time[j]-t.Time[i], 0.0
	if withSpeed && dt <= speedTrusted {
		for _, k := range [2]int{i, j} {
			if s := t.Speed[k]; s == s && t.Flags[k]&FlagSpike == 0 {
				v = max(v, float64(s)+accelMost*dt/2)
			}
		}
	}
	if v == 0 {
		v = speedMost
	}
	return v*dt*wayMargin + positionSlack
}

// flagPositions walks along the positions. One that lies further from the last
// sound one than speed and slack allow is a spike when the next returns to
// where it should be, else the landing of a jump. withSpeed says that the
// receiver gives speeds.
func (t *track) flagPositions(withSpeed bool) {
	last := -1
	reached := func(i int) bool { return t.x[i] == t.x[i] && t.step(last, i) <= t.allowed(last, i, withSpeed) }
	for i := range t.Time {
		if t.x[i] != t.x[i] {
			continue
		}
		if last < 0 || reached(i) {
			last = i
			continue
		}
		returns := false
		for j := i + 1; j < min(len(t.Time), i+1+returnWithin) && !returns; j++ {
			returns = reached(j)
		}
		if returns {
			t.Flags[i] |= FlagSpike
		} else {
			t.Flags[i] |= FlagJump
			last = i
		}
	}
}

// flagStale marks fixes that repeat the one before although the board moved:
// position and speed alike, or a position that stays behind for seconds.
// Without a speed the next new position tells whether it moved.
func (t *track) flagStale(withSpeed bool) {
	for _, r := range runs(len(t.Time), func(i int) bool { return t.x[i] != t.x[i-1] || t.y[i] != t.y[i-1] }) {
		stale := !withSpeed && t.stayedBehind(r)
		for i := r.a + 1; i < r.b; i++ {
			dt, v := t.Time[i]-t.Time[r.a], t.Speed[i]
			again := raw.Equal(v, t.Speed[i-1]) && raw.Equal(t.Course[i], t.Course[i-1])
			if stale || withSpeed && !(float64(v)*dt < staleLeast) && (again || dt > heldLeast) {
				t.Flags[i] |= FlagStale
			}
		}
	}
}

// stayedBehind says whether the position of a run of fixes stood still while
// the board went on from before it to behind it.
func (t *track) stayedBehind(r run) bool {
	if r.a == 0 || r.b == len(t.Time) || t.Time[r.b]-t.Time[r.a] >= heldMost {
		return false
	}
	before := t.step(r.a-1, r.a) / (t.Time[r.a] - t.Time[r.a-1])
	way := t.step(r.a, r.b)
	return before > movingLeast && way/(t.Time[r.b]-t.Time[r.a]) > goesOn*before && way > staleLeast
}

// A derivative is what the positions around a fix say of its velocity.
type derivative struct {
	v       [2]float64 // m/s east, north
	gain    float64    // Σ c_i², see velocities
	scatter [2]float64 // m², about the parabola
	free    bool       // there are enough positions to tell their scatter
}

// derive fits a parabola to the positions within reach of fix i, at least two on
// each side where there are. Flagged fixes take no part; the window ends at gaps
// and jumps.
func (t *track) derive(i int) (d derivative, ok bool) {
	goesOn := func(k int) bool { // from fix k-1 to k
		return t.Time[k]-t.Time[k-1] <= t.gap && t.Flags[k]&FlagJump == 0
	}
	from, to := i, i
	for from > 0 && t.Time[i]-t.Time[from-1] <= t.reach && goesOn(from) && i-from < windowMost {
		from--
	}
	for to+1 < len(t.Time) && t.Time[to+1]-t.Time[i] <= t.reach && goesOn(to+1) && to-i < windowMost {
		to++
	}
	w := &t.window
	w[0], w[1], w[2] = w[0][:0], w[1][:0], w[2][:0]
	for k := from; k <= to; k++ {
		if t.x[k] == t.x[k] && t.Flags[k]&(FlagSpike|FlagStale) == 0 {
			w[0], w[1], w[2] = append(w[0], t.Time[k]-t.Time[i]), append(w[1], t.x[k]), append(w[2], t.y[k])
		}
	}
	return differentiate(w[0], w[1:])
}

// differentiate fits a parabola by least squares to each of ys on times ts and
// differentiates it at time 0 (A. Savitzky, M. J. E. Golay, Analytical Chemistry
// 36, 1964, for uneven steps); a straight line below four points. It uses
// orthogonal polynomials on the times: 1, u = t - mean, u² - alpha u - phi.
func differentiate(ts []float64, ys [][]float64) (d derivative, ok bool) {
	n := float64(len(ts))
	var mean, s2, s3, s4 float64 // the latter Σ u², Σ u³, Σ of the second polynomial's squares
	for _, t := range ts {
		mean += t / n
	}
	for _, t := range ts {
		u := t - mean
		s2 += u * u
		s3 += u * u * u
	}
	if !(s2 > 0) {
		return d, false
	}
	alpha, phi := s3/s2, s2/n
	if len(ts) >= 4 {
		for _, t := range ts {
			u := t - mean
			q := u*u - alpha*u - phi
			s4 += q * q
		}
	}
	bend := -2*mean - alpha // of the second polynomial at time 0
	d.gain, d.free = 1/s2, len(ts) > 4
	curved := s4 > 1e-9*s2*s2/n
	if curved {
		d.gain += bend * bend / s4
	}
	for k, y := range ys {
		var sum, square, b, c float64
		for i, t := range ts {
			u, z := t-mean, y[i]-y[0]
			sum += z
			square += z * z
			b += z * u
			c += z * (u*u - alpha*u - phi)
		}
		rest := square - sum*sum/n - b*b/s2 // what the polynomials do not take
		d.v[k] = b / s2
		if curved {
			d.v[k] += c / s4 * bend
			rest -= c * c / s4
		}
		d.scatter[k] = max(0, rest) / max(1, n-3)
	}
	return d, true
}

// velocities takes the velocity at each fix from the positions, m/s east and
// north, NaN where it cannot be had. sd is the 1σ error of a speed:
//
//	σ_v² = σ_p² Σ c_i² + slowSD²
//
// with c the weights of the derivative and σ_p the positions' scatter about the
// parabola (robust). A turn at angular rate ω is smoothed besides, by a factor
// of about 1 - ω²T²/10 with T the half width.
func (t *track) velocities() (v [][2]float64, sd float64) {
	v = make([][2]float64, len(t.Time))
	var scatter, gains []float64
	for i := range v {
		d, ok := t.derive(i)
		if v[i] = d.v; !ok {
			v[i] = [2]float64{raw.NaN, raw.NaN}
		}
		if d.free {
			scatter = append(scatter, d.scatter[:]...)
			gains = append(gains, math.Sqrt(d.gain))
		}
	}
	if len(gains) < 5 {
		return v, unknownSD
	}
	sp := max(math.Sqrt(raw.Median(scatter))*scatterSD, scatterLeast)
	return v, math.Hypot(sp*raw.Median(gains), slowSD)
}
