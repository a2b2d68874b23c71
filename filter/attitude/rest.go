package attitude

import "gonum.org/v1/gonum/spatial/r3"

// A thing lies still when neither sensor varies by more than MEMS noise, not
// within a block and not in the mean from one block to the next, over
// restTime. The limits lie two to three times above the rests of the reference
// trials.
const (
	restGyrSD = 0.006 // rad/s, each axis, within a block: 0.35 °/s
	restAccSD = 0.15  // m/s², the same
	restTurn  = 0.001 // rad/s, a block's mean from the rest's first
	restShift = 0.06  // m/s², the same
	restTime  = 2.0   // s
	restRate  = 3.0   // times biasSD: what turns faster than any offset does not rest
	restSD    = 0.02  // m/s, 1σ of the velocity of a thing at rest
)

// loadBias is how much a gyroscope's offset differs, 1σ, between rest and
// motion, rad/s: MEMS gyroscopes feel acceleration, some 0.03 °/s and more per g.
const loadBias = 5e-4

// offsetVar is the variance of a block's mean rate as the offset at rest,
// (rad/s)², with a floor for what slow noise leaves.
func offsetVar(b *block) float64 { return b.gyrVar/3/float64(b.n) + sq(1e-4) }

// A stillness follows for how long a sensor has lain still.
type stillness struct {
	seconds   float64
	rate, acc r3.Vec // means of its first block, rad/s and m/s²
}

// next takes the next block and returns for how long, s, all has been still;
// begins says that a rest may begin here.
func (r *stillness) next(b *block) (seconds float64, begins bool) {
	if b.gap || b.n <= 2 || b.gyrVar >= 3*sq(restGyrSD) || b.accVar >= 3*sq(restAccSD) || r3.Norm(b.rate) >= restRate*biasSD {
		r.seconds = 0
		return 0, false
	}
	acc := r3.Scale(1/b.dt, b.du)
	if begins = r.seconds == 0 || dist(b.rate, r.rate) >= restTurn || dist(acc, r.acc) >= restShift; begins {
		*r = stillness{rate: b.rate, acc: acc}
	}
	r.seconds += b.dt
	return r.seconds, begins
}

// findRest marks the blocks in which the sensor lies still, and returns their
// samples; rests between which it hardly moves are one there.
func (s *smoother) findRest() (samples [][2]int) {
	var r stillness
	first := 0 // block not marked yet of the rest being followed
	moved := true
	for k := range s.bl {
		b := &s.bl[k]
		seconds, begins := r.next(b)
		moved = moved || seconds == 0
		if begins {
			first = k
		}
		if seconds < restTime {
			continue
		}
		if moved {
			samples = append(samples, [2]int{s.bl[first].from, b.to})
			moved = false
		}
		samples[len(samples)-1][1] = b.to
		for ; first <= k; first++ {
			s.rest[first] = true
		}
	}
	return samples
}
