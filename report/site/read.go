package site

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/ingest/csv"
)

// label makes a name from outside fit to show: no control or direction marks,
// not long. It is never used as a path.
func label(name string) string {
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, name)
	if r := []rune(name); len(r) > 120 {
		// The ending tells the kind of a file.
		name = string(r[:100]) + "…" + string(r[len(r)-19:])
	}
	return strings.TrimSpace(name)
}

func fileLabel(name string) string {
	if name = label(name[strings.LastIndexAny(name, `/\`)+1:]); name == "" {
		return "unnamed"
	}
	return name
}

// valuesMost bounds the values of one log, so that several may be in memory at a
// time: twelve hours at 200 Hz.
const valuesMost = 75e6

// mapEnding is how the name of a column map ends.
const mapEnding = ".map.toml"

// pastedMap is the label of a column map that came as text.
const pastedMap = "pasted" + mapEnding

// A source is a stored file and where its bytes are.
type source struct {
	stored
	at string
}

func (s *session) sources() []source {
	out := make([]source, len(s.Files))
	for i, f := range s.Files {
		out[i] = source{f, s.at(f)}
	}
	return out
}

// readError is a log that could not be read: which one.
type readError struct {
	src source
	err error
}

func (e *readError) Error() string { return e.err.Error() }
func (e *readError) Unwrap() error { return e.err }

// readLogs reads the logs of one outing; nil when there is none. In all that
// it says, files go by their labels, not by where they lie. What cannot be read is
// left aside as in a folder; what is lost is not.
// Of a log that holds several outings it reads the given one, or with 0 the longest.
func readLogs(all []source, outing int, stage func(string)) (*ingest.Log, error) {
	var found ingest.Found
	var logs []*ingest.Log
	var errs []error
	for _, src := range all {
		if src.Kind != kindLog {
			continue
		}
		if stage != nil {
			stage("reading " + src.Name)
		}
		l, err := openLog(src, all, outing)
		var unread *readError
		if err != nil && !errors.As(err, &unread) {
			return nil, err
		}
		found.Logs, logs, errs = append(found.Logs, src.Name), append(logs, l), append(errs, err)
	}
	switch {
	case len(logs) == 0:
		return nil, nil
	case len(logs) == 1 && errs[0] != nil:
		return nil, errs[0]
	}
	logs, err := found.Keep(logs, errs)
	if err != nil {
		return nil, err
	}
	return ingest.Merge(logs)
}

// openLog reads one log of all that came with it.
func openLog(src source, all []source, outing int) (*ingest.Log, error) {
	files := make([]stored, len(all))
	for i, s := range all {
		files[i] = s.stored
	}
	opt := ingest.Options{Name: src.Name, MaxValues: valuesMost, Outing: outing} // in a session's folder a map lies beside its log
	if k := mapFor(src.Name, files); k >= 0 {
		m, err := csv.ReadMap(all[k].at)
		if err != nil {
			return nil, relabel(err, all[k])
		}
		opt.Map = m
	}
	l, err := ingest.Open(src.at, opt)
	if no := (*ingest.OutingError)(nil); errors.As(err, &no) {
		return nil, no
	}
	if errors.Is(err, os.ErrNotExist) {
		return nil, relabel(err, src)
	}
	if err != nil {
		return nil, &readError{src, relabel(err, src)}
	}
	return l, nil
}

// relabel takes the place on this disk out of an error's text.
func relabel(err error, src source) error {
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: its bytes are no longer in the data folder; put them back from a backup, or delete this session and add it again", src.Name)
	}
	text := err.Error()
	if what, needs := csv.NeedsMap(err); needs {
		text = what + " A column map makes such a file readable."
	}
	text = strings.ReplaceAll(text, src.at, src.Name)
	return errors.New(strings.ReplaceAll(text, filepath.Base(src.at), src.Name))
}

// mapFor finds the column map of a log: the one with the log's name, else one
// that came as text, else the only one there is; -1 for none. Formats that name
// their own columns need none.
func mapFor(log string, files []stored) int {
	bare := strings.TrimSuffix(log, ".gz")
	names := []string{log, bare, strings.TrimSuffix(bare, filepath.Ext(bare))}
	use, best, maps := -1, 0, 0
	for i, f := range files {
		if f.Kind != kindMap {
			continue
		}
		maps++
		stem, fits := strings.TrimSuffix(f.Name, mapEnding), 1
		if slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(stem, n) }) {
			fits = 3
		} else if f.Name == pastedMap {
			fits = 2
		}
		if fits > best {
			use, best = i, fits
		}
	}
	own := slices.Contains([]string{".fit", ".gpx", ".nmea"}, strings.ToLower(filepath.Ext(bare)))
	if best < 3 && own || best == 1 && maps > 1 {
		return -1
	}
	return use
}

// idleMaps are the column maps that no log is read with.
func (s *session) idleMaps() (names []string) {
	used := map[string]bool{}
	for _, f := range s.Files {
		if f.Kind == kindLog {
			if k := mapFor(f.Name, s.Files); k >= 0 {
				used[s.Files[k].At] = true
			}
			used[f.At+mapEnding] = true // as placed
		}
	}
	for _, f := range s.Files {
		if f.Kind == kindMap && !used[f.At] {
			names = append(names, f.Name)
		}
	}
	return names
}

// parseSetup reads a session's setup; nil without one.
func (s *session) parseSetup() (*setup.Setup, []string, error) {
	if s.Setup == nil {
		return nil, nil, nil
	}
	return setup.Parse(s.Name, s.Setup)
}

// describe fills in what the library's list shows before any analysis.
func (s *session) describe(set *setup.Setup, log *ingest.Log) {
	s.Title, s.Rider, s.Foil = "", "", foilOf(set)
	if set != nil {
		s.Title, s.Rider = label(set.Title), label(set.Rider.Name)
	}
	if log != nil {
		s.Start = log.Start
	}
	if s.Title != "" {
		return
	}
	for _, f := range s.Files {
		if f.Kind == kindLog {
			n := strings.TrimSuffix(f.Name, ".gz")
			s.Title = strings.TrimSuffix(n, filepath.Ext(n))
			if !s.Start.IsZero() { // a device may name all its logs alike
				s.Title += s.Start.Format(", 2 Jan 2006")
			}
			return
		}
	}
	s.Title = "A setup without a log"
}

// pasted is text from a form's field, its line ends as in a file.
func pasted(text string) string { return strings.ReplaceAll(text, "\r\n", "\n") }
