package align

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A part is a stretch of the log, in looks and samples, over which the sensor
// stayed put.
type part struct {
	lookFrom, lookTo int
	from, to         int // samples
	ridden           ridden
}

const (
	minShift = 4 * math.Pi / 180  // rad, the smallest shift that is told from riding style
	movedBy  = 30 * math.Pi / 180 // rad, more than a slip: the sensor was taken off and put elsewhere
)

// A shift is a moment at which the sensor turned against the board.
type shift struct {
	t     float64 // s
	by    float64 // rad
	look  int
	split int // sample
}

// findShifts divides the log where the sensor's attitude against the course
// leaps, once per look at most, and divides the parts again.
func findShifts(looks []look, r ridden, s attitude.Samples) []shift {
	var out []shift
	var divide func(straight []int, depth int)
	divide = func(straight []int, depth int) {
		if len(straight) < 2*minPart || depth > 3 {
			return
		}
		k, ok := bestStep(looks, straight)
		if !ok {
			return
		}
		a, b := straight[:k], straight[k:]
		turn := stepTurn(looks, a, b)
		if r3.Norm(turn) < minShift {
			return
		}
		l, sample := shiftMoment(looks, s, straight, k, turn)
		divide(a, depth+1)
		out = append(out, shift{t: s.Time[sample], by: r3.Norm(turn), look: l, split: sample})
		divide(b, depth+1)
	}
	divide(r.straight, 0)
	return out
}

// shiftLead is the log likelihood that a leap has to gain over no leap, counting every
// correlated dozen looks once.
const shiftLead = 12.0

// bestStep finds where a step in the mean attitude explains most, the tack
// and the speed (through 1/V²) held the same. The features are the course and
// the vertical as the sensor sees them.
func bestStep(looks []look, straight []int) (k int, ok bool) {
	const nf, nx = 6, 3
	n := len(straight)
	side, two := tackSides(looks, straight)
	x := make([][nx]float64, n)
	y := make([][nf]float64, n)
	var xm [nx]float64
	for i, j := range straight {
		l := &looks[j]
		inv := quat.Conj(l.m)
		fwd, up := rotation.Rotate(inv, r3.Vec{X: 1}), rotation.Rotate(inv, r3.Vec{Z: 1})
		y[i] = [nf]float64{fwd.X, fwd.Y, fwd.Z, up.X, up.Y, up.Z}
		x[i] = [nx]float64{1, 0, 30 / (l.speed * l.speed)}
		if two {
			x[i][1] = float64(side[i])
		}
		for p := range nx {
			xm[p] += x[i][p] / float64(n)
		}
	}
	// Take out constant, tack and speed once, from y; the step's own share of
	// them is taken out below (Frisch and Waugh).
	var a [3][3]float64
	var b [3][nf]float64
	for i := range x {
		for p := range nx {
			for q := range nx {
				a[p][q] += x[i][p] * x[i][q]
			}
			for f := range nf {
				b[p][f] += x[i][p] * y[i][f]
			}
		}
	}
	if !two {
		a[1][1] = 1
	}
	inv, good := invert3(a)
	if !good {
		return 0, false
	}
	var beta [3][nf]float64
	for p := range nx {
		for q := range nx {
			for f := range nf {
				beta[p][f] += inv[p][q] * b[q][f]
			}
		}
	}
	total := 0.0
	for i := range y {
		for f := range nf {
			for p := range nx {
				y[i][f] -= x[i][p] * beta[p][f]
			}
			total += y[i][f] * y[i][f]
		}
	}
	best := 0.0
	var sx [nx]float64
	var sy [nf]float64
	for i := range n - minPart {
		for p := range nx {
			sx[p] += x[i][p]
		}
		for f := range nf {
			sy[f] += y[i][f]
		}
		if i+1 < minPart {
			continue
		}
		// |step ⟂ x|² = Σ1 - sxᵀ (XᵀX)⁻¹ sx; y is ⟂ x already.
		norm := float64(i + 1)
		for p := range nx {
			for q := range nx {
				norm -= sx[p] * inv[p][q] * sx[q]
			}
		}
		if norm < 0.05*float64(n)/4 && norm < minPart/2 {
			continue // the step is all but a change of tack
		}
		g := 0.0
		for f := range nf {
			g += sy[f] * sy[f]
		}
		if g /= norm; g > best {
			best, k = g, i+1
		}
	}
	looksApart := float64(n) / 12
	lead := -0.5 * looksApart * math.Log(max(1-best/total, 1e-9))
	return k, k > 0 && lead > shiftLead
}

// stepTurn is the turn, as a rotation vector in the sensor's frame, between
// the mean attitudes of two sets of looks, both tacks counted alike where both
// sets hold both.
func stepTurn(looks []look, a, b []int) r3.Vec {
	side, two := tackSides(looks, slices.Concat(a, b))
	both := func(s []int8) bool {
		n := 0
		for _, w := range s {
			if w > 0 {
				n++
			}
		}
		return n >= 10 && len(s)-n >= 10
	}
	sa, sb := side[:len(a)], side[len(a):]
	if two && both(sa) && both(sb) {
		return rotation.Log(quat.Mul(quat.Conj(sideMean(looks, a, sa, true)), sideMean(looks, b, sb, true)))
	}
	// Compare like with like: a side that both sets hold.
	pick := func(at []int, s []int8, want int8) []int {
		var out []int
		for i, k := range at {
			if s[i] == want {
				out = append(out, k)
			}
		}
		return out
	}
	var least r3.Vec
	for _, want := range []int8{1, -1} {
		pa, pb := pick(a, sa, want), pick(b, sb, want)
		if len(pa) < 10 || len(pb) < 10 {
			continue
		}
		d := rotation.Log(quat.Mul(quat.Conj(sideMean(looks, pa, nil, false)), sideMean(looks, pb, nil, false)))
		if n := r3.Norm(least); n == 0 || r3.Norm(d) < n {
			least = d
		}
	}
	return least
}

