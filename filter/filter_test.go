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

// checks.md 11e, 11f (V L: SciPy's butter, printed values): order 2.
func TestButterworthCoefficients(t *testing.T) {
	for _, c := range []struct{ wn, b0, a1, a2, tol float64 }{
		{0.2, .06745527388907192, -1.1429805025399011, .41280159809618877, 1e-14},
		{0.05, .005542717210280681, -1.7786317778245846, .8008026466657073, 1e-13},
		{0.1, .020083365564211236, -1.5610180758007182, .6413515380575631, 1e-13},
		{0.4, .20657208382614792, -.3695273773512414, .19581571265583306, 1e-13},
		{0.5, .2928932188134525, 0, .1715728752538099, 1e-13},
	} {
		f, err := LowPass(2, c.wn/2, 1)
		if err != nil {
			t.Fatal(err)
		}
		s := f.Sections[0]
		if len(f.Sections) != 1 || !near(s.B0, c.b0, c.tol) || !near(s.B1, 2*c.b0, 2*c.tol) || !near(s.B2, c.b0, c.tol) ||
			!near(s.A1, c.a1, c.tol) || !near(s.A2, c.a2, c.tol) {
			t.Errorf("Wn %g: %+v", c.wn, f.Sections)
		}
	}
	// Computed with SciPy 1.10.1: butter(5, 0.3, output="sos"), denominators (L).
	f, err := LowPass(5, 0.15, 1)
	if err != nil {
		t.Fatal(err)
	}
	want := map[float64]float64{-0.7105255165406029: 0.208818210000029, -0.9404564036679571: 0.6, -0.32491969623290634: 0}
	for _, s := range f.Sections {
		found := false
		for a1, a2 := range want {
			found = found || near(s.A1, a1, 1e-13) && near(s.A2, a2, 1e-13)
		}
		if !found {
			t.Errorf("order 5: section %+v is not SciPy's", s)
		}
	}
	for order := 1; order <= 12; order++ {
		f, err := LowPass(order, 12, 100)
		if err != nil {
			t.Fatal(err)
		}
		if g := gain(f, 12.0/100); !near(g, math.Sqrt(0.5), 1e-12) {
			t.Errorf("order %d: gain at the cut-off %g", order, g)
		}
		if g := gain(f, 0); !near(g, 1, 1e-12) {
			t.Errorf("order %d: gain at 0 Hz %g", order, g)
		}
	}
}

// gain is |H| at a frequency in cycles per sample.
func gain(c *Cascade, f float64) float64 {
	g := 1.0
	s1, c1 := math.Sincos(2 * math.Pi * f)
	s2, c2 := math.Sincos(4 * math.Pi * f)
	for _, s := range c.Sections {
		g *= math.Hypot(s.B0+s.B1*c1+s.B2*c2, s.B1*s1+s.B2*s2) / math.Hypot(1+s.A1*c1+s.A2*c2, s.A1*s1+s.A2*s2)
	}
	return g
}

// Sixteen samples without a pattern; every expectation on them was computed
// with SciPy 1.10.1 (L).
var sample = []float64{1, 2, -1, 3, 0, 5, 4, 4, -2, 1, 0, 7, 3, 2, 2, 1}

