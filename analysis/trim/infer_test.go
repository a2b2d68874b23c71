package trim

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/setup"
)

func gear() *setup.Setup {
	s := &setup.Setup{
		Rider:  setup.Rider{Name: "Ines", Mass: 80, Height: 1.78, Level: "advanced"},
		Stance: setup.Stance{Front: 0.33, Back: -0.20, Fixed: true},
		Board:  setup.Board{Mass: 11, CG: 0.10, DeckHeight: 0.10},
		Rig:    setup.Rig{Kind: "wing", LiftFraction: 0.08},
		Foil: setup.Foil{
			Flex: 2e-5, Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
			Wing: setup.Wing{Area: 0.13, Span: 0.95, Ahead: 0.10, CamberPercent: 3, ThicknessRatio: 0.12, Incidence: deg},
			Stabilizer: setup.Stabilizer{Area: 0.022, Span: 0.40, BehindWing: 0.70, ThicknessRatio: 0.10,
				Incidence: -1.5 * deg, Mount: "top", ShimSpan: 0.05},
		},
	}
	s.SetGiven("foil.stabilizer.incidence_deg", "foil.wing.camber_percent", "foil.wing.incidence_deg", "board.cg_cm", "rig.lift_fraction")
	return s
}

func outingOf(s *setup.Setup) Outing {
	return Outing{Setup: s, In: FromSetup(s, 1025.5, 1.1e-6), Ev: Evidence{Feel: s.Feel}}
}

// withLaw adds the pitch law of a true foil, 3 % slope error.
func withLaw(o Outing, truth Inputs) Outing {
	zero, k := NewFoil(truth).Law(0, 0)
	o.Ev.HasLaw, o.Ev.Slope, o.Ev.Zero = true, k, zero
	o.Ev.Cov = [2][2]float64{{1e-5, -2e-5 * k}, {-2e-5 * k, 0.03 * 0.03 * k * k}}
	return o
}

func notes(truth Inputs, sd float64, speeds ...float64) []setup.Feel {
	var out []setup.Feel
	f := NewFoil(truth)
	for _, v := range speeds {
		out = append(out, setup.Feel{Speed: v, Share: truth.Said(f.At(v, Gravity).FrontShare), SD: sd})
	}
	return out
}

