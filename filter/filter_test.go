package filter

import (
	"math"
	"strings"
	"testing"
)

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol || a != a && b != b }

func checkAll(t *testing.T, what string, got, want []float64, tol float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, want %d", what, len(got), len(want))
	}
	for i := range got {
		if !near(got[i], want[i], tol) {
			t.Errorf("%s[%d] = %.17g, want %.17g", what, i, got[i], want[i])
		}
	}
}

func lowPass(t testing.TB, wn float64) *Biquad {
	f, err := LowPass(wn/2, 1)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// gain is |H| at a frequency in cycles per sample.
func gain(s *Biquad, f float64) float64 {
	s1, c1 := math.Sincos(2 * math.Pi * f)
	s2, c2 := math.Sincos(4 * math.Pi * f)
	return math.Hypot(s.B0+s.B1*c1+s.B2*c2, s.B1*s1+s.B2*s2) / math.Hypot(1+s.A1*c1+s.A2*c2, s.A1*s1+s.A2*s2)
}

// Printed by SciPy's butter(2, Wn), Wn in half the rate.
func TestButterworthCoefficients(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ wn, b0, a1, a2, tol float64 }{
		{0.2, .06745527388907192, -1.1429805025399011, .41280159809618877, 1e-14},
		{0.05, .005542717210280681, -1.7786317778245846, .8008026466657073, 1e-13},
		{0.1, .020083365564211236, -1.5610180758007182, .6413515380575631, 1e-13},
		{0.4, .20657208382614792, -.3695273773512414, .19581571265583306, 1e-13},
		{0.5, .2928932188134525, 0, .1715728752538099, 1e-13},
	} {
		s := lowPass(t, c.wn)
		if !near(s.B0, c.b0, c.tol) || !near(s.B1, 2*c.b0, 2*c.tol) || !near(s.B2, c.b0, c.tol) ||
			!near(s.A1, c.a1, c.tol) || !near(s.A2, c.a2, c.tol) {
			t.Errorf("Wn %g: %+v", c.wn, s)
		}
		if g := gain(s, c.wn/2); !near(g, math.Sqrt(0.5), 1e-12) {
			t.Errorf("Wn %g: gain at the cut-off %g", c.wn, g)
		}
	}
}

// Sixteen samples without a pattern; the expectation was computed with SciPy
// 1.10.1, filtfilt(b, a, x) of butter(2, 0.2).
var (
	sample = []float64{1, 2, -1, 3, 0, 5, 4, 4, -2, 1, 0, 7, 3, 2, 2, 1}
	both   = []float64{0.9984280729995711, 1.1835711924110017, 1.4423262223725766,
		1.8052505027897214, 2.204682237459179, 2.482836777971667, 2.4895936220170993, 2.245087576518027, 1.9918553751776864,
		1.9961151430838628, 2.2823599929833405, 2.5973786131052776, 2.6466469284210503, 2.3292881451586966, 1.727256348802949, 0.9777161486562256}
)

func TestBoth(t *testing.T) {
	t.Parallel()
	f := lowPass(t, 0.2)
	checkAll(t, "both", f.Both(sample), both, 1e-12)

	// Two stretches with a hole between are filtered each on its own.
	nan := math.NaN()
	holed := append(append(append([]float64{nan}, sample...), math.Inf(1), nan), sample...)
	got := f.Both(holed)
	checkAll(t, "first stretch", got[1:17], both, 1e-12)
	checkAll(t, "second stretch", got[19:], both, 1e-12)
	if got[0] == got[0] || !math.IsInf(got[17], 1) || got[18] == got[18] {
		t.Errorf("the hole became %v, %v", got[0], got[17:19])
	}
	for n := range 4 { // shorter than the padding
		for _, v := range f.Both(sample[:n]) {
			if v != v {
				t.Errorf("%d samples: NaN", n)
			}
		}
	}
}

// A sine passes forward and backward without delay, at the gain squared.
func TestBothHasNoDelay(t *testing.T) {
	t.Parallel()
	f := lowPass(t, 0.1)
	x := make([]float64, 2000)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 0.04 * float64(i))
	}
	g := gain(f, 0.04)
	for i, y := range f.Both(x)[500:1500] {
		if !near(y, g*g*x[i+500], 1e-9) {
			t.Fatalf("sample %d: %g, want %g", i+500, y, g*g*x[i+500])
		}
	}
}

func TestBadCutOff(t *testing.T) {
	t.Parallel()
	for _, hz := range []float64{0, 5, math.NaN()} {
		if _, err := LowPass(hz, 10); err == nil || !strings.Contains(err.Error(), "half the rate") {
			t.Errorf("%g Hz: %v", hz, err)
		}
	}
}

func TestInPartsCoversAll(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 1, 2, 3, 1000} {
		seen := make([]int, n)
		InParts(n, func(from, to int) {
			for i := from; i < to; i++ {
				seen[i]++
			}
		})
		for i, v := range seen {
			if v != 1 {
				t.Errorf("%d of %d was done %d times", i, n, v)
			}
		}
	}
}

func BenchmarkBoth(b *testing.B) {
	f := lowPass(b, 0.04)
	x := make([]float64, 100_000)
	for i := range x {
		x[i] = math.Sin(float64(i))
	}
	for b.Loop() {
		f.Both(x)
	}
	b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

// TestEachPanics: a panic on any core comes to the caller, as its value.
func TestEachPanics(t *testing.T) {
	defer func() {
		if p := recover(); p != "planted" {
			t.Errorf("recovered %v", p)
		}
	}()
	Each(40, func(i int) {
		if i == 7 {
			panic("planted")
		}
	})
}
