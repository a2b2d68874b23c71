package advice

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// only are the setups that are swept, as "3,17"; all when empty.
var only = flag.String("only", "", "sweep these setups only, comma-separated")

// quickDraws are what a quick run infers from, 0 in full: as many as the program
// does. Fewer scatter more, so that a quick run is held to no less.
func quickDraws(n int) int {
	if *long {
		return 0
	}
	return n
}

// kindOf is what an answer tells a rider to do, without sizes.
func kindOf(a *Advice) string {
	sign := func(v float64) string {
		switch {
		case v > 0:
			return "+"
		case v < 0:
			return "-"
		}
		return "0"
	}
	if a.Verdict != Change {
		return a.Verdict
	}
	return "card " + sign(a.Cards) + " move " + sign(float64(a.MoveNow)-float64(a.FeetNow))
}

// opposite says that two answers send a card or the foil opposite ways.
func opposite(a, b *Advice) bool {
	return a.Cards*b.Cards < 0 || float64(a.MoveNow-a.FeetNow)*float64(b.MoveNow-b.FeetNow) < 0
}

// TestNeighboursAgree: inputs that go in small steps (the wing's position, the
// top speed, the number of equal notes, the base of the shim) never send the
// next step the other way from one to the next, and change the kind of the
// answer twice at most. The full study sweeps 300 setups.
func TestNeighboursAgree(t *testing.T) {
	setups := 3
	if *long {
		setups = 300
	}
	rng := rand.New(rand.NewPCG(11, 4))
	sweeps := map[string]func(s *setup.Setup, w *SpeedWeights, notes *int, k float64){
		"wing position": func(s *setup.Setup, _ *SpeedWeights, _ *int, k float64) { s.Foil.Wing.Ahead += 0.02 * (k - 0.5) },
		"top speed":     func(_ *setup.Setup, w *SpeedWeights, _ *int, k float64) { *w = Uniform(w.Low, w.Top*(0.9+0.2*k)) },
		"notes":         func(_ *setup.Setup, _ *SpeedWeights, n *int, k float64) { *n = 1 + int(math.Round(7*k)) },
		"shim base":     func(s *setup.Setup, _ *SpeedWeights, _ *int, k float64) { s.Foil.Stabilizer.ShimSpan *= 0.85 + 0.3*k },
	}
	flips, restless, total := 0, 0, 0
	for n := range setups {
		s := randomGear(rng)
		w := flightSpeeds(s).clean()
		_, o := simulated(t, rng, s, w, 4, false)
		if *only != "" && !strings.Contains(","+*only+",", fmt.Sprintf(",%d,", n)) {
			continue
		}
		for name, change := range sweeps {
			const points = 8
			var was *Advice
			kinds := 0
			trail := ""
			for i := range points {
				one, at, notes := *s, w, 0
				change(&one, &at, &notes, float64(i)/(points-1))
				q := trim.Outing{Setup: &one, In: trim.FromSetup(&one, density, viscosity), Ev: o.Ev}
				if notes > 0 {
					q.Ev.Feel = nil
					for range notes {
						q.Ev.Feel = append(q.Ev.Feel, o.Ev.Feel[2])
					}
				}
				p, err := trim.Infer(q, nil, quickDraws(400))
				if err != nil {
					t.Fatal(err)
				}
				a := &Advice{Verdict: NotEnough, ChanceBetter: interval.Number(math.NaN())}
				newTask(p, &one, at, Options{LawOK: o.Ev.HasLaw}).decide(a) // what [Advise] decides, without the rest
				trail += fmt.Sprintf(" %s (%.2f);", kindOf(a), a.ChanceBetter)
				if was != nil && kindOf(was) != kindOf(a) {
					kinds++
				}
				if was != nil && opposite(was, a) {
					flips++
					t.Errorf("setup %d, %s: the other way:%s", n, name, trail)
				}
				was = a
			}
			total++
			if kinds > 2 {
				restless++
				t.Errorf("setup %d, %s: %d changes of kind:%s", n, name, kinds, trail)
			}
		}
	}
	t.Logf("%d sweeps: %d flips, %d with more than two changes of kind", total, flips, restless)
}

// TestChancesHold: the stated chance that a step makes the load more even, as
// that rider feels it, is never more than 2 points above how often it does, nor
// more than 10 below (in full; a short run has the binomial error on top).
func TestChancesHold(t *testing.T) {
	t.Run("riders with a zero and a scale", func(t *testing.T) { chancesHold(t, true) })
	t.Run("riders without", func(t *testing.T) { chancesHold(t, false) })
}

func chancesHold(t *testing.T, rider bool) {
	riders := 10
	if *long {
		riders = 1000
	}
	rng := rand.New(rand.NewPCG(77, 3))
	type bin struct {
		n, helped int
		stated    float64
	}
	bins := map[string]*bin{"80-90": {}, "90-97": {}, "above": {}}
	verdicts := map[string]int{}
	kinds := map[string]int{}
	for i := range riders {
		s := randomGear(rng)
		s.Rider.Level = []string{"beginner", "intermediate", "advanced"}[i%3]
		w := flightSpeeds(s).clean()
		truth, o := simulatedRider(t, rng, s, w, 4, i%2 == 1, rider)
		p, err := trim.Infer(o, nil, quickDraws(200))
		if err != nil {
			t.Fatal(err)
		}
		a := Advise(p, s, w, Options{LawOK: o.Ev.HasLaw})
		verdicts[a.Verdict]++
		if a.Verdict != Change {
			continue
		}
		switch {
		case a.Cards != 0 && float64(a.MoveNow)-float64(a.FeetNow) != 0:
			kinds["both"]++
		case a.Cards != 0:
			kinds["card"]++
		default:
			kinds["move"]++
		}
		ob := objective{w, GradientWanted(s.Rider.Level)}
		f := ob.fly(truth)
		name := "above"
		switch c := float64(a.ChanceBetter); {
		case c < 0.9:
			name = "80-90"
		case c < 0.97:
			name = "90-97"
		}
		b := bins[name]
		b.n++
		b.stated += float64(a.ChanceBetter)
		if ob.evenness(f, a.Step) < ob.evenness(f, trim.Change{}) {
			b.helped++
		}
	}
	t.Logf("verdicts %v, steps %v", verdicts, kinds)
	for _, name := range []string{"80-90", "90-97", "above"} {
		b := bins[name]
		if b.n == 0 {
			continue
		}
		stated, true1 := 100*b.stated/float64(b.n), 100*float64(b.helped)/float64(b.n)
		t.Logf("stated %-6s %4d steps: stated %.1f %%, helped %.1f %%", name, b.n, stated, true1)
		slack := 0.0
		if !*long {
			slack = 100 * 3 * math.Sqrt(0.1/float64(b.n))
		}
		if stated > true1+2+slack || stated < true1-10-slack {
			t.Errorf("%s: %.1f %% stated, %.1f %% of %d helped", name, stated, true1, b.n)
		}
	}
}
