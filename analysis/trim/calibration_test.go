package trim

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/analysis/setup"
)

// The full study: go test ./analysis/trim -run Calibration -long -v
var long = flag.Bool("long", false, "run the calibration study in full")

// aRider is a setup of some rider, as different as riders are.
func aRider(rng *rand.Rand) *setup.Setup {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	s := gear()
	s.Rider.Mass = between(50, 105)
	s.Foil.Mast = between(0.65, 1.05)
	s.Foil.Depth = s.Foil.Mast * between(0.4, 0.6)
	w, t := &s.Foil.Wing, &s.Foil.Stabilizer
	w.Area = between(0.06, 0.18)
	w.Span = math.Sqrt(w.Area * between(6, 11))
	w.CamberPercent = between(2, 4)
	t.Area = w.Area * between(0.14, 0.2)
	t.Span = math.Sqrt(t.Area * between(6, 9))
	t.BehindWing = between(0.6, 0.8)
	t.Incidence = between(-2, 0) * deg
	s.Rig = []setup.Rig{{Kind: "wing", LiftFraction: 0.08}, {Kind: "kite", LiftFraction: 0.25}, {Kind: "sail", MastFoot: 0.95}}[rng.IntN(3)]
	return s
}

// cutAtZero is a normal number that is not below zero.
func cutAtZero(rng *rand.Rand, mean, sd float64) float64 {
	for {
		if v := mean + sd*rng.NormFloat64(); v >= 0 {
			return v
		}
	}
}

// aWorld is a true foil and rider about a setup, and what they tell: every
// input wrong by its prior, fuselage and mast foot by a law of their own, and
// where crooked is set the rider's zero by 6 points and scale by 25 %.
func aWorld(t *testing.T, rng *rand.Rand, s *setup.Setup, speeds [3]float64, notes int, crooked, words bool) (Inputs, Outing) {
	prior := mustInfer(t, outingOf(s))
	z := make([]float64, len(prior.Mean))
	for k := range z {
		z[k] = rng.NormFloat64()
	}
	truth := prior.At(z)
	truth.FuselageFlex = cutAtZero(rng, 2e-5, 2e-5)
	if s.Rig.Kind == "sail" {
		truth.MastFoot = cutAtZero(rng, 60, 50)
	}
	truth.RiderZero, truth.RiderScale = 0, 0
	if crooked {
		truth.RiderZero, truth.RiderScale = 0.06*rng.NormFloat64(), cutAtZero(rng, 1, 0.25)-1
	}
	o := withLaw(outingOf(s), truth)
	o.Ev.Slope += math.Sqrt(o.Ev.Cov[1][1]) * rng.NormFloat64()
	o.Ev.Zero += math.Hypot(math.Sqrt(o.Ev.Cov[0][0]), 0.3*deg) * rng.NormFloat64()
	o.Ev.HasLaw, o.Ev.LevelZero = rng.IntN(4) > 0, rng.IntN(2) > 0
	f := NewFoil(truth)
	for i := range notes {
		v := speeds[0] + (speeds[2]-speeds[0])*(float64(i)+0.5)/float64(notes)
		said := truth.Said(f.At(v, Gravity).FrontShare)
		n := setup.Feel{Speed: v, Share: said + 0.06*rng.NormFloat64(), SD: 0.06}
		if words {
			n = inWords(v, said, rng)
		}
		o.Ev.Feel = append(o.Ev.Feel, n)
	}
	return truth, o
}

// inWords is a note in the word that comes nearest; the doubt stated for a
// word holds its rounding, and the rest is the rider's own.
func inWords(speed, said float64, rng *rand.Rand) setup.Feel {
	const apart = 0.125 // of the words, in share
	words := []setup.Feel{
		{Share: 0.25, SD: 0.10, Said: "strong back"}, {Share: 0.38, SD: 0.08, Said: "back"}, {Share: 0.50, SD: 0.06, Said: "even"},
		{Share: 0.62, SD: 0.08, Said: "front"}, {Share: 0.75, SD: 0.10, Said: "strong front"},
	}
	nearest := func(share float64) setup.Feel {
		best := words[0]
		for _, w := range words {
			if math.Abs(w.Share-share) < math.Abs(best.Share-share) {
				best = w
			}
		}
		return best
	}
	sd := nearest(said).SD
	n := nearest(said + math.Sqrt(sd*sd-apart*apart/12)*rng.NormFloat64())
	n.Speed = speed
	return n
}

