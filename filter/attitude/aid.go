package attitude

import (
	"math"
	"math/cmplx"
	"slices"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A follower ties a smoothed path to GPS velocity: first the heading between
// the gyro-integrated frame and east-north, and how late the velocities are,
// from the correlation of velocity changes; then, pass by pass, the velocity
// at each node with the weight that it earns. Horizontal vectors are complex
// numbers, east + i north.
type follower struct {
	s    *smoother
	t    []float64 // the samples' times
	tk   *ticks
	time []float64    // usable fixes
	vel  []complex128 // m/s
	sd   float64      // stated 1σ, m/s
	late float64      // latency, s
	res  []complex128 // residual of each fix at the last look; NaN where there is no path
	vari []float64    // variance of each fix, (m/s)²
	tint float64      // how much wider errors of neighbouring fixes make their mean
	r0   []float64    // each node's velocity variance without fixes
	mute []bool       // nodes that fixes say nothing of
}

const (
	minLate, maxLate = -0.5, 2.5 // s
	lateStep         = 0.1       // s
	changeSpan       = 2.0       // s over which velocity changes are compared
	headingSpan      = 30.0      // s over which the heading is taken as steady
	minAgreement     = 0.3       // correlation below which GPS says nothing of this sensor
	minFixes         = 20
	maxSpan          = 7 * 86400.0 // s, the longest log that is aided: the grids grow with it
	gpsHole          = 10.0        // s without a fix: back to the rule without aid
	maxHeadingSE     = 3.0 * math.Pi / 180
)

func newFollower(s *smoother, t []float64, aid *Aid, tk *ticks) *follower {
	f := &follower{s: s, t: t, tk: tk, sd: aid.SD, tint: 1, r0: slices.Clone(s.r), mute: make([]bool, len(s.q))}
	if !(f.sd > 0) {
		f.sd = 0.1
	}
	for i, x := range aid.Time {
		if v := complex(aid.East[i], aid.North[i]); !cmplx.IsNaN(v) && !cmplx.IsInf(v) {
			f.time = append(f.time, x)
			f.vel = append(f.vel, v)
		}
	}
	f.res = make([]complex128, len(f.time))
	f.vari = make([]float64, len(f.time))
	for j := range f.vari {
		f.vari[j] = sq(f.sd)
	}
	return f
}

// run corrects the path by the fixes until it moves no more; from counts the
// passes it has had.
func (f *follower) run(from int) {
	for i := from; i < maxPasses; i++ {
		f.look()
		if i > 0 {
			f.weigh()
			f.refineLatency()
			f.look()
		}
		f.inform()
		f.s.pass()
		if i > 1 && f.s.moved < settled {
			break
		}
	}
}

// known says whether the heading is well determined over most of the log.
func (f *follower) known() bool {
	turn := slices.Clone(f.s.turn)
	slices.Sort(turn)
	return math.Sqrt(turn[len(turn)/2]) < maxHeadingSE
}

func (s *smoother) nodeTime(t []float64, k int) float64 {
	if k < len(s.bl) {
		return t[s.bl[k].from]
	}
	return t[s.bl[k-1].to]
}

// cursor walks the path's velocity at increasing times.
type cursor struct {
	f *follower
	k int
}

// at returns the path's velocity at time x, and false outside the path.
func (c *cursor) at(x float64) (complex128, bool) {
	s, t := c.f.s, c.f.t
	for c.k > 0 && x < t[s.bl[c.k].from] {
		c.k--
	}
	for c.k < len(s.bl)-1 && x >= t[s.bl[c.k].to] {
		c.k++
	}
	b := &s.bl[c.k]
	t0, t1 := t[b.from], t[b.to]
	if x < t0 || x > t1 || b.reset {
		return 0, false
	}
	u := c.inBlock(x, t1)
	q := s.q[c.k]
	du := rotation.Rotate(q, u)
	end := rotation.Rotate(q, b.du)
	fr := (x - t0) / b.dt
	v0, v1 := s.v[c.k], s.v[c.k+1]
	// What the path's nodes differ by beyond the integral is spread evenly.
	return complex(
		v0[0]+du.X+fr*(v1[0]-v0[0]-end.X),
		v0[1]+du.Y+fr*(v1[1]-v0[1]-end.Y)), true
}

// inBlock interpolates the block's running integral at time x.
func (c *cursor) inBlock(x, t1 float64) r3.Vec {
	tk := c.f.tk
	b := &c.f.s.bl[c.k]
	lo, hi := tk.first[c.k], tk.first[c.k+1]
	if lo == hi {
		return r3.Scale((x-t1+b.dt)/b.dt, b.du)
	}
	i := lo
	for i+1 < hi && tk.time[i+1] <= x {
		i++
	}
	a := tk.du[i]
	ta, tb, nb := tk.time[i], t1, b.du
	if i+1 < hi {
		tb = tk.time[i+1]
		n := tk.du[i+1]
		nb = r3.Vec{X: float64(n[0]), Y: float64(n[1]), Z: float64(n[2])}
	}
	fr := (x - ta) / (tb - ta)
	va := r3.Vec{X: float64(a[0]), Y: float64(a[1]), Z: float64(a[2])}
	return r3.Add(va, r3.Scale(fr, r3.Sub(nb, va)))
}

// look finds each fix's residual against the path at its own time.
func (f *follower) look() {
	c := cursor{f: f}
	for j, x := range f.time {
		v, ok := c.at(x - f.late)
		f.res[j] = cmplx.NaN()
		if ok && !f.mute[c.k] {
			f.res[j] = f.vel[j] - v
		}
	}
}

// weigh sets each fix's variance to what the fixes about it leave, smoothing
// variance included, and learns how alike neighbouring errors are.
func (f *follower) weigh() {
	n := len(f.time)
	s := f.s
	sum := make([]float64, n+1)
	cnt := make([]float64, n+1)
	var prev complex128
	ac, a0 := 0.0, 0.0
	k := 0
	for j := range n {
		for k+1 < len(s.q)-1 && s.nodeTime(f.t, k+1) <= f.time[j]-f.late {
			k++
		}
		sum[j+1], cnt[j+1] = sum[j], cnt[j]
		r := f.res[j]
		if cmplx.IsNaN(r) {
			prev = 0
			continue
		}
		e := 0.5*(sq(real(r))+sq(imag(r))) + s.vv[k]
		// One wild fix must not spoil its neighbours' weights.
		sum[j+1] += min(e, sq(3*outlier)*f.vari[j])
		cnt[j+1]++
		if cmplx.Abs(r) < 2*outlier*math.Sqrt(f.vari[j]) {
			ac += real(r)*real(prev) + imag(r)*imag(prev)
			a0 += sq(real(r)) + sq(imag(r))
			prev = r
		}
	}
	if cnt[n] == 0 {
		return
	}
	all := sum[n] / cnt[n]
	const few = 6
	lo, hi := 0, 0
	for j := range n {
		for f.time[j]-f.time[lo] > adaptSpan/2 {
			lo++
		}
		for hi < n && f.time[hi]-f.time[j] < adaptSpan/2 {
			hi++
		}
		f.vari[j] = max(sq(0.3*f.sd), (sum[hi]-sum[lo]+few*all)/(cnt[hi]-cnt[lo]+few))
	}
	// Errors that follow a first-order law with ρ between fixes weigh, summed
	// over a long time, as independent ones of (1+ρ)/(1-ρ) the variance.
	if a0 > 0 {
		rho := min(max(ac/a0, 0), 0.8)
		f.tint = (1 + rho) / (1 - rho)
	}
}

// inform gives every node the fixes nearest to it.
func (f *follower) inform() {
	s := f.s
	n := len(s.q)
	for k := range n {
		s.r[k] = math.Inf(1)
		s.z[k] = s.v[k]
	}
	j := 0
	lastFix := math.Inf(-1)
	for k := range n {
		at := s.nodeTime(f.t, k)
		until := math.Inf(1)
		if k+1 < n {
			until = 0.5 * (at + s.nodeTime(f.t, k+1))
		}
		var sum complex128
		w := 0.0
		for ; j < len(f.time) && f.time[j]-f.late < until; j++ {
			if cmplx.IsNaN(f.res[j]) {
				continue
			}
			lastFix = f.time[j] - f.late
			u := 1 / f.vari[j]
			sum += complex(u, 0) * f.res[j]
			w += u
		}
		switch {
		case s.rest[k] && w == 0, f.mute[k]:
			s.z[k], s.r[k] = [2]float64{}, f.r0[k]
		case w > 0:
			s.z[k][0] += real(sum) / w
			s.z[k][1] += imag(sum) / w
			s.r[k] = f.tint / w
		case at-lastFix > gpsHole && (j == len(f.time) || f.time[j]-f.late-at > gpsHole):
			s.z[k], s.r[k] = [2]float64{}, f.r0[k]
		}
	}
}

// refineLatency regresses the residuals on the path's acceleration: a
// velocity that is late by δ more than reckoned is off by -δ dv/dt.
func (f *follower) refineLatency() {
	const h = 0.25
	c := cursor{f: f}
	num, den := 0.0, 0.0
	for j, x := range f.time {
		r := f.res[j]
		if cmplx.IsNaN(r) || cmplx.Abs(r) > outlier*math.Sqrt(2*f.vari[j]) {
			continue
		}
		v0, ok0 := c.at(x - f.late - h)
		v1, ok1 := c.at(x - f.late + h)
		if !ok0 || !ok1 {
			continue
		}
		a := (v1 - v0) / (2 * h)
		num -= (real(r)*real(a) + imag(r)*imag(a)) / f.vari[j]
		den += (sq(real(a)) + sq(imag(a))) / f.vari[j]
	}
	if den < 100 { // worse than 0.1 s
		return
	}
	f.late = min(max(f.late+num/den, minLate), maxLate)
}

// A stretch is a run of blocks without a reset, with its share of the heading
// windows: from..to of the follower's list.
type stretch struct {
	first, last int     // nodes
	start, end  float64 // s
	from, to    int
	grid        []complex128 // see changes
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

func (f *follower) stretches() (list []stretch, windows int) {
	s := f.s
	first := 0
	end := func(last int) {
		if last > first {
			st := stretch{first: first, last: last, start: s.nodeTime(f.t, first), end: s.nodeTime(f.t, last), from: windows}
			windows += max(2, int(math.Ceil((st.end-st.start)/headingSpan)))
			st.to = windows
			list = append(list, st)
		}
	}
	for k := range s.bl {
		if s.bl[k].reset {
			end(k)
			first = k + 1
		}
	}
	end(len(s.bl))
	return list, windows
}

// align finds latency and heading from the correlation of velocity changes
// over changeSpan, and turns the path's frame to east-north. It reports
// whether there was enough agreement. Stretches of their own that agree too
// little are left to the unaided rule.
func (f *follower) align() bool {
	if len(f.time) < minFixes {
		return false
	}
	list, windows := f.stretches()
	type pair struct{ i, j, stretch int }
	var pairs []pair
	k := 0
	for i, j := 0, 0; i < len(f.time); i++ {
		for k+1 < len(list) && f.time[i] > list[k].end {
			k++
		}
		for j < len(f.time) && f.time[j]-f.time[i] < changeSpan-0.05 {
			j++
		}
		if j < len(f.time) && f.time[j]-f.time[i] < 2*changeSpan && k < len(list) {
			pairs = append(pairs, pair{i, j, k})
		}
	}
	if len(pairs) < minFixes || f.s.nodeTime(f.t, len(f.s.bl))-f.s.nodeTime(f.t, 0) > maxSpan {
		return false
	}
	for i := range list {
		f.changes(&list[i])
	}
	c := make([]complex128, windows)
	ga := make([]float64, windows) // energies of the changes by GPS and by IMU
	ia := make([]float64, windows)
	correlate := func(late float64) (score float64) {
		clear(c)
		clear(ga)
		clear(ia)
		for _, p := range pairs {
			x, y := f.time[p.i]-late, f.time[p.j]-late
			st := &list[p.stretch]
			a := st.at(y) - st.at(x)
			if cmplx.IsNaN(a) {
				continue
			}
			g := f.vel[p.j] - f.vel[p.i]
			w := min(st.from+int((x-st.start)/headingSpan), st.to-1)
			c[w] += g * cmplx.Conj(a)
			ia[w] += sq(real(a)) + sq(imag(a))
			ga[w] += sq(real(g)) + sq(imag(g))
		}
		for _, x := range c {
			score += cmplx.Abs(x)
		}
		return score
	}
	var scores []float64
	best := 0
	for i := range int((maxLate-minLate)/lateStep) + 1 {
		scores = append(scores, correlate(minLate+float64(i)*lateStep))
		if scores[i] > scores[best] {
			best = i
		}
	}
	f.late = minLate + float64(best)*lateStep
	if best > 0 && best+1 < len(scores) {
		l, m, r := scores[best-1], scores[best], scores[best+1]
		if d := l - 2*m + r; d < 0 {
			f.late += lateStep * 0.5 * (l - r) / d
		}
	}
	correlate(f.late)
	var turn complex128 // between neighbouring windows: the steady drift
	for _, st := range list {
		for w := st.from + 1; w < st.to; w++ {
			turn += c[w] * cmplx.Conj(c[w-1])
		}
	}
	rate := cmplx.Phase(turn)
	followed := false
	for _, st := range list {
		heading, agreement := headings(c[st.from:st.to], rate)
		eg, ea := 0.0, 0.0
		for w := st.from; w < st.to; w++ {
			eg += ga[w]
			ea += ia[w]
		}
		if agreement <= minAgreement*math.Sqrt(eg*ea) {
			for k := st.first; k <= st.last; k++ {
				f.mute[k] = true
			}
			continue
		}
		followed = true
		f.turnStretch(&st, heading)
	}
	if followed {
		f.seedVelocity()
	}
	return followed
}

// turnStretch turns a stretch's path by its windows' headings.
func (f *follower) turnStretch(st *stretch, heading []float64) {
	s := f.s
	for k := st.first; k <= st.last; k++ {
		x := (s.nodeTime(f.t, k)-st.start)/headingSpan - 0.5
		w := min(max(int(math.Floor(x)), 0), len(heading)-2)
		fr := min(max(x-float64(w), 0), 1)
		h := heading[w] + fr*(heading[w+1]-heading[w])
		s.q[k] = quat.Mul(rotation.Exp(r3.Vec{X: 0, Y: 0, Z: h}), s.q[k])
	}
}

// headings turns the windows' correlations into a heading each, unwrapped:
// the steady drift per window, rate, is taken out, then windows are averaged
// over a few. agreement is what the correlations sum to, turned so.
func headings(c []complex128, rate float64) (heading []float64, agreement float64) {
	heading = make([]float64, len(c))
	last := 0.0
	const about = 3
	for w := range c {
		var sum complex128
		for i := max(0, w-about); i <= min(len(c)-1, w+about); i++ {
			weight := 1 / (1 + float64((i-w)*(i-w)))
			sum += c[i] * cmplx.Rect(weight, -rate*float64(i))
		}
		h := last
		if sum != 0 {
			h = cmplx.Phase(sum)
		}
		h += 2 * math.Pi * math.Round((last-h)/(2*math.Pi))
		last = h
		heading[w] = h + rate*float64(w)
		agreement += real(c[w] * cmplx.Rect(1, -heading[w]))
	}
	return heading, agreement
}

// changes sums the horizontal specific force along a stretch of the path, on a
// regular grid of tickStep from its start.
func (f *follower) changes(st *stretch) {
	s := f.s
	st.grid = make([]complex128, 0, int((st.end-st.start)/tickStep)+1)
	c := cursor{f: f}
	var base complex128
	for k := st.first; k < st.last; k++ {
		b := &s.bl[k]
		c.k = k
		end := f.t[b.to]
		r := matrix(s.q[k])
		for {
			x := st.start + float64(len(st.grid))*tickStep
			if x > end {
				break
			}
			u := r.mulVec(c.inBlock(x, end))
			st.grid = append(st.grid, base+complex(u.X, u.Y))
		}
		u := r.mulVec(b.du)
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
		x := s.nodeTime(f.t, k) + f.late
		for j+1 < len(f.time)-1 && f.time[j+1] <= x {
			j++
		}
		fr := min(max((x-f.time[j])/(f.time[j+1]-f.time[j]), 0), 1)
		v := f.vel[j] + complex(fr, 0)*(f.vel[j+1]-f.vel[j])
		s.v[k] = [2]float64{real(v), imag(v)}
	}
}
