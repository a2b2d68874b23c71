package feet

import (
	"maps"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// How feet that change places are told.
const (
	ratioSD   = 0.07 // 1σ of the gains' ratio, as of ln(a/b), and of what tacks differ by
	tackSD    = 0.06 // 1σ of what the tacks differ by themselves, which a change of the feet hides
	placeLead = 6.0  // log likelihood by which feet that change must lead
	perReach  = 3.0  // and that each reach out of order costs
)

// places tells reach by reach which foot is in front: the first reach is as
// the columns or the setup say. rho is ln of the gains' ratio, first column
// over second, where a change shows it; rhoSD is +Inf where none does.
func (e *estimate) places() (rho, rhoSD float64) {
	ones, tacks := map[int]float64{}, map[int]float64{}
	order := []int{}
	for _, l := range e.looks {
		r := l.w.Reach
		if _, has := ones[r]; !has {
			order = append(order, r)
			ones[r], tacks[r] = 1, float64(l.w.Tack)
			if l.w.Tack == 0 {
				tacks[r] = 1
			}
		}
	}
	best := ones
	cost, co := e.placed(ones, false)
	for _, base := range []map[int]float64{ones, tacks} {
		sides := base
		for range 4 {
			c, coef := e.placed(sides, true)
			odd := 0
			for r := range sides {
				if sides[r] != base[r] {
					odd++
				}
			}
			if c += placeLead + perReach*float64(odd); !maps.Equal(sides, ones) && c < cost {
				best, cost, co = sides, c, coef
			}
			sides = e.resided(sides, coef)
		}
	}
	first := best[order[0]]
	if e.Deck.Sides && e.Front == "right" {
		first = -first // the left column's foot is behind
	}
	e.sides = make([]float64, len(e.looks))
	for i, l := range e.looks {
		e.sides[i] = best[l.w.Reach] * first
	}
	for i := 1; i < len(order); i++ {
		if best[order[i]] != best[order[i-1]] {
			e.out.Switches++
		}
	}
	if e.out.Switches == 0 {
		return 0, math.Inf(1)
	}
	return co[0], tackSD
}

// ratio is ln(a/b) of a look, and whether it can be had.
func (l *look) ratio() float64 {
	sum := l.side[0] + l.side[1]
	least := deadPart * sum
	return math.Log(math.Max(l.side[0], least) / math.Max(l.side[1], least))
}

// row is a look's coefficients: of ρ, or, where the feet stay, of what the
// tacks differ by, then of c0, c1, c2.
func (l *look) row(side float64, change bool) []float64 {
	x := []float64{1, side, side * l.x, side * l.x * l.x}
	if !change {
		x[0] = float64(l.w.Tack)
	}
	return x
}

// placed fits the ratios with feet on the sides given; cost is minus the log
// likelihood, each reach counted once for every four of its looks.
func (e *estimate) placed(sides map[int]float64, change bool) (cost float64, coef []float64) {
	const together = 4.0 // looks of a reach err alike
	const loose = 1e-9   // no prior to speak of
	n := float64(len(e.looks)) / together
	scale := 1.0
	for range 2 { // the prior weighs by the scatter
		q := newSquares(scale*together/(ratioSD*ratioSD), loose, loose, loose)
		for i := range e.looks {
			l := &e.looks[i]
			q.add(l.row(sides[l.w.Reach], change), l.ratio(), l.weight)
		}
		var ok bool
		if coef, _, ok = q.solve(); !ok {
			return math.Inf(1), make([]float64, 4)
		}
		var rss, weight float64
		for i := range e.looks {
			l := &e.looks[i]
			r := l.ratio() - floats.Dot(l.row(sides[l.w.Reach], change), coef)
			rss, weight = rss+l.weight*r*r, weight+l.weight
		}
		scale = rss/weight + 1e-6
	}
	return n/2*math.Log(scale) + coef[0]*coef[0]/(2*ratioSD*ratioSD), coef
}

// resided puts every reach's feet where they fit best.
func (e *estimate) resided(was map[int]float64, coef []float64) map[int]float64 {
	gain := map[int]float64{}
	for i := range e.looks {
		l := &e.looks[i]
		y := l.ratio()
		a, b := y-floats.Dot(l.row(1, true), coef), y-floats.Dot(l.row(-1, true), coef)
		gain[l.w.Reach] += l.weight * (b*b - a*a)
	}
	out := map[int]float64{}
	for r := range was {
		out[r] = 1
		if gain[r] < 0 {
			out[r] = -1
		}
	}
	return out
}

// squares are the normal equations of a few unknowns: h of the unknowns, g of what
// is observed.
type squares struct {
	h *mat.SymDense
	g *mat.VecDense
}

// newSquares begins with priors at zero of these precisions.
func newSquares(precision ...float64) squares {
	q := squares{mat.NewSymDense(len(precision), nil), mat.NewVecDense(len(precision), nil)}
	for k, p := range precision {
		q.h.SetSym(k, k, p)
	}
	return q
}

// add counts y, seen as row times the unknowns, with a weight.
func (q squares) add(row []float64, y, weight float64) {
	x := mat.NewVecDense(len(row), row)
	q.h.SymRankOne(q.h, weight, x)
	q.g.AddScaledVec(q.g, weight*y, x)
}

// solve is the unknowns and their covariance.
func (q squares) solve() (x []float64, cov *mat.SymDense, ok bool) {
	var chol mat.Cholesky
	var v mat.VecDense
	cov = new(mat.SymDense)
	if !chol.Factorize(q.h) || chol.SolveVecTo(&v, q.g) != nil || chol.InverseTo(cov) != nil {
		return nil, nil, false
	}
	return v.RawVector().Data, cov, true
}
