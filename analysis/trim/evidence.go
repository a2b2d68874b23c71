package trim

import (
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

	Feel     []setup.Feel // what the rider said, by this rider's zero and scale
	Moments  []Moment
	Nulls    []Null
	Measured []Measured
	LeanSD   float64 // 1σ of what all of Measured are out by together, at a share of 0.5
	Mast     []MastMoment
	Drag     []DragAt
	MastSD   [2]float64 // 1σ of the relative gain and the offset, N·m, that all of Mast share
	// NoteSpeedSD is the doubt of the speeds in Feel against those through the
	// water, m/s: the current's share in them.
	NoteSpeedSD float64
}

// A Moment is what the rider said of one moment of the log, whose speed and
// load the log tells, with a change of the trim made since the outing's setup.
type Moment struct {
	setup.Feel
	Normal float64 // m/s², deck-normal specific force; 0 is level flight
	Change Change
}

// A Null is a speed at which the load feels even, with a change of the trim
// made since the outing's setup: share + b = 0.5. The rider's scale drops out.
type Null struct {
	Speed   float64 // m/s
	SpeedSD float64 // 1σ of Speed
	Normal  float64 // m/s², deck-normal specific force; 0 is level flight
	Change  Change
	SD      float64 // 1σ as a share, apart from the speed's
}

// Measured is a front foot's share that an instrument shows, whatever the
// rider feels, with a change of the trim made since the outing's setup.
type Measured struct {
	Speed  float64 // m/s
	Share  float64
	Change Change
	SD     float64 // 1σ of Share
}

// A MastMoment is what an instrumented mast shows in level flight: the foil's pitch
// moment about the mast's head, bow-up.
type MastMoment struct {
	Speed  float64 // m/s
	Moment float64 // N·m
	Change Change
	SD     float64 // 1σ
}

// DragAt is the drag of the foil under the whole weight at a speed, as glides show it.
type DragAt struct {
	Speed float64 // m/s
	Drag  float64 // N, in the water
	SD    float64 // 1σ, N
}

// A Kind of evidence, or of what is in doubt.
type Kind string

const (
	SlopeKind    Kind = "slope"    // the slope of the pitch law
	ZeroKind     Kind = "zero"     // the pitch at zero lift from a level deck
	NoteKind     Kind = "note"     // a note of feel
	MomentKind   Kind = "moment"   // what was said of a moment of the log
	NullKind     Kind = "null"     // a speed that feels even
	MeasuredKind Kind = "measured" // a measured share
	MastKind     Kind = "mast"     // a measured moment of the mast
	DragKind     Kind = "drag"     // the drag that glides show
	NotePairKind Kind = "notes"    // two notes of feel that cannot both be true
	SwapKind     Kind = "swapped"  // notes with front and back exchanged
	UnknownKind  Kind = "unknown"  // an unknown that had to go far from the setup
)

