package site

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"

	"github.com/gofrs/flock"

	"evenfoot/ingest"
)

// openStore opens the library, or makes one. For reading alone it must be there,
// may be in use, and is left as it is.
func openStore(dir, version string, reading bool, warn func(string, ...any)) (*store, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("the data folder: %w", err)
	}
	st := &store{dir: dir, version: version, warn: warn, lock: flock.New(filepath.Join(dir, "lock"), flock.SetPermissions(0o600))}
	st.prefs.Store(&settings{})
	st.publish(nil)
	switch {
	case reading && !HoldsLibrary(dir):
		return nil, fmt.Errorf("there is no library in %s", dir)
	case reading && isOld(dir):
		return nil, fmt.Errorf("the library %s is of an earlier evenfoot; serve takes it over, and then it can be read", dir)
	case reading:
		st.readOnly = errors.New("it is opened for reading")
	default:
		if err := st.prepare(); err != nil {
			return nil, err
		}
	}
	held, err := st.lock.TryLock()
	switch {
	case err != nil && refusesWriting(err):
		st.readOnly = cmp.Or(st.readOnly, ingest.Cause(err))
	case err != nil:
		return nil, fmt.Errorf("the library %s cannot be locked: %w", dir, ingest.Cause(err))
	case !held && !reading:
		return nil, fmt.Errorf("the library %s is in use by another evenfoot; stop that one, or choose another folder with --data", dir)
	}
	if err := st.begin(); err != nil {
		return nil, errors.Join(err, st.close())
	}
	if err := st.load(); err != nil {
		return nil, errors.Join(err, st.close())
	}
	return st, nil
}

// HoldsLibrary says whether there is a library in a folder, an old one too.
func HoldsLibrary(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "sessions"))
	return err == nil || isOld(dir)
}

// isOld says whether a folder holds the library of an earlier evenfoot, not yet
// taken over.
func isOld(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, oldIndex))
	return err == nil
}

// prepare makes the folders, or finds that nothing can be written.
func (st *store) prepare() error {
	var err error
	for _, d := range []string{st.dir, st.folder(), st.incoming()} {
		err = cmp.Or(err, os.MkdirAll(d, 0o700))
	}
	if err == nil {
		var probe *os.File
		if probe, err = os.CreateTemp(st.incoming(), "probe-*"); err == nil {
			return errors.Join(probe.Close(), os.Remove(probe.Name()))
		}
	}
	if _, there := os.Stat(st.folder()); there == nil && refusesWriting(err) {
		st.readOnly = ingest.Cause(err)
		return nil
	}
	switch {
	case isOld(st.dir):
		return fmt.Errorf("the library %s is of an earlier evenfoot; open it once where it can be written: %w", st.dir, ingest.Cause(err))
	case HoldsLibrary(st.dir):
		return fmt.Errorf("the library %s cannot be written: %w", st.dir, ingest.Cause(err))
	}
	return fmt.Errorf("the library cannot be made: %w", err)
}

// refusesWriting tells a file system that is only read from other trouble.
func refusesWriting(err error) bool {
	return errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS)
}

// begin reads the settings, takes over what an earlier evenfoot left, and sweeps
// what was never whole. The lock is ours by now.
func (st *store) begin() error {
	b, err := os.ReadFile(st.settingsFile())
	var set settings
	if err == nil {
		err = json.Unmarshal(b, &set)
	}
	switch {
	case err == nil:
		st.prefs.Store(&set)
	case !errors.Is(err, fs.ErrNotExist):
		st.warn("settings.json cannot be read (%v); the units are the usual ones, and the key is a new one", ingest.Cause(err))
	}
	if st.readOnly != nil {
		return nil
	}
	if err := os.Chmod(st.settingsFile(), 0o600); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the settings, with the key, cannot be kept from other users: %w", err)
	}
	left, err := os.ReadDir(st.incoming())
	for _, e := range left {
		err = cmp.Or(err, os.RemoveAll(filepath.Join(st.incoming(), e.Name())))
	}
	if err != nil {
		return fmt.Errorf("what a broken upload left cannot be removed: %w", err)
	}
	return st.takeOver()
}

// names are those of the sessions' folders.
func (st *store) names() (out []string, err error) {
	entries, err := os.ReadDir(st.folder())
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			out = append(out, e.Name())
		}
	}
	return out, err
}

// load reads every session's folder. What is odd is told, and nothing is dropped
// that holds a log or a setup.
func (st *store) load() error {
	names, err := st.names()
	if err != nil {
		return fmt.Errorf("the library cannot be read: %w", err)
	}
	read, odd := make([]*session, len(names)), make([]error, len(names))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range 8 { // waiting for the disk, not for a core
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(read); i = int(next.Add(1)) - 1 {
				odd[i] = guarded(func() (err error) {
					read[i], err = st.read(filepath.Join(st.folder(), names[i]))
					return err
				})
			}
		})
	}
	wg.Wait()
	var all, unnumbered []*session
	for i, s := range read {
		if errors.Is(odd[i], errNewer) {
			return fmt.Errorf("the library %s: %w", st.dir, odd[i])
		}
		if odd[i] != nil {
			st.warn("sessions/%s: %v", names[i], odd[i])
		}
		switch {
		case s != nil && s.ID == 0:
			unnumbered = append(unnumbered, s)
		case s != nil:
			all = append(all, s)
		}
	}
	st.publish(all)
	for _, s := range unnumbered {
		err = cmp.Or(err, st.number(s))
		st.replace(s.ID, s)
	}
	if err == nil && st.readOnly == nil {
		var ids []int64
		for _, s := range st.sessions() {
			ids = append(ids, s.ID)
		}
		if err := st.expect(ids...); err != nil { // a full disk is still read
			st.warn("the sessions could not be noted in settings.json: %v", err)
		}
	}
	return err
}

// number gives a folder that was put here by hand the next number.
func (st *store) number(s *session) error {
	s.ID = st.nextID()
	if st.readOnly != nil {
		return nil
	}
	to := st.folderOf(s.ID)
	st.warn("the folder sessions/%s was put here by hand; it is session %d now", filepath.Base(s.dir), s.ID)
	err := cmp.Or(os.Rename(s.dir, to), syncFolder(st.folder()))
	s.dir = to
	return err
}
