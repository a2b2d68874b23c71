package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/filter"
	"evenfoot/ingest"
	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
	"evenfoot/report/words"
)

// A session is one outing as the user names it: a folder, or log files that
// belong together, and a setup.
type session struct {
	analysis.Given
	dir    string // where a report belongs
	folder string // that the session was named by, "" for log files
}

// sources are the command-line flags that say where a session comes from.
type sources struct {
	setup, columnMap string
	outing           int
}

const (
	mapHelp    = "column map `file` for a CSV with other column names"
	outingHelp = "which outing of a log that holds several, from 1 (default the one with the most samples)"
)

func (s *sources) add(fl *pflag.FlagSet, setupHelp string) {
	fl.StringVar(&s.setup, "setup", "", setupHelp)
	fl.StringVar(&s.columnMap, "map", "", mapHelp)
	fl.IntVar(&s.outing, "outing", 0, outingHelp)
}

// open reads a session and warns of what is odd in its setup.
func (c *console) open(args []string, src sources) (*session, error) {
	s, err := readSession(args, src)
	if err != nil {
		return nil, err
	}
	for _, w := range s.Odd {
		c.warn("%s", w)
	}
	return s, nil
}

// readSession reads a session: log files, each of which must be one, or a
// folder, in which other files lie too. A folder brings its own setup.toml
// unless --setup names another.
func readSession(args []string, src sources) (*session, error) {
	s := &session{dir: "."}
	if len(args) > 0 {
		s.Name = baseName(args[0])
	}
	var folder *ingest.Found
	for _, a := range args {
		info, err := os.Stat(a)
		switch {
		case err != nil:
			return nil, fmt.Errorf("%s cannot be opened: %w", a, ingest.Cause(err))
		case !info.IsDir():
			continue
		case len(args) > 1:
			return nil, usagef("%s is a folder; a session is one folder, or log files that belong together", a)
		}
		found, err := ingest.Folder(a)
		if err != nil {
			return nil, err
		}
		folder, s.dir, s.folder = &found, a, a
		src.setup = cmp.Or(src.setup, found.Setup)
		if len(found.Logs) == 0 && found.Aside.Kind == "" && src.setup == "" {
			return nil, fmt.Errorf("%s holds no log and no setup.toml", a)
		}
	}
	var err error
	if src.setup != "" {
		if s.Setup, s.Odd, err = setup.Load(src.setup); err != nil {
			return nil, err
		}
	}
	opt, err := readOptions(src)
	if err != nil {
		return nil, err
	}
	var logs []*ingest.Log
	if folder == nil {
		var errs []error
		logs, errs = ingest.OpenAll(args, opt)
		err = cmp.Or(errs...)
	} else if logs, err = folder.Open(opt); err != nil {
		err = fmt.Errorf("%s: %w", s.dir, err)
	}
	if err = whichOuting(err, src.outing, logs); err == nil && len(logs) > 0 {
		s.Log, err = ingest.Merge(logs)
	}
	return s, err
}

// whichOuting refuses the number of an outing that none of the logs holds; where
// they hold several, by the list of them.
func whichOuting(err error, asked int, logs []*ingest.Log) error {
	var no *ingest.OutingError
	several := func(l *ingest.Log) bool {
		return slices.ContainsFunc(l.Warnings, func(w ingest.Warning) bool { return w.Kind == raw.Outings })
	}
	switch {
	case errors.As(err, &no):
		return usagef("%s", words.Units{}.NoOuting(no))
	case err == nil && asked > 1 && !slices.ContainsFunc(logs, several):
		return usagef("--outing %d: there is only one outing", asked)
	}
	return err
}

// baseName is the last part of a path, of "." too: where a session lies is
// nobody's business.
func baseName(path string) string {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	return filepath.Base(path)
}

