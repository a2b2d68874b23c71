package advice

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Side is one of two outings that are compared.
type Side struct {
	Setup     *setup.Setup
	Posterior *trim.Posterior // of this outing's own evidence
	Marked    []trim.Load     // what was marked within it, part by part
	HasLaw    bool
	LevelZero bool
	Zero      interval.Interval // rad
	Slope     interval.Interval // rad per (m²/kg)
	Effort    []pitchlaw.Effort // of both tacks together
	MeanSpeed interval.Interval // m/s, foiling; Unknown when not known
	TopSpeed  interval.Interval // m/s, the best that was held
}

// Verdicts of a comparison.
const (
	AsPredicted    = "as predicted"
	NotAsPredicted = "not as predicted"
	CannotTell     = "cannot tell"
)

// BeforeAfter says whether a change did what was predicted of it.
type BeforeAfter struct {
	Verdict       string            `json:"verdict"`
	Rows          []Comparison      `json:"rows"`
	EvennessFrom  interval.Interval `json:"evenness_before"`
	EvennessTo    interval.Interval `json:"evenness_after"`
	ChanceBetter  interval.Number   `json:"chance_better"` // by the model and all the evidence of both; null when not as predicted
	LevelsMatched bool              `json:"levels_matched"`
	Changed       []Difference      `json:"-"`
	Says          []Reason          `json:"-"` // the judgement, point by point
	Next          *Advice           `json:"-"` // from the posterior after both
}

