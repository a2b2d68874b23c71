package ingest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenfoot/ingest/csv"
)

// SetupName is the name of the setup in a session's folder.
const SetupName = "setup.toml"

// exportMark is the first line of an export, which is no log of its own while
// the logs that it was made of lie beside it.
const exportMark = "# evenfoot export"

// Folder finds the logs in a session's folder by what they hold, in order of
// name, and its setup file ("" when there is none). Hidden files, folders,
// setups, column maps and everything that is no log are passed over, as is an
// export of evenfoot's beside other logs. A folder that does not exist is an
// error; one without logs is not.
func Folder(dir string) (logs []string, setupFile string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, "", err
	}
	var exports []string
	for _, e := range entries {
		name := e.Name()
		path := filepath.Join(dir, name)
		if strings.HasPrefix(name, ".") {
			continue
		}
		info, err := os.Stat(path) // follows links
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		switch {
		case name == SetupName:
			setupFile = path
			continue
		case strings.EqualFold(filepath.Ext(name), ".toml"):
			continue
		}
		head, err := headOf(path)
		if err != nil {
			return nil, "", err
		}
		switch {
		case bytes.HasPrefix(bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF")), []byte(exportMark)):
			exports = append(exports, path)
		case isLog(path, head):
			logs = append(logs, path)
		}
	}
	if len(logs) == 0 {
		logs = exports
	}
	slices.Sort(logs)
	return logs, setupFile, nil
}

// headOf is the beginning of a file, unpacked.
func headOf(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	br := bufio.NewReaderSize(f, 64<<10)
	const most = 16 << 10
	if magic, _ := br.Peek(2); !isGzip(magic) {
		head := make([]byte, most)
		n, err := io.ReadFull(br, head)
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		return head[:n], nil
	}
	z, err := gzip.NewReader(br)
	if err != nil {
		return nil, nil // damaged: no log to be known by its content
	}
	head := make([]byte, most)
	n, _ := io.ReadFull(z, head)
	return head[:n], nil
}

// isLog says whether a file that begins so is a log. Any text could be a CSV:
// it counts as one when its header names columns of ours or a column map lies
// beside it, or else when it looks like columns of numbers under names.
func isLog(path string, head []byte) bool {
	if len(head) == 0 {
		return false
	}
	switch sniff(head) {
	case kindFIT, kindGPX, kindNMEA:
		return true
	case kindCSV:
	default:
		return false
	}
	if m, err := csv.LoadBeside(path); m != nil || err != nil {
		return true // a faulty map is told when the log is opened
	}
	if utf16(head) {
		head = bytes.ReplaceAll(head[2:], []byte{0}, nil)
	}
	return csv.LooksLikeColumns(head)
}
