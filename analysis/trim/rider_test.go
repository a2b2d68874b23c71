package trim

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/setup"
)

func shareAt(v float64) func(Inputs) float64 {
	return func(in Inputs) float64 { return NewFoil(in).At(v, Gravity).FrontShare }
}

func meanOf(p *Posterior, f func(Inputs) float64) float64 { return stat.Mean(p.Each(f), p.Weights) }

func sdOf(p *Posterior, f func(Inputs) float64) float64 { return stat.StdDev(p.Each(f), p.Weights) }

// TestNotesShareARider: a hundred notes of one rider tell what feels even to
// that rider, and of the true share no more than the rider's zero leaves. A
// second rider brings a zero of their own; a spelling of the same one does not.
func TestNotesShareARider(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	var speeds []float64
	for i := range 100 {
		speeds = append(speeds, 7+0.04*float64(i))
	}
	s.Feel = notes(truth, 0.06, speeds...)
	today := outingOf(s)
	one := mustInfer(t, today)
	felt := func(in Inputs) float64 { return NewFoil(in).At(9, Gravity).FeltShare }
	if got := sdOf(one, shareAt(9)); got < 0.8*zeroSD {
		t.Errorf("a hundred notes leave σ %.3f of the share, the rider's zero alone is %.2f", got, zeroSD)
	}
	if got := sdOf(one, felt); got > 0.02 {
		t.Errorf("a hundred notes leave σ %.3f of what the rider feels", got)
	}
	second := func(name string) float64 {
		e := *s
		e.Rider.Name = name
		return sdOf(mustInfer(t, today, outingOf(&e)), shareAt(9))
	}
	same, other := second(s.Rider.Name), second("Marek")
	if same < 0.8*zeroSD || other > 0.85*same {
		t.Errorf("σ of the share %.3f after another outing of the same rider, %.3f after one of another", same, other)
	}
}

// TestRiderIsFound: measured shares beside notes show the rider's zero and scale.
func TestRiderIsFound(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	truth.RiderZero, truth.RiderScale = 0.09, 0.4
	s.Feel = notes(truth, 0.01, 6, 7, 8, 9, 10, 11, 12)
	o := withLaw(outingOf(s), truth)
	for _, v := range []float64{6, 9, 12} {
		o.Ev.Loads = append(o.Ev.Loads, Load{Kind: MeasuredKind, Speed: v, Value: shareAt(v)(truth), SD: 0.01})
	}
	p := mustInfer(t, o)
	zero := p.Each(func(in Inputs) float64 { return in.RiderZero })
	scale := p.Each(func(in Inputs) float64 { return 1 + in.RiderScale })
	near(t, "zero", stat.Mean(zero, p.Weights), 0.09, 0.02)
	near(t, "scale", stat.Mean(scale, p.Weights), 1.4, 0.12)
	if sd := stat.StdDev(zero, p.Weights); sd > 0.6*zeroSD {
		t.Errorf("σ of the zero %.3f", sd)
	}
	for _, c := range p.Conflicts {
		t.Errorf("conflict: %+v", c)
	}
}

