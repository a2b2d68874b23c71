package analysis

import (
	"fmt"
	"path/filepath"
	"slices"

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

// Completed are the setups of sessions that are compared, the earliest first, nil
// for none, each with the sizes that it leaves out and another of the same rider
// and foil gives.
func Completed(sets []*setup.Setup) []*setup.Setup {
	out := slices.Clone(sets)
	for i, s := range sets {
		if s == nil {
			continue
		}
		others := slices.Clone(sets[:i])
		slices.Reverse(others) // the nearest first
		others = slices.DeleteFunc(append(others, sets[i+1:]...), func(o *setup.Setup) bool {
			return o == nil || !sameAthlete(s, o, len(sets)) || !SameRider(s, o)
		})
		out[i] = trim.Complete(s, others)
	}
	return out
}

// SetupsIn are the setups of sessions in folders, as [Completed] has them; nil where
// there is none, or none that can be read.
func SetupsIn(folders []string) (sets []*setup.Setup) {
	for _, dir := range folders {
		set, _, _ := setup.Load(filepath.Join(dir, ingest.SetupName))
		sets = append(sets, set)
	}
	return Completed(sets)
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
