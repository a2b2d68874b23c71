package ingest

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// What physics says against the units and columns that a file was read by:
// gravity's size of an accelerometer, its turning of a gyroscope, the positions
// of a receiver's speeds.

// Evidence that an accelerometer shows gravity.
const (
	// steadyBlock is the time over which it is averaged, s: longer than waves
	// shake a board, shorter than it turns over.
	steadyBlock = 0.5
	// steadyLeast is how many blocks it takes to tell.
	steadyLeast = 60
	// steadyPart of the blocks, the calmest, are looked at.
	steadyPart = 0.25
	// gravityLow and gravityHigh bound their median norm, m/s². Sensors read
	// gravity within a few percent, and a steady turn adds some; acceleration
	// without gravity reads below 2, one in another unit 1 or more than 30.
	gravityLow, gravityHigh = 7.0, 13.0
)

// Evidence on the size of a gyroscope's rates.
const (
	// gyroBlock is the time over which the accelerometer is averaged, s: longer
	// than vibration, shorter than a board's roll.
	gyroBlock = 0.5
	// gyroParts is into how many parts a log is cut, of gyroLeastPart seconds at
	// least. Of each the first gyroLook seconds are looked at, gyroPairs pairs of
	// blocks at least, and gyroAgree of them must agree.
	gyroParts, gyroLeastPart, gyroLook = 30, 7.0, 20.0
	gyroPairs, gyroAgree               = 12, 6
	// gyroEnough samples are enough to know a median rate.
	gyroEnough = 20_000
	// A board's rates, median over a log, rad/s: hardly below gyroSmall while it
	// moves, never above gyroLarge (two turns in six seconds, without a pause).
	gyroSmall = 0.05
	gyroLarge = 2.0
	// gyroFactor is how far from the ratio of two units it may lie: what the
	// accelerometer feels besides gravity leans with the turn and hides a part.
	gyroFactor = 4.0
)

// Evidence that a receiver's speeds and the positions of the same file agree.
const (
	// comparedLeast fixes and wayLeast (m) are how much movement it takes to tell,
	// and movingFast the least speed of a fix that counts, m/s: the error of a
	// position's velocity does not matter there to a median of many.
	comparedLeast, wayLeast, movingFast = 80, 400.0, 2.0
	// comparedMost fixes are enough.
	comparedMost = 2000
	// spreadMost is how far the middle half of the ratios may spread, of the ratio.
	spreadMost = 0.15
	// agreeing is how far from 1 the ratio may lie. Positions and Doppler speeds
	// of sound receivers agree to a few percent over minutes.
	agreeing = 0.10
	// unitNear is the factor of the ratio of two units within which it must lie to
	// name the unit.
	unitNear = 1.05
)

// blocks are the runs of samples of so many seconds each, three or more.
func blocks(t []float64, seconds float64) iter.Seq[run] {
	return func(yield func(run) bool) {
		for i := 0; i < len(t); {
			j := i
			for j < len(t) && t[j]-t[i] < seconds {
				j++
			}
			if j-i >= 3 && !yield(run{i, j}) {
				return
			}
			i = j
		}
	}
}

// vector is sample i of three axes.
func vector(v *[3][]float32, i int) r3.Vec {
	return r3.Vec{X: float64(v[0][i]), Y: float64(v[1][i]), Z: float64(v[2][i])}
}

// moments are the mean and the mean square scatter of a run of three axes.
func moments(v *[3][]float32, r run) (mean r3.Vec, scatter float64) {
	n := float64(r.b - r.a)
	for i := r.a; i < r.b; i++ {
		x := vector(v, i)
		mean = r3.Add(mean, x)
		scatter += r3.Norm2(x)
	}
	mean = r3.Scale(1/n, mean)
	return mean, scatter/n - r3.Norm2(mean)
}