// TestRiderIsKept: what foot forces beside notes showed of a rider on one outing
// is known on the next, where there are notes alone, and a mast's moment needs
// no gain or zero to tell the trend.
func TestRiderIsKept(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	truth.RiderZero, truth.RiderScale = 0.09, 0.4
	s.Feel = notes(truth, 0.02, 6, 7, 8, 9, 10, 11, 12)
	before := withLaw(outingOf(s), truth)
	for _, v := range []float64{6, 9, 12} {
		share := shareAt(v)(truth)
		before.Ev.Loads = append(before.Ev.Loads, Load{Kind: MeasuredKind, Speed: v, Value: share + 0.015*4*share*(1-share), SD: 0.005})
	}
	before.Ev.LeanSD = 0.02
	later := *s
	later.Feel = notes(truth, 0.02, 7, 11)
	today := withLaw(outingOf(&later), truth)
	zero := func(p *Posterior) (mean, sd float64) {
		z := p.Each(func(in Inputs) float64 { return in.RiderZero })
		return stat.Mean(z, p.Weights), stat.StdDev(z, p.Weights)
	}
	_, alone := zero(mustInfer(t, today))
	mean, kept := zero(mustInfer(t, today, before))
	near(t, "zero", mean, 0.09, 2*kept)
	if kept > 0.6*alone || kept < 0.01 {
		t.Errorf("σ of the rider's zero %.3f after an outing with foot forces, %.3f without", kept, alone)
	}
	weighed := before
	weighed.Ev.Feel = nil
	only := mustInfer(t, weighed)
	if only.HasRider() || !mustInfer(t, weighed, today).HasRider() {
		t.Error("a rider whose load is weighed has a zero before they say a word, or none after")
	}
	// To another rider, as to what they will say, one worthless word is nothing.
	wordy := weighed
	wordy.Ev.Feel = []setup.Feel{{Speed: 9, Share: 0.5, SD: 10}}
	word := mustInfer(t, wordy)
	for _, f := range []func(Inputs) float64{
		func(in Inputs) float64 { return NewFoil(in).At(9, Gravity).FeltShare },
		func(in Inputs) float64 { return in.Said(0.7) },
	} {
		for name, q := range map[string][2]*Posterior{
			"the same rider": {only.WithRider(), word}, "another": {only.ForRider(s, only.Base), word.ForRider(s, word.Base)},
		} {
			near(t, "σ of what is felt by "+name, sdOf(q[0], f)/sdOf(q[1], f), 1, 0.05)
			near(t, "the same, linear", q[0].DoubtAfter(q[0].Derivative(nil, f))/q[1].DoubtAfter(q[1].Derivative(nil, f)), 1, 0.05)
		}
	}
	mast := withLaw(outingOf(&later), truth)
	for _, v := range []float64{6, 7.5, 9, 10.5, 12} {
		m := 1.04*NewFoil(truth).At(v, Gravity).MastMoment + 12
		mast.Ev.Loads = append(mast.Ev.Loads, Load{Kind: MastKind, Speed: v, Value: m, SD: 1})
	}
	mast.Ev.MastSD = [2]float64{0.05, 15}
	trend := func(in Inputs) float64 { return shareAt(12)(in) - shareAt(6)(in) }
	spread := func(p *Posterior) float64 { return stat.StdDev(p.Each(trend), p.Weights) }
	p := mustInfer(t, mast)
	near(t, "trend by the mast", stat.Mean(p.Each(trend), p.Weights), trend(truth), 0.03)
	if by, without := spread(p), spread(mustInfer(t, today)); by > 0.5*without {
		t.Errorf("σ of the trend %.3f with a mast's moment, %.3f without", by, without)
	}
}

// TestNulls: the speed that feels even with the foil at three places gives the
// trend with speed, whatever the rider's zero and scale.
func TestNulls(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6).Raise(-0.6 * deg).MoveFoil(-0.04)
	truth.RiderZero = -0.07
	o := withLaw(outingOf(s), truth)
	f := NewFoil(truth)
	for _, dx := range []float64{-0.025, 0, 0.025} {
		even := func(v float64) float64 {
			p := f.Point(v, Gravity)
			return p.With(Change{Foil: dx}).FeltShare - 0.5
		}
		low, high := 4.0, 20.0
		for range 60 {
			if mid := (low + high) / 2; even(mid) < 0 {
				low = mid
			} else {
				high = mid
			}
		}
		o.Ev.Loads = append(o.Ev.Loads, Load{Kind: NullKind, Value: 0.5, Speed: low, Change: Change{Foil: dx}, SD: 0.02})
		t.Logf("foil moved %+.1f cm: even at %.2f m/s", 100*dx, low)
	}
	p := mustInfer(t, o)
	gradient := func(in Inputs) float64 { return NewFoil(in).Gradient(10) }
	m, sd := stat.MeanStdDev(p.Each(gradient), p.Weights)
	before := sdOf(mustInfer(t, withLaw(outingOf(s), truth)), gradient)
	t.Logf("gradient at 10 m/s %.4f ± %.4f per m/s, truth %.4f, σ %.4f without the marks", m, sd, gradient(truth), before)
	if math.Abs(m-gradient(truth)) > 2*sd || sd > 0.5*before {
		t.Errorf("gradient %.4f ± %.4f, truth %.4f, σ %.4f without the marks", m, sd, gradient(truth), before)
	}
	if got := p.Count(NullKind); got != 3 {
		t.Errorf("%d marks count", got)
	}
}

