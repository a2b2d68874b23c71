package attitude

import "math"

// Passes of the smoother. Each linearises about the last one's path.
const (
	maxPasses   = 8
	roughPasses = 2    // before the heading is looked for
	settled     = 1e-3 // rad, rms correction: the next is some four times smaller
)

// How a velocity's variance is learnt, tuned on the reference trials and on
// made sessions of a board.
const (
	adaptSpan = 20.0 // s about a node over which velocity errors are taken for equally large
	few       = 6    // measurements' worth of the log's mean that each node's variance is drawn by
	hidden    = 2    // makes up for motion that smoothing took for tilt
)

// A tally sums squares and their weights, to average over any run of them.
type tally struct{ sum, n []float64 } // entry i: of those before i

func newTally(n int) *tally { return &tally{make([]float64, 1, n+1), make([]float64, 1, n+1)} }

func (t *tally) add(square, weight float64) {
	i := len(t.sum) - 1
	t.sum, t.n = append(t.sum, t.sum[i]+square), append(t.n, t.n[i]+weight)
}

// mean is that of all, NaN for none.
func (t *tally) mean() float64 { i := len(t.sum) - 1; return t.sum[i] / t.n[i] }

// about is the mean of entries lo to hi-1, drawn a little to all.
func (t *tally) about(lo, hi int, all float64) float64 {
	return (t.sum[hi] - t.sum[lo] + few*all) / (t.n[hi] - t.n[lo] + few)
}

// longer is how much more errors weigh, summed over a long time, than
// independent ones, when they follow a first-order law whose correlation ρ
// from one to the next is pair/own, at most most: (1+ρ)/(1-ρ).
func longer(pair, own, most float64) float64 {
	if !(own > 0) {
		return 1
	}
	rho := min(max(pair/own, 0), most)
	return (1 + rho) / (1 - rho)
}

// settle passes until the path moves no more, with a velocity that stays
// about zero, and learns how far from zero it gets.
func (s *smoother) settle(least, most int) {
	for i := range most {
		s.pass(nil)
		steady := s.adapt()
		if i+1 >= least && s.moved < settled && steady {
			return
		}
	}
}

// adapt sets each node's velocity variance r to what the residuals of the last
// pass say, with P the smoothed variance, over adaptSpan about it:
//
//	r ← Σ (z - v)² / Σ (1 - P/r)
//
// It reports whether the log's mean is about what it was.
func (s *smoother) adapt() (steady bool) {
	t := newTally(len(s.q))
	var last [2]float64
	var pair, own float64
	for k := range s.q {
		if s.rest[k] {
			t.add(0, 0)
			last = [2]float64{}
			continue
		}
		d := [2]float64{s.z[k][0] - s.v[k][0], s.z[k][1] - s.v[k][1]}
		square := d[0]*d[0] + d[1]*d[1]
		t.add(0.5*square, max(1-s.vv[k]/s.r[k], 0.05))
		pair += d[0]*last[0] + d[1]*last[1]
		own += square
		last = d
	}
	all := t.mean()
	if all != all {
		return true
	}
	all = max(all, 1e-9)
	steady = math.Abs(math.Log(all/s.spread)) < 0.2
	s.spread = all
	red := longer(pair, own, 0.99)
	half := int(adaptSpan / 2 / s.step) // nodes
	for k := range s.q {
		if !s.rest[k] {
			s.r[k] = max(sq(restSD), hidden*red*t.about(max(0, k-half), min(len(s.q), k+half+1), all))
		}
	}
	return steady
}
