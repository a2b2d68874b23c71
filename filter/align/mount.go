package align

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

const deg = math.Pi / 180

// A solution is the mount over one part of the log, pitch counted from the
// mean of straight riding.
type solution struct {
	toBoard   quat.Number
	headingSE float64 // rad
	heelSE    float64 // rad, of the heel's zero
	tacks     int     // 1 or 2: ways that were ridden
}

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

// farFromMean is how far from the mean a look in straight riding may be, rad.
const farFromMean = 0.6

// solveMount finds the turn from the sensor to the board. Seen from the
// course frame, the board is level on average over both tacks, and its bow
// points along the course: heel to windward and leeway change sides with the
// tack. Heading is then refined so that pitch has no share of heel in turns.
func solveMount(looks []look, r ridden) solution {
	w := waysOf(looks, r.straight)
	mean := w.mean(looks)
	// A second round leaves out what is far from the first's mean.
	kept := w.only(func(i int) bool { return r3.Norm(between(looks[w.at[i]].m, mean)) < farFromMean })
	if len(kept.at) > len(w.at)/2 {
		w = kept
		mean = w.mean(looks)
	}
	// Scatter from reach to reach tells how well the means are known.
	crabSE, heelSE := w.reachErrors(looks, mean)
	// The track's own heading strays more slowly than from reach to reach.
	crabSE = math.Hypot(crabSE, r.headingSE*math.Sqrt(headingHold/max(headingHold, float64(len(w.at))*lookS)))
	s := solution{toBoard: mean, tacks: 1, headingSE: math.Hypot(crabSE, oneTackSD), heelSE: math.Hypot(heelSE, oneHeelSD)}
	if w.two {
		s.tacks, s.headingSE, s.heelSE = 2, math.Hypot(crabSE, bothTacksSD), math.Hypot(heelSE, bothHeelSD)
	}
	// Turns: with the heading off by δ, pitch picks up δ times the heel. The
	// course, which made the mean, says δ is zero.
	if delta, se, ok := heelShare(looks, r, s.toBoard); ok {
		wTurn, wCourse := 1/(se*se+turnSideSD*turnSideSD), 1/(s.headingSE*s.headingSE)
		s.toBoard = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Z: delta * wTurn / (wTurn + wCourse)}), s.toBoard))
		s.headingSE = 1 / math.Sqrt(wTurn+wCourse)
	}
	return s
}

// between is the turn from b to a, as a rotation vector in the outer frame.
func between(a, b quat.Number) r3.Vec { return rotation.Log(quat.Mul(a, quat.Conj(b))) }

