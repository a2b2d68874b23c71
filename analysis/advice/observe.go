package advice

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// What an observation is worth: 1σ of each.
const (
	noteSD     = 0.07      // of a share that a rider feels
	angleSD    = 0.2 * deg // of an incidence measured with a gauge
	levelSD    = 0.4 * deg // of a level zero
	slopeSD    = 0.03      // of a logger's slope, relative
	balanceSD  = 0.02      // m, of a board balanced on an edge
	mostWorth  = 6         // that are listed
	worthAtAll = 0.98      // ratio of the doubt after to before
	difference = 0.05      // prior σ, step of the derivatives
	sharper    = 1.2       // times a measurement's σ that the doubt must be for it to be worth making
)

// A candidate is something that could be found out: quantities that are
// linear in the unknowns about the MAP, each with its 1σ.
type candidate struct {
	what   string
	values []func(trim.Inputs) float64
	sds    []float64
	trial  bool // it means riding another trim
	note   bool // it is a note of feel under today's trim
}

// Observations ranks what to find out next by the doubt of the best
// stabilizer change that would be left: a linear-normal update of the
// posterior's covariance.
func Observations(p *trim.Posterior, s *setup.Setup, w SpeedWeights, opt Options) []Observation {
	t := newTask(p, s, w, opt)
	if len(t.w.Speed) == 0 || len(p.Draws) == 0 {
		return []Observation{}
	}
	return t.observations()
}

func (t *task) observations() []Observation {
	cov := t.covariance()
	goal := t.gradient(func(in trim.Inputs) float64 { return t.w.best([]trim.Inputs{in}, anywhere).Raise })
	now := math.Sqrt(quadraticForm(cov, goal)) / deg
	out := []Observation{}
	for _, c := range t.candidates() {
		after := mat.DenseCopyOf(cov)
		for i, f := range c.values {
			update(after, t.gradient(f), c.sds[i])
		}
		sd := math.Sqrt(math.Max(0, quadraticForm(after, goal))) / deg
		if sd < worthAtAll*now {
			out = append(out, Observation{What: c.what, ShimSDNow: interval.Number(now), ShimSD: interval.Number(sd), ChangesTrim: c.trial, note: c.note})
		}
	}
	slices.SortStableFunc(out, func(a, b Observation) int { return cmp.Compare(a.ShimSD, b.ShimSD) })
	if len(out) > mostWorth {
		out = out[:mostWorth]
	}
	return out
}

// candidates are what could be found out about today's foil.
func (t *task) candidates() []candidate {
	share := func(v, raise float64) func(trim.Inputs) float64 {
		return func(in trim.Inputs) float64 { return in.Said(trim.NewFoil(in.Raise(raise)).At(v, trim.Gravity).FrontShare) }
	}
	lo, mid, top := t.w.Low, t.w.mid(), t.w.Top
	var cs []candidate
	for _, v := range []float64{lo, mid, top} {
		cs = append(cs, candidate{what: fmt.Sprintf("Note how the load feels on the feet at %s", t.speedText(v)), values: []func(trim.Inputs) float64{share(v, 0)}, sds: []float64{noteSD}, note: true})
	}
	if t.s.Rider.Level != "beginner" && t.s.Foil.Stabilizer.ShimSpan > 0 {
		card := t.direction()
		one := t.turn(card, 1)
		more := "more"
		if t.takesOut(card) {
			more = "less"
		}
		cs = append(cs, candidate{
			what: fmt.Sprintf("Ride once with one card %s under the stabilizer's %s and note the feel at %s, %s and %s",
				more, t.edge(card), t.speedText(lo), t.speedText(mid), t.speedText(top)),
			values: []func(trim.Inputs) float64{share(lo, one), share(mid, one), share(top, one)}, sds: []float64{noteSD, noteSD, noteSD}, trial: true})
	}
	if t.sdOf("foil.stabilizer.incidence_deg") > sharper*angleSD {
		cs = append(cs, candidate{what: "Measure the stabilizer's angle to the wing with an angle gauge on both chord lines, to 0.2°",
			values: []func(trim.Inputs) float64{func(in trim.Inputs) float64 { return in.StabIncidence }}, sds: []float64{angleSD}})
	}
	if t.sdOf("board.cg_cm") > sharper*balanceSD {
		cs = append(cs, candidate{what: "Balance the board with its foil on an edge and measure where, to 2 cm",
			values: []func(trim.Inputs) float64{func(in trim.Inputs) float64 { return in.BoardCG }}, sds: []float64{balanceSD}})
	}
	zero := func(in trim.Inputs) float64 { return zeroPitch(trim.NewFoil(in)) }
	incidence := func(in trim.Inputs) float64 { return in.WingIncidence }
	if !t.opt.LawOK {
		k := pitchSlope(trim.NewFoil(t.post.MAP))
		cs = append(cs, candidate{what: loggerWhat, values: []func(trim.Inputs) float64{func(in trim.Inputs) float64 { return pitchSlope(trim.NewFoil(in)) }}, sds: []float64{slopeSD * k}})
	} else if !t.post.CanUseLevelZero() {
		cs = append(cs, candidate{what: "Let the logger lie still for 10 s with the deck level before the ride, and measure the wing's angle to the deck to 0.3°",
			values: []func(trim.Inputs) float64{incidence, zero}, sds: []float64{0.3 * deg, levelSD}})
	}
	return cs
}

