package site

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"

	"evenfoot/ingest"
)

// An incoming file lies in incoming/ under a name of ours until the whole
// upload is known to be good.
type incoming struct {
	stored
	at     string
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
	return &incoming{stored{Kind: kind, Name: name, Hash: hex.EncodeToString(sum.Sum(nil)), Size: n, Content: content}, f.Name(), "."}, nil
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