func mustInfer(t testing.TB, o Outing, earlier ...Outing) *Posterior {
	t.Helper()
	p, err := Infer(o, earlier, Draws)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestMetropolis holds MAP, covariance and draws against an independent
// sampler: a long random walk on the same posterior density.
func TestMetropolis(t *testing.T) {
	s := gear()
	base := FromSetup(s, 1025.5, 1.1e-6)
	truth := base.Raise(0.8 * deg)
	truth.CamberPercent -= 0.8
	s.Feel = notes(truth, 0.06, 6, 8, 10, 12)
	s.Feel[3].Said = "strong front" // the density has a kink: the draws must follow it
	o := withLaw(outingOf(s), truth)
	o.Ev.LevelZero = true
	p, err := Infer(o, nil, 4000)
	if err != nil {
		t.Fatal(err)
	}
	quantities := map[string]func(Inputs) float64{
		"share at 6":   func(in Inputs) float64 { return NewFoil(in).At(6, Gravity).FrontShare },
		"share at 12":  func(in Inputs) float64 { return NewFoil(in).At(12, Gravity).FrontShare },
		"zero-lift":    func(in Inputs) float64 { return NewFoil(in).StabSetting },
		"camber":       func(in Inputs) float64 { return in.CamberPercent },
		"lift area":    func(in Inputs) float64 { return NewFoil(in).At(9, Gravity).LiftArea },
		"pitch at 9":   func(in Inputs) float64 { return NewFoil(in).At(9, Gravity).Pitch },
		"gradient 12":  func(in Inputs) float64 { return NewFoil(in).Gradient(12) },
		"felt at 12":   func(in Inputs) float64 { return NewFoil(in).At(12, Gravity).FeltShare },
		"zero":         func(in Inputs) float64 { return in.RiderZero },
		"scale":        func(in Inputs) float64 { return in.RiderScale },
		"flex":         func(in Inputs) float64 { return in.FuselageFlex },
		"wing at mast": func(in Inputs) float64 { return in.WingX },
	}
	prob := p.problem
	n := len(prob.params)
	rng := rand.New(rand.NewPCG(99, 1))
	x := make([]float64, n)
	y := make([]float64, n)
	cost := prob.cost(x)
	steps, burn, accepted := 300000, 30000, 0
	chains := map[string][]float64{}
	for i := range steps {
		for k := range x {
			y[k] = x[k] + 0.35*rng.NormFloat64()
		}
		if c := prob.cost(y); math.Log(rng.Float64()) < cost-c {
			copy(x, y)
			cost = c
			accepted++
		}
		if i >= burn && i%10 == 0 {
			in := prob.inputs(0, x)
			for name, f := range quantities {
				chains[name] = append(chains[name], f(in))
			}
		}
	}
	t.Logf("accepted %.2f, effective weights %.2f", float64(accepted)/float64(steps), p.Effective())
	for name, f := range quantities {
		chain := chains[name]
		m, sd := stat.MeanStdDev(chain, nil)
		// The sampler's own error, by batch means.
		var batches []float64
		const parts = 30
		for b := range parts {
			batches = append(batches, stat.Mean(chain[b*len(chain)/parts:(b+1)*len(chain)/parts], nil))
		}
		se := stat.StdDev(batches, nil) / math.Sqrt(parts)
		gm, gsd := stat.MeanStdDev(p.Each(f), p.Weights)
		t.Logf("%-13s walk %.5f ± %.5f (error %.5f), draws %.5f ± %.5f", name, m, sd, se, gm, gsd)
		if math.Abs(gm-m) > 4*se+0.06*sd {
			t.Errorf("%s: mean %.5g, the random walk has %.5g ± %.2g", name, gm, m, se)
		}
		if math.Abs(gsd/sd-1) > 0.10 {
			t.Errorf("%s: σ %.5g, the random walk has %.5g", name, gsd, sd)
		}
	}
}

func TestPriorAlone(t *testing.T) {
	p := mustInfer(t, outingOf(gear()))
	for k, u := range p.Unknowns {
		if p.Mean[k] != 0 || math.Abs(p.Cov[k][k]-1) > 1e-9 {
			t.Errorf("%s: mean %g, variance %g without evidence", u.Name, p.Mean[k], p.Cov[k][k])
		}
	}
	if len(p.Conflicts) != 0 || p.Widened != 1 || len(p.Draws) != Draws {
		t.Errorf("conflicts %v, widened %g, %d draws", p.Conflicts, p.Widened, len(p.Draws))
	}
}

// A default is wider than a value that somebody gave.
func TestDefaultsAreWider(t *testing.T) {
	s := gear()
	given := mustInfer(t, outingOf(s))
	bare := setup.Setup{Rider: s.Rider, Stance: s.Stance, Board: s.Board, Rig: s.Rig, Foil: s.Foil}
	wide := mustInfer(t, outingOf(&bare))
	wider := 0
	for k, u := range given.Unknowns {
		d := wide.Unknowns[k]
		if d.PriorSD < u.PriorSD {
			t.Errorf("%s: σ %g as a default, %g when given", u.Name, d.PriorSD, u.PriorSD)
		}
		if d.PriorSD > u.PriorSD {
			wider++
			if !d.Default {
				t.Errorf("%s: not marked as a default", u.Name)
			}
		}
	}
	if wider < 4 {
		t.Errorf("only %d unknowns are wider as defaults", wider)
	}
}

// Earlier sessions, each at its own shim and mast position, narrow the
// posterior about the truth; another foil is left out and named.
func TestEarlierSessions(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6).Raise(-0.8 * deg)
	s.Feel = notes(truth, 0.06, 7, 11)
	today := withLaw(outingOf(s), truth)
	alone := mustInfer(t, today)

	e := *gear()
	e.Title = "first shim"
	e.Foil.Stabilizer.Shim = Card
	e.Stance.Front, e.Stance.Back = 0.31, -0.22
	et := Transfer(truth, today.In, FromSetup(&e, 1025.5, 1.1e-6))
	e.Feel = notes(et, 0.06, 6, 9, 12)
	both := mustInfer(t, today, withLaw(outingOf(&e), et))

	setting := func(in Inputs) float64 { return NewFoil(in).At(12, Gravity).FrontShare }
	m1, sd1 := stat.MeanStdDev(alone.Each(setting), alone.Weights)
	m2, sd2 := stat.MeanStdDev(both.Each(setting), both.Weights)
	want := setting(truth)
	t.Logf("share at 12 m/s: %.3f ± %.3f alone, %.3f ± %.3f with the earlier session, truth %.3f", m1, sd1, m2, sd2, want)
	if sd2 > 0.85*sd1 {
		t.Errorf("σ %.3f alone, %.3f with an earlier session", sd1, sd2)
	}
	if math.Abs(m2-want) > 2*sd2 {
		t.Errorf("share %.3f ± %.3f, truth %.3f", m2, sd2, want)
	}

	other := e
	other.Foil.Wing.Area = 0.09
	p := mustInfer(t, today, outingOf(&other))
	var why *setup.Trouble
	if len(p.LeftOut) != 1 || !errors.As(p.LeftOut[0].Why, &why) || why.Kind != OtherFoil || why.Text[0] != "foil.wing.area_cm2" || why.Values[1] != 0.09 {
		t.Errorf("left out %v", p.LeftOut)
	}
}

