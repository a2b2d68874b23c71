package align

import (
	"math"
	"math/cmplx"
	"slices"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

const deg = math.Pi / 180

const (
	minStraight = 60 // looks of straight riding that a mount needs
	minPart     = 30 // the same for one side of a shift
	minTurns    = 4  // that tell the heading's share
	minTurnRows = 12 // looks in them
)

// Doubts that no average over one session removes, rad (1σ); tuned on 200
// simulated sessions with leeway of 1 to 4°, current and uneven tacks.
const (
	bothTacksSD = 0.5 * deg // leeway and current differ from tack to tack
	oneTackSD   = 2.5 * deg // leeway on a single tack
	turnSideSD  = 0.7 * deg // pitch differs between turns to either side, over the heel
	oneHeelSD   = 6 * deg   // heel to windward on a single tack
	bothHeelSD  = 0.8 * deg
	// headingHold is how long an error of the track's heading lasts, s; tuned on
	// 320 simulated sessions with a watch that gives positions only.
	headingHold = 150.0
)

// solve finds the turn from the sensor to the board; headingSE is the track's,
// rad. Seen from the course frame, the board is level on average over both tacks,
// and its bow points along the course: heel to windward and leeway change sides
// with the tack. Heading is then refined so that pitch has no share of heel in
// turns.
func (p *part) solve(headingSE float64) {
	w := waysOf(those(p.looks, straight))
	mean := w.mean()
	// Scatter from reach to reach tells how well the means are known.
	crabSE, heelSE := w.reachErrors(mean)
	// The track's own heading strays more slowly than from reach to reach.
	crabSE = math.Hypot(crabSE, headingSE*math.Sqrt(headingHold/max(headingHold, float64(len(w.at))*lookS)))
	tacks, crabSD, heelSD := 1, oneTackSD, oneHeelSD
	if w.two {
		tacks, crabSD, heelSD = 2, bothTacksSD, bothHeelSD
	}
	p.tacks, p.heelSE = tacks, math.Hypot(heelSE, heelSD)
	p.Mount.ToBoard, p.Mount.HeadingSE = mean, math.Hypot(crabSE, crabSD)
	// Turns: with the heading off by δ, pitch picks up δ times the heel. The
	// course, which made the mean, says δ is zero.
	if delta, se, ok := heelShare(those(p.looks, turning), mean); ok {
		wTurn, wCourse := 1/(se*se+turnSideSD*turnSideSD), 1/sq(p.Mount.HeadingSE)
		p.Mount.ToBoard = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Z: delta * wTurn / (wTurn + wCourse)}), mean))
		p.Mount.HeadingSE = 1 / math.Sqrt(wTurn+wCourse)
	}
}

// ways are looks of straight riding with the way each was ridden: 0 to, 1 fro.
type ways struct {
	at  []*look
	way []uint8
	two bool // both ways were ridden; else all are 0
}

// What makes two ways of riding.
const (
	fewestLooks = 20       // one way
	leastShare  = 0.08     // of all looks, one way
	leastApart  = 70 * deg // between the two ways' mean courses
)

// waysOf divides straight riding in two by course.
func waysOf(at []*look) ways {
	w := ways{at: at, way: make([]uint8, len(at))}
	course := make([]complex128, len(at))
	var doubled complex128 // angles, whose mean is the axis of to and fro
	for i, l := range at {
		course[i] = cmplx.Rect(1, l.course)
		doubled += course[i] * course[i]
	}
	to := cmplx.Rect(1, cmplx.Phase(doubled)/2)
	dir := [2]complex128{to, -to}
	var count [2]int
	for range 10 {
		var sum [2]complex128
		count = [2]int{}
		for i, c := range course {
			w.way[i] = 0
			if real(c*cmplx.Conj(dir[1])) > real(c*cmplx.Conj(dir[0])) {
				w.way[i] = 1
			}
			sum[w.way[i]] += c
			count[w.way[i]]++
		}
		for k := range dir {
			dir[k] = cmplx.Rect(1, cmplx.Phase(sum[k]))
		}
	}
	few, apart := min(count[0], count[1]), cmplx.Phase(dir[0]*cmplx.Conj(dir[1]))
	w.two = few >= fewestLooks && float64(few) > leastShare*float64(len(at)) && math.Abs(apart) > leastApart
	if !w.two {
		clear(w.way)
	}
	return w
}

// only keeps some of the looks.
func (w ways) only(keep func(i int) bool) ways {
	out := ways{two: w.two}
	for i := range w.at {
		if keep(i) {
			out.at, out.way = append(out.at, w.at[i]), append(out.way, w.way[i])
		}
	}
	return out
}

