package trim

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/setup"
)

// Evidence is what one outing tells. The zero value tells nothing.
type Evidence struct {
	// The pitch law of the log, in flight near 1 g.
	HasLaw bool
	Slope  float64       // rad per (m²/kg)
	Zero   float64       // rad
	Cov    [2][2]float64 // of (zero, slope)
	// LawSpeeds are two speeds, m/s, between which the law was seen: a fuselage
	// that bends makes it depend on them a little. Zeros mean the usual ones.
	LawSpeeds [2]float64
	// LevelZero says that Zero counts from a level deck. It is used only when
	// the setup gives the wing's incidence. LevelSD is the doubt of the level, rad;
	// 0 means 0.3°.
	LevelZero bool
	LevelSD   float64

	Feel   []setup.Feel // what the rider said, by this rider's zero and scale
	Loads  []Load
	LeanSD float64    // 1σ of what all measured shares are out by together, at a share of 0.5
	MastSD [2]float64 // 1σ of the relative gain and the offset, N·m, that all of a mast's moments share
	// NoteSpeedSD is the doubt of the speeds in Feel against those through the
	// water, m/s: the current's share in them.
	NoteSpeedSD float64
}

// A Load is what was told of the load at one speed, with a change of the trim made
// since the outing's setup: of a kind from NoteKind to DragKind.
type Load struct {
	Kind    Kind
	Speed   float64 // m/s
	SpeedSD float64 // 1σ of Speed
	Normal  float64 // m/s², deck-normal specific force; 0 is level flight
	Change  Change
	Value   float64 // the front foot's share; of a mast, N·m, bow-up; of a drag, N; 0.5 of a null
	SD      float64 // 1σ of it, apart from the speed's
	Said    string  // the rider's own words
}

// Noted is a note of feel as it is told.
func Noted(n setup.Feel) Load {
	return Load{Kind: NoteKind, Speed: n.Speed, Value: n.Share, SD: n.SD, Said: n.Said}
}

// tells says whether the evidence holds a load of one of these kinds.
func (ev *Evidence) tells(kinds ...Kind) bool {
	return slices.ContainsFunc(ev.Loads, func(l Load) bool { return slices.Contains(kinds, l.Kind) })
}

// A Kind of evidence, or of what is in doubt.
type Kind string

const (
	SlopeKind    Kind = "slope"    // the slope of the pitch law
	ZeroKind     Kind = "zero"     // the pitch at zero lift from a level deck
	NoteKind     Kind = "note"     // a note of feel
	MomentKind   Kind = "moment"   // what was said of a moment of the log, whose speed and load it tells
	NullKind     Kind = "null"     // a speed that feels even: share + b = 0.5, and the rider's scale drops out
	MeasuredKind Kind = "measured" // a share that an instrument shows, whatever the rider feels
	MastKind     Kind = "mast"     // the foil's pitch moment about the mast's head that an instrumented mast shows in level flight
	DragKind     Kind = "drag"     // the drag in the water under the whole weight that glides show
	NotePairKind Kind = "notes"    // two notes of feel that cannot both be true
	SwapKind     Kind = "swapped"  // notes with front and back exchanged
	UnknownKind  Kind = "unknown"  // an unknown that had to go far from the setup
)

// An item is one piece of evidence: nothing but its residual, in σ.
type item struct {
	Load
	outing int
	carry  float64 // takes out what the item shares with the one before it
}

// minSpeed is the lowest speed, m/s, at which a foil is thought to carry.
const minSpeed = 1.0

// refinished is 1σ of what a new finish or edge may have done to the drag since
// an earlier outing, relative.
const refinished = 0.1

// usualLevelSD is the doubt of a level zero where the log does not say, rad.
const usualLevelSD = 0.3 * deg

