package site

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/report"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// A summary is what the library's list shows of a session.
type summary struct {
	Duration   float64    `json:"duration_s"`
	Foiling    float64    `json:"foiling_s"`
	Best       [4]float64 `json:"best_mps"`           // 2 s, 10 s, 500 m, 1 nmi; 0 where not known
	OffEven    []float64  `json:"off_even,omitempty"` // how far the load is off even, a share: value, low, high
	Verdict    string     `json:"verdict"`
	Next       string     `json:"next_step"`
	Warnings   int        `json:"warnings"`
	Pitch      bool       `json:"pitch,omitempty"` // the logs show the board's motion
	Made       string     `json:"made"`            // by which version of the program
	Basis      string     `json:"basis"`           // tells what it rests on
	Unanalysed string     `json:"unanalysed"`      // why there is no result
}

func summaryOf(r *analysis.Result, u words.Units) *summary {
	known := func(v float64) float64 {
		if v > 0 { // false for NaN
			return v
		}
		return 0
	}
	b := r.BestSpeeds
	s := &summary{Duration: known(float64(r.Session.Duration)), Foiling: known(float64(r.Totals.Foiling)), Warnings: len(words.Warned(r)), Pitch: r.Motion != nil,
		Best: [4]float64{known(float64(b.TwoSeconds)), known(float64(b.TenSeconds)), known(float64(b.Metres500)), known(float64(b.NauticalMile))}}
	if r.Advice != nil {
		s.Verdict, s.Next = r.Advice.Verdict, words.For(r, u).Next
		if off := r.Advice.EvennessNow; off.Known() {
			s.OffEven = []float64{off.Value, off.Low, off.High}
		}
	}
	return s
}

// pageKey tells a kept page apart: the inputs of all sessions in it, and how
// it is asked for.
func pageKey(kind string, inputs []string, o options) string {
	return fmt.Sprintf("%s %q %#v", kind, inputs, o)
}

// A plan is a page to be made, or found among the kept ones.
type plan struct {
	key  string
	ids  []int64 // the sessions in it
	what string  // for the waiting page
	// make makes it; rest is what the next page will ask for.
	make func(stage func(string)) (page *kept, rest func(), err error)
}

// sheetPlan plans one session's sheet. An error is one of the options.
func (s *Site) sheetPlan(ses *session, o options) (*plan, error) {
	set, _, err := ses.parseSetup()
	if err != nil {
		return nil, err
	}
	inputs, ids := []string{ses.Inputs}, []int64{ses.ID}
	var earlier []*session
	for _, id := range o.With {
		e, err := s.store.session(id)
		if err != nil {
			return nil, fmt.Errorf("earlier session %d: %w", id, err)
		}
		if err := evidence(ses, e); err != nil {
			return nil, err
		}
		earlier = append(earlier, e)
	}
	if err := apart(earlier); err != nil {
		return nil, err
	}
	usual := len(o.With) == 0 && !o.Alone
	if usual {
		earlier = s.usualEvidence(ses)
	}
	for _, e := range earlier {
		inputs, ids = append(inputs, e.Inputs), append(ids, e.ID)
	}
	var other *setup.Setup
	if o.Other.given() {
		if set == nil {
			return nil, errors.New("another rider needs a setup: the foil that the other rider would stand on")
		}
		if other, err = setup.ParseRider(o.Other.text(), set); err != nil {
			return nil, fmt.Errorf("the other rider: %w", err)
		}
	}
	p := &plan{key: pageKey("sheet", inputs, o), ids: ids, what: ses.Title}
	own, rests := o.Low+o.High+o.Outing == "" && other == nil, basis(ses, earlier, o.units())
	p.make = func(stage func(string)) (*kept, func(), error) {
		r, err := s.analyse(ses, set, earlier, o, other, stage)
		if own && usual {
			s.note(ses, rests, r, o.units(), err)
		}
		if err != nil {
			return nil, nil, err
		}
		stage("drawing the sheet")
		page := &kept{}
		page.html, err = written(func(w io.Writer) error {
			return report.HTML(w, r, report.Options{Units: o.units(), Coordinates: o.Coordinates, Version: s.cfg.Version, Now: time.Now()})
		})
		if err == nil {
			page.json, err = written(func(w io.Writer) error { return report.JSON(w, r, o.units()) })
		}
		page.moments, page.speeds = form.Moments(r, o.units()), form.Speeds(r, o.units())
		var rest func()
		if own && usual {
			rest = func() { s.lay(ses, r) }
		}
		return page, rest, err
	}
	return p, nil
}