// apart refuses sessions that are named twice, or hold a log that another holds
// under whatever name: evidence counts once.
func (c *console) apart(paths []string) error {
	var seen []os.FileInfo
	first := map[string]string{} // log by its content → where it was met
	for i, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			return fmt.Errorf("%s cannot be opened: %w", p, ingest.Cause(err))
		}
		for k, other := range seen {
			if os.SameFile(info, other) {
				return usagef("%s and %s are the same; a session counts only once", paths[k], paths[i])
			}
		}
		seen = append(seen, info)
	}
	if len(paths) < 2 {
		return nil
	}
	for _, p := range paths {
		contents, err := c.contents(p)
		if err != nil {
			return err
		}
		for _, h := range contents {
			if was := first[h]; was != "" && was != p {
				return usagef("%s and %s hold the very same log; an outing counts only once", was, p)
			}
			first[h] = p
		}
	}
	return nil
}

// contents tells the logs of a session apart from all others.
func (c *console) contents(path string) ([]string, error) {
	if known, ok := c.known[path]; ok {
		return known, nil
	}
	logs := []string{path}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		found, err := ingest.Folder(path)
		if err != nil {
			return nil, err
		}
		logs = found.Logs
	}
	var out []string
	for _, l := range logs {
		h, err := ingest.Content(l)
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	if c.known == nil {
		c.known = map[string][]string{}
	}
	c.known[path] = out
	return out, nil
}

func readOptions(src sources) (opt ingest.Options, err error) {
	if src.outing < 0 {
		return opt, usagef("--outing %d: outings are counted from 1", src.outing)
	}
	opt.Outing = src.outing
	if src.columnMap != "" {
		if opt.Map, err = csv.ReadMap(src.columnMap); err != nil {
			err = usageError{err}
		}
	}
	return opt, err
}

// analyse runs one session with what the command line adds to it, shows how it
// goes on, and warns of what it found.
func (c *console) analyse(s *session, req analysis.Request, u words.Units) (*analysis.Result, error) {
	progress := c.newProgress()
	req.Progress = progress.stage
	r, err := s.analyse(req, u)
	progress.done()
	if err == nil {
		c.tellWarnings(r, u)
	}
	return r, err
}

func (c *console) tellWarnings(r *analysis.Result, u words.Units) {
	for _, w := range r.Session.Warnings {
		c.found(w, u.Say(w))
	}
}

// found tells what was found, as a warning where it is one.
func (c *console) found(f analysis.Finding, says string) {
	if words.Remark(f) {
		fmt.Fprint(c.err, wrapped("evenfoot: "+says+"\n"))
	} else {
		c.warn("%s", says)
	}
}

// analyse runs a session, and says in the reader's units why it cannot.
func (s *session) analyse(req analysis.Request, u words.Units) (*analysis.Result, error) {
	r, err := s.Analyse(req)
	var slow *analysis.SpeedError
	if errors.Is(err, analysis.ErrNothing) || errors.As(err, &slow) && (req.Range[1] > 0 || slow.Why == analysis.NoLog) {
		return nil, usageError{u.Explain(err)}
	}
	return r, u.Explain(err)
}

// each does work 0 to n-1 on all cores and returns the first error in order.
func each(n int, work func(i int) error) error {
	errs := make([]error, n)
	filter.Each(n, func(i int) { errs[i] = work(i) })
	return cmp.Or(errs...)
}

// parseRange reads speeds such as 18:26kn; without a unit they are in the
// unit that the words use.
func parseRange(text, unit string) (r [2]float64, err error) {
	if text == "" {
		return r, nil
	}
	number, u := text, words.Units{Speed: unit}
	for _, x := range words.SpeedUnits {
		for _, ending := range []string{x.Key, x.Name} {
			if rest, ok := strings.CutSuffix(text, ending); ok {
				number, u.Speed = rest, x.Key
			}
		}
	}
	low, high, ok := strings.Cut(number, ":")
	if !ok {
		return r, usagef("--range %q is not two speeds, low and high, for example 18:26kn", text)
	}
	if r, err = u.ParseRange(low, high); err != nil {
		return r, usagef("--range %q: %v; for example 18:26kn", text, err)
	}
	return r, nil
}