// evidenceItems lists what an outing tells, in the order of residuals.
func evidenceItems(i int, o Outing) []item {
	var items []item
	ev := o.Ev
	add := func(carry float64, l Load) { items = append(items, item{l, i, carry}) }
	if c := ev.Cov; ev.HasLaw && c[1][1] > 0 {
		add(0, Load{Kind: SlopeKind, SD: math.Sqrt(c[1][1])})
		if ev.LevelZero && o.Setup.Given("foil.wing.incidence_deg") && c[0][0] > 0 {
			level := cmp.Or(ev.LevelSD, usualLevelSD)
			// The zero given the slope (Cholesky of the pair).
			carry := c[0][1] / c[1][1]
			add(carry, Load{Kind: ZeroKind, SD: math.Sqrt(c[0][0] - carry*c[0][1] + level*level)})
		}
	}
	var loads []Load
	for _, n := range ev.Feel {
		l := Noted(n)
		l.SpeedSD = ev.NoteSpeedSD
		loads = append(loads, l)
	}
	for _, l := range append(loads, ev.Loads...) {
		if !(l.Speed >= minSpeed && l.SD > 0) {
			continue
		}
		if l.Kind == DragKind && i > 0 {
			l.SD = math.Hypot(l.SD, refinished*l.Value)
		}
		add(0, l)
	}
	return items
}

// residuals are (model - evidence)/σ for every item.
func (p *problem) residuals(x []float64) []float64 {
	r := make([]float64, len(p.items))
	p.fill(r, x, nil)
	return r
}

// fill writes the residuals of those outings, nil for all; the others stay.
func (p *problem) fill(r, x []float64, on []int) {
	foil, have := Foil{}, -1
	zero, slopeError := 0.0, 0.0
	for i := range p.items {
		it := &p.items[i]
		if on != nil && !slices.Contains(on, it.outing) {
			continue
		}
		if it.outing != have {
			foil, have = NewFoil(p.inputs(it.outing, x)), it.outing
		}
		ev := &p.outings[it.outing].Ev
		switch it.Kind {
		case SlopeKind:
			var slope float64
			zero, slope = foil.Law(ev.LawSpeeds[0], ev.LawSpeeds[1])
			slopeError = slope - ev.Slope
			r[i] = slopeError / it.SD
		case ZeroKind:
			r[i] = (zero - ev.Zero - it.carry*slopeError) / it.SD
		default:
			r[i] = it.Miss(it.Told(&foil, it.Speed)) / it.loadSD(&foil)
		}
	}
}

// Told is what would be told of the foil at a speed, m/s.
func (l *Load) Told(f *Foil, speed float64) float64 {
	if l.Kind == DragKind { // in a glide the rig lifts nothing
		bare := f.In
		bare.RigLiftFraction = 0
		return NewFoil(bare).At(speed, Gravity).Drag
	}
	p := f.Point(speed, cmp.Or(l.Normal, Gravity))
	if l.Kind == MastKind {
		return f.In.ShownMoment(p.With(l.Change).MastMoment)
	}
	share, _ := p.Share(l.Change)
	switch l.Kind {
	case NoteKind, MomentKind:
		return f.In.Said(share)
	case NullKind:
		return share + f.In.RiderZero
	}
	return f.In.Shown(share)
}

// loadSD is 1σ of it with the doubt of its speed.
func (l *Load) loadSD(f *Foil) float64 {
	if l.SpeedSD == 0 {
		return l.SD
	}
	const h = 0.1
	d := (l.Told(f, l.Speed+h) - l.Told(f, l.Speed-h)) / (2 * h)
	return math.Hypot(l.SD, d*l.SpeedSD)
}

// openEnded is by how much a strong word is less sure on its outer side: in
// simulated riders who use words, 4 leaves the best shim unbiased and covered.
const openEnded = 4

// Miss is by how much what a model says misses what was told (model minus told),
// less on the side where a word has no end: a rider has no word for more than "strong
// front", so a share above it is less of a surprise than one below.
func (l *Load) Miss(model float64) float64 {
	d := model - l.Value
	if l.Said == "strong front" && d > 0 || l.Said == "strong back" && d < 0 {
		return d / openEnded
	}
	return d
}
