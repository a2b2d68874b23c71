package site

import (
	"cmp"
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

	"evenfoot/analysis/setup"
	"evenfoot/ingest"
)

// A session is one outing in the library. Its folder, sessions/ID, holds the logs
// and column maps, setup.toml, the setups before that under .setups/VERSION.toml,
// and .evenfoot.json, the sidecar, which is this struct. Logs and setup are what
// counts: without the sidecar the session is found anew from them, and a
// setup.toml that is not the one that the sidecar knows is the newer one.
type session struct {
	Schema  int            `json:"evenfoot_session"`
	Added   time.Time      `json:"added"`
	Start   time.Time      `json:"start,omitzero"`       // zero when the log tells no date
	Speeds  string         `json:"speeds_mps,omitempty"` // low:high, the speeds that matter; "" takes what was ridden
	Title   string         `json:"title"`                // of the setup, or a log's name
	Rider   string         `json:"rider,omitempty"`
	Foil    *foil          `json:"foil,omitempty"`          // nil without a setup
	Made    string         `json:"described_by"`            // the version of the program that took them from the setup
	Files   []stored       `json:"files"`                   // in the order that they came in
	Setups  []setupVersion `json:"setups,omitempty"`        // the newest first
	Summary *summary       `json:"summary,omitempty"`       // nil before the first analysis
	Others  []string       `json:"other_outings,omitempty"` // logs that the user said are of another outing, as Content

	ID      int64  `json:"-"`
	Setup   []byte `json:"-"` // the newest; nil without one
	Version int    `json:"-"` // of the setup, from 1
	Name    string `json:"-"` // of the setup, for messages
	Inputs  string `json:"-"` // tells apart what is analysed
	dir     string
	mended  bool         // the sidecar on the disk says otherwise
	holds   []string     // its logs
	words   []string     // what a search finds it by
	known   *setup.Setup // of the foil and the rider alone; nil without a setup
}

const (
	sidecarName   = ".evenfoot.json"
	sidecarSchema = 1
	setupsFolder  = ".setups"
)

// Kinds of a stored file.
const (
	kindLog = "log"
	kindMap = "map" // a column map
)

// A stored file, in its session's folder.
type stored struct {
	Kind    string `json:"kind"`
	Name    string `json:"name"` // as it came: a label only, it names nothing on this disk
	At      string `json:"at"`   // its name in the folder
	Hash    string `json:"sha256"`
	Size    int64  `json:"bytes"`
	Content string `json:"content_sha256"` // tells a log from all others, however it is named or packed
	span
	Spot *place `json:"spot,omitempty"` // where, coarsely; nil without a track or where another version did not note it
}

// A span is when a log was; zero without a date.
type span struct {
	From time.Time `json:"from,omitzero"`
	To   time.Time `json:"to,omitzero"`
}

// A setupVersion is one of the setups that a session had.
type setupVersion struct {
	Version int       `json:"version"`
	Added   time.Time `json:"added"`
	Name    string    `json:"name"`
	Hash    string    `json:"sha256,omitempty"`        // "" where the setup was taken away
	Unkept  bool      `json:"text_not_kept,omitempty"` // another text was laid over it by hand
}

// A foil is what decides whether sessions are evidence for each other.
type foil struct {
	Mass           float64 `json:"rider_kg"`
	WingArea       float64 `json:"wing_m2"`
	WingSpan       float64 `json:"wing_span_m"`
	StabilizerArea float64 `json:"stabilizer_m2"`
	StabilizerSpan float64 `json:"stabilizer_span_m"`
}

func foilOf(set *setup.Setup) *foil {
	if set == nil {
		return nil
	}
	f := set.Foil
	return &foil{set.Rider.Mass, f.Wing.Area, f.Wing.Span, f.Stabilizer.Area, f.Stabilizer.Span}
}

// settle works out what is not kept.
func (s *session) settle() {
	s.known, s.Version, s.Name, s.holds = nil, 0, ingest.SetupName, s.logs()
	s.words = strings.FieldsFunc(strings.ToLower(s.Title+" "+s.Rider+" "+s.When()+" "+s.Day()), func(r rune) bool { return r == ' ' || r == ',' })
	if len(s.Setups) > 0 {
		s.Version, s.Name = s.Setups[0].Version, s.Setups[0].Name
	}
	if f := s.Foil; f != nil {
		s.known = &setup.Setup{Rider: setup.Rider{Name: s.Rider, Mass: f.Mass}}
		s.known.Foil.Wing.Area, s.known.Foil.Wing.Span = f.WingArea, f.WingSpan
		s.known.Foil.Stabilizer.Area, s.known.Foil.Stabilizer.Span = f.StabilizerArea, f.StabilizerSpan
	}
	var files []string
	for _, f := range s.Files {
		files = append(files, f.Kind, f.Name, f.Hash)
	}
	if b, err := json.Marshal([]any{files, s.Setup, s.Speeds}); err == nil {
		s.Inputs = hash(b)
	}
}

