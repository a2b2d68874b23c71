package advice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Side is one of two outings that are compared.
type Side struct {
	Name      string
	Setup     *setup.Setup
	Posterior *trim.Posterior // of this outing's own evidence
	HasLaw    bool
	LevelZero bool
	Zero      interval.Interval // rad
	Slope     interval.Interval // rad per (m²/kg)
	Effort    []EffortAt
	MeanSpeed interval.Interval // m/s, foiling; Unknown when not known
	TopSpeed  interval.Interval // m/s, the best that was held
}

// EffortAt is the pitch rate that the rider worked against at one speed.
type EffortAt struct {
	Speed float64           // m/s
	Rate  interval.Interval // rad/s RMS
}

// Verdicts of a comparison.
const (
	AsPredicted    = "as predicted"
	NotAsPredicted = "not as predicted"
	CannotTell     = "cannot tell"
)

// BeforeAfter says whether a change did what was predicted of it.
type BeforeAfter struct {
	Changed       []string          `json:"changed"` // plain words
	Rows          []Comparison      `json:"rows"`
	EvennessFrom  interval.Interval `json:"evenness_before"`
	EvennessTo    interval.Interval `json:"evenness_after"`
	ChanceBetter  interval.Number   `json:"chance_better"` // by the model and all the evidence of both; null when not as predicted
	Verdict       string            `json:"verdict"`
	Says          string            `json:"says"`
	Next          *Advice           `json:"next"` // from the posterior after both
	LevelsMatched bool              `json:"levels_matched"`
}

// Comparison is one quantity: what the outing before predicts for its change
// and what the outing after shows.
type Comparison struct {
	What      string            `json:"what"`
	Unit      string            `json:"unit"`
	Predicted interval.Interval `json:"predicted"` // null where the model says nothing
	Observed  interval.Interval `json:"observed"`
	Sigmas    interval.Number   `json:"sigmas"` // of the difference; null without a prediction
	Says      string            `json:"says"`
}

// Compare judges a change between two outings of one rider on one foil. both
// is the posterior of the outing after with the outing before among its
// evidence; sameMount says that the logger stayed on the board, so that pitch
// zeros compare without a level.
func Compare(before, after Side, both *trim.Posterior, sameMount bool, w SpeedWeights, opt Options) *BeforeAfter {
	r := &BeforeAfter{
		Changed: changes(before.Setup, after.Setup), Rows: []Comparison{}, Verdict: CannotTell,
		EvennessFrom: interval.Unknown(), EvennessTo: interval.Unknown(), ChanceBetter: interval.Number(math.NaN()),
	}
	r.LevelsMatched = sameMount || before.LevelZero && after.LevelZero
	t := newTask(both, after.Setup, w, opt)
	predicted := foretold(before.Posterior, after.Posterior.Base)
	r.laws(before, after, predicted)
	r.shares(t, before, after, predicted)
	r.effort(before, after)
	r.speeds(before, after)
	if len(t.w.Speed) > 0 && len(both.Draws) > 0 {
		was := both.Under(before.Setup, before.Posterior.Base)
		from := make([]float64, len(was.Draws))
		for i, d := range was.Draws {
			from[i] = t.w.evenness(trim.NewFoil(d))
		}
		r.EvennessFrom, r.EvennessTo = interval.FromDraws(from), interval.FromDraws(t.nowEven)
		r.ChanceBetter = interval.Number(chanceLess(t.nowEven, from))
	}
	r.judge(t, weigh(before, after, predicted, r.LevelsMatched), func(v float64) float64 {
		return meanShare(predicted, v) - meanShare(before.Posterior.Draws, v)
	})
	if len(t.w.Speed) > 0 && len(both.Draws) > 0 {
		if r.Verdict == NotAsPredicted {
			// What both outings say together takes the change for made.
			r.ChanceBetter = interval.Number(math.NaN())
			opt.hold = "Change nothing yet: first check that the change was made as the second setup says (" + strings.Join(r.Changed, "; ") + "), and the notes of feel."
		}
		r.Next = Advise(both, after.Setup, w, opt)
	}
	return r
}

