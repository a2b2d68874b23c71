// Package glide takes the drag from glides: stretches of straight flight in
// which the rig pulls nothing and the board slows down by its drag alone.
//
// # One glide
//
// Along the path through the water, with what rises in the energy,
//
//	M dV/dt = -D_water(V) - D_air - M g (dh/dt)/V
//	D_water = e^a P(V) + e^b I(V)
//	D_air   = ½ ρ_a A e^c |w| w·s        w = V s + u - wind
//
// P is the profile drag of wing, stabilizer and mast by the foil's model, I
// what its lift costs, trim drag included; a, b and c are how far the foil, its
// lift and the area of rider, board and luffed rig in the air are from that. The
// path is solved for and laid through the speeds of the receiver, whose errors
// hang together over about three seconds. The height's change comes from the
// pitch less the pitch law's (the angle of the path) and the vertical
// acceleration, see [Height].
//
// # Several
//
// Every glide has its own start, error of height, posture in the wind, and a
// scatter τ of its drag, which is taken from the glides themselves; an outing
// has its wind and current, and what the rider and the law of its pitch are out
// by. What several outings of one foil share is what lift costs, the area in the
// air, and the error of the law's slope, so that they drop out of before and
// after. All unknowns have normal priors: the maximum is found by Gauss–Newton,
// with Student's t on the glides' scatter, heavier on the side of too little drag,
// against glides that were none, and the interval is Laplace's. Wind and drag in the
// air tell themselves from the water by glides on different headings.
//
// What the glides would show follows from the same information: a change of drag
// is called one when it is beyond its 90 % interval, and the smallest visible
// change is what would be so in four of five pairs of outings.
//
// It imports filter/align, analysis/interval, analysis/pitchlaw, analysis/ride and gonum.
package glide

import (
	"math"
	"time"

	"evenfoot/analysis/interval"
)

// AirDensity is that of the standard atmosphere at sea level, kg/m³ (ISO 2533).
const AirDensity = 1.225

const gravity = 9.80665 // the standard acceleration, m/s² (ISO 80000-3)

// A Why says why a stretch does not count as a glide; "" where it does.
type Why string

const (
	NotSlowing  Why = "not slowing"  // what the rider named holds no steady straight slowing in flight
	Outside     Why = "outside"      // the log
	Twice       Why = "twice"        // its stretch is named by another one
	Pumped      Why = "pumped"       //
	Unconfirmed Why = "not asserted" // it looks like one, and nobody said so
	Pulled      Why = "pulled"       // it slows much less than the others: the rig still pulled
	Braked      Why = "braked"       // it slows much more
)

// By is who said that the rig pulled nothing.
type By string

const (
	BySetup By = "setup"
	ByMark  By = "mark"
)

// A Glide is one stretch, its times in s since the log's start.
type Glide struct {
	Start interval.Number `json:"start_s"`
	End   interval.Number `json:"end_s"`
	From  interval.Number `json:"from_mps"` // speeds over ground
	To    interval.Number `json:"to_mps"`
	// Course is over ground, deg true; Rise how much higher it ended, m.
	Course interval.Number   `json:"course_deg"`
	Rise   interval.Interval `json:"rise_m"`
	// Drag is how much more its drag is than what all glides together say, a part
	// of it; Weight how much it counts, 1 for a usual one.
	Drag   interval.Interval `json:"drag_off"`
	Weight interval.Number   `json:"weight"`
	By     By                `json:"by,omitempty"`
	Why    Why               `json:"why,omitempty"`
	Time   *time.Time        `json:"time"` // of its start; null when the log has no date

	fixes  []Fix
	riseSD float64 // m, 1σ of the last rise
}

// A Fix is one velocity of the receiver over ground, m/s at T s, and the height since
// the first, m.
type Fix struct{ T, East, North, Rise float64 }

// Shown says whether the log shows a glide there at all.
func (g *Glide) Shown() bool { return len(g.fixes) > 1 }

// Counts says whether it tells of the drag.
func (g *Glide) Counts() bool {
	return g.Shown() && float64(g.End-g.Start) >= shortest-1 && (g.Why == "" || g.Why == Pulled || g.Why == Braked)
}

// course is where the glide heads through water that flows, a unit vector.
func (g *Glide) course(flow [2]float64) (east, north float64) {
	for _, f := range g.fixes {
		east, north = east+f.East-flow[0], north+f.North-flow[1]
	}
	d := math.Hypot(east, north)
	return east / d, north / d
}

// A Body is what glides, with the drag that the foil's model gives it, N, at
// speeds through the water, m/s: Profile, and Induced under its whole weight.
type Body struct {
	Mass    float64 // kg
	Density float64 // of the water, kg/m³
	Air     float64 // m², drag area in the air of rider, board and luffed rig
	Profile func(speed float64) float64
	Induced func(speed float64) float64
	polar   []([2]float64)
}

// A step of the tabled drags, m/s, and the fastest speed.
const polarStep, polarTop = 0.25, 40.0

// drags are Profile and Induced by a table: they are asked for a million times.
func (b *Body) drags(speed float64) (profile, induced float64) {
	if b.polar == nil {
		for v := polarStep; v <= polarTop; v += polarStep {
			b.polar = append(b.polar, [2]float64{b.Profile(v), b.Induced(v)})
		}
	}
	x := min(max(speed/polarStep-1, 0), float64(len(b.polar)-2))
	i := int(x)
	u := x - float64(i)
	p, q := &b.polar[i], &b.polar[i+1]
	return p[0] + u*(q[0]-p[0]), p[1] + u*(q[1]-p[1])
}

// An Outing is the glides of one log.
type Outing struct {
	Body    Body
	Glides  []Glide
	SpeedSD float64 // m/s, 1σ of a velocity of the receiver along one axis
	// WindFrom is where the wind comes from, rad true, with 1σ; an unknown one has no SD.
	WindFrom, WindFromSD float64
	Flow                 [2]float64 // m/s, of the water to east and north
	FlowSD               float64    // m/s along each axis
}

// FromFixes is the glide of fixes, at least two, in order of time; riseSD is 1σ of the
// last one's rise, m.
func FromFixes(fixes []Fix, riseSD float64, by By) Glide {
	first, last := fixes[0], fixes[len(fixes)-1]
	g := Glide{
		Start: interval.Number(first.T), End: interval.Number(last.T), By: by, riseSD: riseSD,
		From: interval.Number(math.Hypot(first.East, first.North)), To: interval.Number(math.Hypot(last.East, last.North)),
		Rise: interval.Normal(last.Rise, riseSD),
	}
	for i, f := range fixes {
		if n := len(g.fixes); n == 0 || f.T-g.fixes[n-1].T >= fixesApart || i == len(fixes)-1 {
			g.fixes = append(g.fixes, f)
		}
	}
	east, north := g.course([2]float64{})
	g.Course = interval.Number(math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360))
	return g
}

// fixesApart is how close, s, two fixes may lie: the receiver's errors hang together.
const fixesApart = 0.35
