package analysis_test

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/glide"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

var glideSessions = flag.Int("glide.sessions", 3, "sessions with glides through the whole chain")

// coasting is an outing with glides whose foil drags 20 % more than its model.
func coasting(seed uint64, n int) simulate.Scenario {
	sc := simulate.Default()
	sc.Seed, sc.Duration = seed, 1500
	sc.IMURate, sc.GPSRate = 50, []float64{1, 5}[seed%2]
	sc.Rest, sc.Carry, sc.Swim = 20, 5, 5
	sc.Coast = simulate.Coasts(n)
	stated := sc.Foil
	sc.Gear.Stated = &stated
	sc.Foil.DragFactor = 0.2
	return sc
}

// analysed is a scenario's session with what the chain makes of it.
func analysed(t *testing.T, sc simulate.Scenario) (*simulate.Session, *analysis.Result) {
	t.Helper()
	s := simulate.Run(sc)
	set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(nil)))
	if err != nil {
		t.Fatal(err)
	}
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	return s, r
}

func glided(t *testing.T, sc simulate.Scenario) (*simulate.Session, *analysis.Result) {
	t.Helper()
	s, r := analysed(t, sc)
	if r.Drag == nil {
		t.Fatalf("no drag from %d glides: %+v", len(s.Truth.Glides), r.Glides)
	}
	return s, r
}

// TestGlides goes from a log with ten glides, one in ten of which was none, to
// the drag area through the whole chain.
func TestGlides(t *testing.T) {
	var miss []float64
	held, n := 0, *glideSessions
	for seed := range n {
		sc := coasting(uint64(seed+1), 10)
		sc.Coast.Pulled = 0.1
		sc.Flow = [2]float64{0.25, -0.15}
		s, r := glided(t, sc)
		d := r.Drag
		in := s.Scenario.Foil
		in.RigLiftFraction = 0
		v := float64(d.Speed)
		truth := 2 * trim.NewFoil(in).At(v, trim.Gravity).Drag / (in.Density * v * v)
		miss = append(miss, math.Abs(d.Area.Value/truth-1))
		if d.Area.Contains(truth) {
			held++
		}
		t.Logf("%d glides of %d: drag area %.4f m² at %.1f m/s, true %.4f (%+.1f %%)", d.Glides, len(s.Truth.Glides), d.Area, v, truth, 100*(d.Area.Value/truth-1))
		if d.Glides < len(s.Truth.Glides)-2 {
			t.Errorf("seed %d: only %d of %d glides are weighed", seed+1, d.Glides, len(s.Truth.Glides))
		}
		k := slices.IndexFunc(r.Assumptions, func(a analysis.Assumption) bool { return a.Name == "drag" })
		if p := r.Assumptions[k].Posterior; p.SD() > 15 || math.Abs(p.Value-20) > 3*p.SD() {
			t.Errorf("seed %d: the balance takes a drag of %+.0f ± %.0f %%, and +20 %% is true", seed+1, p.Value, p.SD())
		}
	}
	slices.Sort(miss)
	t.Logf("median miss %.1f %%, the 90 %% interval held in %d of %d", 100*miss[n/2], held, n)
	if miss[n/2] > 0.08 {
		t.Errorf("the drag area is missed by %.1f %% in the median", 100*miss[n/2])
	}
	if least := 0.85*float64(n) - 2*math.Sqrt(0.1*float64(n)); float64(held) < least {
		t.Errorf("the 90 %% interval held in %d of %d only", held, n)
	}
}

// TestKnownBody: a body whose drag two textbooks give glides through the whole
// chain: half of White's plate (Fluid Mechanics, example 7.4: 1.2 by 6 ft at 40
// ft/s, 80.0 lbf) and Anderson's wing of aspect ratio 8 (Fundamentals of
// Aerodynamics, example 5.1: C_D,i 0.00790 at C_L 0.4339), inputs recomputed.
func TestKnownBody(t *testing.T) {
	sc := coasting(8, 12)
	in := sc.Foil
	drag := func(v float64) float64 {
		const foot, pound = 0.3048, 4.4482216
		q := 0.5 * in.Density * v * v
		cl := (in.RiderMass + in.BoardMass) * trim.Gravity / (q * in.WingArea)
		return 0.5*80.0*pound*math.Pow(v/(40*foot), 13.0/7) + q*in.WingArea*0.00790*math.Pow(cl/0.4339, 2)
	}
	sc.Coast.Drag, sc.Coast.Scatter = drag, 0
	_, r := glided(t, sc)
	v := float64(r.Drag.Speed)
	want := 2 * drag(v) / (in.Density * v * v)
	t.Logf("drag area %.4f m² at %.1f m/s, the books %.4f", r.Drag.Area, v, want)
	if !r.Drag.Area.Contains(want) || math.Abs(r.Drag.Area.Value/want-1) > 0.1 {
		t.Errorf("the drag area is %.4f m² at %.1f m/s, and the books say %.4f", r.Drag.Area, v, want)
	}
}

