package site

import (
	"archive/zip"
	"bytes"
	"cmp"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"evenfoot/ingest"
	"evenfoot/report/words"
)

// A Library is the sessions on the disk without a server before them.
type Library struct{ st *store }

// OpenLibrary opens a library; for reading alone it must be there, and another
// evenfoot may have it open.
func OpenLibrary(dir, version string, reading bool, warn func(format string, args ...any)) (*Library, error) {
	st, err := openStore(dir, version, reading, warn)
	if err != nil {
		return nil, err
	}
	return &Library{st}, nil
}

// Close lets others have the library.
func (l *Library) Close() error { return l.st.close() }

// Len is how many sessions there are.
func (l *Library) Len() int { return len(l.st.sessions()) }

// each hands on all that belongs to the sessions, under names that begin with the
// session's number. What is damaged is handed on as it is; faults are what is
// damaged or lost. An error is one of put.
func (l *Library) each(put func(name string, r io.Reader) error) (faults []error, err error) {
	faults = l.st.missed()
	for _, s := range l.st.sessions() {
		lost := s.faults()
		parts, err := s.parts()
		if err != nil {
			return nil, err
		}
		for _, p := range parts {
			r, err := p.open()
			if err != nil {
				continue // lost, and among the faults
			}
			whole := &readable{r: r}
			err = put(path.Join(strconv.FormatInt(s.ID, 10), p.name), whole)
			r.Close()
			if err != nil {
				return nil, fmt.Errorf("session %d: %s cannot be copied: %w", s.ID, p.name, ingest.Cause(err))
			}
			if whole.err != nil {
				lost = append(lost, fmt.Errorf("the rest of %s cannot be read: %w", p.name, ingest.Cause(whole.err)))
			}
		}
		for _, err := range lost {
			faults = append(faults, fmt.Errorf("session %d: %w", s.ID, err))
		}
	}
	return faults, nil
}

// A part is a file of a session's folder.
type part struct {
	name string
	open func() (io.ReadCloser, error)
}

// parts are all that are to be in a session's folder, the sidecar as it is known.
func (s *session) parts() ([]part, error) {
	side, err := s.sidecar()
	if err != nil {
		return nil, err
	}
	text := func(b []byte, err error) (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(b)), err }
	all := []part{{sidecarName, func() (io.ReadCloser, error) { return text(side.data, nil) }}}
	for _, v := range s.Setups {
		name := ingest.SetupName
		if v.Version != s.Version {
			name = path.Join(setupsFolder, strconv.Itoa(v.Version)+".toml")
		}
		if v.Hash != "" {
			all = append(all, part{name, func() (io.ReadCloser, error) { return text(s.textOf(v)) }})
		}
	}
	for _, f := range s.Files {
		all = append(all, part{f.At, func() (io.ReadCloser, error) { return os.Open(s.at(f)) }})
	}
	return all, nil
}

// readable is as much of a stream as can be read; err is why that is not all.
type readable struct {
	r   io.Reader
	err error
}

func (p *readable) Read(b []byte) (int, error) {
	n, err := p.r.Read(b)
	if err != nil && err != io.EOF {
		p.err, err = err, io.EOF
	}
	return n, err
}

// Export copies every session's folder to a folder that is empty, or is not there
// yet: what report and compare read, and Import takes back. All that can be read, or nothing; faults
// are what is damaged or lost in it.
func (l *Library) Export(out string) (faults []error, err error) {
	if left, err := os.ReadDir(out); err == nil && len(left) > 0 {
		return nil, fmt.Errorf("%s is not empty; name a folder that is, or a new one", out)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(filepath.Clean(out)), ".evenfoot-*")
	if err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", out, ingest.Cause(err))
	}
	defer os.RemoveAll(tmp)
	if faults, err = l.each(func(name string, r io.Reader) error { return fill(filepath.Join(tmp, filepath.FromSlash(name)), r) }); err != nil {
		return nil, err
	}
	if err := os.Remove(out); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s cannot be written: %w", out, ingest.Cause(err))
	}
	if err := os.Rename(tmp, out); err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", out, ingest.Cause(err))
	}
	return faults, syncFolder(filepath.Dir(filepath.Clean(out)))
}

// Backup writes every session's folder into one zip that is not there yet. All
// that can be read, or nothing; faults are what is damaged or lost in it.
func (l *Library) Backup(out string) (faults []error, err error) {
	if _, err := os.Stat(out); err == nil {
		return nil, fmt.Errorf("%s is there already; name another file, or remove it first", out)
	}
	tmp, err := os.CreateTemp(filepath.Dir(out), ".evenfoot-*")
	if err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", out, ingest.Cause(err))
	}
	defer os.Remove(tmp.Name())
	z := zip.NewWriter(tmp)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestSpeed) })
	faults, err = l.each(func(name string, r io.Reader) error {
		w, err := z.Create(name)
		if err == nil {
			_, err = io.Copy(w, r)
		}
		return err
	})
	if err := errors.Join(err, z.Close(), tmp.Sync(), tmp.Close()); err != nil {
		return nil, err
	}
	if err := os.Rename(tmp.Name(), out); err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", out, ingest.Cause(err))
	}
	return faults, syncFolder(filepath.Dir(out))
}

