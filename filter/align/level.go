package align

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A still is a stretch in which the sensor does not move.
type still struct {
	start, end float64 // s
	looks      []int
	pitch      float64 // rad, against the mean of straight riding
	heel       float64 // rad
	sway       float64 // rad, standard deviation of the vertical's direction
}

// What counts as still.
const (
	stillGyr   = 1.0 * deg // rad/s, standard deviation of all axes together
	stillAcc   = 0.15      // m/s²
	stillDrift = 0.06      // m/s², how far a second's mean may be from the stretch's
	stillTime  = 10.0      // s
	stillSpeed = 1.0       // m/s
)

// findStills lists the still stretches among looks[from:to].
func findStills(looks []look, from, to int) []still {
	var out []still
	var run []int
	flush := func() {
		if n := len(run); n > 3 {
			// The first and the last second may belong to putting it down and picking it up.
			s := still{start: looks[run[0]].t - lookS/2, end: looks[run[n-1]].t + lookS/2, looks: slices.Clone(run[1 : n-1])}
			if s.end-s.start >= stillTime {
				out = append(out, s)
			}
		}
		run = run[:0]
	}
	for k := from; k < to; k++ {
		l := &looks[k]
		quiet := l.gyrVar < stillGyr*stillGyr && l.accVar < stillAcc*stillAcc && !(l.speed > stillSpeed)
		if quiet && len(run) > 0 {
			prev := &looks[run[len(run)-1]]
			first := &looks[run[0]]
			quiet = l.t-prev.t < 2.5*lookS && r3.Norm(r3.Sub(l.acc, first.acc)) < stillDrift && r3.Norm(r3.Sub(l.gyr, first.gyr)) < 0.5*deg
			if !quiet {
				flush()
				quiet = l.gyrVar < stillGyr*stillGyr && l.accVar < stillAcc*stillAcc
			}
		}
		if !quiet {
			flush()
			continue
		}
		run = append(run, k)
	}
	flush()
	return out
}

// Bounds on a deck that may be level, rad.
const (
	levelHeel  = 4 * deg
	levelPitch = 12 * deg // from the mean of straight flight
)

// A levelZero is the pitch, counted from the mean of straight riding, at
// which the deck is level.
type levelZero struct {
	ok   bool
	zero float64 // rad
	se   float64 // rad
	how  string
}

// levelFrom picks the still stretches in which the deck may be level: level
// across, and in pitch near enough to flight. How level it lay along is not
// seen; how level it lay across says how well it was laid down.
func levelFrom(looks []look, from, to int, sol solution) levelZero {
	stills := findStills(looks, from, to)
	if len(stills) == 0 {
		return levelZero{how: "no still stretch of 10 s was found; pitch is relative"}
	}
	slack := levelHeel + 2*max(0, sol.heelSE-bothHeelSD)
	slack = min(slack, 15*deg)
	var good []still
	nearest := still{heel: math.Inf(1)}
	for _, s := range stills {
		var up r3.Vec
		var ups []r3.Vec
		for _, k := range s.looks {
			u := rotation.Rotate(sol.toBoard, rotation.Rotate(quat.Conj(looks[k].q), r3.Vec{Z: 1}))
			ups = append(ups, u)
			up = r3.Add(up, u)
		}
		up = unit(up)
		for _, u := range ups {
			s.sway += r3.Dot(r3.Sub(u, up), r3.Sub(u, up)) / float64(len(ups))
		}
		s.sway = math.Sqrt(s.sway)
		s.pitch = math.Asin(clip(up.X, 1))
		s.heel = math.Atan2(up.Y, up.Z)
		if math.Abs(s.heel) < slack && math.Abs(s.pitch) < levelPitch {
			good = append(good, s)
		} else if math.Abs(s.heel)+math.Abs(s.pitch) < math.Abs(nearest.heel)+math.Abs(nearest.pitch) {
			nearest = s
		}
	}
	if len(good) == 0 {
		return levelZero{how: fmt.Sprintf("the board lay still at %s, but heeled %.0f° and pitched %.0f° against flight: not level; pitch is relative",
			span(nearest), nearest.heel/deg, nearest.pitch/deg)}
	}
	// Each stretch's doubt: how far off level it lay across, and what a
	// careful hand leaves.
	var w, sum float64
	se := make([]float64, len(good))
	best := 0
	for i, s := range good {
		across := max(0, math.Abs(s.heel)-sol.heelSE)
		length := s.end - s.start
		se[i] = math.Sqrt(sq(0.3*deg) + sq(0.7*across) + sq(s.sway)/max(1, length/5))
		w += 1 / sq(se[i])
		sum += s.pitch / sq(se[i])
		if se[i] < se[best] || se[i] == se[best] && length > good[best].end-good[best].start {
			best = i
		}
	}
	z := levelZero{ok: true, zero: sum / w, se: 1 / math.Sqrt(w)}
	chi := 0.0
	for i, s := range good {
		chi += sq((s.pitch - z.zero) / se[i])
	}
	if k := float64(len(good) - 1); k > 0 && chi > k {
		z.se *= math.Sqrt(chi / k)
	}
	z.se = max(z.se, 0.25*deg) // all stretches may share one slope, and one floor
	if sol.tacks < 2 {
		z.se = math.Hypot(z.se, 0.5*deg)
	}
	b := good[best]
	z.how = fmt.Sprintf("still stretch at %s, level across within %.1f°, still within %.2f°", span(b), math.Abs(b.heel)/deg, b.sway/deg)
	if n := len(good) - 1; n > 0 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range good {
			lo, hi = min(lo, s.pitch), max(hi, s.pitch)
		}
		z.how += fmt.Sprintf("; %d more agree within %.1f°", n, (hi-lo)/deg)
		if hi-lo > 2*deg {
			z.how = fmt.Sprintf("%d still stretches, first at %s, that differ by %.1f° in pitch", len(good), span(good[0]), (hi-lo)/deg)
			z.se = max(z.se, (hi-lo)/2)
		}
	}
	return z
}

func span(s still) string {
	return fmt.Sprintf("%s–%s (%.0f s)", clock(s.start), clock(s.end), s.end-s.start)
}

// clock prints seconds since the start as 42 s or 12:03.
func clock(t float64) string {
	if math.Abs(t) < 100 {
		return fmt.Sprintf("%.0f s", math.Round(t)+0) // not "-0 s"
	}
	s := int(math.Round(t))
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	if s >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

func sq(x float64) float64 { return x * x }