// mean is the mean attitude in the course frame, both ways counted alike.
func (w ways) mean() quat.Number {
	var sum [2]quat.Number
	for i, l := range w.at {
		sum[w.way[i]] = accumulate(sum[w.way[i]], l.m)
	}
	for k, q := range sum {
		if q != (quat.Number{}) {
			sum[k] = rotation.Unit(q)
		}
	}
	return rotation.Unit(accumulate(sum[0], sum[1]))
}

const (
	longestReach = 60 // looks that count as one
	reachBreak   = 3  // looks left out end a reach
)

// reachErrors are the standard errors of mean crab angle and heel, rad, from
// the scatter of whole reaches about their way's mean.
func (w ways) reachErrors(toBoard quat.Number) (crabSE, heelSE float64) {
	type sums struct{ n, crab, heel float64 }
	var reaches [2][]sums
	var all [2]sums
	first := 0
	for i, l := range w.at {
		way := w.way[i]
		if i == 0 || way != w.way[i-1] || l.no-w.at[i-1].no > reachBreak || l.no-first >= longestReach {
			reaches[way] = append(reaches[way], sums{})
			first = l.no
		}
		_, heel, crab := l.angles(toBoard)
		for _, r := range []*sums{&reaches[way][len(reaches[way])-1], &all[way]} {
			r.n++
			r.crab += crab
			r.heel += heel
		}
	}
	var vc, vh, n float64
	for way, rs := range reaches {
		if len(rs) == 0 {
			continue
		}
		a := &all[way]
		var c2, h2 float64
		for _, r := range rs {
			c2 += sq(r.crab - r.n*a.crab/a.n)
			h2 += sq(r.heel - r.n*a.heel/a.n)
		}
		k := float64(len(rs))
		f := (k + 2) / max(k-1, 0.5) / (a.n * a.n) // a few reaches cannot vouch for themselves
		vc += f * c2
		vh += f * h2
		n++
	}
	if n == 0 {
		return math.Pi, math.Pi
	}
	return math.Sqrt(vc) / n, math.Sqrt(vh) / n
}

// What is a fall, not a turn, rad.
const (
	fallPitch = 0.4
	fallHeel  = 1.0
)

// heelShare regresses pitch on the sine of heel in turns, load over speed
// squared held the same, and returns the slope: the heading's error, rad. Its
// standard error treats each turn as one look (sandwich over turns); ok is
// false with too few.
func heelShare(at []*look, toBoard quat.Number) (slope, se float64, ok bool) {
	up := rotation.Rotate(quat.Conj(toBoard), r3.Vec{Z: 1})
	var load, lean, pitches []float64
	var turn []int // of each look
	turns, prev := 0, -10
	for _, l := range at {
		pitch, heel, _ := l.angles(toBoard)
		if math.Abs(pitch) > fallPitch || math.Abs(heel) > fallHeel {
			continue
		}
		if l.no-prev > reachBreak {
			turns++
		}
		prev = l.no
		load, lean = append(load, r3.Dot(l.acc, up)/(l.speed*l.speed)), append(lean, math.Sin(heel))
		pitches, turn = append(pitches, pitch), append(turn, turns-1)
	}
	if turns < minTurns || len(turn) < minTurnRows {
		return 0, 0, false
	}
	own := 0.0
	if takeOut([][]float64{slices.Repeat([]float64{1}, len(turn)), load}, lean, pitches) {
		own = floats.Dot(lean, lean)
	}
	if !(own > 1e-9) {
		return 0, 0, false
	}
	slope = floats.Dot(lean, pitches) / own
	push := make([]float64, turns) // each turn's on the slope
	for i, x := range lean {
		push[turn[i]] += (pitches[i] - slope*x) * x / own
	}
	n := float64(turns)
	return slope, math.Sqrt(floats.Dot(push, push) * (n + 2) / max(n-3, 1)), true
}

// takeOut makes the columns of base orthonormal (Gram and Schmidt) and leaves
// of the others what base does not explain, all in place; false when base's
// are all but dependent.
func takeOut(base [][]float64, others ...[]float64) bool {
	for k, b := range base {
		whole := floats.Norm(b, 2)
		for _, o := range base[:k] {
			floats.AddScaled(b, -floats.Dot(b, o), o)
		}
		left := floats.Norm(b, 2)
		if !(left > 1e-6*whole) {
			return false
		}
		floats.Scale(1/left, b)
		for _, o := range others {
			floats.AddScaled(o, -floats.Dot(o, b), b)
		}
	}
	return true
}

// wrapPi brings an angle into −π..π.
func wrapPi(a float64) float64 { return math.Remainder(a, 2*math.Pi) }
