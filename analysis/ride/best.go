package ride

import (
	"math"

	"evenfoot/analysis/interval"
)

func noSpeeds() BestSpeeds {
	u := interval.Unknown()
	return BestSpeeds{u, u, u, u}
}

// How long a GPS receiver's velocity errors hang together, s.
const velocityMemory = 3.0

// bestSpeeds are the fastest means over 2 s, 10 s, 500 m and a nautical mile.
// Only stretches without a flagged or missing fix count.
func bestSpeeds(g *grid, sd float64) BestSpeeds {
	out := noSpeeds()
	if !(sd > 0) {
		sd = 0.1 // m/s (NAVSTAR GPS user equipment introduction §3.7: 0.2 m/s at 95 %)
	}
	// Distance along the track, by the trapezoid rule; broken runs are apart.
	dist := make([]float64, g.n)
	start := make([]int, g.n) // first step of the unbroken stretch
	for i := range g.n {
		ok := g.sound[i] && !math.IsNaN(g.mag[i])
		if !ok {
			start[i] = -1
			continue
		}
		if i == 0 || start[i-1] < 0 {
			start[i] = i
			continue
		}
		dist[i] = dist[i-1] + 0.5*(g.mag[i-1]+g.mag[i])*g.step
		start[i] = start[i-1]
	}
	out.TwoSeconds = bestTime(g, dist, start, 2, sd)
	out.TenSeconds = bestTime(g, dist, start, 10, sd)
	out.Metres500 = bestDistance(g, dist, start, 500, sd)
	out.NauticalMile = bestDistance(g, dist, start, 1852, sd)
	return out
}

// bestTime is the fastest mean over a time.
func bestTime(g *grid, dist []float64, start []int, seconds, sd float64) interval.Interval {
	w := g.samples(seconds)
	v := make([]float64, 0, g.n)
	for i := w; i < g.n; i++ {
		if start[i] >= 0 && start[i] <= i-w {
			v = append(v, (dist[i]-dist[i-w])/(float64(w)*g.step))
		} else {
			v = append(v, math.NaN())
		}
	}
	return withDoubt(v, seconds, g.step, sd)
}

// bestDistance is the fastest mean over a distance along the track.
func bestDistance(g *grid, dist []float64, start []int, metres, sd float64) interval.Interval {
	v := make([]float64, 0, g.n)
	j := 0
	longest := 0.0
	for i := range g.n {
		v = append(v, math.NaN())
		if start[i] < 0 {
			continue
		}
		j = max(j, start[i])
		for j < i && dist[i]-dist[j+1] >= metres {
			j++
		}
		over := dist[i] - dist[j]
		if over < metres {
			continue
		}
		t := float64(i-j) * g.step
		if j+1 <= i { // the part of the first step that is not needed
			if d := dist[j+1] - dist[j]; d > 0 {
				t -= g.step * (over - metres) / d
			}
		}
		if t > 0 {
			v[i] = metres / t
			if len(v) > 0 && v[i] > longest {
				longest = v[i]
			}
		}
	}
	if longest == 0 {
		return interval.Unknown()
	}
	return withDoubt(v, metres/longest, g.step, sd)
}

// withDoubt is the largest of v with the error that the receiver allows. The
// largest of many noisy means is too large: the more windows come close to
// it, the more.
func withDoubt(v []float64, seconds, step, sd float64) interval.Interval {
	best := -1
	for i, x := range v {
		if !math.IsNaN(x) && (best < 0 || x > v[best]) {
			best = i
		}
	}
	if best < 0 {
		return interval.Unknown()
	}
	top := v[best]
	// Error of a mean over seconds of noise with a memory.
	r := seconds / velocityMemory
	se := sd * math.Sqrt(2/(r*r)*(r-1+math.Exp(-r)))
	se = math.Hypot(se, 0.01) // between fixes the speed is not a straight line
	rivals := 0
	apart := max(1, int(math.Max(seconds, velocityMemory)/step))
	for i := 0; i < len(v); i += apart {
		for k := i; k < min(i+apart, len(v)); k++ {
			if v[k] > top-2*se {
				rivals++
				break
			}
		}
	}
	bias := 0.0
	if rivals > 1 {
		// Most rivals are neighbours of one gust and share its error: the factor
		// is what makes the intervals cover in the study of study_test.go.
		bias = 0.2 * se * math.Sqrt(2*math.Log(float64(rivals)))
	}
	return interval.Interval{Value: top, Low: top - bias - interval.Z90*se, High: math.Max(top, top-bias+interval.Z90*se)}
}
