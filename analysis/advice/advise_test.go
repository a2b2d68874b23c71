package advice

import (
	"encoding/json"
	"math"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

const (
	density   = 1025.5
	viscosity = 1.1e-6
)

// gear is a wing rider's setup with everything given.
func gear() *setup.Setup {
	s := &setup.Setup{
		Rider:  setup.Rider{Name: "Ines", Mass: 80, Height: 1.78, Level: "advanced"},
		Stance: setup.Stance{Front: 0.33, Back: -0.20, Fixed: true},
		Board:  setup.Board{Mass: 11, CG: 0.10, DeckHeight: 0.10, Track: [2]float64{-0.04, 0.05}},
		Rig:    setup.Rig{Kind: "wing", LiftFraction: 0.08},
		Foil: setup.Foil{
			Flex: 2e-5, Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
			Wing: setup.Wing{Area: 0.13, Span: 0.95, Ahead: 0.10, CamberPercent: 3, ThicknessRatio: 0.12, Incidence: deg},
			Stabilizer: setup.Stabilizer{Area: 0.022, Span: 0.40, BehindWing: 0.70, ThicknessRatio: 0.10,
				Incidence: -1.5 * deg, Mount: "top", ShimSpan: 0.05},
		},
	}
	s.SetGiven("foil.stabilizer.incidence_deg", "foil.wing.camber_percent", "foil.stabilizer.zero_lift_deg",
		"foil.wing.ahead_cm", "foil.wing.incidence_deg", "board.cg_cm", "board.track_cm", "rig.lift_fraction")
	return s
}

func outingOf(s *setup.Setup) trim.Outing {
	return trim.Outing{Setup: s, In: trim.FromSetup(s, density, viscosity), Ev: trim.Evidence{Feel: s.Feel}}
}

// told is the evidence that a true foil gives: a law and notes without error.
func told(s *setup.Setup, truth trim.Inputs, noteSD float64, speeds ...float64) trim.Outing {
	f := trim.NewFoil(truth)
	s.Feel = nil
	for _, v := range speeds {
		s.Feel = append(s.Feel, setup.Feel{Speed: v, Share: truth.Said(f.At(v, trim.Gravity).FrontShare), SD: noteSD})
	}
	o := outingOf(s)
	k := pitchSlope(f)
	o.Ev.HasLaw, o.Ev.Slope, o.Ev.Zero = true, k, zeroPitch(f)
	o.Ev.Cov = [2][2]float64{{1e-5, 0}, {0, 0.03 * 0.03 * k * k}}
	return o
}

func zeroPitch(f trim.Foil) float64 {
	zero, _ := f.Law(0, 0)
	return zero
}

func pitchSlope(f trim.Foil) float64 {
	_, slope := f.Law(0, 0)
	return slope
}

// applied is the foil with a pair of shim and move.
func applied(p trim.Change, in trim.Inputs) trim.Inputs {
	for _, x := range []*float64{&in.FrontFoot, &in.BackFoot, &in.BoardCG, &in.MastFootX} { // against the mast
		*x -= p.Foil
	}
	return in.Raise(p.Raise)
}

// reason is the first reason of a kind, nil for none.
func reason(all []Reason, k Kind) *Reason {
	for i := range all {
		if all[i].Kind == k {
			return &all[i]
		}
	}
	return nil
}

func infer(t testing.TB, o trim.Outing, earlier ...trim.Outing) *trim.Posterior {
	t.Helper()
	p, err := trim.Infer(o, earlier, 200)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

var speeds = Uniform(6, 12)

// TestTruthFound: honest notes and a wrong stated incidence still lead to the
// true best pair.
func TestTruthFound(t *testing.T) {
	for _, wrong := range []float64{-1, -0.5, 0, 0.5, 1} {
		s := gear()
		truth := trim.FromSetup(s, density, viscosity).Raise(wrong * deg)
		truth.CamberPercent -= 0.7
		p := infer(t, told(s, truth, 0.04, 6, 8, 10, 12))
		a := Advise(p, s, speeds, Options{LawOK: true})
		want := Best(truth, speeds, "advanced")
		t.Logf("wrong by %+.1f°: best %+.2f° %+.1f mm, advised %+.2f° (%.2f to %.2f) %+.1f mm (%.1f to %.1f), %s: %s; even %.3f->%.3f chance %.2f conflicts %v",
			wrong, want.Raise/deg, want.Foil/mm, a.StabilizerChange.Value, a.StabilizerChange.Low, a.StabilizerChange.High,
			a.FoilMove.Value, a.FoilMove.Low, a.FoilMove.High, a.Verdict, a.Next.Kind, a.EvennessNow.Value, a.EvennessAfter.Value, a.ChanceBetter, p.Conflicts)
		if math.Abs(a.StabilizerChange.Value-want.Raise/deg) > 0.5 {
			t.Errorf("wrong by %+.1f°: best change %.2f°, advised %v", wrong, want.Raise/deg, a.StabilizerChange)
		}
		if !a.StabilizerChange.Contains(want.Raise/deg) || !a.FoilMove.Contains(want.Foil/mm) {
			t.Errorf("wrong by %+.1f°: the truth %+.2f° %+.1f mm lies outside %v %v", wrong, want.Raise/deg, want.Foil/mm, a.StabilizerChange, a.FoilMove)
		}
		b, err := json.Marshal(a)
		if err != nil || len(b) == 0 {
			t.Fatal(err)
		}
	}
}

func BenchmarkInferAdvise(b *testing.B) {
	s := gear()
	truth := trim.FromSetup(s, density, viscosity).Raise(deg)
	for b.Loop() {
		p := infer(b, told(s, truth, 0.06, 6, 8, 10, 12))
		Advise(p, s, speeds, Options{LawOK: true})
	}
}

// Uniform weighs all speeds from low to top, m/s, alike.
func Uniform(low, top float64) SpeedWeights {
	w := SpeedWeights{Low: low, Top: top}
	for i := range curveLen {
		w.Speed = append(w.Speed, low+(top-low)*float64(i)/(curveLen-1))
		w.Weight = append(w.Weight, 1)
	}
	return w
}
