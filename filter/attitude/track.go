package attitude

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync/atomic"

	"evenfoot/filter"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Samples are the inertial measurements, one column per axis.
type Samples struct {
	Time []float64    // s, strictly increasing; gaps allowed
	Acc  [3][]float32 // specific force, m/s²
	Gyr  [3][]float32 // rad/s
}

// AccAt is the specific force at sample i, m/s².
func (s *Samples) AccAt(i int) r3.Vec { return at(&s.Acc, i) }

// GyrAt is the rate at sample i, rad/s.
func (s *Samples) GyrAt(i int) r3.Vec { return at(&s.Gyr, i) }

func at(c *[3][]float32, i int) r3.Vec {
	return r3.Vec{X: float64(c[0][i]), Y: float64(c[1][i]), Z: float64(c[2][i])}
}

// columns are the accelerometer's axes, then the gyroscope's.
func (s *Samples) columns() [6]*[]float32 {
	return [6]*[]float32{&s.Acc[0], &s.Acc[1], &s.Acc[2], &s.Gyr[0], &s.Gyr[1], &s.Gyr[2]}
}

// Saturated says that a sensor shows signs of having reached its range.
func (s *Samples) Saturated() bool { return findLimits(s) != limits{math.Inf(1), math.Inf(1)} }

// Means averages the samples that lie within span seconds of the first of
// them, so that none is averaged across a gap. A value that is not a number
// does not count; a mean of none is not a number.
func (s *Samples) Means(span float64) Samples {
	from := make([]int32, 0, len(s.Time)/2+2) // first sample of each mean
	for i, t := range s.Time {
		if i == 0 || !(t-s.Time[from[len(from)-1]] < span) {
			from = append(from, int32(i))
		}
	}
	n := len(from)
	from = append(from, int32(len(s.Time)))
	m := Samples{Time: make([]float64, n)}
	for k := range n {
		for _, t := range s.Time[from[k]:from[k+1]] {
			m.Time[k] += t
		}
		m.Time[k] /= float64(from[k+1] - from[k])
	}
	to := m.columns()
	filter.Each(len(to), func(c int) { *to[c] = means(*s.columns()[c], from) })
	return m
}

// means are those of a column between each of from and the next.
func means(column []float32, from []int32) []float32 {
	out := make([]float32, len(from)-1)
	for k := range out {
		var sum, n float32
		for _, x := range column[from[k]:from[k+1]] {
			if x == x {
				sum += x
				n++
			}
		}
		out[k] = sum / n // 0/0 is not a number
	}
	return out
}

// An Aid is the velocity over ground that the accelerations are told from.
type Aid struct {
	Time  []float64 // s, the samples' clock; strictly increasing
	East  []float64 // m/s; NaN for a fix that is not to be used
	North []float64 // m/s
	SD    float64   // 1σ of each velocity component, m/s
}

// A Track is the estimate, one per sample.
type Track struct {
	Time []float64
	// Q are unit quaternions that turn sensor-frame vectors into the earth
	// frame, v_earth = q ⊗ v_sensor ⊗ q*: east-north-up when the heading is
	// known, else any frame with z up.
	Q []quat.Number
	// SE is the standard error of inclination at each sample, rad: the root
	// mean square angle between the estimated and the true vertical, √2 times
	// that of pitch or heel alone. π where nothing is known.
	SE []float32
	// HeadingKnown says that the earth frame is east-north-up.
	HeadingKnown bool
	// HeadingSE is the 1σ of the heading, median over the log, rad; NaN when
	// it is not known.
	HeadingSE float64
	// LatencyS is how late the velocity aid was found to be, s (0 when unaided).
	LatencyS float64
	// Segments are index ranges [from, to) with no gap that had to reset the filter.
	Segments [][2]int
	// Rest are index ranges [from, to) in which the sensor lies still.
	Rest [][2]int
	// Bias is the gyroscope bias per segment midpoint, rad/s.
	Bias []r3.Vec
}

// check looks for columns that cannot be used; bad says that some samples
// are not to be used.
func (s *Samples) check() (bad bool, err error) {
	n := len(s.Time)
	for c := range 3 {
		if len(s.Acc[c]) != n || len(s.Gyr[c]) != n {
			return false, fmt.Errorf("attitude: %d times, but %d accelerometer and %d gyroscope samples on axis %c",
				n, len(s.Acc[c]), len(s.Gyr[c]), 'x'+rune(c))
		}
	}
	if n < 2 {
		return false, fmt.Errorf("attitude: %d samples: at least 2 are needed", n)
	}
	if i := notAfter(s.Time); i > 0 {
		return false, fmt.Errorf("attitude: time does not increase at sample %d (%g s after %g s)", i, s.Time[i], s.Time[i-1])
	}
	if s.believable() { // nearly all
		return false, nil
	}
	gyr, both := 0, 0
	for i := range n {
		if believable(&s.Gyr, i, maxGyr) {
			gyr++
			if believable(&s.Acc, i, maxAcc) {
				both++
			}
		}
	}
	if gyr == 0 {
		return true, errors.New("attitude: the log holds no gyroscope samples: the attitude needs both accelerometer and gyroscope")
	}
	if both < 2 {
		return true, errors.New("attitude: fewer than two samples hold both accelerometer and gyroscope values")
	}
	return both < n, nil
}

// believable says that every sample can be used.
func (s *Samples) believable() bool {
	var bad atomic.Bool
	limit := [6]float32{maxAcc, maxAcc, maxAcc, maxGyr, maxGyr, maxGyr}
	filter.Each(len(limit), func(c int) {
		if l := limit[c]; slices.ContainsFunc(*s.columns()[c], func(x float32) bool { return !(x >= -l && x <= l) }) {
			bad.Store(true)
		}
	})
	return !bad.Load()
}

// check looks for an aid that cannot be used.
func (a *Aid) check() error {
	n := len(a.Time)
	if len(a.East) != n || len(a.North) != n {
		return fmt.Errorf("attitude: velocity aid has %d times, %d east and %d north values", n, len(a.East), len(a.North))
	}
	if i := notAfter(a.Time); i > 0 {
		return fmt.Errorf("attitude: time of the velocity aid does not increase at fix %d (%g s after %g s)", i, a.Time[i], a.Time[i-1])
	}
	return nil
}

// notAfter is the first index whose time does not lie after the one before; 0 for none.
func notAfter(t []float64) int {
	for i := 1; i < len(t); i++ {
		if !(t[i] > t[i-1]) {
			return i
		}
	}
	return 0
}
