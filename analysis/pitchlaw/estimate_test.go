package pitchlaw

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
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
		f := fitMade(m, uint64(k), Params{Level: true})
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
		says  string
	}{
		{"no flight", nil, func([]Window) []Window { return nil }, "straight flight"},
		{"no GPS", nil, func(w []Window) []Window {
			for i := range w {
				w[i].East, w[i].North = math.NaN(), math.NaN()
			}
			return w
		}, "GPS speed"},
		{"two minutes", func(m *made) { m.minutes = 2 }, nil, "time in straight flight"},
		{"one reach", func(m *made) { m.reach = [2]float64{2000, 2000} }, nil, "straight reaches"},
		{"one speed", func(m *made) { m.reachSD, m.gustSD = 0.05, 0.05 }, nil, "spread of speeds"},
		{"one tack", func(m *made) { m.starboard = func(int) int { return 1 } }, nil, "port tack"},
		{"a moment on the other tack", func(m *made) {
			m.minutes, m.starboard = 60, func(int) int { return 1 }
		}, func(w []Window) []Window {
			for i := range 3 {
				w[i].Tack = -1
			}
			return w
		}, "port tack"},
		{"other tack", func(m *made) { m.starboard = func(int) int { return -1 } }, nil, "starboard tack"},
		{"all gusts", nil, func(w []Window) []Window {
			for i := range w {
				w[i].Reason = "gusts"
			}
			return w
		}, "steady flight"},
		{"noise only", func(m *made) { m.slope, m.own = 0, 2*deg }, nil, "speed"},
		{"all alike", nil, func(w []Window) []Window {
			for i := range w {
				w[i].PitchCos, w[i].East, w[i].North, w[i].Normal = 0.05, 8, 0, 9.81
			}
			return w
		}, "speed"},
		{"infinite", nil, func(w []Window) []Window {
			for i := range w {
				w[i].PitchCos = math.Inf(1)
			}
			return w
		}, "none was found"},
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
			if !strings.Contains(strings.Join(f.Missing, "; "), c.says) {
				t.Errorf("missing %q does not name %q", f.Missing, c.says)
			}
			if f.PitchAt(8, 9.81).Known() {
				t.Error("a pitch is given")
			}
			if len(f.Bend) > 0 {
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
	if !f.Enough || len(f.ZeroByTack) != 0 || !strings.Contains(strings.Join(f.Notes, " "), "tacks are not known") {
		t.Errorf("enough %v %v, zeros %v, notes %q", f.Enough, f.Missing, f.ZeroByTack, f.Notes)
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
	notes := strings.Join(f.Notes, " ")
	if !strings.Contains(notes, "headings are too few") || !strings.Contains(notes, "along the line 1") && !strings.Contains(notes, "along the line 0") {
		t.Errorf("notes %q", f.Notes)
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
	if !strings.Contains(strings.Join(f.Notes, " "), "per hour") {
		t.Errorf("notes %q", f.Notes)
	}
}

// TestBends: each departure is found and said where it is, and is not where
// it is not.
func TestBends(t *testing.T) {
	for _, c := range []struct {
		name string
		m    func(*made)
	}{
		{"", func(m *made) { m.half = 0 }},
		{"curvature", func(m *made) { m.half, m.bend, m.reachSD = 0, 1*deg, 1.2 }},
		{"tack difference", func(m *made) { m.half = 0.5 * deg }},
		{"drift", func(m *made) { m.half, m.drift = 0, 1*deg }},
	} {
		m := ordinary()
		m.minutes = 50
		c.m(&m)
		f := fitMade(m, 7, Params{})
		if len(f.Bend) != 3 {
			t.Fatalf("%q: %d bends, missing %v", c.name, len(f.Bend), f.Missing)
		}
		for _, b := range f.Bend {
			if (b.Says != "") != (b.Name == c.name) {
				t.Errorf("with %q: %s %v %s, p = %.3g, says %q", c.name, b.Name, b.Size, b.Unit, b.P, b.Says)
			}
		}
	}
	// Sizes are in the unit they say.
	m := ordinary()
	m.minutes, m.half = 50, 0.5*deg
	b := fitMade(m, 7, Params{}).Bend[1]
	if math.Abs(b.Size.Value-1) > .35 {
		t.Errorf("tack difference %v %s, truth 1", b.Size, b.Unit)
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
	a, b := Estimate(w, Params{Seed: 4}), Estimate(w, Params{Seed: 4})
	if !reflect.DeepEqual(a, b) {
		t.Error("two fits differ")
	}
	if !reflect.DeepEqual(w, before) {
		t.Error("the caller's windows were changed")
	}
}

// TestDraws: replicates, covariance and intervals tell the same story.
func TestDraws(t *testing.T) {
	m := ordinary()
	f := fitMade(m, 10, Params{Level: true, LevelSE: 0.2 * deg, Draws: 4000})
	var slopes, zeros []float64
	for _, d := range f.Draws {
		slopes, zeros = append(slopes, d.Slope), append(zeros, d.Zero)
	}
	for _, c := range []struct {
		name      string
		got, want interval.Interval
	}{
		{"slope", interval.FromDraws(slopes), f.Slope},
		{"zero", interval.FromDraws(zeros), f.Zero},
		{"slope's covariance", interval.Normal(f.Slope.Value, math.Sqrt(f.Covariance[1][1])), f.Slope},
		{"zero's covariance", interval.Normal(f.Zero.Value, math.Sqrt(f.Covariance[0][0])), f.Zero},
	} {
		tol := 0.12 * c.want.SD()
		if math.Abs(c.got.Low-c.want.Low) > 2*tol || math.Abs(c.got.High-c.want.High) > 2*tol {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	if f.Zero.SD() < 0.2*deg {
		t.Error("the level's doubt is missing from the zero")
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
	b.ReportMetric(float64(len(w)), "windows")
	for b.Loop() {
		Estimate(w, Params{})
	}
}
