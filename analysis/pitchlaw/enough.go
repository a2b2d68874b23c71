package pitchlaw

import (
	"fmt"
	"math"
	"slices"
)

// What a fit needs before its intervals can be believed. The coverage study
// was run on sessions that pass.
const (
	leastSeconds = 150  // s of straight flight that counts
	leastReaches = 4    // separate reaches
	leastTack    = 15   // s on each tack
	leastSpread  = 1.12 // 95th to 5th percentile of speed
	mostDoubt    = 0.4  // of the slope, 1σ relative
	sameWay      = 0.75 // length of the mean of the courses' unit vectors
)

// priorWeight is what a window counts for when a reason speaks against it.
func priorWeight(reason string) float64 {
	if reason == "" {
		return 1
	}
	return 0.2
}

// missingBefore names what no fit can do without.
func missingBefore(w []Window, l *law) []string {
	if len(w) == 0 {
		return []string{"straight flight with the board's attitude and GPS speed: none was found"}
	}
	if len(l.windowsIndex) == 0 {
		return []string{"GPS speed during straight flight: none was found"}
	}
	var seconds, steady float64
	reaches := map[int]float64{}
	var speeds []float64
	for _, i := range l.windowsIndex {
		d := w[i].Duration
		seconds += d
		if w[i].Reason == "" {
			steady += d
		}
		reaches[w[i].Reach] += d
		speeds = append(speeds, math.Hypot(w[i].East, w[i].North))
	}
	var missing []string
	if seconds < leastSeconds {
		missing = append(missing, fmt.Sprintf("time in straight flight: %.0f s, at least %d s are needed", seconds, leastSeconds))
	} else if steady < leastSeconds || steady < 0.5*seconds {
		missing = append(missing, fmt.Sprintf("steady flight: only %.0f of %.0f s are free of %s", steady, seconds, reasonsOf(w)))
	}
	long := 0
	for _, d := range reaches {
		if d >= 8 {
			long++
		}
	}
	if long < leastReaches {
		missing = append(missing, fmt.Sprintf("straight reaches: %d of 8 s or more, at least %d are needed", long, leastReaches))
	}
	slices.Sort(speeds)
	n := len(speeds)
	lo, hi := speeds[n/20], speeds[n-1-n/20]
	if n < 20 || hi < leastSpread*lo {
		missing = append(missing, fmt.Sprintf("a spread of speeds: %.1f to %.1f m/s is too narrow to tell a slope", lo, hi))
	}
	return missing
}

// missingAfter names what the fit turned out to lack.
func missingAfter(f *Fit, l *law) []string {
	var missing []string
	if l.single != 0 {
		other := "port"
		if l.single < 0 {
			other = "starboard"
		}
		missing = append(missing, "reaches on "+other+" tack: the line stands for the other tack alone")
	}
	if !l.tacksKnown {
		if r, course := l.oneWay(); r > sameWay {
			missing = append(missing, fmt.Sprintf("reaches the other way: the courses all lie about %03.0f° and the tacks are not known, so the tacks' difference and the water's flow hide in the line", course))
		}
	}
	sd := f.Slope.SD()
	switch {
	case !(f.Slope.Value > 0):
		missing = append(missing, "pitch that falls as the speed rises: the log shows none, so the sensor or its mount is in doubt")
	case sd > mostDoubt*f.Slope.Value:
		missing = append(missing, fmt.Sprintf("time at clearly different speeds: the slope is known to ±%.0f %% only", 100*1.645*sd/f.Slope.Value))
	}
	return missing
}

// oneWay is how far the courses over ground agree, 0 to 1, and the mean course
// in degrees.
func (l *law) oneWay() (float64, float64) {
	var e, n float64
	for i := range l.east {
		v := math.Hypot(l.east[i], l.north[i])
		e += l.east[i] / v
		n += l.north[i] / v
	}
	course := math.Mod(math.Atan2(e, n)*180/math.Pi+360, 360)
	return math.Hypot(e, n) / float64(len(l.east)), course
}

// reasonsOf lists the windows' reasons, most frequent first.
func reasonsOf(w []Window) string {
	count := map[string]int{}
	for i := range w {
		if w[i].Reason != "" {
			count[w[i].Reason]++
		}
	}
	keys := sortedKeys(count)
	slices.SortStableFunc(keys, func(a, b string) int { return count[b] - count[a] })
	s := ""
	for i, k := range keys {
		if i > 0 {
			s += ", "
		}
		s += k
	}
	return s
}
