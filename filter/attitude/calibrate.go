package attitude

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Self-calibration: constant errors of the sensors show in the innovations of
// the filter. Each is carried along the forward pass as the state's
// sensitivity to it (the augmented filter of P. de Jong, "The diffuse Kalman
// filter", Ann. Statist. 19, 1991, 1073), which gives least squares with the
// innovations as data,
//
//	ν = ν0 - X_h θ,    (Σ X_hᵀ X_h / S + 1) θ = Σ X_hᵀ ν0 / S
//
// with θ in units of its prior standard deviation.
const nTheta = 9 // accelerometer offset, accelerometer scale, gyroscope scale, 3 axes each

// Priors, 1σ, of factory-trimmed MEMS units by their data sheets;
// accBiasSD is the third.
const (
	accScaleSD = 0.005
	gyrScaleSD = 0.01
	// roughAccBiasSD is the offset of units that nobody trimmed, m/s², for the
	// first look with GPS; tuned on 60 sessions whose offset was 0.15 an axis.
	roughAccBiasSD = 0.1
)

// informed is how much better than the prior, as a ratio of variances, a
// direction of θ must be known before it is used: on the reference trials a
// log that stays about one orientation, or one jolted too much, gives less.
const informed = 9

type theta [nTheta]float64

// A calibrator gathers the normal equations during a forward pass.
type calibrator struct {
	x [nTheta]state // the state's sensitivities
	a [nTheta]theta
	c theta
	u theta // units: prior SD
}

// newCalibrator is one for an accelerometer's offset of accBiasSD before, 1σ, m/s².
func newCalibrator(accBiasSD float64) *calibrator {
	var c calibrator
	for k := range 3 {
		c.u[k], c.u[3+k], c.u[6+k] = max(accBiasSD, 1e-9), accScaleSD, gyrScaleSD
	}
	return &c
}

// step takes the sensitivities over a block from attitude q.
func (c *calibrator) step(t *transition, b *block, q quat.Number) {
	if t.reset {
		for j := range c.x {
			clear(c.x[j][:iB])
		}
		return
	}
	r := matrix(q)
	pull, gain := r.mul(&b.pull), r.mul(&b.gain)
	for j := range c.x {
		x, u := &c.x[j], c.u[j]
		t.apply(x)
		switch k := j % 3; j / 3 {
		case 0:
			x[iV] -= t.b[k] * u
			x[iV+1] -= t.b[3+k] * u
		case 1:
			x[iV] += pull[k] * u
			x[iV+1] += pull[3+k] * u
		case 2:
			g := r3.Scale(u, gain.column(k))
			v := r3.Cross(g, t.u)
			x[0] += g.X
			x[1] += g.Y
			x[2] += g.Z
			x[iV] += 0.5 * v.X
			x[iV+1] += 0.5 * v.Y
		}
	}
}

// take takes in one innovation.
func (c *calibrator) take(m *update) {
	var row theta
	for j := range c.x {
		row[j] = c.x[j][m.h]
		for i := range c.x[j] {
			c.x[j][i] -= m.k[i] * row[j]
		}
	}
	for i := range row {
		w := row[i] / m.s
		for j := range row {
			c.a[i][j] += w * row[j]
		}
		c.c[i] += w * m.e
	}
}

// solve returns the estimate in the directions that the log tells well, and
// the covariance, both in units of the prior; ok is false when there is none.
// prior is its mean before, relative to the calibration in use; excess is how
// much larger than reckoned the innovations' variance was.
func (c *calibrator) solve(prior theta, excess float64) (est theta, covar [nTheta]theta, ok bool) {
	a := mat.NewSymDense(nTheta, nil)
	rhs := c.c
	for i := range c.a {
		for j, x := range &c.a[i] {
			a.SetSym(i, j, x/excess)
			rhs[i] -= x * prior[j] // about the prior's mean
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(a, true) {
		return prior, covar, false
	}
	var u mat.Dense
	eig.VectorsTo(&u)
	est = prior
	for k, l := range eig.Values(nil) {
		v := 1.0
		if l+1 > informed {
			ok = true
			v = 1 / (1 + l)
			dot := 0.0
			for i, x := range rhs {
				dot += u.At(i, k) * x / excess
			}
			for i := range est {
				est[i] += u.At(i, k) * dot * v
			}
		}
		for i := range covar {
			for j := range covar {
				covar[i][j] += u.At(i, k) * u.At(j, k) * v
			}
		}
	}
	return est, covar, ok
}

// calibrate corrects the sensors by what the log tells well, integrates them
// again, and reports whether that was anything.
func (g *integrator) calibrate(c *calibrator, s *smoother) bool {
	cal := [3]*r3.Vec{&g.cal.accBias, &g.cal.accScale, &g.cal.gyrScale}
	none := [3]r3.Vec{noCalibration.accBias, noCalibration.accScale, noCalibration.gyrScale}
	var prior theta
	for k := range prior {
		prior[k] = xyz(r3.Sub(none[k/3], *cal[k/3]))[k%3] / c.u[k]
	}
	est, covar, ok := c.solve(prior, max(1, s.nis))
	if !ok {
		return false
	}
	for k := range cal {
		x, u := est[3*k:], c.u[3*k:]
		*cal[k] = r3.Add(*cal[k], r3.Vec{X: x[0] * u[0], Y: x[1] * u[1], Z: x[2] * u[2]})
	}
	for k := range 3 {
		for j := range 3 {
			s.accBias[3*k+j] = covar[k][j] * c.u[k] * c.u[j]
		}
	}
	g.integrate(s.bl)
	return true
}
