package site

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite", without cgo

	"evenfoot/ingest"
)

// oldIndex is the database of an earlier evenfoot's library, beside files/, the
// bytes of all sessions by their hash.
const (
	oldIndex = "library.db"
	oldFiles = "files"
	oldAside = "old"
)

// An oldSession is a session on its way out of the old library.
type oldSession struct {
	session
	older []setupText
}

// takeOver makes sessions' folders out of the library of an earlier evenfoot.
// What was its library goes to old/ when all is done; nothing is deleted. Cut
// off, it goes on at the next start: a session that is there already is passed over.
func (st *store) takeOver() error {
	index := filepath.Join(st.dir, oldIndex)
	if _, err := os.Stat(index); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err := st.load(); err != nil {
		return err
	}
	old, damage := st.readOld(index)
	if damage != nil && strings.Contains(damage.Error(), "SQLITE_BUSY") {
		return fmt.Errorf("the library %s is in use by another evenfoot; stop that one, or choose another folder with --data", st.dir)
	}
	st.mu.Lock()
	defer st.mu.Unlock()
	used := map[string]bool{}
	for _, s := range old {
		for _, f := range s.Files {
			used[f.Hash] = true
		}
		if err := st.adopt(s); err != nil {
			return fmt.Errorf("session %d of the library of an earlier evenfoot cannot be taken over: %w", s.ID, err)
		}
	}
	if damage != nil {
		n, err := st.adoptLogs(used)
		if err != nil {
			return err
		}
		st.warn("the library's index of an earlier evenfoot, %s, is damaged: %v. %d sessions could be read from it; %d logs more are sessions of their own now, without a setup", oldIndex, damage, len(old), n)
	}
	aside := filepath.Join(st.dir, oldAside)
	for n := 2; ; n++ {
		if _, err := os.Stat(aside); err != nil {
			break
		}
		aside = filepath.Join(st.dir, fmt.Sprintf("%s-%d", oldAside, n))
	}
	if err := os.Mkdir(aside, 0o700); err != nil {
		return fmt.Errorf("the library of an earlier evenfoot cannot be put aside: %w", err)
	}
	// The index last: while it is there, all of this is done again.
	for _, name := range []string{oldFiles, oldIndex + "-journal", oldIndex + "-wal", oldIndex + "-shm", oldIndex} {
		if err := os.Rename(filepath.Join(st.dir, name), filepath.Join(aside, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the library of an earlier evenfoot cannot be put aside: %w", err)
		}
	}
	st.warn("the library of an earlier evenfoot is taken over: each session is a folder under sessions/ now. What it was is in %s; remove that when you have looked", aside)
	return syncFolder(st.dir)
}

// oldPath is where an earlier evenfoot kept the bytes with a hash.
func (st *store) oldPath(hash string) string {
	if len(hash) < 2 {
		return ""
	}
	return filepath.Join(st.dir, oldFiles, hash[:2], hash)
}

// adopt makes a session's folder, unless that was done before. A file that is
// lost costs that file alone.
func (st *store) adopt(s *oldSession) error {
	from := map[string]string{}
	var files []stored
	for _, f := range s.Files {
		path := st.oldPath(f.Hash)
		if _, err := os.Stat(path); err != nil {
			st.warn("session %d: the bytes of %s are lost", s.ID, f.Name)
			continue
		}
		from[f.Hash], files = path, append(files, f)
	}
	s.Files = placed(files)
	s.settle()
	if set, _, err := s.parseSetup(); err == nil {
		s.Foil = foilOf(set)
		s.settle()
	}
	id := s.ID
	for _, e := range st.sessions() {
		if e.Inputs == s.Inputs && e.Added.Equal(s.Added) {
			return nil
		}
		if e.ID == id || id == 0 {
			id = st.nextID()
		}
	}
	return st.place(&s.session, max(id, 1), from, os.Link, s.older)
}

// adoptLogs makes sessions of the logs that no session has, and counts them.
func (st *store) adoptLogs(used map[string]bool) (n int, err error) {
	found, err := filepath.Glob(filepath.Join(globQuoted(st.dir), oldFiles, "*", "*"))
	if err != nil {
		return 0, err
	}
	for _, path := range found {
		f, err := storedFile(kindLog, path)
		if err != nil || used[f.Hash] || st.oldPath(f.Hash) != path {
			continue
		}
		var log *ingest.Log
		if err := guarded(func() (err error) {
			log, err = ingest.Open(path, ingest.Options{MaxValues: valuesMost})
			return err
		}); err != nil {
			continue // no log, or none that can be read; it stays in old/
		}
		f.Name = "log-" + f.Hash[:8] + "." + strings.ToLower(log.Files[0].Kind)
		s := &oldSession{session: session{Added: time.Now().UTC().Truncate(time.Second), Files: []stored{f}}}
		s.describe(nil, log)
		if e := st.holding(&s.session); e != nil {
			continue
		}
		if err := st.adopt(s); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// readOld reads the sessions of an earlier evenfoot's index, as many as can be
// read; damage is why not all.
func (st *store) readOld(index string) (all []*oldSession, damage error) {
	at := filepath.ToSlash(index)
	if !strings.HasPrefix(at, "/") {
		at = "/" + at
	}
	// Not read-only: a change that was cut off is taken back first.
	dsn := url.URL{Scheme: "file", Path: at, RawQuery: "mode=rw&_txlock=exclusive&_pragma=busy_timeout(500)"}
	db, err := sql.Open("sqlite", dsn.String())
	if err != nil {
		return nil, err
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	content := "content"
	var v int
	if err := tx.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
		return nil, err
	}
	if v < 3 {
		content = "hash"
	}
	files := map[int64][]stored{}
	each := func(query string, row func(scan func(...any) error) error) {
		rows, err := tx.Query(query)
		if err == nil {
			defer rows.Close()
			for rows.Next() && err == nil {
				err = row(rows.Scan)
			}
			err = errors.Join(err, rows.Err())
		}
		damage = errors.Join(damage, err)
	}
	each("SELECT session, kind, name, hash, size, "+content+" FROM file ORDER BY session, n", func(scan func(...any) error) error {
		var id int64
		var f stored
		err := scan(&id, &f.Kind, &f.Name, &f.Hash, &f.Size, &f.Content)
		files[id] = append(files[id], f)
		return err
	})
	type version struct {
		setupVersion
		text []byte
	}
	setups := map[int64][]version{}
	each("SELECT session, version, added, name, body FROM setup ORDER BY session, version DESC", func(scan func(...any) error) error {
		var id, added int64
		var t version
		err := scan(&id, &t.Version, &added, &t.Name, &t.text)
		t.Added = time.Unix(added, 0).UTC()
		setups[id] = append(setups[id], t)
		return err
	})
	each("SELECT id, added, start, speeds, title, rider FROM session ORDER BY id", func(scan func(...any) error) error {
		var added int64
		var start sql.NullInt64
		var between []byte
		s := &oldSession{}
		if err := scan(&s.ID, &added, &start, &between, &s.Title, &s.Rider); err != nil {
			return err
		}
		_ = s.Speeds.UnmarshalText(between) // what is no range is none
		s.Added, s.Files = time.Unix(added, 0).UTC(), files[s.ID]
		if start.Valid {
			s.Start = time.Unix(start.Int64, 0).UTC()
		}
		for i, t := range setups[s.ID] {
			if len(t.text) > 0 {
				t.Hash = hash(t.text)
				if i == 0 {
					s.Setup = t.text
				} else {
					s.older = append(s.older, setupText{t.Version, t.text})
				}
			}
			s.Setups = append(s.Setups, t.setupVersion)
		}
		all = append(all, s)
		return nil
	})
	each("SELECT name, value FROM setting", func(scan func(...any) error) error {
		var name, value string
		if err := scan(&name, &value); err != nil {
			return err
		}
		return st.set(name, value)
	})
	each("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'session'", func(scan func(...any) error) error {
		var last int64
		if err := scan(&last); err != nil {
			return err
		}
		return st.remember(func(set *settings) { set.Last = max(set.Last, last) })
	})
	return all, damage
}