// An item is one piece of evidence: nothing but its residual, in σ.
type item struct {
	kind    Kind
	outing  int
	speed   float64    // m/s, of a load
	speedSD float64    // 1σ of it
	normal  float64    // m/s², of a load
	change  Change     // of the trim, of a load
	share   float64    // that a load tells; of the mast, N·m; of a drag, N
	note    setup.Feel // when a note
	sd      float64    // 1σ in the item's own unit
	carry   float64    // takes out what the item shares with the one before it
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
	if c := ev.Cov; ev.HasLaw && c[1][1] > 0 {
		items = append(items, item{kind: SlopeKind, outing: i, sd: math.Sqrt(c[1][1])})
		if ev.LevelZero && o.Setup.Given("foil.wing.incidence_deg") && c[0][0] > 0 {
			level := ev.LevelSD
			if level == 0 {
				level = usualLevelSD
			}
			// The zero given the slope (Cholesky of the pair).
			carry := c[0][1] / c[1][1]
			v := c[0][0] - carry*c[0][1] + level*level
			items = append(items, item{kind: ZeroKind, outing: i, sd: math.Sqrt(v), carry: carry})
		}
	}
	load := func(it item) {
		if it.speed >= minSpeed && it.sd > 0 {
			it.outing = i
			if it.normal == 0 {
				it.normal = Gravity
			}
			items = append(items, it)
		}
	}
	for _, n := range ev.Feel {
		load(item{kind: NoteKind, speed: n.Speed, speedSD: ev.NoteSpeedSD, share: n.Share, note: n, sd: n.SD})
	}
	for _, m := range ev.Moments {
		load(item{kind: MomentKind, speed: m.Speed, normal: m.Normal, change: m.Change, share: m.Share, note: m.Feel, sd: m.SD})
	}
	for _, n := range ev.Nulls {
		load(item{kind: NullKind, speed: n.Speed, speedSD: n.SpeedSD, normal: n.Normal, change: n.Change, share: 0.5, sd: n.SD})
	}
	for _, m := range ev.Measured {
		load(item{kind: MeasuredKind, speed: m.Speed, change: m.Change, share: m.Share, sd: m.SD})
	}
	for _, m := range ev.Mast {
		load(item{kind: MastKind, speed: m.Speed, change: m.Change, share: m.Moment, sd: m.SD})
	}
	for _, d := range ev.Drag {
		if i > 0 {
			d.SD = math.Hypot(d.SD, refinished*d.Drag)
		}
		load(item{kind: DragKind, speed: d.Speed, share: d.Drag, sd: d.SD})
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
		switch it.kind {
		case SlopeKind:
			var slope float64
			zero, slope = foil.Law(ev.LawSpeeds[0], ev.LawSpeeds[1])
			slopeError = slope - ev.Slope
			r[i] = slopeError / it.sd
		case ZeroKind:
			r[i] = (zero - ev.Zero - it.carry*slopeError) / it.sd
		default:
			d := it.told(&foil, it.speed) - it.share
			r[i] = d / (it.loadSD(&foil) * beyond(it.note, d))
		}
	}
}

// told is what an item of load would tell of the foil at a speed, m/s.
func (it *item) told(f *Foil, speed float64) float64 {
	if it.kind == DragKind { // in a glide the rig lifts nothing
		bare := f.In
		bare.RigLiftFraction = 0
		return NewFoil(bare).At(speed, it.normal).Drag
	}
	p := f.Point(speed, it.normal)
	if it.kind == MastKind {
		return f.In.ShownMoment(p.With(it.change).MastMoment)
	}
	share, _ := p.Share(it.change)
	switch it.kind {
	case NoteKind, MomentKind:
		return f.In.Said(share)
	case NullKind:
		return share + f.In.RiderZero
	}
	return f.In.Shown(share)
}

// loadSD is 1σ of an item of load with the doubt of its speed.
func (it *item) loadSD(f *Foil) float64 {
	if it.speedSD == 0 {
		return it.sd
	}
	const h = 0.1
	d := (it.told(f, it.speed+h) - it.told(f, it.speed-h)) / (2 * h)
	return math.Hypot(it.sd, d*it.speedSD)
}

// openEnded is by how much a strong word is less sure on its outer side: in
// simulated riders who use words, 4 leaves the best shim unbiased and covered.
const openEnded = 4

// beyond widens a note on the side where its word has no end: a rider has no
// word for more than "strong front", so a share above it is less of a surprise
// than one below. d is model minus note.
func beyond(n setup.Feel, d float64) float64 {
	if n.Said == "strong front" && d > 0 || n.Said == "strong back" && d < 0 {
		return openEnded
	}
	return 1
}

// Miss is by how much what a model says ([Inputs.Said]) misses a note (model
// minus note), less on the side where the note's word has no end.
func Miss(n setup.Feel, said float64) float64 {
	d := said - n.Share
	return d / beyond(n, d)
}
