package ingest

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
)

// SetupName is the name of the setup in a session's folder.
const SetupName = "setup.toml"

// exportMark is the first line of an export, as a comment, or the creator of a
// track: no log of its own while the logs that it was made of lie beside it.
const exportMark = "evenfoot export"

// A Found is what lies in a session's folder.
type Found struct {
	Logs  []string // in order of name
	Setup string   // "" when there is none
	Aside Warning  // files that look like logs by their name and hold none; of no kind when there are none
}

// LogEndings are those of the names of logs.
var LogEndings = []string{".csv", ".tsv", ".txt", ".log", ".fit", ".gpx", ".nmea", ".gz"}

// Folder finds the logs in a session's folder by what they hold, and its setup
// file. Hidden files, folders, setups, column maps and everything that is no
// log are passed over, as is an export of evenfoot's beside other logs. A folder
// that does not exist is an error; one without logs is not.
func Folder(dir string) (f Found, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return f, err
	}
	var exports []string
	for _, e := range entries {
		name, path := e.Name(), filepath.Join(dir, e.Name())
		info, err := os.Stat(path) // follows links
		if strings.HasPrefix(name, ".") || err != nil || !info.Mode().IsRegular() {
			continue
		}
		ext := strings.ToLower(filepath.Ext(name))
		if name == SetupName {
			f.Setup = path
		}
		if ext == ".toml" {
			continue
		}
		head, err := headOf(path)
		if err != nil {
			return f, err
		}
		why := noLog(path, head)
		switch {
		case bytes.HasPrefix(head, []byte("# "+exportMark)), bytes.Contains(head, []byte(`creator="`+exportMark+`"`)):
			exports = append(exports, path)
		case why == "":
			f.Logs = append(f.Logs, path)
		case slices.Contains(LogEndings, ext), ext == ".zip": // which a rider would take for a log
			f.leave(path, why)
		}
	}
	if len(f.Logs) == 0 {
		f.Logs = exports
	}
	return f, nil
}

// leave notes a file that is not read, and why.
func (f *Found) leave(path, why string) {
	f.Aside.Kind = raw.LeftAside
	f.Aside.Text = append(f.Aside.Text, filepath.Base(path), why)
}

// noLog says why a file that begins so is no log; "" for one. Any text could be
// a CSV: it counts as one when its header names columns of ours or a column map
// lies beside it, or else when it looks like columns of numbers under names.
func noLog(path string, head []byte) string {
	kind := sniff(head)
	switch {
	case len(head) == 0:
		return "is empty or damaged"
	case kind == kindFIT || kind == kindGPX || kind == kindNMEA,
		kind == kindCSV && (csv.Beside(path) != "" || csv.LooksLikeColumns(head)):
		return ""
	case kind != kindCSV:
		return kind
	}
	return cmp.Or(noCSV(path, head), "holds no columns of numbers under names")
}

// NoLog says why [Folder] leaves a file aside; "" where it does not.
func NoLog(path string) (why string) {
	head, err := headOf(path)
	if err != nil {
		return "" // whoever reads it says why
	}
	return noLog(path, head)
}

// Open reads all logs of the folder. One that cannot be read is left aside with
// the others; an error says that none can.
func (f *Found) Open(opt Options) ([]*Log, error) {
	all, errs := OpenAll(f.Logs, opt)
	return f.Keep(all, errs)
}

// Keep is Open for logs that were read one by one, with the errors of those that
// could not be.
func (f *Found) Keep(all []*Log, errs []error) (logs []*Log, err error) {
	for i, err := range errs {
		var no *OutingError
		if errors.As(err, &no) {
			return nil, err
		}
		if err != nil {
			_, why, _ := strings.Cut(err.Error(), ": ")
			f.leave(f.Logs[i], why)
			continue
		}
		logs = append(logs, all[i])
	}
	switch {
	case f.Aside.Kind == "":
	case len(logs) > 0:
		logs[0].Warnings = append(logs[0].Warnings, f.Aside)
	default:
		var each []string
		for at := range slices.Chunk(f.Aside.Text, 2) {
			each = append(each, at[0]+": "+at[1])
		}
		return nil, fmt.Errorf("none of its files can be read as a log: %s", strings.Join(each, "; "))
	}
	return logs, nil
}

// Cause is why the file system refused, without the name of the file: where a
// session lies, or how a temporary file is called, is nobody's business.
func Cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError // of a renaming
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}
