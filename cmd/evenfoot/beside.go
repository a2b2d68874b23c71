package main

import (
	"os"
	"path/filepath"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
)

// beside finds the sessions that count as evidence by themselves: those of the
// same rider on the same foil whose folders lie beside the session's own, and
// that were over before it began. Folders that --with names are left to it. What
// cannot be read is no evidence; the user is told, for it looks like one.
func (c *console) beside(s *session, with []string) []analysis.Earlier {
	if s.folder == "" || s.setup == nil || s.log == nil || s.log.Start.IsZero() {
		return nil
	}
	own, err := filepath.Abs(s.folder)
	if err != nil {
		return nil
	}
	entries, err := os.ReadDir(filepath.Dir(own))
	if err != nil {
		return nil // a parent that may not be listed holds no evidence
	}
	var out []analysis.Earlier
	for _, e := range entries {
		dir := filepath.Join(filepath.Dir(own), e.Name())
		if !e.IsDir() || apart(append([]string{own, dir}, with...)) != nil || !c.sameRiderAndFoil(s.setup, dir) {
			continue
		}
		was, err := readSession([]string{dir}, sources{})
		if err != nil {
			c.warn("%s lies beside and is of the same rider and foil, but does not count: %v", e.Name(), err)
			continue
		}
		if was.log != nil && !was.log.Start.IsZero() && was.log.End().Before(s.log.Start) {
			out = append(out, analysis.Earlier{Name: baseName(dir), Log: was.log, Setup: was.setup})
		}
	}
	return out
}

// sameRiderAndFoil looks at a folder's setup alone, which costs little.
func (c *console) sameRiderAndFoil(today *setup.Setup, dir string) bool {
	path := filepath.Join(dir, ingest.SetupName)
	if _, err := os.Stat(path); err != nil {
		return false
	}
	was, _, err := setup.Load(path)
	return err == nil && analysis.SameRider(was, today) && analysis.CanBeEvidence(was, today) == nil
}
