package align

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A lagScore says how well two series match at one lag.
type lagScore struct {
	score   float64 // log likelihood gained over no relation
	corr    float64 // the largest correlation of the channels so far
	overlap float64 // s
}

// correlationTime is about how long turns and accelerations hold, s: one
// independent look each.
const correlationTime = 4.0

// correlate scores every lag of b against a; NaN cells are left out of the
// sums, so that holes do not count (masked normalised cross-correlation,
// D. Padfield, IEEE Trans. Image Process. 21(5):2706, 2012). Entry k is b
// shifted by k-(len(a)-1) cells. oneSided ignores negative correlation.
// Scores are added to prior, which may be nil.
func correlate(a, b []float64, oneSided bool, prior []lagScore) []lagScore {
	n := len(a) + len(b) - 1
	size := 1 << bits.Len(uint(n-1))
	fft := fourier.NewFFT(size)
	spectra := func(x []float64) (v, sq, mask []complex128) {
		p, p2, m := make([]float64, size), make([]float64, size), make([]float64, size)
		for i, y := range x {
			if y == y {
				p[i], p2[i], m[i] = y, y*y, 1
			}
		}
		return fft.Coefficients(nil, p), fft.Coefficients(nil, p2), fft.Coefficients(nil, m)
	}
	av, a2, am := spectra(a)
	bv, b2, bm := spectra(b)
	cross := func(x, y []complex128) []float64 {
		prod := make([]complex128, len(x))
		for i := range x {
			prod[i] = complex(real(x[i]), -imag(x[i])) * y[i]
		}
		return fft.Sequence(nil, prod)
	}
	cnt := cross(am, bm)
	sa, sb := cross(av, bm), cross(am, bv)
	saa, sbb := cross(a2, bm), cross(am, b2)
	sab := cross(av, bv)
	out := prior
	if out == nil {
		out = make([]lagScore, n)
	}
	for k := range out {
		i := k - (len(a) - 1)
		if i < 0 {
			i += size
		}
		m := cnt[i] / float64(size)
		if m < 3 {
			continue
		}
		ma, mb := sa[i]/float64(size)/m, sb[i]/float64(size)/m
		va, vb := saa[i]/float64(size)/m-ma*ma, sbb[i]/float64(size)/m-mb*mb
		cov := sab[i]/float64(size)/m - ma*mb
		if !(va > 1e-9) || !(vb > 1e-9) {
			continue
		}
		r := cov / math.Sqrt(va*vb)
		out[k].overlap = max(out[k].overlap, m*coarseStep)
		if oneSided && r < 0 {
			continue
		}
		r = min(math.Abs(r), 0.999)
		looks := max(m*coarseStep/correlationTime-3, 0)
		out[k].score -= 0.5 * looks * math.Log(1-r*r)
		out[k].corr = max(out[k].corr, r)
	}
	return out
}
