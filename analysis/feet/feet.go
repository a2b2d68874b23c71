// Package feet makes evidence of what presses on the board: forces under both
// feet, from insoles or pads, and the moment of an instrumented mast.
//
// A sensor has a gain and a zero. Zeros are read where nobody stands on the
// board. The sum of the feet must be what the rider weighs times the load
// factor, less what the rig lifts, so gains follow as far as the shares of the
// load vary; the rest stays a doubt that all shares of an outing have together.
// With ε the sides' gain errors, a and b their shares of what is shown, λ the
// rig's lift and X the lift area that the pitch law goes by,
//
//	sum/(m f_z - λ m g - P) - 1 = ε_a a + ε_b b - λ0 - λ1 x
//
// with priors on all four. Feet that change places turn the logarithm of the
// ratio about the gains':
//
//	ln(a/b) = ρ ± (c0 + c1 X + c2 X²)
//
// It imports analysis/interval, analysis/pitchlaw, filter, ingest and gonum.
package feet

import (
	"math"
	"slices"
	"sort"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/filter"
	"evenfoot/ingest"
)

// Input is a deck by the motion's clock, and what it is held against.
type Input struct {
	Deck     *ingest.Deck
	Windows  []pitchlaw.Window // of the fitted law
	Density  float64           // kg/m³
	Flights  [][2]float64      // s
	Front    string            // the foot in front at first, "left" or "right"; for forces by side
	Part     func(t float64) int
	Rider    float64 // kg
	RigLift  float64 // share of the rider's weight
	RigSD    float64 // 1σ
	MastFoot float64 // N
}

// A Kind names what is wrong with a deck's log.
type Kind string

const (
	NoClock     Kind = "clock of the forces not known"  // Why
	FewWindows  Kind = "few windows with forces"        // Count, of Needed
	NoFrontFoot Kind = "front foot not told"            // forces by side, without stance.front_foot
	SideDead    Kind = "one foot shows nothing"         // Side, Part of the load
	SideStuck   Kind = "one foot is stuck"              // Side, Force
	Negative    Kind = "forces below zero"              // Force: of both feet in flight
	Saturated   Kind = "forces saturated"               // Side, Force, Part of the time in flight
	OddWeight   Kind = "forces do not add up"           // Part: of the load that the setup says
	Dropouts    Kind = "forces missing"                 // Part of the straight flight
	NoZeros     Kind = "zeros of the forces not seen"   // nobody off the board
	Turned      Kind = "front and back of the forces"   // Sigmas: the rest says that they are swapped
	Resting     Kind = "direction rests on the columns" // nothing else tells front from back
	Alone       Kind = "forces on a clock of their own" // Of: feet's, else a mast's moment
	ByDate      Kind = "clock of the forces by date"
)

// A Finding is one such thing.
type Finding struct {
	Kind   Kind    `json:"-"`
	Count  int     `json:"count,omitempty"`
	Needed int     `json:"needed,omitempty"`
	Side   string  `json:"side,omitempty"` // the column, "front"
	Force  float64 `json:"force_n,omitempty"`
	Part   float64 `json:"part,omitempty"`
	Sigmas float64 `json:"sigmas,omitempty"`
	Why    any     `json:"why,omitempty"`
	Of     bool    `json:"of_feet,omitempty"`
}

// A Sensor is one side.
type Sensor struct {
	Column string            `json:"column"`
	Gain   interval.Interval `json:"gain"` // 1 shows what is
	Zero   interval.Interval `json:"zero_n"`
}

// A Share is the front foot's share of the load that the forces show at one
// speed of level flight.
type Share struct {
	Speed interval.Number   `json:"speed_mps"`
	Front interval.Interval `json:"front_share"` // with what all have together
	SD    float64           `json:"-"`           // without
	Part  int               `json:"-"`
}

// A Moment is the mast's, as shown; its gain and zero are not known.
type Moment struct {
	Speed  interval.Number   `json:"speed_mps"`
	Moment interval.Interval `json:"moment_nm"`
	SD     float64           `json:"-"`
	Part   int               `json:"-"`
}

// A Result is what a deck's log tells. Without windows both lists are empty.
type Result struct {
	Sensors  []Sensor  `json:"sensors"`
	Windows  int       `json:"windows"`
	Switches int       `json:"foot_changes"` // times the feet changed places
	Shares   []Share   `json:"front_share"`
	Moments  []Moment  `json:"mast_moment"`
	LeanSD   float64   `json:"-"` // 1σ of what all shares are out by together, at 0.5
	Findings []Finding `json:"-"`
}

// Nothing is what is told before anything is read.
func Nothing() Result { return Result{Sensors: []Sensor{}, Shares: []Share{}, Moments: []Moment{}} }

func (r *Result) Find(f Finding) { r.Findings = append(r.Findings, f) }

const (
	// GainSD is 1σ of a side's gain before the sum is looked at, and of a mast's:
	// what makers of insoles and pads state.
	GainSD = 0.05
	// MastZeroSD is 1σ of a mast's zero, N·m: strain gauges creep by a tenth of
	// what they show in flight. Our estimate.
	MastZeroSD = 15.0

	leastWindows = 20   // of straight flight
	leastCovered = 0.8  // of a window's samples
	fewMissing   = 0.02 // of straight flight without forces, that is not worth a word
	deadPart     = 0.03 // of the load, that a foot in use exceeds
	stuckPart    = 0.01 // of the load: a foot that varies less does not measure
	fewSaturated = 0.02 // of the time in flight
	oddWeight    = 0.3  // that the sum may differ from the rider's weight by
)