func TestConflicts(t *testing.T) {
	find := func(p *Posterior, kind Kind) Conflict {
		for _, c := range p.Conflicts {
			if c.Kind == kind {
				return c
			}
		}
		return Conflict{}
	}
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)

	t.Run("a slope that no sensible lift area gives", func(t *testing.T) {
		wrong := truth
		wrong.WingArea /= 2
		p := mustInfer(t, withLaw(outingOf(s), wrong))
		c := find(p, SlopeKind)
		if c.Sigmas < 4 || p.Widened < 2 {
			t.Errorf("conflicts %v, widened %g", p.Conflicts, p.Widened)
		}
		near(t, "stated lift area", c.Stated, NewFoil(truth).At(9, Gravity).LiftArea, 0.02)
		near(t, "asked lift area", c.Asked, NewFoil(wrong).At(9, Gravity).LiftArea, 0.02)
	})
	t.Run("contradictory notes", func(t *testing.T) {
		o := outingOf(s)
		o.Ev.Feel = []setup.Feel{{Speed: 9, Share: 0.75, SD: 0.10, Said: "strong front"}, {Speed: 9.2, Share: 0.25, SD: 0.10, Said: "strong back"}}
		p := mustInfer(t, o)
		if c := find(p, NotePairKind); c.Sigmas < 3 || p.Widened <= 1.5 || c.Speed != 9.2 || c.Asked != 0.25 || c.OtherSpeed != 9 || c.OtherShare != 0.75 {
			t.Errorf("conflicts %v, widened %g", p.Conflicts, p.Widened)
		}
	})
	t.Run("what is in conflict is in doubt", func(t *testing.T) {
		o := outingOf(s)
		o.Ev.Feel = []setup.Feel{{Speed: 9, Share: 0.65, SD: 0.06}, {Speed: 9.2, Share: 0.35, SD: 0.06}}
		p, err := Infer(o, nil, 2000)
		if err != nil || p.Widened < 3 {
			t.Fatalf("error %v, widened %g", err, p.Widened)
		}
		felt := func(in Inputs) float64 { return NewFoil(in).At(9, Gravity).FeltShare }
		near(t, "σ of the draws over the covariance's", sdOf(p, felt)/p.DoubtAfter(p.Derivative(nil, felt)), 1, 0.4)
	})
	t.Run("one note out of line", func(t *testing.T) {
		o := outingOf(s)
		o.Ev.Feel = notes(truth, 0.05, 6, 7, 8, 9, 10, 11)
		o.Ev.Feel[2].Share -= 0.35
		p := mustInfer(t, o)
		if c := find(p, NoteKind); c.Sigmas < 3 || p.Widened <= 1 || c.Speed != 8 || c.Stated < c.Asked+0.2 {
			t.Errorf("conflicts %v, widened %g", p.Conflicts, p.Widened)
		}
	})
	t.Run("a level zero that cannot be", func(t *testing.T) {
		o := withLaw(outingOf(s), truth)
		o.Ev.LevelZero = true
		o.Ev.Zero += 5 * deg
		c := find(mustInfer(t, o), ZeroKind)
		if c.Sigmas < 4 {
			t.Errorf("conflict %v", c)
		}
		near(t, "asked over stated, deg", (c.Asked-c.Stated)/deg, 5, 0.1)
	})
	t.Run("measured against marked", func(t *testing.T) {
		o := outingOf(s)
		for _, v := range []float64{6, 8, 10, 12} {
			o.Ev.Loads = append(o.Ev.Loads, Load{Kind: MeasuredKind, Speed: v, Value: NewFoil(truth).At(v, Gravity).FrontShare, SD: 0.02})
		}
		f := NewFoil(truth.MoveFoil(0.1))
		o.Ev.Loads = append(o.Ev.Loads, Load{Kind: MeasuredKind, Speed: 9, Value: f.At(9, Gravity).FrontShare - 0.3, Change: Change{Foil: 0.1}, SD: 0.02})
		if c := find(mustInfer(t, o), MeasuredKind); c.Speed != 9 || c.Sigmas < 4 {
			t.Errorf("conflict %v", c)
		}
	})
	t.Run("an unknown in its key's own terms", func(t *testing.T) {
		in := truth
		in.Shim, in.ShimSpan = 2*Card, 0.05
		p := problem{outings: []Outing{{In: in}}}
		for key, c := range map[string]struct{ centre, v, asked, stated float64 }{
			"foil.wing.ahead_cm": {0.10, -0.03, 0.07, 0.10},
			// The key is without the shim.
			"foil.stabilizer.incidence_deg": {-1*deg + ShimAngle(2*Card, 0.05), 2 * deg, 1 * deg, -1 * deg},
			"foil.stabilizer.shim_mm":       {0, 0.25, 2.5 * Card, 2 * Card},
		} {
			got := p.strain(parameter{name: key, key: key, centre: c.centre, sd: 1, given: true}, c.v, 5)
			near(t, key+" asked", got.Asked, c.asked, 1e-12)
			near(t, key+" stated", got.Stated, c.stated, 1e-12)
			if got.Unknown.Key != key || got.Unknown.Default || got.Sigmas != 5 {
				t.Errorf("%+v", got)
			}
		}
	})
	t.Run("honest evidence", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(3, 3))
		named, widened := 0, 0
		for range 100 {
			prior := mustInfer(t, outingOf(s))
			x := make([]float64, len(prior.Mean))
			for k := range x {
				x[k] = rng.NormFloat64()
			}
			c := *s
			c.Feel = notes(prior.At(x), 0.07, 6, 9, 12)
			for i := range c.Feel {
				c.Feel[i].Share += 0.07 * rng.NormFloat64()
			}
			o := withLaw(outingOf(&c), prior.At(x))
			o.Ev.Slope += math.Sqrt(o.Ev.Cov[1][1]) * rng.NormFloat64()
			p := mustInfer(t, o)
			if len(p.Conflicts) > 0 {
				named++
			}
			if p.Widened > 1 {
				widened++
			}
		}
		t.Logf("of 100 honest riders %d had a conflict named and %d were widened", named, widened)
		if named > 5 || widened > 12 {
			t.Errorf("of 100 honest riders %d had a conflict named and %d were widened", named, widened)
		}
	})
}

