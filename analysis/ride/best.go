package ride

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
)

func noSpeeds() BestSpeeds {
	u := interval.Unknown()
	return BestSpeeds{u, u, u, u}
}

// How long a GPS receiver's velocity errors hang together, s.
const velocityMemory = 3.0

// bestSpeeds are the fastest means over 2 s, 10 s, 500 m and a nautical mile.
// Only stretches without a flagged or missing fix count, and of these only where
// counts says so.
func bestSpeeds(g *grid, sd float64, counts func(i int) bool) BestSpeeds {
	out := noSpeeds()
	if !(sd > 0) {
		sd = 0.1 // m/s (NAVSTAR GPS user equipment introduction §3.7: 0.2 m/s at 95 %)
	}
	runs := runsOf(g.n, func(i int) bool { return counts(i) && g.sound[i] && !math.IsNaN(g.mag[i]) })
	// Distance along the track from where its run begins, by the trapezoid rule.
	dist := make([]float64, g.n)
	for _, r := range runs {
		for i := r.from + 1; i < r.to; i++ {
			dist[i] = dist[i-1] + 0.5*(g.mag[i-1]+g.mag[i])*g.Step
		}
	}
	out.TwoSeconds = bestTime(g, dist, runs, 2, sd)
	out.TenSeconds = bestTime(g, dist, runs, 10, sd)
	out.Metres500 = bestDistance(g, dist, runs, 500, sd)
	out.NauticalMile = bestDistance(g, dist, runs, 1852, sd)
	return out
}

// bestTime is the fastest mean over a time.
func bestTime(g *grid, dist []float64, runs []run, seconds, sd float64) interval.Interval {
	w := g.samples(seconds)
	v := nans(g.n)
	for _, r := range runs {
		for i := r.from + w; i < r.to; i++ {
			v[i] = (dist[i] - dist[i-w]) / (float64(w) * g.Step)
		}
	}
	return withDoubt(v[min(w, g.n):], seconds, g.Step, sd)
}

// bestDistance is the fastest mean over a distance along the track.
func bestDistance(g *grid, dist []float64, runs []run, metres, sd float64) interval.Interval {
	v := nans(g.n)
	top := 0.0
	for _, r := range runs {
		j := r.from
		for i := r.from; i < r.to; i++ {
			for j < i && dist[i]-dist[j+1] >= metres {
				j++
			}
			over := dist[i] - dist[j]
			if over < metres {
				continue
			}
			// Less the part of the first step that is not needed.
			t := g.Step * (float64(i-j) - (over-metres)/(dist[j+1]-dist[j]))
			v[i] = metres / t
			top = math.Max(top, v[i])
		}
	}
	return withDoubt(v, metres/top, g.Step, sd)
}

// withDoubt is the largest of v with the error that the receiver allows. The
// largest of many noisy means is too large: the more windows come close to
// it, the more.
func withDoubt(v []float64, seconds, step, sd float64) interval.Interval {
	top := 0.0
	for _, x := range v {
		if x > top { // false for what is not known
			top = x
		}
	}
	if top == 0 {
		return interval.Unknown()
	}
	// Error of a mean over seconds of noise with a memory.
	r := seconds / velocityMemory
	se := sd * math.Sqrt(2/(r*r)*(r-1+math.Exp(-r)))
	se = math.Hypot(se, 0.01) // between fixes the speed is not a straight line
	rivals := 0
	apart := max(1, int(math.Max(seconds, velocityMemory)/step))
	for near := range slices.Chunk(v, apart) {
		if slices.ContainsFunc(near, func(x float64) bool { return x > top-2*se }) {
			rivals++
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