// TestCalibration is simulation-based calibration (Talts et al., Validating
// Bayesian Inference Algorithms with Simulation-Based Calibration, 2018):
// riders whose foils are wrong by the priors, with a law or none and none to
// four notes, half of them with a zero and a scale of their own. The 90 %
// intervals of true and felt share at three speeds, of the speed gradient and of
// the most even pair of shim and move hold the truth.
func TestCalibration(t *testing.T) {
	for _, c := range []struct {
		name           string
		crooked, words bool
	}{
		{"zero 6 points, scale 25 %, percents", true, false}, {"zero 6 points, scale 25 %, words", true, true},
		{"no zero, no scale, percents", false, false}, {"no zero, no scale, words", false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			calibrate(t, c.crooked, c.words)
		})
	}
}

// mostEven is the change of the stabilizer (rad) and the move of the foil (m)
// that make the felt share the most even over the speeds.
func mostEven(f Foil, speeds [3]float64) (raise, move float64) {
	const n, turn, dx = 9, 0.5 * deg, 0.01
	var points [n]Point
	for i := range points {
		points[i] = f.Point(speeds[0]+(speeds[2]-speeds[0])*float64(i)/(n-1), Gravity)
	}
	for range 2 { // the share is not quite linear in the turn
		var rr, rm, mm, rw, mw float64 // the normal equations' sums
		for i := range points {
			felt := func(r, m float64) float64 {
				share, _ := points[i].Felt(Change{Raise: raise + r, Foil: move + m})
				return share
			}
			at := felt(0, 0)
			r, m, want := (felt(turn, 0)-at)/turn, (felt(0, dx)-at)/dx, 0.5-at
			rr, rm, mm, rw, mw = rr+r*r, rm+r*m, mm+m*m, rw+r*want, mw+m*want
		}
		det := rr*mm - rm*rm
		raise, move = raise+(mm*rw-rm*mw)/det, move+(rr*mw-rm*rw)/det
	}
	return raise, move
}

func calibrate(t *testing.T, crooked, words bool) {
	riders, low, high := 40, 0.75, 1.0
	if *long {
		riders, low, high = 1000, 0.85, 0.94
		if !crooked {
			// A rider might have a zero and a scale, so these intervals are
			// wider than those who have none would need.
			high = 0.98
		}
	}
	rng := rand.New(rand.NewPCG(2026, 11))
	quantities := []string{"share low", "share mid", "share top", "felt low", "felt mid", "felt top", "gradient top", "best shim", "best move"}
	held, width := make([]int, len(quantities)), make([]float64, len(quantities))
	for i := range riders {
		s := aRider(rng)
		v := math.Sqrt(2 * (s.Rider.Mass + s.Board.Mass) * Gravity / (1025.5 * s.Foil.Wing.Area * 0.7))
		speeds := [3]float64{v, 1.5 * v, 2 * v}
		truth, o := aWorld(t, rng, s, speeds, i%5, crooked, words)
		p := mustInfer(t, o)
		all := func(f Foil) (v [9]float64) { // in the order of the quantities
			for k, speed := range speeds {
				state := f.At(speed, Gravity)
				v[k], v[3+k] = state.FrontShare, state.FeltShare
			}
			v[6] = f.Gradient(speeds[2])
			v[7], v[8] = mostEven(f, speeds)
			v[7] /= deg
			return v
		}
		draws := make([][]float64, len(quantities))
		for _, f := range p.Foils() {
			for q, v := range all(f) {
				draws[q] = append(draws[q], v)
			}
		}
		for q, v := range all(NewFoil(truth)) {
			iv := p.Interval(draws[q])
			width[q] += (iv.High - iv.Low) / float64(riders)
			if iv.Contains(v) {
				held[q]++
			}
		}
	}
	for q, name := range quantities {
		c := float64(held[q]) / float64(riders)
		t.Logf("%-12s held by %.1f %% of %d, mean width %.3f", name, 100*c, riders, width[q])
		if c < low || c > high {
			t.Errorf("%s: coverage %.3f, want %.2f to %.2f", name, c, low, high)
		}
	}
}
