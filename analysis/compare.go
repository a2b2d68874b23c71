package analysis

import (
	"math"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Comparison sets sessions side by side.
type Comparison struct {
	Schema  string    `json:"schema"`
	Results []*Result `json:"sessions"`
	// BeforeAfter judges the change between two sessions of one rider on one
	// foil; null otherwise, and Why says why.
	BeforeAfter *advice.BeforeAfter `json:"before_after"`
	Why         Kind                `json:"-"`
	Differ      error               `json:"-"` // with OtherFoil: what differs
}

// Why no change is judged.
const (
	NotTwo      Kind = "not two sessions"
	NoSetupBoth Kind = "a session without a setup"
	TwoRiders   Kind = "two riders"
	OtherFoil   Kind = "another foil"
)

// Compare sets results side by side, and judges the change where there are
// two sessions of one rider on one foil. The earlier one counts as before.
func Compare(results []*Result) (*Comparison, error) {
	c := &Comparison{Schema: Schema, Results: results}
	if len(results) != 2 {
		c.Why = NotTwo
		return c, nil
	}
	before, after := results[0], results[1]
	if later(before, after) {
		before, after = after, before
	}
	switch {
	case before.Setup == nil || after.Setup == nil:
		c.Why = NoSetupBoth
	case before.Setup.Rider.Name != after.Setup.Rider.Name:
		c.Why = TwoRiders
	default:
		if err := trim.SameFoil(before.Setup, after.Setup); err != nil {
			c.Why, c.Differ = OtherFoil, err
		}
	}
	if c.Why != "" {
		return c, nil
	}
	both, err := trim.Infer(after.outing, []trim.Outing{before.outing}, trim.InferOptions{})
	if err != nil {
		return nil, err
	}
	c.BeforeAfter = advice.Compare(before.own, after.own, both, false, after.speeds.weights, advice.Options{LawOK: after.own.HasLaw})
	return c, nil
}

// After is the later of two sessions, the last named where they have no date.
func (c *Comparison) After() *Result {
	n := len(c.Results)
	if n == 2 && later(c.Results[0], c.Results[1]) {
		return c.Results[0]
	}
	return c.Results[n-1]
}

// later says whether a began after b; sessions without a date keep their order.
func later(a, b *Result) bool {
	return a.Session.Start != nil && b.Session.Start != nil && a.Session.Start.After(*b.Session.Start)
}

func (o *observation) lawOK() bool { return o.law != nil && o.law.Enough }

// side is what the before-and-after judgement takes of one session.
func (o *observation) side(name string, set *setup.Setup, post *trim.Posterior) advice.Side {
	s := advice.Side{
		Name: name, Setup: set, Posterior: post,
		HasLaw: o.lawOK(), Zero: interval.Unknown(), Slope: interval.Unknown(),
		MeanSpeed: interval.Unknown(), TopSpeed: interval.Unknown(),
	}
	if s.HasLaw {
		s.Zero, s.Slope, s.LevelZero = o.law.Zero, o.law.Slope, o.motion.Mount.LevelZero
		// Two outings have two level zeros, each with its own doubt.
		if se := o.motion.Mount.LevelSE; s.LevelZero && !math.IsNaN(se) {
			s.Zero = interval.Normal(s.Zero.Value, math.Hypot(s.Zero.SD(), se))
		}
	}
	for _, e := range o.effort {
		if e.Tack == "" {
			s.Effort = append(s.Effort, advice.EffortAt{Speed: e.Speed, Rate: e.PitchRate})
		}
	}
	if o.ride != nil && o.ride.Totals.Foiling > 0 {
		if mean := o.ride.Totals.Distance / o.ride.Totals.Foiling; !math.IsNaN(mean) {
			s.MeanSpeed = interval.Normal(mean, meanSpeedSD)
		}
		s.TopSpeed = o.ride.BestSpeeds.TenSeconds
	}
	return s
}

// meanSpeedSD is the doubt of a session's mean speed, m/s: a receiver's
// velocity bias, not its noise, which averages out.
const meanSpeedSD = 0.05

// CanBeEvidence says why an outing with one setup cannot be evidence for
// another; nil when it can.
func CanBeEvidence(earlier, today *setup.Setup) error { return trim.SameFoil(today, earlier) }

// SameRider says whether two setups are of one rider: the same name, and not a
// weight that tells that the name is a family's.
func SameRider(a, b *setup.Setup) bool {
	const grown = 0.1
	return a.Rider.Name == b.Rider.Name && math.Abs(a.Rider.Mass-b.Rider.Mass) <= grown*a.Rider.Mass
}