// foretold is every draw of the outing before under the setup after. The
// change of the shim is by cards, whose thickness is in doubt.
func foretold(p *trim.Posterior, to trim.Inputs) []trim.Inputs {
	rng := rand.New(rand.NewPCG(13, 810))
	turn := trim.ShimAngle(to.Shim, to.ShimSpan) - trim.ShimAngle(p.Base.Shim, p.Base.ShimSpan)
	out := make([]trim.Inputs, len(p.Draws))
	for i, d := range p.Draws {
		out[i] = trim.Transfer(d, p.Base, to).Raise(turn * trim.CardSD / trim.Card * rng.NormFloat64())
	}
	return out
}

// changes lists in words what differs between two setups.
func changes(a, b *setup.Setup) []string {
	out := []string{}
	add := func(from, to, scale float64, digits int, unit, what string) {
		if math.Abs(to-from)*scale >= 0.5*math.Pow(10, -float64(digits)) {
			out = append(out, fmt.Sprintf("%s: %.*f → %.*f %s", what, digits, from*scale, digits, to*scale, unit))
		}
	}
	add(a.Foil.Stabilizer.Shim, b.Foil.Stabilizer.Shim, 1000, 2, "mm", "shim under the stabilizer")
	add(a.Foil.Stabilizer.Incidence, b.Foil.Stabilizer.Incidence, 1/deg, 1, "°", "stabilizer incidence without shim")
	add(a.Stance.Front, b.Stance.Front, 100, 1, "cm", "front foot from the mast")
	add(a.Stance.Back, b.Stance.Back, 100, 1, "cm", "back foot from the mast")
	add(a.Foil.Wing.Ahead, b.Foil.Wing.Ahead, 100, 1, "cm", "wing ahead of the mast")
	add(a.Foil.Stabilizer.BehindWing, b.Foil.Stabilizer.BehindWing, 100, 1, "cm", "stabilizer behind the wing")
	add(a.Foil.Wing.Incidence, b.Foil.Wing.Incidence, 1/deg, 1, "°", "wing incidence to the deck")
	add(a.Rider.Mass, b.Rider.Mass, 1, 0, "kg", "rider")
	add(a.Rig.LiftFraction, b.Rig.LiftFraction, 100, 0, "%", "weight that the rig carries")
	return out
}

