package site

import (
	"fmt"
	"slices"
	"sync"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report/form"
)

// A kept page is a sheet, or a comparison, and its result as JSON, whole.
type kept struct {
	html, json []byte
	ids        []int64       // the sessions in it
	moments    []form.Moment // of a sheet, to say what they were
	speeds     []int         // to note a feel at, in the sheet's unit
}

// What is kept in memory; after a restart it is made again.
const (
	pagesKept  = 100 // about half a megabyte each
	lightsKept = 64  // about a megabyte each, as each of the laters
	latersKept = 128
)

// A recent holds the values that were asked for last. What is in it is only read.
type recent[T any] struct {
	most int
	mu   sync.Mutex
	held []remembered[T] // the latest last
}

type remembered[T any] struct {
	key   string
	value T
}

func newRecent[T any](most int) *recent[T] { return &recent[T]{most: most} }

func (m *recent[T]) get(key string) (v T, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if v, ok = m.find(key); ok {
		m.take(key, v)
	}
	return v, ok
}

// peek does not count as asking.
func (m *recent[T]) peek(key string) (v T, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.find(key)
}

func (m *recent[T]) put(key string, v T) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.take(key, v)
}

// find and take are for who holds the lock.
func (m *recent[T]) find(key string) (v T, ok bool) {
	i := slices.IndexFunc(m.held, func(e remembered[T]) bool { return e.key == key })
	if i < 0 {
		return v, false
	}
	return m.held[i].value, true
}

func (m *recent[T]) take(key string, v T) {
	m.held = slices.DeleteFunc(m.held, func(e remembered[T]) bool { return e.key == key })
	m.held = append(m.held, remembered[T]{key, v})
	m.held = slices.Delete(m.held, 0, max(0, len(m.held)-m.most))
}

// forget lets go of what gone says.
func (m *recent[T]) forget(gone func(T) bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.held = slices.DeleteFunc(m.held, func(e remembered[T]) bool { return gone(e.value) })
}

// keep keeps a page, unless one of its sessions was deleted meanwhile.
func (s *Site) keep(key string, page *kept) error {
	s.pages.put(key, page)
	for _, id := range page.ids {
		if _, err := s.store.session(id); err != nil {
			s.forgetPages(id)
			return err
		}
	}
	return nil
}

// forgetPages lets go of the pages that show a session.
func (s *Site) forgetPages(id int64) {
	s.pages.forget(func(p *kept) bool { return slices.Contains(p.ids, id) })
}

// completed are the setups of sessions that are compared, as [analysis.Completed];
// nil of one that cannot be read.
func completed(all []*session) []*setup.Setup {
	given := make([]analysis.Given, len(all))
	for i, ses := range all {
		given[i].Setup, _, _ = ses.parseSetup()
		given[i].Log = &ingest.Log{Start: ses.Start}
	}
	return analysis.Completed(given)
}

// lightKey tells a session's light result under a setup apart.
func lightKey(ses *session, set *setup.Setup) string {
	key := ses.Inputs
	if set != nil {
		for _, k := range set.Taken {
			key += fmt.Sprint(" ", k, setup.KeyNamed(k).Value(set))
		}
	}
	return key
}

// light is a session's result without its samples, so that comparing does not
// read every log again.
func (s *Site) light(ses *session, set *setup.Setup, stage func(string)) (*analysis.Result, error) {
	key := lightKey(ses, set)
	if r, ok := s.lights.get(key); ok {
		return r, nil
	}
	r, err := s.analyse(ses, set, nil, options{}, nil, stage)
	if err != nil {
		return nil, err
	}
	r = r.Light()
	s.lights.put(key, r)
	return r, nil
}

// later is what the last of an athlete's sessions tells after the others, kept: it
// is what a comparison takes its time for. key is that of all their lights.
func (s *Site) later(key string, lights []*analysis.Result) (*analysis.Later, error) {
	if l, ok := s.laters.get(key); ok {
		return l, nil
	}
	last := len(lights) - 1
	l, err := lights[last].After(lights[:last])
	if err == nil {
		s.laters.put(key, l)
	}
	return l, err
}

// lay keeps what comparisons take of a session while its log is at hand: its result
// without evidence.
func (s *Site) lay(ses *session, r *analysis.Result) {
	if len(r.Session.Earlier) > 0 {
		set, odd, err := ses.parseSetup()
		if err == nil {
			r, err = analysis.Run(analysis.Request{Setup: set, Log: r.Log, Seen: r, Range: ses.Speeds})
		}
		if err != nil {
			return // a comparison will say so
		}
		ses.complete(r, odd)
	}
	s.lights.put(ses.Inputs, r.Light())
	s.changed() // more can be foreseen
}

// sideBySide are how many of an athlete's latest sessions are usually compared: a
// change, a team's line, a season.
var sideBySide = []int{2, teamEach, compareMost}

// foresee works out what comparisons will ask for, as far as no log must be read.
func (s *Site) foresee() {
	for _, a := range totalled(s.store.sessions()) {
		for _, n := range sideBySide {
			own := slices.Clone(a.Outings[:min(n, len(a.Outings))])
			slices.Reverse(own)
			if _, ok := s.lights.peek(own[0].Inputs); !ok {
				continue
			}
			sets := completed(own)
			var lights []*analysis.Result
			key := ""
			for i, ses := range own {
				r, ok := s.lights.peek(lightKey(ses, sets[i]))
				if !ok || r.Setup == nil || a.Name == "" && len(own) > 2 || s.queue.ctx.Err() != nil {
					break // of several without a name nobody knows whether they are one
				}
				key += lightKey(ses, sets[i])
				if lights = append(lights, r); len(lights) > 1 {
					_, _ = s.later(key, lights)
				}
			}
		}
	}
}
