package align

import (
	"math"
	"slices"
	"sort"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A part is a stretch of the log, in looks and samples, over which the sensor
// sat in one way, with what was found there.
type part struct {
	lookFrom, lookTo int
	from, to         int // samples
	ridden           ridden
	sol              solution
	level            levelZero
	refused          Finding
}

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
	t     float64 // s
	by    float64 // rad
	look  int
	split int // sample
}

// findShifts divides the log where the sensor's attitude against the course
// leaps, once per look at most, and divides the halves again.
func findShifts(looks []look, r ridden, s attitude.Samples) []shift {
	var out []shift
	var divide func(straight []int, depth int)
	divide = func(straight []int, depth int) {
		if len(straight) < 2*minPart || depth > 3 {
			return
		}
		w := waysOf(looks, straight)
		k, ok := w.bestLeap(looks)
		if !ok {
			return
		}
		turn := w.leapTurn(looks, k)
		// About the vertical the track itself may have strayed.
		up := rotation.Rotate(quat.Conj(w.mean(looks)), r3.Vec{Z: 1})
		about := r3.Dot(turn, up)
		level := r3.Sub(turn, r3.Scale(about, up))
		if math.Hypot(r3.Norm(level), max(0, math.Abs(about)-strayed*r.headingSE)) < minShift {
			return
		}
		l, sample := shiftMoment(looks, s, straight, k, turn)
		divide(straight[:k], depth+1)
		out = append(out, shift{t: s.Time[sample], by: r3.Norm(turn), look: l, split: sample})
		divide(straight[k:], depth+1)
	}
	divide(r.straight, 0)
	return out
}

// bestLeap finds before which look a leap in the mean attitude explains most,
// the tack and the speed (through 1/V²) held the same. The features are the
// course and the vertical as the sensor sees them.
func (w ways) bestLeap(looks []look) (k int, ok bool) {
	const features = 6
	n, columns := len(w.at), 2
	if w.two {
		columns = 3
	}
	x, y := mat.NewDense(n, columns, nil), mat.NewDense(n, features, nil)
	ones := make([]float64, n)
	for i, j := range w.at {
		l := &looks[j]
		inv := quat.Conj(l.m)
		fwd, up := rotation.Rotate(inv, r3.Vec{X: 1}), rotation.Rotate(inv, r3.Vec{Z: 1})
		y.SetRow(i, []float64{fwd.X, fwd.Y, fwd.Z, up.X, up.Y, up.Z})
		ones[i] = 1
		x.SetRow(i, []float64{1, 30 / (l.speed * l.speed), float64(w.way[i])}[:columns])
	}
	chol, ok := normal(x, ones)
	if !ok {
		return 0, false
	}
	// Columns made orthonormal: constant, tack and speed are taken out of y
	// once, and of each leap by its running sums (Frisch and Waugh).
	var upper, root mat.TriDense
	chol.UTo(&upper)
	if root.InverseTri(&upper) != nil {
		return 0, false
	}
	var q, share, fitted mat.Dense
	q.Mul(x, &root)
	share.Mul(q.T(), y)
	fitted.Mul(&q, &share)
	y.Sub(y, &fitted)
	total := sq(mat.Norm(y, 2))
	best := 0.0
	sumQ, sumY := mat.NewVecDense(columns, nil), mat.NewVecDense(features, nil)
	for i := range n - minPart {
		sumQ.AddVec(sumQ, q.RowView(i))
		sumY.AddVec(sumY, y.RowView(i))
		own := float64(i+1) - mat.Dot(sumQ, sumQ) // squared length of what is left of the leap
		if i+1 < minPart || own < 0.05*float64(n)/4 && own < minPart/2 {
			continue // too soon, or all but a change of tack
		}
		if g := mat.Dot(sumY, sumY) / own; g > best {
			best, k = g, i+1
		}
	}
	lead := -0.5 * float64(n) / looksAlike * math.Log(max(1-best/total, 1e-9))
	return k, k > 0 && lead > shiftLead
}

