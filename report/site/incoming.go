package site

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"evenfoot/ingest"
)

// An incoming file lies in incoming/ under a name of ours until the whole
// upload is known to be good.
type incoming struct {
	stored
	at string
}

// receive writes a stream to disk and tells its hash.
func (st *store) receive(name, kind string, r io.Reader) (in *incoming, err error) {
	f, err := os.CreateTemp(st.incoming(), "upload-*")
	if err != nil {
		return nil, diskError{err}
	}
	defer func() {
		if cerr := f.Close(); err == nil && cerr != nil {
			err = diskError{cerr}
		}
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	sum := sha256.New()
	w := &written{w: f}
	n, err := io.Copy(io.MultiWriter(w, sum), r)
	if w.err != nil {
		return nil, diskError{w.err}
	}
	if err != nil {
		return nil, err
	}
	// On the disk before its row is: a power cut leaves a file too many at
	// worst, never a session without its log.
	if err := f.Sync(); err != nil {
		return nil, diskError{err}
	}
	return &incoming{stored{kind, name, hex.EncodeToString(sum.Sum(nil)), n}, f.Name()}, nil
}

// A diskError is trouble on this side, not with what was sent.
type diskError struct{ error }

func (e diskError) Error() string {
	return fmt.Sprintf("the data folder cannot take the file: %v", ingest.Cause(e.error))
}

// written remembers an error of writing, to tell it from one of reading.
type written struct {
	w   io.Writer
	err error
}

func (w *written) Write(p []byte) (int, error) {
	n, err := w.w.Write(p)
	if err != nil {
		w.err = err
	}
	return n, err
}

// path is where the bytes with a hash lie. Only hashes of ours come here.
func (st *store) path(hash string) string {
	return filepath.Join(st.files(), hash[:2], hash)
}

// put moves incoming files to their place and returns those that are new.
// The caller holds st.place.
func (st *store) put(in []*incoming) (placed []string, err error) {
	for _, f := range in {
		to := st.path(f.Hash)
		if info, err := os.Stat(to); err == nil && info.Size() == f.Size {
			continue // the same bytes are there already
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
			return placed, err
		}
		if err := os.Rename(f.at, to); err != nil {
			return placed, err
		}
		placed = append(placed, to)
		f.at = to
	}
	return placed, nil
}

// discard removes what was not put in its place.
func (st *store) discard(in []*incoming) {
	for _, f := range in {
		if filepath.Dir(f.at) == st.incoming() {
			os.Remove(f.at)
		}
	}
}

func sweep(dir string) error {
	list, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("the library cannot be used: %w", err)
	}
	for _, e := range list {
		if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
			return fmt.Errorf("what a broken upload left cannot be removed: %w", err)
		}
	}
	return nil
}
