package simulate

import (
	"math"
	"math/rand/v2"
)

// spline is a smooth random process of unit variance: a cubic B-spline through
// independent normal knots, so it and its first two derivatives are continuous.
// Its spectrum ends near 1/(2·spacing) Hz.
type spline struct {
	r     *rand.Rand
	k     [4]float64
	u, du float64
}

// RMS of the process per unit of knot scale, and of its slope (∫B₃², ∫B₃′²).
var (
	splineRMS   = math.Sqrt(151.0 / 315)
	splineSlope = math.Sqrt((2.0 / 3) / (151.0 / 315)) // RMS slope · spacing / RMS
)

func newSpline(r *rand.Rand, dt, spacing float64) *spline {
	s := &spline{r: r, du: dt / spacing}
	for i := range s.k {
		s.k[i] = r.NormFloat64() / splineRMS
	}
	s.u = r.Float64()
	return s
}

// next is the process one sample on.
func (s *spline) next() float64 {
	s.u += s.du
	for s.u >= 1 {
		s.u--
		s.k[0], s.k[1], s.k[2] = s.k[1], s.k[2], s.k[3]
		s.k[3] = s.r.NormFloat64() / splineRMS
	}
	u := s.u
	v := 1 - u
	u2, v2 := u*u, v*v
	return (v2*v*s.k[0] + (4-3*u2*(2-u))*s.k[1] + (4-3*v2*(2-v))*s.k[2] + u2*u*s.k[3]) / 6
}

// ar1 is a first-order process of unit variance and time constant tau.
type ar1 struct {
	r    *rand.Rand
	x, a float64
	b    float64
}

func newAR1(r *rand.Rand, dt, tau float64) *ar1 {
	a := 0.0
	if tau > 0 {
		a = math.Exp(-dt / tau)
	}
	return &ar1{r: r, x: r.NormFloat64(), a: a, b: math.Sqrt(1 - a*a)}
}

func (p *ar1) next() float64 {
	p.x = p.a*p.x + p.b*p.r.NormFloat64()
	return p.x
}

// A key fixes a channel's value at a time; between keys it is linear.
type key struct{ t, v float64 }

// A track is one channel of the script.
type track []key

// set starts the channel.
func (k *track) set(v float64) { *k = append(*k, key{0, v}) }

// to holds the last value until t0 and reaches v at t1.
func (k *track) to(t0, t1, v float64) {
	last := (*k)[len(*k)-1]
	t0 = max(t0, last.t)
	t1 = max(t1, t0+1e-3)
	*k = append(*k, key{t0, last.v}, key{t1, v})
}

// last is the value the channel ends on.
func (k track) last() float64 { return k[len(k)-1].v }

// samples is the channel at i·dt, smoothed by three running means of the
// given width in seconds together: three orders smoother than the keys.
func (m *motion) samples(k track, width float64) []float64 {
	n, dt := m.n, m.dt
	tmp, out := m.column(), m.column() // three means later tmp is the result
	i := 0
	for j, a := range k {
		b := key{math.Inf(1), a.v}
		if j+1 < len(k) {
			b = k[j+1]
		}
		rise, run := b.v-a.v, b.t-a.t
		for ; i < n; i++ {
			t := float64(i) * dt
			if t >= b.t {
				break
			}
			out[i] = a.v
			if rise != 0 {
				out[i] += rise * (t - a.t) / run
			}
		}
	}
	h := int(width / (6 * dt))
	for range 3 {
		boxMean(tmp, out, h)
		out, tmp = tmp, out
	}
	m.used--
	return out
}

// boxMean is the running mean over ±h samples, ends held; of fewer, too.
func boxMean(dst, src []float64, h int) {
	n := len(src)
	if h < 1 || n == 0 {
		copy(dst, src)
		return
	}
	var sum float64
	for i := -h; i <= h; i++ {
		sum += src[min(max(i, 0), n-1)]
	}
	k := 1 / float64(2*h+1)
	held := func(from, to int) {
		for i := from; i < to; i++ {
			dst[i] = sum * k
			sum += src[min(i+h+1, n-1)] - src[max(i-h, 0)]
		}
	}
	from := min(h, n)
	to := max(n-h-1, from)
	held(0, from)
	s, in, out, mean := sum, src[min(from+h+1, n):], src[max(from-h, 0):], dst[from:to]
	in, out = in[:len(mean)], out[:len(mean)]
	for i := range mean {
		mean[i] = s * k
		s += in[i] - out[i]
	}
	sum = s
	held(to, n)
}

// slope is the central difference of x at i.
func slope(x []float64, i int, dt float64) float64 {
	a, b := max(i-1, 0), min(i+1, len(x)-1)
	if a == b {
		return 0
	}
	return (x[b] - x[a]) / (float64(b-a) * dt)
}
