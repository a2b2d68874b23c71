package feet

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
	"evenfoot/filter"
)

// gravity is the standard acceleration of free fall, m/s².
const gravity = 9.80665

// Tuned on nothing but what is plausible.
const (
	rigTrendSD = 0.03 // 1σ of the rig's lift, over the rider's weight, per spread of the lift area
	mostShares = 7    // points of a curve
	perShare   = 12   // windows each, at least
	shareFloor = 0.003
	momentPart = 0.02 // the same of the mast's moment, as a part of its size
	outlier    = 3.5  // robust σ
)

// gains compares the sum of the feet with what they must carry.
func (e *estimate) gains(rho, rhoSD float64) {
	ratios := make([]float64, len(e.looks))
	reach := map[int]float64{}
	for i, l := range e.looks {
		weight := e.Rider * gravity
		must := e.Rider*l.w.Normal - e.RigLift*weight - e.MastFoot
		ratios[i] = (l.side[0] + l.side[1]) / must
		reach[l.w.Reach]++
	}
	of := 1.0
	if m := filter.Median(slices.Clone(ratios)); math.Abs(m-1) > oddWeight {
		e.out.Find(Finding{Kind: OddWeight, Part: m})
		of = m // another unit, perhaps: it does not bear on shares
	}
	var x []float64
	var cov *mat.SymDense
	scale := 0.05
	row := func(l *look) []float64 {
		a := l.side[0] / (l.side[0] + l.side[1])
		return []float64{a, 1 - a, -1, -l.x}
	}
	rigSD := math.Hypot(e.RigSD, 0.02) / (1 - e.RigLift)
	for range 3 {
		q := newSquares(1/(GainSD*GainSD), 1/(GainSD*GainSD), 1/(rigSD*rigSD), 1/(rigTrendSD*rigTrendSD))
		q.add([]float64{1, -1, 0, 0}, rho, 1/(rhoSD*rhoSD)) // nothing where rhoSD is +Inf
		for i := range e.looks {
			l := &e.looks[i] // the windows of a reach err together: each reach counts once
			q.add(row(l), ratios[i]/of-1, l.weight/(scale*scale*reach[l.w.Reach]))
		}
		var ok bool
		if x, cov, ok = q.solve(); !ok {
			return
		}
		var left []float64
		for i := range e.looks {
			left = append(left, math.Abs(ratios[i]/of-1-floats.Dot(row(&e.looks[i]), x)))
		}
		scale = math.Max(1.4826*filter.Median(left), 0.005)
	}
	for j, name := range e.columns() {
		e.gain[j], e.gainSD[j] = of*(1+x[j]), of*math.Sqrt(cov.At(j, j))
		e.out.Sensors = append(e.out.Sensors, Sensor{Column: name, Gain: interval.Normal(e.gain[j], e.gainSD[j]), Zero: interval.Normal(e.zero[j], e.zeroSD[j])})
	}
	apart := cov.At(0, 0) + cov.At(1, 1) - 2*cov.At(0, 1)
	zero := math.Hypot(e.zeroSD[0], e.zeroSD[1]) / 2 / e.usual
	e.out.LeanSD = math.Hypot(math.Sqrt(math.Max(apart, 0))/4, zero)
	if e.out.Switches > 0 { // half of the time it leans the other way
		e.out.LeanSD = math.Hypot(math.Sqrt(math.Max(apart, 0))/4, zero/2)
	}
}

// shares are the front foot's share in bins of speed, part by part.
func (e *estimate) shares() {
	if e.gain[0] == 0 {
		return
	}
	v := make([]float64, len(e.looks))
	for i, l := range e.looks {
		a, b := l.side[0]/e.gain[0], l.side[1]/e.gain[1]
		v[i] = a / (a + b)
		if e.sides[i] < 0 {
			v[i] = 1 - v[i]
		}
	}
	for _, p := range e.binned(v) {
		sd := math.Hypot(p.sd, shareFloor)
		e.out.Shares = append(e.out.Shares, Share{Speed: interval.Number(p.speed),
			Front: interval.Normal(p.mean, math.Hypot(sd, e.out.LeanSD)), SD: sd, Part: p.part})
	}
}