// leapTurn is the turn, as a rotation vector in the sensor's frame, between
// the mean attitudes before and after the k-th look, both tacks counted alike
// where both sides hold both, else those of a tack that both hold.
func (w ways) leapTurn(looks []look, k int) r3.Vec {
	const enough = 10 // looks
	before := ways{w.at[:k], w.way[:k], w.two}
	after := ways{w.at[k:], w.way[k:], w.two}
	turn := func(a, b ways) r3.Vec {
		return rotation.Log(quat.Mul(quat.Conj(a.mean(looks)), b.mean(looks)))
	}
	var least r3.Vec
	both := w.two
	for way := range uint8(2) {
		a, b := before.of(way), after.of(way)
		if len(a.at) < enough || len(b.at) < enough {
			both = false
			continue
		}
		if d := turn(a, b); least == (r3.Vec{}) || r3.Norm(d) < r3.Norm(least) {
			least = d
		}
	}
	if both {
		return turn(before, after)
	}
	return least
}

// How the moment of a shift is told.
const (
	fitSD     = 4 * deg // pitch and crab about the mount
	worstFit  = 9.0     // a look counts no more
	shiftTime = 0.6     // s that the turn takes
	turnShare = 0.25    // 1σ of how well the gyroscope shows the turn, of its size
	worstTurn = 16.0
)

// shiftMoment is the look and the sample of a shift by turn between the k-1st
// and the k-th straight look. Looks in between count by how well pitch and
// course fit the mount before and after; among the samples, the gyroscope must
// show the turn itself within shiftTime.
func shiftMoment(looks []look, s attitude.Samples, straight []int, k int, turn r3.Vec) (l, sample int) {
	first, last := max(straight[k-1]-1, 0), min(straight[k]+1, len(looks)-1)
	before := ways{at: straight[:k], way: make([]uint8, k)}.mean(looks)
	after := rotation.Unit(quat.Mul(before, rotation.Exp(turn)))
	misfit := func(l *look, m quat.Number) float64 {
		if math.IsNaN(l.course) {
			return 0
		}
		pitch, _, crab := l.angles(m)
		return min((sq(pitch)+sq(crab))/sq(fitSD), worstFit)
	}
	// cost[i] counts looks first..first+i-1 as before, the others as after.
	cost := make([]float64, last-first+2)
	for i := first; i <= last; i++ {
		cost[i-first+1] = cost[i-first] + misfit(&looks[i], before) - misfit(&looks[i], after)
	}
	from, to := looks[first].from, looks[last].to
	period := max(filter.MedianStep(s.Time[from:to]), 1e-4)
	width := max(1, int(shiftTime/period))
	best := math.Inf(1)
	var sum r3.Vec
	rate := func(i int) r3.Vec {
		if g := s.GyrAt(i); finite(g) {
			return g
		}
		return r3.Vec{}
	}
	sample, l = from, first
	for i := from; i < to; i++ {
		sum = r3.Add(sum, rate(i))
		if i >= from+width {
			sum = r3.Sub(sum, rate(i-width))
		}
		mid := max(from, i-width/2)
		for l < last && looks[l].to <= mid {
			l++
		}
		miss := r3.Norm(r3.Sub(r3.Scale(period, sum), turn)) / (turnShare * r3.Norm(turn))
		if c := cost[l-first] + min(miss*miss, worstTurn); c < best {
			best, sample = c, mid
		}
	}
	return sort.Search(len(looks), func(k int) bool { return looks[k].to > sample }), sample
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
	look              int // the first
	t                 float64
	pitch, heel, crab float64 // rad, standard deviations
}

// over is the swing against what a board does; above 1 is too much.
func (s *swing) over() float64 {
	return max(s.pitch/maxPitchSD, s.heel/maxHeelSD, s.crab/maxCrabSD)
}

// swings divides straight riding into stretches of some forty looks. Angles
// are held against the stretch's own middle: leaps between stretches are for
// findShifts.
func swings(looks []look, straight []int, toBoard quat.Number) []swing {
	const size = 40
	var out []swing
	for at := range slices.Chunk(straight, size) {
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
// of all, cannot be a board's; nothing when they can.
func loose(s []swing) Finding {
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
		return Finding{}
	}
	w := &s[worst]
	return Finding{Kind: Loose, At: s[first].t, Pitch: w.pitch, Heel: w.heel, Heading: w.crab}
}

// What tells where a sensor comes loose: shares of stretches that swing.
const (
	mostlyLoose = 0.7
	mostlyFixed = 0.2
	fewSwings   = 3 // stretches on either side
)

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
		if k < fewSwings || len(s)-k < fewSwings || max(a, b) < mostlyLoose || min(a, b) > mostlyFixed {
			continue
		}
		// What the split explains of the variance.
		if gain := (a - b) * (a - b) * i * (n - i); gain > best {
			best, at = gain, s[k].look
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
