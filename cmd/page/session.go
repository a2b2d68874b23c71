//go:build js

package main

import (
	"errors"
	"fmt"
	"path"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report/words"
)

// A session is a folder with logs and a setup, as the command takes it.
type session struct {
	name  string
	log   *ingest.Log
	setup *setup.Setup
	odd   []string // warnings of the setup
}

func open(dir string) (*session, error) {
	s := &session{name: path.Base(dir)}
	found, err := ingest.Folder(dir)
	if err != nil {
		return nil, err
	}
	if len(found.Logs) == 0 && found.Aside.Kind == "" && found.Setup == "" {
		return nil, fmt.Errorf("%s holds no log and no setup", s.name)
	}
	if found.Setup != "" {
		if s.setup, s.odd, err = setup.Load(found.Setup); err != nil {
			return nil, err
		}
	}
	logs, err := found.Open(ingest.Options{})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name, err)
	}
	if len(logs) > 0 {
		s.log, err = ingest.Merge(logs)
	}
	return s, err
}

func (s *session) analyse(req analysis.Request, u words.Units) (*analysis.Result, error) {
	req.Log, req.Setup = s.log, s.setup
	r, err := analysis.Run(req)
	var slow *analysis.SpeedError
	if errors.As(err, &slow) {
		err = errors.New(u.SpeedError(slow))
	}
	if err == nil && r.Session.Title == "" {
		r.Session.Title = s.name
	}
	return r, err
}

// evidence are the sessions among the folders that count by themselves: of the
// same rider on the same foil, and over before this one began.
func (s *session) evidence(folders []string) (out []analysis.Earlier, warnings []string, err error) {
	if s.setup == nil || s.log == nil || s.log.Start.IsZero() {
		return nil, nil, nil
	}
	for _, dir := range folders {
		was, _, err := setup.Load(path.Join(dir, ingest.SetupName))
		if err != nil || !analysis.SameRider(was, s.setup) || analysis.CanBeEvidence(was, s.setup) != nil {
			continue
		}
		e, err := open(dir)
		if err != nil {
			warnings = append(warnings, fmt.Sprintf("%s is of the same rider and foil, but does not count: %v", path.Base(dir), err))
			continue
		}
		if e.log != nil && !e.log.Start.IsZero() && e.log.End().Before(s.log.Start) {
			out = append(out, analysis.Earlier{Name: e.name, Log: e.log, Setup: e.setup})
		}
	}
	return out, warnings, nil
}
