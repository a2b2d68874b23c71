package analysis

import (
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
)

// What a garbled record looks like among an IMU's samples: a value beyond any
// sensor's range, or a leap and back within one sample. Boards that hit
// something ring for longer, and sensors' own filters spread a knock.
const (
	accMost  = 2000.0 // m/s², 200 g
	gyrMost  = 175.0  // rad/s, 10 000 °/s
	accLeap  = 50.0   // m/s²
	gyrLeap  = 5.0    // rad/s
	leapOver = 30     // times the usual difference between samples, at least
	backTo   = 0.1    // of the leap: how near the sample after is to the one before
	fastStep = 0.03   // s; slower loggers may miss what a leap was
)

// usualRate is what samples are averaged down to where they come faster, Hz:
// the pitch in flight of the demo's riders loses 0.002° by it, at 25 Hz 0.01°,
// and all that follows costs by the sample. At least two make a mean, so that
// what is slower than 1.8 times this stays as it is.
const usualRate = 50.0

// thin averages the log's samples down to usualRate, and lets go of them as
// they were. Garbled ones do not count. Where a sensor is saturated all stay:
// means would hide where it was.
func (o *observation) thin() {
	u := &o.log.IMU
	step := filter.MedianStep(u.Time)
	of := math.Floor(1/(usualRate*step) + 0.2)
	if !(of >= 2) {
		return
	}
	s := o.samples()
	if s.Saturated() {
		return
	}
	s = s.Means((of - 0.5) * step)
	u.Time, u.Acc, u.Gyr, o.sound = s.Time, s.Acc, s.Gyr, &s
}

// samples hands the log's IMU columns to the filter: without a copy, or with
// garbled samples blanked (NaN) in a copy and a warning.
func (o *observation) samples() attitude.Samples {
	if o.sound != nil {
		return *o.sound
	}
	u := &o.log.IMU
	s := attitude.Samples{Time: u.Time, Acc: u.Acc, Gyr: u.Gyr}
	bad := garbled(u.Time, &u.Acc, accMost, accLeap)
	bad = append(bad, garbled(u.Time, &u.Gyr, gyrMost, gyrLeap)...)
	if len(bad) > 0 {
		slices.Sort(bad)
		bad = slices.Compact(bad)
		for k := range 3 {
			s.Acc[k], s.Gyr[k] = slices.Clone(s.Acc[k]), slices.Clone(s.Gyr[k])
			for _, i := range bad {
				s.Acc[k][i], s.Gyr[k][i] = float32(math.NaN()), float32(math.NaN())
			}
		}
		o.warn(Note{Kind: Garbled, Count: len(bad), At: u.Time[bad[0]]})
	}
	o.sound = &s
	return s
}

// garbled lists the samples of one sensor that no motion explains: any axis
// beyond most, or further than leap from both neighbours, which agree.
func garbled(t []float64, v *[3][]float32, most, leap float64) []int {
	var each [3][]int
	filter.Each(len(v), func(k int) {
		x, bad := v[k], []int(nil)
		limit := max(leap, leapOver*usualStep(x))
		for i, xi := range x {
			if math.Abs(float64(xi)) > most {
				bad = append(bad, i)
				continue
			}
			if i == 0 || i+1 == len(x) {
				continue
			}
			d := math.Abs(float64(xi) - float64(x[i-1]))
			if !(d > limit) { // nearly all
				continue
			}
			d = min(d, math.Abs(float64(xi)-float64(x[i+1])))
			if d > limit && math.Abs(float64(x[i+1])-float64(x[i-1])) < backTo*d && t[i+1]-t[i-1] < 2*fastStep {
				bad = append(bad, i)
			}
		}
		each[k] = bad
	})
	return slices.Concat(each[:]...)
}

// usualStep is the median difference between neighbouring values, by a few
// thousand of them; 0 for none.
func usualStep(x []float32) float64 {
	var d []float64
	for i := 1; i < len(x); i += 1 + len(x)/4096 {
		if s := math.Abs(float64(x[i]) - float64(x[i-1])); s == s {
			d = append(d, s)
		}
	}
	if len(d) == 0 {
		return 0
	}
	return filter.Median(d)
}
