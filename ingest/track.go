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
	// slowSD is what the slow wander of a receiver's positions adds to a speed,
	// 1σ, m/s (3 m in a minute; our estimate): the scatter does not show it.
	slowSD = 0.05
)

// A track is the fixes on a plane, for flags and for velocity.
type track struct {
	g      *GPS
	x, y   []float64 // m east and north of the first fix; NaN without position
	vx, vy []float64 // m/s from positions; NaN where they cannot be had
	reach  float64   // s, half the width of the window of a velocity
	gap    float64   // s between fixes, above which it ends
	window [3][]float64
}

func newTrack(g *GPS) *track {
	n := len(g.Time)
	t := &track{g: g, x: make([]float64, n), y: make([]float64, n)}
	p := period(g.Time)
	t.gap, t.reach = gapLimit(p), velocityWindow
	if p > 0 {
		t.reach = max(t.reach, 2.05*p)
	}
	var local plane
	if k := slices.IndexFunc(g.Lat, func(lat float64) bool { return lat == lat }); k >= 0 {
		local = newPlane(g.Lat[k], g.Lon[k])
	}
	for i := range n {
		switch {
		case g.Lat[i] != g.Lat[i]:
			t.x[i], t.y[i] = raw.NaN, raw.NaN
		case i > 0 && g.Lat[i] == g.Lat[i-1] && g.Lon[i] == g.Lon[i-1]:
			t.x[i], t.y[i] = t.x[i-1], t.y[i-1]
		default:
			t.x[i], t.y[i] = local.project(g.Lat[i], g.Lon[i])
		}
	}
	return t
}

// step is the distance in metres between fixes i and j.
func (t *track) step(i, j int) float64 { return math.Hypot(t.x[j]-t.x[i], t.y[j]-t.y[i]) }

// flag marks doubtful fixes. withSpeed says that the receiver gives speeds.
func (t *track) flag(withSpeed bool) {
	t.flagSpeeds()
	t.flagPositions(withSpeed)
	t.flagStale(withSpeed)
}

// flagSpeeds marks a receiver's speed that is beyond any board's, or that
// stands out from the median of five by more than any acceleration explains.
func (t *track) flagSpeeds() {
	g := t.g
	var near [5]float64
	for i, v := range g.Speed {
		if v != v {
			continue
		}
		if v > speedMost {
			g.Flags[i] |= FlagSpike
			continue
		}
		n := 0
		span := 0.0
		for k := max(0, i-2); k <= min(len(g.Speed)-1, i+2); k++ {
			if d := math.Abs(g.Time[k] - g.Time[i]); g.Speed[k] == g.Speed[k] && d <= spikeNear {
				near[n] = float64(g.Speed[k])
				span = max(span, d)
				n++
			}
		}
		if n < 5 {
			continue
		}
		if m := raw.Median(near[:n]); math.Abs(float64(v)-m) > spikeSlack+accelMost*min(span, 1) {
			g.Flags[i] |= FlagSpike
		}
	}
}

// flagPositions walks along the positions. One that lies further from the last
// sound one than speed and slack allow is a spike when the next returns to
// where it should be, else the landing of a jump.
func (t *track) flagPositions(withSpeed bool) {
	g := t.g
	allowed := func(i, j int) float64 {
		dt := g.Time[j] - g.Time[i]
		v := float64(speedMost)
		if withSpeed && dt <= speedTrusted {
			v = 0
			for _, k := range [2]int{i, j} {
				if s := g.Speed[k]; s == s && g.Flags[k]&FlagSpike == 0 {
					v = max(v, float64(s)+accelMost*dt/2)
				}
			}
			if v == 0 {
				v = speedMost
			}
		}
		return v*dt*wayMargin + positionSlack
	}
	last := -1
	for i := range g.Time {
		if t.x[i] != t.x[i] {
			continue
		}
		if last < 0 || t.step(last, i) <= allowed(last, i) {
			last = i
			continue
		}
		// Does the track go back to where it was?
		returns := false
		for j := i + 1; j < min(len(g.Time), i+1+returnWithin) && !returns; j++ {
			returns = t.x[j] == t.x[j] && t.step(last, j) <= allowed(last, j)
		}
		if returns {
			g.Flags[i] |= FlagSpike
		} else {
			g.Flags[i] |= FlagJump
			last = i
		}
	}
}

// flagStale marks fixes that repeat the one before although the board moved:
// position and speed alike, or a position that stays behind for seconds.
func (t *track) flagStale(withSpeed bool) {
	g := t.g
	held := -1 // the fix that is being repeated
	for i := 1; i < len(g.Time); i++ {
		if t.x[i] != t.x[i] || t.x[i] != t.x[i-1] || t.y[i] != t.y[i-1] {
			held = -1
			continue
		}
		if held < 0 {
			held = i - 1
		}
		dt := g.Time[i] - g.Time[held]
		if withSpeed {
			v := g.Speed[i]
			if float64(v)*dt < staleLeast {
				continue
			}
			if raw.Equal(v, g.Speed[i-1]) && raw.Equal(g.Course[i], g.Course[i-1]) || dt > heldLeast {
				g.Flags[i] |= FlagStale
			}
			continue
		}
		// Without a speed the next new position tells whether it moved.
		j := i + 1
		for j < len(g.Time) && t.x[j] == t.x[i] && t.y[j] == t.y[i] {
			j++
		}
		if j < len(g.Time) && g.Time[j]-g.Time[held] < heldMost && held > 0 {
			before := t.step(held-1, held) / (g.Time[held] - g.Time[held-1])
			after := t.step(i, j) / (g.Time[j] - g.Time[held])
			if before > movingLeast && after > goesOn*before && t.step(i, j) > staleLeast {
				for k := i; k < j; k++ {
					g.Flags[k] |= FlagStale
				}
			}
		}
		i = j - 1
		held = -1
	}
}

