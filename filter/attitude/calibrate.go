package attitude

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Self-calibration: constant errors of the sensors show in the innovations of
// the filter. Each is carried along the forward pass as the state's
// sensitivity to it (de Jong's augmented filter), which gives least squares
// with the innovations as data,
//
//	ν = ν0 - X_h θ,    (Σ X_hᵀ X_h / S + 1) θ = Σ X_hᵀ ν0 / S
//
// with θ in units of its prior standard deviation.
const nTheta = 9 // accelerometer offset, accelerometer scale, gyroscope scale, 3 axes each

// Priors, 1σ, of factory-trimmed MEMS units; Params.AccBiasSD is the third.
const (
	accScaleSD = 0.005
	gyrScaleSD = 0.01
	// roughAccBiasSD is the offset of units that nobody trimmed, m/s², for the
	// first look with GPS; tuned on 60 sessions whose offset was 0.15 a axis.
	roughAccBiasSD = 0.1
)

// informed is how much better than the prior, as a ratio of variances, a
// direction of θ must be known before it is used. A log that stays about one
// orientation, or one jolted too much, gives less.
const informed = 9

type theta [nTheta]float64

// calibrator gathers the normal equations during a forward pass.
type calibrator struct {
	x [nTheta]state
	a [nTheta]theta
	c theta
	u theta // units: prior SD
}

// step takes the sensitivities over a block.
func (c *calibrator) step(st *step, bl *block, r *mat) {
	if st.reset {
		for j := range c.x {
			for i := range iB {
				c.x[j][i] = 0
			}
		}
		return
	}
	pull, gain := mulMat(r, &bl.pull), mulMat(r, &bl.gain)
	for j := range c.x {
		x := st.mean(&c.x[j])
		k := j % 3
		switch j / 3 {
		case 0:
			x[iV] -= st.b[k] * c.u[j]
			x[iV+1] -= st.b[3+k] * c.u[j]
		case 1:
			x[iV] += pull[k] * c.u[j]
			x[iV+1] += pull[3+k] * c.u[j]
		case 2:
			g := r3.Vec{X: gain[k] * c.u[j], Y: gain[3+k] * c.u[j], Z: gain[6+k] * c.u[j]}
			v := r3.Cross(g, st.u)
			x[0] += g.X
			x[1] += g.Y
			x[2] += g.Z
			x[iV] += 0.5 * v.X
			x[iV+1] += 0.5 * v.Y
		}
		c.x[j] = x
	}
}

// take takes in one innovation.
func (c *calibrator) take(h int, k *state, e, s float64) {
	var row theta
	for j := range c.x {
		row[j] = c.x[j][h]
		for i := range c.x[j] {
			c.x[j][i] -= k[i] * row[j]
		}
	}
	inv := 1 / s
	for i := range row {
		for j := range row {
			c.a[i][j] += row[i] * row[j] * inv
		}
		c.c[i] += row[i] * e * inv
	}
}

// solve returns the estimate in the directions that the log tells well, and
// the covariance, both in units of the prior; ok is false when there is none.
// prior is the mean of θ, relative to the calibration in use.
func (c *calibrator) solve(prior *theta, excess float64) (est theta, covar [nTheta]theta, ok bool) {
	a, rhs := c.a, c.c
	for i := range rhs { // about the prior's mean
		for j := range rhs {
			rhs[i] -= a[i][j] * prior[j]
		}
	}
	for i := range rhs { // innovations larger than reckoned weigh less
		rhs[i] /= excess
		for j := range rhs {
			a[i][j] /= excess
		}
	}
	lambda, u := eigen(a)
	est = *prior
	for k, l := range lambda {
		v := 1.0
		if l+1 > informed {
			ok = true
			v = 1 / (1 + l)
			dot := 0.0
			for i := range rhs {
				dot += u[i][k] * rhs[i]
			}
			for i := range est {
				est[i] += u[i][k] * dot * v
			}
		}
		for i := range covar {
			for j := range covar {
				covar[i][j] += u[i][k] * u[j][k] * v
			}
		}
	}
	return est, covar, ok
}

// eigen returns the eigenvalues and, in columns, the eigenvectors of a
// symmetric matrix, by Jacobi's rotations.
func eigen(a [nTheta]theta) (values theta, vectors [nTheta]theta) {
	for i := range vectors {
		vectors[i][i] = 1
	}
	for range 30 {
		off, diag := 0.0, 0.0
		for i := range a {
			diag += a[i][i] * a[i][i]
			for j := range i {
				off += a[i][j] * a[i][j]
			}
		}
		if off <= 1e-24*diag {
			break
		}
		for p := range a {
			for q := p + 1; q < nTheta; q++ {
				if a[p][q] == 0 {
					continue
				}
				h := (a[q][q] - a[p][p]) / (2 * a[p][q])
				t := 1 / (math.Abs(h) + math.Sqrt(h*h+1))
				if h < 0 {
					t = -t
				}
				c := 1 / math.Sqrt(t*t+1)
				s := t * c
				for i := range a {
					x, y := a[i][p], a[i][q]
					a[i][p], a[i][q] = c*x-s*y, s*x+c*y
				}
				for i := range a {
					x, y := a[p][i], a[q][i]
					a[p][i], a[q][i] = c*x-s*y, s*x+c*y
					x, y = vectors[i][p], vectors[i][q]
					vectors[i][p], vectors[i][q] = c*x-s*y, s*x+c*y
				}
			}
		}
	}
	for i := range values {
		values[i] = a[i][i]
	}
	return values, vectors
}

// calibrate estimates the sensors' constant errors from one forward pass
// about the path, and changes b.cal by what the log tells well. It reports
// whether that was anything. accBiasSD is the accelerometer's offset before, 1σ, m/s².
func (s *smoother) calibrate(b *builder, accBiasSD float64) bool {
	var c calibrator
	for k := range 3 {
		c.u[k] = max(accBiasSD, 1e-9)
		c.u[3+k] = accScaleSD
		c.u[6+k] = gyrScaleSD
	}
	s.forward(func(k int, st *step) {
		r := matrix(s.q[k])
		c.step(st, &s.bl[k], &r)
	}, c.take)
	var prior theta
	for k := range 3 {
		prior[k] = -b.cal.accBias[k] / c.u[k]
		prior[3+k] = (1 - b.cal.accScale[k]) / c.u[3+k]
		prior[6+k] = (1 - b.cal.gyrScale[k]) / c.u[6+k]
	}
	est, covar, ok := c.solve(&prior, max(1, s.nis))
	if !ok {
		return false
	}
	for k := range 3 {
		b.cal.accBias[k] += est[k] * c.u[k]
		b.cal.accScale[k] += est[3+k] * c.u[3+k]
		b.cal.gyrScale[k] += est[6+k] * c.u[6+k]
		for j := range 3 {
			s.accBias[3*k+j] = covar[k][j] * c.u[k] * c.u[j]
		}
	}
	return true
}
