package report

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/report/words"
)

// JSON writes a result for scripts: the analysis's numbers, with the words of
// each finding in the given units.
func JSON(w io.Writer, r *analysis.Result, u words.Units) error {
	return writeJSON(w, resultOf(r, u.OrDefault()))
}

// CompareJSON writes a comparison likewise.
func CompareJSON(w io.Writer, c *analysis.Comparison, u words.Units) error {
	u = u.OrDefault()
	type athlete struct {
		Name     string                 `json:"name"`
		Sessions []int                  `json:"sessions"`               // by their place above, in order of time
		Drag     []*analysis.DragChange `json:"drag_changes,omitempty"` // likewise, where there are glides
		Changes  []any                  `json:"changes"`                // from each to the next; null where the foil is another
	}
	j := struct {
		Schema      string    `json:"schema"`
		Results     []any     `json:"sessions"`
		Athletes    []athlete `json:"athletes"`
		BeforeAfter any       `json:"before_after"` // of two sessions
		Why         string    `json:"why"`

		LeftOut []analysis.LeftOut `json:"left_out,omitempty"`
	}{LeftOut: c.LeftOut, Schema: c.Schema, BeforeAfter: judgedOf(onlyChange(c), c.Athletes[0].Last(), u), Why: u.Tell("no change judged", c)}
	for _, r := range c.Results {
		j.Results = append(j.Results, resultOf(r, u))
	}
	for _, a := range c.Athletes {
		x := athlete{Name: AthleteName(a.Last()), Changes: []any{}}
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

// A said is an object of the analysis with its words: keys that stand before and
// after its own, and take the place of those of the same name.
type said struct {
	first []key
	of    any
	last  []key
}

type key struct {
	name  string
	value any
}

func (s said) MarshalJSON() ([]byte, error) {
	own, err := json.Marshal(s.of)
	all := slices.Clone(s.first)
	d := json.NewDecoder(bytes.NewReader(own))
	if err == nil {
		_, err = d.Token()
	}
	for err == nil && d.More() {
		var value json.RawMessage
		name, _ := d.Token()
		err = d.Decode(&value)
		if !slices.ContainsFunc(slices.Concat(s.first, s.last), func(k key) bool { return k.name == name }) {
			all = append(all, key{name.(string), value})
		}
	}
	b := []byte{'{'}
	for _, k := range append(all, s.last...) {
		text, bad := json.Marshal(k.value)
		err = cmp.Or(err, bad)
		b = append(fmt.Appendf(b, "%q:", k.name), append(text, ',')...)
	}
	return append(bytes.TrimSuffix(b, []byte(",")), '}'), err
}

// resultOf is a result whose findings are said. The schema comes first: by it a
// file is known as ours.
func resultOf(r *analysis.Result, u words.Units) any {
	keys := []key{{"schema", r.Schema}, {"session", said{nil, r.Session, []key{{"warnings", each(r.Session.Warnings, u.Finding)}}}},
		{"mount", nil}, {"pitch_law", nil}, {"advice", adviceOf(r, u)}, {"other_rider", nil}, {"finish", nil}, {"followed", nil}}
	set := func(name string, of any, more ...key) {
		keys[slices.IndexFunc(keys, func(k key) bool { return k.name == name })].value = said{nil, of, more}
	}
	if m := r.Mount; m != nil {
		more := []key{{"level_from", u.Say(m.LevelFrom)}}
		if why := u.Say(m.Why); why != "" {
			more = append(more, key{"why", why})
		}
		set("mount", m, more...)
	}
	if l := r.PitchLaw; l != nil {
		bends := []any{}
		for i, b := range l.Bend {
			bends = append(bends, said{nil, b, []key{{"words", words.Bend(r.Law.Bends[i])}}}) // "" when it does not matter
		}
		set("pitch_law", l, key{"bend", bends}, key{"missing", each(l.Missing, u.Finding)})
	}
	if x := r.OtherRider; x != nil {
		set("other_rider", adviceOf(words.Theirs(r), u), key{"name", x.Name}, key{"pitch_change_deg", x.PitchChange}, key{"wing_walk_mm", x.WingWalk},
			key{"foot_pressure_move_mm", x.PressureMove}, key{"foot_pressure_move_top_mm", x.PressureTop}, key{"curve", x.Curve}, key{"curve_after", x.CurveAfter}, key{"notes", reasons(x.Notes, r, u)})
	}
	if f := r.Finish; f != nil {
		more := []key{}
		if !f.Told() { // what today's surface costs is not known
			more = []key{{"drag_saving_percent", nil}, {"speed_gain_percent", nil}, {"smooth_enough", nil}, {"papers", nil}}
		}
		if f.Edge == "" {
			more = append(more, key{"trailing_edge_now", nil})
		}
		set("finish", f, append(more, key{"trailing_edge", u.Tell("trailing edge", f)}, key{"steps", u.TellAll("finish steps", f)}, key{"cautions", u.TellAll("sanding", nil)}, key{"notes", u.TellAll("finish rests on", f)})...)
	}
	if f := r.Followed; f != nil {
		set("followed", f, key{"says", u.Judgement(f.Judged)})
	}
	return said{keys, r, nil}
}

// reasons are the findings of an advice about r.
func reasons(all []advice.Reason, r *analysis.Result, u words.Units) []words.Said {
	return each(all, func(x advice.Reason) words.Said {
		return words.Said{Kind: string(x.Kind), Numbers: x, Words: u.Reason(x, r)}
	})
}

// adviceOf says an advice; r holds it as its own.
func adviceOf(r *analysis.Result, u words.Units) any {
	a := r.Advice
	if a == nil {
		return nil
	}
	w := words.For(r, u)
	worth := each(a.WorthKnowing, func(o advice.Observation) said { return said{[]key{{"what", u.Observation(o)}}, o, nil} })
	plan := []said{}
	for i, x := range w.Plan.Trials {
		plan = append(plan, said{[]key{{"what", x.Do}, {"how", append([]string{}, x.How...)}, {"tells", x.Tells}}, a.Plan[i], nil})
	}
	return said{[]key{{"next_step", w.Next}}, a, []key{{"cautions", append([]string{w.Mind}, w.Every...)}, {"worth_knowing", worth}, {"plan", plan}, {"why", reasons(a.Why, r, u)}}}
}

// judgedOf is a judgement of a change with its words.
func judgedOf(b *advice.BeforeAfter, after *analysis.Result, u words.Units) any {
	if b == nil {
		return nil
	}
	rows := each(b.Rows, func(r advice.Comparison) said { return said{[]key{{"what", u.Row(r)}}, r, []key{{"says", r.Outcome}}} })
	return said{nil, b, []key{{"changed", u.Changed(b.Changed)}, {"rows", rows}, {"says", u.Judgement(b)}, {"next", adviceOf(after, u)}}}
}
