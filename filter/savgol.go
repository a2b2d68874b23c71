package filter

import "fmt"

// A SavitzkyGolay fits a polynomial of a degree to the window of samples about
// each, by least squares, and takes its value or a derivative there.
type SavitzkyGolay struct {
	// Weights are those of the window's samples for the point in its middle.
	Weights []float64
	// edges are the same for the points of the first half window; mirrored for the last.
	edges [][]float64
	deriv int
}

// NewSavitzkyGolay returns the filter with an odd window, a degree below it,
// and deriv 0 for the value, 1 and on for the derivatives, per dt seconds.
//
// Source: A. Savitzky, M. J. E. Golay, "Smoothing and differentiation of data
// by simplified least squares procedures", Anal. Chem. 36 (1964) 1627, the
// weights here from the normal equations in orthogonal polynomials.
func NewSavitzkyGolay(window, degree, deriv int, dt float64) (*SavitzkyGolay, error) {
	switch {
	case window < 1 || window%2 == 0:
		return nil, fmt.Errorf("filter: window of %d samples: it must be odd", window)
	case degree < 0 || degree >= window:
		return nil, fmt.Errorf("filter: degree %d over %d samples: it must be below the window", degree, window)
	case deriv < 0 || deriv > degree:
		return nil, fmt.Errorf("filter: derivative %d of degree %d: it must not be above the degree", deriv, degree)
	case !(dt > 0):
		return nil, fmt.Errorf("filter: %g s between samples: it must be positive", dt)
	}
	f := &SavitzkyGolay{deriv: deriv}
	m := window / 2
	for at := -m; at <= 0; at++ {
		f.edges = append(f.edges, gramWeights(m, degree, deriv, at, dt))
	}
	f.Weights = f.edges[m]
	return f, nil
}

// gramWeights are the weights of samples -m..m for the derivative of the fit
// at point at: Σ_k p_k(i) p_k⁽ᵈ⁾(at) / Σ_j p_k(j)², with p_k orthogonal on the
// samples by
//
//	p_k+1(x) = x p_k(x) - c_k p_k-1(x),   c_k = Σ p_k² / Σ p_k-1²
func gramWeights(m, degree, deriv, at int, dt float64) []float64 {
	n := 2*m + 1
	w := make([]float64, n)
	p, q := make([]float64, n), make([]float64, n) // p_k, p_k-1 on the samples
	for i := range p {
		p[i] = 1
	}
	// Derivatives 0..deriv of p_k and p_k-1 at the point.
	d, e := make([]float64, deriv+1), make([]float64, deriv+1)
	d[0] = 1
	last := 0.0
	for k := range degree + 1 {
		sum := 0.0
		for _, v := range p {
			sum += v * v
		}
		for i, v := range p {
			w[i] += v * d[deriv] / sum
		}
		c := 0.0
		if k > 0 {
			c = sum / last
		}
		last = sum
		for i, v := range p {
			p[i], q[i] = float64(i-m)*v-c*q[i], v
		}
		for j := deriv; j >= 0; j-- { // (x p)⁽ʲ⁾ = x p⁽ʲ⁾ + j p⁽ʲ⁻¹⁾
			v := float64(at)*d[j] - c*e[j]
			if j > 0 {
				v += float64(j) * d[j-1]
			}
			e[j], d[j] = d[j], v
		}
	}
	for range deriv {
		for i := range w {
			w[i] /= dt
		}
	}
	return w
}

// Apply filters x. At the ends the first and the last window's polynomials go
// on. Stretches between values that are not numbers are filtered each on its
// own; one shorter than the window becomes NaN, for there is no fit.
func (f *SavitzkyGolay) Apply(x []float64) []float64 {
	out := make([]float64, len(x))
	for i := range out {
		out[i] = nan
	}
	n := len(f.Weights)
	m := n / 2
	for _, r := range runs(x) {
		from, to := r[0], r[1]
		if to-from < n {
			continue
		}
		for i := from + m; i < to-m; i++ {
			out[i] = dot(f.Weights, x[i-m:])
		}
		for k := range m {
			out[from+k] = dot(f.edges[k], x[from:])
			s := 0.0
			for i, w := range f.edges[k] {
				s += w * x[to-1-i]
			}
			if f.deriv%2 == 1 {
				s = -s
			}
			out[to-1-k] = s
		}
	}
	return out
}

func dot(w, x []float64) float64 {
	s := 0.0
	for i, v := range w {
		s += v * x[i]
	}
	return s
}
