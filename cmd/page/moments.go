//go:build js

package main

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// A moment of the log is a mark, or one that is asked about. What is said of it
// stands in the setup.
type moment struct {
	At     string `json:"at"` // UTC, as the setup has it
	Text   string `json:"text"`
	Marked bool   `json:"marked"`
	Front  string `json:"front"` // what the setup says of it
}

const clockLayout = "15:04:05"

// moments are those of a dated log that the setup can say something of.
func moments(r *analysis.Result, u words.Units) (out []moment) {
	if r.Setup == nil {
		return nil
	}
	add := func(t time.Time, text string, marked bool) {
		t = t.Truncate(time.Second) // as the page shows it, and gives it back
		m := moment{At: t.UTC().Format(clockLayout), Text: text, Marked: marked}
		for _, said := range r.Setup.Mark {
			if saidAt(said, t) {
				m.Front = said.Front.Said
			}
		}
		out = append(out, m)
	}
	for _, m := range r.Marks {
		if m.Time != nil {
			when, what, became := u.Mark(m)
			add(*m.Time, when+", "+what+": "+became, true)
		}
	}
	for i, text := range words.PlanFor(r, u).Ask {
		add(r.Questions[i].Time, text, false)
	}
	return out
}

// saidAt says whether a mark of the setup is of a moment of the day.
func saidAt(m setup.Mark, t time.Time) bool {
	hour, minute, second := t.UTC().Clock()
	return math.Abs(m.At-float64(hour*3600+minute*60+second)) < 1
}

// markOf is a setup with what is said of one moment, or without.
func markOf(q request) (r reply, err error) {
	f, err := form.Read([]byte(q.Text))
	if err != nil {
		return r, err
	}
	at, err := time.Parse(clockLayout, q.At)
	if err != nil {
		return r, err
	}
	was, _, err := setup.Parse("", []byte(q.Text))
	if err != nil {
		return r, err
	}
	n := slices.IndexFunc(was.Mark, func(m setup.Mark) bool { return saidAt(m, at) })
	if n < 0 {
		n = len(was.Mark)
	}
	entry := fmt.Sprintf("mark.%d.", n)
	f[entry+"at"], f[entry+"front"] = q.At, q.Front
	if q.Front == "" {
		f[entry+"at"] = ""
	}
	if r.Text, err = f.TOML(); err == nil {
		_, _, err = setup.Parse("", []byte(r.Text))
	}
	return r, err
}