// A look is one window with forces.
type look struct {
	w      *pitchlaw.Window
	side   [2]float64 // N, less the zeros
	moment float64    // N·m
	x      float64    // LiftArea, standardised
	weight float64
}

// Estimate reads the deck's log.
func Estimate(in Input) Result {
	e := estimate{Input: in, out: Nothing()}
	e.look()
	if e.Deck.HasFeet() {
		e.feet()
	}
	if e.Deck.HasMoment() {
		e.moments()
	}
	return e.out
}

type estimate struct {
	Input
	looks  []look
	out    Result
	usual  float64    // N, of both feet in flight, as shown
	zero   [2]float64 // N, mean of those taken out
	zeroSD [2]float64
	gain   [2]float64
	gainSD [2]float64
	sides  []float64 // of each look: +1 the first column's foot is in front
}

func (e *estimate) columns() [2]string {
	if e.Deck.Sides {
		return [2]string{"left", "right"}
	}
	return [2]string{"front", "back"}
}

// look averages the forces over each window of the law.
func (e *estimate) look() {
	d := e.Deck
	var xs []float64
	seen, missing, hasFeet := 0, 0, d.HasFeet()
	for i := range e.Windows {
		w := &e.Windows[i]
		if !(w.Weight > 0 && w.LiftArea > 0) {
			continue
		}
		from, to := w.Time-w.Duration/2, w.Time+w.Duration/2
		lo, hi := sort.SearchFloat64s(d.Time, from), sort.SearchFloat64s(d.Time, to)
		l := look{w: w, weight: w.Weight}
		var n float64
		for k := lo; k < hi; k++ {
			if hasFeet && d.Feet[0][k] != d.Feet[0][k] {
				continue
			}
			n++
			l.side[0] += float64(d.Feet[0][k])
			l.side[1] += float64(d.Feet[1][k])
			l.moment += float64(d.Moment[k])
		}
		seen++
		if n < max(1, math.Floor(leastCovered*w.Duration*d.Rate)) {
			missing++
			continue
		}
		l.side[0], l.side[1], l.moment = l.side[0]/n, l.side[1]/n, l.moment/n
		e.looks, xs = append(e.looks, l), append(xs, w.LiftArea)
	}
	e.out.Windows = len(e.looks)
	if part := float64(missing) / float64(max(seen, 1)); part > fewMissing {
		e.out.Find(Finding{Kind: Dropouts, Part: part})
	}
	if len(xs) == 0 {
		return
	}
	middle := filter.Median(slices.Clone(xs))
	spread := 0.0
	for _, x := range xs {
		spread += (x - middle) * (x - middle) / float64(len(xs))
	}
	for i := range e.looks {
		e.looks[i].x = (xs[i] - middle) / math.Max(math.Sqrt(spread), 1e-9)
	}
}

// feet goes from forces to shares.
func (e *estimate) feet() {
	if len(e.looks) < leastWindows {
		e.out.Find(Finding{Kind: FewWindows, Count: len(e.looks), Needed: leastWindows})
		return
	}
	if e.Deck.Sides && e.Front == "" {
		e.out.Find(Finding{Kind: NoFrontFoot})
		return
	}
	if !e.sound() {
		return
	}
	e.zeros()
	if !e.alive() {
		return
	}
	rho, rhoSD := e.places()
	e.gains(rho, rhoSD)
	e.shares()
}

// sound looks at the samples in flight for what no foot does.
func (e *estimate) sound() bool {
	var side [2][]float64
	for _, f := range e.Flights {
		lo, hi := sort.SearchFloat64s(e.Deck.Time, f[0]), sort.SearchFloat64s(e.Deck.Time, f[1])
		for k := lo; k < hi; k++ {
			for j := range side {
				if v := float64(e.Deck.Feet[j][k]); v == v {
					side[j] = append(side[j], v)
				}
			}
		}
	}
	if e.sum(); !(e.usual > 0) {
		e.out.Find(Finding{Kind: Negative, Force: e.usual})
		return false
	}
	fine := true
	for j, v := range side {
		if len(v) == 0 {
			continue
		}
		low, top, at := slices.Min(v), slices.Max(v), 0.0
		for _, x := range v {
			if x == top {
				at++
			}
		}
		if part := at / float64(len(v)); part > fewSaturated && part < 1 {
			e.out.Find(Finding{Kind: Saturated, Side: e.columns()[j], Force: top, Part: part})
			fine = fine && part < 0.2
		}
		if top-low < stuckPart*e.usual {
			e.out.Find(Finding{Kind: SideStuck, Side: e.columns()[j], Force: low})
			fine = false
		}
	}
	return fine
}

// sum finds what both feet usually show.
func (e *estimate) sum() {
	var sums []float64
	for _, l := range e.looks {
		sums = append(sums, l.side[0]+l.side[1])
	}
	e.usual = filter.Median(sums)
}

// alive says whether both feet carry a part of the load, once the zeros are out.
func (e *estimate) alive() bool {
	for j, name := range e.columns() {
		var part []float64
		for _, l := range e.looks {
			part = append(part, l.side[j]/(l.side[0]+l.side[1]))
		}
		if p := filter.Median(part); !(p > deadPart) {
			e.out.Find(Finding{Kind: SideDead, Side: name, Part: p})
			return false
		}
	}
	return true
}