// Draws and MAP do not change from run to run.
func TestFixedSeed(t *testing.T) {
	a, b := mustInfer(t, outingOf(gear())), mustInfer(t, outingOf(gear()))
	for i := range a.Draws {
		if a.Draws[i] != b.Draws[i] {
			t.Fatalf("draw %d differs", i)
		}
	}
}

func TestRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Inputs){
		"rider.mass_kg":          func(in *Inputs) { in.RiderMass = 0 },
		"foil.wing.area_cm2":     func(in *Inputs) { in.WingArea = -0.1 },
		"foil.stabilizer.behind": func(in *Inputs) { in.StabArm = 0 },
		"stance.front_cm":        func(in *Inputs) { in.BackFoot = in.FrontFoot },
		"water density":          func(in *Inputs) { in.Density = math.NaN() },
	} {
		o := outingOf(gear())
		spoil(&o.In)
		if _, err := Infer(o, nil, Draws); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := Infer(Outing{}, nil, Draws); err == nil {
		t.Error("no setup: no error")
	}
}

// A note whose speed is in doubt, by a current say, weighs less.
func TestNoteSpeedDoubt(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	s.Feel = notes(truth, 0.05, 12)
	sd := func(speedSD float64) float64 {
		o := outingOf(s)
		o.Ev.NoteSpeedSD = speedSD
		return sdOf(mustInfer(t, o), func(in Inputs) float64 { return NewFoil(in).At(12, Gravity).FeltShare })
	}
	if sharp, dull := sd(0), sd(1.5); !(dull > 1.2*sharp) {
		t.Errorf("σ %.3f with a sure speed, %.3f with one in doubt", sharp, dull)
	}
}

// A strong word leaves its outer side open.
func TestStrongWords(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6).Raise(-1.8 * deg)
	share := func(in Inputs) float64 { return NewFoil(in).At(12, Gravity).FrontShare }
	if share(truth) < 0.9 {
		t.Fatalf("the case is not strong enough: %.2f", share(truth))
	}
	s.Feel = []setup.Feel{{Speed: 12, Share: 0.75, SD: 0.10, Said: "strong front"}}
	word := meanOf(mustInfer(t, outingOf(s)), share)
	s.Feel[0].Said = "75 % on the front foot"
	number := meanOf(mustInfer(t, outingOf(s)), share)
	if !(word > number+0.01) {
		t.Errorf("the word gives %.3f, the number %.3f", word, number)
	}
}
