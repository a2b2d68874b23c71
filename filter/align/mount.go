package align

import (
	"math"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A solution is the mount over one part of the log, pitch counted from the
// mean of straight riding.
type solution struct {
	toBoard   quat.Number
	headingSE float64 // rad
	heelSE    float64 // rad, of the heel's zero
	tacks     int     // 1 or 2: ways that were ridden
	straight  int     // looks
	turns     int
}

const (
	minStraight = 60 // looks of straight riding that a mount needs
	minPart     = 30 // the same for one side of a shift
)

// Doubts that no average over one session removes, rad (1σ).
const (
	bothTacksSD = 0.5 * math.Pi / 180 // leeway and current differ from tack to tack
	oneTackSD   = 2.5 * math.Pi / 180 // leeway on a single tack
	turnSideSD  = 0.7 * math.Pi / 180 // pitch differs between turns to either side, over the heel
	oneHeelSD   = 6 * math.Pi / 180   // heel to windward on a single tack
	bothHeelSD  = 0.8 * math.Pi / 180
)

// solveMount finds the turn from the sensor to the board. Seen from the
// course frame, the board is level on average over both tacks, and its bow
// points along the course: heel to windward and leeway change sides with the
// tack. Heading is then refined so that pitch has no share of heel in turns.
func solveMount(looks []look, r ridden) solution {
	side, two := tackSides(looks, r.straight)
	s := solution{straight: len(r.straight), tacks: 1}
	if two {
		s.tacks = 2
	}
	mean := sideMean(looks, r.straight, side, two)
	// A second round leaves out what is far from the first's mean.
	kept := make([]int, 0, len(r.straight))
	keptSide := make([]int8, 0, len(side))
	for i, k := range r.straight {
		if r3.Norm(rotation.Log(quat.Mul(looks[k].m, quat.Conj(mean)))) < 0.6 {
			kept, keptSide = append(kept, k), append(keptSide, side[i])
		}
	}
	if len(kept) > len(r.straight)/2 {
		mean = sideMean(looks, kept, keptSide, two)
	} else {
		kept, keptSide = r.straight, side
	}
	s.toBoard = mean

	// Scatter from reach to reach tells how well the means are known.
	crabSE, heelSE := reachErrors(looks, kept, keptSide, two, mean)
	s.headingSE, s.heelSE = math.Hypot(crabSE, bothTacksSD), math.Hypot(heelSE, bothHeelSD)
	if !two {
		s.headingSE, s.heelSE = math.Hypot(crabSE, oneTackSD), math.Hypot(heelSE, oneHeelSD)
	}

	// Turns: with the heading off by δ, pitch picks up δ times the heel. The
	// course, which made the mean, says δ is zero.
	delta, se, turns := heelShare(looks, r, s.toBoard)
	if s.turns = turns; turns >= 4 {
		se = math.Hypot(se, turnSideSD)
		wTurn, wCourse := 1/(se*se), 1/(s.headingSE*s.headingSE)
		s.toBoard = rotation.Unit(quat.Mul(rotation.Exp(r3.Vec{Z: delta * wTurn / (wTurn + wCourse)}), s.toBoard))
		s.headingSE = 1 / math.Sqrt(wTurn+wCourse)
	}
	return s
}

// tackSides divides the straight looks in two by course, the two ways of
// riding to and fro; two is false when there is only one way.
func tackSides(looks []look, straight []int) (side []int8, two bool) {
	side = make([]int8, len(straight))
	// The axis of to and fro, from doubled angles.
	var c, s float64
	for _, k := range straight {
		sin, cos := math.Sincos(2 * looks[k].course)
		c += cos
		s += sin
	}
	a, b := math.Atan2(s, c)/2, 0.0
	b = a + math.Pi
	for range 10 {
		var sum [2][2]float64
		for i, k := range straight {
			sin, cos := math.Sincos(looks[k].course)
			w := 0
			side[i] = 1
			if math.Cos(looks[k].course-b) > math.Cos(looks[k].course-a) {
				w, side[i] = 1, -1
			}
			sum[w][0] += cos
			sum[w][1] += sin
		}
		a, b = math.Atan2(sum[0][1], sum[0][0]), math.Atan2(sum[1][1], sum[1][0])
	}
	n := 0
	for _, w := range side {
		if w > 0 {
			n++
		}
	}
	few := min(n, len(side)-n)
	apart := math.Abs(wrapPi(a - b))
	two = few >= 20 && float64(few) > 0.08*float64(len(side)) && apart > 70*math.Pi/180
	return side, two
}

// sideMean is the mean attitude in the course frame, both sides counted alike.
func sideMean(looks []look, at []int, side []int8, two bool) quat.Number {
	var sum [2]quat.Number
	for i, k := range at {
		w := 0
		if two && side[i] < 0 {
			w = 1
		}
		sum[w] = accumulate(sum[w], looks[k].m)
	}
	if !two {
		return rotation.Unit(sum[0])
	}
	return rotation.Unit(accumulate(rotation.Unit(sum[0]), rotation.Unit(sum[1])))
}

// reachErrors are the standard errors of mean crab angle and heel, from the
// scatter of whole reaches about their side's mean.
func reachErrors(looks []look, at []int, side []int8, two bool, toBoard quat.Number) (crabSE, heelSE float64) {
	type sum struct{ w, crab, heel float64 }
	var reaches [2][]sum
	for i := 0; i < len(at); {
		var r sum
		first := i
		for ; i < len(at) && at[i]-at[first] < 60 && side[i] == side[first] && (i == first || at[i]-at[i-1] <= 3); i++ {
			_, heel, crab := looks[at[i]].angles(toBoard)
			r.w++
			r.crab += crab
			r.heel += heel
		}
		if i == first {
			i++
			continue
		}
		w := 0
		if two && side[first] < 0 {
			w = 1
		}
		reaches[w] = append(reaches[w], r)
	}
	var vc, vh, n float64
	for _, rs := range reaches {
		var all sum
		for _, r := range rs {
			all.w += r.w
			all.crab += r.crab
			all.heel += r.heel
		}
		if all.w == 0 {
			continue
		}
		mc, mh := all.crab/all.w, all.heel/all.w
		var c2, h2 float64
		for _, r := range rs {
			c2 += (r.crab - r.w*mc) * (r.crab - r.w*mc)
			h2 += (r.heel - r.w*mh) * (r.heel - r.w*mh)
		}
		k := float64(len(rs))
		f := (k + 2) / max(k-1, 0.5) / (all.w * all.w) // a few reaches cannot vouch for themselves
		vc += f * c2
		vh += f * h2
		n++
	}
	if n == 0 {
		return math.Pi, math.Pi
	}
	return math.Sqrt(vc) / n, math.Sqrt(vh) / n
}

// heelShare regresses pitch on heel in turns, load and speed held the same,
// and returns the slope: the heading's error, rad. Its standard error treats
// each turn as one look.
func heelShare(looks []look, r ridden, toBoard quat.Number) (slope, se float64, turns int) {
	const np = 3 // constant, load over speed squared, sine of heel
	up := rotation.Rotate(quat.Conj(toBoard), r3.Vec{Z: 1})
	type row struct {
		x [np]float64
		y float64
	}
	var rows []row
	var cluster []int
	prev := -10
	for _, k := range r.turning {
		l := &looks[k]
		pitch, heel, _ := l.angles(toBoard)
		if math.Abs(pitch) > 0.4 || math.Abs(heel) > 1 {
			continue // a fall, not a turn
		}
		if k-prev > 3 {
			turns++
		}
		prev = k
		rows = append(rows, row{[np]float64{1, r3.Dot(l.acc, up) / (l.speed * l.speed), math.Sin(heel)}, pitch})
		cluster = append(cluster, turns)
	}
	if turns < 4 || len(rows) < 12 {
		return 0, math.Inf(1), 0
	}
	weight := make([]float64, len(rows))
	for i := range weight {
		weight[i] = 1
	}
	var beta [np]float64
	var inv [np][np]float64
	for range 4 {
		var a [np][np]float64
		var y [np]float64
		for i, w := range rows {
			for p := range np {
				y[p] += weight[i] * w.x[p] * w.y
				for q := range np {
					a[p][q] += weight[i] * w.x[p] * w.x[q]
				}
			}
		}
		var ok bool
		inv, ok = invert3(a)
		if !ok {
			return 0, math.Inf(1), 0
		}
		abs := make([]float64, len(rows))
		for p := range np {
			beta[p] = inv[p][0]*y[0] + inv[p][1]*y[1] + inv[p][2]*y[2]
		}
		for i, w := range rows {
			abs[i] = math.Abs(w.y - beta[0]*w.x[0] - beta[1]*w.x[1] - beta[2]*w.x[2])
		}
		scale := 1.4826*median(abs) + 1e-6
		for i := range weight {
			weight[i] = min(1, 2*scale/max(abs[i], 1e-9))
		}
	}
	// Sandwich over turns.
	var meat [np][np]float64
	var g [np]float64
	flush := func() {
		for p := range np {
			for q := range np {
				meat[p][q] += g[p] * g[q]
			}
		}
		g = [np]float64{}
	}
	for i, w := range rows {
		if i > 0 && cluster[i] != cluster[i-1] {
			flush()
		}
		e := weight[i] * (w.y - beta[0]*w.x[0] - beta[1]*w.x[1] - beta[2]*w.x[2])
		for p := range np {
			g[p] += e * w.x[p]
		}
	}
	flush()
	v := 0.0
	for p := range np {
		for q := range np {
			v += inv[2][p] * meat[p][q] * inv[q][2]
		}
	}
	k := float64(turns)
	return beta[2], math.Sqrt(v * (k + 2) / max(k-np, 1)), turns
}

// invert3 inverts a symmetric matrix; ok is false when it is singular.
func invert3(a [3][3]float64) (inv [3][3]float64, ok bool) {
	c := func(i, j int) float64 {
		i1, i2, j1, j2 := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return a[i1][j1]*a[i2][j2] - a[i1][j2]*a[i2][j1]
	}
	det := a[0][0]*c(0, 0) + a[0][1]*c(0, 1) + a[0][2]*c(0, 2)
	if !(math.Abs(det) > 1e-12*a[0][0]*a[1][1]*a[2][2]) {
		return inv, false
	}
	for i := range 3 {
		for j := range 3 {
			inv[i][j] = c(j, i) / det
		}
	}
	return inv, true
}
