package pitchlaw

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"syscall"
	"testing"

	"evenfoot/analysis/interval"
)

func fitMade(m made, seed uint64, p Params) *Fit {
	w, _ := m.build(rand.New(rand.NewPCG(seed, 1)))
	return Estimate(w, p)
}

// TestClosedLoop: 25 minutes of reaches on spread headings give the slope
// within 3 % in the mean and the flow within 0.15 m/s rms.
func TestClosedLoop(t *testing.T) {
	m := ordinary()
	m.courses = []float64{1.2, 4.4, 0.6, 3.9, 2.1, 5.3}
	m.reachSD = 1.1
	m.flow = [2]float64{0.4, -0.3}
	var slope, flow, n float64
	for k := range 8 {
		f := fitMade(m, uint64(k), Params{})
		if !f.Enough {
			t.Fatal(f.Missing)
		}
		if f.FlowSource != "estimated" {
			t.Errorf("flow source %q", f.FlowSource)
		}
		n++
		slope += f.Slope.Value/m.slope - 1
		flow += math.Pow(f.FlowEast.Value-m.flow[0], 2) + math.Pow(f.FlowNorth.Value-m.flow[1], 2)
	}
	if math.Abs(slope/n) > .03 {
		t.Errorf("slope off by %.1f %% in the mean", 100*slope/n)
	}
	if rms := math.Sqrt(flow / n / 2); rms > .15 {
		t.Errorf("flow off by %.2f m/s rms", rms)
	}
}

// TestDegenerate: what is missing is named, and no number is given.
func TestDegenerate(t *testing.T) {
	for _, c := range []struct {
		name  string
		m     func(*made)
		alter func([]Window) []Window
		says  LackKind
	}{
		{"no flight", nil, func([]Window) []Window { return nil }, NoFlight},
		{"no GPS", nil, func(w []Window) []Window {
			for i := range w {
				w[i].East, w[i].North = math.NaN(), math.NaN()
			}
			return w
		}, NoSpeed},
		{"two minutes", func(m *made) { m.minutes = 2 }, nil, ShortFlight},
		{"one reach", func(m *made) { m.reach = [2]float64{2000, 2000} }, nil, FewReaches},
		{"one speed", func(m *made) { m.reachSD, m.gustSD = 0.05, 0.05 }, nil, NarrowSpeeds},
		{"one tack", func(m *made) { m.starboard = func(int) int { return 1 } }, nil, OneTack},
		{"a moment on the other tack", func(m *made) {
			m.minutes, m.starboard = 60, func(int) int { return 1 }
		}, func(w []Window) []Window {
			for i := range 3 {
				w[i].Tack = -1
			}
			return w
		}, OneTack},
		{"other tack", func(m *made) { m.starboard = func(int) int { return -1 } }, nil, OneTack},
		{"all gusts", nil, func(w []Window) []Window {
			for i := range w {
				w[i].Reason = "gusts"
			}
			return w
		}, UnsteadyFlight},
		{"noise only", func(m *made) { m.slope, m.own = 0, 2*deg }, nil, PitchRises},
		{"all alike", nil, func(w []Window) []Window {
			for i := range w {
				w[i].PitchCos, w[i].East, w[i].North, w[i].Normal = 0.05, 8, 0, 9.81
			}
			return w
		}, NarrowSpeeds},
		{"infinite", nil, func(w []Window) []Window {
			for i := range w {
				w[i].PitchCos = math.Inf(1)
			}
			return w
		}, NoSpeed},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := ordinary()
			if c.m != nil {
				c.m(&m)
			}
			w, _ := m.build(rand.New(rand.NewPCG(5, 5)))
			if c.alter != nil {
				w = c.alter(w)
			}
			f := Estimate(w, Params{})
			if f.Enough {
				t.Fatalf("enough, slope %v", f.Slope)
			}
			if !slices.ContainsFunc(f.Missing, func(l Lack) bool { return l.Kind == c.says }) {
				t.Errorf("missing %v does not name %q", f.Missing, c.says)
			}
			if f.PitchAt(8, 9.81).Known() {
				t.Error("a pitch is given")
			}
			if len(f.Bends) > 0 {
				t.Error("bends are told")
			}
			tack := strings.HasSuffix(c.name, "tack")
			if f.Slope.Known() != tack || len(f.ZeroByTack) != map[bool]int{true: 1}[tack] {
				t.Errorf("slope %v, zeros %v", f.Slope, f.ZeroByTack)
			}
			if tack && !f.Slope.Contains(m.slope) {
				t.Errorf("slope %v does not hold %v", f.Slope, m.slope)
			}
			if f.FlowSource != "assumed zero" && !tack {
				t.Errorf("flow source %q", f.FlowSource)
			}
		})
	}
}

