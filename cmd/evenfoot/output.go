package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// writeWhole writes a file that appears whole or not at all: what fill writes
// goes to a neighbour that takes the name only at the end.
func writeWhole(path string, fill func(io.Writer) error) (err error) {
	dir := filepath.Dir(path)
	if info, serr := os.Stat(path); serr == nil && info.IsDir() {
		return fmt.Errorf("%s is a folder; give the name of a file to write", path)
	}
	f, err := os.CreateTemp(dir, ".evenfoot-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err = fill(f); err != nil {
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	if err = f.Close(); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	return nil
}

// An output is a file that is ready to be written.
type output struct {
	path  string
	bytes []byte
}

// writeAll writes files whole; when one cannot be written, those already
// written by this call are taken back, so a failed run leaves nothing.
func writeAll(files []output) error {
	for i, f := range files {
		err := writeWhole(f.path, func(w io.Writer) error {
			_, err := w.Write(f.bytes)
			return err
		})
		if err != nil {
			for _, done := range files[:i] {
				os.Remove(done.path)
			}
			return err
		}
	}
	return nil
}

// cause is the reason of a file error without the temporary name.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
