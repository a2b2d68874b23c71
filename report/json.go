package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/finish"
	"evenfoot/analysis/interval"
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
	type athlete struct {
		Name     string                 `json:"name"`
		Sessions []int                  `json:"sessions"`               // by their place above, in order of time
		Drag     []*analysis.DragChange `json:"drag_changes,omitempty"` // likewise, where there are glides
		Changes  []*judgedJSON          `json:"changes"`                // from each to the next; null where the foil is another
	}
	j := struct {
		Schema      string       `json:"schema"`
		Results     []resultJSON `json:"sessions"`
		Athletes    []athlete    `json:"athletes"`
		BeforeAfter *judgedJSON  `json:"before_after"` // of two sessions
		Why         string       `json:"why"`
	}{Schema: c.Schema, BeforeAfter: judgedOf(onlyChange(c), c.Athletes[0].Last(), u), Why: words.WhyNoChange(c)}
	for _, r := range c.Results {
		j.Results = append(j.Results, jsonResult(r, u))
	}
	for _, a := range c.Athletes {
		x := athlete{Name: AthleteName(a.Last()), Changes: []*judgedJSON{}}
		for i, r := range a.Sessions {
			x.Sessions = append(x.Sessions, slices.Index(c.Results, r))
			if i > 0 && slices.ContainsFunc(a.Changes, func(ch analysis.Change) bool { return ch.Drag != nil }) {
				x.Drag = append(x.Drag, a.Changes[i-1].Drag)
			}
			if i > 0 && len(c.Results) > 2 { // of two it stands above
				x.Changes = append(x.Changes, judgedOf(a.Changes[i-1].Judged, r, u))
			}
		}
		j.Athletes = append(j.Athletes, x)
	}
	return writeJSON(w, j)
}

// writeJSON has plain spaces, as scripts like them, for those that do not break.
func writeJSON(w io.Writer, v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("making the JSON: %w", err)
	}
	_, err = w.Write(append(bytes.ReplaceAll(text, []byte(words.NBSP), []byte(" ")), '\n'))
	return err
}

// A resultJSON is a result whose findings are said. A field here takes the
// place of the analysis's own of the same name.
//
// The schema comes first: by it a file is known as ours.
type resultJSON struct {
	Schema   string        `json:"schema"`
	Session  sessionJSON   `json:"session"`
	Mount    *mountJSON    `json:"mount"`
	PitchLaw *lawJSON      `json:"pitch_law"`
	Advice   *adviceJSON   `json:"advice"`
	Other    *otherJSON    `json:"other_rider"`
	Finish   *finishJSON   `json:"finish"`
	Followed *followedJSON `json:"followed"`
	*analysis.Result
}

// An adviceJSON is an advice with its words.
type adviceJSON struct {
	NextStep string `json:"next_step"`
	*advice.Advice
	Cautions     []string          `json:"cautions"`
	WorthKnowing []observationJSON `json:"worth_knowing"`
	Plan         []trialJSON       `json:"plan"`
	Why          []findingJSON     `json:"why"`
}

type observationJSON struct {
	What string `json:"what"`
	advice.Observation
}

type trialJSON struct {
	What  string   `json:"what"`
	How   []string `json:"how"`
	Tells string   `json:"tells"`
	advice.Trial
}

type otherJSON struct {
	*adviceJSON
	Name         string              `json:"name"`
	PitchChange  interval.Interval   `json:"pitch_change_deg"`
	WingWalk     interval.Interval   `json:"wing_walk_mm"`
	PressureMove interval.Interval   `json:"foot_pressure_move_mm"`
	PressureTop  interval.Interval   `json:"foot_pressure_move_top_mm"`
	Curve        []advice.SharePoint `json:"curve"`
	CurveAfter   []advice.SharePoint `json:"curve_after"`
	Notes        []findingJSON       `json:"notes"`
}