// An Imported is what became of one session's folder.
type Imported struct {
	From  string  // the folder
	ID    int64   // its number here; 0 where it was not taken
	Again bool    // it was here already
	Odd   []error // what was damaged or lost in it, or is no log
	Err   error   // why it was not taken

	Restored []string // files that were damaged or lost here, and are whole again
}

// Import takes sessions' folders from a tree, a session's folder itself, or a
// backup. An outing that is here already is not taken again.
func (l *Library) Import(from string) ([]Imported, error) {
	if err := l.st.writable(); err != nil {
		return nil, err
	}
	info, err := os.Stat(from)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be opened: %w", from, ingest.Cause(err))
	}
	root := from
	if !info.IsDir() {
		if root, err = os.MkdirTemp(l.st.incoming(), "unpacked-*"); err != nil {
			return nil, fmt.Errorf("%s cannot be unpacked: %w", from, ingest.Cause(err))
		}
		defer os.RemoveAll(root)
		if err := unpack(from, root); err != nil {
			return nil, err
		}
	}
	var folders []string
	var all []Imported
	named := func(at string) string {
		if below, err := filepath.Rel(root, at); err == nil {
			return filepath.Join(from, below)
		}
		return from
	}
	unread := func(at string, err error) {
		if n := len(all); n == 0 || all[n-1].From != named(at) { // the walk tells it once more
			all = append(all, Imported{From: named(at), Err: fmt.Errorf("it cannot be read: %w", ingest.Cause(err))})
		}
	}
	err = filepath.WalkDir(root, func(at string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			unread(at, err)
			return nil
		case !d.IsDir():
			return nil
		case strings.HasPrefix(d.Name(), ".") && at != root:
			return fs.SkipDir
		}
		_, side := os.Stat(filepath.Join(at, sidecarName))
		found, err := ingest.Folder(at)
		switch {
		case side == nil:
			folders = append(folders, at)
			return fs.SkipDir
		case err != nil:
			unread(at, err)
		case len(found.Logs)+len(found.Setup) > 0:
			folders = append(folders, at) // and on below: sessions may lie beside a stray log
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", from, ingest.Cause(err))
	}
	number := func(at string) int64 {
		n, _ := strconv.ParseInt(filepath.Base(at), 10, 64) // others first, by name
		return n
	}
	slices.SortStableFunc(folders, func(a, b string) int { return cmp.Compare(number(a), number(b)) })
	for _, at := range folders {
		done := l.take(at)
		done.From = named(at)
		all = append(all, done)
	}
	return all, nil
}

// take copies one session's folder into the library, under its number where that
// is free, with what is damaged as it is.
func (l *Library) take(dir string) (done Imported) {
	st := l.st
	st.mu.Lock()
	defer st.mu.Unlock()
	s, odd := st.readFolder(dir)
	if s == nil {
		done.Err = odd
		return done
	}
	if odd != nil && !errors.Is(odd, errNoSidecar) {
		done.Odd = append(done.Odd, odd)
	}
	done.Odd = append(done.Odd, s.faults()...)
	if found, err := ingest.Folder(dir); err == nil && found.Aside.Kind != "" {
		done.Odd = append(done.Odd, errors.New(words.Warning(found.Aside)))
	}
	if e := st.holding(s); e != nil {
		done.ID, done.Again = e.ID, true
		done.Restored, done.Err = st.restore(*e, s)
		return done
	}
	from := map[string]string{}
	for _, f := range s.Files {
		if _, lost := os.Stat(s.at(f)); lost == nil {
			from[f.Hash] = s.at(f)
		}
	}
	var older []setupText
	s.Setups = slices.DeleteFunc(s.Setups, func(v setupVersion) bool {
		text, lost := s.textOf(v)
		if v.Version == s.Version || v.Hash == "" || v.Unkept {
			return false
		}
		if lost == nil {
			older = append(older, setupText{v.Version, text})
		}
		return lost != nil // told above; no check shall miss it for good
	})
	id := st.nextID()
	if _, err := os.Lstat(st.folderOf(s.ID)); s.ID > 0 && s.Schema > 0 && err != nil {
		id = s.ID
	}
	if done.Err = st.place(s, id, from, copyFile, older); done.Err == nil {
		done.ID = id
	}
	return done
}

