package align

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	minShift   = 4 * deg  // the smallest shift that is told from riding style
	movedBy    = 30 * deg // more than a slip: the sensor was taken off and put elsewhere
	mostShifts = 2        // more is not fixed
	strayed    = 2.5      // σ of the track's heading that no shift is needed for
	// shiftLead is the log likelihood that a leap has to gain over no leap,
	// counting every correlated dozen looks once.
	shiftLead  = 12.0
	looksAlike = 12
)

// A shift is a moment at which the sensor turned against the board.
type shift struct {
	sample int
	by     float64 // rad
}

// findShifts divides straight riding where the sensor's attitude against the
// course leaps, and divides the halves again. headingSE is the track's, rad.
func findShifts(looks []look, at []*look, headingSE float64, s attitude.Samples) []shift {
	var out []shift
	var divide func(at []*look, depth int)
	divide = func(at []*look, depth int) {
		if len(at) < 2*minPart || depth > 3 {
			return
		}
		w := waysOf(at)
		k := w.bestLeap()
		if k == 0 {
			return
		}
		turn := w.leapTurn(k)
		// About the vertical the track itself may have strayed.
		up := rotation.Rotate(quat.Conj(w.mean()), r3.Vec{Z: 1})
		about := r3.Dot(turn, up)
		level := r3.Sub(turn, r3.Scale(about, up))
		if math.Hypot(r3.Norm(level), max(0, math.Abs(about)-strayed*headingSE)) < minShift {
			return
		}
		divide(at[:k], depth+1)
		out = append(out, shift{sample: shiftMoment(looks, s, at, k, turn), by: r3.Norm(turn)})
		divide(at[k:], depth+1)
	}
	divide(at, 0)
	return out
}

// bestLeap finds before which look a leap in the mean attitude explains most,
// the tack and the speed (through 1/V²) held the same; 0 for none. The
// features are the course and the vertical as the sensor sees them.
func (w ways) bestLeap() (k int) {
	n := len(w.at)
	var x [3][]float64 // constant, speed, tack
	var y [6][]float64
	for i, l := range w.at {
		inv := quat.Conj(l.m)
		fwd, up := rotation.Rotate(inv, r3.Vec{X: 1}), rotation.Rotate(inv, r3.Vec{Z: 1})
		for f, v := range [...]float64{fwd.X, fwd.Y, fwd.Z, up.X, up.Y, up.Z} {
			y[f] = append(y[f], v)
		}
		for c, v := range [...]float64{1, 30 / (l.speed * l.speed), float64(w.way[i])} {
			x[c] = append(x[c], v)
		}
	}
	base := x[:]
	if !w.two {
		base = x[:2]
	}
	// They are taken out of the features once, and of each leap by its running
	// sums (Frisch and Waugh).
	if !takeOut(base, y[:]...) {
		return 0
	}
	total, best := 0.0, 0.0
	for _, f := range y {
		total += floats.Dot(f, f)
	}
	var sumX [3]float64
	var sumY [6]float64
	for i := range n - minPart {
		own, gain := float64(i+1), 0.0 // squared length of what is left of the leap
		for c := range base {
			sumX[c] += base[c][i]
			own -= sq(sumX[c])
		}
		for f := range y {
			sumY[f] += y[f][i]
			gain += sq(sumY[f])
		}
		if i+1 < minPart || own < 0.05*float64(n)/4 && own < minPart/2 {
			continue // too soon, or all but a change of tack
		}
		if g := gain / own; g > best {
			best, k = g, i+1
		}
	}
	if lead := -0.5 * float64(n) / looksAlike * math.Log(max(1-best/total, 1e-9)); !(lead > shiftLead) {
		return 0
	}
	return k
}

// leapTurn is the turn, as a rotation vector in the sensor's frame, between
// the mean attitudes before and after the k-th look, both tacks counted alike.
func (w ways) leapTurn(k int) (turn r3.Vec) {
	before, after := w.only(func(i int) bool { return i < k }), w.only(func(i int) bool { return i >= k })
	return rotation.Log(quat.Mul(quat.Conj(before.mean()), after.mean()))
}

// How the moment of a shift is told.
const (
	fitSD     = 4 * deg // pitch and crab about the mount
	worstFit  = 9.0     // a look counts no more
	shiftTime = 0.6     // s that the turn takes
	turnShare = 0.25    // 1σ of how well the gyroscope shows the turn, of its size
	worstTurn = 3.0     // what it does not show is worth no more: tuned on shifts of 7 and 20°
)