type finishJSON struct {
	*finish.Finish
	TrailingEdge string   `json:"trailing_edge"`
	Steps        []string `json:"steps"`
	Cautions     []string `json:"cautions"`
	Notes        []string `json:"notes"`
}

// A judgedJSON is a judgement of a change with its words.
type judgedJSON struct {
	*advice.BeforeAfter
	Changed []string    `json:"changed"`
	Rows    []rowJSON   `json:"rows"`
	Says    string      `json:"says"`
	Next    *adviceJSON `json:"next"`
}

type rowJSON struct {
	What string `json:"what"`
	advice.Comparison
	Says string `json:"says"`
}

type followedJSON struct {
	*analysis.Followed
	Says string `json:"says"`
}

// reasons are the findings of an advice about r.
func reasons(all []advice.Reason, r *analysis.Result, u words.Units) []findingJSON {
	out := []findingJSON{}
	for _, x := range all {
		out = append(out, findingJSON{string(x.Kind), x, u.Reason(x, r)})
	}
	return out
}

// adviceOf says an advice; r holds it as its own.
func adviceOf(r *analysis.Result, u words.Units) *adviceJSON {
	a := r.Advice
	if a == nil {
		return nil
	}
	w := words.For(r, u)
	j := &adviceJSON{NextStep: w.Next, Advice: a, Cautions: append([]string{w.Mind}, w.Every...),
		WorthKnowing: []observationJSON{}, Plan: []trialJSON{}, Why: reasons(a.Why, r, u)}
	for i, x := range w.Plan.Trials {
		j.Plan = append(j.Plan, trialJSON{x.Do, append([]string{}, x.How...), x.Tells, a.Plan[i]})
	}
	for _, o := range a.WorthKnowing {
		j.WorthKnowing = append(j.WorthKnowing, observationJSON{u.Observation(o), o})
	}
	return j
}

func otherOf(r *analysis.Result, u words.Units) *otherJSON {
	x := r.OtherRider
	if x == nil {
		return nil
	}
	return &otherJSON{adviceOf(words.Theirs(r), u), x.Name, x.PitchChange, x.WingWalk, x.PressureMove, x.PressureTop, x.Curve, x.CurveAfter, reasons(x.Notes, r, u)}
}

func finishOf(f *finish.Finish, u words.Units) *finishJSON {
	if f == nil {
		return nil
	}
	return &finishJSON{f, words.TrailingEdge(f), words.FinishSteps(f), words.FinishCautions, u.FinishNotes(f)}
}

func judgedOf(b *advice.BeforeAfter, after *analysis.Result, u words.Units) *judgedJSON {
	if b == nil {
		return nil
	}
	j := &judgedJSON{BeforeAfter: b, Changed: u.Changed(b.Changed), Rows: []rowJSON{}, Says: u.Judgement(b)}
	for _, r := range b.Rows {
		j.Rows = append(j.Rows, rowJSON{u.Row(r), r, string(r.Outcome)})
	}
	j.Next = adviceOf(after, u)
	return j
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
	return &mountJSON{m, u.Say(m.LevelFrom), u.Say(m.Why)}
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
	j := resultJSON{Schema: r.Schema, Result: r, Mount: mountOf(r, u), PitchLaw: lawOf(r, u), Session: sessionJSON{r.Session, findings(r.Session.Warnings, u)},
		Advice: adviceOf(r, u), Other: otherOf(r, u), Finish: finishOf(r.Finish, u)}
	if r.Followed != nil {
		j.Followed = &followedJSON{r.Followed, u.Judgement(r.Followed.Judged)}
	}
	return j
}

func findings(fs []analysis.Finding, u words.Units) []findingJSON {
	out := []findingJSON{}
	for _, f := range fs {
		j := findingJSON{Kind: words.KindOf(f), Numbers: f, Words: u.Say(f)}
		if _, sentence := f.(string); sentence {
			j.Numbers = struct{}{}
		}
		out = append(out, j)
	}
	return out
}
