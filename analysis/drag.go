package analysis

import (
	"math"

	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
)

// Drag is what the glides show, of the foil in the water under the whole weight.
type Drag struct {
	Glides  int               `json:"glides"` // that count
	Speed   interval.Number   `json:"speed_mps"`
	Area    interval.Interval `json:"area_m2"` // C_D A at Speed
	Profile interval.Interval `json:"profile_coefficient"`
	Induced interval.Interval `json:"induced_factor"` // k in C_D = C_D0 + k C_L²
	Air     interval.Interval `json:"air_area_m2"`    // C_D A of rider, board and luffed rig
	Wind    interval.Interval `json:"wind_mps"`
	Scatter interval.Number   `json:"scatter_percent"` // 1σ from glide to glide
	// Smallest is the change of the drag that two outings of as many glides would
	// show in four of five cases, SmallestTwenty of twenty.
	Smallest       interval.Number   `json:"smallest_change_percent"`
	SmallestTwenty interval.Number   `json:"smallest_change_of_20_percent"`
	Curve          []DragPoint       `json:"curve"`
	LeastDrag      interval.Interval `json:"least_drag_speed_mps"`
	Options        []DragOption      `json:"options"` // at the top speed; none where it cavitates there
	// Cavitation is the speed at which the wing's suction peak reaches vapour
	// pressure, in level flight; what lies beyond trim.CavitationSearched is NaN.
	Cavitation interval.Interval `json:"cavitation_mps"`
}

// DragPoint is the drag at one speed, N, and its parts.
type DragPoint struct {
	Speed      interval.Number   `json:"speed_mps"`
	Drag       interval.Interval `json:"drag_n"` // in the water
	Wing       interval.Interval `json:"wing_n"`
	Stabilizer interval.Interval `json:"stabilizer_n"`
	Mast       interval.Interval `json:"mast_n"`
	Spray      interval.Interval `json:"spray_n"`
	Air        interval.Interval `json:"air_n"` // across the wind
	LiftToDrag interval.Interval `json:"lift_to_drag"`
}

// DragOption is what a number of cards does to the drag at the top speed.
type DragOption struct {
	Cards float64           `json:"cards"`
	Drag  interval.Interval `json:"drag_change_n"`
	Speed interval.Interval `json:"speed_change_mps"` // at the same pull
}

// airAreas are the drag areas in the air, m², of a rider who stands sideways
// with the board (0.65) and the rig luffed or let go; common sense, no source.
var airAreas = map[string]float64{"wing": 0.95, "kite": 0.95, "sail": 1.05, "tow": 0.65, "none": 0.65}

// glider is what glides, by the setup: the rig lifts nothing.
func glider(s *setup.Setup) glide.Body {
	in := trimInputs(s)
	in.RigLiftFraction, in.MastFoot = 0, 0
	f := trim.NewFoil(in)
	parts := func(v float64) (drag, lift float64) {
		p := f.Point(v, trim.Gravity)
		x := p.With(trim.Change{})
		return x.Drag, p.Drags(x).Lift
	}
	return glide.Body{
		Mass: in.RiderMass + in.BoardMass, Density: in.Density, Air: airAreas[s.Rig.Kind],
		Profile: func(v float64) float64 { d, l := parts(v); return d - l },
		Induced: func(v float64) float64 { _, l := parts(v); return l },
	}
}

// findGlides looks for glides before the law is fitted: it must do without them.
func (o *observation) findGlides(s *setup.Setup) []glide.Found {
	if s == nil || len(o.ride.Rides) == 0 {
		return nil
	}
	in := rideInput(o.log, o.motion)
	said := glide.Said{Presses: mark.Glides(o.marks)}
	for _, g := range s.Glide {
		from, ok := mark.Since(o.log, g.From)
		if !ok {
			o.warn(Note{Kind: GlidesUndated, Count: len(s.Glide)})
			break
		}
		said.Spans = append(said.Spans, [2]float64{from, from + g.Length()})
	}
	o.glides.Body = glider(s)
	return glide.Find(glide.Log{Ride: o.ride, Motion: o.motion, Time: in.Time, East: in.East, North: in.North, Body: o.glides.Body}, said)
}

