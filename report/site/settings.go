package site

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"evenfoot/ingest"
)

// settings are what the library remembers beside its sessions.
type settings struct {
	Values  map[string]string `json:"values"`
	Last    int64             `json:"last_deleted"`       // the highest number of a deleted session: links stay true
	Kept    []int64           `json:"sessions,omitempty"` // the numbers of all that are to be there
	Refused []refusal         `json:"refused,omitempty"`
}

// A refusal is an upload that could not be read.
type refusal struct {
	At     time.Time `json:"at"`
	Names  []string  `json:"names"`
	Reason string    `json:"reason"`
}

// refusalsKept is how many refused uploads are listed.
const refusalsKept = 50

func (st *store) refuse(names []string, reason string) error {
	return st.remember(func(set *settings) {
		set.Refused = append([]refusal{{time.Now().UTC(), names, reason}}, set.Refused...)
		set.Refused = set.Refused[:min(len(set.Refused), refusalsKept)]
	})
}

// refusals are the latest first.
func (st *store) refusals() []refusal { return st.prefs.Load().Refused }

func (st *store) clearRefused() error {
	return st.remember(func(set *settings) { set.Refused = nil })
}

func (st *store) setting(name string) string { return st.prefs.Load().Values[name] }

func (st *store) set(name, value string) error {
	return st.remember(func(set *settings) {
		values := map[string]string{name: value}
		for k, v := range set.Values {
			if k != name {
				values[k] = v
			}
		}
		set.Values = values
	})
}

// remember changes the settings: in memory in any case, and on the disk where
// that can be written.
func (st *store) remember(change func(*settings)) error {
	st.prefsMu.Lock()
	defer st.prefsMu.Unlock()
	set := *st.prefs.Load()
	change(&set)
	st.prefs.Store(&set)
	if st.readOnly != nil {
		return nil
	}
	b, err := json.MarshalIndent(&set, "", "  ")
	if err == nil {
		err = st.write(file{st.settingsFile(), b})
	}
	if err != nil {
		return fmt.Errorf("the change holds until evenfoot is stopped, but cannot be written to the disk: %w", ingest.Cause(err))
	}
	return nil
}

// expect notes that sessions are to be there, so that one that is lost is missed.
func (st *store) expect(ids ...int64) error {
	kept := slices.Concat(st.prefs.Load().Kept, ids)
	slices.Sort(kept)
	if kept = slices.Compact(kept); len(kept) == len(st.prefs.Load().Kept) {
		return nil
	}
	return st.remember(func(set *settings) { set.Kept = kept })
}

// missed says which sessions were lost with their folder.
func (st *store) missed() (faults []error) {
	for _, id := range st.prefs.Load().Kept {
		if _, err := os.Stat(st.folderOf(id)); errors.Is(err, fs.ErrNotExist) {
			faults = append(faults, fmt.Errorf("sessions/%d is lost; import it from a backup, or take %d out of \"sessions\" in settings.json if it was removed on purpose", id, id))
		}
	}
	return faults
}