// TestDoubtAfter: what an observation is said to be worth is what the
// inference makes of it once it is made.
func TestDoubtAfter(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	s.Feel = notes(truth, 0.06, 7, 10)
	now := withLaw(outingOf(s), truth)
	p := mustInfer(t, now)
	turn := ShimAngle(Card, s.Foil.Stabilizer.ShimSpan)
	said := func(raise, v float64) func(Inputs) float64 {
		return func(in Inputs) float64 { return in.Said(NewFoil(in.Raise(raise)).At(v, Gravity).FrontShare) }
	}
	goal := p.Derivative(nil, func(in Inputs) float64 { return NewFoil(in).Gradient(11) })
	near(t, "today", p.DoubtAfter(goal)/sdOf(p, func(in Inputs) float64 { return NewFoil(in).Gradient(11) }), 1, 0.1)
	sdAfter := func(o Outing, earlier ...Outing) float64 {
		q := mustInfer(t, o, earlier...)
		return q.DoubtAfter(q.Derivative(nil, func(in Inputs) float64 { return NewFoil(in).Gradient(11) }))
	}
	note := now
	note.Ev.Feel = append(notes(truth, 0.06, 12), now.Ev.Feel...)
	near(t, "a note at 12 m/s", p.DoubtAfter(goal, Observable{Of: said(0, 12), SD: 0.06})/sdAfter(note), 1, 0.02)

	with := gear()
	with.Foil.Stabilizer.Shim = Card
	with.Feel = notes(truth.Raise(turn), 0.06, 7, 9, 11)
	var run []Observable
	for _, v := range []float64{7, 9, 11} {
		run = append(run, Observable{Of: said(turn, v), SD: 0.06})
	}
	near(t, "a run with a card", p.DoubtAfter(goal, run...)/sdAfter(now, outingOf(with)), 1, 0.05)

	measured := p.DoubtAfter(goal, Observable{Of: func(in Inputs) float64 { return in.StabIncidence }, SD: 0.2 * deg})
	if today := p.DoubtAfter(goal); !(measured < today) {
		t.Errorf("a measured angle leaves %.4f of %.4f", measured, today)
	}
	// What a card changes at one speed does not depend on the zero: two sharp
	// notes of it, in and out, leave only what the scale blurs.
	change := func(in Inputs) float64 { return said(turn, 10)(in) - said(0, 10)(in) }
	pair := p.DoubtAfter(p.Derivative(nil, change), Observable{Of: said(0, 10), SD: 1e-4}, Observable{Of: said(turn, 10), SD: 1e-4})
	if pair > 1e-3 {
		t.Errorf("card in and out leave σ %.5f of the difference", pair)
	}
}