// ways are looks of straight riding with the way each was ridden: 0 to, 1 fro.
type ways struct {
	at  []int // looks
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
func waysOf(looks []look, straight []int) ways {
	w := ways{at: straight, way: make([]uint8, len(straight))}
	course := func(i int) (east, north float64) {
		north, east = math.Sincos(looks[straight[i]].course)
		return east, north
	}
	// The axis of to and fro, from doubled angles.
	var c, s float64
	for i := range straight {
		e, n := course(i)
		c += e*e - n*n
		s += 2 * e * n
	}
	axis := math.Atan2(s, c) / 2
	dir := [2]float64{axis, axis + math.Pi}
	count := [2]int{}
	for range 10 {
		var sum [2][2]float64
		count = [2]int{}
		for i, k := range straight {
			w.way[i] = 0
			if math.Cos(looks[k].course-dir[1]) > math.Cos(looks[k].course-dir[0]) {
				w.way[i] = 1
			}
			e, n := course(i)
			sum[w.way[i]][0] += e
			sum[w.way[i]][1] += n
			count[w.way[i]]++
		}
		for k := range dir {
			dir[k] = math.Atan2(sum[k][1], sum[k][0])
		}
	}
	few := min(count[0], count[1])
	w.two = few >= fewestLooks && float64(few) > leastShare*float64(len(straight)) && math.Abs(wrapPi(dir[0]-dir[1])) > leastApart
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

// of keeps the looks of one way, as the only way.
func (w ways) of(way uint8) ways {
	out := w.only(func(i int) bool { return w.way[i] == way })
	clear(out.way)
	out.two = false
	return out
}

// mean is the mean attitude in the course frame, both ways counted alike.
func (w ways) mean(looks []look) quat.Number {
	var sum [2]quat.Number
	for i, k := range w.at {
		sum[w.way[i]] = accumulate(sum[w.way[i]], looks[k].m)
	}
	if sum[1] == (quat.Number{}) {
		return rotation.Unit(sum[0])
	}
	if sum[0] == (quat.Number{}) {
		return rotation.Unit(sum[1])
	}
	return rotation.Unit(accumulate(rotation.Unit(sum[0]), rotation.Unit(sum[1])))
}

const (
	longestReach = 60 // looks that count as one
	reachBreak   = 3  // looks left out end a reach
)

// reachErrors are the standard errors of mean crab angle and heel, rad, from
// the scatter of whole reaches about their way's mean.
func (w ways) reachErrors(looks []look, toBoard quat.Number) (crabSE, heelSE float64) {
	type sum struct{ n, crab, heel float64 }
	var reaches [2][]sum
	for i := 0; i < len(w.at); {
		var r sum
		first := i
		for ; i < len(w.at) && w.at[i]-w.at[first] < longestReach && w.way[i] == w.way[first] && (i == first || w.at[i]-w.at[i-1] <= reachBreak); i++ {
			_, heel, crab := looks[w.at[i]].angles(toBoard)
			r.n++
			r.crab += crab
			r.heel += heel
		}
		reaches[w.way[first]] = append(reaches[w.way[first]], r)
	}
	var vc, vh, n float64
	for _, rs := range reaches {
		var all sum
		for _, r := range rs {
			all.n += r.n
			all.crab += r.crab
			all.heel += r.heel
		}
		if all.n == 0 {
			continue
		}
		var c2, h2 float64
		for _, r := range rs {
			c2 += sq(r.crab - r.n*all.crab/all.n)
			h2 += sq(r.heel - r.n*all.heel/all.n)
		}
		k := float64(len(rs))
		f := (k + 2) / max(k-1, 0.5) / (all.n * all.n) // a few reaches cannot vouch for themselves
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

// heelShare regresses pitch on heel in turns, load and speed held the same,
// and returns the slope: the heading's error, rad. Its standard error treats
// each turn as one look (sandwich over turns); ok is false with too few.
func heelShare(looks []look, r ridden, toBoard quat.Number) (slope, se float64, ok bool) {
	up := rotation.Rotate(quat.Conj(toBoard), r3.Vec{Z: 1})
	const columns = 3 // constant, load over speed squared, sine of heel
	var rows, y []float64
	var turn []int
	turns, prev := 0, -10
	for _, k := range r.turning {
		l := &looks[k]
		pitch, heel, _ := l.angles(toBoard)
		if math.Abs(pitch) > fallPitch || math.Abs(heel) > fallHeel {
			continue
		}
		if k-prev > reachBreak {
			turns++
		}
		prev = k
		rows = append(rows, 1, r3.Dot(l.acc, up)/(l.speed*l.speed), math.Sin(heel))
		y = append(y, pitch)
		turn = append(turn, turns)
	}
	n := len(y)
	if turns < minTurns || n < minTurnRows {
		return 0, 0, false
	}
	x := mat.NewDense(n, columns, rows)
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	left, abs := make([]float64, n), make([]float64, n)
	var beta mat.VecDense
	var inv mat.SymDense
	for range 4 { // Huber weights beyond twice the scatter
		chol, ok := normal(x, weight)
		if !ok {
			return 0, 0, false
		}
		var wy mat.VecDense
		wy.MulElemVec(mat.NewVecDense(n, weight), mat.NewVecDense(n, y))
		beta.MulVec(x.T(), &wy)
		if chol.SolveVecTo(&beta, &beta) != nil || chol.InverseTo(&inv) != nil {
			return 0, 0, false
		}
		for i := range y {
			left[i] = y[i] - mat.Dot(x.RowView(i), &beta)
			abs[i] = math.Abs(left[i])
		}
		scale := 1.4826*filter.Median(abs) + 1e-6
		for i, e := range left {
			weight[i] = min(1, 2*scale/max(math.Abs(e), 1e-9))
		}
	}
	// Each turn's push on the slope.
	var pull mat.VecDense
	pull.MulVec(x, mat.NewVecDense(columns, []float64{inv.At(0, 2), inv.At(1, 2), inv.At(2, 2)}))
	push := make([]float64, turns+1)
	for i, e := range left {
		push[turn[i]] += weight[i] * e * pull.AtVec(i)
	}
	v := 0.0
	for _, p := range push {
		v += p * p
	}
	k := float64(turns)
	return beta.AtVec(columns - 1), math.Sqrt(v * (k + 2) / max(k-columns, 1)), true
}

// normal factors the normal equations' matrix Xᵀ W X; ok is false when the
// columns are all but dependent.
func normal(x *mat.Dense, weight []float64) (chol mat.Cholesky, ok bool) {
	_, p := x.Dims()
	a := mat.NewSymDense(p, nil)
	for i, w := range weight {
		a.SymRankOne(a, w, x.RowView(i))
	}
	return chol, chol.Factorize(a) && chol.Cond() < 1e12
}

// wrapPi brings an angle into −π..π.
func wrapPi(a float64) float64 { return math.Remainder(a, 2*math.Pi) }