// TestTacksUnknown: without tacks one line stands for both and says so.
func TestTacksUnknown(t *testing.T) {
	m := ordinary()
	m.half = 0
	w, _ := m.build(rand.New(rand.NewPCG(2, 2)))
	for i := range w {
		w[i].Tack = 0
	}
	f := Estimate(w, Params{})
	if !f.Enough || len(f.ZeroByTack) != 0 {
		t.Errorf("enough %v %v, zeros %v", f.Enough, f.Missing, f.ZeroByTack)
	}
}

// TestGivenFlow: a stated current replaces the prior.
func TestGivenFlow(t *testing.T) {
	m := ordinary()
	m.flow = [2]float64{0.5, 0.2}
	m.minutes = 10
	f := fitMade(m, 3, Params{GivenFlow: &m.flow})
	if f.FlowSource != "given" || math.Abs(f.FlowEast.Value-.5) > .1 || f.FlowEast.SD() > givenSD {
		t.Errorf("flow %v %v %q", f.FlowEast, f.FlowNorth, f.FlowSource)
	}
	if f.FlowTurns[0].Known() {
		t.Error("a given flow was let drift")
	}
}

// TestFewHeadings: reaches up and down one line cannot tell the flow across.
func TestFewHeadings(t *testing.T) {
	m := ordinary()
	m.courses, m.courseSD = []float64{math.Pi / 2, 3 * math.Pi / 2}, 0.02
	f := fitMade(m, 4, Params{})
	if off := math.Abs(math.Remainder(f.FlowAxis, math.Pi)); f.FlowDoubt < 0.35 || off > 10*deg {
		t.Errorf("flow is in doubt by %.2f m/s along a line %.0f° off north", f.FlowDoubt, off/deg)
	}
	if f.FlowNorth.SD() < 0.35 || f.FlowEast.SD() > 0.3 {
		t.Errorf("flow east ±%.2f, north ±%.2f", f.FlowEast.SD(), f.FlowNorth.SD())
	}
}

// TestTide: a flow that turns over two hours is followed.
func TestTide(t *testing.T) {
	m := ordinary()
	m.minutes = 120
	m.courses = []float64{1.2, 4.4, 0.2, 3.4}
	m.flowRate = [2]float64{0.5, -0.4}
	f := fitMade(m, 5, Params{})
	for k, truth := range m.flowRate {
		if i := f.FlowTurns[k]; i.Low*i.High < 0 || math.Abs(i.Value-truth) > .2 {
			t.Errorf("flow turns by %v, truth %v", i, truth)
		}
	}
}

// TestBends: each departure is found and said where it is, and is not where
// it is not.
func TestBends(t *testing.T) {
	for _, c := range []struct {
		kind BendKind
		m    func(*made)
	}{
		{"", func(m *made) { m.half = 0 }},
		{Curvature, func(m *made) { m.half, m.bend, m.reachSD = 0, 1*deg, 1.2 }},
		{TackDifference, func(m *made) { m.half = 0.5 * deg }},
		{Drift, func(m *made) { m.half, m.drift = 0, 1*deg }},
	} {
		m := ordinary()
		m.minutes = 50
		c.m(&m)
		f := fitMade(m, 7, Params{})
		if len(f.Bends) != 3 {
			t.Fatalf("%q: %d bends, missing %v", c.kind, len(f.Bends), f.Missing)
		}
		for _, b := range f.Bends {
			if b.Matters != (b.Kind == c.kind) {
				t.Errorf("with %q: %s %v rad, p = %.3g, matters: %v", c.kind, b.Kind, b.Size, b.P, b.Matters)
			}
		}
	}
	// Sizes are in the unit they say.
	m := ordinary()
	m.minutes, m.half = 50, 0.5*deg
	b := fitMade(m, 7, Params{}).Bends[1]
	if math.Abs(b.Size.Value-1*deg) > .35*deg {
		t.Errorf("tack difference %v rad, truth 1°", b.Size)
	}
}