// moments are the mast's, brought to level flight.
func (e *estimate) moments() {
	if len(e.looks) < leastWindows {
		e.out.Find(Finding{Kind: FewWindows, Count: len(e.looks), Needed: leastWindows})
		return
	}
	v := make([]float64, len(e.looks))
	for i, l := range e.looks {
		v[i] = l.moment * gravity / l.w.Normal
	}
	for _, p := range e.binned(v) {
		sd := math.Hypot(p.sd, momentPart*math.Abs(p.mean))
		e.out.Moments = append(e.out.Moments, Moment{Speed: interval.Number(p.speed), Moment: interval.Normal(p.mean, sd), SD: sd, Part: p.part})
	}
}

// A bin is the mean of looks near one speed.
type bin struct {
	speed, mean, sd float64
	part            int
}

// binned averages values of the looks in bins of speed. A bin's error comes
// from the scatter about a smooth curve, with what the looks of a reach have
// in common.
func (e *estimate) binned(v []float64) (out []bin) {
	parts := map[int][]int{}
	var order []int
	for i, l := range e.looks {
		if v[i] != v[i] {
			continue
		}
		p := 0
		if e.Part != nil {
			p = e.Part(l.w.Time)
		}
		if parts[p] == nil {
			order = append(order, p)
		}
		parts[p] = append(parts[p], i)
	}
	for _, p := range order {
		out = append(out, e.bins(v, parts[p], p)...)
	}
	return out
}

func (e *estimate) bins(v []float64, at []int, part int) (out []bin) {
	count := min(len(at)/perShare, mostShares)
	if count < 2 {
		return nil
	}
	res := e.residuals(v, at)
	within, between := e.scatter(at, res)
	slices.SortStableFunc(at, func(a, b int) int { return cmp.Compare(e.looks[b].w.LiftArea, e.looks[a].w.LiftArea) })
	var size []float64
	for _, i := range at {
		size = append(size, math.Abs(res[i]))
	}
	most := outlier * 1.4826 * filter.Median(size)
	for k := range count {
		of := at[k*len(at)/count : (k+1)*len(at)/count]
		reaches := map[int]float64{}
		var n, area, sum float64
		for _, i := range of {
			l := &e.looks[i]
			if math.Abs(res[i]) > most {
				continue
			}
			n, area, sum = n+l.weight, area+l.weight*l.w.LiftArea, sum+l.weight*v[i]
			reaches[l.w.Reach] += l.weight
		}
		if !(n > 0) {
			continue
		}
		common := 0.0 // of the reaches, by the squares of their weights
		for _, w := range reaches {
			common += w * w / (n * n)
		}
		out = append(out, bin{speed: math.Sqrt(2 * gravity / (e.Density * area / n)), mean: sum / n,
			sd: math.Sqrt(within/n + between*common), part: part})
	}
	return out
}

// residuals are about a parabola in the lift area.
func (e *estimate) residuals(v []float64, at []int) []float64 {
	q, row := newSquares(0, 0, 0), func(i int) []float64 { return []float64{1, e.looks[i].x, e.looks[i].x * e.looks[i].x} }
	var mean []float64
	for _, i := range at {
		q.add(row(i), v[i], e.looks[i].weight)
		mean = append(mean, v[i])
	}
	c, _, ok := q.solve()
	if !ok {
		c = []float64{stat.Mean(mean, nil), 0, 0}
	}
	out := make([]float64, len(v))
	for _, i := range at {
		out[i] = v[i] - floats.Dot(c, row(i))
	}
	return out
}

// scatter are the variances of a look within its reach, and of what a reach's
// looks have in common.
func (e *estimate) scatter(at []int, res []float64) (within, between float64) {
	type sums struct{ n, s, ss float64 }
	reaches := map[int]*sums{}
	for _, i := range at {
		r := reaches[e.looks[i].w.Reach]
		if r == nil {
			r = &sums{}
			reaches[e.looks[i].w.Reach] = r
		}
		w := e.looks[i].weight
		r.n, r.s, r.ss = r.n+w, r.s+w*res[i], r.ss+w*res[i]*res[i]
	}
	var free, means, count float64
	for _, r := range reaches {
		mean := r.s / r.n
		within, free = within+r.ss-r.n*mean*mean, free+math.Max(r.n-1, 0)
		means, count = means+mean*mean, count+1
	}
	within /= math.Max(free, 1)
	for _, r := range reaches {
		means -= within / r.n
	}
	return within, math.Max(means/count, 0)
}
