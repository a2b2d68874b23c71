package attitude

import (
	"math"
	"math/cmplx"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Heading and latency from the correlation of velocity changes, tuned on made
// sessions with receivers of 1 to 10 Hz that are late by up to 2 s.
const (
	minLate, maxLate = -0.5, 2.5   // s
	lateStep         = 0.1         // s
	changeSpan       = 2.0         // s over which velocity changes are compared
	headingSpan      = 30.0        // s over which the heading is taken as steady
	headingAbout     = 3           // windows to either side that a heading is averaged over
	minAgreement     = 0.3         // correlation below which GPS says nothing of this sensor
	minFixes         = 20          // below which nothing is looked for
	maxSpan          = 7 * 86400.0 // s, the longest log that is aided: the grids grow with it
)

// A stretch is a run of blocks without a reset, with its share of the heading
// windows.
type stretch struct {
	first, last int          // nodes
	start, end  float64      // s
	from, to    int          // windows
	grid        []complex128 // ∫ horizontal specific force since start, every tickStep, m/s
}

// at interpolates the stretch's grid; NaN outside.
func (st *stretch) at(x float64) complex128 {
	x = (x - st.start) / tickStep
	i := int(math.Floor(x))
	if i < 0 || i+1 >= len(st.grid) {
		return cmplx.NaN()
	}
	return st.grid[i] + complex(x-float64(i), 0)*(st.grid[i+1]-st.grid[i])
}

// A correlation compares the velocity changes of fixes changeSpan apart with
// what the sensors say of them.
type correlation struct {
	f       *follower
	list    []stretch
	windows int
	pairs   []struct{ i, j, stretch int } // of fixes
	products
}

// products are those of each window at one latency, (m/s)².
type products struct {
	c        []complex128 // Σ GPS · IMU*
	gps, imu []float64    // Σ of their squares
}

// align finds latency and heading, and turns the path's frame to east-north.
// It reports whether there was enough agreement. Stretches of their own that
// agree too little are left to the unaided rule.
func (f *follower) align() bool {
	s := f.s
	if len(f.time) < minFixes || s.time[len(s.bl)]-s.time[0] > maxSpan {
		return false
	}
	c := &correlation{f: f}
	s.stretches(func(first, last int) {
		st := stretch{first: first, last: last, start: s.time[first], end: s.time[last], from: c.windows}
		c.windows += max(2, int(math.Ceil((st.end-st.start)/headingSpan)))
		st.to = c.windows
		c.list = append(c.list, st)
	})
	c.pair()
	if len(c.pairs) < minFixes {
		return false
	}
	for i := range c.list {
		f.changes(&c.list[i])
	}
	f.late = c.latency()
	c.products, _ = c.at(f.late)
	rate := c.drift()
	followed := false
	for _, st := range c.list {
		heading, agreement := c.headings(&st, rate)
		gps, imu := 0.0, 0.0
		for w := st.from; w < st.to; w++ {
			gps += c.gps[w]
			imu += c.imu[w]
		}
		if agreement > minAgreement*math.Sqrt(gps*imu) {
			followed = true
			f.face(&st, heading)
			continue
		}
		for k := st.first; k <= st.last; k++ {
			f.mute[k] = true
		}
	}
	if followed {
		f.seedVelocity()
	}
	return followed
}

// pair lists the fixes changeSpan apart within a stretch.
func (c *correlation) pair() {
	t := c.f.time
	k, j := 0, 0
	for i := range t {
		for k+1 < len(c.list) && t[i] > c.list[k].end {
			k++
		}
		for j < len(t) && t[j]-t[i] < changeSpan-0.05 {
			j++
		}
		if j < len(t) && t[j]-t[i] < 2*changeSpan && k < len(c.list) {
			c.pairs = append(c.pairs, struct{ i, j, stretch int }{i, j, k})
		}
	}
}

// at correlates with a latency, window by window, and returns how much they
// agree when each has the heading that suits it best.
func (c *correlation) at(late float64) (sum products, score float64) {
	sum = products{make([]complex128, c.windows), make([]float64, c.windows), make([]float64, c.windows)}
	for _, p := range c.pairs {
		x, y := c.f.time[p.i]-late, c.f.time[p.j]-late
		st := &c.list[p.stretch]
		a := st.at(y) - st.at(x)
		if cmplx.IsNaN(a) {
			continue
		}
		g := c.f.vel[p.j] - c.f.vel[p.i]
		w := min(st.from+int((x-st.start)/headingSpan), st.to-1)
		sum.c[w] += g * cmplx.Conj(a)
		sum.imu[w] += square(a)
		sum.gps[w] += square(g)
	}
	for _, x := range sum.c {
		score += math.Sqrt(square(x))
	}
	return sum, score
}

// latency is the one that agrees best, between the steps of the search by the
// parabola through the best and its neighbours.
func (c *correlation) latency() float64 {
	scores := make([]float64, int((maxLate-minLate)/lateStep)+1)
	filter.Each(len(scores), func(i int) { _, scores[i] = c.at(minLate + float64(i)*lateStep) })
	best := 0
	for i := range scores {
		if scores[i] > scores[best] {
			best = i
		}
	}
	x := float64(best)
	if best > 0 && best+1 < len(scores) {
		l, m, r := scores[best-1], scores[best], scores[best+1]
		if d := l - 2*m + r; d < 0 {
			x += 0.5 * (l - r) / d
		}
	}
	return minLate + x*lateStep
}

// drift is the heading's steady turn from window to window, rad.
func (c *correlation) drift() float64 {
	var turn complex128
	for _, st := range c.list {
		for w := st.from + 1; w < st.to; w++ {
			turn += c.c[w] * cmplx.Conj(c.c[w-1])
		}
	}
	return cmplx.Phase(turn)
}

// headings gives each of a stretch's windows a heading, unwrapped: the steady
// drift per window, rate, is taken out, then windows are averaged over a few.
// Windows that oppose the likely course of the heading are left out: falls
// can outweigh riding. agreement is what the correlations sum to, turned so.
func (c *correlation) headings(st *stretch, rate float64) (heading []float64, agreement float64) {
	likely := c.likely(st, rate)
	of := c.c[st.from:st.to]
	heading = make([]float64, len(of))
	for w := range of {
		var sum complex128
		for i := max(0, w-headingAbout); i <= min(len(of)-1, w+headingAbout); i++ {
			if real(of[i]*cmplx.Rect(1, -likely[i])) > 0 {
				sum += of[i] * cmplx.Rect(1/(1+float64((i-w)*(i-w))), rate*float64(w-i))
			}
		}
		heading[w] = likely[w]
		if sum != 0 {
			heading[w] += cmplx.Phase(sum * cmplx.Rect(1, -likely[w]))
		}
		agreement += real(of[w] * cmplx.Rect(1, -heading[w]))
	}
	return heading, agreement
}

// The search for the course of the heading: its grid, and the gyroscope's
// turn from window to window beside the steady drift, rad (1σ), ten times what
// an offset does that wanders by 0.05 °/s. Tuned on 700 made sessions with
// untrimmed sensors.
const (
	headingGrid = 72
	wander      = 15 * math.Pi / 180
)

// likely is the likeliest course of the heading over a stretch's windows,
// unwrapped, on a grid (G. D. Forney, "The Viterbi algorithm", Proc. IEEE 61,
// 1973, 268): every window votes by its correlation and the number of looks in
// it, whatever the size of the motion.
func (c *correlation) likely(st *stretch, rate float64) []float64 {
	const cell = 2 * math.Pi / headingGrid
	n := st.to - st.from
	from := make([][headingGrid]int, n) // the step that led here, cells
	var score, next [headingGrid]float64
	for w := range n {
		k := st.from + w
		vote := c.c[k] * complex(headingSpan/changeSpan/max(math.Sqrt(c.gps[k]*c.imu[k]), 1e-9), 0)
		for h := range next {
			best, by := math.Inf(-1), 0
			for d := -headingGrid / 2; d < headingGrid/2 && w > 0; d++ {
				if s := score[(h-d+headingGrid)%headingGrid] - 0.5*sq(float64(d)*cell/wander); s > best {
					best, by = s, d
				}
			}
			if w == 0 {
				best = 0
			}
			next[h], from[w][h] = best+real(vote*cmplx.Rect(1, -float64(h)*cell-rate*float64(w))), by
		}
		score = next
	}
	last := 0
	for h := range score {
		if score[h] > score[last] {
			last = h
		}
	}
	path := make([]float64, n)
	at := last
	for w := n - 1; w >= 0; w-- {
		path[w] = float64(at)*cell + rate*float64(w)
		at -= from[w][((at%headingGrid)+headingGrid)%headingGrid]
	}
	return path
}

// face turns a stretch's path by its windows' headings.
func (f *follower) face(st *stretch, heading []float64) {
	s := f.s
	for k := st.first; k <= st.last; k++ {
		x := (s.time[k]-st.start)/headingSpan - 0.5
		w := min(max(int(math.Floor(x)), 0), len(heading)-2)
		part := min(max(x-float64(w), 0), 1)
		h := heading[w] + part*(heading[w+1]-heading[w])
		s.q[k] = quat.Mul(rotation.Exp(r3.Vec{Z: h}), s.q[k])
	}
}

// changes sums the horizontal specific force along a stretch of the path.
func (f *follower) changes(st *stretch) {
	s := f.s
	st.grid = make([]complex128, 0, int((st.end-st.start)/tickStep)+1)
	c := cursor{f: f}
	var base complex128
	for k := st.first; k < st.last; k++ {
		c.k = k
		r := matrix(s.q[k])
		for {
			x := st.start + float64(len(st.grid))*tickStep
			if x > s.time[k+1] {
				break
			}
			u := r.mulVec(c.inBlock(x))
			st.grid = append(st.grid, base+complex(u.X, u.Y))
		}
		u := r.mulVec(s.bl[k].du)
		base += complex(u.X, u.Y)
	}
}

// seedVelocity starts the path's velocity from the fixes.
func (f *follower) seedVelocity() {
	s := f.s
	j := 0
	for k := range s.q {
		if f.mute[k] {
			continue
		}
		x := s.time[k] + f.late
		for j+1 < len(f.time)-1 && f.time[j+1] <= x {
			j++
		}
		part := min(max((x-f.time[j])/(f.time[j+1]-f.time[j]), 0), 1)
		v := f.vel[j] + complex(part, 0)*(f.vel[j+1]-f.vel[j])
		s.v[k] = [2]float64{real(v), imag(v)}
	}
}
