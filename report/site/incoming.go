package site

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"

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
	return &incoming{stored{kind, name, hex.EncodeToString(sum.Sum(nil)), n, content}, f.Name()}, nil
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
		// The names too are on the disk before the rows are.
		if err := errors.Join(syncFolder(filepath.Dir(to)), syncFolder(st.files())); err != nil {
			return placed, err
		}
	}
	return placed, nil
}

// syncFolder brings the names in a folder to the disk, where the system can.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil // folders cannot be opened for it there
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
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
