package analysis

import (
	"errors"
	"math"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter"
)

// A Comparison sets sessions side by side.
type Comparison struct {
	Schema   string
	Results  []*Result // as they were given, each with the earlier sessions of its rider and foil as evidence
	Athletes []Athlete // in the order in which they come first among the results
	LeftOut  []LeftOut
}

// A LeftOut is a session that could not be analysed, and is not compared.
type LeftOut struct {
	Title string `json:"session"`
	Why   string `json:"why"`
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

// A Later is a session with the earlier ones of its athlete, and what was
// changed since the last of them.
type Later struct {
	Whole  *Result // with those of the same foil as evidence
	Change Change
}

// Compare sets results side by side, sorted into athletes, and judges what each
// athlete changed from session to session.
func Compare(results []*Result) (*Comparison, error) {
	return CompareBy(results, (*Result).After)
}

// CompareBy is Compare where what [Result.After] tells may be known already. after
// is called from several cores at once.
func CompareBy(results []*Result, after func(r *Result, earlier []*Result) (*Later, error)) (*Comparison, error) {
	c := &Comparison{Schema: Schema, Results: slices.Clone(results)}
	for _, r := range results {
		k := slices.IndexFunc(c.Athletes, func(a Athlete) bool { return sameAthlete(a.Sessions[0].Setup, r.Setup, len(results)) })
		if k < 0 {
			k, c.Athletes = len(c.Athletes), append(c.Athletes, Athlete{})
		}
		a := &c.Athletes[k]
		a.Sessions = placed(a.Sessions, r, later)
	}
	var all [][]*Result // of each that is not its athlete's first, all up to it
	for _, a := range c.Athletes {
		for i := range a.Sessions[1:] {
			all = append(all, a.Sessions[:i+2])
		}
	}
	found, failed := make([]*Later, len(all)), make([]error, len(all))
	filter.Each(len(all), func(i int) {
		last := len(all[i]) - 1
		found[i], failed[i] = after(all[i][last], all[i][:last])
	})
	if err := errors.Join(failed...); err != nil {
		return nil, err
	}
	for k := range c.Athletes {
		a := &c.Athletes[k]
		a.Sessions = slices.Clone(a.Sessions)
		for i := 1; i < len(a.Sessions); i++ {
			c.Results[slices.Index(c.Results, a.Sessions[i])] = found[0].Whole
			a.Sessions[i], a.Changes, found = found[0].Whole, append(a.Changes, found[0].Change), found[1:]
		}
	}
	return c, nil
}

// sameAthlete says whether two of n sessions are of one rider. Riders without a
// name are one where there are two sessions, a before and an after.
func sameAthlete(a, b *setup.Setup, n int) bool {
	return a != nil && b != nil && a.Rider.Name == b.Rider.Name && (n == 2 || a.Rider.Name != "")
}

// After counts the earlier sessions of the athlete in, the last of them last, and
// judges what was changed since that one.
func (r *Result) After(earlier []*Result) (*Later, error) {
	before := earlier[len(earlier)-1]
	ch := Change{Drag: dragChange(before, r), Differ: trim.SameFoil(before.Setup, r.Setup)}
	var hold *advice.Reason
	var both *trim.Posterior
	if ch.Differ == nil {
		var err error
		if both, err = trim.Infer(r.outing, []trim.Outing{before.outing}, trim.Draws); err != nil {
			return nil, err
		}
		ch.Judged = advice.Judge(before.own, r.own, both, r.weights)
		hold = ch.Judged.Hold()
	}
	if len(earlier) > 1 {
		both = nil
	}
	whole, err := r.with(earlier, both, hold)
	if err != nil {
		return nil, err
	}
	if ch.Judged != nil {
		ch.Judged.Next = whole.Advice
	}
	return &Later{whole, ch}, nil
}

// with is a result with those of the earlier ones as evidence that are of the
// same rider and foil, as [Run] takes them. both is the posterior with all the
// earlier ones, nil where it is not known.
func (r *Result) with(earlier []*Result, both *trim.Posterior, hold *advice.Reason) (*Result, error) {
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
	if w.Posterior = both; both == nil {
		var err error
		if w.Posterior, err = trim.Infer(r.outing, outings(earlier), trim.Draws); err != nil {
			return nil, err
		}
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

// placed puts a session in among those in order of time, before the first that is later.
func placed[T any](in []T, x T, later func(a, b T) bool) []T {
	at := slices.IndexFunc(in, func(was T) bool { return later(was, x) })
	if at < 0 {
		at = len(in)
	}
	return slices.Insert(in, at, x)
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
		Setup: r.outing.Setup, Posterior: post, Marked: o.told,
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
	s.Effort = slices.DeleteFunc(slices.Clone(o.effort), func(e pitchlaw.Effort) bool { return e.Tack != "" })
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

// SameRider says whether two setups are of one rider.
func SameRider(a, b *setup.Setup) bool { return trim.SameRider(a, b) }
