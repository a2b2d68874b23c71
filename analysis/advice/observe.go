package advice

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// What an observation is worth: 1σ of each.
const (
	noteSD     = 0.07      // of a share that a rider feels
	nullSD     = 0.03      // of a share where it feels even, by the doubt of its speed
	angleSD    = 0.2 * deg // of an incidence measured with a gauge
	wingSD     = 0.3 * deg // of the wing's angle to the deck
	levelSD    = 0.4 * deg // of a level zero
	slopeSD    = 0.05      // of a logger's slope, relative, systematic part and all
	balanceSD  = 0.02      // m, of a board balanced on an edge
	nullStep   = 25 * mm   // between the foil's places of a null
	mostWorth  = 6         // that are listed
	worthAtAll = 0.98      // ratio of the doubt after to before
	sharper    = 1.2       // times a measurement's σ that the doubt must be for it to be worth making
)

// A candidate is an observation and what it would tell.
type candidate struct {
	Observation
	seen []trim.Observable
}

// observations ranks what to find out next by the doubt of the best
// stabilizer change that would be left.
func (t *task) observations() []Observation {
	goal := t.post.Derivative(nil, t.bestRaise)
	now := t.post.DoubtAfter(goal) / deg
	out := []Observation{}
	for _, c := range t.candidates() {
		sd := t.post.DoubtAfter(goal, c.seen...) / deg
		if sd < worthAtAll*now {
			c.ShimSDNow, c.ShimSD = interval.Number(now), interval.Number(sd)
			out = append(out, c.Observation)
		}
	}
	slices.SortStableFunc(out, func(a, b Observation) int { return cmp.Compare(a.ShimSD, b.ShimSD) })
	return out[:min(len(out), mostWorth)]
}

// bestRaise is the best turn of the stabilizer for one foil, rad.
func (o objective) bestRaise(in trim.Inputs) float64 {
	return o.best([]*flight{o.fly(in)}, Pair{}, anywhere).Raise
}

// note is the feel at a speed after a change of the trim.
func note(v float64, c trim.Change) trim.Observable {
	return trim.Observable{SD: noteSD, Of: func(in trim.Inputs) float64 {
		f := trim.NewFoil(in)
		p := f.Point(v, trim.Gravity)
		return in.Said(p.With(c).FrontShare)
	}}
}

// null is that the load feels even at a speed after a change of the trim.
func null(v float64, c trim.Change) trim.Observable {
	return trim.Observable{SD: nullSD, Of: func(in trim.Inputs) float64 {
		f := trim.NewFoil(in)
		p := f.Point(v, trim.Gravity)
		return p.With(c).FeltShare
	}}
}

// candidates are what could be found out about today's foil.
func (t *task) candidates() []candidate {
	var cs []candidate
	add := func(o Observation, seen ...trim.Observable) { cs = append(cs, candidate{o, seen}) }
	all := []float64{t.Low, t.mid(), t.Top}
	for _, v := range all {
		add(Observation{Kind: NoteFeel, Speeds: []float64{v}}, note(v, trim.Change{}))
	}
	if t.mayShim() {
		card := t.direction()
		c := trim.Change{Raise: t.turn(card, 1)}
		now, then := t.post.Interval(t.sharesWith(0, 0, t.Top)), t.post.Interval(t.sharesWith(card, 0, t.Top))
		add(Observation{Kind: RideCard, Speeds: all, Edge: t.edge(card), TakeOut: t.takesOut(card), ChangesTrim: true,
			Mount: t.s.Foil.Stabilizer.Mount, Now: &now, Then: &then},
			note(t.Low, c), note(t.mid(), c), note(t.Top, c))
	}
	if o, seen := t.nulls(); len(seen) > 1 {
		add(o, seen...)
	}
	if t.sdOf("foil.stabilizer.incidence_deg") > sharper*angleSD {
		add(Observation{Kind: MeasureAngle, SD: angleSD}, trim.Observable{SD: angleSD, Of: func(in trim.Inputs) float64 { return in.StabIncidence }})
	}
	if t.sdOf("board.cg_cm") > sharper*balanceSD {
		add(Observation{Kind: BalanceBoard, SD: balanceSD}, trim.Observable{SD: balanceSD, Of: func(in trim.Inputs) float64 { return in.BoardCG }})
	}
	if !t.opt.LawOK {
		add(Observation{Kind: LogMotion}, t.logger())
	} else if !t.post.CanUseLevelZero() {
		add(Observation{Kind: LevelLogger, SD: wingSD},
			trim.Observable{SD: wingSD, Of: func(in trim.Inputs) float64 { return in.WingIncidence }},
			trim.Observable{SD: levelSD, Of: func(in trim.Inputs) float64 {
				zero, _ := trim.NewFoil(in).Law(t.Low, t.Top)
				return zero
			}})
	}
	return cs
}

// nulls is the speed that feels even with the foil at three places, where the
// model finds such speeds among those that count.
func (t *task) nulls() (Observation, []trim.Observable) {
	o := Observation{Kind: FindNulls, ChangesTrim: true}
	var seen []trim.Observable
	f := trim.NewFoil(t.post.MAP)
	lo, hi := t.reach()
	for _, x := range []float64{-nullStep, 0, nullStep} {
		if x < lo || x > hi {
			continue
		}
		c := trim.Change{Foil: x}
		was := math.NaN()
		for _, v := range t.curveSpeeds() {
			p := f.Point(v, trim.Gravity)
			off := p.With(c).FeltShare - 0.5
			if was*off <= 0 {
				o.Places = append(o.Places, x)
				seen = append(seen, null(v, c))
				break
			}
			was = off
		}
	}
	return o, seen
}

// logger is the slope of the pitch law that a motion sensor would tell.
func (t *task) logger() trim.Observable {
	slope := func(in trim.Inputs) float64 {
		_, k := trim.NewFoil(in).Law(t.Low, t.Top)
		return k
	}
	return trim.Observable{Of: slope, SD: slopeSD * slope(t.post.MAP)}
}

// withoutLogger says what a board logger would add.
func (t *task) withoutLogger() Reason {
	r := Reason{Kind: NoLogger}
	if t.hasBest() {
		goal := t.post.Derivative(nil, t.bestRaise)
		r.Doubt, r.Then = interval.Z90*t.post.DoubtAfter(goal), interval.Z90*t.post.DoubtAfter(goal, t.logger())
	}
	return r
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

// Sensitivity is how far each unknown moves the best stabilizer change,
// degrees per σ, in the order of p.Unknowns: the tornado.
func Sensitivity(p *trim.Posterior, w SpeedWeights, level string) []Effect {
	o := objective{w.clean(), GradientWanted(level)}
	out := make([]Effect, len(p.Unknowns))
	if len(o.Speed) == 0 {
		for k, u := range p.Unknowns {
			out[k] = Effect{u.Name, math.NaN(), math.NaN()}
		}
		return out
	}
	before := p.Derivative(make([]float64, len(p.Mean)), o.bestRaise)
	after := p.Derivative(nil, o.bestRaise)
	for k, u := range p.Unknowns {
		out[k] = Effect{u.Name, before[k] / deg, after[k] * math.Sqrt(p.Cov[k][k]) / deg}
	}
	return out
}
