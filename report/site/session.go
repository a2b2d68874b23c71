package site

import (
	"cmp"
	"encoding/json"
	"errors"
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
	Start   time.Time      `json:"start,omitzero"`      // zero when the log tells no date
	Speeds  speeds         `json:"speeds_mps,omitzero"` // that matter; zero takes what was ridden
	Title   string         `json:"title"`               // of the setup, or a log's name
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
// which can be analysed, else with a setup, else that shows the board's motion, else
// with more logs, else the one that was there first.
func (s *session) stands(e *session) bool {
	return cmp.Or(s.worth()-e.worth(), len(s.holds)-len(e.holds), cmp.Compare(e.ID, s.ID)) > 0
}

// worth is what a session tells, in the order of stands.
func (s *session) worth() (n int) {
	if s.Summary == nil || s.Summary.Unanalysed == "" {
		n = 4
	}
	if s.known != nil {
		n += 2
	}
	if s.Summary != nil && s.Summary.Pitch {
		n++
	}
	return n
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
