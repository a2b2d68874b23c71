package ride

import (
	"math"
	"slices"

	"evenfoot/filter"
	"evenfoot/filter/align"
)

// Step of the even time base, s.
const baseStep = 0.2

// longest is how much of a log is looked at, s: one outing is no longer, and
// one wild time stamp must not fill the memory.
const longest = 48 * 3600

// A grid is the session on the even time base.
type grid struct {
	SpeedSeries
	n      int
	sound  []bool    // between two neighbouring good fixes: counts for best speeds
	mag    []float64 // m/s, between the fixes' speeds (a turn's chord would be too short)
	speed  []float64 // m/s, the same smoothed over a second
	se, sn []float64 // the smoothed velocity
	period float64   // s between fixes, median
	imu    *features // nil without IMU
}

func (g *grid) at(i int) float64 { return g.Start + float64(i)*g.Step }

func (g *grid) index(t float64) int {
	i := int(math.Round((t - g.Start) / g.Step))
	return min(max(i, 0), g.n-1)
}

// samples is how many steps make s seconds, at least one.
func (g *grid) samples(s float64) int { return max(1, int(math.Round(s/g.Step))) }

// fastest is beyond what any board has done, m/s.
const fastest = 60

// fixes are the usable fixes, in order of time, and the times of all.
func (in *Input) fixes() (t, e, n []float64, all []float64) {
	k := min(len(in.Time), len(in.East), len(in.North))
	last := math.Inf(-1)
	for i := range k {
		ti := in.Time[i]
		if math.IsNaN(ti) || math.IsInf(ti, 0) || ti <= last {
			continue
		}
		last = ti
		all = append(all, ti)
		if v := math.Hypot(in.East[i], in.North[i]); !(v < fastest) {
			continue
		}
		t, e, n = append(t, ti), append(e, in.East[i]), append(n, in.North[i])
	}
	return t, e, n, all
}

// newGrid puts velocity and motion on the even time base; nil when there is
// nothing to put.
func newGrid(in *Input) *grid {
	t, e, n, all := in.fixes()
	if len(all) == 0 {
		return nil
	}
	g := &grid{SpeedSeries: SpeedSeries{Start: math.Floor(all[0]/baseStep) * baseStep, Step: baseStep}}
	g.n = int(math.Min(all[len(all)-1]-g.Start, longest)/g.Step) + 2
	if g.period = filter.MedianStep(all); math.IsNaN(g.period) {
		g.period = 1 // a single fix
	}
	g.fill(in, t, e, n)
	if in.Motion != nil && in.Motion.Mount.Rigid { // a sensor off the board tells nothing of it
		g.imu = newFeatures(g, in.Motion)
	}
	return g
}

// fill interpolates the velocity between fixes no further apart than a lost
// fix or two, and leaves NaN elsewhere.
func (g *grid) fill(in *Input, t, e, n []float64) {
	g.East, g.North, g.mag = nans(g.n), nans(g.n), nans(g.n)
	g.sound = make([]bool, g.n)
	bridge := math.Min(math.Max(2.5, 3*g.period), 6)
	gap := 0
	for k := 0; k+1 < len(t); k++ {
		d := t[k+1] - t[k]
		if d > bridge {
			continue
		}
		for gap < len(in.Gaps) && in.Gaps[gap][1] <= t[k] {
			gap++
		}
		broken := gap < len(in.Gaps) && in.Gaps[gap][0] < t[k+1]
		va, vb := math.Hypot(e[k], n[k]), math.Hypot(e[k+1], n[k+1])
		sound := d < 1.6*g.period && !broken
		for i := max(int(math.Ceil((t[k]-g.Start)/g.Step-1e-9)), 0); i < g.n; i++ {
			u := (g.at(i) - t[k]) / d
			if u > 1+1e-9 {
				break
			}
			g.East[i] = e[k] + (e[k+1]-e[k])*u
			g.North[i] = n[k] + (n[k+1]-n[k])*u
			g.mag[i] = va + (vb-va)*u
			g.sound[i] = sound
		}
	}
	g.se, g.sn = filter.MovingMean(g.East, g.samples(0.4)), filter.MovingMean(g.North, g.samples(0.4))
	g.speed = filter.MovingMean(g.mag, g.samples(0.4))
}

func nans(n int) []float64 {
	return slices.Repeat([]float64{math.NaN()}, n)
}

// features are what the board's motion says on the grid; NaN in gaps.
type features struct {
	shake  []float64 // log of the mean square of the normal force's sample-to-sample change
	heel   []float64 // rad, mean
	up     []float64 // m/s², mean vertical acceleration
	lowest []float64 // m/s², least normal force averaged over 0.1 s
}

const (
	bridgedSamples = 0.1  // s between samples that still follow each other
	shortForce     = 0.1  // s, over which the least force is averaged
	quiet          = 1e-6 // (m/s²)², what keeps a logarithm from -∞
)

func newFeatures(g *grid, m *align.Motion) *features {
	n := min(len(m.Time), len(m.Heel), len(m.Normal), len(m.Up))
	if n == 0 {
		return nil
	}
	f := &features{make([]float64, g.n), make([]float64, g.n), make([]float64, g.n), slices.Repeat([]float64{math.Inf(1)}, g.n)}
	count := make([]float64, g.n)
	lag := max(1, int(shortForce/filter.MedianStep(m.Time[:n])+0.01))
	run, force := 0, 0.0 // samples without a gap up to here, and the sum of the last lag of their forces
	b, edge := -1, math.Inf(-1)
	for i, t := range m.Time[:n] {
		if !(t < edge) {
			b = int(math.Floor((t-g.Start)/g.Step + 0.5))
			edge = g.Start + (float64(b)+0.5)*g.Step
		}
		if all := m.Normal[i] + m.Up[i] + m.Heel[i]; all-all != 0 {
			run = 0
			continue
		}
		if run == 0 || !(t-m.Time[i-1] < bridgedSamples) {
			run, force = 0, 0
		}
		normal := float64(m.Normal[i])
		run++
		if force += normal; run > lag {
			force -= float64(m.Normal[i-lag])
		}
		if !(t < edge) || b < 0 || b >= g.n {
			continue
		}
		if run > 1 {
			d := normal - float64(m.Normal[i-1])
			f.shake[b] += d * d
		}
		if run >= lag {
			f.lowest[b] = min(f.lowest[b], force/float64(lag))
		}
		count[b]++
		f.heel[b] += float64(m.Heel[i])
		f.up[b] += float64(m.Up[i])
	}
	for b, k := range count {
		f.shake[b], f.heel[b], f.up[b] = math.Log(f.shake[b]/k+quiet), f.heel[b]/k, f.up[b]/k // 0/0 is the NaN that is wanted
		if math.IsInf(f.lowest[b], 1) {
			f.lowest[b] = math.NaN()
		}
	}
	return f
}