const loggerWhat = "Log a session with a motion sensor fixed to the board"

// withoutLogger says what a board logger would add.
func (t *task) withoutLogger() string {
	const from = "There is no pitch law from a board logger, so this comes from the setup, the model and the notes of feel."
	if !t.hasBest() {
		return from
	}
	cov := t.covariance()
	goal := t.gradient(func(in trim.Inputs) float64 { return t.w.best([]trim.Inputs{in}, anywhere).Raise })
	now := math.Sqrt(quadraticForm(cov, goal)) / deg
	k := pitchSlope(trim.NewFoil(t.post.MAP))
	update(cov, t.gradient(func(in trim.Inputs) float64 { return pitchSlope(trim.NewFoil(in)) }), slopeSD*k)
	then := math.Sqrt(math.Max(0, quadraticForm(cov, goal))) / deg
	if then > worthAtAll*now {
		return from + fmt.Sprintf(" A logger on the board would check the lift of the foil, but hardly narrow the stabilizer angle (± %.2f°, 90 %%): more notes of feel do.", interval.Z90*now)
	}
	return from + fmt.Sprintf(" A logger on the board would take the stabilizer angle from ± %.2f° to ± %.2f° (90 %%); notes of feel do more.",
		interval.Z90*now, interval.Z90*then)
}

// sdOf is the posterior 1σ (SI) of the unknown with a key of the setup; 0 when
// there is none.
func (t *task) sdOf(key string) float64 {
	for k, u := range t.post.Unknowns {
		if u.Key == key {
			return u.PriorSD * math.Sqrt(t.post.Cov[k][k])
		}
	}
	return 0
}

func (t *task) covariance() *mat.Dense {
	n := len(t.post.Cov)
	c := mat.NewDense(n, n, nil)
	for i, row := range t.post.Cov {
		c.SetRow(i, row)
	}
	return c
}

// gradient is ∂f/∂x at the MAP, per prior σ.
func (t *task) gradient(f func(trim.Inputs) float64) *mat.VecDense {
	return gradient(t.post, t.post.Mean, f)
}

func gradient(p *trim.Posterior, at []float64, f func(trim.Inputs) float64) *mat.VecDense {
	g := mat.NewVecDense(len(at), nil)
	x := slices.Clone(at)
	for k := range x {
		x[k] = at[k] + difference
		hi := f(p.At(x))
		x[k] = at[k] - difference
		lo := f(p.At(x))
		x[k] = at[k]
		if d := (hi - lo) / (2 * difference); finite(d) {
			g.SetVec(k, d)
		}
	}
	return g
}

func quadraticForm(c *mat.Dense, a *mat.VecDense) float64 { return mat.Inner(a, c, a) }

// update conditions the covariance on one observation a·x with 1σ sd:
//
//	Σ' = Σ - Σ a aᵀ Σ / (σ² + aᵀ Σ a)
func update(c *mat.Dense, a *mat.VecDense, sd float64) {
	var ca mat.VecDense
	ca.MulVec(c, a)
	c.RankOne(c, -1/(sd*sd+mat.Dot(a, &ca)), &ca, &ca)
}

// Sensitivity is how far each unknown moves the best stabilizer change,
// degrees per σ, in the order of p.Unknowns: the tornado.
func Sensitivity(p *trim.Posterior, w SpeedWeights) []Effect {
	w = w.clean()
	out := make([]Effect, len(p.Unknowns))
	if len(w.Speed) == 0 {
		for k, u := range p.Unknowns {
			out[k] = Effect{u.Name, math.NaN(), math.NaN()}
		}
		return out
	}
	raise := func(in trim.Inputs) float64 { return w.best([]trim.Inputs{in}, anywhere).Raise }
	before := gradient(p, make([]float64, len(p.Mean)), raise)
	after := gradient(p, p.Mean, raise)
	for k, u := range p.Unknowns {
		out[k] = Effect{u.Name, before.AtVec(k) / deg, after.AtVec(k) * math.Sqrt(p.Cov[k][k]) / deg}
	}
	return out
}
