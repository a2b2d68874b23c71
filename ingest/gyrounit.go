package ingest

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Evidence on the size of a gyroscope's rates.
const (
	// gyroBlock is the time over which the accelerometer is averaged, s: longer
	// than vibration, shorter than a board's roll.
	gyroBlock = 0.5
	// gyroParts is how many parts of the log must agree, each of at least
	// gyroPairs pairs of blocks.
	gyroParts = 6
	gyroPairs = 12
	// gyroLooks is how many stretches of gyroLook seconds are looked at, evenly
	// over the log: twelve hundred pairs tell as well as all of a long one.
	gyroLooks = 30
	gyroLook  = 20.0
	// A board's rates, median over a log, rad/s: hardly below gyroSmall while it
	// moves, never above gyroLarge (two turns in six seconds, without a pause).
	gyroSmall = 0.05
	gyroLarge = 2.0
	// gyroFactor is how far from the ratio of two units it may lie: what the
	// accelerometer feels besides gravity leans with the turn and hides a part.
	gyroFactor = 4.0
)

// gyroExcess is how many times larger the gyroscope's rates are than those at
// which the specific force f turns in the sensor's frame. For a force at rest
// in the world
//
//	df/dt = -ω × f
//
// so the change of f's mean from one block of half a second to the next is
// regressed on the change of the block means of -∫ω × f dt, in each of several
// parts of the log; the answer is the inverse of the median slope. Both sides
// scale with the accelerometer, and its noise averages out, so that neither its
// unit nor vibration matters. A wrong sign gives the same size. ok is false when
// the parts do not agree within a factor of four, or there are too few.
func gyroExcess(u *IMU) (excess float64, ok bool) {
	var looks [gyroLooks][]turnPair
	var all sync.WaitGroup
	for k := range looks {
		all.Go(func() {
			n := len(u.Time)
			looks[k] = turnPairs(u, k*n/gyroLooks, (k+1)*n/gyroLooks)
		})
	}
	all.Wait()
	pairs := slices.Concat(looks[:]...)
	parts := min(len(pairs)/gyroPairs, gyroLooks)
	if parts < gyroParts {
		return 0, false
	}
	slopes := make([]float64, 0, parts)
	for part := range parts {
		var dp, pp float64
		for _, q := range pairs[part*len(pairs)/parts : (part+1)*len(pairs)/parts] {
			dp += r3.Dot(q.d, q.p)
			pp += r3.Norm2(q.p)
		}
		if pp > 0 {
			slopes = append(slopes, dp/pp)
		}
	}
	m := raw.Median(slopes) // sorts
	least, most := slopes[len(slopes)/10:], slopes[:len(slopes)-len(slopes)/10]
	if len(slopes) < gyroParts || !(math.Abs(m) > 0) || math.IsInf(m, 0) {
		return 0, false
	}
	if low, high := least[0]/m, most[len(most)-1]/m; min(low, high) < 1/gyroFactor || max(low, high) > gyroFactor {
		return 0, false
	}
	return 1 / math.Abs(m), true
}

// A turnPair is how the mean specific force changes from one block to the next,
// and by how much the gyroscope says that it does, m/s².
type turnPair struct{ d, p r3.Vec }

// turnPairs lists the pairs of adjacent blocks of samples from from up to to,
// none across a gap, for gyroLook seconds.
func turnPairs(u *IMU, from, to int) (pairs []turnPair) {
	var turned, sumF, sumR, wasF, wasR r3.Vec
	n, had := 0, false
	limit := gapLimit(1 / max(u.Rate, 1e-3))
	start := from
	for i := from; i < to && u.Time[i]-u.Time[from] < gyroLook; i++ {
		f := vector(&u.Acc, i)
		if i > from {
			dt := u.Time[i] - u.Time[i-1]
			if dt > limit {
				sumF, sumR = r3.Vec{}, r3.Vec{}
				n, had, start = 0, false, i
			}
			turned = r3.Sub(turned, r3.Scale(dt, r3.Cross(vector(&u.Gyr, i), f)))
		}
		sumF, sumR = r3.Add(sumF, f), r3.Add(sumR, turned)
		n++
		if u.Time[i]-u.Time[start] < gyroBlock {
			continue
		}
		meanF, meanR := r3.Scale(1/float64(n), sumF), r3.Scale(1/float64(n), sumR)
		if had && n >= 3 {
			pairs = append(pairs, turnPair{r3.Sub(meanF, wasF), r3.Sub(meanR, wasR)})
		}
		wasF, wasR = meanF, meanR
		sumF, sumR = r3.Vec{}, r3.Vec{}
		n, had, start = 0, true, i+1
	}
	return pairs
}

// vector is sample i of three axes.
func vector(v *[3][]float32, i int) r3.Vec {
	return r3.Vec{X: float64(v[0][i]), Y: float64(v[1][i]), Z: float64(v[2][i])}
}

// medianTurn is the median rate of turn, rad/s.
func medianTurn(u *IMU) float64 {
	stride := len(u.Time)/20_000 + 1
	var norms []float64
	for i := 0; i < len(u.Time); i += stride {
		norms = append(norms, r3.Norm(vector(&u.Gyr, i)))
	}
	return raw.Median(norms)
}

// gyroUnit tells what is wrong with the gyroscope's unit; ok is false when
// nothing is, or when it cannot be told. readAs is the unit it was read by.
func gyroUnit(u *IMU, readAs string) (w raw.Warning, ok bool) {
	if len(u.Time) == 0 || !u.hasGyro() {
		return w, false
	}
	turn := medianTurn(u)
	if turn > gyroSmall && turn < gyroLarge {
		return w, false
	}
	excess, ok := gyroExcess(u)
	if !ok {
		return w, false
	}
	likely, own := likelyUnit(unit.GyrUnits, readAs, excess, gyroFactor)
	if likely == nil {
		return w, false
	}
	factor := own.Scale / likely.Scale
	if (factor > 1) != (turn > 1) {
		return w, false
	}
	return raw.Warning{Kind: raw.WrongGyro, Values: []float64{factor}, Text: []string{likely.Name, own.Name}}, true
}