// A Difference is one key of the setup that a change changed, SI.
type Difference struct {
	Key  string  `json:"key"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Points of a judgement.
const (
	NothingChanged  Kind = "nothing changed"
	ChangedUnsaid   Kind = "changed unsaid" // the setups are the same and the outings are not
	FeltAsForetold  Kind = "felt as foretold"
	FitsUnchanged   Kind = "fits unchanged" // far better than the change
	NotAsForetold   Kind = "not as foretold"
	NoNotesAfter    Kind = "no notes after"
	NoNotesBefore   Kind = "no notes before"
	NotesDoNotTell  Kind = "notes do not tell"  // Had
	NextTime        Kind = "next time"          // Notes and Minutes, or Each, that would tell beside those that are Had; Speed where the change foretold is largest, Share of it; zero: not known
	RowUnlike       Kind = "row unlike"         // Row is otherwise than predicted
	MoreEven        Kind = "more even"          // Chance
	LessEven        Kind = "less even"          // Chance that it is more even
	EvennessUnclear Kind = "evenness not clear" // Chance
)

// Quantities that are compared.
const (
	ZeroPitch   Kind = "pitch at zero lift"
	LawSlope    Kind = "slope of the pitch law"
	ShareAfter  Kind = "front foot's share" // as noted, at Speed
	ShareChange Kind = "change of the front foot's share"
	Effort      Kind = "control effort (pitch rate)"
	MeanSpeed   Kind = "mean speed on the foil"
	BestSpeed   Kind = "best speed"
)

// How what was seen stands to what was predicted, or without a prediction to
// what was before.
const (
	AsForetold Kind = "as predicted, within the doubt"
	FitsBoth   Kind = "fits what was predicted, and no change as well"
	More       Kind = "more than predicted"
	Less       Kind = "less than predicted"
	Higher     Kind = "higher than before"
	Lower      Kind = "lower than before"
	NoClear    Kind = "no clear change"
)

// Comparison is one quantity: what the outing before predicts for its change
// and what the outing after shows.
type Comparison struct {
	Kind      Kind              `json:"kind"`
	Speed     float64           `json:"speed_mps,omitempty"`
	Unit      string            `json:"unit"`
	Predicted interval.Interval `json:"predicted"` // null where the model says nothing
	Observed  interval.Interval `json:"observed"`
	Sigmas    interval.Number   `json:"sigmas"` // of the difference; null without a prediction
	Outcome   Kind              `json:"outcome"`
}

// Judge judges a change between two outings of one rider on one foil. both is
// the posterior of the outing after with the outing before among its evidence.
func Judge(before, after Side, both *trim.Posterior, w SpeedWeights) *BeforeAfter {
	r := &BeforeAfter{
		Changed: changes(before.Setup, after.Setup), Rows: []Comparison{}, Verdict: CannotTell, Says: []Reason{},
		EvennessFrom: interval.Unknown(), EvennessTo: interval.Unknown(), ChanceBetter: interval.Number(math.NaN()),
		LevelsMatched: before.LevelZero && after.LevelZero,
	}
	predicted := foretold(before.Posterior, after.Posterior.Base)
	r.laws(before, after, predicted)
	r.shares(before, after, predicted)
	r.effort(before, after)
	for _, c := range []struct {
		kind     Kind
		was, now interval.Interval
	}{{MeanSpeed, before.MeanSpeed, after.MeanSpeed}, {BestSpeed, before.TopSpeed, after.TopSpeed}} {
		if c.was.Known() && c.now.Known() {
			r.row(c.kind, 0, "m/s", interval.Unknown(), minus(c.now, c.was))
		}
	}
	o := objective{w.clean(), GradientWanted(after.Setup.Rider.Level)}
	if len(o.Speed) > 0 && len(both.Draws) > 0 {
		off := func(p *trim.Posterior) []float64 {
			return trim.OfEach(p.Draws, func(in *trim.Inputs) float64 { return o.evenness(o.fly(*in), trim.Change{}) })
		}
		from, to := off(both.Under(before.Setup, before.Posterior.Base)), off(both)
		r.EvennessFrom, r.EvennessTo = both.Interval(from), both.Interval(to)
		r.ChanceBetter = interval.Number(chanceLess(to, from, both.Weights))
	}
	more := func() int { return notesToTell(before, after, predicted, r.LevelsMatched, o.SpeedWeights) }
	r.judge(o.SpeedWeights, weigh(before, after, predicted, r.LevelsMatched), more, func(v float64) float64 {
		return meanShare(predicted, before.Posterior.Weights, v) - meanShare(before.Posterior.Draws, before.Posterior.Weights, v)
	})
	if r.Verdict == NotAsPredicted {
		// What both outings say together takes the change for made.
		r.ChanceBetter = interval.Number(math.NaN())
	}
	return r
}

// Hold is what to clear up before any other step, nil for nothing.
func (r *BeforeAfter) Hold() *Reason {
	if r.Verdict != NotAsPredicted {
		return nil
	}
	return &Reason{Kind: CheckChange, Changed: r.Changed}
}

// foretold is every draw of the outing before under the setup after. The
// change of the shim is by cards, whose thickness is in doubt, and what will be
// said of it by a rider's zero and scale, whatever told the load before.
func foretold(p *trim.Posterior, to trim.Inputs) []trim.Inputs {
	rng := rand.New(rand.NewPCG(13, 810))
	turn := trim.ShimAngle(to.Shim, to.ShimSpan) - trim.ShimAngle(p.Base.Shim, p.Base.ShimSpan)
	out := make([]trim.Inputs, len(p.Draws))
	for i, d := range p.WithRider().Draws {
		out[i] = trim.Transfer(d, p.Base, to).Raise(turn * trim.CardSD / trim.Card * rng.NormFloat64())
	}
	return out
}

// changes lists what differs between two setups by more than its key shows.
func changes(a, b *setup.Setup) []Difference {
	var out []Difference
	for _, c := range []struct {
		key   string
		least float64
	}{
		{"foil.stabilizer.shim_mm", 0.005 * mm}, {"foil.stabilizer.incidence_deg", 0.05 * deg}, {"stance.front_cm", 0.5 * mm}, {"stance.back_cm", 0.5 * mm},
		{"foil.wing.ahead_cm", 0.5 * mm}, {"foil.stabilizer.behind_wing_cm", 0.5 * mm}, {"foil.wing.incidence_deg", 0.05 * deg},
		{"rider.mass_kg", 0.5}, {"rig.lift_fraction", 0.005},
	} {
		if from, to := a.Number(c.key), b.Number(c.key); math.Abs(to-from) >= c.least {
			out = append(out, Difference{c.key, from, to})
		}
	}
	return out
}

// row compares one quantity; speed is 0 where it has none.
func (r *BeforeAfter) row(kind Kind, speed float64, unit string, predicted, observed interval.Interval) {
	c := Comparison{Kind: kind, Speed: speed, Unit: unit, Predicted: predicted, Observed: observed, Sigmas: interval.Number(math.NaN()), Outcome: NoClear}
	switch {
	case predicted.Known() && observed.Known():
		z := (observed.Value - predicted.Value) / math.Max(math.Hypot(predicted.SD(), observed.SD()), 1e-12)
		c.Sigmas = interval.Number(math.Abs(z))
		switch {
		case math.Abs(z) < interval.Z90 && observed.Contains(0) && !predicted.Contains(0):
			c.Outcome = FitsBoth
		case math.Abs(z) < interval.Z90:
			c.Outcome = AsForetold
		case z > 0:
			c.Outcome = More
		default:
			c.Outcome = Less
		}
	case observed.Low > 0:
		c.Outcome = Higher
	case observed.High < 0:
		c.Outcome = Lower
	}
	r.Rows = append(r.Rows, c)
}

// minus is b - a of two independent normal numbers.
func minus(b, a interval.Interval) interval.Interval {
	return interval.Normal(b.Value-a.Value, math.Hypot(a.SD(), b.SD()))
}

// laws compares zero and slope of the pitch law.
func (r *BeforeAfter) laws(before, after Side, predicted []trim.Inputs) {
	if !before.HasLaw || !after.HasLaw {
		return
	}
	zero, slope := make([]float64, len(predicted)), make([]float64, len(predicted))
	for i, in := range predicted {
		zeroWas, slopeWas := trim.NewFoil(before.Posterior.Draws[i]).Law(0, 0)
		zeroIs, slopeIs := trim.NewFoil(in).Law(0, 0)
		zero[i], slope[i] = (zeroIs-zeroWas)/deg, 100*(slopeIs/slopeWas-1)
	}
	if r.LevelsMatched {
		r.row(ZeroPitch, 0, "deg", before.Posterior.Interval(zero), minus(after.Zero, before.Zero).Scale(1/deg))
	}
	if before.Slope.Value != 0 {
		k := 100 / before.Slope.Value
		r.row(LawSlope, 0, "%", before.Posterior.Interval(slope), minus(after.Slope, before.Slope).Scale(k))
	}
}

// shares compares what the rider noted after with what the outing before
// predicts, and the changes where both outings have a note at about one speed.
// The rider's zero and scale are those of the draws.
func (r *BeforeAfter) shares(before, after Side, predicted []trim.Inputs) {
	said := func(of []trim.Inputs, v float64) []float64 {
		return trim.OfEach(of, func(in *trim.Inputs) float64 { return 100 * in.Said(trim.NewFoil(*in).At(v, trim.Gravity).FrontShare) })
	}
	for _, note := range after.Setup.Feel {
		if note.Speed < slowest || !(note.SD > 0) {
			continue
		}
		then := said(predicted, note.Speed)
		r.row(ShareAfter, note.Speed, "%", before.Posterior.Interval(then), interval.Normal(note.Share, note.SD).Scale(100))
		for _, old := range before.Setup.Feel {
			if math.Abs(old.Speed-note.Speed) > 0.5 || !(old.SD > 0) {
				continue
			}
			floats.Sub(then, said(before.Posterior.Draws, old.Speed))
			r.row(ShareChange, note.Speed, "%", before.Posterior.Interval(then),
				minus(interval.Normal(note.Share, note.SD), interval.Normal(old.Share, old.SD)).Scale(100))
			break
		}
	}
}

func meanShare(foils []trim.Inputs, weights []float64, v float64) float64 {
	return stat.Mean(trim.OfEach(foils, func(in *trim.Inputs) float64 { return trim.NewFoil(*in).At(v, trim.Gravity).FrontShare }), weights)
}

// effort compares the control effort at the speeds that both rode.
func (r *BeforeAfter) effort(before, after Side) {
	var a, b []interval.Interval
	for _, x := range after.Effort {
		for _, y := range before.Effort {
			if math.Abs(x.Speed-y.Speed) < 0.26 && x.PitchRate.Known() && y.PitchRate.Known() && y.PitchRate.Value > 0 {
				a, b = append(a, x.PitchRate), append(b, y.PitchRate)
				break
			}
		}
	}
	if len(a) == 0 {
		return
	}
	r.row(Effort, 0, "deg/s", interval.Unknown(), minus(meanOf(a), meanOf(b)).Scale(1/deg))
}

// meanOf independent normal numbers.
func meanOf(v []interval.Interval) interval.Interval {
	var m, sd, n float64
	for _, i := range v {
		m, sd, n = m+i.Value, math.Hypot(sd, i.SD()), n+1
	}
	return interval.Normal(m/n, sd/n)
}
