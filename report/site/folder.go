package site

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/ingest"
)

var (
	errNewer     = errors.New("it was made by a newer evenfoot; use that one")
	errNoSidecar = errors.New("it has no .evenfoot.json")
)

// read reads a session's folder, and mends the sidecar where that can be written.
func (st *store) read(dir string) (s *session, odd error) {
	s, odd = st.readFolder(dir)
	if s != nil && s.mended && st.readOnly == nil {
		side, err := s.sidecar()
		if err == nil {
			err = st.write(side)
		}
		odd = errors.Join(odd, err)
	}
	return s, odd
}

// readFolder reads a session's folder, and changes nothing. odd is what the user
// should know; with no session, why there is none.
func (st *store) readFolder(dir string) (s *session, odd error) {
	s = new(session)
	b, err := os.ReadFile(filepath.Join(dir, sidecarName))
	if err == nil {
		err = json.Unmarshal(b, s)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = errNoSidecar
	case err != nil:
		err = fmt.Errorf(".evenfoot.json is damaged: %w", ingest.Cause(err))
	case s.Schema > sidecarSchema:
		return nil, fmt.Errorf("session %s: %w", filepath.Base(dir), errNewer)
	case s.Schema != sidecarSchema || slices.ContainsFunc(s.Files, func(f stored) bool { return f.At == "" || f.At != filepath.Base(f.At) }):
		err = errors.New(".evenfoot.json is damaged")
	}
	if err != nil {
		if s, odd = rebuilt(dir); s == nil {
			return nil, fmt.Errorf("%w, and the folder is left alone: %w", err, odd)
		}
		odd = fmt.Errorf("%w; the session is made anew from the files there", err)
	}
	s.dir = dir
	laid, err := laidIn(dir, s.Files)
	if err != nil {
		odd = errors.Join(odd, fmt.Errorf("what was put there by hand cannot be read: %w", ingest.Cause(err)))
	}
	if len(laid) > 0 {
		s.Files, s.Summary = append(s.Files, laid...), nil
	}
	if n, err := strconv.ParseInt(filepath.Base(dir), 10, 64); err == nil && n > 0 && n < 1<<53 && strconv.FormatInt(n, 10) == filepath.Base(dir) {
		s.ID = n // else the caller gives it one
	}
	text, err := os.ReadFile(filepath.Join(dir, ingest.SetupName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return s, errors.Join(odd, err)
	}
	s.Setup = text
	s.settle()
	kept := ""
	if len(s.Setups) > 0 {
		kept = s.Setups[0].Hash
	}
	other := text == nil && kept != "" || text != nil && kept != hash(text)
	if other {
		s.Summary = nil
		if kept != "" {
			old, err := os.ReadFile(s.oldSetup(s.Version)) // there where a correction was cut off
			s.Setups[0].Unkept = err != nil || hash(old) != kept
		}
		s.revise(s.Version+1, time.Now().UTC(), ingest.SetupName)
	}
	if other || s.Made != st.version {
		set, _, err := s.parseSetup()
		if err != nil { // the names stay as they were, where they were known
			odd = errors.Join(odd, fmt.Errorf("its setup cannot be used: %w", err))
			s.Foil = nil
		}
		if err == nil || s.Title == "" {
			s.describe(set, nil)
		}
		s.Made = st.version
		s.settle()
	}
	s.mended = other || len(laid) > 0 || odd != nil
	return s, odd
}

// rebuilt finds a session anew from the files in its folder.
func rebuilt(dir string) (*session, error) {
	info, err := os.Stat(dir)
	if err != nil {
		return nil, err
	}
	s := &session{dir: dir, Added: info.ModTime().UTC().Truncate(time.Second)}
	if s.Files, err = laidIn(dir, nil); err != nil {
		return nil, err
	}
	if _, none := os.Stat(filepath.Join(dir, ingest.SetupName)); none != nil && len(s.logs()) == 0 {
		return nil, errors.New("it holds neither a log nor a setup.toml")
	}
	old, err := filepath.Glob(filepath.Join(globQuoted(dir), setupsFolder, "*.toml"))
	if err != nil {
		return nil, err
	}
	for _, path := range old {
		n, err := strconv.Atoi(strings.TrimSuffix(filepath.Base(path), ".toml"))
		b, err2 := os.ReadFile(path)
		if err == nil && err2 == nil {
			s.Setups = append(s.Setups, setupVersion{Version: n, Added: s.Added, Name: ingest.SetupName, Hash: hash(b)})
		}
	}
	slices.SortFunc(s.Setups, func(a, b setupVersion) int { return b.Version - a.Version })
	var log *ingest.Log
	if err := guarded(func() (err error) {
		log, err = readLogs(s.sources(), 0, nil)
		return err
	}); err != nil {
		log = nil // its page says why; here it only has no date
	}
	s.describe(nil, log)
	return s, nil
}

// laidIn tells of the logs and column maps in a session's folder beyond those that
// it is known to have.
func laidIn(dir string, has []stored) (more []stored, err error) {
	known := func(name string) bool {
		return name == ingest.SetupName || slices.ContainsFunc(has, func(f stored) bool { return f.At == name })
	}
	entries, err := os.ReadDir(dir)
	if err != nil || !slices.ContainsFunc(entries, func(e fs.DirEntry) bool {
		return !strings.HasPrefix(e.Name(), ".") && !e.IsDir() && !known(e.Name())
	}) {
		return nil, err // as nearly always, and nothing is opened
	}
	found, err := ingest.Folder(dir)
	if err != nil {
		return nil, err
	}
	maps, err := filepath.Glob(filepath.Join(globQuoted(dir), "*"+mapEnding))
	if err != nil {
		return nil, err
	}
	for i, path := range append(found.Logs, maps...) {
		kind := kindLog
		if i >= len(found.Logs) {
			kind = kindMap
		}
		if known(filepath.Base(path)) {
			continue
		}
		f, err := storedFile(kind, path)
		if err != nil {
			return nil, err
		}
		more = append(more, f)
	}
	return more, nil
}

// globQuoted is a path that a pattern takes as it is.
func globQuoted(path string) string {
	return strings.NewReplacer(`*`, `[*]`, `?`, `[?]`, `[`, `[[]`).Replace(path)
}

// storedFile tells of a file that lies in a session's folder.
func storedFile(kind, path string) (f stored, err error) {
	f = stored{Kind: kind, Name: fileLabel(path), At: filepath.Base(path)}
	if f.Hash, f.Size, err = hashFile(path); err == nil {
		f.Content, err = ingest.Content(path)
	}
	return f, err
}

// placed gives each file its name in the session's folder: much like the one that
// it came under, and each column map's that of its log, so that the folder can be
// read as it is. A map for several logs is there once for each.
func placed(came []stored) []stored {
	files := slices.Clone(came)
	taken := map[string]bool{ingest.SetupName: true}
	name := func(f *stored, like string) {
		f.At = free(like, taken)
		taken[strings.ToLower(f.At)] = true
	}
	for i := range files {
		if files[i].At = ""; files[i].Kind == kindLog {
			name(&files[i], files[i].Name)
		}
	}
	for i := range len(files) {
		k := -1
		if files[i].Kind == kindLog {
			k = mapFor(files[i].Name, came)
		}
		if k < 0 {
			continue
		}
		if files[k].At != "" {
			files = append(files, files[k])
			k = len(files) - 1
		}
		files[k].At = files[i].At + mapEnding
		taken[strings.ToLower(files[k].At)] = true
	}
	for i := range files {
		if files[i].At == "" {
			name(&files[i], files[i].Name)
		}
	}
	return files
}

// nameBytes bounds a name in a folder; a column map's is longer by its ending.
const nameBytes = 120

// reserved are names that one system keeps for devices.
var reserved = []string{"CON", "PRN", "AUX", "NUL", "COM", "LPT", "CONIN$", "CONOUT$"}

// free is a name for a file that any file system takes and that is not taken
// yet, like the one that it came under.
func free(like string, taken map[string]bool) string {
	like = strings.Trim(strings.Map(func(r rune) rune {
		if r > 127 || r >= '0' && r <= '9' || r|0x20 >= 'a' && r|0x20 <= 'z' || strings.ContainsRune("._-+() ", r) {
			return r
		}
		return '_'
	}, like), ". ")
	stem, packed := strings.CutSuffix(like, ".gz")
	ext := filepath.Ext(stem)
	stem = strings.TrimSuffix(stem, ext)
	if packed {
		ext += ".gz"
	}
	if len(ext) > 20 {
		ext = ""
	}
	if stem == "" || slices.Contains(reserved, strings.TrimRight(strings.ToUpper(stem), "0123456789")) {
		stem = "log" + stem
	}
	if len(stem)+len(ext) > nameBytes {
		stem = strings.ToValidUTF8(stem[:nameBytes-len(ext)], "")
	}
	for n, out := 2, stem+ext; ; n++ {
		if !taken[strings.ToLower(out)] {
			return out
		}
		out = fmt.Sprintf("%s-%d%s", stem, n, ext)
	}
}