// revise notes that Setup is another than before.
func (s *session) revise(version int, at time.Time, name string) {
	v := setupVersion{Version: version, Added: at, Name: name}
	if s.Setup != nil {
		v.Hash = hash(s.Setup)
	}
	s.Setups = append([]setupVersion{v}, s.Setups...)
	s.settle()
}

// sidecar is the sidecar to be written; s may be on show and is only read.
func (s *session) sidecar() (file, error) {
	own := *s
	own.Schema = sidecarSchema
	b, err := json.MarshalIndent(own, "", "  ")
	return file{filepath.Join(s.dir, sidecarName), b}, err
}

// oldSetup is where a version of the setup that is not the newest is kept.
func (s *session) oldSetup(version int) string {
	return filepath.Join(s.dir, setupsFolder, strconv.Itoa(version)+".toml")
}

// A setupText is an older setup on its way.
type setupText struct {
	version int
	text    []byte
}

var errUnkept = errors.New("its text was not kept: another was laid over it by hand")

// textOf reads one of the setups.
func (s *session) textOf(v setupVersion) ([]byte, error) {
	switch {
	case v.Unkept:
		return nil, errUnkept
	case v.Hash == "":
		return nil, nil
	case v.Version == s.Version:
		return s.Setup, nil
	}
	return os.ReadFile(s.oldSetup(v.Version))
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
	for _, h := range s.holds {
		if slices.Contains(e.holds, h) {
			return true
		}
	}
	return false
}

// twinWithin is how far two recordings of one outing begin, and end, apart. Not
// tuned on data: what a device or a format leaves out at the ends.
const twinWithin = 10 * time.Second

// beginsWithin is how far apart two sessions of one outing can begin at all.
const beginsWithin = 24 * time.Hour

// seems says whether two sessions seem to be of one outing that came in two
// formats: a log of each begins and ends with one of the other, not far from it, no
// two names tell them apart, and nobody said that they are two.
func (s *session) seems(e *session) bool {
	if s.ID == e.ID || s.Rider != e.Rider && s.Rider != "" && e.Rider != "" || s.when().Sub(e.when()).Abs() > beginsWithin {
		return false // as nearly always
	}
	return slices.ContainsFunc(s.dated(), func(a stored) bool {
		return slices.ContainsFunc(e.dated(), func(b stored) bool {
			return a.From.Sub(b.From).Abs() <= twinWithin && a.To.Sub(b.To).Abs() <= twinWithin &&
				(a.Spot == nil || b.Spot == nil || a.Spot.from(*b.Spot) <= spotsApart)
		})
	}) && !s.sharesLog(e) && !s.other(e) && !e.other(s)
}

// dated are the logs with a date, or all as one where another version did not note
// them.
func (s *session) dated() (out []stored) {
	for _, f := range s.Files {
		if !f.From.IsZero() {
			out = append(out, f)
		}
	}
	if len(out) == 0 && !s.Start.IsZero() && s.Summary != nil && s.Summary.Duration > 0 {
		out = []stored{{span: span{s.Start, s.Start.Add(time.Duration(s.Summary.Duration * float64(time.Second)))}}}
	}
	return out
}

// other says whether the user said that e is another outing.
func (s *session) other(e *session) bool {
	return slices.ContainsFunc(s.Others, func(h string) bool { return slices.Contains(e.holds, h) })
}

// countsOnce says whether two sessions are, or seem to be, of one outing.
func (s *session) countsOnce(e *session) bool { return s.sharesLog(e) || s.seems(e) }

// stands says whether of two sessions of one outing s is the one that counts: that
// with a setup, else with more logs, else the one that was there first.
func (s *session) stands(e *session) bool {
	if (s.known == nil) != (e.known == nil) {
		return s.known != nil
	}
	return cmp.Or(len(s.holds)-len(e.holds), cmp.Compare(e.ID, s.ID)) > 0
}

// withOnce adds e to sessions that are each of an outing of its own; of e and those
// that count once with it one remains.
func withOnce(all []*session, e *session) []*session {
	if slices.ContainsFunc(all, func(a *session) bool { return a.countsOnce(e) && a.stands(e) }) {
		return all
	}
	return append(slices.DeleteFunc(all, e.countsOnce), e)
}

// at is where a file of the session is.
func (s *session) at(f stored) string { return filepath.Join(s.dir, f.At) }

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