// A derivative is what the positions around a fix say of its velocity.
type derivative struct {
	vx, vy  float64 // m/s east, north
	gain    float64 // Σ c_i², see velocities
	scatter [2]float64
	free    bool // there are enough positions to tell their scatter
}

// derive fits a parabola by least squares to the positions within reach of fix
// i, at least two on each side where there are, and differentiates it (A.
// Savitzky, M. J. E. Golay, Analytical Chemistry 36, 1964, for uneven steps).
// Flagged fixes take no part; the window ends at gaps and jumps.
func (t *track) derive(i int) (d derivative, ok bool) {
	g := t.g
	broken := func(i int) bool { // between fix i-1 and i
		return g.Time[i]-g.Time[i-1] > t.gap || g.Flags[i]&FlagJump != 0
	}
	from, hi := i, i
	for from > 0 && g.Time[i]-g.Time[from-1] <= t.reach && !broken(from) && i-from < windowMost {
		from--
	}
	for hi+1 < len(g.Time) && g.Time[hi+1]-g.Time[i] <= t.reach && !broken(hi+1) && hi-i < windowMost {
		hi++
	}
	ts, xs, ys := t.window[0][:0], t.window[1][:0], t.window[2][:0]
	for k := from; k <= hi; k++ {
		if t.x[k] == t.x[k] && g.Flags[k]&(FlagSpike|FlagStale) == 0 {
			ts = append(ts, g.Time[k]-g.Time[i])
			xs = append(xs, t.x[k])
			ys = append(ys, t.y[k])
		}
	}
	t.window = [3][]float64{ts, xs, ys}
	f, ok := parabola(ts)
	if !ok {
		return d, false
	}
	d.vx, d.scatter[0] = f.fit(ts, xs)
	d.vy, d.scatter[1] = f.fit(ts, ys)
	d.gain, d.free = f.gain(), len(ts) > 4
	return d, true
}

// velocities takes the velocity at each fix from the positions. It returns the
// 1σ error of a speed:
//
//	σ_v² = σ_p² Σ c_i² + slowSD²
//
// with c the weights of the derivative and σ_p the positions' scatter about the
// parabola (robust). A turn at angular rate ω is smoothed besides, by a factor
// of about 1 - ω²T²/10 with T the half width.
func (t *track) velocities() (sd float64) {
	n := len(t.g.Time)
	t.vx, t.vy = make([]float64, n), make([]float64, n)
	var scatter, gains []float64
	for i := range n {
		d, ok := t.derive(i)
		if t.vx[i], t.vy[i] = d.vx, d.vy; !ok {
			t.vx[i], t.vy[i] = raw.NaN, raw.NaN
		}
		if d.free {
			scatter = append(scatter, d.scatter[:]...)
			gains = append(gains, math.Sqrt(d.gain))
		}
	}
	if len(gains) < 5 {
		return unknownSD
	}
	sp := max(math.Sqrt(raw.Median(scatter))*1.06, scatterLeast)
	return math.Hypot(sp*raw.Median(gains), slowSD)
}

// A parabola holds what is needed to fit a + b t + c t² by least squares on
// given times: orthogonal polynomials on them.
type parabolaFit struct {
	n          float64
	mean       float64 // of t
	s2         float64 // Σ (t - mean)²
	alpha, phi float64 // second polynomial (t-mean)² - alpha (t-mean) - phi
	s4         float64 // its Σ ²; 0: a straight line
}

// parabola prepares the fit; ok is false below three points (or two at the ends
// of a stretch, where a straight line must do).
func parabola(ts []float64) (f parabolaFit, ok bool) {
	f.n = float64(len(ts))
	if len(ts) < 2 {
		return f, false
	}
	for _, t := range ts {
		f.mean += t / f.n
	}
	var s3 float64
	for _, t := range ts {
		u := t - f.mean
		f.s2 += u * u
		s3 += u * u * u
	}
	if !(f.s2 > 0) {
		return f, false
	}
	if len(ts) >= 4 {
		f.alpha, f.phi = s3/f.s2, f.s2/f.n
		for _, t := range ts {
			q := f.second(t)
			f.s4 += q * q
		}
		if f.s4 < 1e-9*f.s2*f.s2/f.n {
			f.s4 = 0
		}
	}
	return f, true
}

func (f *parabolaFit) second(t float64) float64 {
	u := t - f.mean
	return u*u - f.alpha*u - f.phi
}

// bend is the derivative of the second polynomial at time 0.
func (f *parabolaFit) bend() float64 { return -2*f.mean - f.alpha }

// gain is the sum of the squares of the points' weights in the derivative at
// time 0.
func (f *parabolaFit) gain() float64 {
	g := 1 / f.s2
	if f.s4 > 0 {
		g += f.bend() * f.bend() / f.s4
	}
	return g
}

// fit is the derivative of y's parabola at time 0, and the mean square of y about
// it by its degrees of freedom: what the orthogonal polynomials do not take of it.
func (f *parabolaFit) fit(ts, ys []float64) (slope, residual float64) {
	var sum, square, b, c float64
	for i, t := range ts {
		y := ys[i] - ys[0]
		sum += y
		square += y * y
		b += y * (t - f.mean)
		if f.s4 > 0 {
			c += y * f.second(t)
		}
	}
	slope, residual = b/f.s2, square-sum*sum/f.n-b*b/f.s2
	if f.s4 > 0 {
		slope += c / f.s4 * f.bend()
		residual -= c * c / f.s4
	}
	return slope, max(0, residual) / max(1, f.n-3)
}