// besides are the windows that no glide touches which the log shows.
func besides(windows []pitchlaw.Window, glides []glide.Found) []pitchlaw.Window {
	kept := windows[:0]
	for _, w := range windows {
		free := true
		for _, g := range glides {
			free = free && (g.By == "" || !g.Shown() || w.Time < float64(g.Start)-2 || w.Time > float64(g.End)+1)
		}
		if free {
			kept = append(kept, w)
		}
	}
	return kept
}

// fitGlides ties the glides to the law and takes the drag from them.
func (o *observation) fitGlides(found []glide.Found, s *setup.Setup) {
	if len(found) == 0 {
		return
	}
	g := &o.glides
	flow := o.flow()
	g.Flow, g.FlowSD = [2]float64{flow.East, flow.North}, flow.SD
	if g.SpeedSD = o.log.GPS.SpeedSD; !(g.SpeedSD > 0) {
		g.SpeedSD = usualSpeedSD
	}
	if w := o.ride.WindFrom; w.Known() {
		g.WindFrom, g.WindFromSD = w.Value*degree, math.Max(w.SD(), leastWindSD)*degree
	}
	light := s.Rig.LiftFraction * s.Rider.Mass / g.Body.Mass
	for i := range found {
		x := found[i].Height(o.law, g.Flow, g.Body.Density, light)
		x.Time = clockTime(o.log, float64(x.Start))
		g.Glides = append(g.Glides, x)
	}
	if fit, err := glide.New(*g); err == nil { // without a glide that counts there is none
		o.drag, *g = fit, fit.Outing()
	}
	for _, why := range []glide.Why{glide.Outside, glide.NotSlowing, glide.Twice, glide.Pumped} {
		n := Note{Kind: GlidesNot, Why: why}
		for _, x := range g.Glides {
			if x.By == glide.BySetup && x.Why == why {
				n.Count++
			}
		}
		if n.Count > 0 {
			o.warn(n)
		}
	}
}

const (
	usualSpeedSD = 0.1 // m/s (NAVSTAR GPS user equipment introduction §3.7: 0.2 m/s at 95 %)
	leastWindSD  = 8.0 // deg: the wind turns from reach to reach
)

// slow is the drag as the glides and all the rest show it.
func (r *Result) slow() {
	fit := r.glided
	if fit == nil {
		return
	}
	v := fit.Speed()
	b := fit.Outing().Body
	wing := r.Setup.Foil.Wing.Area
	q := water.DynamicPressure(b.Density, v)
	cl := b.Mass * trim.Gravity / (q * wing)
	d := &Drag{
		Speed: num(v), Area: fit.Area(v), Air: fit.Air(), Wind: fit.Wind(), Scatter: num(100 * fit.Scatter()),
		Profile:  fit.Profile().Scale(b.Profile(v) / (q * wing)),
		Induced:  fit.Lift().Scale(b.Induced(v) / (q * wing) / (cl * cl)),
		Smallest: num(100 * fit.Smallest(fit.Counted(), v)), SmallestTwenty: num(100 * fit.Smallest(20, v)),
		Curve: []DragPoint{}, Options: []DragOption{},
	}
	for i := range r.Glides {
		if g := &r.Glides[i]; g.Counts() && g.Why == "" {
			d.Glides++
		}
	}
	r.Drag = d
	foils := r.Posterior.Foils()
	for i := range foils { // under the whole weight, as in a glide
		foils[i].In.RigLiftFraction = 0
	}
	d.Cavitation = trim.Over(r.Posterior, foils, func(f *trim.Foil) float64 { return f.CavitationSpeed(r.Setup.Water.Temperature) })
	edge := d.Cavitation.Low
	d.Cavitation = searched(d.Cavitation)
	d.LeastDrag = trim.Over(r.Posterior, foils, (*trim.Foil).LeastDragSpeed)
	for i, v := range r.grid() {
		if i > 0 && v > edge {
			break // the model holds to there, and nothing is advised into it
		}
		d.Curve = append(d.Curve, r.dragAt(foils, v, fit))
	}
	top := r.RangeHigh
	if top > edge {
		return
	}
	air := water.DynamicPressure(glide.AirDensity, top) * fit.Air().Value
	// By how much the drag grows with the speed, N per m/s.
	steep := trim.OfEach(foils, func(f *trim.Foil) float64 {
		const h = 0.1
		grows := (f.At(top+h, trim.Gravity).Drag-f.At(top-h, trim.Gravity).Drag)/(2*h) + 2*air/top
		return math.Max(grows, air/top)
	})
	for _, x := range r.Advice.Options {
		if x.Best {
			continue
		}
		c := trim.Change{Raise: float64(x.StabilizerDeg) * degree}
		change := trim.OfEach(foils, func(f *trim.Foil) float64 {
			p := f.Point(top, trim.Gravity)
			return p.With(c).Drag - p.With(trim.Change{}).Drag
		})
		faster := make([]float64, len(foils))
		for i := range faster { // the pull stays: what the drag loses, more speed takes up
			faster[i] = -change[i] / steep[i]
		}
		d.Options = append(d.Options, DragOption{Cards: x.Cards, Drag: r.Posterior.Interval(change), Speed: r.Posterior.Interval(faster)})
	}
}

