package site

import (
	"cmp"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite", without cgo
)

// A store is the library on disk: library.db, the index, and files/, the
// uploaded bytes under the hash of their content.
type store struct {
	dir string
	db  *sql.DB
	// place keeps the putting down and the taking away of files apart: a file
	// may belong to several sessions.
	place sync.Mutex
}

const schemaVersion = 3 // 1 also held the pages; 2 knew logs by their bytes as they came

const schema = `
CREATE TABLE session (
	id INTEGER PRIMARY KEY AUTOINCREMENT, -- never used twice: links stay true
	added INTEGER NOT NULL,               -- Unix seconds
	start INTEGER,                        -- Unix seconds, of the log; null when it tells no date
	speeds TEXT NOT NULL DEFAULT '',      -- low:high in m/s, the speeds that matter; '' takes what was ridden
	title TEXT NOT NULL, rider TEXT NOT NULL,
	inputs TEXT NOT NULL                  -- hash of files, setup and speeds
);
CREATE TABLE summary (inputs TEXT PRIMARY KEY, body TEXT NOT NULL); -- JSON, after the first analysis
CREATE TABLE file (
	session INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
	n INTEGER NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, hash TEXT NOT NULL, size INTEGER NOT NULL,
	content TEXT NOT NULL DEFAULT '', -- hash of what it holds, unpacked
	PRIMARY KEY (session, n)
);
CREATE INDEX file_hash ON file (hash);
CREATE TABLE setup (
	session INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
	version INTEGER NOT NULL, added INTEGER NOT NULL, name TEXT NOT NULL, body BLOB NOT NULL,
	PRIMARY KEY (session, version)
);
CREATE TABLE refused (id INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, names TEXT NOT NULL, reason TEXT NOT NULL);
CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL);
`

func openStore(dir string) (*store, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("the data folder: %w", err)
	}
	st := &store{dir: dir}
	for _, d := range []string{dir, st.files(), st.incoming()} {
		if err := os.MkdirAll(d, 0o700); err != nil {
			return nil, fmt.Errorf("the library cannot be made: %w", err)
		}
	}
	path := filepath.Join(dir, "library.db")
	if err := keepPrivate(path); err != nil {
		return nil, fmt.Errorf("the library's index %s cannot be kept from other users: %w", path, err)
	}
	at := filepath.ToSlash(path)
	if !strings.HasPrefix(at, "/") {
		at = "/" + at
	}
	dsn := url.URL{Scheme: "file", Path: at, RawQuery: "_txlock=immediate&_pragma=busy_timeout(500)&_pragma=locking_mode(exclusive)&_pragma=journal_mode(delete)&_pragma=synchronous(full)&_pragma=foreign_keys(1)&_pragma=secure_delete(1)"}
	if st.db, err = sql.Open("sqlite", dsn.String()); err != nil {
		return nil, fmt.Errorf("the library's index %s: %w", path, err)
	}
	st.db.SetMaxOpenConns(1) // the lock belongs to one connection
	st.db.SetConnMaxLifetime(0)
	if err := st.migrate(); err != nil {
		st.db.Close()
		if strings.Contains(err.Error(), "SQLITE_BUSY") || strings.Contains(err.Error(), "locked") {
			return nil, fmt.Errorf("the library %s is in use by another evenfoot; stop that one, or choose another folder with --data", dir)
		}
		return nil, fmt.Errorf("the library's index %s cannot be used: %w", path, err)
	}
	// What an upload that was cut off left behind. The lock is ours by now.
	if err := sweep(st.incoming()); err != nil {
		st.db.Close()
		return nil, err
	}
	return st, nil
}

