package align

import (
	"math"

	"evenfoot/filter"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// bins are the samples averaged over short, even intervals: enough for turns
// and speed changes, and few enough to try several hypotheses on.
type bins struct {
	start, dt float64  // s
	acc, gyr  []r3.Vec // m/s², rad/s; NaN in a bin without a sample
	holes     []int32  // holes[i] is how many of the first i bins are empty
	offset    r3.Vec   // the gyroscope's: each axis's median rate, rad/s
	hasGyr    bool
}

// longestOuting bounds memory and time, s: no outing is longer, and a wrong
// date makes a log of years.
const longestOuting = 30 * 3600.0

// newBins averages the samples; NaN samples are left out of the averages. It
// returns nil when fewer than two bins hold anything, or when the log spans
// more than longestOuting; span, s, then says so.
func newBins(s attitude.Samples) (b *bins, span float64) {
	n := len(s.Time)
	for k := range 3 {
		n = min(n, len(s.Acc[k]), len(s.Gyr[k]))
	}
	if n < 4 {
		return nil, 0
	}
	// A sample speaks for half a period to either side; short against a turn,
	// a bin is long against a sample.
	period := filter.MedianStep(s.Time[:n])
	b = &bins{dt: max(0.1, 2.5*period), start: s.Time[0] - period/2}
	if s := b.start + b.dt; s-s != 0 {
		return nil, 0
	}
	last, full, turned := math.Inf(-1), 0, 0
	size := max(int(min((s.Time[n-1]-b.start)/b.dt, longestOuting/b.dt, float64(n)))+1, 0) // NaN makes it negative
	b.acc, b.gyr = make([]r3.Vec, 0, size), make([]r3.Vec, 0, size)
	na, ng := make([]float64, 0, size), make([]float64, 0, size) // samples in each
	for i, t := range s.Time[:n] {
		if !(t > last) || math.IsInf(t, 0) {
			continue
		}
		last = t
		if t-b.start > longestOuting {
			return nil, t - b.start
		}
		cell := max(int((t-b.start)/b.dt), 0)
		for len(b.acc) <= cell {
			b.acc, b.gyr, na, ng = append(b.acc, r3.Vec{}), append(b.gyr, r3.Vec{}), append(na, 0), append(ng, 0)
		}
		if a := s.AccAt(i); finite(a) {
			b.acc[cell] = r3.Add(b.acc[cell], a)
			na[cell]++
		}
		if g := s.GyrAt(i); finite(g) {
			b.gyr[cell] = r3.Add(b.gyr[cell], g)
			ng[cell]++
		}
	}
	b.holes = make([]int32, len(b.acc)+1)
	for i := range b.acc {
		b.holes[i+1] = b.holes[i]
		if na[i] == 0 {
			b.acc[i], b.gyr[i] = nowhere, nowhere
			b.holes[i+1]++
			continue
		}
		b.acc[i], b.gyr[i] = r3.Scale(1/na[i], b.acc[i]), r3.Scale(1/max(ng[i], 1), b.gyr[i])
		full++
		if ng[i] > 0 {
			turned++
		}
	}
	if full < 2 {
		return nil, 0
	}
	b.hasGyr = turned > full/2
	b.offset = b.medianRate()
	return b, 0
}

var nowhere = r3.Vec{X: math.NaN(), Y: math.NaN(), Z: math.NaN()}

func finite(v r3.Vec) bool {
	s := v.X + v.Y + v.Z
	return s-s == 0
}

func (b *bins) empty(i int) bool { return b.acc[i].X != b.acc[i].X }

// unbroken says that no bin in [from, to) is empty.
func (b *bins) unbroken(from, to int) bool { return b.holes[to] == b.holes[from] }

// medianRate is each axis's median rate, rad/s.
func (b *bins) medianRate() r3.Vec {
	var cols [3][]float64
	for k := range cols {
		cols[k] = make([]float64, 0, len(b.gyr))
	}
	for i, w := range b.gyr {
		if !b.empty(i) {
			cols[0], cols[1], cols[2] = append(cols[0], w.X), append(cols[1], w.Y), append(cols[2], w.Z)
		}
	}
	return r3.Vec{X: filter.Median(cols[0]), Y: filter.Median(cols[1]), Z: filter.Median(cols[2])}
}

// turn takes the middle of bin i-1 to that of bin i, by the mean rate of both
// less the gyroscope's offset; hand -1 turns the other way.
func (b *bins) turn(i int, hand float64) quat.Number {
	w := r3.Sub(r3.Scale(0.5, r3.Add(b.gyr[i-1], b.gyr[i])), b.offset)
	return rotation.Exp(r3.Scale(hand*b.dt, w))
}

// carried is the motion seen from a frame that the gyroscope carries: z up,
// heading arbitrary and free to drift with the gyroscope's bias.
type carried struct {
	*bins
	yaw    []float64 // rad/s about up, counter-clockwise from above
	horiz  []float64 // m/s², size of the horizontal specific force
	vx, vy []float64 // m/s, running integrals of its two components at the bins' ends
	turned []float64 // rad, running integral of yaw at the bins' ends
}

// carrySpan is the time over which gravity is told from acceleration, s: long
// against a turn, short against the gyroscope's drift; tuned on the outings of
// the clock's tests.
const carrySpan = 36

// carry finds up by averaging the specific force in the frame that the
// gyroscope carries; hand multiplies the rates. In empty bins the rates are NaN,
// and the integrals stand still.
func (b *bins) carry(hand float64) *carried {
	n := len(b.acc)
	c := &carried{bins: b}
	for _, col := range []*[]float64{&c.yaw, &c.horiz, &c.vx, &c.vy, &c.turned} {
		*col = make([]float64, n)
	}
	half := int(carrySpan / 2 / b.dt)
	q := make([]quat.Number, n)
	sum := make([]r3.Vec, n+1) // of specific force in the carried frame, before each bin
	for from := 0; from < n; {
		to := from
		for ; to < n && !b.empty(to); to++ {
			q[to] = quat.Number{Real: 1}
			if to > from {
				q[to] = rotation.Unit(quat.Mul(q[to-1], b.turn(to, hand)))
			}
			sum[to+1] = r3.Add(sum[to], rotation.Rotate(q[to], b.acc[to]))
		}
		level := quat.Number{Real: 1} // turns the carried frame's up to z, the shortest way each time
		for i := from; i < to; i++ {
			up := r3.Sub(sum[min(i+half+1, to)], sum[max(i-half, from)])
			level = rotation.Unit(quat.Mul(rotation.Upright(rotation.Rotate(level, up)), level))
			h := rotation.Rotate(level, r3.Sub(sum[i+1], sum[i]))
			c.horiz[i] = math.Sqrt(h.X*h.X + h.Y*h.Y)
			w := rotation.Rotate(quat.Mul(level, q[i]), r3.Sub(b.gyr[i], b.offset))
			c.yaw[i] = hand * w.Z
			if i > 0 {
				c.vx[i], c.vy[i], c.turned[i] = c.vx[i-1], c.vy[i-1], c.turned[i-1]
			}
			c.vx[i] += h.X * b.dt
			c.vy[i] += h.Y * b.dt
			c.turned[i] += c.yaw[i] * b.dt
		}
		for from = to; from < n && b.empty(from); from++ {
			c.yaw[from], c.horiz[from] = math.NaN(), math.NaN()
			sum[from+1] = sum[from]
		}
	}
	return c
}