// searched is a speed of cavitation without what was not looked for.
func searched(c interval.Interval) interval.Interval {
	for _, v := range []*float64{&c.Value, &c.Low, &c.High} {
		if *v >= trim.CavitationSearched-1e-6 {
			*v = math.NaN()
		}
	}
	return c
}

func (r *Result) dragAt(foils []trim.Foil, speed float64, fit *glide.Fit) DragPoint {
	type flying struct {
		trim.State
		parts trim.Drags
	}
	each := make([]flying, len(foils))
	for i := range foils {
		p := foils[i].Point(speed, trim.Gravity)
		s := p.With(trim.Change{})
		each[i] = flying{s, p.Drags(s)}
	}
	of := func(part func(f *flying) float64) interval.Interval { return trim.Over(r.Posterior, each, part) }
	return DragPoint{
		Speed:      num(speed),
		Drag:       of(func(f *flying) float64 { return f.Drag }),
		Wing:       of(func(f *flying) float64 { return f.parts.Wing }),
		Stabilizer: of(func(f *flying) float64 { return f.parts.Stab }),
		Mast:       of(func(f *flying) float64 { return f.parts.Mast }),
		Spray:      of(func(f *flying) float64 { return f.parts.Spray }),
		Air:        fit.Air().Scale(0.5 * glide.AirDensity * math.Hypot(speed, fit.Wind().Value) * speed),
		LiftToDrag: of(func(f *flying) float64 { return (f.WingLift + f.StabLift) / f.Drag }),
	}
}

// DragChange is by how much the drag area in the water differs between two
// outings with glides.
type DragChange struct {
	Speed          interval.Number   `json:"speed_mps"`
	Glides         [2]int            `json:"glides"` // before and after
	Change         interval.Interval `json:"change_percent"`
	Smallest       interval.Number   `json:"smallest_change_percent"` // that these glides show in four of five cases
	SmallestTwenty interval.Number   `json:"smallest_change_of_20_percent"`
}

// dragChange judges the drag before and after; nil where one has no glides. What
// the two share, such as the rider's area in the air, drops out.
func dragChange(before, after *Result) *DragChange {
	if before.Drag == nil || after.Drag == nil {
		return nil
	}
	fit, err := glide.New(before.glided.Outing(), after.glided.Outing())
	if err != nil {
		return nil
	}
	v := (float64(before.Drag.Speed) + float64(after.Drag.Speed)) / 2
	change, smallest := fit.Change(v)
	return &DragChange{
		Speed: num(v), Glides: [2]int{before.Drag.Glides, after.Drag.Glides}, Change: change.Scale(100),
		Smallest: num(100 * smallest), SmallestTwenty: after.Drag.SmallestTwenty,
	}
}
