package finish

import (
	"math"
	"slices"
	"testing"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
)

func foil() trim.Inputs {
	w := water.Of("sea", 15)
	return trim.Inputs{
		RiderMass: 80, BoardMass: 11, BoardCG: 0.1, DeckHeight: 0.1, FrontFoot: 0.33, BackFoot: -0.2,
		RigLiftFraction: 0.08, Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
		WingArea: 0.13, WingSpan: 0.95, WingX: 0.1, CamberPercent: 3, WingIncidence: 0.0175, WingThickness: 0.12,
		StabArea: 0.022, StabSpan: 0.4, StabArm: 0.7, StabIncidence: -0.026, StabThickness: 0.1,
		Oswald: 0.9, LaminarFraction: 0.1, Density: w.Density, Viscosity: w.Viscosity,
	}
}

func TestSmoothLimitIsSchlichtings(t *testing.T) {
	in := foil()
	f := Advise(in, setup.Finish{Grit: 400}, 6, 8, 10)
	// 100 ν/U = 11.9 µm at 10 m/s in sea water at 15 °C (checks 2e), over the
	// thickest section's surface speed.
	want := 11.9 / 1.12
	if math.Abs(float64(f.SmoothBelow)-want) > 0.06 {
		t.Errorf("smooth below %.2f µm, want %.2f", float64(f.SmoothBelow), want)
	}
	if len(f.Parts) != 3 {
		t.Errorf("parts %v", f.Parts)
	}
}

func TestRougherCostsMore(t *testing.T) {
	in := foil()
	last := math.Inf(1)
	for _, grit := range []int{80, 180, 320, 600, 1200, 2500} {
		f := Advise(in, setup.Finish{Grit: grit}, 6, 9, 12)
		if f.DragSaving.Value > last+1e-9 {
			t.Errorf("P%d would save %g %%, more than a coarser paper", grit, f.DragSaving.Value)
		}
		last = f.DragSaving.Value
		if f.DragSaving.Low < 0 || f.SpeedGain.High > 25 {
			t.Errorf("P%d: saving %+v, gain %+v", grit, f.DragSaving, f.SpeedGain)
		}
	}
	if last != 0 {
		t.Errorf("P2500 still has %g %% to gain", last)
	}
}

// Racers go faster and must go finer; beginners need not.
func TestWhereToStop(t *testing.T) {
	slow := *Advise(foil(), setup.Finish{Grit: 80}, 4, 5, 6).Grit
	fast := *Advise(foil(), setup.Finish{Grit: 80}, 8, 12, 18).Grit
	if !(slow < fast) {
		t.Errorf("stop at P%d for 6 m/s, P%d for 18 m/s", slow, fast)
	}
}

func TestLadder(t *testing.T) {
	for _, c := range []struct {
		from, to int
		want     []int
	}{{400, 1500, []int{800, 1500}}, {1500, 1500, nil}, {2000, 800, nil}, {80, 320, []int{150, 280, 320}}} {
		if got := ladder(c.from, c.to); !slices.Equal(got, c.want) {
			t.Errorf("ladder(%d, %d) = %v, want %v", c.from, c.to, got, c.want)
		}
	}
}

func TestTrailingEdge(t *testing.T) {
	for mm, want := range map[float64]Edge{0: "", 0.3: Thin, 1.0: Right, 3: Thick} {
		if f := Advise(foil(), setup.Finish{TrailingEdge: mm / 1000}, 6, 8, 10); f.Edge != want || f.EdgeLow != 0.76 || f.EdgeHigh != 1.52 {
			t.Errorf("%g mm: %q of %v to %v mm, want %q", mm, f.Edge, f.EdgeLow, f.EdgeHigh, want)
		}
	}
}

// By hand: 10 m/s in sea water at 15 °C, wing 12 % thick: 100 ν/U = 11.9/1.12 =
// 10.6 µm. A paper leaves 0.15 of its grain, within a factor of 2 (1σ); five
// times in six (0.84) below the limit asks for a median of half of it, 5.3 µm,
// so a grain of 35.5 µm at most: P400 has 35.0.
func TestStopsWithAMargin(t *testing.T) {
	if got := *Advise(foil(), setup.Finish{Grit: 80}, 6, 8, 10).Grit; got != 400 {
		t.Errorf("stop at P%d, want P400", got)
	}
}

// Both sides of every part are wet. Wing, stabilizer and mast at 10 m/s, P80
// (k = 0.15 · 201 µm = 30 µm) against P400: fully rough plates have C_F =
// (1.89 + 1.62 log₁₀ L/k)^-2.5 (Schlichting, Boundary-Layer Theory, ch. XXI,
// from memory): 0.0059 at the wing's L/k = 4600; smooth ones at Re = 1.15e6
// 0.0044 (0.455/(log₁₀ Re)^2.58) less what is laminar of a tenth of the chord,
// 0.0040. With q = 51.3 kPa and (0.13 + 0.022 + 0.055) m² of plan, twice, times
// some 1.25 for their thickness: 50 N, beside the model's 130 N for a satin surface.
func TestSavingCountsBothSides(t *testing.T) {
	in := foil()
	f := Advise(in, setup.Finish{Grit: 80}, 8, 10, 12)
	total := trim.NewFoil(in).At(10, trim.Gravity).Drag
	const saved = 50.0 // N
	want := 100 * saved / (total + saved)
	if got := f.DragSaving.Value; got < 0.75*want || got > 1.35*want {
		t.Errorf("saving %.1f %% of %.0f N, want about %.1f %%", got, total, want)
	}
}
