package site

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"evenfoot/ingest"
)

// An incoming file lies in incoming/ under a name of ours until the whole
// upload is known to be good.
type incoming struct {
	source
	folder string // that it was sent in, "." for none
}

// receive writes a stream to disk and tells its hash.
func (st *store) receive(name, kind string, r io.Reader) (in *incoming, err error) {
	if err := st.writable(); err != nil {
		return nil, err
	}
	f, err := os.CreateTemp(st.incoming(), "upload-*")
	if err != nil {
		return nil, cannotKeep(err)
	}
	defer func() {
		if cerr := f.Close(); err == nil && cerr != nil {
			err = cannotKeep(cerr)
		}
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(ours{f}, sum), r)
	if err != nil {
		return nil, err
	}
	// On the disk before its row is: a power cut leaves a file too many at
	// worst, never a session without its log.
	if err := f.Sync(); err != nil {
		return nil, cannotKeep(err)
	}
	content, err := ingest.Content(f.Name())
	if err != nil {
		return nil, cannotKeep(err)
	}
	return &incoming{source{stored{Kind: kind, Name: name, Hash: hex.EncodeToString(sum.Sum(nil)), Size: n, Content: content}, f.Name()}, "."}, nil
}

// cannotKeep is trouble on this side, not with what was sent.
func cannotKeep(err error) error {
	return statusError{http.StatusInternalServerError, fmt.Errorf("the data folder cannot take the file: %w", ingest.Cause(err))}
}

// ours tells an error of writing here from one of reading what is sent.
type ours struct{ w io.Writer }

func (o ours) Write(p []byte) (int, error) {
	n, err := o.w.Write(p)
	if err != nil {
		err = cannotKeep(err)
	}
	return n, err
}

// discard removes what was not put in its place.
func (st *store) discard(in []*incoming) {
	for _, f := range in {
		if filepath.Dir(f.at) == st.incoming() {
			os.Remove(f.at)
		}
	}
}

// Uploads that wait for their user's word: the files lie in incoming.
const (
	heldMost = 16
	heldFor  = time.Hour
)

// hold keeps an upload's files for the form that is sent back, and tells the name
// that they have in it; "" where there are none.
func (s *Site) hold(up *upload) string {
	if len(up.files) == 0 {
		return ""
	}
	s.heldMu.Lock()
	defer s.heldMu.Unlock()
	keep := *up
	keep.since = time.Now()
	up.files = nil // no longer this request's to discard
	name := rand.Text()
	s.held[name] = &keep
	for len(s.held) > heldMost {
		oldest := ""
		for n, h := range s.held {
			if oldest == "" || h.since.Before(s.held[oldest].since) {
				oldest = n
			}
		}
		s.drop(oldest)
	}
	for n, h := range s.held {
		if time.Since(h.since) > heldFor {
			s.drop(n)
		}
	}
	return name
}

func (s *Site) drop(name string) {
	s.store.discard(s.held[name].files)
	delete(s.held, name)
}

// resume gives an upload the files that its form was held for.
func (s *Site) resume(up *upload) error {
	name := up.fields["held"]
	if name == "" {
		return nil
	}
	s.heldMu.Lock()
	defer s.heldMu.Unlock()
	was := s.held[name]
	if was == nil {
		return refused("the files that were sent before are no longer kept; choose them again")
	}
	delete(s.held, name)
	for _, f := range was.files {
		if slices.ContainsFunc(up.files, func(g *incoming) bool { return g.Hash == f.Hash }) {
			s.store.discard([]*incoming{f})
			continue
		}
		up.files = append(up.files, f)
	}
	up.names = append(was.names, up.names...)
	up.passed, up.passedAll = append(was.passed, up.passed...), was.passedAll+up.passedAll
	if up.outings == nil {
		up.outings = was.outings
	}
	if up.brought == nil {
		up.brought = was.brought
	}
	if _, sorted := up.fields["from"]; sorted && up.setup == nil {
		up.setup, up.setupName = was.setup, was.setupName
	}
	for _, k := range []string{"low", "high", "in"} {
		if _, given := up.fields[k]; !given {
			up.fields[k] = was.fields[k]
		}
	}
	return nil
}
