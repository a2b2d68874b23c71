package advice

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/trim"
)

// TestStepsHelp: of the steps that are advised to simulated riders, nearly all
// make the true load more even, and the verdict "cannot balance" is true.
func TestStepsHelp(t *testing.T) {
	riders := 20
	if *long {
		riders = 600
	}
	rng := rand.New(rand.NewPCG(5, 5))
	verdicts := map[string]int{}
	steps, better, cards, cardsRight := 0, 0, 0, 0
	cannot, cannotTrue := 0, 0
	for i := range riders {
		s := randomGear(rng)
		w := flightSpeeds(s).clean()
		truth, o := simulated(t, rng, s, w, i%5, false)
		p := infer(t, o)
		a := Advise(p, s, w, Options{LawOK: o.Ev.HasLaw})
		verdicts[a.Verdict]++
		switch a.Verdict {
		case Change:
			steps++
			task := newTask(p, s, w, Options{})
			f := w.fly(truth)
			if task.evenness(f, a.Step) < task.evenness(f, trim.Change{}) {
				better++
			}
			if a.Cards != 0 {
				cards++
				if task.objective.best([]*flight{w.fly(truth)}, trim.Change{}, task.reachable()).Raise*a.Cards > 0 {
					cardsRight++
				}
			}
		case CannotBalance:
			cannot++
			task := newTask(p, s, w, Options{})
			f := w.fly(truth)
			b := task.objective.best([]*flight{f}, trim.Change{}, task.reachable())
			if task.evenness(f, b) > 0.6*unevenAtBest {
				cannotTrue++
			}
		}
	}
	t.Logf("verdicts %v; %d of %d steps help; %d of %d cards go the right way; %d of %d true cannot balance",
		verdicts, better, steps, cardsRight, cards, cannotTrue, cannot)
	if float64(better) < 0.85*float64(steps) || steps < riders/6 {
		t.Errorf("%d of %d steps help", better, steps)
	}
	if float64(cardsRight) < 0.9*float64(cards) {
		t.Errorf("%d of %d cards go the right way", cardsRight, cards)
	}
	if float64(cannotTrue) < 0.8*float64(cannot) {
		t.Errorf("%d of %d cannot balance", cannotTrue, cannot)
	}
}

// TestObservationsComeTrue: what the ranking says of each observation is what
// happens when a simulated rider makes it: the posterior's doubt after, and
// the true error of the best shim.
func TestObservationsComeTrue(t *testing.T) {
	worlds := 20
	if *long {
		worlds = 300
	}
	s := gear()
	start := infer(t, outingOf(s))
	w := speeds.clean()
	task := newTask(start, s, w, Options{LawOK: false})
	type key struct {
		kind  Kind
		speed float64
	}
	listed := map[key]float64{}
	for _, o := range task.observations() {
		k := key{kind: o.Kind}
		if o.Kind == NoteFeel {
			k.speed = o.Speeds[0]
		}
		listed[k] = float64(o.ShimSD)
	}
	rng := rand.New(rand.NewPCG(8, 1))
	one := task.turn(task.direction(), 1)
	noteAt := func(truth trim.Inputs, v float64) trim.Outing {
		o := told(gear(), truth, noteSD, v)
		o.Ev.HasLaw = false
		o.Ev.Feel[0].Share += noteSD * rng.NormFloat64()
		return o
	}
	cases := []struct {
		what key
		do   func(truth trim.Inputs) *trim.Posterior
	}{
		{key{NoteFeel, w.Top}, func(truth trim.Inputs) *trim.Posterior { return infer(t, noteAt(truth, w.Top)) }},
		{key{NoteFeel, w.mid()}, func(truth trim.Inputs) *trim.Posterior { return infer(t, noteAt(truth, w.mid())) }},
		{key{kind: RideCard}, func(truth trim.Inputs) *trim.Posterior {
			e := gear()
			e.Foil.Stabilizer.Shim = trim.Card
			o := told(e, truth.Raise(one), noteSD, w.Low, w.mid(), w.Top)
			o.Ev.HasLaw = false
			for i := range o.Ev.Feel {
				o.Ev.Feel[i].Share += noteSD * rng.NormFloat64()
			}
			return infer(t, outingOf(gear()), o)
		}},
	}
	for _, c := range cases {
		want, ok := listed[c.what]
		if !ok {
			t.Errorf("not listed: %v; the list is %v", c.what, listed)
			continue
		}
		var sds, errs []float64
		for range worlds {
			z := make([]float64, len(start.Mean))
			for k := range z {
				z[k] = rng.NormFloat64()
			}
			truth := start.At(z)
			p := c.do(truth)
			var raise []float64
			then := newTask(p, s, w, Options{})
			for _, q := range then.objective.bestEach(then.draws, then.best, anywhere) {
				raise = append(raise, q.Raise/deg)
			}
			m, sd := stat.MeanStdDev(raise, p.Weights)
			sds = append(sds, sd)
			errs = append(errs, m-Best(truth, w, s.Rider.Level).Raise/deg)
		}
		sd, rmse := stat.Mean(sds, nil), math.Sqrt(stat.MomentAbout(2, errs, 0, nil))
		t.Logf("%v: foretold %.2f°, posterior %.2f°, true error %.2f°", c.what, want, sd, rmse)
		if math.Abs(sd/want-1) > 0.25 {
			t.Errorf("%v: foretold ± %.2f°, it came to ± %.2f°", c.what, want, sd)
		}
		if math.Abs(rmse/want-1) > 0.25+2/math.Sqrt(float64(2*worlds)) {
			t.Errorf("%v: foretold ± %.2f°, the true error is %.2f°", c.what, want, rmse)
		}
	}
}
