//go:build js

// Command page is evenfoot in a worker of a browser: it answers the page's
// requests with the readers, the analysis and the report that the command has.
// The files lie in the browser's private file system, which the worker shows to
// Go as a plain one.
//
// It imports report, analysis, ingest and syscall/js.
package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path"
	"runtime/debug"
	"strconv"
	"strings"
	"syscall/js"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
	"evenfoot/report"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// version is set when the page is built.
var version = "unknown"

// gcPercent keeps two hours of log below 400 MB: memory that a browser has given
// is never taken back.
const gcPercent = 50

func main() {
	debug.SetGCPercent(gcPercent)
	js.Global().Set("evenfoot", js.FuncOf(func(_ js.Value, args []js.Value) any {
		ask, stage := args[0].String(), args[1]
		return promise(func() any { return answer(ask, func(s string) { stage.Invoke(s) }) })
	}))
	select {} // answers until the worker ends
}

// promise runs work and resolves with what it gives.
func promise(work func() any) js.Value {
	var begin js.Func
	begin = js.FuncOf(func(_ js.Value, args []js.Value) any {
		resolve := args[0]
		go func() {
			defer begin.Release()
			resolve.Invoke(work())
		}()
		return nil
	})
	return js.Global().Get("Promise").New(begin)
}

// A request is what the page wants.
type request struct {
	Do      string            `json:"do"`
	Folder  string            `json:"folder"`  // of the session
	Folders []string          `json:"folders"` // to be compared or packed
	Beside  []string          `json:"beside"`  // sessions that may be evidence
	Units   string            `json:"units"`
	Options map[string]string `json:"options"` // low and high, the speeds that matter most; outing; and another rider's words
	Text    string            `json:"text"`    // a setup
	Fields  map[string]string `json:"fields"`
	File    string            `json:"file"`
	At      string            `json:"at"`    // a moment, UTC
	Front   string            `json:"front"` // what was felt then, "" for nothing
	stage   func(string)
	units   words.Units
}

// A reply is the answer, as far as the request has one.
type reply struct {
	Error    string         `json:"error,omitempty"`
	HTML     string         `json:"html,omitempty"` // the page, or the form
	JSON     string         `json:"json,omitempty"`
	Text     string         `json:"text,omitempty"` // the words, or the setup
	Warnings []string       `json:"warnings,omitempty"`
	Maps     []columnMap    `json:"maps,omitempty"` // column maps, to be corrected
	Earlier  []string       `json:"earlier,omitempty"`
	Names    []string       `json:"names,omitempty"`
	Wrong    []form.Problem `json:"wrong,omitempty"` // beside the fields of a form
	Moments  []form.Moment  `json:"moments,omitempty"`
	Feels    []string       `json:"feels,omitempty"` // words for what was felt at one
}

var answers = map[string]func(request) (reply, error){
	"report": reportOf, "plan": planOf, "mark": markOf, "compare": compare, "form": formOf, "toml": tomlOf, "pack": pack, "unpack": unpack,
	"version": func(request) (reply, error) {
		return reply{Text: version, Names: setup.KeyNamed("rider.level").Words}, nil
	},
}

func answer(ask string, stage func(string)) (out string) {
	var q request
	var r reply
	defer func() {
		if p := recover(); p != nil {
			r = reply{Error: fmt.Sprintf("this is a fault of evenfoot's: %v", p)}
		}
		text, _ := json.Marshal(r)
		out = string(text)
	}()
	err := json.Unmarshal([]byte(ask), &q)
	if err == nil {
		q.stage = stage
		q.units, err = words.ParseUnits(q.Units)
		q.units.Forms = true
	}
	do := answers[q.Do]
	if err == nil && do == nil {
		err = fmt.Errorf("the page asks for %q, which this version does not know; load the page again", q.Do)
	}
	if err == nil {
		r, err = do(q)
	}
	if err = q.units.Explain(err); err != nil {
		r.Error = err.Error()
		var bad *setup.Error
		if errors.As(err, &bad) {
			if q.Folder == "" { // it is of a form, and not of a file
				r.Error = bad.What
			}
		}
	}
	debug.FreeOSMemory()
	return out
}

// reportOf is what the command report writes for a folder.
func reportOf(q request) (r reply, err error) {
	result, err := q.result(&r)
	if err != nil {
		return r, err
	}
	opt := q.sheet()
	var page, numbers, text bytes.Buffer
	err = errors.Join(report.HTML(&page, result, opt), report.JSON(&numbers, result, opt.Units),
		report.Text(&text, result, report.TextOptions{Units: q.units}))
	r.HTML, r.JSON, r.Text = page.String(), numbers.String(), text.String()
	return r, err
}

// sheet is how the command writes its pages: they are the same from here.
func (q request) sheet() report.Options {
	q.units.Forms = false
	return report.Options{Units: q.units, Version: version, Now: time.Now()}
}

// planOf is what the command plan writes.
func planOf(q request) (r reply, err error) {
	result, err := q.result(&r)
	if err != nil {
		return r, err
	}
	if result.Setup == nil {
		return r, errors.New("a plan needs the setup: the foil that it is for")
	}
	var text bytes.Buffer
	err = report.PlanText(&text, result, report.TextOptions{Units: q.units})
	r.Text = text.String()
	return r, err
}

