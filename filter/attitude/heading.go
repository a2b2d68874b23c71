package attitude

import (
	"math"
	"math/cmplx"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/floats"
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
	for i := range c.list {
		st := &c.list[i]
		heading := c.headings(st, rate)
		var agreement, gps, imu float64
		for k, h := range heading {
			agreement += real(c.c[st.from+k] * cmplx.Rect(1, -h))
			gps += c.gps[st.from+k]
			imu += c.imu[st.from+k]
		}
		if agreement > minAgreement*math.Sqrt(gps*imu) {
			followed = true
			f.face(st, heading)
			continue
		}
		for k := st.first; k <= st.last; k++ {
			f.mute[k] = true
		}
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
	best := floats.MaxIdx(scores)
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

// The search for the course of the heading: its grid, which the path's passes
// refine, and the gyroscope's turn from window to window beside the steady
// drift, rad (1σ), ten times what an offset does that wanders by 0.05 °/s. Tuned
// on 700 made sessions with untrimmed sensors.
const (
	headingGrid = 72
	wander      = 15 * math.Pi / 180
)

// headings is the likeliest course of the heading over a stretch's windows,
// unwrapped, on a grid (G. D. Forney, "The Viterbi algorithm", Proc. IEEE 61,
// 1973, 268): every window votes by its correlation and the number of looks in
// it, whatever the size of the motion, for falls can outweigh riding.
func (c *correlation) headings(st *stretch, rate float64) []float64 {
	const cell = 2 * math.Pi / headingGrid
	from := make([][headingGrid]int, st.to-st.from) // the step that led here, cells
	var score, next [headingGrid]float64
	for w := range from {
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
	at := floats.MaxIdx(score[:])
	path := make([]float64, len(from))
	for w := len(from) - 1; w >= 0; w-- {
		path[w] = float64(at)*cell + rate*float64(w)
		at -= from[w][(at%headingGrid+headingGrid)%headingGrid]
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