// shiftMoment is the look and the sample of a shift by turn between the k-1st
// and the k-th straight look. Looks in between count by how well pitch and
// course fit the mount before and after; among the samples, the gyroscope must
// show the turn itself within 0.6 s.
func shiftMoment(looks []look, s attitude.Samples, straight []int, k int, turn r3.Vec) (l, sample int) {
	first, last := max(straight[k-1]-1, 0), min(straight[k]+1, len(looks)-1)
	mean := sideMean(looks, straight[:k], nil, false)
	after := rotation.Unit(quat.Mul(mean, rotation.Exp(turn)))
	// cost[i] counts looks first..first+i-1 as before, the others as after.
	const sd, most = 4 * deg, 9.0
	misfit := func(l *look, m quat.Number) float64 {
		if math.IsNaN(l.course) {
			return 0
		}
		pitch, _, crab := l.angles(m)
		return min((sq(pitch)+sq(crab))/sq(sd), most)
	}
	cost := make([]float64, last-first+2)
	for i := first; i <= last; i++ {
		l := &looks[i]
		step := misfit(l, mean) - misfit(l, after)
		cost[i-first+1] = cost[i-first] + step
	}
	from, to := looks[first].from, looks[last].to
	period := max(medianPeriod(s.Time[from:to]), 1e-4)
	width := max(1, int(0.6/period))
	best := math.Inf(1)
	var sum r3.Vec
	sample = from
	l = first
	for i := from; i < to; i++ {
		sum = r3.Add(sum, gyrAt(s, i))
		if i >= from+width {
			sum = r3.Sub(sum, gyrAt(s, i-width))
		}
		mid := max(from, i-width/2)
		for l < last && looks[l].to <= mid {
			l++
		}
		miss := r3.Norm(r3.Sub(r3.Scale(period, sum), turn)) / (0.25 * r3.Norm(turn))
		if c := cost[l-first] + min(miss*miss, 16); c < best {
			best, sample = c, mid
		}
	}
	l = sort.Search(len(looks), func(k int) bool { return looks[k].to > sample })
	return l, sample
}

func gyrAt(s attitude.Samples, i int) r3.Vec {
	g := s.GyrAt(i)
	if n := r3.Dot(g, g); n-n != 0 {
		return r3.Vec{}
	}
	return g
}

// How much a fixed sensor's attitude against the course varies in straight
// riding, rad (standard deviation); more is no board.
const (
	maxPitchSD = 7 * math.Pi / 180
	maxHeelSD  = 13 * math.Pi / 180
	maxCrabSD  = 13 * math.Pi / 180
)

// A swing says how much the sensor's attitude against the course varies in
// one stretch of straight riding.
type swing struct {
	look              int // the first
	t                 float64
	pitch, heel, crab float64 // rad, standard deviations
}

// over is the swing against what a board does; above 1 is too much.
func (s *swing) over() float64 {
	return max(s.pitch/maxPitchSD, s.heel/maxHeelSD, s.crab/maxCrabSD)
}

// swings divides straight riding into stretches of some forty looks. Angles
// are held against the stretch's own middle: steps between stretches are for
// findShifts.
func swings(looks []look, straight []int, toBoard quat.Number) []swing {
	const size = 40
	var out []swing
	for from := 0; from < len(straight); from += size {
		at := straight[from:min(from+size, len(straight))]
		if len(at) < size/2 {
			break
		}
		var p, h, c []float64
		for _, k := range at {
			pitch, heel, crab := looks[k].angles(toBoard)
			p, h, c = append(p, pitch), append(h, heel), append(c, crab)
		}
		out = append(out, swing{look: at[0], t: looks[at[0]].t, pitch: spread(p), heel: spread(h), crab: spread(c)})
	}
	return out
}

// loose says why stretches that swing too much, if they are more than a third
// of all, cannot be a board's; "" when they can.
func loose(s []swing) string {
	bad, first, worst := 0, -1, 0
	for i := range s {
		if s[i].over() > 1 {
			bad++
			if first < 0 {
				first = i
			}
		}
		if s[i].over() > s[worst].over() {
			worst = i
		}
	}
	if 3*bad <= len(s) {
		return ""
	}
	w := &s[worst]
	return fmt.Sprintf("The sensor is not fixed to the board: from %s on, in straight riding it swings by %.0f° in pitch, %.0f° in heel and %.0f° in heading.",
		clock(s[first].t), w.pitch/deg, w.heel/deg, w.crab/deg)
}

// looseFrom finds where a sensor comes loose, or is fixed at last: most
// stretches on one side swing too much and few on the other do. It returns
// the first look of the other side, or -1.
func looseFrom(s []swing) int {
	all := 0.0
	for i := range s {
		if s[i].over() > 1 {
			all++
		}
	}
	best, at, n, before := 0.0, -1, float64(len(s)), 0.0
	for k := 1; k < len(s); k++ {
		if s[k-1].over() > 1 {
			before++
		}
		i := float64(k)
		a, b := before/i, (all-before)/(n-i)
		if k < 3 || len(s)-k < 3 || max(a, b) < 0.7 || min(a, b) > 0.2 {
			continue
		}
		// What the split explains of the variance.
		if gain := (a - b) * (a - b) * i * (n - i); gain > best {
			best, at = gain, s[k].look
		}
	}
	return at
}

const deg = math.Pi / 180

// spread is a robust standard deviation of angles about their median.
func spread(x []float64) float64 {
	middle := median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(wrapPi(v - middle))
	}
	return 1.4826 * median(d)
}
