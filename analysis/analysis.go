// Package analysis runs the whole chain from a log and a setup to a [Result];
// [Run] reads as its table of contents.
//
// It imports ingest, filter and the packages below it.
package analysis

import (
	"cmp"
	"slices"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/finish"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
)

// A Request is what to analyse. Everything but one of Log and Setup may be
// left out; the result then says what the missing part would add.
type Request struct {
	// Log is nil for an analysis without one. Its clocks are tied and its
	// samples thinned on the way, so that it serves nothing else after.
	Log   *ingest.Log
	Setup *setup.Setup // nil without one
	// Seen, when not nil, is a result of the same log and setup: what the log
	// shows is taken from it and not worked out again.
	Seen    *Result
	Earlier []Given // sessions on the same foil, taken as evidence
	// Range is the speeds that matter most, m/s; zero takes what was ridden.
	Range [2]float64
	// Other is another rider on the same foil: Setup with the rider exchanged.
	Other *setup.Setup
	// Progress, when not nil, is told what is being done.
	Progress func(stage string)
}

// ErrNothing says that neither a log nor a setup was given.
var ErrNothing = &setup.Trouble{Kind: "nothing to analyse"}

// Run analyses one session: log → clock → attitude → rides → pitch law →
// posterior → advice.
func Run(req Request) (*Result, error) {
	if req.Log == nil && req.Setup == nil {
		return nil, ErrNothing
	}
	if req.Progress == nil {
		req.Progress = func(string) {}
	}
	req.complete()
	r, err := begin(Given{Log: req.Log, Setup: req.Setup, Seen: req.Seen}, req.Progress)
	if err != nil {
		return nil, err
	}
	seen := r.seen
	r.Other = req.Other
	seen.describe(r)
	if req.Setup == nil {
		r.warn(Note{Kind: NoSetup})
		return r, nil
	}
	if err := r.decideSpeeds(req.Range); err != nil {
		return nil, err
	}
	r.warn(r.outingOf(seen)...)
	if slowest := trim.NewFoil(r.outing.In).SlowestFlight(); r.RangeHigh < slowest {
		// What the log shows there is taxiing, or the setup is of another foil.
		return nil, &SpeedError{Asked: req.Range, Known: [2]float64{r.RangeLow, r.RangeHigh}, Slowest: slowest,
			WingArea: r.outing.In.WingArea, Mass: r.outing.In.RiderMass + r.outing.In.BoardMass}
	}
	if len(seen.parts) > 1 {
		seen.describeParts(r)
		r.warn(Note{Kind: FromTheStart})
	}
	if r.cut {
		r.warn(Note{Kind: RangeCut, Range: &req.Range, Ridden: &[2]float64{r.RangeLow, r.RangeHigh}})
	}
	earlier, err := r.readEarlier(req)
	if err != nil {
		return nil, err
	}
	evidence := outings(earlier)
	req.Progress("inferring the foil")
	if r.Posterior, err = trim.Infer(r.outing, evidence, trim.Draws); err != nil {
		return nil, err
	}
	r.direction()
	r.loadJump(evidence)

	req.Progress("weighing the options")
	r.own = r.side(r.Posterior)
	var hold *advice.Reason
	if r.Followed = r.follow(earlier); r.Followed != nil {
		hold = r.Followed.Judged.Hold()
	}
	r.advise(req.Other, hold)
	r.ask()
	r.glided = seen.drag
	r.conclude()
	return r, nil
}

// complete puts the earlier sessions in order of time, and gives each session the
// sizes that it leaves out and another of the same foil gives.
func (req *Request) complete() {
	if req.Setup == nil {
		return
	}
	var earlier []Given // in order of time, as a comparison counts them in
	for _, e := range req.Earlier {
		earlier = placed(earlier, e, startsAfter)
	}
	req.Earlier = earlier
	all := append(slices.Clone(req.Earlier), Given{Log: req.Log, Setup: req.Setup})
	sets := completed(all, func(_, _ *setup.Setup) bool { return true })
	for i := range req.Earlier {
		req.Earlier[i].Setup = sets[i]
	}
	req.Setup = sets[len(sets)-1]
	if req.Other == nil {
		return
	}
	for _, key := range req.Setup.Taken {
		req.Other = req.Other.With(setup.KeyNamed(key), req.Setup)
	}
}

// begin is a session as far as its log alone shows it.
func begin(g Given, progress func(stage string)) (*Result, error) {
	r := newResult(g.Setup)
	if g.Log != nil && !g.Log.Start.IsZero() {
		t := g.Log.Start.UTC()
		r.Session.Start = &t
	}
	if g.Seen != nil && g.Seen.seen != nil {
		r.seen = g.Seen.seen
	} else {
		r.seen = observe(g.Log, g.Setup, progress)
	}
	return r, r.seen.misfit
}

// readEarlier are the earlier sessions, with what they give to tell among the
// session's own warnings.
func (r *Result) readEarlier(req Request) (earlier []*Result, err error) {
	for _, e := range req.Earlier {
		if err := trim.SameFoil(req.Setup, e.Setup); err != nil {
			return nil, &setup.Trouble{Kind: NoEvidence, Text: []string{e.Name}, Err: err}
		}
		was, err := begin(e, req.Progress)
		if err != nil {
			return nil, err
		}
		name := baseName(e.Name)
		for _, w := range append(slices.Clone(was.seen.warnings), was.outingOf(was.seen)...) {
			r.warn(Note{Kind: InEarlier, Session: name, Of: w})
		}
		was.Session.Title = cmp.Or(was.Session.Title, name)
		r.Session.Earlier = append(r.Session.Earlier, was.Session.Title)
		earlier = append(earlier, was)
	}
	return earlier, nil
}

// outings are the sessions as the inference takes them.
func outings(of []*Result) (out []trim.Outing) {
	for _, r := range of {
		out = append(out, r.outing)
	}
	return out
}

// conclude tells what follows from the posterior and the advice.
func (r *Result) conclude() {
	r.load()
	r.slow()
	r.topLoad()
	low, high := r.RangeLow, r.RangeHigh
	r.Finish = finish.Advise(r.Posterior.Base, r.Setup.Foil.Finish, low, (low+high)/2, high)
	r.Balance()
}

// outingOf makes the session what the inference takes: without the notes of feel
// at speeds that its log never shows, which are handed back with what else is to tell.
func (r *Result) outingOf(seen *observation) []Finding {
	counted := *r.Setup
	var told []Finding
	counted.Feel, told = seen.countingNotes(r.Setup)
	if len(r.Setup.Taken) > 0 {
		told = append(told, Note{Kind: SizesTaken, Keys: r.Setup.Taken})
	}
	r.outing = trim.Outing{Setup: &counted, In: trimInputs(r.Setup), Ev: seen.evidence()}
	r.outing.Ev.Feel = counted.Feel
	return told
}