// row compares one quantity.
func (r *BeforeAfter) row(what, unit string, predicted, observed interval.Interval) {
	c := Comparison{What: what, Unit: unit, Predicted: predicted, Observed: observed, Sigmas: interval.Number(math.NaN())}
	if predicted.Known() && observed.Known() {
		sd := math.Hypot(predicted.SD(), observed.SD())
		z := (observed.Value - predicted.Value) / math.Max(sd, 1e-12)
		c.Sigmas = interval.Number(math.Abs(z))
		switch {
		case math.Abs(z) < 1.645 && observed.Contains(0) && !predicted.Contains(0):
			c.Says = "fits what was predicted, and no change as well"
		case math.Abs(z) < 1.645:
			c.Says = "as predicted, within the doubt"
		case z > 0:
			c.Says = "more than predicted"
		default:
			c.Says = "less than predicted"
		}
	} else if observed.Known() {
		switch {
		case observed.Low > 0:
			c.Says = "higher than before"
		case observed.High < 0:
			c.Says = "lower than before"
		default:
			c.Says = "no clear change"
		}
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
	zero := make([]float64, len(predicted))
	slope := make([]float64, len(predicted))
	for i, in := range predicted {
		a, b := trim.NewFoil(before.Posterior.Draws[i]), trim.NewFoil(in)
		zero[i] = (zeroPitch(b) - zeroPitch(a)) / deg
		slope[i] = 100 * (pitchSlope(b)/pitchSlope(a) - 1)
	}
	if r.LevelsMatched {
		r.row("pitch at zero lift", "deg", interval.FromDraws(zero), minus(after.Zero, before.Zero).Scale(1/deg))
	}
	if before.Slope.Value != 0 {
		k := 100 / before.Slope.Value
		r.row("slope of the pitch law", "%", interval.FromDraws(slope), minus(after.Slope, before.Slope).Scale(k))
	}
}

// shares compares what the rider felt after with what the outing before
// predicts, and the changes where both outings have a note at about one speed.
func (r *BeforeAfter) shares(t *task, before, after Side, predicted []trim.Inputs) {
	foils := make([]trim.Foil, len(predicted))
	for i, in := range predicted {
		foils[i] = trim.NewFoil(in)
	}
	for _, note := range after.Setup.Feel {
		if note.Speed < slowest || !(note.SD > 0) {
			continue
		}
		observed := interval.Normal(note.Share, note.SD).Scale(100)
		r.row("front foot's share at "+t.speedText(note.Speed), "%", saidAt(foils, note.Speed).Scale(100), observed)
		for _, old := range before.Setup.Feel {
			if math.Abs(old.Speed-note.Speed) > 0.5 || !(old.SD > 0) {
				continue
			}
			change := make([]float64, len(foils))
			for i, f := range foils {
				was := trim.NewFoil(before.Posterior.Draws[i])
				change[i] = 100 * (said(f, note.Speed) - said(was, old.Speed))
			}
			r.row("change of the front foot's share at "+t.speedText(note.Speed), "%", interval.FromDraws(change),
				minus(interval.Normal(note.Share, note.SD), interval.Normal(old.Share, old.SD)).Scale(100))
			break
		}
	}
}

// said is what the rider would note at a speed, m/s.
func said(f trim.Foil, v float64) float64 { return f.In.Said(f.At(v, trim.Gravity).FrontShare) }

func saidAt(foils []trim.Foil, v float64) interval.Interval {
	s := make([]float64, len(foils))
	for i, f := range foils {
		s[i] = said(f, v)
	}
	return interval.FromDraws(s)
}

func meanShare(foils []trim.Inputs, v float64) float64 {
	s := 0.0
	for _, in := range foils {
		s += trim.NewFoil(in).At(v, trim.Gravity).FrontShare
	}
	return s / float64(len(foils))
}

// effort compares the control effort at the speeds that both rode.
func (r *BeforeAfter) effort(before, after Side) {
	var a, b []interval.Interval
	for _, x := range after.Effort {
		for _, y := range before.Effort {
			if math.Abs(x.Speed-y.Speed) < 0.26 && x.Rate.Known() && y.Rate.Known() && y.Rate.Value > 0 {
				a, b = append(a, x.Rate), append(b, y.Rate)
				break
			}
		}
	}
	if len(a) == 0 {
		return
	}
	r.row("control effort (pitch rate)", "deg/s", interval.Unknown(), minus(mean(a), mean(b)).Scale(1/deg))
}

// mean of independent normal numbers.
func mean(v []interval.Interval) interval.Interval {
	m, s := 0.0, 0.0
	for _, i := range v {
		m += i.Value
		s += i.SD() * i.SD()
	}
	n := float64(len(v))
	return interval.Normal(m/n, math.Sqrt(s)/n)
}

func (r *BeforeAfter) speeds(before, after Side) {
	both := func(what string, a, b interval.Interval) {
		if a.Known() && b.Known() {
			r.row(what, "m/s", interval.Unknown(), minus(b, a))
		}
	}
	both("mean speed on the foil", before.MeanSpeed, after.MeanSpeed)
	both("best speed", before.TopSpeed, after.TopSpeed)
}

// chanceText prints a chance in percent, never as a certainty.
func chanceText(p float64) string {
	switch {
	case p > 0.99:
		return "over 99 %"
	case p < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
