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
	Why         string              `json:"why"`
}

// Compare sets results side by side, and judges the change where there are
// two sessions of one rider on one foil. The earlier one counts as before.
func Compare(results []*Result) (*Comparison, error) {
	c := &Comparison{Schema: Schema, Results: results}
	if len(results) != 2 {
		c.Why = "A change is judged between two sessions only."
		return c, nil
	}
	before, after := results[0], results[1]
	if later(before, after) {
		before, after = after, before
	}
	switch {
	case before.Setup == nil || after.Setup == nil:
		c.Why = "A change is judged only where both sessions have a setup."
	case before.Setup.Rider.Name != after.Setup.Rider.Name:
		c.Why = "These are two riders, so there is no before and after."
	default:
		if err := trim.SameFoil(before.Setup, after.Setup); err != nil {
			c.Why = "There is no before and after: " + err.Error() + "."
		}
	}
	if c.Why != "" {
		return c, nil
	}
	both, err := trim.Infer(after.outing, []trim.Outing{before.outing}, trim.InferOptions{SpeedText: after.words.SpeedText})
	if err != nil {
		return nil, err
	}
	c.BeforeAfter = advice.Compare(before.side(), after.side(), both, false, after.speeds.weights, after.words)
	return c, nil
}

// later says whether a began after b; sessions without a date keep their order.
func later(a, b *Result) bool {
	return a.Session.Start != nil && b.Session.Start != nil && a.Session.Start.After(*b.Session.Start)
}

func (r *Result) lawOK() bool { return r.Law != nil && r.Law.Enough }

// side is what the before-and-after judgement takes of one session.
func (r *Result) side() advice.Side {
	s := advice.Side{
		Name: r.Session.Title, Setup: r.outing.Setup, Posterior: r.Posterior,
		HasLaw: r.lawOK(), Zero: interval.Unknown(), Slope: interval.Unknown(),
		MeanSpeed: interval.Unknown(), TopSpeed: interval.Unknown(),
	}
	if s.HasLaw {
		s.Zero, s.Slope, s.LevelZero = r.Law.Zero, r.Law.Slope, r.Motion.Mount.LevelZero
		// Two outings have two level zeros, each with its own doubt.
		if se := r.Motion.Mount.LevelSE; s.LevelZero && !math.IsNaN(se) {
			s.Zero = interval.Normal(s.Zero.Value, math.Hypot(s.Zero.SD(), se))
		}
	}
	for _, e := range r.ControlEffort {
		if e.Tack == "" {
			s.Effort = append(s.Effort, advice.EffortAt{Speed: float64(e.Speed), Rate: e.Interval.Scale(degree)})
		}
	}
	if r.Ride != nil && r.Ride.Totals.Foiling > 0 {
		s.MeanSpeed = interval.Normal(r.Ride.Totals.Distance/r.Ride.Totals.Foiling, meanSpeedSD)
		s.TopSpeed = r.Ride.BestSpeeds.TenSeconds
	}
	if math.IsNaN(s.MeanSpeed.Value) {
		s.MeanSpeed = interval.Unknown()
	}
	return s
}

// meanSpeedSD is the doubt of a session's mean speed, m/s: a receiver's
// velocity bias, not its noise, which averages out.
const meanSpeedSD = 0.05

// CanBeEvidence says why an outing with one setup cannot be evidence for
// another; nil when it can.
func CanBeEvidence(earlier, today *setup.Setup) error { return trim.SameFoil(today, earlier) }