// oneOuting says that two sessions are, or seem to be, of one outing.
type oneOuting struct{ a, b *session }

func (o *oneOuting) Error() string {
	if o.a.sharesLog(o.b) {
		return fmt.Sprintf("%s and %s hold the very same log; an outing counts only once", o.a.Title, o.b.Title)
	}
	return fmt.Sprintf("%s and %s seem to be one outing, which counts only once: they begin and end together; if they are two, say so on the sheet of either", o.a.Title, o.b.Title)
}

// apart refuses sessions of the same outing: each counts once.
func apart(all []*session) error {
	for i, e := range all {
		if k := slices.IndexFunc(all[:i], e.countsOnce); k >= 0 {
			return &oneOuting{all[k], e}
		}
	}
	return nil
}

// basis tells apart what the list's line of a session rests on: its inputs, those
// of the usual evidence, and the units of its words.
func basis(ses *session, usual []*session, u words.Units) string {
	inputs := []string{ses.Inputs, u.Speed, u.Length, u.Mass}
	for _, e := range usual {
		inputs = append(inputs, e.Inputs)
	}
	return hash([]byte(strings.Join(inputs, " ")))
}

// stale says why the list's line of a session will be made anew; "" where it need not.
func (s *Site) stale(ses *session) string {
	switch sum := ses.Summary; {
	case sum == nil:
		return ""
	case sum.Made != s.cfg.Version:
		return "By another version, made anew soon."
	case sum.Basis != basis(ses, s.usualEvidence(ses), s.units()):
		return "From before a change, made anew soon."
	}
	return ""
}

// note keeps the list's line of a session, and what it rests on.
func (s *Site) note(ses *session, rests string, r *analysis.Result, u words.Units, err error) {
	sum := &summary{}
	if err != nil {
		sum.Unanalysed = err.Error()
	} else {
		sum = summaryOf(r, u)
	}
	sum.Made, sum.Basis = s.cfg.Version, rests
	if err := s.store.summarise(ses, sum); err != nil {
		s.cfg.Warn("the list's line of session %d could not be kept: %v", ses.ID, err)
	}
}

// evidence says why e cannot be evidence for ses; nil where it can.
func evidence(ses, e *session) error {
	switch {
	case ses.known == nil:
		return errNoFoil
	case e.ID == ses.ID:
		return errItself
	case ses.countsOnce(e):
		return &oneOuting{ses, e}
	case e.known == nil:
		return unfitEvidence{e, nil}
	}
	if err := analysis.CanBeEvidence(e.known, ses.known); err != nil {
		return unfitEvidence{e, err}
	}
	return nil
}

var (
	errNoFoil = errors.New("earlier sessions are evidence only for a session with a setup")
	errItself = errors.New("a session cannot be evidence for itself")
)

// unfitEvidence says why only when it is asked, for most are not.
type unfitEvidence struct {
	ses *session
	why error // nil where it has no setup
}

func (u unfitEvidence) Error() string {
	if u.why == nil {
		return u.ses.Title + " has no setup; an earlier session is evidence only with the shim and mast position that it was ridden with"
	}
	return fmt.Sprintf("%s cannot be evidence: %v", u.ses.Title, u.why)
}

// written is what a writer writes, whole.
func written(write func(io.Writer) error) ([]byte, error) {
	var b bytes.Buffer
	err := write(&b)
	return b.Bytes(), err
}

