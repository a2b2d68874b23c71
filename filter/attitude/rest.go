package attitude

import "gonum.org/v1/gonum/spatial/r3"

// A thing lies still when neither sensor varies by more than MEMS noise, not
// within a stretch of some tenths of a second and not in the mean from one
// stretch to the next, over restTime.
const (
	restGyrSD = 0.006 // rad/s, each axis, within a stretch: 0.35 °/s
	restAccSD = 0.15  // m/s², the same
	restTurn  = 0.001 // rad/s, a stretch's mean from the rest's first
	restShift = 0.06  // m/s², the same
	restTime  = 2.0   // s
	restRate  = 3.0   // times Params.BiasSD: what turns faster than any offset does not rest
)

// A Rest follows whether a sensor lies still.
type Rest struct {
	For      float64 // s that it has lasted
	Gyr, Acc r3.Vec  // means of its first stretch, rad/s and m/s²
}

// next takes the next stretch of dt s: means, and variances within it over all
// axes together. begins says that a rest may begin here, lies that the sensor
// has lain still for restTime.
func (r *Rest) next(p *Params, dt float64, gyr, acc r3.Vec, gyrVar, accVar float64) (begins, lies bool) {
	if !(gyrVar < 3*sq(restGyrSD) && accVar < 3*sq(restAccSD) && r3.Norm(gyr) < restRate*p.BiasSD) {
		r.For = 0
		return false, false
	}
	if r.For == 0 || r3.Norm(r3.Sub(gyr, r.Gyr)) >= restTurn || r3.Norm(r3.Sub(acc, r.Acc)) >= restShift {
		*r = Rest{For: dt, Gyr: gyr, Acc: acc}
		return true, dt >= restTime
	}
	r.For += dt
	return false, r.For >= restTime
}

// findRest marks the blocks in which the sensor lies still, and returns their
// samples; rests between which it hardly moves are one there.
func (s *smoother) findRest() (samples [][2]int) {
	var r Rest
	first := 0 // block not marked yet of the rest being followed
	moved := true
	for k := range s.bl {
		b := &s.bl[k]
		if b.gap || b.n <= 2 {
			r.For, moved = 0, true
			continue
		}
		begins, lies := r.next(s.p, b.dt, b.rate, r3.Scale(1/b.dt, b.du), b.gyrVar, b.accVar)
		moved = moved || r.For == 0
		if begins {
			first = k
		}
		if !lies {
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
