package pitchlaw

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
)

// What a fit needs before its intervals can be believed. The coverage study
// was run on sessions that pass.
const (
	leastSeconds = 150  // s of straight flight that counts
	leastReaches = 4    // separate reaches
	leastTack    = 15   // s on each tack
	leastWindows = 20   // to tell percentiles of speed
	leastSpread  = 1.12 // 95th to 5th percentile of speed
	mostDoubt    = 0.4  // of the slope, 1σ relative
	sameWay      = 0.75 // length of the mean of the courses' unit vectors

	// LeastReach is what makes a reach, s.
	LeastReach = 8

	reasonWeight = 0.2 // what a window counts for when a reason speaks against it
)

// missingBefore names what no fit can do without.
func missingBefore(w []Window, l *law) []Lack {
	if len(w) == 0 {
		return []Lack{{Kind: NoFlight}}
	}
	if len(l.from) == 0 {
		return []Lack{{Kind: NoSpeed}}
	}
	var seconds, steady float64
	reaches := map[int]float64{}
	var speeds []float64
	for _, i := range l.from {
		d := w[i].Duration
		seconds += d
		if w[i].Reason == "" {
			steady += d
		}
		reaches[w[i].Reach] += d
		speeds = append(speeds, math.Hypot(w[i].East, w[i].North))
	}
	var missing []Lack
	add := func(kind LackKind, have, need float64, unit string) {
		missing = append(missing, Lack{Kind: kind, Have: interval.Number(have), Need: interval.Number(need), Unit: unit})
	}
	if needs := max(leastSeconds, seconds/2); seconds < leastSeconds {
		add(ShortFlight, seconds, leastSeconds, "s")
	} else if steady < needs {
		add(UnsteadyFlight, steady, needs, "s")
		missing[len(missing)-1].Reasons = reasonsOf(w)
	}
	long := 0
	for _, d := range reaches {
		if d >= LeastReach {
			long++
		}
	}
	if long < leastReaches {
		add(FewReaches, float64(long), leastReaches, "1")
	}
	slices.Sort(speeds)
	n := len(speeds)
	if lo, hi := speeds[n/20], speeds[n-1-n/20]; n < leastWindows || hi < leastSpread*lo {
		add(NarrowSpeeds, hi, leastSpread*lo, "m/s")
	}
	return missing
}

// missingAfter names what the fit turned out to lack.
func missingAfter(f *Fit, l *law) []Lack {
	var missing []Lack
	if l.single != 0 {
		missing = append(missing, Lack{Kind: OneTack, Tack: TackName(-l.single)})
	}
	if !l.tacksKnown {
		if r, course := l.oneWay(); r > sameWay {
			missing = append(missing, Lack{Kind: OneCourse, Have: interval.Number(course), Unit: "rad"})
		}
	}
	sd := f.Slope.SD() / f.Slope.Value
	switch {
	case !(f.Slope.Value > 0):
		missing = append(missing, Lack{Kind: PitchRises, Have: interval.Number(f.Slope.Value), Unit: "rad/(m²/kg)"})
	case sd > mostDoubt:
		missing = append(missing, Lack{Kind: VagueSlope, Have: interval.Number(sd), Need: mostDoubt, Unit: "1"})
	}
	return missing
}

// oneWay is how far the courses over ground agree, 0 to 1, and the mean
// course, rad from north.
func (l *law) oneWay() (agree, course float64) {
	var e, n float64
	for i := range l.east {
		v := math.Hypot(l.east[i], l.north[i])
		e += l.east[i] / v
		n += l.north[i] / v
	}
	course = math.Mod(math.Atan2(e, n)+2*math.Pi, 2*math.Pi)
	return math.Hypot(e, n) / float64(len(l.east)), course
}

// reasonsOf lists the windows' reasons, most frequent first.
func reasonsOf(w []Window) []Reason {
	count := map[Reason]int{}
	var list []Reason
	for i := range w {
		r := w[i].Reason
		if r == "" {
			continue
		}
		if count[r] == 0 {
			list = append(list, r)
		}
		count[r]++
	}
	slices.Sort(list)
	slices.SortStableFunc(list, func(a, b Reason) int { return count[b] - count[a] })
	return list
}