// analyse runs one session under its setup with what the options add to it.
func (s *Site) analyse(ses *session, set *setup.Setup, earlier []*session, o options, other *setup.Setup, stage func(string)) (*analysis.Result, error) {
	_, odd, err := ses.parseSetup()
	if err != nil {
		return nil, err
	}
	req := analysis.Request{Setup: set, Other: other, Range: cmp.Or(o.between, ses.Speeds), Progress: stage}
	if req.Log, err = readLogs(ses.sources(), o.outing, stage); err != nil {
		return nil, o.units().Explain(err)
	}
	for _, e := range earlier {
		was := analysis.Given{Name: e.Title}
		if was.Setup, _, err = e.parseSetup(); err != nil {
			return nil, err
		}
		if was.Log, err = readLogs(e.sources(), 0, stage); err != nil {
			return nil, fmt.Errorf("the earlier session %s: %w", e.Title, err)
		}
		req.Earlier = append(req.Earlier, was)
	}
	r, err := analysis.Run(req)
	var speeds *analysis.SpeedError
	if errors.As(err, &speeds) && speeds.Why != "" {
		return nil, errors.New(o.units().SpeedError(speeds) + ": under \"Change what the sheet is made from\"")
	}
	if err != nil {
		return nil, o.units().Explain(err)
	}
	ses.complete(r, odd)
	return r, nil
}

// complete tells in a result what only the library knows, and what is odd in the setup.
func (s *session) complete(r *analysis.Result, odd []string) {
	if r.Session.Title == "" {
		r.Session.Title = s.Title
	}
	for _, name := range s.idleMaps() {
		odd = append(odd, fmt.Sprintf("The column map %s is of no log of this session, and changes nothing. It is to be called as its log, with %s at the end.", name, mapEnding))
	}
	for _, w := range odd {
		r.Session.Warnings = append(r.Session.Warnings, w)
	}
}

// comparePlan plans the page that sets sessions side by side, or its JSON.
func (s *Site) comparePlan(all []*session, o options, asJSON bool) *plan {
	// The earliest first, so that a change is read the right way round.
	slices.SortStableFunc(all, func(a, b *session) int {
		return a.when().Compare(b.when())
	})
	p := &plan{what: fmt.Sprintf("%d sessions side by side", len(all))}
	var inputs []string
	for _, ses := range all {
		p.ids = append(p.ids, ses.ID)
		inputs = append(inputs, ses.Inputs)
	}
	p.key = pageKey(words.Choose(asJSON, "compare.json", "compare"), inputs, o)
	p.make = func(stage func(string)) (page *kept, rest func(), err error) {
		var results []*analysis.Result
		var left []analysis.LeftOut
		var sheets []string
		keys, sets := map[*analysis.Result]string{}, completed(all)
		for i, ses := range all {
			r, err := s.light(ses, sets[i], func(at string) {
				stage(fmt.Sprintf("session %d of %d: %s", i+1, len(all), at))
			})
			if err != nil {
				left = append(left, analysis.LeftOut{Title: ses.Title, Why: err.Error()})
				continue
			}
			results, keys[r] = append(results, r), lightKey(ses, sets[i])
			sheets = append(sheets, fmt.Sprintf("/session/%d", ses.ID))
		}
		if len(results) < 2 && len(left) > 0 {
			return nil, nil, fmt.Errorf("%s: %s", left[0].Title, left[0].Why)
		}
		stage("setting them side by side")
		c, err := analysis.CompareBy(results, func(r *analysis.Result, earlier []*analysis.Result) (*analysis.Later, error) {
			key, lights := "", append(slices.Clone(earlier), r)
			for _, r := range lights {
				key += keys[r]
			}
			return s.later(key, lights)
		})
		if err != nil {
			return nil, nil, err
		}
		c.LeftOut = left
		stage("drawing the page")
		page = &kept{}
		if asJSON {
			page.json, err = written(func(w io.Writer) error { return report.CompareJSON(w, c, o.units()) })
			return page, nil, err
		}
		page.html, err = written(func(w io.Writer) error {
			return report.CompareHTML(w, c, report.Options{Units: o.units(), Version: s.cfg.Version, Now: time.Now(), Sheets: sheets})
		})
		return page, nil, err
	}
	return p
}

// when is the time that the list is sorted by.
func (s *session) when() time.Time {
	if s.Start.IsZero() {
		return s.Added
	}
	return s.Start
}
