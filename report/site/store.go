package site

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gofrs/flock"

	"evenfoot/ingest"
)

// A store is the library on disk: sessions/, a folder for each session (see
// [session]); settings.json; incoming/, what is not whole yet; and lock, which one
// evenfoot holds. All that pages ask for is kept in memory.
type store struct {
	dir      string
	version  string // of the program
	warn     func(format string, args ...any)
	lock     *flock.Flock
	readOnly error // why nothing can be written, nil where it can

	mu    sync.Mutex // held while the sessions on the disk are changed
	shelf atomic.Pointer[shelf]

	prefsMu sync.Mutex
	prefs   atomic.Pointer[settings]
}

// A shelf is the library at one moment. It is never changed, nor is what hangs in
// it: a change works on a copy of a session, whole before it is published.
type shelf struct {
	all    []*session            // newest first
	ridden map[string][]*session // the same by rider
}

func (st *store) close() error { return st.lock.Close() }

func (st *store) folder() string { return filepath.Join(st.dir, "sessions") }
func (st *store) folderOf(id int64) string {
	return filepath.Join(st.folder(), strconv.FormatInt(id, 10))
}
func (st *store) incoming() string     { return filepath.Join(st.dir, "incoming") }
func (st *store) settingsFile() string { return filepath.Join(st.dir, "settings.json") }

// writable says why nothing can be added or changed.
func (st *store) writable() error {
	if st.readOnly == nil {
		return nil
	}
	return statusError{507, fmt.Errorf("this library can only be read (%w); nothing can be added or changed", st.readOnly)}
}

// publish puts the list in order and shows it.
func (st *store) publish(all []*session) {
	slices.SortFunc(all, func(a, b *session) int { return cmp.Or(b.when().Compare(a.when()), cmp.Compare(b.ID, a.ID)) })
	ridden := map[string][]*session{}
	for _, s := range all {
		ridden[s.Rider] = append(ridden[s.Rider], s)
	}
	st.shelf.Store(&shelf{all, ridden})
}

// replace shows s in the place of the session of its number, which was not there
// before where it is new; with s nil that one goes.
func (st *store) replace(id int64, s *session) {
	all := slices.DeleteFunc(slices.Clone(st.sessions()), func(e *session) bool { return e.ID == id })
	if s != nil {
		all = append(all, s)
	}
	st.publish(all)
}

// sessions are the library at one moment, newest first; they are only read.
func (st *store) sessions() []*session { return st.shelf.Load().all }

// sessionsOf are those of one rider, newest first; they are only read.
func (st *store) sessionsOf(rider string) []*session { return st.shelf.Load().ridden[rider] }

var errGone = errors.New("there is no such session in the library; it may have been deleted")

// session is a copy of one session.
func (st *store) session(id int64) (*session, error) {
	for _, s := range st.sessions() {
		if s.ID == id {
			own := *s
			return &own, nil
		}
	}
	return nil, errGone
}

// nextID is a number beyond all that were given, which nothing else under
// sessions/ has for its name.
func (st *store) nextID() int64 {
	last := st.prefs.Load().Last
	for _, s := range st.sessions() {
		last = max(last, s.ID)
	}
	for _, id := range st.prefs.Load().Kept {
		last = max(last, id)
	}
	for {
		last++
		if _, err := os.Lstat(st.folderOf(last)); err != nil {
			return last
		}
	}
}

// holding is the session that has all logs of s, whatever their names or its
// setup, or its very inputs; nil when there is none.
func (st *store) holding(s *session) *session {
	for _, e := range st.sessions() {
		if e.Inputs == s.Inputs || len(s.holds) > 0 && !slices.ContainsFunc(s.holds, func(h string) bool { return !slices.Contains(e.holds, h) }) {
			return e
		}
	}
	return nil
}

// add puts a session into the library: its folder is whole on the disk before it
// has its name there. An outing that is there already is not added again.
func (st *store) add(s *session, in []*incoming) (id int64, again bool, err error) {
	st.mu.Lock()
	defer st.mu.Unlock()
	if err := st.writable(); err != nil {
		return 0, false, err
	}
	from := map[string]string{}
	for _, f := range in {
		from[f.Hash] = f.at
	}
	s.Files = placed(s.Files)
	if s.Setup != nil {
		s.Setups = []setupVersion{{Version: 1, Added: s.Added, Name: s.Name, Hash: hash(s.Setup)}}
	}
	s.settle()
	if e := st.holding(s); e != nil {
		return e.ID, true, nil
	}
	if err := st.place(s, st.nextID(), from, os.Link, nil); err != nil {
		return 0, false, err
	}
	return s.ID, false, nil
}