// keepPrivate lets nobody else read the index: it holds the key. What sqlite
// puts beside it takes over the index's mode.
func keepPrivate(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	f.Close()
	for _, end := range []string{"", "-journal", "-wal", "-shm"} {
		if err := os.Chmod(path+end, 0o600); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// migrate makes the tables, and takes the lock on the way.
func (st *store) migrate() error {
	return st.change(func(tx *sql.Tx) error {
		var v int
		if err := tx.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
			return err
		}
		if v > schemaVersion {
			return errors.New("it was made by a newer evenfoot; use that one")
		}
		// The version is written each time: a write takes the exclusive lock.
		const known = "ALTER TABLE file ADD COLUMN content TEXT NOT NULL DEFAULT ''; UPDATE file SET content = hash;"
		step := map[int]string{0: schema, 1: "DROP TABLE page_of; DROP TABLE page;" + known, 2: known}[v]
		return execute(tx, fmt.Sprintf("%s PRAGMA user_version = %d", step, schemaVersion))
	})
}

func (st *store) close() error { return st.db.Close() }

func (st *store) files() string    { return filepath.Join(st.dir, "files") }
func (st *store) incoming() string { return filepath.Join(st.dir, "incoming") }

// change runs f in a transaction: all of it happens, or nothing.
func (st *store) change(f func(tx *sql.Tx) error) error {
	tx, err := st.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// list runs a query whose rows are each one JSON value.
func list[T any](db *sql.DB, query string, args ...any) (all []T, err error) {
	rows, err := db.Query(query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var text []byte
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		var v T
		if err := json.Unmarshal(text, &v); err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, rows.Err()
}

// execute runs a statement of a transaction.
func execute(tx *sql.Tx, statement string, args ...any) error {
	_, err := tx.Exec(statement, args...)
	return err
}

// Kinds of a stored file.
const (
	kindLog = "log"
	kindMap = "map" // a column map
)

// A stored file, its bytes under files/ by their hash.
type stored struct {
	Kind, Name, Hash string // Name is a label only; it names nothing on this disk
	Size             int64
	Content          string // tells a log from all others, however it is named or packed
}

// A session of the library.
type session struct {
	ID      int64
	Added   time.Time
	Start   time.Time // zero when the log tells no date
	Speeds  string
	Title   string
	Rider   string
	Inputs  string
	Summary *summary // nil before the first analysis
	Told    string   // the same as JSON
	Files   []stored
	Setups  []setupVersion // the newest first
	Setup   []byte         // the newest; nil without one
	Version int            // of the setup, from 1
	Name    string         // of the setup, for messages
}

// A setupVersion is one of the setups that a session had.
type setupVersion struct {
	Version int
	Added   time.Time
	Name    string
	Body    string // empty where the setup was taken away
}

// inputsHash tells sessions apart by what is analysed.
func (s *session) inputsHash() string {
	b, err := json.Marshal([]any{s.Files, s.Setup, s.Speeds})
	if err != nil {
		return ""
	}
	return hash(b)
}

func hash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

var errGone = errors.New("there is no such session in the library; it may have been deleted")

// session reads one session whole.
func (st *store) session(id int64) (*session, error) {
	all, err := st.sessions("WHERE id = ?", id)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, errGone
	}
	return all[0], nil
}

// moment is SQL for Unix seconds as JSON has times.
func moment(column string) string { return "strftime('%FT%TZ', " + column + ", 'unixepoch')" }

var everySession = `SELECT json_object('ID', id, 'Added', ` + moment("added") + `, 'Start', ` + moment("start") + `, 'Speeds', speeds,
		'Title', title, 'Rider', rider, 'Inputs', inputs, 'Told', body,
		'Files', json((SELECT json_group_array(json_object('Kind', kind, 'Name', name, 'Hash', hash, 'Size', size, 'Content', content) ORDER BY n) FROM file WHERE session = id)),
		'Setups', json((SELECT json_group_array(json_object('Version', version, 'Added', ` + moment("added") + `, 'Name', name, 'Body', CAST(body AS TEXT)) ORDER BY version DESC)
			FROM setup WHERE session = id)))
	FROM session LEFT JOIN summary USING (inputs) `

// sessions reads the library, newest first, as it is at one moment.
func (st *store) sessions(where string, args ...any) ([]*session, error) {
	all, err := list[*session](st.db, everySession+where+" ORDER BY coalesce(start, added) DESC, id DESC", args...)
	for _, s := range all {
		if json.Unmarshal([]byte(s.Told), &s.Summary) != nil {
			s.Summary = nil // of another version; the next analysis writes it anew
		}
		if len(s.Setups) > 0 {
			s.Version, s.Name = s.Setups[0].Version, s.Setups[0].Name
			if text := s.Setups[0].Body; text != "" {
				s.Setup = []byte(text)
			}
		}
	}
	return all, err
}

// holding is the session that has all logs of s, whatever their names or its
// setup; 0 when none has.
func (st *store) holding(s *session) (id int64, err error) {
	logs := s.logs()
	if len(logs) == 0 {
		return 0, nil
	}
	b, err := json.Marshal(logs)
	if err != nil {
		return 0, err
	}
	err = st.db.QueryRow("SELECT session FROM file WHERE kind = ? AND content IN (SELECT value FROM json_each(?)) GROUP BY session HAVING count(DISTINCT content) = ?", kindLog, string(b), len(logs)).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return id, err
}

// logs tells what is in a session's logs, each once.
func (s *session) logs() (out []string) {
	for _, f := range s.Files {
		if f.Kind == kindLog && !slices.Contains(out, f.Content) {
			out = append(out, f.Content)
		}
	}
	return out
}

// sharesLog says whether two sessions hold a log in common: they are of one
// outing, which counts once.
func (s *session) sharesLog(e *session) bool {
	return slices.ContainsFunc(s.logs(), func(h string) bool { return slices.Contains(e.logs(), h) })
}

// add puts a session into the library: its files first, then its rows, in one
// transaction. A session of the very same inputs is not added again.
func (st *store) add(s *session, in []*incoming) (id int64, again bool, err error) {
	st.place.Lock()
	defer st.place.Unlock()
	s.Inputs = s.inputsHash()
	err = st.db.QueryRow("SELECT id FROM session WHERE inputs = ?", s.Inputs).Scan(&id)
	if err == nil {
		return id, true, nil
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return 0, false, err
	}
	if id, err = st.holding(s); err != nil || id != 0 {
		return id, id != 0, err
	}
	placed, err := st.put(in)
	if err == nil {
		err = st.change(func(tx *sql.Tx) error { return errors.Join(unsayLater(tx, s), insert(tx, s)) })
	}
	if err != nil {
		for _, p := range placed {
			os.Remove(p)
		}
		return 0, false, fmt.Errorf("the session could not be kept: %w", err)
	}
	return s.ID, false, nil
}

func insert(tx *sql.Tx, s *session) error {
	res, err := tx.Exec("INSERT INTO session (added, start, speeds, title, rider, inputs) VALUES (?, ?, ?, ?, ?, ?)",
		s.Added.Unix(), unixOrNull(s.Start), s.Speeds, s.Title, s.Rider, s.Inputs)
	if err != nil {
		return err
	}
	if s.ID, err = res.LastInsertId(); err != nil {
		return err
	}
	for n, f := range s.Files {
		if err := execute(tx, "INSERT INTO file (session, n, kind, name, hash, size, content) VALUES (?, ?, ?, ?, ?, ?, ?)", s.ID, n, f.Kind, f.Name, f.Hash, f.Size, f.Content); err != nil {
			return err
		}
	}
	if s.Setup == nil {
		return nil
	}
	return insertSetup(tx, s, 1, s.Added)
}

func insertSetup(tx *sql.Tx, s *session, version int, at time.Time) error {
	body := append([]byte{}, s.Setup...) // not null where it is taken away
	return execute(tx, "INSERT INTO setup (session, version, added, name, body) VALUES (?, ?, ?, ?, ?)", s.ID, version, at.Unix(), s.Name, body)
}

func unixOrNull(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Unix()
}

// correct gives a session a new setup; the old ones are kept. s holds the new
// title, rider, name and text. base is the version that the user started from.
func (st *store) correct(s *session, base int) error {
	return st.change(func(tx *sql.Tx) error {
		var v int
		if err := tx.QueryRow("SELECT coalesce(max(version), 0) FROM setup WHERE session = ?", s.ID).Scan(&v); err != nil {
			return err
		}
		if v != base {
			return errors.New("the setup was changed elsewhere in the meantime; load the page again, so that neither change is lost")
		}
		if err := unsayLater(tx, s); err != nil {
			return err
		}
		res, err := tx.Exec("UPDATE session SET title = ?, rider = ?, inputs = ? WHERE id = ?", s.Title, s.Rider, s.inputsHash(), s.ID)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return errors.Join(errGone, err)
		}
		return insertSetup(tx, s, v+1, time.Now())
	})
}

// delete takes a session away, and the files that no other session has.
func (st *store) delete(id int64) error {
	st.place.Lock()
	defer st.place.Unlock()
	s, err := st.session(id)
	if err != nil {
		return err
	}
	alone, err := list[string](st.db, "SELECT DISTINCT json_quote(hash) FROM file WHERE session = ?1 AND hash NOT IN (SELECT hash FROM file WHERE session <> ?1)", id)
	if err != nil {
		return err
	}
	err = st.change(func(tx *sql.Tx) error {
		return cmp.Or(unsayLater(tx, s), execute(tx, "DELETE FROM session WHERE id = ?", id),
			execute(tx, "DELETE FROM summary WHERE inputs NOT IN (SELECT inputs FROM session)"))
	})
	if err != nil {
		return err
	}
	for _, h := range alone {
		if err := os.Remove(st.path(h)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("the session is deleted, but one of its files could not be removed: %w", err)
		}
	}
	return nil
}

// summarise keeps what the library's list shows of a session, unless it was
// deleted meanwhile.
func (st *store) summarise(inputs string, sum *summary) error {
	b, err := json.Marshal(sum)
	if err != nil {
		return err
	}
	_, err = st.db.Exec("INSERT OR REPLACE INTO summary (inputs, body) SELECT ?1, ?2 WHERE EXISTS (SELECT 1 FROM session WHERE inputs = ?1)", inputs, string(b))
	return err
}

// unsayLater lets go of what the list shows of the later sessions of a rider,
// by the name that s has and had: s counts in them, or did.
func unsayLater(tx *sql.Tx, s *session) error {
	return execute(tx, "DELETE FROM summary WHERE inputs IN (SELECT inputs FROM session WHERE start > ?1 AND rider IN (?2, (SELECT rider FROM session WHERE id = ?3)))",
		unixOrNull(s.Start), s.Rider, s.ID)
}

// A refusal is an upload that could not be read.
type refusal struct {
	At     time.Time
	Names  []string
	Reason string
}

// refusalsKept is how many refused uploads are listed.
const refusalsKept = 50

func (st *store) refuse(names []string, reason string) error {
	b, err := json.Marshal(names)
	if err != nil {
		return err
	}
	return st.change(func(tx *sql.Tx) error {
		if err := execute(tx, "INSERT INTO refused (at, names, reason) VALUES (?, ?, ?)", time.Now().Unix(), string(b), reason); err != nil {
			return err
		}
		return execute(tx, "DELETE FROM refused WHERE id NOT IN (SELECT id FROM refused ORDER BY id DESC LIMIT ?)", refusalsKept)
	})
}

func (st *store) refusals() ([]refusal, error) {
	return list[refusal](st.db, "SELECT json_object('At', "+moment("at")+", 'Names', json(names), 'Reason', reason) FROM refused ORDER BY id DESC")
}

func (st *store) clearRefused() error {
	_, err := st.db.Exec("DELETE FROM refused")
	return err
}

func (st *store) setting(name string) string {
	var v string
	if st.db.QueryRow("SELECT value FROM setting WHERE name = ?", name).Scan(&v) != nil {
		return ""
	}
	return v
}

func (st *store) set(name, value string) error {
	_, err := st.db.Exec("INSERT INTO setting (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", name, value)
	return err
}

// orphans counts files that no session has: what a power cut between file and
// index leaves, or an index that was lost.
func (st *store) orphans() (n int, err error) {
	known, err := list[string](st.db, "SELECT json_quote(hash) FROM file")
	if err != nil {
		return 0, err
	}
	there, err := fs.Glob(os.DirFS(st.files()), "*/*")
	for _, f := range there {
		if !slices.Contains(known, path.Base(f)) {
			n++
		}
	}
	return n, err
}
