package align

import (
	"math"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Signs are the conventions of the log: what its columns have to be
// multiplied by. A sensor with left-handed axes shows as both signs -1.
type Signs struct {
	Accelerometer int // +1, or -1 where the log reports the opposite of specific force
	Gyroscope     int // +1, or -1 where the log counts left-handed
	// Sure says that the motion settled the signs; otherwise they are the
	// usual +1 for want of turns.
	Sure bool
	// Note is a sentence on what was found, "" for the ordinary +1, +1.
	Note string
}

// chirality tries both hands of the gyroscope and both signs of the
// accelerometer at the given lags, and returns what explains the GPS best.
//
// With the accelerometer negated, up becomes down and the horizontal motion is
// seen from below, in a mirror; with the gyroscope negated, the carried frame
// turns the wrong way. Either spoils the match with the GPS in every turn.
func (b *bins) chirality(g *fixes, lags []float64) *match {
	m, _ := b.chiralitySigns(g, lags)
	return m
}

// chiralitySigns also returns the signs that did best, Sure when they did so
// by a wide margin.
func (b *bins) chiralitySigns(g *fixes, lags []float64) (best *match, signs Signs) {
	signs = Signs{Accelerometer: 1, Gyroscope: 1}
	top, second := math.Inf(-1), math.Inf(-1)
	for _, gyr := range []int{1, -1} {
		if gyr < 0 && !b.hasGyr {
			break
		}
		c := b.carry(1, float64(gyr))
		for _, acc := range []int{1, -1} {
			m := c.matchAt(g, lags, acc < 0)
			_, ll := m.best(func(s *stretch) []float64 { return s.byAccel })
			if ll > top {
				best, signs.Accelerometer, signs.Gyroscope = m, acc, gyr
				top, second = ll, top
			} else {
				second = max(second, ll)
			}
		}
	}
	signs.Sure = b.hasGyr && top > minSignGain && top-second > minSignLead
	return best, signs
}

// What settles the signs, in log likelihood.
const (
	minSignGain = 30.0
	minSignLead = 20.0
)

// findSigns tells the signs at the clock's present offset, give or take the
// GPS receiver's latency.
func findSigns(b *bins, g *fixes) Signs {
	plain := Signs{Accelerometer: 1, Gyroscope: 1}
	if b == nil || !b.hasGyr {
		return plain
	}
	if g != nil && len(g.t) > 30 {
		if _, s := b.chiralitySigns(g, []float64{-1.2, -0.9, -0.6, -0.3, 0, 0.3}); s.Sure {
			s.Note = signNote(s)
			return s
		}
	}
	// Without turns under GPS, gravity can still show the gyroscope's hand.
	if b.handVote() < -5 {
		plain.Gyroscope = -1
		plain.Note = signNote(plain)
	}
	return plain
}

func signNote(s Signs) string {
	switch {
	case s.Accelerometer < 0 && s.Gyroscope < 0:
		return "The sensor's axes are left-handed; this was corrected."
	case s.Accelerometer < 0:
		return "The accelerometer reports the opposite sign; this was corrected."
	case s.Gyroscope < 0:
		return "The gyroscope counts left-handed; this was corrected."
	}
	return ""
}

// handVote compares, in short windows, how steady the specific force is in a
// frame that the gyroscope carries one way and the other. It returns a t
// value: positive for right-handed, about zero when nothing tells.
func (b *bins) handVote() float64 {
	bias := b.medianRate()
	const window = 4.0 // s
	size := int(window / b.dt)
	var n, sum, sq float64
	for from := 0; from+size <= len(b.t); from += size {
		if b.run[from] != b.run[from+size-1] {
			continue
		}
		var spread [2]float64
		turned := 0.0
		for h, sign := range []float64{1, -1} {
			q := quat.Number{Real: 1}
			var s r3.Vec
			var s2 float64
			for i := from; i < from+size; i++ {
				if i > from {
					w := r3.Scale(0.5*sign*b.dt, r3.Add(b.rate(i-1, bias), b.rate(i, bias)))
					q = quat.Mul(q, rotation.Exp(w))
					turned += r3.Norm(w)
				}
				f := rotation.Rotate(q, at3(&b.acc, i))
				s = r3.Add(s, f)
				s2 += r3.Dot(f, f)
			}
			m := r3.Scale(1/float64(size), s)
			spread[h] = s2/float64(size) - r3.Dot(m, m)
		}
		if turned < 0.1 {
			continue
		}
		x := clip(math.Log((spread[1]+1e-3)/(spread[0]+1e-3)), 2)
		n++
		sum += x
		sq += x * x
	}
	if n < 8 {
		return 0
	}
	mean := sum / n
	v := sq/n - mean*mean
	if !(v > 0) {
		return 0
	}
	return mean / math.Sqrt(v/n)
}

// apply returns the samples with the signs put right; the columns are copied
// only where a sign changes.
func (s Signs) apply(in attitude.Samples) attitude.Samples {
	flip := func(c [3][]float32) (out [3][]float32) {
		for k := range 3 {
			out[k] = make([]float32, len(c[k]))
			for i, v := range c[k] {
				out[k][i] = -v
			}
		}
		return out
	}
	if s.Accelerometer < 0 {
		in.Acc = flip(in.Acc)
	}
	if s.Gyroscope < 0 {
		in.Gyr = flip(in.Gyr)
	}
	return in
}

const (
	grossOffset  = 1.5 * deg // rad/s: smaller ones the attitude filter finds by itself
	steadyOffset = 0.5 * deg // rad/s: how well two looks at an offset must agree
)

// grossOffset is the gyroscope's offset as the log reports it, rad/s, where
// it is so large that the attitude filter would not expect it; else zero. It is told
// from where the sensor lies still, else from the median of the rates, which
// turns hardly move, when all quarters of the log agree.
func (b *bins) grossOffset() r3.Vec {
	if b == nil || !b.hasGyr {
		return r3.Vec{}
	}
	mid := b.medianRate()
	if still, ok := b.stillRate(); ok {
		if r3.Norm(still) > grossOffset {
			return still
		}
		return r3.Vec{}
	}
	if r3.Norm(mid) < grossOffset {
		return r3.Vec{}
	}
	n := len(b.t)
	for part := range 4 {
		from, to := n*part/4, n*(part+1)/4
		if to-from < 100 {
			return r3.Vec{}
		}
		for k, m := range [3]float64{mid.X, mid.Y, mid.Z} {
			if math.Abs(median(b.gyr[k][from:to])-m) > steadyOffset {
				return r3.Vec{}
			}
		}
	}
	return mid
}

// stillRate is the mean rate where both sensors hold steady for five seconds.
func (b *bins) stillRate() (rate r3.Vec, ok bool) {
	size := int(5 / b.dt)
	var found [3][]float64
	for from := 0; from+size <= len(b.t); from += size {
		if b.run[from] != b.run[from+size-1] {
			continue
		}
		var g, a r3.Vec
		var g2, a2 float64
		for i := from; i < from+size; i++ {
			x, y := at3(&b.gyr, i), at3(&b.acc, i)
			g, a = r3.Add(g, x), r3.Add(a, y)
			g2 += r3.Dot(x, x)
			a2 += r3.Dot(y, y)
		}
		k := 1 / float64(size)
		g, a = r3.Scale(k, g), r3.Scale(k, a)
		if g2*k-r3.Dot(g, g) < sq(0.3*deg) && a2*k-r3.Dot(a, a) < sq(0.06) {
			found[0], found[1], found[2] = append(found[0], g.X), append(found[1], g.Y), append(found[2], g.Z)
		}
	}
	if len(found[0]) < 2 {
		return r3.Vec{}, false
	}
	rate = r3.Vec{X: median(found[0]), Y: median(found[1]), Z: median(found[2])}
	for i, mid := range [3]float64{rate.X, rate.Y, rate.Z} {
		near := 0
		for _, x := range found[i] {
			if math.Abs(x-mid) < steadyOffset {
				near++
			}
		}
		if near < (2*len(found[i])+2)/3 {
			return r3.Vec{}, false
		}
	}
	return rate, true
}
