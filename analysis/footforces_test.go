package analysis_test

import (
	"slices"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/feet"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
)

// TestForcesTurned: foot forces beside a rider's notes show the rider's zero,
// and front and back that are swapped are asked about; so is a direction that
// nothing else tells.
func TestForcesTurned(t *testing.T) {
	t.Parallel()
	sc := simulate.Default()
	sc.Duration, sc.IMURate = 900, 50
	sc.Feet = simulate.Insoles()
	sc.Feet.Gain = [2]float64{0.02, -0.02} // half of what the interval allows for
	sc.Foil.StabIncidence -= 0.8 * deg     // the load moves with speed
	sc.Foil.RiderZero = 0.05
	sc.Seed = 2 // of 1 a truth lies on the rim of its interval
	s := simulate.Run(sc)
	feel := s.FeelNotes([]float64{6, 7, 8, 9, 10, 10.5}, 0.02)
	run := func(notes, turned bool) *analysis.Result {
		log := *s.Log
		log.Decks = slices.Clone(log.Decks)
		if turned {
			f := &log.Decks[0].Feet
			f[0], f[1] = f[1], f[0]
		}
		text := s.SetupTOML(nil)
		if notes {
			text = s.SetupTOML(feel)
		}
		r, err := analysis.Run(analysis.Request{Log: &log, Setup: parse(t, text)})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	found := func(r *analysis.Result, k feet.Kind) bool {
		return slices.ContainsFunc(r.Session.Warnings, func(w analysis.Finding) bool { f, ok := w.(feet.Finding); return ok && f.Kind == k })
	}
	right, wrong := run(true, false), run(true, true)
	if found(right, feet.Turned) || !found(wrong, feet.Turned) {
		t.Errorf("asked about: as they are %v, swapped %v; %+v", found(right, feet.Turned), found(wrong, feet.Turned), wrong.Session.Warnings)
	}
	late := s.SetupTOML(nil) + "\n[[change]]\nat = \"23:59:00\"\nfoil_cm = 1\n"
	if _, err := analysis.Run(analysis.Request{Log: s.Log, Setup: parse(t, late)}); err == nil {
		t.Error("a change after the end of the log is no error")
	}
	alone := run(false, false)
	if found(alone, feet.Turned) || alone.Rider != nil || alone.Advice.Verdict == advice.NotEnough {
		t.Errorf("without notes: rider %v, verdict %s, %+v", alone.Rider, alone.Advice.Verdict, alone.Session.Warnings)
	}
	weighed := func(r *analysis.Result) bool {
		return slices.ContainsFunc(r.Advice.Why, func(w advice.Reason) bool { return w.Kind == advice.Weighed })
	}
	if steps := alone.Advice.Verdict == advice.Change; weighed(alone) != steps || !steps || weighed(right) {
		t.Errorf("%s by forces alone says that it is even by them: %v; beside notes %v", alone.Advice.Verdict, weighed(alone), weighed(right))
	}
	f := right.FootForces
	if f == nil || len(f.Shares) < 4 {
		t.Fatalf("foot forces %+v, %+v", f, right.Session.Warnings)
	}
	for _, p := range f.Shares {
		holds(t, "measured share", p.Front, s.Share(float64(p.Speed)))
	}
	holds(t, "rider's zero", right.Rider.Zero, 0.05)
	if w := right.Rider.Zero.High - right.Rider.Zero.Low; w > 0.12 {
		t.Errorf("the rider's zero is known within %.3f", w)
	}
}

// TestForcesAlone: without a board logger dated forces show the share beside the
// fixes; those on a clock of their own are not used, and say what is missing.
func TestForcesAlone(t *testing.T) {
	t.Parallel()
	sc := simulate.Default()
	sc.Duration, sc.NoIMU = 900, true
	sc.Feet = simulate.Insoles()
	sc.Feet.Rate = 20
	sc.Feet.Offset, sc.Feet.Gain = 0, [2]float64{0.02, -0.02}
	for _, dated := range []bool{true, false} {
		sc.Feet.Dated = dated
		s := simulate.Run(sc)
		r, err := analysis.Run(analysis.Request{Log: throughFiles(t, s, false), Setup: parse(t, s.SetupTOML(nil))})
		if err != nil {
			t.Fatal(err)
		}
		said, want := map[feet.Kind]bool{}, feet.Alone
		for _, w := range r.Session.Warnings {
			if f, ok := w.(feet.Finding); ok {
				said[f.Kind] = true
			}
		}
		shares := r.FootForces.Shares
		if dated {
			want = feet.ByDate
			for _, p := range shares {
				holds(t, "measured share", p.Front, s.Share(float64(p.Speed)))
			}
		}
		if !said[want] || dated != (len(shares) >= 4) || dated != (r.Posterior.Count(trim.MeasuredKind) >= 4) {
			t.Errorf("dated %v: %d shares, %v", dated, len(shares), said)
		}
	}
}

// TestForcesBesideGlides: without a board logger no glide counts as sailing.
func TestForcesBesideGlides(t *testing.T) {
	t.Parallel()
	sc := coasting(1, 8)
	sc.Duration, sc.NoIMU = 900, true
	sc.Coast.Wind, sc.Coast.AirArea = 0, 0
	sc.Coast.Drag = func(float64) float64 { return 50 } // gentle: to the fixes alone a hard one is a touchdown
	sc.Feet = simulate.Insoles()
	sc.Feet.Rate, sc.Feet.Offset, sc.Feet.Dated = 20, 0, true
	s := simulate.Run(sc)
	set := parse(t, s.SetupTOML(nil))
	read := throughFiles(t, s, false)
	windows := func() int {
		log := *read // as it is before an analysis ties it to one clock
		r, err := analysis.Run(analysis.Request{Log: &log, Setup: set})
		if err != nil || r.FootForces == nil {
			t.Fatal(err, r.FootForces)
		}
		return r.FootForces.Windows
	}

	with := windows()
	told := len(set.Glide)
	set.Glide = nil
	if all := windows(); told < 4 || with == 0 || all-with < 2*told {
		t.Errorf("%d windows beside %d glides, %d where nothing tells of them", with, told, all)
	}
}
