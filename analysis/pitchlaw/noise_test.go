package pitchlaw

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// places makes uneven windows in reaches, one of them left out.
func places(rng *rand.Rand) series {
	var s series
	t := 0.0
	for i := range 30 {
		t += 1 + 2*rng.Float64()
		if i%7 == 0 {
			t += 12
		}
		s.time = append(s.time, t)
		s.reach = append(s.reach, i/7)
		s.vary = append(s.vary, 0.5+rng.Float64())
	}
	s.vary[11] = math.Inf(1)
	return s
}

// TestFilterAgainstMatrices holds the filter and the smoother against the
// covariance matrices that they stand for.
func TestFilterAgainstMatrices(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	s := places(rng)
	v, b := noise{Fading: 1.7, Tau: 15, Reach: 0.6}, ridden{Ratio: 20, Scale: 8}
	type part func(dt float64, same bool) float64
	for _, c := range []struct {
		name         string
		m            process
		shared, last part // covariance of the state's sum, and of its third number
	}{
		{"noise", v, func(dt float64, same bool) float64 {
			k := v.Fading * math.Exp(-dt/v.Tau)
			if same {
				k += v.Reach
			}
			return k
		}, func(float64, bool) float64 { return 0 }},
		{"ridden", b, func(dt float64, same bool) float64 {
			if !same {
				return 0.75 * math.Exp(-dt/noiseFades)
			}
			u := math.Sqrt(3) * dt / b.Scale
			return b.Ratio*(1+u)*math.Exp(-u) + 0.75*math.Exp(-dt/noiseFades)
		}, func(dt float64, same bool) float64 { return 0.75 * math.Exp(-dt/noiseFades) }},
	} {
		var idx []int
		for i := range s.time {
			if !math.IsInf(s.vary[i], 1) {
				idx = append(idx, i)
			}
		}
		n := len(idx)
		cov := mat.NewSymDense(n, nil)
		for a, i := range idx {
			for q, j := range idx[:a+1] {
				k := c.shared(s.time[i]-s.time[j], s.reach[i] == s.reach[j])
				if i == j {
					k += s.vary[i]
				}
				cov.SetSym(a, q, k)
			}
		}
		x := make([]float64, len(s.time))
		y := mat.NewVecDense(n, nil)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		for a, i := range idx {
			y.SetVec(a, x[i])
		}
		var chol mat.Cholesky
		if !chol.Factorize(cov) {
			t.Fatal("not positive")
		}
		var u mat.VecDense
		if err := chol.SolveVecTo(&u, y); err != nil {
			t.Fatal(err)
		}
		g := s.filter(c.m)
		if math.Abs(g.logDet-chol.LogDet()) > 1e-9 {
			t.Errorf("%s: log determinant %v, want %v", c.name, g.logDet, chol.LogDet())
		}
		sum := g.gram(x, 1)[0]
		if want := mat.Dot(y, &u); math.Abs(sum-want) > 1e-9*want {
			t.Errorf("%s: square %v, want %v", c.name, sum, want)
		}
		own, third := g.smooth(x)
		for a, i := range idx {
			if math.Abs(own[i]-u.AtVec(a)) > 1e-9 {
				t.Errorf("%s: own[%d] = %v, want %v", c.name, i, own[i], u.AtVec(a))
			}
			var want float64
			for q, j := range idx {
				want += c.last(math.Abs(s.time[i]-s.time[j]), s.reach[i] == s.reach[j]) * u.AtVec(q)
			}
			if math.Abs(third[i]-want) > 1e-9 {
				t.Errorf("%s: third[%d] = %v, want %v", c.name, i, third[i], want)
			}
		}
	}
}

// TestSteadySpeeds: the receiver's noise no longer flattens a line.
func TestSteadySpeeds(t *testing.T) {
	line := func(w []Window, v velocity) float64 {
		var x, y []float64
		for i := range w {
			x = append(x, 1, 1/(v.east[i]*v.east[i]+v.north[i]*v.north[i]))
			y = append(y, w[i].PitchCos)
		}
		return least(t, x, y, nil).beta[1] * 1025 / 2 / 9.81
	}
	m := ordinary()
	m.gps, m.reachSD, m.gustSD, m.half, m.outliers = 0.3, 0.2, 0.6, 0, 0
	m.minutes, m.own, m.stance, m.attitude = 60, 0.1*deg, 0, 0.01*deg
	var raw, steady, n float64
	for k := range 6 {
		w, _ := m.build(rand.New(rand.NewPCG(uint64(k), 5)))
		r := velocity{}
		for _, o := range w {
			r.east, r.north = append(r.east, o.East), append(r.north, o.North)
		}
		v, _ := steadySpeeds(w)
		raw += line(w, r) / m.slope
		steady += line(w, v) / m.slope
		n++
	}
	if raw/n > 0.85 {
		t.Errorf("noise hardly flattens the line: %.2f", raw/n)
	}
	if math.Abs(steady/n-1) > 0.08 {
		t.Errorf("slope is %.2f of the truth", steady/n)
	}
}

// TestEstimateSurvives: whatever the windows hold, there is a fit and no
// number that is not finite is called enough.
func TestEstimateSurvives(t *testing.T) {
	odd := []float64{0, -1, 1e-300, 1e9, 1e300, math.NaN(), math.Inf(1), math.Inf(-1)}
	for k := range 30 {
		rng := rand.New(rand.NewPCG(uint64(k), 6))
		m := anySession(rng)
		m.minutes = 3 + 9*rng.Float64()
		w, _ := m.build(rng)
		share := []float64{0.01, 0.3, 1}[k%3]
		for i := range w {
			if rng.Float64() > share {
				continue
			}
			f := []*float64{&w[i].Time, &w[i].PitchCos, &w[i].PitchSE, &w[i].Normal, &w[i].East, &w[i].North, &w[i].Duration, &w[i].PitchRate}[rng.IntN(8)]
			*f = odd[rng.IntN(len(odd))]
			w[i].Reach = rng.IntN(4) - 1
			w[i].Tack = rng.IntN(3) - 1
		}
		f := Estimate(w, Params{})
		ControlEffort(f.Windows)
		if !f.Enough && len(f.Missing) == 0 {
			t.Fatalf("%d: not enough, and nothing is missing", k)
		}
		s := f.Slope.Low + f.Slope.High + f.Zero.Low + f.Zero.High + f.FlowEast.SD() + f.FlowNorth.SD() + f.Covariance[0][0]
		if f.Enough && (math.IsNaN(s) || math.IsInf(s, 0)) {
			t.Fatalf("%d: %v %v %v", k, f.Zero, f.Slope, f.FlowEast)
		}
	}
}
