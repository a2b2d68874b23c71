//go:build js

package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
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
		m := moment{At: t.UTC().Format(clockLayout), Text: text, Marked: marked}
		for _, said := range r.Setup.Mark {
			if math.Abs(said.At-secondsOfDay(t)) < 1 {
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

func secondsOfDay(t time.Time) float64 {
	t = t.UTC()
	return t.Sub(t.Truncate(24 * time.Hour)).Seconds()
}

// markOf is a setup with what is said of one moment, or without.
func markOf(q request) (r reply, err error) {
	f, err := form.Read([]byte(q.Text))
	if err != nil {
		return r, err
	}
	n := 0
	for name, at := range f {
		if i, ok := strings.CutSuffix(strings.TrimPrefix(name, "mark."), ".at"); ok && strings.HasPrefix(name, "mark.") {
			k, err := strconv.Atoi(i)
			if err != nil {
				return r, err
			}
			if at == q.At {
				n = k
				break
			}
			n = max(n, k+1)
		}
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