// restore puts back the files that e, a session here, has damaged or lost and that
// s has whole. The caller holds st.mu.
func (st *store) restore(e session, s *session) (names []string, err error) {
	tmp := filepath.Join(st.incoming(), fmt.Sprintf("restored-%d", e.ID))
	defer os.Remove(tmp)
	put := func(from, to, want string) error {
		if h, _, err := hashFile(to); err == nil && h == want {
			return nil
		}
		if h, _, err := hashFile(from); err != nil || h != want {
			return nil // no better
		}
		err := copyFile(from, tmp)
		if err == nil {
			err = os.MkdirAll(filepath.Dir(to), 0o700)
		}
		if err == nil {
			err = os.Rename(tmp, to)
		}
		if err == nil {
			err = syncFolder(filepath.Dir(to))
		}
		if err != nil {
			return fmt.Errorf("session %d: %s cannot be restored: %w", e.ID, filepath.Base(to), ingest.Cause(err))
		}
		names = append(names, filepath.Base(to))
		return nil
	}
	for _, f := range e.Files {
		for _, g := range s.Files {
			if g.Hash == f.Hash {
				err = errors.Join(err, put(s.at(g), e.at(f), f.Hash))
			}
		}
	}
	for _, v := range e.Setups {
		for _, w := range s.Setups {
			if v.Version != e.Version && w.Version != s.Version && !v.Unkept && v.Hash != "" && v.Hash == w.Hash {
				err = errors.Join(err, put(s.oldSetup(w.Version), e.oldSetup(v.Version), v.Hash))
			}
		}
	}
	if len(names) == 0 {
		return nil, err
	}
	e.Summary = nil // it may be of what was damaged
	side, err2 := e.sidecar()
	if err2 == nil {
		err2 = st.write(side)
	}
	st.replace(e.ID, &e)
	return names, errors.Join(err, err2)
}

// unpack writes what a backup holds below a folder.
func unpack(from, to string) error {
	info, err := os.Stat(from)
	if err != nil {
		return fmt.Errorf("%s cannot be read: %w", from, ingest.Cause(err))
	}
	failed, err := unzip(from, ingest.ExpandsMost(info.Size()), func(name string, r io.Reader) error {
		if !filepath.IsLocal(name) {
			return errors.New("it lies outside of the backup")
		}
		return fill(filepath.Join(to, filepath.FromSlash(name)), r)
	})
	switch {
	case errors.Is(err, errExpands):
		return fmt.Errorf("%s expands to more than %d times its size", from, ingest.MaxRatio)
	case err != nil && failed == "":
		return fmt.Errorf("%s is neither a folder nor a backup: %w", from, ingest.Cause(err))
	case err != nil:
		return fmt.Errorf("%s: %s cannot be unpacked: %w", from, failed, ingest.Cause(err))
	}
	return nil
}

// Check reads all of the library and says what is wrong where; notes are what no
// backup brings back and nothing misses.
func (l *Library) Check() (faults, notes []error) {
	names, err := l.st.names()
	if err != nil {
		return []error{err}, nil
	}
	faults = l.st.missed()
	for _, name := range names {
		say := func(err error) {
			faults = append(faults, fmt.Errorf("sessions/%s: %w", name, err))
		}
		s, odd := l.st.readFolder(filepath.Join(l.st.folder(), name))
		if odd != nil {
			say(odd)
		}
		if s == nil {
			continue
		}
		for _, err := range s.faults() {
			say(err)
		}
		for _, v := range s.Setups {
			if v.Unkept {
				notes = append(notes, fmt.Errorf("sessions/%s: version %d of its setup: %w", name, v.Version, errUnkept))
			}
		}
		if _, _, err := s.parseSetup(); err != nil {
			say(fmt.Errorf("its setup cannot be used: %w", err))
		}
	}
	return faults, notes
}

// faults compares the files of a session with what they were when they came.
func (s *session) faults() (out []error) {
	for _, f := range s.Files {
		h, size, err := hashFile(s.at(f))
		switch {
		case errors.Is(err, fs.ErrNotExist):
			err = fmt.Errorf("%s is lost; put it back from a backup", f.At)
		case err != nil:
			err = fmt.Errorf("%s cannot be read: %w", f.At, ingest.Cause(err))
		case size != f.Size:
			err = fmt.Errorf("%s is damaged: it has %d bytes, and had %d when it came", f.At, size, f.Size)
		case h != f.Hash:
			err = fmt.Errorf("%s is damaged: its bytes are not those that came", f.At)
		}
		if err != nil {
			out = append(out, err)
		}
	}
	for _, v := range s.Setups {
		if v.Unkept {
			continue
		}
		if text, err := s.textOf(v); err != nil || v.Hash != "" && hash(text) != v.Hash {
			out = append(out, fmt.Errorf("version %d of its setup is damaged or lost", v.Version))
		}
	}
	return out
}
