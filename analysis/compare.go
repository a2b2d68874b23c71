package analysis

import (
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// A Comparison sets sessions side by side.
type Comparison struct {
	Schema   string
	Results  []*Result // as they were given, each with the earlier sessions of its rider and foil as evidence
	Athletes []Athlete // in the order in which they come first among the results
}

// An Athlete is one rider's sessions in order of time.
type Athlete struct {
	Sessions []*Result
	Changes  []Change // from each session to the next
}

// Last is the athlete's latest session.
func (a Athlete) Last() *Result { return a.Sessions[len(a.Sessions)-1] }

// A Change is what was changed from one session to the next.
type Change struct {
	Judged *advice.BeforeAfter // by both sessions' own logs and notes; nil where Differ says why
	Differ error               // of another foil
	Drag   *DragChange         // nil unless both have glides
}

// Compare sets results side by side, sorted into athletes, and judges what each
// athlete changed from session to session.
func Compare(results []*Result) (*Comparison, error) {
	c := &Comparison{Schema: Schema, Results: slices.Clone(results)}
	for _, r := range results {
		k := slices.IndexFunc(c.Athletes, func(a Athlete) bool { return sameAthlete(a.Sessions[0], r, len(results)) })
		if k < 0 {
			k, c.Athletes = len(c.Athletes), append(c.Athletes, Athlete{})
		}
		a := &c.Athletes[k]
		at := slices.IndexFunc(a.Sessions, func(was *Result) bool { return later(was, r) })
		if at < 0 {
			at = len(a.Sessions)
		}
		a.Sessions = slices.Insert(a.Sessions, at, r)
	}
	for k := range c.Athletes {
		if err := c.Athletes[k].judge(c.Results); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// sameAthlete says whether two of n sessions are of one rider. Riders without a
// name are one where there are two sessions, a before and an after.
func sameAthlete(a, b *Result, n int) bool {
	if a.Setup == nil || b.Setup == nil {
		return false
	}
	return a.Setup.Rider.Name == b.Setup.Rider.Name && (n == 2 || a.Setup.Rider.Name != "")
}

// judge judges the athlete's changes and counts earlier sessions in, in the
// results too.
func (a *Athlete) judge(results []*Result) error {
	own := slices.Clone(a.Sessions)
	for i := 1; i < len(own); i++ {
		before, after := own[i-1], own[i]
		ch := Change{Drag: dragChange(before, after), Differ: trim.SameFoil(before.Setup, after.Setup)}
		var hold *advice.Reason
		if ch.Differ == nil {
			both, err := trim.Infer(after.outing, outings(own[i-1:i]), trim.InferOptions{})
			if err != nil {
				return err
			}
			ch.Judged = advice.Judge(before.own, after.own, both, after.speeds.weights)
			hold = ch.Judged.Hold()
		}
		whole, err := after.with(own[:i], hold)
		if err != nil {
			return err
		}
		if ch.Judged != nil {
			ch.Judged.Next = whole.Advice
		}
		a.Changes = append(a.Changes, ch)
		results[slices.Index(results, after)], a.Sessions[i] = whole, whole
	}
	return nil
}

// with is a result with those of the earlier ones as evidence that are of the
// same rider and foil, as [Run] takes them.
func (r *Result) with(earlier []*Result, hold *advice.Reason) (*Result, error) {
	w := *r
	w.Session.Earlier = nil
	earlier = slices.DeleteFunc(slices.Clone(earlier), func(e *Result) bool {
		return !SameRider(e.Setup, r.Setup) || trim.SameFoil(r.Setup, e.Setup) != nil
	})
	if len(earlier) == 0 {
		return r, nil
	}
	for _, e := range earlier {
		w.Session.Earlier = append(w.Session.Earlier, e.Session.Title)
	}
	var err error
	if w.Posterior, err = trim.Infer(r.outing, outings(earlier), trim.InferOptions{}); err != nil {
		return nil, err
	}
	w.Session.Warnings = slices.DeleteFunc(slices.Clone(r.Session.Warnings), func(f Finding) bool {
		switch f.(type) {
		case trim.LeftOut, trim.Conflict: // which are told anew
			return true
		}
		return false
	})
	w.FootLoad, w.Assumptions = nil, nil
	w.advise(nil, hold)
	if w.Pace != nil { // the one without evidence stays as it is
		p := *w.Pace
		w.Pace = &p
	}
	w.conclude()
	return &w, nil
}

// later says whether a began after b; sessions without a date keep their order.
func later(a, b *Result) bool {
	return a.Session.Start != nil && b.Session.Start != nil && a.Session.Start.After(*b.Session.Start)
}

func (o *observation) lawOK() bool { return o.law != nil && o.law.Enough }

// meanSpeedSD is the doubt of a session's mean speed, m/s: a receiver's
// velocity bias, not its noise, which averages out.
const meanSpeedSD = 0.05

// side is what the before-and-after judgement takes of a session.
func (r *Result) side(post *trim.Posterior) advice.Side {
	o := r.seen
	s := advice.Side{
		Setup: r.outing.Setup, Posterior: post, Marked: r.outing.Ev,
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

// CanBeEvidence says why an outing with one setup cannot be evidence for
// another; nil when it can.
func CanBeEvidence(earlier, today *setup.Setup) error { return trim.SameFoil(today, earlier) }

// SameRider says whether two setups are of one rider: the same name, and not a
// weight that tells that the name is a family's.
func SameRider(a, b *setup.Setup) bool {
	const grown = 0.1
	return a.Rider.Name == b.Rider.Name && math.Abs(a.Rider.Mass-b.Rider.Mass) <= grown*a.Rider.Mass
}
