package advice

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter"
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

// note is what a rider may tell of a speed, m/s, and even whether the load feels so
// with the foil moved to a place, m.
func note(speed float64) trim.Load {
	return trim.Load{Kind: trim.NoteKind, Speed: speed, SD: noteSD}
}

func even(speed, place float64) trim.Load {
	return trim.Load{Kind: trim.NullKind, Speed: speed, SD: nullSD, Change: trim.Change{Foil: place}}
}

// toldBy is what every draw would let the rider tell, with cards fitted.
func (t *task) toldBy(l trim.Load, cards float64) []float64 {
	return t.after(cards, l.Change, func(f *flight, c trim.Change) float64 {
		own := l
		own.Change = c
		return own.Told(&f.foil, l.Speed)
	})
}

// A candidate is an observation and what it would tell.
type candidate struct {
	Observation
	seen []trim.Observable
}

// observations ranks what to find out next by the doubt of the best
// stabilizer change that would be left.
func (t *task) observations() []Observation {
	goal := t.post.Derivative(nil, t.bestRaise)
	k := t.wider(goal) / deg
	now := k * t.post.DoubtAfter(goal)
	out := []Observation{}
	for _, c := range t.candidates() {
		sd := k * t.post.DoubtAfter(goal, c.seen...)
		if sd < worthAtAll*now {
			c.ShimSDNow, c.ShimSD = interval.Number(now), interval.Number(sd)
			out = append(out, c.Observation)
		}
	}
	slices.SortStableFunc(out, func(a, b Observation) int { return cmp.Compare(a.ShimSD, b.ShimSD) })
	return out[:min(len(out), mostWorth)]
}

// wider is [Advice.Wider]; goal is the best turn's derivative.
func (t *task) wider(goal []float64) float64 {
	if linear := t.post.DoubtAfter(goal); len(t.bestEach) > 0 && t.hasBest() && linear > 0 {
		return stat.StdDev(t.raises(), t.post.Weights) / linear
	}
	return 1
}

// bestRaise is the best turn of the stabilizer for one foil, rad.
func (o objective) bestRaise(in trim.Inputs) float64 {
	return o.best([]*flight{o.fly(in)}, trim.Change{}, anywhere).Raise
}

// candidates are what could be found out about today's foil.
func (t *task) candidates() (cs []candidate) {
	add := func(o Observation, seen ...trim.Observable) { cs = append(cs, candidate{o, seen}) }
	measure := func(kind Kind, key string, sd float64, of func(in trim.Inputs) float64) {
		if t.sdOf(key) > sharper*sd {
			add(Observation{Kind: kind, SD: sd}, trim.Observable{SD: sd, Of: of})
		}
	}
	all := []float64{t.Low, t.mid(), t.Top}
	notes := func(raise float64) (seen []trim.Observable) {
		for _, v := range all {
			l := note(v)
			l.Change.Raise = raise
			seen = append(seen, l.Observable())
		}
		return seen
	}
	for k, o := range notes(0) {
		add(Observation{Kind: NoteFeel, Speeds: all[k : k+1]}, o)
	}
	if t.mayShim() {
		card := t.direction()
		now, then := t.post.Interval(t.sharesWith(0, 0, t.Top)), t.post.Interval(t.sharesWith(card, 0, t.Top))
		o := t.withCard(RideCard, all)
		o.Now, o.Then = &now, &then
		add(o, notes(t.turn(card, 1))...)
	}
	if o, seen := t.nulls(); len(seen) > 1 {
		add(o, seen...)
	}
	measure(MeasureAngle, "foil.stabilizer.incidence_deg", angleSD, func(in trim.Inputs) float64 { return in.StabIncidence })
	measure(BalanceBoard, "board.cg_cm", balanceSD, func(in trim.Inputs) float64 { return in.BoardCG })
	if !t.opt.LawOK {
		add(Observation{Kind: LogMotion}, t.logger())
	} else if !t.post.CanUseLevelZero() {
		kind := LevelLogger
		if t.post.Rested() {
			kind = WingAngle
		}
		add(Observation{Kind: kind, SD: wingSD},
			trim.Observable{SD: wingSD, Of: func(in trim.Inputs) float64 { return in.WingIncidence }},
			trim.Observable{SD: levelSD, Of: func(in trim.Inputs) float64 {
				zero, _ := trim.NewFoil(in).Law(t.Low, t.Top)
				return zero
			}})
	}
	return cs
}