func TestForwardAndBoth(t *testing.T) {
	mustLowPass := func(order int, wn float64) *Cascade {
		f, err := LowPass(order, wn/2, 1)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	// sosfilt(sos, x, zi=sosfilt_zi(sos)*x[0])
	checkAll(t, "forward, order 2", mustLowPass(2, 0.2).Forward(sample), []float64{1.0000000000000002, 1.0674552738890721, 1.0771000628486982,
		0.9928229498301662, 1.027425016321942, 1.30413005227383, 2.010846368310636, 2.9067508789925456, 3.16683172495537,
		2.487170782222239, 1.5355145136036468, 1.2679972678890956, 1.9621729654698454, 2.731123251912791, 2.9187299560842477, 2.6808263062196804}, 1e-13)
	checkAll(t, "forward, order 4", mustLowPass(4, 0.2).Forward(sample), []float64{1.0000000000000002, 1.0048243433577164, 1.0210800310526535,
		1.038785933134144, 1.0433885501134272, 1.0585096472270992, 1.1668575080596284, 1.4769738084678619, 2.0002897001112845,
		2.5376384759247537, 2.7812803186425255, 2.5945146945672355, 2.1726354569130093, 1.8772173288401879, 1.9059908291434007, 2.170629254838215}, 1e-12)
	// filtfilt(b, a, x)
	order2 := []float64{0.9984280729995711, 1.1835711924110017, 1.4423262223725766,
		1.8052505027897214, 2.204682237459179, 2.482836777971667, 2.4895936220170993, 2.245087576518027, 1.9918553751776864,
		1.9961151430838628, 2.2823599929833405, 2.5973786131052776, 2.6466469284210503, 2.3292881451586966, 1.727256348802949, 0.9777161486562256}
	checkAll(t, "both, order 2", mustLowPass(2, 0.2).Both(sample), order2, 1e-12)
	checkAll(t, "both, order 3", mustLowPass(3, 0.2).Both(sample), []float64{1.0001108397199938, 1.279609056254149, 1.581991399451612,
		1.8981646736000637, 2.1705137501283898, 2.3220501726983787, 2.3175409760514105, 2.2124032752301486, 2.1346954176392696,
		2.193319319889322, 2.3823123096440417, 2.568529216617562, 2.576047890182722, 2.293925537495439, 1.7292790486291871, 0.993664734311417}, 1e-12)
	checkAll(t, "both, order 4", mustLowPass(4, 0.2).Both(sample), []float64{1.015519176890581, 1.3520109828798652, 1.6690360463513527,
		1.941137309645014, 2.1334111333863426, 2.221863280085795, 2.2192526872317497, 2.183331361177726, 2.191366613847762,
		2.289640848970171, 2.4512083373623152, 2.575518411146472, 2.5353523926150365, 2.243352445270435, 1.6997727138300152, 0.9987641765611035}, 1e-12)

	// Two stretches with a hole between are filtered each on its own.
	holed := append(append(append([]float64{nan}, sample...), math.Inf(1), nan), sample...)
	got := mustLowPass(2, 0.2).Both(holed)
	checkAll(t, "first stretch", got[1:17], order2, 1e-12)
	checkAll(t, "second stretch", got[19:], order2, 1e-12)
	if got[0] == got[0] || !math.IsInf(got[17], 1) || got[18] == got[18] {
		t.Errorf("the hole became %v, %v", got[0], got[17:19])
	}
	for n := range 4 { // shorter than the padding
		for _, v := range mustLowPass(2, 0.2).Both(sample[:n]) {
			if v != v {
				t.Errorf("%d samples: NaN", n)
			}
		}
	}
}

// A sine passes forward and backward without delay, at the gain squared.
func TestBothHasNoDelay(t *testing.T) {
	f, err := LowPass(4, 5, 100)
	if err != nil {
		t.Fatal(err)
	}
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

// checks.md 11a–d (V L: Savitzky and Golay's tables, with their corrections).
func TestSavitzkyGolayTables(t *testing.T) {
	for _, c := range []struct {
		window, degree, deriv int
		by                    float64
		want                  []float64
	}{
		{5, 2, 0, 35, []float64{-3, 12, 17, 12, -3}},
		{5, 3, 0, 35, []float64{-3, 12, 17, 12, -3}},
		{7, 2, 0, 21, []float64{-2, 3, 6, 7, 6, 3, -2}},
		{7, 3, 0, 21, []float64{-2, 3, 6, 7, 6, 3, -2}},
		{9, 2, 0, 231, []float64{-21, 14, 39, 54, 59, 54, 39, 14, -21}},
		{11, 2, 0, 429, []float64{-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36}},
		{5, 2, 1, 10, []float64{-2, -1, 0, 1, 2}},
		{7, 2, 1, 28, []float64{-3, -2, -1, 0, 1, 2, 3}},
		{5, 3, 1, 12, []float64{1, -8, 0, 8, -1}},
		{5, 2, 2, 7, []float64{2, -1, -2, -1, 2}},
	} {
		f, err := NewSavitzkyGolay(c.window, c.degree, c.deriv, 1)
		if err != nil {
			t.Fatal(err)
		}
		for i, w := range f.Weights {
			if !near(w, c.want[i]/c.by, 1e-12) {
				t.Errorf("%d points, degree %d, derivative %d: weight %d is %.15g, want %g/%g", c.window, c.degree, c.deriv, i, w, c.want[i], c.by)
			}
		}
	}
}

// savgol_filter(x, ..., mode="interp") of SciPy 1.10.1 (L).
func TestSavitzkyGolayApply(t *testing.T) {
	for _, c := range []struct {
		window, degree, deriv int
		dt                    float64
		want                  []float64
	}{
		{5, 2, 0, 1, []float64{1.0571428571428565, 1.171428571428571, 1.1428571428571421, 0.5142857142857133, 2.485714285714284, 3.1999999999999975,
			5.1999999999999975, 2.114285714285713, 0.399999999999999, -1.1428571428571441, 2.6571428571428557, 4.171428571428569, 4.371428571428569,
			1.999999999999998, 1.2000000000000002, 1.4000000000000021}},
		{7, 3, 1, 0.1, []float64{-11.26984126984117, -3.293650793650763, 3.0158730158730007, 7.658730158730159, 16.150793650793656, 12.738095238095239,
			-5.873015873015871, -24.444444444444457, -19.285714285714285, 13.452380952380953, 28.849206349206362, 6.0714285714285765,
			-6.190476190476196, -10.595238095238061, -9.999999999999968, -4.4047619047618936}},
		{5, 2, 2, 0.5, []float64{-0.5714285714285722, -0.5714285714285722, -0.571428571428573, 5.1428571428571415, -1.142857142857146, 0,
			-12.000000000000004, 1.1428571428571404, 4, 12.57142857142857, -3.4285714285714315, -6.285714285714289, -6.28571428571429, 4, 4, 4}},
	} {
		f, err := NewSavitzkyGolay(c.window, c.degree, c.deriv, c.dt)
		if err != nil {
			t.Fatal(err)
		}
		checkAll(t, "savgol", f.Apply(sample), c.want, 1e-11)
		holed := append(append([]float64{nan, 1, 2, nan}, sample...), nan)
		got := f.Apply(holed)
		checkAll(t, "after a hole", got[4:len(got)-1], c.want, 1e-11)
		if got[1] == got[1] {
			t.Error("a stretch shorter than the window has a value")
		}
	}
}

func TestBadArguments(t *testing.T) {
	for _, c := range []struct {
		err  func() error
		want string
	}{
		{func() error { _, err := LowPass(0, 1, 10); return err }, "order 0"},
		{func() error { _, err := LowPass(2, 5, 10); return err }, "half the rate"},
		{func() error { _, err := LowPass(2, math.NaN(), 10); return err }, "cut-off"},
		{func() error { _, err := NewSavitzkyGolay(4, 2, 0, 1); return err }, "odd"},
		{func() error { _, err := NewSavitzkyGolay(5, 5, 0, 1); return err }, "degree"},
		{func() error { _, err := NewSavitzkyGolay(5, 2, 3, 1); return err }, "derivative"},
		{func() error { _, err := NewSavitzkyGolay(5, 2, 0, 0); return err }, "between samples"},
	} {
		if err := c.err(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want an error with %q", err, c.want)
		}
	}
}

// A parabola's derivative is exact on uneven times; a gap ends a stretch.
func TestDerivative(t *testing.T) {
	at := []float64{0, 0.1, 0.3, 0.35, 2, 2.1, 4}
	x := make([]float64, len(at))
	for i, a := range at {
		x[i] = 3*a*a - a
	}
	got := Derivative(at, x, 1)
	checkAll(t, "derivative", got, []float64{(x[1] - x[0]) / 0.1, 6*0.1 - 1, 6*0.3 - 1, (x[3] - x[2]) / 0.05,
		(x[5] - x[4]) / 0.1, (x[5] - x[4]) / 0.1, nan}, 1e-9)
	x[2] = nan
	if got := Derivative(at, x, 1); got[2] == got[2] || !near(got[1], (x[1]-x[0])/0.1, 1e-12) {
		t.Errorf("beside a hole: %v", got)
	}
}

func TestResample(t *testing.T) {
	at := []float64{0, 1, 2, 3, 10, 11}
	x := []float64{0, 10, nan, 30, 100, 110}
	got := Resample(at, x, []float64{-1, 0, 0.5, 2, 2.5, 3, 3.5, 10, 10.25, 11, 11.5}, 2)
	checkAll(t, "resampled", got, []float64{nan, 0, 5, 20, 25, 30, nan, 100, 102.5, 110, nan}, 1e-12)
	got = Resample(at, x, []float64{1.5, 5}, 1)
	checkAll(t, "short gap", got, []float64{nan, nan}, 0)
	got = Resample(nil, nil, []float64{1}, 1)
	checkAll(t, "nothing", got, []float64{nan}, 0)
}

func TestRMS(t *testing.T) {
	if got := RMS([]float64{3, nan, -4}); !near(got, math.Sqrt(12.5), 1e-15) {
		t.Errorf("RMS %g", got)
	}
	if got := RMS(nil); got == got {
		t.Errorf("RMS of nothing %g", got)
	}
	checkAll(t, "running", RunningRMS([]float64{3, -3, nan, 4, 4}, 3),
		[]float64{3, 3, math.Sqrt(12.5), 4, 4}, 1e-12)
	checkAll(t, "running, holes only", RunningRMS([]float64{nan, nan}, 1), []float64{nan, nan}, 0)
}

func BenchmarkBoth(b *testing.B) {
	f, err := LowPass(2, 2, 100)
	if err != nil {
		b.Fatal(err)
	}
	x := make([]float64, 100_000)
	for i := range x {
		x[i] = math.Sin(float64(i))
	}
	for b.Loop() {
		f.Both(x)
	}
	b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