// TestForRider: another rider has a zero, a scale and feet of their own, on
// the same foil.
func TestForRider(t *testing.T) {
	s := gear()
	truth := FromSetup(s, 1025.5, 1.1e-6)
	truth.RiderZero = 0.1
	s.Feel = notes(truth, 0.02, 6, 7, 8, 9, 10, 11)
	o := withLaw(outingOf(s), truth)
	for _, v := range []float64{6, 11} {
		o.Ev.Loads = append(o.Ev.Loads, Load{Kind: MeasuredKind, Speed: v, Value: shareAt(v)(truth), SD: 0.01})
	}
	p := mustInfer(t, o)
	other := *gear()
	other.Rider = setup.Rider{Name: "Marek", Mass: 95, Height: 1.9, Level: "advanced"}
	in := FromSetup(&other, 1025.5, 1.1e-6)
	q := p.ForRider(&other, in)
	for name, c := range map[string]struct {
		of       func(Inputs) float64
		mean, sd float64
	}{
		"zero":  {func(in Inputs) float64 { return in.RiderZero }, 0, zeroSD},
		"scale": {func(in Inputs) float64 { return in.RiderScale }, 0.0, scaleSD},
		"front": {func(in Inputs) float64 { return in.FrontFoot }, 0.33, 0.015},
	} {
		m, sd := stat.MeanStdDev(q.Each(c.of), q.Weights)
		near(t, name, m, c.mean, 0.2*c.sd)
		near(t, "σ of "+name, sd/c.sd, 1, 0.1)
	}
	if was, is := sdOf(p, func(in Inputs) float64 { return in.RiderZero }), sdOf(p.Under(s, p.Base), func(in Inputs) float64 { return in.RiderZero }); is != was {
		t.Errorf("the same rider's σ of the zero went from %.4f to %.4f", was, is)
	}
	if m := q.MAP; m.RiderZero != 0 || m.RiderScale != 0 || m.FrontFoot != in.FrontFoot || m.BackFoot != in.BackFoot {
		t.Errorf("the most probable foil keeps the first rider's %+v", m)
	}
	for k, u := range q.Unknowns {
		if u.Name == riderZero && (q.Cov[k][k] != 1 || q.Mean[k] != 0 || p.Cov[k][k] > 0.8) {
			t.Errorf("variance of the zero %.2f, before %.2f", q.Cov[k][k], p.Cov[k][k])
		}
	}
	if heavy := mean(q.Each(func(in Inputs) float64 { return in.RiderMass })); math.Abs(heavy-95) > 1e-9 {
		t.Errorf("mass %.2f", heavy)
	}
}

func mean(v []float64) float64 { return stat.Mean(v, nil) }

// TestWhoIsWho: one zero a name, however heavy; feet of their own where the
// weight tells that a name is a family's.
func TestWhoIsWho(t *testing.T) {
	today, heavier, other := gear(), gear(), gear()
	heavier.Rider.Mass *= 1.2
	other.Rider.Name = "Marek"
	p := newProblem([]Outing{outingOf(today), outingOf(heavier), outingOf(other)})
	count := map[string]int{}
	for _, q := range p.params {
		count[q.name]++
	}
	for name, want := range map[string]int{riderZero: 2, riderScale: 2, "front foot": 3, "back foot": 3, "rig's lift": 3, "wing camber": 1} {
		if count[name] != want {
			t.Errorf("%s: %d unknowns, want %d", name, count[name], want)
		}
	}
}

// TestFeetOfEach: whatever the weights of one name, every outing has one front
// foot and one back foot among the unknowns.
func TestFeetOfEach(t *testing.T) {
	for _, c := range []struct {
		masses []float64
		groups int
	}{
		{[]float64{80, 88}, 1}, {[]float64{80, 80 * 1.105}, 2}, {[]float64{80, 88.5}, 2}, {[]float64{80, 87, 95}, 2}, {[]float64{95, 87, 80}, 2},
	} {
		var outings []Outing
		for _, m := range c.masses {
			s := gear()
			s.Rider.Mass = m
			outings = append(outings, outingOf(s))
		}
		feet := 0
		acting := make([]int, len(outings))
		for _, q := range newProblem(outings).params {
			if q.name != "front foot" && q.name != "back foot" {
				continue
			}
			feet++
			for i := range outings {
				if q.actsOn(i) {
					acting[i]++
				}
			}
		}
		if feet != 2*c.groups {
			t.Errorf("%g kg: %d unknowns of the feet, want %d", c.masses, feet, 2*c.groups)
		}
		for i, n := range acting {
			if n != 2 {
				t.Errorf("%g kg: %d unknowns of the feet act on outing %d", c.masses, n, i)
			}
		}
	}
}