// withCard is an observation with one card more in the direction of need.
func (t *task) withCard(kind Kind, speeds []float64) Observation {
	card := t.direction()
	return Observation{Kind: kind, Speeds: speeds, Edge: t.edge(card), TakeOut: t.takesOut(card), Mount: t.s.Foil.Stabilizer.Mount, ChangesTrim: true}
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
		was := math.NaN()
		for _, v := range t.curveSpeeds() {
			l := even(v, x)
			off := l.Told(&f, v) - 0.5
			if was*off <= 0 {
				o.Places, seen = append(o.Places, x), append(seen, l.Observable())
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
		k := interval.Z90 * t.wider(goal)
		r.Doubt, r.Then = k*t.post.DoubtAfter(goal), k*t.post.DoubtAfter(goal, t.logger())
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

// bestBy is how the best turn of the stabilizer goes with each unknown, at x as
// [trim.Posterior.Derivative] has it; nil without speeds or foils.
func bestBy(p *trim.Posterior, w SpeedWeights, level string, x []float64) []float64 {
	o := objective{w.clean(), GradientWanted(level)}
	if len(o.Speed) == 0 || len(p.Draws) == 0 {
		return nil
	}
	return p.Derivative(x, o.bestRaise)
}

// Sensitivity is how far each unknown moves the best stabilizer change, degrees per
// σ of its prior before the evidence and of its posterior after, in the order of
// p.Unknowns: the tornado. NaN without speeds or foils.
func Sensitivity(p *trim.Posterior, w SpeedWeights, level string) (before, after []float64) {
	before, after = bestBy(p, w, level, make([]float64, len(p.Mean))), bestBy(p, w, level, nil)
	if before == nil {
		nan := slices.Repeat([]float64{math.NaN()}, len(p.Unknowns))
		return nan, nan
	}
	for k := range before {
		before[k] /= deg
		after[k] *= math.Sqrt(p.Cov[k][k]) / deg
	}
	return before, after
}

// A Measurement is a value that the setup leaves to its default, and 1σ (deg)
// of the best stabilizer change now and once it is measured and written down.
type Measurement struct {
	Key       *setup.Key
	Now, Then float64
}

// gauged are the keys that an [Observation] says how to measure, and better.
var gauged = []string{"foil.stabilizer.incidence_deg", "board.cg_cm"}

// Measurements rank the keys that are not given by the doubt of the best
// stabilizer change that each would take away, the most first, and tell its 1σ now
// (deg; 0 without speeds or foils). A value that is given is known to [setup.Prior]
// Given instead of Default; in between lies an observation of 1σ s with
// 1/s² = 1/given² - 1/default².
func Measurements(p *trim.Posterior, s *setup.Setup, w SpeedWeights) (out []Measurement, now float64) {
	goal := bestBy(p, w, s.Rider.Level, nil)
	if goal == nil {
		return nil, 0
	}
	now = p.DoubtAfter(goal) / deg
	for i, u := range p.Unknowns {
		k := setup.KeyNamed(u.Key)
		if k == nil || !u.Default || !(k.Prior.Default > k.Prior.Given) || slices.Contains(gauged, k.Name) ||
			k.Name == "foil.wing.incidence_deg" && p.Rested() { // which is a [WingAngle]
			continue
		}
		ratio := k.Prior.Given / k.Prior.Default
		own := make([]float64, len(goal))
		own[i] = 1
		out = append(out, Measurement{k, now, p.DoubtAfter(goal, trim.Observable{By: own, SD: ratio / math.Sqrt(1-ratio*ratio)}) / deg})
	}
	slices.SortStableFunc(out, func(a, b Measurement) int { return cmp.Compare(a.Then, b.Then) })
	return out, now
}

// Questions picks up to n of the speeds, m/s, of moments at which to ask for the
// feel: each in turn the one whose answer would leave the least doubt.
func Questions(p *trim.Posterior, s *setup.Setup, w SpeedWeights, speeds []float64, n int) (picked []int) {
	goal := bestBy(p, w, s.Rider.Level, nil)
	if goal == nil {
		return nil
	}
	notes := make([]trim.Observable, len(speeds))
	filter.Each(len(notes), func(i int) {
		notes[i] = note(speeds[i]).Observable()
		notes[i].By = p.Derivative(nil, notes[i].Of)
	})
	var seen []trim.Observable
	for range n {
		best, least := -1, math.Inf(1)
		for i := range notes {
			if slices.Contains(picked, i) {
				continue
			}
			if d := p.DoubtAfter(goal, append(seen, notes[i])...); d < least-1e-12 {
				best, least = i, d
			}
		}
		if best < 0 {
			break
		}
		picked, seen = append(picked, best), append(seen, notes[best])
	}
	return picked
}