// TestUnasserted: what looks like a glide and nobody named is asked about, and
// tells nothing.
func TestUnasserted(t *testing.T) {
	sc := coasting(3, 6)
	sc.Coast.Silent = true
	s, r := analysed(t, sc)
	if r.Drag != nil {
		t.Error("a drag that nobody asserted")
	}
	found := 0
	for _, g := range r.Glides {
		if g.Why != glide.Unconfirmed {
			t.Errorf("glide at %.0f s: %q", g.Start, g.Why)
		}
		if slices.ContainsFunc(s.Truth.Glides, func(x simulate.Glide) bool { return float64(g.Start) < x.End && float64(g.End) > x.Start }) {
			found++
		} else {
			t.Errorf("a glide at %.0f s that there was not", g.Start)
		}
	}
	if found < len(s.Truth.Glides)/3 {
		t.Errorf("only %d of %d glides are asked about", found, len(s.Truth.Glides))
	}
}

// TestPressedGlides: a press at each start, with marks.means = "glide", says
// the same as times in the setup, and no press is taken for a feel.
func TestPressedGlides(t *testing.T) {
	sc := coasting(7, 8)
	sc.Coast.Silent = true
	s := simulate.Run(sc)
	for _, g := range s.Truth.Glides {
		s.Log.Marks = append(s.Log.Marks, ingest.Mark{At: g.Start + 0.5, Kind: raw.Press})
	}
	set, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(nil)+"\n[marks]\nmeans = \"glide\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	if r.Drag == nil || r.Drag.Glides < len(s.Truth.Glides)-2 {
		t.Fatalf("of %d pressed glides %d were read", len(s.Truth.Glides), len(r.Glides))
	}
	for _, m := range r.Marks {
		if m.Why != mark.OfGlide {
			t.Errorf("the press at %.0f s is taken for %q (%s)", float64(m.At), m.Means, m.Why)
		}
	}
	for _, o := range r.Drag.Options {
		if o.Drag.Value*o.Speed.Value > 0 {
			t.Errorf("%+g cards: %+.1f N more drag and %+.2f m/s", o.Cards, o.Drag.Value, o.Speed.Value)
		}
	}
}

// TestNamedTwice: the same [[glide]] four times over tells no more than once,
// and spans that are none take nothing from the pitch law; a warning says why
// they do not count.
func TestNamedTwice(t *testing.T) {
	sc := coasting(1, 5)
	sc.Duration = 900
	s := simulate.Run(sc)
	run := func(more func(glides string) string) *analysis.Result {
		text := s.SetupTOML(nil)
		at := strings.Index(text, "[[glide]]")
		if at < 0 {
			t.Fatal("the setup names no glide")
		}
		set, _, err := setup.Parse("setup.toml", []byte(text+more(text[at:])))
		if err != nil {
			t.Fatal(err)
		}
		r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	of := func(r *analysis.Result, why glide.Why) (n int) {
		for _, x := range analysis.Notes(r.Session.Warnings, analysis.GlidesNot) {
			if x.Why == why {
				n += x.Count
			}
		}
		return n
	}
	once := run(func(string) string { return "" })
	start := once.Log.Start
	span := func(from, to float64) string {
		clock := func(s float64) string {
			return start.Add(time.Duration(s * float64(time.Second))).UTC().Format("15:04:05")
		}
		return fmt.Sprintf("\n[[glide]]\nfrom = %q\nto = %q\n", clock(from), clock(to))
	}
	four := run(func(glides string) string { return "\n" + strings.Repeat(glides+"\n", 3) })
	if once.Drag == nil || four.Drag == nil {
		t.Fatal("no drag")
	}
	if a, b := once.Drag, four.Drag; b.Glides != a.Glides || b.Area.SD() < 0.99*a.Area.SD() {
		t.Errorf("%d glides %v m², and named four times over %d, %v", a.Glides, a.Area, b.Glides, b.Area)
	}
	if n := of(four, glide.Twice); n < 3*once.Drag.Glides {
		t.Errorf("%d are told as named twice", n)
	}
	wrong := run(func(string) string {
		out := span(5000, 5010)
		for at := 100.0; at < 800; at += 12 { // where nothing glides, and here and there something does
			out += span(at, at+2)
		}
		return out
	})
	if of(once, glide.Outside) != 0 || of(wrong, glide.Outside) != 1 || of(wrong, glide.NotSlowing) < 20 {
		t.Errorf("the warnings: %+v", wrong.Session.Warnings)
	}
	if a, b := len(once.Law.Windows), len(wrong.Law.Windows); b < a*95/100 {
		t.Errorf("spans that are no glides leave %d windows of %d", b, a)
	}
}
