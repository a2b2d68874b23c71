package advice

import (
	"flag"
	"math"
	"math/rand/v2"
	"runtime/debug"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// The full studies, some minutes: go test ./analysis/advice -run "Calibration|Steps|ComeTrue" -long -v -timeout 1h
var long = flag.Bool("long", false, "run the calibration studies in full")

// Thousands of small posteriors on an almost empty heap: it is collected all the time.
func init() { debug.SetGCPercent(400) }

// randomGear is a setup of some rider, as different as riders are.
func randomGear(rng *rand.Rand) *setup.Setup {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	s := gear()
	s.Rider.Mass = between(50, 105)
	s.Foil.Mast = between(0.65, 1.05)
	s.Foil.Depth = s.Foil.Mast * between(0.4, 0.6)
	s.Foil.Wing.Area = between(0.06, 0.18)
	s.Foil.Wing.Span = math.Sqrt(s.Foil.Wing.Area * between(6, 11))
	s.Foil.Wing.CamberPercent = between(2, 4)
	s.Foil.Stabilizer.Area = s.Foil.Wing.Area * between(0.14, 0.2)
	s.Foil.Stabilizer.Span = math.Sqrt(s.Foil.Stabilizer.Area * between(6, 9))
	s.Foil.Stabilizer.BehindWing = between(0.6, 0.8)
	s.Foil.Stabilizer.Incidence = between(-2, 0) * deg
	switch rng.IntN(3) {
	case 0:
		s.Rig = setup.Rig{Kind: "kite", LiftFraction: 0.25}
	case 1:
		s.Rig = setup.Rig{Kind: "sail", MastFoot: 0.95}
	}
	return s
}

// simulated draws a true foil from the priors of s, lets it tell a pitch law
// and notes of feel, with their honest errors, and gives the outing.
func simulated(t testing.TB, rng *rand.Rand, s *setup.Setup, w SpeedWeights, notes int, words bool) (trim.Inputs, trim.Outing) {
	return simulatedRider(t, rng, s, w, notes, words, true)
}

// simulatedRider is the same, without a zero and a scale of the rider's own
// where rider is false.
func simulatedRider(t testing.TB, rng *rand.Rand, s *setup.Setup, w SpeedWeights, notes int, words, rider bool) (trim.Inputs, trim.Outing) {
	prior := infer(t, outingOf(s))
	z := make([]float64, len(prior.Mean))
	for k := range z {
		z[k] = rng.NormFloat64()
	}
	truth := prior.At(z)
	if !rider {
		truth.RiderZero, truth.RiderScale = 0, 0
	}
	var at []float64
	for i := range notes {
		at = append(at, w.Low+(w.Top-w.Low)*(float64(i)+0.5)/float64(notes))
	}
	o := told(s, truth, 0.07, at...)
	for i := range s.Feel {
		sd := s.Feel[i].SD
		if words {
			// The doubt stated for a word holds its rounding, ±6 % about each.
			sd = math.Sqrt(sd*sd - wordStep*wordStep/12)
		}
		s.Feel[i].Share += sd * rng.NormFloat64()
		if words {
			s.Feel[i] = inWords(s.Feel[i])
		}
	}
	o.Ev.Feel = s.Feel
	o.Ev.Slope += math.Sqrt(o.Ev.Cov[1][1]) * rng.NormFloat64()
	o.Ev.Zero += math.Hypot(math.Sqrt(o.Ev.Cov[0][0]), 0.3*deg) * rng.NormFloat64()
	o.Ev.HasLaw = rng.IntN(4) > 0
	o.Ev.LevelZero = rng.IntN(2) > 0
	return truth, o
}

// wordStep is how far the words lie apart, in share (package setup's table).
const wordStep = 0.125

// inWords is the note in the word that comes nearest.
func inWords(f setup.Feel) setup.Feel {
	near := setup.Feel{Share: math.Inf(1)}
	for _, c := range []setup.Feel{
		{Share: 0.25, SD: 0.10, Said: "strong back"}, {Share: 0.38, SD: 0.08, Said: "back"}, {Share: 0.50, SD: 0.06, Said: "even"},
		{Share: 0.62, SD: 0.08, Said: "front"}, {Share: 0.75, SD: 0.10, Said: "strong front"},
	} {
		if math.Abs(c.Share-f.Share) < math.Abs(near.Share-f.Share) {
			near = c
		}
	}
	near.Speed = f.Speed
	return near
}

func flightSpeeds(s *setup.Setup) SpeedWeights {
	low := math.Sqrt(2 * (s.Rider.Mass + s.Board.Mass) * trim.Gravity / (density * s.Foil.Wing.Area * 0.7))
	return Uniform(low, 2*low)
}

// TestCalibration is simulation-based calibration (Talts et al. 2018): riders
// whose true foils come from the priors, each with a law and none to four
// notes of feel. The 90 % intervals must hold the truth 85–95 times in 100,
// with the binomial error of a short run on top.
func TestCalibration(t *testing.T) {
	t.Run("percentages", func(t *testing.T) { calibrate(t, false, true) })
	t.Run("words", func(t *testing.T) { calibrate(t, true, true) })
	t.Run("without zero and scale", func(t *testing.T) { calibrate(t, false, false) })
}

func calibrate(t *testing.T, words, rider bool) {
	riders, low, high := 40, 0.77, 0.99
	if *long {
		riders, low, high = 1000, 0.85, 0.95
		if !rider { // whose notes are better than is assumed of anybody's
			high = 0.97
		}
	}
	rng := rand.New(rand.NewPCG(2024, 6))
	held := map[string]int{}
	within := 0
	withNotes := 0
	for i := range riders {
		s := randomGear(rng)
		w := flightSpeeds(s).clean()
		notes := i % 5
		truth, o := simulatedRider(t, rng, s, w, notes, words, rider)
		task := newTask(infer(t, o), s, w, Options{})
		want, each := Best(truth, w, s.Rider.Level), task.objective.bestEach(task.draws, task.best, anywhere)
		check := func(name string, iv interval.Interval, v float64) {
			if iv.Contains(v) {
				held[name]++
			}
		}
		tf := trim.NewFoil(truth)
		share := func(v float64) float64 { return tf.At(v, trim.Gravity).FrontShare }
		at := func(v float64) interval.Interval { return task.post.Interval(task.sharesWith(0, 0, v)) }
		check("share low", at(w.Low), share(w.Low))
		check("share mid", at(w.mid()), share(w.mid()))
		check("share top", at(w.Top), share(w.Top))
		check("best shim", task.raiseInterval(task.best, each), want.Raise/deg)
		check("best move", task.moveInterval(task.best, each), want.Foil/mm)
		if notes == 4 {
			withNotes++
			if math.Abs(task.best.Raise-want.Raise) < 0.5*deg {
				within++
			}
		}
	}
	for _, name := range []string{"share low", "share mid", "share top", "best shim", "best move"} {
		c := float64(held[name]) / float64(riders)
		t.Logf("%-10s held by the 90 %% interval %.1f %% of %d", name, 100*c, riders)
		if c < low || c > high {
			t.Errorf("%s: coverage %.3f, want %.2f to %.2f", name, c, low, high)
		}
	}
	t.Logf("four notes: best shim within 0.5° for %d of %d", within, withNotes)
}