// place makes the folder of a session out of files by their hash and its older
// setups, and shows it. take brings a file to its name; where it cannot, the file
// is copied. The caller holds st.mu.
func (st *store) place(s *session, id int64, from map[string]string, take func(from, to string) error, older []setupText) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("the session could not be kept: %w", ingest.Cause(err))
		}
	}()
	tmp, err := os.MkdirTemp(st.incoming(), "session-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	for _, f := range s.Files {
		to := filepath.Join(tmp, f.At)
		if from[f.Hash] == "" {
			continue // lost, and told
		}
		if err := take(from[f.Hash], to); err != nil {
			if err := copyFile(from[f.Hash], to); err != nil {
				return err
			}
		}
	}
	s.dir, s.Made = tmp, st.version
	side, err := s.sidecar()
	if err != nil {
		return err
	}
	texts := []file{side, {filepath.Join(tmp, ingest.SetupName), s.Setup}}
	for _, t := range older {
		if err := os.MkdirAll(filepath.Join(tmp, setupsFolder), 0o700); err != nil {
			return err
		}
		texts = append(texts, file{s.oldSetup(t.version), t.text})
	}
	if err := st.write(texts...); err != nil {
		return err
	}
	to := st.folderOf(id)
	if err := os.Rename(tmp, to); err != nil {
		return err
	}
	if err := syncFolder(st.folder()); err != nil {
		return errors.Join(err, os.Rename(to, tmp))
	}
	s.ID, s.dir = id, to
	own := *s
	st.replace(id, &own)
	if err := st.expect(id); err != nil { // it is kept; the next start notes it
		st.warn("session %d is kept, but could not be noted in settings.json: %v", id, ingest.Cause(err))
	}
	return nil
}

// correct gives a session a new setup; the old ones are kept. s holds the new
// title, rider, name and text. base is the version that the user started from.
func (st *store) correct(s *session, base int) error {
	st.mu.Lock()
	defer st.mu.Unlock()
	if err := st.writable(); err != nil {
		return err
	}
	was, err := st.session(s.ID)
	if err != nil {
		return err
	}
	if was.Version != base {
		return errors.New("the setup was changed elsewhere in the meantime; load the page again, so that neither change is lost")
	}
	own := *was
	own.Title, own.Rider, own.Foil, own.Setup, own.Summary = s.Title, s.Rider, s.Foil, s.Setup, nil
	own.revise(was.Version+1, time.Now().UTC(), s.Name)
	side, err := own.sidecar()
	if err != nil {
		return err
	}
	var old file
	if was.Setup != nil {
		old = file{was.oldSetup(was.Version), was.Setup}
		if err := os.MkdirAll(filepath.Dir(old.path), 0o700); err != nil {
			return fmt.Errorf("the setup could not be kept: %w", ingest.Cause(err))
		}
	}
	// The sidecar last: where it tells of another setup, the text itself holds.
	if err := st.write(old, file{filepath.Join(own.dir, ingest.SetupName), own.Setup}, side); err != nil {
		return fmt.Errorf("the setup could not be kept: %w", ingest.Cause(err))
	}
	st.replace(own.ID, &own)
	return nil
}

// tellApart notes that a session is of another outing than e.
func (st *store) tellApart(id int64, e *session) error {
	if err := st.writable(); err != nil { // not in memory alone: it is the user's word
		return err
	}
	return st.change(id, false, func(own *session) bool {
		own.Others = append(slices.Clone(own.Others), e.holds...)
		return true
	})
}

// delete takes a session away, with its files.
func (st *store) delete(id int64) error {
	st.mu.Lock()
	defer st.mu.Unlock()
	if err := st.writable(); err != nil {
		return err
	}
	s, err := st.session(id)
	if err != nil {
		return err
	}
	if err := st.remember(func(set *settings) {
		set.Last = max(set.Last, id)
		set.Kept = slices.DeleteFunc(slices.Clone(set.Kept), func(k int64) bool { return k == id })
	}); err != nil {
		return err
	}
	gone := filepath.Join(st.incoming(), fmt.Sprintf("deleted-%d", id))
	if err := cmp.Or(os.Rename(s.dir, gone), syncFolder(st.folder())); err != nil {
		return fmt.Errorf("the session could not be deleted: %w", ingest.Cause(err))
	}
	st.replace(id, nil)
	if err := os.RemoveAll(gone); err != nil {
		return fmt.Errorf("the session is deleted, but one of its files could not be removed yet: %w", ingest.Cause(err))
	}
	return nil
}

// summarise keeps what the library's list shows of a session, unless it was
// deleted or changed meanwhile: in memory at least.
func (st *store) summarise(ses *session, sum *summary) error {
	err := st.change(ses.ID, true, func(own *session) bool {
		own.Summary = sum
		return own.Inputs == ses.Inputs
	})
	if errors.Is(err, errGone) {
		return nil
	}
	return err
}

// change changes what the sidecar alone holds of a session, where to says true; with
// anyway in memory at least.
func (st *store) change(id int64, anyway bool, to func(own *session) bool) error {
	st.mu.Lock()
	defer st.mu.Unlock()
	own, err := st.session(id)
	if err != nil || !to(own) {
		return err
	}
	if st.readOnly == nil {
		var side file
		if side, err = own.sidecar(); err == nil {
			err = st.write(side)
		}
	}
	if err == nil || anyway {
		st.replace(own.ID, own)
	}
	return err
}

func hash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