// steadyNorm is the median norm of the specific force where it is steadiest,
// m/s²; NaN where there is too little to tell.
func steadyNorm(s *raw.Series) float64 {
	var calm [][2]float64 // scatter, norm
	for r := range blocks(s.Time, steadyBlock) {
		mean, scatter := moments(&s.V, r)
		calm = append(calm, [2]float64{scatter, r3.Norm(mean)})
	}
	if len(calm) < steadyLeast {
		return math.NaN()
	}
	slices.SortFunc(calm, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	var norms []float64
	for _, b := range calm[:int(steadyPart*float64(len(calm)))] {
		norms = append(norms, b[1])
	}
	return raw.Median(norms)
}

// refuseWeightless leaves out an accelerometer that shows no gravity: phones
// offer the acceleration without it beside the true one, and a pitch cannot be
// told from it.
func (b *builder) refuseWeightless() {
	s, name := &b.r.Acc, unit.SensorNames[unit.Acc]
	norm := steadyNorm(s)
	if !(norm < gravityLow || norm > gravityHigh) {
		return
	}
	b.notes.Warn(raw.Warning{Kind: raw.NoGravity, Sensor: name, Values: []float64{norm}})
	b.notes.Drop(len(s.Time), raw.NoGravity, name)
	b.weightless = true
	*s = raw.Series{}
}

// likelyUnit is the unit that values seem to be in that were read as the unit of
// that name, the first when it is none, and come out ratio times too large; nil
// when none fits within a factor.
func likelyUnit(units []unit.Unit, readAs string, ratio, within float64) (likely, own *unit.Unit) {
	if own = unit.Find(units, readAs); own == nil {
		own = &units[0]
	}
	near := math.Log(within)
	for i, u := range units {
		if d := math.Abs(math.Log(ratio * u.Scale / own.Scale)); u.Name != own.Name && d < near {
			likely, near = &units[i], d
		}
	}
	return likely, own
}

// settleGyro tells what is wrong with the gyroscope's unit, g being the gyroscope as
// it was read; ok is false when nothing is, or when it cannot be told. A unit that
// was only guessed is put right in u, which shares no values with others then.
func settleGyro(u *IMU, g *raw.Series) (w raw.Warning, ok bool) {
	w, likely, ok := gyroUnit(u, g.Unit)
	if !ok || !g.Guessed {
		return w, ok
	}
	w.Kind = raw.GyroSettled
	for k := range u.Gyr {
		v := make([]float32, len(u.Gyr[k]))
		for i, x := range u.Gyr[k] {
			v[i] = x / float32(w.Values[0])
		}
		u.Gyr[k] = v
	}
	g.Unit, u.GyrGuess = likely, unit.Text(likely)
	return w, true
}

// gyroUnit tells what is wrong with the gyroscope's unit, and the likely one; ok is
// false when nothing is, or when it cannot be told. readAs is the unit it was read by.
func gyroUnit(u *IMU, readAs string) (w raw.Warning, is string, ok bool) {
	if len(u.Time) == 0 || !u.hasGyro() {
		return w, "", false
	}
	turn, peak := turns(u)
	if turn > gyroSmall && turn < gyroLarge {
		return w, "", false // a few glitches beside them do not count
	}
	excess, follows := gyroExcess(u)
	if !follows && turn >= gyroLarge && peak > unit.FastestTurn {
		excess, follows = 180/math.Pi, true // the usual mistake
	}
	if !follows {
		return w, "", false
	}
	likely, own := likelyUnit(unit.GyrUnits, readAs, excess, gyroFactor)
	if likely == nil {
		return w, "", false
	}
	factor := own.Scale / likely.Scale
	w = raw.Warning{Kind: raw.WrongGyro, Values: []float64{factor}, Text: []string{likely.Name, own.Name}}
	return w, likely.Name, (factor > 1) == (turn > 1)
}

// turns are the median rate of turn and that which one sample in a thousand exceeds, rad/s.
func turns(u *IMU) (median, peak float64) {
	var norms []float64
	for i := 0; i < len(u.Time); i += len(u.Time)/gyroEnough + 1 {
		norms = append(norms, r3.Norm(vector(&u.Gyr, i)))
	}
	median = raw.Median(norms) // sorts
	return median, norms[len(norms)-1-len(norms)/1000]
}

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
	n := len(u.Time)
	parts := min(gyroParts, int((u.Time[n-1]-u.Time[0])/gyroLeastPart))
	var slopes []float64
	for k := range parts {
		if slope, ok := turning(u, k*n/parts, (k+1)*n/parts); ok {
			slopes = append(slopes, slope)
		}
	}
	m := raw.Median(slopes) // sorts
	if len(slopes) < gyroAgree || !(math.Abs(m) > 0) || math.IsInf(m, 0) {
		return 0, false
	}
	tail := len(slopes) / 10
	low, high := slopes[tail]/m, slopes[len(slopes)-1-tail]/m
	return 1 / math.Abs(m), min(low, high) >= 1/gyroFactor && max(low, high) <= gyroFactor
}

