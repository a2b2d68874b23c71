package align

import (
	"math"
	"slices"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// standardGravity is the conventional acceleration of gravity, m/s².
const standardGravity = 9.80665

// bins are the samples averaged over short, even intervals: enough for turns
// and speed changes, and small enough to try several hypotheses on.
// Intervals without a sample are left out; a new run starts after each hole.
type bins struct {
	dt     float64      // s
	t      []float64    // s, middle of each interval
	acc    [3][]float64 // m/s²
	gyr    [3][]float64 // rad/s
	run    []int32      // index of the gap-free run each bin belongs to
	hasGyr bool
}

// binWidth is short against a turn and long against a sample.
func binWidth(time []float64) float64 {
	return max(0.1, 2.5*medianPeriod(time))
}

// medianPeriod is the usual time between samples, s.
func medianPeriod(time []float64) float64 {
	d := make([]float64, 0, 1024)
	for i := 1; i < len(time); i += 1 + len(time)/1024 {
		d = append(d, time[i]-time[i-1])
	}
	return median(d)
}

// newBins averages the samples; NaN samples are left out of the averages.
// It returns nil when fewer than two intervals hold anything.
func newBins(s attitude.Samples) *bins {
	n := len(s.Time)
	for k := range 3 {
		n = min(n, len(s.Acc[k]), len(s.Gyr[k]))
	}
	if n < 4 {
		return nil
	}
	s.Time = s.Time[:n]
	b := &bins{dt: binWidth(s.Time)}
	if !(b.dt > 0) || math.IsInf(b.dt, 0) {
		return nil
	}
	// A sample speaks for half a period to either side.
	period := medianPeriod(s.Time)
	start := s.Time[0] - period/2
	run, last := int32(0), math.Inf(-1)
	gyrSeen := 0
	prev := math.Inf(-1)
	for i := 0; i < n; {
		if !(s.Time[i] > prev) || math.IsInf(s.Time[i], 0) {
			i++
			continue
		}
		cell := math.Floor((s.Time[i] - start) / b.dt)
		end := start + (cell+1)*b.dt
		var acc, gyr [3]float64
		var na, ng float64
		for first := true; i < n && (first || s.Time[i] < end && s.Time[i] > prev); i++ {
			first = false // rounding must not stop the march
			prev = s.Time[i]
			a := [3]float64{float64(s.Acc[0][i]), float64(s.Acc[1][i]), float64(s.Acc[2][i])}
			if sum := a[0] + a[1] + a[2]; sum-sum == 0 {
				acc[0] += a[0]
				acc[1] += a[1]
				acc[2] += a[2]
				na++
			}
			g := [3]float64{float64(s.Gyr[0][i]), float64(s.Gyr[1][i]), float64(s.Gyr[2][i])}
			if sum := g[0] + g[1] + g[2]; sum-sum == 0 {
				gyr[0] += g[0]
				gyr[1] += g[1]
				gyr[2] += g[2]
				ng++
			}
		}
		if na == 0 {
			continue
		}
		if cell > last+1.5 && len(b.t) > 0 {
			run++
		}
		last = cell
		b.t = append(b.t, start+(cell+0.5)*b.dt)
		b.run = append(b.run, run)
		for k := range 3 {
			b.acc[k] = append(b.acc[k], acc[k]/na)
			w := 0.0
			if ng > 0 {
				w = gyr[k] / ng
			}
			b.gyr[k] = append(b.gyr[k], w)
		}
		if ng > 0 {
			gyrSeen++
		}
	}
	if len(b.t) < 2 {
		return nil
	}
	b.hasGyr = gyrSeen > len(b.t)/2
	return b
}

// carried is the motion seen from a frame that the gyroscope carries: z up,
// heading arbitrary and free to drift with the gyroscope's bias.
type carried struct {
	*bins
	yaw    []float64 // rad/s about up, counter-clockwise from above
	east   []float64 // m/s², horizontal specific force along the frame's x axis
	north  []float64 // m/s², along its y axis
	horiz  []float64 // m/s², size of the horizontal specific force
	vx, vy []float64 // m/s, running integrals of east and north at the bins' ends
	turned []float64 // rad, running integral of yaw at the bins' ends
}

// carryTau is the time over which gravity is told from acceleration, s: long
// against a turn, short against the gyroscope's drift.
const carryTau = 8

// carry finds up by averaging the specific force, forward and backward, in
// the frame that the gyroscope carries. signs multiply what the log says.
func (b *bins) carry(accSign, gyrSign float64) *carried {
	n := len(b.t)
	c := &carried{bins: b}
	c.yaw, c.east, c.north = make([]float64, n), make([]float64, n), make([]float64, n)
	c.horiz, c.vx, c.vy, c.turned = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	bias := b.medianRate()
	q := make([]quat.Number, n)
	f := make([]r3.Vec, n) // specific force in the carried frame
	for i := range n {
		acc := r3.Scale(accSign, at3(&b.acc, i))
		if i == 0 || b.run[i] != b.run[i-1] {
			q[i] = quat.Number{Real: 1}
		} else {
			// Rate averages of the two half bins take one middle to the next.
			w := r3.Scale(0.5*gyrSign*b.dt, r3.Add(b.rate(i-1, bias), b.rate(i, bias)))
			q[i] = rotation.Unit(quat.Mul(q[i-1], rotation.Exp(w)))
		}
		f[i] = rotation.Rotate(q[i], acc)
	}
	up := make([]r3.Vec, n)
	for from := 0; from < n; {
		to := from + 1
		for to < n && b.run[to] == b.run[from] {
			to++
		}
		smoothBoth(f[from:to], up[from:to], b.dt/carryTau)
		from = to
	}
	var level quat.Number // turns the carried frame's up to z, the shortest way each time
	for i := range n {
		u := unit(up[i])
		if i == 0 || b.run[i] != b.run[i-1] {
			level = rotation.Between(u, r3.Vec{Z: 1})
		} else {
			level = rotation.Unit(quat.Mul(rotation.Between(rotation.Rotate(level, u), r3.Vec{Z: 1}), level))
		}
		h := rotation.Rotate(level, f[i])
		c.east[i], c.north[i] = h.X, h.Y
		c.horiz[i] = math.Hypot(h.X, h.Y)
		w := rotation.Rotate(level, rotation.Rotate(q[i], r3.Scale(gyrSign, b.rate(i, bias))))
		c.yaw[i] = w.Z
		if i > 0 && b.run[i] == b.run[i-1] {
			c.vx[i], c.vy[i], c.turned[i] = c.vx[i-1], c.vy[i-1], c.turned[i-1]
		}
		c.vx[i] += h.X * b.dt
		c.vy[i] += h.Y * b.dt
		c.turned[i] += w.Z * b.dt
	}
	return c
}

// rate is the mean rate of bin i less an offset, rad/s.
func (b *bins) rate(i int, bias r3.Vec) r3.Vec { return r3.Sub(at3(&b.gyr, i), bias) }

// medianRate is each axis's median rate, rad/s.
func (b *bins) medianRate() r3.Vec {
	return r3.Vec{X: median(b.gyr[0]), Y: median(b.gyr[1]), Z: median(b.gyr[2])}
}

// at3 is row i of three columns.
func at3(c *[3][]float64, i int) r3.Vec { return r3.Vec{X: c[0][i], Y: c[1][i], Z: c[2][i]} }

// smoothBoth is a first-order low-pass run forward, then backward, each
// started from the mean over its time constant.
func smoothBoth(in, out []r3.Vec, alpha float64) {
	alpha = min(alpha, 1)
	head := min(len(in), int(2/alpha)+1)
	mean := func(v []r3.Vec) (m r3.Vec) {
		for _, x := range v {
			m = r3.Add(m, x)
		}
		return r3.Scale(1/float64(len(v)), m)
	}
	y := mean(in[:head])
	for i, x := range in {
		y = r3.Add(y, r3.Scale(alpha, r3.Sub(x, y)))
		out[i] = y
	}
	y = mean(out[len(out)-head:])
	for i := len(out) - 1; i >= 0; i-- {
		y = r3.Add(y, r3.Scale(alpha, r3.Sub(out[i], y)))
		out[i] = y
	}
}

// at interpolates a running integral at time t; ok is false in a hole.
// hint is where the last search ended.
func (b *bins) at(v []float64, t float64, hint *int) (x float64, run int32, ok bool) {
	// The integral is held at the end of each bin, half a width after its middle.
	t -= b.dt / 2
	i, n := *hint, len(b.t)
	for steps := 0; i+1 < n && b.t[i+1] < t; steps++ {
		if i++; steps > 40 { // far from the last one
			i, _ = slices.BinarySearch(b.t, t)
			i--
		}
	}
	for i > 0 && b.t[i] > t {
		i--
	}
	if i+1 >= n || i < 0 || b.t[i] > t {
		return 0, 0, false
	}
	*hint = i
	if b.run[i] != b.run[i+1] {
		return 0, 0, false
	}
	u := (t - b.t[i]) / (b.t[i+1] - b.t[i])
	return v[i] + u*(v[i+1]-v[i]), b.run[i], true
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// quantile is the p-quantile of x, NaN of nothing.
func quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return s[min(int(p*float64(len(s))), len(s)-1)]
}
