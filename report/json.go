package report

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// JSON writes a result for scripts: the analysis's numbers, with the words of
// each finding in the given units.
func JSON(w io.Writer, r *analysis.Result, u words.Units) error {
	return writeJSON(w, jsonResult(r, u.OrDefault()))
}

// CompareJSON writes a comparison likewise.
func CompareJSON(w io.Writer, c *analysis.Comparison, u words.Units) error {
	u = u.OrDefault()
	j := struct {
		Schema  string       `json:"schema"`
		Results []resultJSON `json:"sessions"`
		*analysis.Comparison
	}{Schema: c.Schema, Comparison: c}
	for _, r := range c.Results {
		j.Results = append(j.Results, jsonResult(r, u))
	}
	return writeJSON(w, j)
}

func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("making the JSON: %w", err)
	}
	return nil
}

// A resultJSON is a result whose findings are said. A field here takes the
// place of the analysis's own of the same name.
//
// The schema comes first: by it a file is known as ours.
type resultJSON struct {
	Schema   string      `json:"schema"`
	Session  sessionJSON `json:"session"`
	PitchLaw *lawJSON    `json:"pitch_law"`
	Mount    *mountJSON  `json:"mount"`
	*analysis.Result
}

type mountJSON struct {
	*analysis.Mount
	LevelFrom string `json:"level_from"`
	Why       string `json:"why,omitempty"`
}

func mountOf(r *analysis.Result, u words.Units) *mountJSON {
	m := r.Mount
	if m == nil {
		return nil
	}
	return &mountJSON{m, plainSpaces(u.Say(m.LevelFrom)), plainSpaces(u.Say(m.Why))}
}

type lawJSON struct {
	*analysis.PitchLaw
	Bend    []bendJSON    `json:"bend"`
	Missing []findingJSON `json:"missing"`
}

type bendJSON struct {
	analysis.Bend
	Words string `json:"words"` // "" when it does not matter
}

func lawOf(r *analysis.Result, u words.Units) *lawJSON {
	if r.PitchLaw == nil {
		return nil
	}
	j := &lawJSON{PitchLaw: r.PitchLaw, Bend: []bendJSON{}, Missing: findings(r.PitchLaw.Missing, u)}
	for i, b := range r.PitchLaw.Bend {
		j.Bend = append(j.Bend, bendJSON{b, words.Bend(r.Law.Bends[i])})
	}
	return j
}

type sessionJSON struct {
	analysis.Session
	Warnings []findingJSON `json:"warnings"`
}

// A findingJSON is one finding: what kind, its numbers in SI, and the words.
type findingJSON struct {
	Kind    string `json:"kind"`
	Numbers any    `json:"numbers"`
	Words   string `json:"words"`
}

func jsonResult(r *analysis.Result, u words.Units) resultJSON {
	return resultJSON{Schema: r.Schema, Result: r, Mount: mountOf(r, u), PitchLaw: lawOf(r, u), Session: sessionJSON{r.Session, findings(r.Session.Warnings, u)}}
}

func findings(fs []analysis.Finding, u words.Units) []findingJSON {
	out := []findingJSON{}
	for _, f := range fs {
		j := findingJSON{Kind: words.KindOf(f), Numbers: f, Words: plainSpaces(u.Say(f))}
		if _, sentence := f.(string); sentence {
			j.Numbers = struct{}{}
		}
		out = append(out, j)
	}
	return out
}

// plainSpaces is s as scripts like it: without spaces that do not break.
func plainSpaces(s string) string { return strings.ReplaceAll(s, words.NBSP, " ") }
