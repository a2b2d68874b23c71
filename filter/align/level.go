package align

import (
	"math"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	stillTime  = 10.0 // s, the least rest that a level zero is taken from
	stillSpeed = 1.0  // m/s, by GPS: no faster
	stillShift = 0.06 // m/s², what a second's mean may be from the rest's first
)

// A still is a stretch in which the sensor does not move.
type still struct {
	start, end float64 // s
	pitch      float64 // rad, against the mean of straight riding
	heel       float64 // rad
	sway       float64 // rad, standard deviation of the vertical's direction
}

// findStills lists the rests among looks and tells their pitch and heel
// against straight riding, without their first and last second, which may
// belong to putting it down and picking it up.
func findStills(looks []look, tr *attitude.Track, toBoard quat.Number) (out []still) {
	first, rest := 0, 0 // look of the run that is followed, and the track's rest
	end := func(k int) {
		if k-first > 3 {
			s := still{start: looks[first].t - lookS/2, end: looks[k-1].t + lookS/2}
			if s.end-s.start >= stillTime {
				s.measure(looks[first+1:k-1], toBoard)
				out = append(out, s)
			}
		}
		first = k
	}
	for k := range looks {
		l := &looks[k]
		for rest < len(tr.Rest) && tr.Rest[rest][1] < l.to {
			rest++
		}
		switch {
		case rest == len(tr.Rest) || tr.Rest[rest][0] > l.from || l.speed > stillSpeed:
			end(k)
			first = k + 1
		case k > first && (l.from > looks[k-1].to || r3.Norm(r3.Sub(l.acc, looks[first].acc)) > stillShift):
			end(k)
		}
	}
	end(len(looks))
	return out
}

// measure averages over looks.
func (s *still) measure(looks []look, toBoard quat.Number) {
	ups := make([]r3.Vec, len(looks))
	var sum r3.Vec
	for i := range looks {
		ups[i] = rotation.Rotate(quat.Mul(toBoard, quat.Conj(looks[i].q)), r3.Vec{Z: 1})
		sum = r3.Add(sum, ups[i])
	}
	up := rotation.Direction(sum)
	for _, u := range ups {
		s.sway += r3.Norm2(r3.Sub(u, up)) / float64(len(ups))
	}
	s.sway = math.Sqrt(s.sway)
	s.pitch = math.Asin(clip(up.X, 1))
	s.heel = math.Atan2(up.Y, up.Z)
}

// Bounds on a deck that may be level, and doubts of one that is, rad.
const (
	levelHeel  = 4 * deg
	mostSlack  = 15 * deg  // of the heel, however little is known of its zero
	levelPitch = 12 * deg  // from the mean of straight flight
	carefulSD  = 0.3 * deg // what a careful hand leaves
	alongShare = 0.7       // of how far off level it lay across, for along, which is not seen
	levelSD    = 0.25 * deg
	oneSideSD  = 0.5 * deg // more on a single tack
	levelApart = 2 * deg   // between stills, more is no level
)

// setLevel says at which pitch, counted from the mean of straight riding, the
// deck is level, rad.
func (p *part) setLevel(zero, se float64, how Finding) {
	p.zero, p.Mount.LevelZero, p.Mount.LevelSE, p.Mount.LevelFrom = zero, se == se, se, how
}

// findLevel picks the still stretches in which the deck may be level: level
// across, and in pitch near enough to flight. How level it lay along is not
// seen; how level it lay across says how well it was laid down.
func (p *part) findLevel(tr *attitude.Track) {
	stills := findStills(p.looks, tr, p.Mount.ToBoard)
	if len(stills) == 0 {
		p.setLevel(0, math.NaN(), Finding{Kind: NoStill, Needed: stillTime})
		return
	}
	slack := min(levelHeel+2*max(0, p.heelSE-bothHeelSD), mostSlack)
	var good []still
	nearest := still{heel: math.Inf(1)}
	for _, s := range stills {
		if math.Abs(s.heel) < slack && math.Abs(s.pitch) < levelPitch {
			good = append(good, s)
		} else if math.Abs(s.heel)+math.Abs(s.pitch) < math.Abs(nearest.heel)+math.Abs(nearest.pitch) {
			nearest = s
		}
	}
	if len(good) == 0 {
		p.setLevel(0, math.NaN(), Finding{Kind: NotLevel, At: nearest.start, Until: nearest.end, Heel: nearest.heel, Pitch: nearest.pitch})
		return
	}
	p.levelOf(good)
}

// levelOf weighs the stretches in which the deck may be level.
func (p *part) levelOf(good []still) {
	var w, sum, chi float64
	se := make([]float64, len(good))
	best := 0
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, s := range good {
		across := max(0, math.Abs(s.heel)-p.heelSE)
		length := s.end - s.start
		se[i] = math.Sqrt(sq(carefulSD) + sq(alongShare*across) + sq(s.sway)/max(1, length/5))
		w += 1 / sq(se[i])
		sum += s.pitch / sq(se[i])
		if se[i] < se[best] || se[i] == se[best] && length > good[best].end-good[best].start {
			best = i
		}
		lo, hi = min(lo, s.pitch), max(hi, s.pitch)
	}
	zero, zeroSE := sum/w, 1/math.Sqrt(w)
	for i, s := range good {
		chi += sq((s.pitch - zero) / se[i])
	}
	if k := float64(len(good) - 1); k > 0 && chi > k {
		zeroSE *= math.Sqrt(chi / k)
	}
	zeroSE = max(zeroSE, levelSD) // all stretches may share one slope, and one floor
	if p.tacks < 2 {
		zeroSE = math.Hypot(zeroSE, oneSideSD)
	}
	b := good[best]
	how := Finding{Kind: LevelStill, At: b.start, Until: b.end, Heel: math.Abs(b.heel), Sway: b.sway, Count: len(good) - 1, Pitch: hi - lo}
	if hi-lo > levelApart {
		how = Finding{Kind: LevelDiffers, At: good[0].start, Until: good[0].end, Count: len(good), Pitch: hi - lo}
		zeroSE = max(zeroSE, (hi-lo)/2)
	}
	p.setLevel(zero, zeroSE, how)
}

// setupZeroSD is how well a rider states the pitch that a level deck shows, rad.
const setupZeroSD = 0.3 * deg

// givenZero takes the level zero that the setup states.
func (p *part) givenZero(shownLevel float64) {
	// The sensor's axis nearest to the deck normal, and the slope of the plane
	// across it, towards the bow.
	n := rotation.Rotate(p.Mount.ToBoard, nearestAxis(p.Mount.ToBoard))
	p.setLevel(shownLevel-math.Atan2(-n.X, n.Z), setupZeroSD, Finding{Kind: LevelSetup})
}

// nearestAxis is the sensor's axis, signed, that is nearest to the deck normal.
func nearestAxis(toBoard quat.Number) r3.Vec {
	up := rotation.Rotate(quat.Conj(toBoard), r3.Vec{Z: 1})
	x, y, z := math.Abs(up.X), math.Abs(up.Y), math.Abs(up.Z)
	switch {
	case z >= x && z >= y:
		return r3.Vec{Z: math.Copysign(1, up.Z)}
	case y > x:
		return r3.Vec{Y: math.Copysign(1, up.Y)}
	}
	return r3.Vec{X: math.Copysign(1, up.X)}
}

func sq(x float64) float64 { return x * x }
