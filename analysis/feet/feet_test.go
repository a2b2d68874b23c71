package feet

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenfoot/analysis/pitchlaw"
	"evenfoot/ingest"
)

const density = 1025.0

// shareAt is the invented truth: 0.44 at 6 m/s, 0.62 at 11.
func shareAt(v float64) float64 { return 0.44 + 0.036*(v-6) }

// outing is 20 reaches of 50 s between swims, with sensors that are 6 % and
// -5 % out and have zeros of 20 and -12 N; on every tack change the feet
// change places where swap says so.
func outing(sides bool, swap func(reach int) bool) Input {
	rng := rand.New(rand.NewPCG(3, 4))
	in := Input{Density: density, Rider: 80, RigLift: 0.08, RigSD: 0.05, Front: "left", Deck: &ingest.Deck{Sides: sides, Rate: 20}}
	d := in.Deck
	gain, zero := [2]float64{1.06, 0.95}, [2]float64{20, -12}
	push := func(t, front, back float64) {
		d.Time = append(d.Time, t)
		for k, f := range [2]float64{front, back} {
			d.Feet[k] = append(d.Feet[k], float32(f*gain[k]+zero[k]+5*rng.NormFloat64()))
		}
		d.Moment = append(d.Moment, float32(math.NaN()))
	}
	t := 0.0
	for reach := range 20 {
		for range 15 * 20 { // in the water
			push(t, 0, 0)
			t += 0.05
		}
		start, middle := t, 6.5+4*rng.Float64()
		in.Flights = append(in.Flights, [2]float64{t, t + 50})
		for range 20 {
			v, lift := middle+0.5*rng.NormFloat64(), 0.92+0.03*rng.NormFloat64()
			share := shareAt(v) + 0.02*rng.NormFloat64()
			w := pitchlaw.Window{Time: t + 1.25, Duration: 2.5, Normal: gravity, Reach: reach, Tack: 1 - 2*(reach%2), Weight: 1, Speed: v}
			w.LiftArea = 2 * gravity / (density * v * v)
			in.Windows = append(in.Windows, w)
			for range 50 {
				front, back := share*80*gravity*(lift), (1-share)*80*gravity*lift
				if swap != nil && swap(reach) {
					front, back = back, front
				}
				push(t, front, back)
				t += 0.05
			}
		}
		t = start + 50
	}
	return in
}

func TestShareIsFound(t *testing.T) {
	tack := func(reach int) bool { return reach%2 == 1 }
	for _, c := range []struct {
		name     string
		sides    bool
		swap     func(int) bool
		front    string
		mirrored bool
		switches int
	}{
		{"feet that stay", false, nil, "", false, 0},
		{"feet that change with the tack", false, tack, "", false, 19},
		{"feet that change for three reaches", false, func(r int) bool { return r >= 8 && r < 11 }, "", false, 2},
		{"by side", true, tack, "left", false, 19},
		{"by side, the right one in front", true, nil, "right", true, 0},
	} {
		in := outing(c.sides, c.swap)
		in.Front = c.front
		r := Estimate(in)
		if len(r.Findings) > 0 || len(r.Shares) < 5 || r.Switches != c.switches {
			t.Errorf("%s: %v, %d shares, %d changes", c.name, r.Findings, len(r.Shares), r.Switches)
			continue
		}
		for _, s := range r.Shares {
			want := shareAt(float64(s.Speed))
			if c.mirrored {
				want = 1 - want
			}
			if !s.Front.Contains(want) || s.Front.High-s.Front.Low > 0.08 {
				t.Errorf("%s: at %.1f m/s %.3f (%.3f to %.3f), truth %.3f", c.name, float64(s.Speed), s.Front.Value, s.Front.Low, s.Front.High, want)
			}
		}
		for k, truth := range [2]float64{1.06, 0.95} {
			if g := r.Sensors[k].Gain; !g.Contains(truth) {
				t.Errorf("%s: gain %v, truth %v", c.name, g, truth)
			}
			if z := r.Sensors[k].Zero; math.Abs(z.Value-[2]float64{20, -12}[k]) > 2 {
				t.Errorf("%s: zero %v", c.name, z)
			}
		}
	}
}

// TestHostile: what no foot does is named, and is no evidence where it cannot be.
func TestHostile(t *testing.T) {
	each := func(in Input, f func(v *[2]float32, i int)) Input {
		d := in.Deck
		for i := range d.Time {
			v := [2]float32{d.Feet[0][i], d.Feet[1][i]}
			f(&v, i)
			d.Feet[0][i], d.Feet[1][i] = v[0], v[1]
		}
		return in
	}
	nan := float32(math.NaN())
	for _, c := range []struct {
		name string
		f    func(v *[2]float32, i int)
		want Kind
		used bool
	}{
		{"negative", func(v *[2]float32, _ int) { v[0], v[1] = -v[0], -v[1] }, Negative, false},
		{"constant", func(v *[2]float32, _ int) { v[1] = 300 }, SideStuck, false},
		{"one side dead", func(v *[2]float32, i int) { v[0] = float32(i%7) * 2 }, SideDead, false},
		{"saturated a little", func(v *[2]float32, _ int) { v[0] = min(v[0], 480) }, Saturated, true},
		{"saturated", func(v *[2]float32, _ int) { v[0] = min(v[0], 400) }, Saturated, false},
		{"kgf as newtons", func(v *[2]float32, _ int) { v[0], v[1] = v[0]/9.8, v[1]/9.8 }, OddWeight, true},
		{"dropouts", func(v *[2]float32, i int) {
			if i%400 < 100 {
				v[0], v[1] = nan, nan
			}
		}, Dropouts, true},
		{"never unloaded", func(v *[2]float32, _ int) { v[0], v[1] = v[0]+400, v[1]+400 }, NoZeros, true},
		{"all missing but a few", func(v *[2]float32, i int) {
			if i > 900 {
				v[0], v[1] = nan, nan
			}
		}, FewWindows, false},
	} {
		r := Estimate(each(outing(false, nil), c.f))
		if !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Kind == c.want }) {
			t.Errorf("%s: found %+v, not %q", c.name, r.Findings, c.want)
		}
		if used := len(r.Shares) > 0; used != c.used {
			t.Errorf("%s: %d shares", c.name, len(r.Shares))
		}
		for _, s := range r.Shares {
			if !(s.SD > 0) || !s.Front.Known() {
				t.Errorf("%s: share %+v", c.name, s)
			}
		}
	}
	in := outing(true, nil)
	in.Front = ""
	if r := Estimate(in); len(r.Findings) != 1 || r.Findings[0].Kind != NoFrontFoot {
		t.Errorf("without a front foot: %+v", r.Findings)
	}
	if r := Estimate(Input{Deck: &ingest.Deck{}}); len(r.Shares)+len(r.Findings) != 0 {
		t.Errorf("nothing: %+v", r)
	}
}
