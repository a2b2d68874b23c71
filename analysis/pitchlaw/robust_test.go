package pitchlaw

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// norris is the Norris data of the National Institute of Standards and
// Technology's Statistical Reference Datasets, y then x.
var norris = []float64{
	.1, .2, 338.8, 337.4, 118.1, 118.2, 888.0, 884.6, 9.2, 10.1, 228.1, 226.5, 668.5, 666.3, 998.5, 996.3,
	449.1, 448.6, 778.9, 777.0, 559.2, 558.2, .3, .4, .1, .6, 778.1, 775.5, 668.8, 666.9, 339.3, 338.0,
	448.9, 447.5, 10.8, 11.6, 557.7, 556.0, 228.3, 228.1, 998.0, 995.8, 888.8, 887.6, 119.6, 120.2, .3, .3,
	.6, .3, 557.6, 556.8, 339.3, 339.1, 888.0, 887.2, 998.5, 999.0, 778.9, 779.0, 10.2, 11.1, 117.6, 118.3,
	228.9, 229.2, 668.4, 669.1, 449.2, 448.9, .2, .5,
}

// pontius is the load cell's deflection of the set of that name, twice over
// loads of 150000 to 3000000.
var pontius = []float64{
	.11019, .21956, .32949, .43899, .54803, .65694, .76562, .87487, .98292, 1.09146,
	1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
	.11052, .22018, .32939, .43886, .54798, .65739, .76596, .87474, .98300, 1.09150,
	1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
}

// longley is the set of that name, y then six x.
var longley = []float64{
	60323, 83.0, 234289, 2356, 1590, 107608, 1947,
	61122, 88.5, 259426, 2325, 1456, 108632, 1948,
	60171, 88.2, 258054, 3682, 1616, 109773, 1949,
	61187, 89.5, 284599, 3351, 1650, 110929, 1950,
	63221, 96.2, 328975, 2099, 3099, 112075, 1951,
	63639, 98.1, 346999, 1932, 3594, 113270, 1952,
	64989, 99.0, 365385, 1870, 3547, 115094, 1953,
	63761, 100.0, 363112, 3578, 3350, 116219, 1954,
	66019, 101.2, 397469, 2904, 3048, 117388, 1955,
	67857, 104.6, 419180, 2822, 2857, 118734, 1956,
	68169, 108.4, 442769, 2936, 2798, 120445, 1957,
	66513, 110.8, 444546, 4681, 2637, 121950, 1958,
	68655, 112.6, 482704, 3813, 2552, 123366, 1959,
	69564, 114.2, 502601, 3931, 2514, 125368, 1960,
	69331, 115.7, 518173, 4806, 2572, 127852, 1961,
	70551, 116.9, 554894, 4007, 2827, 130081, 1962,
}

// stackLoss is Brownlee's data: stack loss, air flow, water temperature, acid;
// rows from memory, and the least-squares answer proves them.
var stackLoss = []float64{
	42, 80, 27, 89, 37, 80, 27, 88, 37, 75, 25, 90, 28, 62, 24, 87, 18, 62, 22, 87, 18, 62, 23, 87, 19, 62, 24, 93,
	20, 62, 24, 93, 15, 58, 23, 87, 14, 58, 18, 80, 14, 58, 18, 89, 13, 58, 17, 88, 11, 58, 18, 82, 12, 58, 19, 93,
	8, 50, 18, 89, 7, 50, 18, 86, 8, 50, 19, 72, 8, 50, 19, 79, 9, 50, 20, 80, 15, 56, 20, 82, 15, 70, 20, 91,
}

// table splits rows of y, x1, x2 ... and puts a column of ones first.
func table(flat []float64, width int) (x, y []float64) {
	for i := 0; i < len(flat); i += width {
		y = append(y, flat[i])
		x = append(x, 1)
		x = append(x, flat[i+1:i+width]...)
	}
	return x, y
}

