package analysis

import (
	"math"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// Followed says that what changed since the session before is what was advised
// there, and whether it did what was foretold.
type Followed struct {
	Session string              `json:"session"` // the one before
	Verdict string              `json:"verdict"` // of the change
	Judged  *advice.BeforeAfter `json:"-"`
}

// A past is an earlier session as the chain took it.
type past struct {
	Earlier
	seen   *observation
	outing trim.Outing
}

// started is when a log began, s since 1970; NaN without a date.
func (p past) started() float64 {
	if p.Log == nil || p.Log.Start.IsZero() {
		return math.NaN()
	}
	return float64(p.Log.Start.Unix())
}

// last is the latest of the sessions, by date where they have one, else the
// last named; nil for none.
func last(all []past) *past {
	var out *past
	for i := range all {
		if out == nil || !(all[i].started() < out.started()) {
			out = &all[i]
		}
	}
	return out
}

// follow tells whether the rider did since the session before what its own
// sheet advised, nil when not.
func (r *Result) follow(earlier []past) *Followed {
	was := last(earlier)
	if was == nil || was.Setup.Rider.Name != r.Setup.Rider.Name {
		return nil
	}
	var rest []trim.Outing
	for i := range earlier {
		if p := &earlier[i]; p != was && !(p.started() > was.started()) {
			rest = append(rest, p.outing)
		}
	}
	post, err := trim.Infer(was.outing, rest, trim.InferOptions{})
	if err != nil {
		return nil
	}
	weights := r.speeds.weights
	if own, err := speedsThatCount(was.seen, was.Setup, [2]float64{}); err == nil {
		weights = own.weights
	}
	then := advice.Advise(post, was.Setup, weights, advice.Options{LawOK: was.seen.lawOK()})
	if then.Verdict != advice.Change || !did(then, was.Setup, r.Setup) {
		return nil
	}
	judged := advice.Judge(was.seen.side(was.title(), was.outing.Setup, post), r.own, r.Posterior, false, r.speeds.weights)
	return &Followed{Session: was.title(), Verdict: judged.Verdict, Judged: judged}
}

// How near to what was advised a change must come, m: a card's tolerance, and
// what a tape tells of the place of mast and feet.
const (
	shimNear  = 0.15e-3
	placeNear = 6e-3
)

// did says whether the setups differ by the step that was advised: the shim,
// and the feet against the mast, which go back when the mast goes forward.
func did(a *advice.Advice, was, now *setup.Setup) bool {
	near := func(got, want, by float64) bool { return math.Abs(got-want) <= by }
	feet := a.Step.Front - a.Step.Foil
	return near(now.Foil.Stabilizer.Shim-was.Foil.Stabilizer.Shim, float64(a.Shim)*1e-3, shimNear) &&
		near(now.Stance.Front-was.Stance.Front, feet, placeNear) && near(now.Stance.Back-was.Stance.Back, feet, placeNear)
}