// shiftMoment is the sample of a shift by turn between the k-1st and the k-th
// straight look. Looks in between count by how well pitch and course fit the
// mount before and after; among the samples, the gyroscope must show the turn
// itself within shiftTime.
func shiftMoment(looks []look, s attitude.Samples, at []*look, k int, turn r3.Vec) (sample int) {
	looks = looks[max(at[k-1].no-1, 0):min(at[k].no+2, len(looks))]
	before := ways{at: at[:k], way: make([]uint8, k)}.mean()
	after := rotation.Unit(quat.Mul(before, rotation.Exp(turn)))
	misfit := func(l *look, m quat.Number) float64 {
		if math.IsNaN(l.course) {
			return 0
		}
		pitch, _, crab := l.angles(m)
		return min((sq(pitch)+sq(crab))/sq(fitSD), worstFit)
	}
	// cost[i] counts the first i looks as before, the others as after.
	cost := make([]float64, len(looks)+1)
	for i := range looks {
		cost[i+1] = cost[i] + misfit(&looks[i], before) - misfit(&looks[i], after)
	}
	from, to := looks[0].from, looks[len(looks)-1].to
	period := max(filter.MedianStep(s.Time[from:to]), 1e-4)
	width := max(1, int(shiftTime/period))
	rate := func(i int) r3.Vec {
		if g := s.GyrAt(i); finite(g) {
			return g
		}
		return r3.Vec{}
	}
	best, l := math.Inf(1), 0
	var sum r3.Vec
	for i := from; i < to; i++ {
		sum = r3.Add(sum, rate(i))
		if i >= from+width {
			sum = r3.Sub(sum, rate(i-width))
		}
		mid := max(from, i-width/2)
		for l < len(looks)-1 && looks[l].to <= mid {
			l++
		}
		miss := r3.Norm(r3.Sub(r3.Scale(period, sum), turn)) / (turnShare * r3.Norm(turn))
		if c := cost[l] + min(miss*miss, worstTurn); c < best {
			best, sample = c, mid
		}
	}
	return sample
}

// How much a fixed sensor's attitude against the course varies in straight
// riding, rad (standard deviation); more is no board. Simulated boards, rough
// water and beginners included, stay below two thirds of these.
const (
	maxPitchSD = 7 * deg
	maxHeelSD  = 13 * deg
	maxCrabSD  = 13 * deg
)

// A swing says how much the sensor's attitude against the course varies in
// one stretch of straight riding.
type swing struct {
	first             *look
	pitch, heel, crab float64 // rad, standard deviations
}

// over is the swing against what a board does; above 1 is too much.
func (s *swing) over() float64 {
	return max(s.pitch/maxPitchSD, s.heel/maxHeelSD, s.crab/maxCrabSD)
}

// swings divides straight riding into stretches of some forty looks. Angles
// are held against the stretch's own middle: leaps between stretches are for
// findShifts.
func swings(at []*look, toBoard quat.Number) []swing {
	const size = 40
	var out []swing
	for some := range slices.Chunk(at, size) {
		if len(some) < size/2 {
			break
		}
		var p, h, c []float64
		for _, l := range some {
			pitch, heel, crab := l.angles(toBoard)
			p, h, c = append(p, pitch), append(h, heel), append(c, crab)
		}
		out = append(out, swing{some[0], spread(p), spread(h), spread(c)})
	}
	return out
}

// loose says why stretches that swing too much, if they are more than a third
// of all, cannot be a board's; nothing when they can.
func loose(s []swing) Finding {
	var bad []swing
	for i := range s {
		if s[i].over() > 1 {
			bad = append(bad, s[i])
		}
	}
	if 3*len(bad) <= len(s) {
		return Finding{}
	}
	worst := slices.MaxFunc(bad, func(a, b swing) int { return cmp.Compare(a.over(), b.over()) })
	return Finding{Kind: Loose, At: bad[0].first.t, Pitch: worst.pitch, Heel: worst.heel, Heading: worst.crab}
}

// What tells where a sensor comes loose: shares of stretches that swing.
const (
	mostlyLoose = 0.7
	mostlyFixed = 0.2
	fewSwings   = 3 // stretches on either side
)

// looseFrom finds where a sensor comes loose, or is fixed at last: most
// stretches on one side swing too much and few on the other do. It returns
// the first look of the other side, or nil.
func looseFrom(s []swing) (at *look) {
	bad := make([]float64, len(s)+1) // of the first k
	for i := range s {
		if bad[i+1] = bad[i]; s[i].over() > 1 {
			bad[i+1]++
		}
	}
	best := 0.0
	for k := fewSwings; k <= len(s)-fewSwings; k++ {
		i, j := float64(k), float64(len(s)-k)
		a, b := bad[k]/i, (bad[len(s)]-bad[k])/j
		if max(a, b) < mostlyLoose || min(a, b) > mostlyFixed {
			continue
		}
		// What the split explains of the variance.
		if gain := (a - b) * (a - b) * i * j; gain > best {
			best, at = gain, s[k].first
		}
	}
	return at
}

// spread is a robust standard deviation of angles about their median.
func spread(x []float64) float64 {
	middle := filter.Median(x)
	for i, v := range x {
		x[i] = math.Abs(wrapPi(v - middle))
	}
	return 1.4826 * filter.Median(x)
}
