package analysis

import (
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
)

// A Given is one session as it lies on a disk.
type Given struct {
	Name  string       // for messages and titles
	Log   *ingest.Log  // nil without one: a setup with notes of feel is evidence too
	Setup *setup.Setup // nil without one
	Odd   []string     // warnings of the setup
	Seen  *Result      // of this log and setup, as in [Request]; may be nil
}

// What may be wrong with sessions: a setup.Trouble's kinds.
const (
	EmptyFolder = "neither log nor setup" // the folder
	NoEvidence  = "no evidence"           // a session given as earlier, and why not
	NotCounted  = "not counted"           // a session of the same rider and foil, and why not
)

// Open reads the session in a folder: its logs and its setup.
func Open(dir string, opt ingest.Options) (*Given, error) {
	g := &Given{Name: filepath.Base(dir)}
	found, err := ingest.Folder(dir)
	if err != nil {
		return nil, err
	}
	if len(found.Logs) == 0 && found.Aside.Kind == "" && found.Setup == "" {
		return nil, &setup.Trouble{Kind: EmptyFolder, Text: []string{g.Name}}
	}
	if found.Setup != "" {
		if g.Setup, g.Odd, err = setup.Load(found.Setup); err != nil {
			return nil, err
		}
	}
	logs, err := found.Open(opt)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", g.Name, err)
	}
	if len(logs) > 0 {
		g.Log, err = ingest.Merge(logs)
	}
	return g, err
}

// Earlier are the sessions in folders that count as evidence by themselves: of
// the same rider on the same foil, and over before this one began. Setups are
// looked at first, since they cost little; odd says which of them could not be
// read, for they look like evidence.
func (g *Given) Earlier(folders []string) (out []Given, odd []error) {
	if g.Setup == nil || g.Log == nil || g.Log.Start.IsZero() {
		return nil, nil
	}
	for _, dir := range folders {
		set, _, err := setup.Load(filepath.Join(dir, ingest.SetupName))
		if err != nil || !SameRider(set, g.Setup) || trim.SameFoil(g.Setup, set) != nil {
			continue
		}
		was, err := Open(dir, ingest.Options{})
		switch {
		case err != nil:
			odd = append(odd, &setup.Trouble{Kind: NotCounted, Text: []string{filepath.Base(dir)}, Err: err})
		case was.Log != nil && !was.Log.Start.IsZero() && was.Log.End().Before(g.Log.Start):
			out = append(out, *was)
		}
	}
	return out, odd
}

// Completed are the setups of sessions that are compared, nil for none, each with the
// sizes that it leaves out and another of the same rider and foil gives.
func Completed(all []Given) []*setup.Setup {
	return completed(all, func(a, b *setup.Setup) bool { return sameAthlete(a, b, len(all)) && SameRider(a, b) })
}

// completed are the sessions' setups, each with the sizes that it leaves out as the
// nearest earlier session that may give them does, else the nearest later one.
func completed(all []Given, may func(a, b *setup.Setup) bool) []*setup.Setup {
	var order []int
	for i := range all {
		order = placed(order, i, func(a, b int) bool { return startsAfter(all[a], all[b]) })
	}
	out := make([]*setup.Setup, len(all))
	for at, i := range order {
		s := all[i].Setup
		if s == nil {
			continue
		}
		near := slices.Clone(order[:at])
		slices.Reverse(near)
		var others []*setup.Setup
		for _, k := range append(near, order[at+1:]...) {
			if o := all[k].Setup; o != nil && may(s, o) {
				others = append(others, o)
			}
		}
		out[i] = trim.Complete(s, others)
	}
	return out
}

// start is zero where no log tells it.
func (g *Given) start() time.Time {
	if g.Log == nil {
		return time.Time{}
	}
	return g.Log.Start
}

// startsAfter says whether a began after b; sessions without a date keep their order.
func startsAfter(a, b Given) bool {
	return !a.start().IsZero() && !b.start().IsZero() && a.start().After(b.start())
}

// SetupsIn are the setups of sessions in folders, as [Completed] has them; nil where
// there is none, or none that can be read.
func SetupsIn(folders []string) []*setup.Setup {
	all := make([]Given, len(folders))
	for i, dir := range folders {
		all[i].Setup, _, _ = setup.Load(filepath.Join(dir, ingest.SetupName))
	}
	sets := Completed(all)
	takes := func(s *setup.Setup) bool { return s != nil && len(s.Taken) > 0 }
	if len(sets) < 3 || !slices.ContainsFunc(sets, takes) {
		return sets // the same in any order
	}
	for i, dir := range folders { // one log at a time: several need much memory
		if g, err := Open(dir, ingest.Options{}); err == nil {
			all[i].Log = &ingest.Log{Start: g.start()}
		}
	}
	return Completed(all)
}

// Analyse runs the request on this session.
func (g *Given) Analyse(req Request) (*Result, error) {
	req.Log, req.Setup = g.Log, g.Setup
	r, err := Run(req)
	if err == nil && r.Session.Title == "" {
		r.Session.Title = g.Name
	}
	return r, err
}
