package analysis

import (
	"math"
	"slices"

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

// latest is the last of the sessions, by date where they have one, else the last
// named; nil for none.
func latest(all []*Result) (out *Result) {
	for _, r := range all {
		if out == nil || !later(out, r) {
			out = r
		}
	}
	return out
}

// before is those of the sessions that began before today's, and names the
// others. Without a date it goes by what they were given as.
func (r *Result) before(all []*Result) (out []*Result) {
	for _, p := range all {
		if r.Session.Start != nil && p.Session.Start != nil && !later(r, p) {
			r.warn(Note{Kind: NotBefore, Session: p.Session.Title})
			continue
		}
		out = append(out, p)
	}
	return out
}

// follow tells whether the rider did since the session before what its own
// sheet advised, nil when not.
func (r *Result) follow(all []*Result) *Followed {
	earlier := r.before(all)
	was := latest(earlier)
	if was == nil || was.Setup.Rider.Name != r.Setup.Rider.Name {
		return nil
	}
	rest := slices.DeleteFunc(earlier, func(p *Result) bool { return p == was || later(p, was) })
	post, err := trim.Infer(was.outing, outings(rest), trim.Draws)
	if err != nil {
		return nil
	}
	weights := r.weights
	if was.decideSpeeds([2]float64{}) == nil {
		weights = was.weights
	}
	then := advice.Advise(post, was.Setup, weights, advice.Options{LawOK: was.seen.lawOK()})
	if then.Verdict != advice.Change || !did(then, was.Setup, r.Setup) {
		return nil
	}
	judged := advice.Judge(was.side(post), r.own, r.Posterior, r.weights)
	return &Followed{Session: was.Session.Title, Verdict: judged.Verdict, Judged: judged}
}

// How near to what was advised a change must come, m: a card's tolerance, and
// what a tape tells of the place of mast and feet.
const (
	shimNear  = 0.15e-3
	placeNear = 6e-3
	// massNear is what a rider weighs more or less from day to day, kg.
	massNear = 0.5
)

// did says whether the setups differ by the step that was advised and by
// nothing else that the load depends on: the shim, and the feet against the
// mast, which go back when the mast goes forward. Board and rig go with them,
// whether or not the rider has measured them anew.
func did(a *advice.Advice, was, now *setup.Setup) bool {
	near := func(got, want, by float64) bool { return math.Abs(got-want) <= by }
	feet := a.Step.Front - a.Step.Foil
	foil := was.Foil
	foil.Stabilizer.Shim, foil.Finish = now.Foil.Stabilizer.Shim, now.Foil.Finish
	if foil != now.Foil || was.Rider.Level != now.Rider.Level || !near(now.Rider.Mass, was.Rider.Mass, massNear) ||
		was.Rig.Kind != now.Rig.Kind || was.Rig.LiftFraction != now.Rig.LiftFraction ||
		was.Board.Mass != now.Board.Mass || was.Board.DeckHeight != now.Board.DeckHeight {
		return false
	}
	for _, moved := range []float64{now.Board.CG - was.Board.CG, now.Rig.MastFoot - was.Rig.MastFoot} {
		if !near(moved, 0, placeNear) && !near(moved, -a.Step.Foil, placeNear) {
			return false
		}
	}
	return near(now.Foil.Stabilizer.Shim-was.Foil.Stabilizer.Shim, float64(a.Shim)*1e-3, shimNear) &&
		near(now.Stance.Front-was.Stance.Front, feet, placeNear) && near(now.Stance.Back-was.Stance.Back, feet, placeNear)
}