func stars(t *testing.T) (x, y []float64) {
	t.Helper()
	f, err := os.Open("testdata/stars_cyg_ob1.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		a, err1 := strconv.ParseFloat(row[0], 64)
		b, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		x = append(x, 1, a)
		y = append(y, b)
	}
	if len(y) != 47 {
		t.Fatalf("%d stars", len(y))
	}
	return x, y
}

func checkAll(t *testing.T, name string, got, want []float64, rel float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, want %d", name, len(got), len(want))
	}
	for i := range want {
		if !(math.Abs(got[i]-want[i]) <= rel*math.Abs(want[i])) {
			t.Errorf("%s[%d] = %.15g, want %.15g (off by %.1e)", name, i, got[i], want[i], math.Abs(got[i]/want[i]-1))
		}
	}
}

func robust(t *testing.T, x, y []float64) solution {
	t.Helper()
	g, _, err := regress(x, y)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// least is the product's least-squares routine on a linear problem, with the
// residuals' weights; nil for none.
func least(t *testing.T, x, y []float64, weigh func(r, w []float64)) solution {
	t.Helper()
	d := newDesign(x, y)
	s, err := d.fit(make([]float64, d.p), 500, flatGradient, weigh)
	if err != nil || !s.reached {
		t.Fatal(s.reached, err)
	}
	return s
}

// scaleOf is the residuals' standard error, for n rows and p parameters.
func scaleOf(s solution) float64 { return math.Sqrt(s.rss / float64(len(s.r)-len(s.beta))) }

// huber weighs by Huber's loss with k = 1.345 and the scale med|r|/0.6745 of
// the residuals at hand, after a first step of least squares.
func huber(scale *float64) func(r, w []float64) {
	first := true
	return func(r, w []float64) {
		if first {
			first = false
			return
		}
		*scale = medianAbs(r) / consistency
		for i, v := range r {
			w[i] = min(1, 1.345**scale/math.Abs(v))
		}
	}
}

// TestNISTLinear takes the least-squares routine through three of the
// Statistical Reference Datasets of the National Institute of Standards and
// Technology, certified values as published there.
func TestNISTLinear(t *testing.T) {
	x, y := table(norris, 2)
	s := least(t, x, y, nil)
	checkAll(t, "Norris", s.beta, []float64{-0.262323073774029, 1.00211681802045}, 1e-11)
	checkAll(t, "Norris s", []float64{scaleOf(s)}, []float64{.884796396144373}, 1e-12)

	x, y = nil, pontius
	for i := range y {
		load := 150000 * float64(i%20+1)
		x = append(x, 1, load, load*load)
	}
	s = least(t, x, y, nil)
	checkAll(t, "Pontius", s.beta, []float64{.673565789473684e-3, .732059160401003e-6, -.316081871345029e-14}, 1e-10)
	checkAll(t, "Pontius s", []float64{scaleOf(s)}, []float64{.205177424076185e-3}, 1e-10)

	x, y = table(longley, 7)
	s = least(t, x, y, nil)
	checkAll(t, "Longley", s.beta, []float64{-3482258.63459582, 15.0618722713733, -.0358191792925910,
		-2.02022980381683, -1.03322686717359, -.0511041056535807, 1829.15146461355}, 1e-9)
	checkAll(t, "Longley s", []float64{scaleOf(s)}, []float64{304.854073561965}, 1e-9)
}

func TestStackLoss(t *testing.T) {
	x, y := table(stackLoss, 4)
	// Least squares as computed independently in exact arithmetic.
	s := least(t, x, y, nil)
	checkAll(t, "least squares", append(s.beta, scaleOf(s)),
		[]float64{-39.91967442, .7156402, 1.29528612, -.15212252, 3.24336}, 2e-6)
	// Venables & Ripley, Modern Applied Statistics with S, print Huber's
	// estimate to four figures; these are the digits it converges to.
	var scale float64
	s = least(t, x, y, huber(&scale))
	checkAll(t, "Huber", append(s.beta, scale),
		[]float64{-41.026485373295, .829385770253855, .926059415548607, -.127846317965416, 2.4404890459928}, 1e-6)
	// An MM-estimate with the same loss from a statistics package's manual,
	// from memory.
	g := robust(t, x, y)
	checkAll(t, "MM", g.beta, []float64{-41.5246, .9388, .5796, -.1129}, 3e-4)
	for i, w := range g.w {
		bad := i == 3 || i == 20 // days 4 and 21
		if bad != (w < 0.5) {
			t.Errorf("day %d has weight %.3f", i+1, w)
		}
	}
}

// TestStarCluster is Rousseeuw & Leroy's warning (1987, page 27): four giant
// stars turn the line of least squares, and Huber's, the wrong way.
func TestStarCluster(t *testing.T) {
	x, y := stars(t)
	giants := map[int]bool{10: true, 19: true, 29: true, 33: true}
	checkAll(t, "least squares", least(t, x, y, nil).beta, []float64{6.7934673, -.41330386}, 1e-6)
	var cx, cy []float64
	for i := range y {
		if !giants[i] {
			cx, cy = append(cx, x[2*i], x[2*i+1]), append(cy, y[i])
		}
	}
	checkAll(t, "without giants", least(t, cx, cy, nil).beta, []float64{-4.05652, 2.04666}, 3e-6)
	var scale float64
	if b := least(t, x, y, huber(&scale)).beta[1]; math.Abs(b+.4285) > 1e-4 {
		t.Errorf("Huber's slope = %.5f, want -0.4285", b)
	}
	// The MM-estimate that a statistics package's manual prints to three decimals.
	g := robust(t, x, y)
	for k, want := range []float64{-4.969, 2.253} {
		if math.Abs(g.beta[k]-want) > 1e-3 {
			t.Errorf("MM[%d] = %.6f, want %.3f", k, g.beta[k], want)
		}
	}
	for i, w := range g.w {
		if giants[i] != (w < .01) {
			t.Errorf("star %d has weight %.4f", i+1, w)
		}
	}
}

// TestRegressLarge: the sampled start finds a line under 40 % leverage
// points in 3000 rows, the same one each time.
func TestRegressLarge(t *testing.T) {
	var x, y []float64
	for i := range 3000 {
		u := float64(i%997) / 997
		noise := math.Sin(float64(i)*12.9898) * .05
		if i%5 < 2 {
			x, y = append(x, 1, 5+u), append(y, -3+noise)
		} else {
			x, y = append(x, 1, u), append(y, 1+2*u+noise)
		}
	}
	a, b := robust(t, x, y), robust(t, x, y)
	if math.Abs(a.beta[0]-1) > .01 || math.Abs(a.beta[1]-2) > .02 {
		t.Errorf("line %v, want 1, 2", a.beta)
	}
	if a.beta[0] != b.beta[0] || a.beta[1] != b.beta[1] {
		t.Error("two runs differ")
	}
}

func TestRegressRefuses(t *testing.T) {
	for name, c := range map[string]struct{ x, y []float64 }{
		"no rows":       {nil, nil},
		"ragged":        {[]float64{1, 2, 3}, []float64{1, 2}},
		"too few":       {[]float64{1, 2, 1, 3}, []float64{1, 2}},
		"equal columns": {[]float64{1, 1, 1, 1, 1, 1}, []float64{1, 2, 3}},
		"not numbers":   {[]float64{1, 1, 1, 2, 1, 3, 1, 4}, []float64{1, math.NaN(), 3, math.Inf(1)}},
	} {
		if _, _, err := regress(c.x, c.y); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func BenchmarkRegressMM(b *testing.B) {
	var x, y []float64
	for i := range 2400 {
		u := math.Mod(float64(i)*0.618, 1)
		x = append(x, 1, float64(1-2*(i/40%2)), u)
		y = append(y, u+.1*math.Sin(float64(i)))
	}
	for b.Loop() {
		if _, _, err := regress(x, y); err != nil {
			b.Fatal(err)
		}
	}
}
