package main

import (
	"os"
	"path/filepath"

	"evenfoot/analysis"
)

// beside finds the sessions that count as evidence by themselves among those
// whose folders lie beside the session's own. Folders that --with names are left
// to it. What cannot be read is no evidence; the user is told, for it looks like one.
func (c *console) beside(s *session, with []string) []analysis.Given {
	own, err := filepath.Abs(s.folder)
	if err != nil || s.folder == "" {
		return nil
	}
	entries, err := os.ReadDir(filepath.Dir(own))
	if err != nil {
		return nil // a parent that may not be listed holds no evidence
	}
	var folders []string
	counted := append([]string{own}, with...)
	for _, e := range entries {
		dir := filepath.Join(filepath.Dir(own), e.Name())
		if e.IsDir() && c.apart(append(counted, dir)) == nil {
			folders, counted = append(folders, dir), append(counted, dir)
		}
	}
	earlier, odd := s.Earlier(folders)
	for _, err := range odd {
		c.warn("%v", err)
	}
	return earlier
}