// turning regresses how the mean specific force changes from one block to the
// next on how the gyroscope says that it does, in the first gyroLook seconds of
// samples from from up to to, and across no gap.
func turning(u *IMU, from, to int) (slope float64, ok bool) {
	t, limit := u.Time[from:to], gapLimit(1/max(u.Rate, 1e-3))
	var turned, meanWas, turnedWas r3.Vec // turned is -∫ω × f dt
	var both, square float64
	ended, pairs := -1, 0
	for r := range blocks(t, gyroBlock) {
		if t[r.b-1]-t[0] > gyroLook {
			break
		}
		whole := r.a == ended
		var mean, meanTurned r3.Vec
		for i := r.a; i < r.b; i++ {
			f := vector(&u.Acc, from+i)
			if i > 0 {
				dt := t[i] - t[i-1]
				whole = whole && dt <= limit
				turned = r3.Sub(turned, r3.Scale(dt, r3.Cross(vector(&u.Gyr, from+i), f)))
			}
			mean, meanTurned = r3.Add(mean, f), r3.Add(meanTurned, turned)
		}
		n := float64(r.b - r.a)
		mean, meanTurned = r3.Scale(1/n, mean), r3.Scale(1/n, meanTurned)
		if whole {
			said := r3.Sub(meanTurned, turnedWas)
			both += r3.Dot(r3.Sub(mean, meanWas), said)
			square += r3.Norm2(said)
			pairs++
		}
		meanWas, turnedWas, ended = mean, meanTurned, r.b
	}
	return both / square, pairs >= gyroPairs && square > 0
}

// checkSpeeds holds the receiver's speeds against the positions of the same
// file. Speeds in another unit than the file says are taken out, so that those
// of the positions take their place, and the user is told. It says whether it
// took them out.
func (b *builder) checkSpeeds(t *track) bool {
	f := &b.r.Gps
	ratio, positions, ok := t.speedRatio()
	if f.Computed || !ok || math.Abs(ratio-1) <= agreeing {
		return false
	}
	likely, own := likelyUnit(unit.SpeedUnits, f.SpeedUnit, ratio, unitNear)
	if likely == nil {
		likely = &unit.Unit{} // none that is known
	}
	w := raw.Warning{Kind: raw.WrongSpeed, Values: []float64{ratio, positions}}
	w.Text = []string{likely.Name, own.Name, f.SpeedColumn}
	if f.SpeedMapped {
		w.Count = 1
	}
	if positions > speedMost {
		w.Kind = raw.WrongTimes
	} else {
		t.Speed = unknown(len(t.Speed))
	}
	b.notes.Warn(w)
	return w.Kind == raw.WrongSpeed
}

// speedRatio is how many times as large the fixes' speeds are as those of the
// positions: the median over fixes on the move. ok is false when there is too
// little movement or the fixes disagree. The positions' median speed at the
// same fixes is in m/s.
func (t *track) speedRatio() (ratio, positions float64, ok bool) {
	var ratios, speeds []float64
	way := 0.0
	stride := len(t.Time)/comparedMost + 1
	for i := 0; i+stride < len(t.Time); i += stride {
		d, fair := t.derive(i)
		v, u := math.Hypot(d.v[0], d.v[1]), float64(t.Speed[i])
		if fair && v > movingFast && u == u {
			ratios, speeds = append(ratios, u/v), append(speeds, v)
			way += v * min(t.Time[i+stride]-t.Time[i], t.reach*float64(stride))
		}
	}
	ratio = raw.Median(ratios) // sorts
	quarter := len(ratios) / 4
	if len(ratios) < comparedLeast || way < wayLeast || !(ratio > 0) ||
		ratios[len(ratios)-1-quarter]-ratios[quarter] > spreadMost*ratio {
		return 0, 0, false
	}
	return ratio, raw.Median(speeds), true
}