// TestLeverage: reaches of nonsense at low speed do not move the line.
func TestLeverage(t *testing.T) {
	m := ordinary()
	w, _ := m.build(rand.New(rand.NewPCG(8, 8)))
	clean := Estimate(w, Params{})
	bad := 0
	for i := range w {
		if w[i].Reach%9 == 3 {
			v := math.Hypot(w[i].East, w[i].North)
			w[i].East *= 4.5 / v
			w[i].North *= 4.5 / v
			w[i].PitchCos = 0
			bad++
		}
	}
	f := Estimate(w, Params{})
	if math.Abs(f.Slope.Value-clean.Slope.Value) > 2*clean.Slope.SD() {
		t.Errorf("%d bad windows moved the slope from %v to %v", bad, clean.Slope, f.Slope)
	}
	for _, o := range f.Windows {
		if o.Reach%9 == 3 && o.Weight > .05 {
			t.Fatalf("a bad window has weight %.2f", o.Weight)
		}
	}
}

// TestDeterministic: the same windows give the same fit, and are not changed.
func TestDeterministic(t *testing.T) {
	m := ordinary()
	m.minutes = 10
	w, _ := m.build(rand.New(rand.NewPCG(9, 9)))
	before := append([]Window(nil), w...)
	a, b := Estimate(w, Params{}), Estimate(w, Params{})
	if !reflect.DeepEqual(a, b) {
		t.Error("two fits differ")
	}
	if !reflect.DeepEqual(w, before) {
		t.Error("the caller's windows were changed")
	}
}

// TestCovariance: covariance, intervals and pitch tell the same story, and all
// hold the slope's systematic part.
func TestCovariance(t *testing.T) {
	f := fitMade(ordinary(), 10, Params{})
	checkAll(t, "1σ", []float64{math.Sqrt(f.Covariance[0][0]), math.Sqrt(f.Covariance[1][1])}, []float64{f.Zero.SD(), f.Slope.SD()}, 1e-9)
	if f.Slope.SD() < f.Systematic*f.Slope.Value || f.Systematic != slopeSD {
		t.Errorf("slope %v with a systematic part of %.3f", f.Slope, f.Systematic)
	}
	// A wrong slope turns the line about the windows: there the pitch is surer
	// than at zero lift.
	if at := f.PitchAt(8, 9.81); at.SD() > 0.9*f.Zero.SD() {
		t.Errorf("pitch %v is no surer than the zero %v", at, f.Zero)
	}
}

// TestHeeled: the systematic part grows with the usual heel, whichever the side.
func TestHeeled(t *testing.T) {
	w, _ := ordinary().build(rand.New(rand.NewPCG(10, 1)))
	for i := range w {
		w[i].Heel = float64(w[i].Tack) * 25 * deg
	}
	f := Estimate(w, Params{})
	if want := math.Hypot(0.04, 0.4*math.Sin(25*deg)); math.Abs(f.Systematic-want) > 1e-12 {
		t.Errorf("systematic part %.4f, want %.4f", f.Systematic, want)
	}
}

func TestPitchAt(t *testing.T) {
	f := Fit{Enough: true, Zero: interval.Exact(-.02), Slope: interval.Exact(140), Density: 1000}
	if got := f.PitchAt(8, 9.8).Value; math.Abs(got-(-.02+140*2*9.8/64000)) > 1e-12 {
		t.Error(got)
	}
	if f.PitchAt(0, 9.8).Known() || (&Fit{}).PitchAt(8, 9.8).Known() {
		t.Error("a pitch is given")
	}
}

func BenchmarkEstimateTwoHours(b *testing.B) {
	m := ordinary()
	m.minutes = 120
	w, _ := m.build(rand.New(rand.NewPCG(1, 1)))
	cpu := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()) / 1e6
	}
	before := cpu()
	for b.Loop() {
		Estimate(w, Params{})
	}
	b.ReportMetric((cpu()-before)/float64(b.N), "cpu-ms/op")
}