// result analyses a folder with its evidence, and fills in what every answer
// says of it.
func (q request) result(r *reply) (*analysis.Result, error) {
	var read ingest.Options
	if n := strings.TrimSpace(q.Options["outing"]); n != "" {
		var err error
		if read.Outing, err = strconv.Atoi(n); err != nil || read.Outing < 1 {
			return nil, fmt.Errorf("the outing %.20q is no number from 1 on", n)
		}
	}
	s, err := analysis.Open(q.Folder, read)
	if err != nil {
		if r.Maps = maps(q.Folder); len(r.Maps) > 0 { // each says what is wrong
			err = errors.New("There is no log yet that can be read; what it takes stands below.")
		}
		return nil, err
	}
	req := analysis.Request{Progress: q.stage}
	if text := setup.RiderText(q.Options, q.units.Mass, q.units.Length); text != "" {
		if s.Setup == nil {
			return nil, errors.New("another rider needs the setup: the foil that they would stand on")
		}
		if req.Other, err = setup.ParseRider(text, s.Setup); err != nil {
			return nil, err
		}
	}
	low, high := q.Options["low"], q.Options["high"]
	switch {
	case low != "" || high != "":
		req.Range, err = q.units.ParseRange(low, high)
	case q.Do == "plan" && s.Log == nil && s.Setup != nil:
		req.Range = analysis.UsualRange(s.Setup)
	}
	if err != nil {
		return nil, err
	}
	var unread []error
	req.Earlier, unread = s.Earlier(q.Beside)
	for _, err := range unread {
		r.Warnings = append(r.Warnings, err.Error())
	}
	result, err := s.Analyse(req)
	if err != nil {
		return nil, err
	}
	r.Earlier = result.Session.Earlier
	for _, w := range s.Odd {
		r.Warnings = append(r.Warnings, words.Sentence(w))
	}
	for _, w := range result.Session.Warnings {
		r.Warnings = append(r.Warnings, words.Sentence(q.units.Say(w)))
		if w, ok := w.(ingest.Warning); ok && w.Kind == raw.LeftAside {
			r.Maps = maps(q.Folder)
		}
	}
	r.Moments, r.Feels = form.Moments(result, q.units), form.Meanings()
	return result, nil
}

// A columnMap is a file's text, and why the table beside it cannot be read.
type columnMap struct {
	Name  string `json:"name"`
	Text  string `json:"text"`
	Wrong string `json:"wrong"`
}

// maps are column maps for the tables of a folder that cannot be read: what lies
// beside them, or a guess.
func maps(dir string) (out []columnMap) {
	found, _ := ingest.Folder(dir)
	for _, log := range found.Logs {
		_, err := ingest.Open(log, ingest.Options{})
		if err == nil {
			continue
		}
		m := columnMap{Name: csv.Beside(log), Wrong: err.Error()}
		if text, unread := os.ReadFile(m.Name); unread == nil {
			m.Text = string(text)
		} else if what, needs := csv.NeedsMap(err); needs {
			m.Name, m.Wrong = csv.MapName(log), what
			m.Text, _ = ingest.ProposeMap(log)
		} else {
			continue
		}
		m.Name, m.Wrong = path.Base(m.Name), strings.ReplaceAll(m.Wrong, dir+"/", "")
		out = append(out, m)
	}
	return out
}

// compare is what the command of that name writes.
func compare(q request) (r reply, err error) {
	var results []*analysis.Result
	sets := analysis.SetupsIn(q.Folders)
	for i, dir := range q.Folders {
		s, err := analysis.Open(dir, ingest.Options{})
		if err != nil {
			return r, err
		}
		s.Setup = cmp.Or(sets[i], s.Setup)
		result, err := s.Analyse(analysis.Request{Progress: q.stage})
		if err != nil {
			return r, fmt.Errorf("%s: %w", s.Name, q.units.Explain(err))
		}
		results = append(results, result.Light())
	}
	c, err := analysis.Compare(results)
	if err != nil {
		return r, err
	}
	var page, text bytes.Buffer
	err = errors.Join(report.CompareHTML(&page, c, q.sheet()),
		report.CompareText(&text, c, report.TextOptions{Units: q.units}))
	r.HTML, r.Text = page.String(), text.String()
	return r, err
}

// formOf is the form of a setup.
func formOf(q request) (r reply, err error) {
	f, err := form.Read([]byte(q.Text))
	if err != nil {
		if _, _, at := setup.Parse("", []byte(q.Text)); at != nil { // which says where
			err = at
		}
		f = form.Fields{}
	} else if lost := form.Lost(ingest.SetupName, []byte(q.Text)); lost != nil {
		r.Warnings = []string{fmt.Sprintf("The fields cannot hold all of the setup, and to save them drops the rest: %v", lost)}
	}
	r.HTML = f.HTML(form.Look{Units: q.units})
	return r, err
}

// tomlOf is the setup that a form holds, and what is wrong with it.
func tomlOf(q request) (r reply, err error) {
	r.Text, r.Wrong, r.Warnings = form.Fields(q.Fields).Check()
	switch {
	case len(r.Wrong) == 0:
	case r.Wrong[0].Field == "":
		err = errors.New(r.Wrong[0].Text)
	default:
		_, _, err = setup.Parse("", []byte(r.Text)) // in one sentence
	}
	return r, err
}

// markOf is a setup with what is said of one moment, or without.
func markOf(q request) (r reply, err error) {
	r.Text, err = form.Say([]byte(q.Text), q.At, q.Front)
	return r, err
}
