// Package analysis runs the whole chain from a log and a setup to a [Result];
// [Run] reads as its table of contents.
//
// It imports ingest, filter and the packages below it.
package analysis

import (
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
	Earlier []Earlier // sessions on the same foil, taken as evidence
	// Range is the speeds that matter most, m/s; zero takes what was ridden.
	Range [2]float64
	// Other is another rider on the same foil: Setup with the rider exchanged.
	Other *setup.Setup
	// Progress, when not nil, is told what is being done.
	Progress func(stage string)
}

// Earlier is one earlier session on the same foil.
type Earlier struct {
	Name  string
	Log   *ingest.Log // may be nil: a setup with notes of feel is evidence too
	Setup *setup.Setup
	Seen  *Result // of this log and setup, as in Request; may be nil
}

// title is what a reader knows the session by.
func (e Earlier) title() string {
	if e.Setup != nil && e.Setup.Title != "" {
		return e.Setup.Title
	}
	return baseName(e.Name)
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
	r := newResult(req.Setup)
	r.Other, r.Session.Earlier = req.Other, []string{}
	seen := observed(req.Seen, req.Log, req.Setup, req.Progress)
	r.seen = seen
	if seen.misfit != nil {
		return nil, seen.misfit
	}
	seen.describe(r)
	if req.Setup == nil {
		r.warn(Note{Kind: NoSetup})
		return r, nil
	}

	speeds, err := speedsThatCount(seen, req.Setup, req.Range)
	if err != nil {
		return nil, err
	}
	r.SpeedHistogram, r.RangeLow, r.RangeHigh = speeds.bins, speeds.low, speeds.high

	today, strays := outing(req.Setup, seen)
	copy(r.Marks, seen.marks) // with their speeds, and the odd ones out
	for _, n := range strays {
		r.warn(n)
	}
	if err := req.flies(today.In, speeds); err != nil {
		return nil, err
	}
	r.outing, r.speeds = today, speeds
	if len(seen.parts) > 1 {
		seen.describeParts(r)
		r.warn(Note{Kind: FromTheStart})
	}
	if speeds.cut {
		r.warn(Note{Kind: RangeCut, Range: &req.Range, Ridden: &[2]float64{speeds.low, speeds.high}})
	}
	var earlier []past
	var evidence []trim.Outing
	for _, e := range req.Earlier {
		if err := trim.SameFoil(req.Setup, e.Setup); err != nil {
			return nil, &setup.Trouble{Kind: NoEvidence, Text: []string{e.Name}, Err: err}
		}
		was := observed(e.Seen, e.Log, e.Setup, req.Progress)
		if was.misfit != nil {
			return nil, was.misfit
		}
		for _, w := range was.warnings {
			r.warn(Note{Kind: InEarlier, Session: baseName(e.Name), Of: w})
		}
		then, strays := outing(e.Setup, was)
		for _, n := range strays {
			r.warn(Note{Kind: InEarlier, Session: baseName(e.Name), Of: n})
		}
		earlier = append(earlier, past{e, was, then})
		evidence = append(evidence, then)
		r.Session.Earlier = append(r.Session.Earlier, e.title())
	}
	req.Progress("inferring the foil")
	if r.Posterior, err = trim.Infer(today, evidence, trim.InferOptions{}); err != nil {
		return nil, err
	}

	r.direction(today, evidence)
	r.loadJump(today, evidence)

	req.Progress("weighing the options")
	r.own = seen.side(r.Session.Title, today, r.Posterior)
	var hold *advice.Reason
	if r.Followed = r.follow(earlier); r.Followed != nil {
		hold = Change{Judged: r.Followed.Judged}.hold()
	}
	r.advise(req.Other, hold)
	r.ask()
	r.glided = seen.drag
	r.conclude()
	return r, nil
}

// conclude tells what follows from the posterior and the advice.
func (r *Result) conclude() {
	r.load()
	r.slow()
	r.topLoad()
	low, high := r.speeds.low, r.speeds.high
	r.Finish = finish.Advise(r.Posterior.Base, r.Setup.Foil.Finish, low, (low+high)/2, high)
	r.Balance()
}

// observed is what a log shows, from an earlier result where there is one.
func observed(r *Result, log *ingest.Log, s *setup.Setup, progress func(string)) *observation {
	if r != nil && r.seen != nil {
		return r.seen
	}
	return observe(log, s, progress)
}

// flies refuses speeds at which the setup's wing cannot carry its load: what
// a log shows there is taxiing, or the setup is of another foil.
func (req *Request) flies(in trim.Inputs, speeds speedRange) error {
	slowest := trim.NewFoil(in).SlowestFlight()
	if speeds.high >= slowest {
		return nil
	}
	return &SpeedError{Asked: req.Range, Known: [2]float64{speeds.low, speeds.high}, Slowest: slowest, WingArea: in.WingArea, Mass: in.RiderMass + in.BoardMass}
}

// outing is one session as the inference takes it: without the notes of feel
// at speeds that its log never shows.
func outing(s *setup.Setup, seen *observation) (o trim.Outing, strays []StrayNote) {
	counted := *s
	counted.Feel, strays = seen.countingNotes(s.Feel)
	if _, _, flown := seen.flown(); !flown {
		strays = oddNotes(s)
	}
	o = trim.Outing{Setup: &counted, In: trimInputs(s)}
	o.Ev = seen.evidence()
	o.Ev.Feel = counted.Feel
	return o, strays
}
