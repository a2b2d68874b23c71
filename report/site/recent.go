package site

import (
	"slices"
	"sync"

	"evenfoot/analysis"
)

// A kept page is a sheet, or a comparison, and its result as JSON, whole.
type kept struct {
	html, json []byte
	ids        []int64 // the sessions in it
}

// What is kept in memory; after a restart it is made again.
const (
	pagesKept  = 100 // about half a megabyte each
	lightsKept = 64  // about a megabyte each
)

// A recent holds the values that were asked for last. What is in it is only read.
type recent[T any] struct {
	most int
	mu   sync.Mutex
	keys []string // the latest last
	held map[string]T
}

func newRecent[T any](most int) *recent[T] { return &recent[T]{most: most, held: map[string]T{}} }

func (m *recent[T]) get(key string) (v T, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if v, ok = m.held[key]; ok {
		m.touch(key)
	}
	return v, ok
}

func (m *recent[T]) put(key string, v T) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.held[key] = v
	if m.touch(key); len(m.keys) > m.most {
		delete(m.held, m.keys[0])
		m.keys = slices.Delete(m.keys, 0, 1)
	}
}

// touch makes a key the latest.
func (m *recent[T]) touch(key string) {
	if i := slices.Index(m.keys, key); i >= 0 {
		m.keys = slices.Delete(m.keys, i, i+1)
	}
	m.keys = append(m.keys, key)
}

// forget lets go of what gone says.
func (m *recent[T]) forget(gone func(T) bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.keys = slices.DeleteFunc(m.keys, func(k string) bool {
		if !gone(m.held[k]) {
			return false
		}
		delete(m.held, k)
		return true
	})
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

// light is a session's result without its samples, so that comparing does not
// read every log again.
func (s *Site) light(ses *session, stage func(string)) (*analysis.Result, error) {
	if r, ok := s.lights.get(ses.Inputs); ok {
		return r, nil
	}
	r, err := s.analyse(ses, nil, options{}, nil, stage)
	if err != nil {
		return nil, err
	}
	r = r.Light()
	s.lights.put(ses.Inputs, r)
	return r, nil
}
