package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// writeWhole writes a file that appears whole or not at all: what fill writes
// goes to a neighbour that takes the name only at the end.
func writeWhole(path string, fill func(io.Writer) error) error {
	tmp, err := stage(path, fill)
	if err != nil {
		return err
	}
	return settle(tmp, path)
}

// ours are the first bytes of what evenfoot writes: a page, a result, an export.
var ours = []string{
	"<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\"",
	"{\n  \"schema\": \"evenfoot/",
	"# evenfoot export",
}

// mayReplace refuses to write over a file that evenfoot did not write: a slip
// in --out must not cost a log or a setup.
func mayReplace(path string) error {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() == 0 {
		return nil // nothing is lost; other errors show when writing
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("%s exists and cannot be read: %w; choose another name", path, cause(err))
	}
	defer f.Close()
	head := make([]byte, 256)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("%s exists and cannot be read: %w; choose another name", path, cause(err))
	}
	for _, sign := range ours {
		if bytes.HasPrefix(head[:n], []byte(sign)) {
			return nil
		}
	}
	return fmt.Errorf("%s exists and is not a file that evenfoot wrote; choose another name, or remove it first", path)
}

// stage writes what path shall hold to a neighbour, and gives its name.
func stage(path string, fill func(io.Writer) error) (tmp string, err error) {
	if info, serr := os.Stat(path); serr == nil {
		switch {
		case info.IsDir():
			return "", fmt.Errorf("%s is a folder; give the name of a file to write", path)
		case !info.Mode().IsRegular():
			return "", fmt.Errorf("%s is not a plain file; give the name of a file to write", path)
		}
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".evenfoot-*")
	if err != nil {
		return "", fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err = fill(f); err != nil {
		return "", err
	}
	if err = f.Chmod(0o644); err != nil {
		return "", fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	if err = f.Close(); err != nil {
		return "", fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	return f.Name(), nil
}

// settle gives a staged file its name.
func settle(tmp, path string) error {
	if err := os.Rename(tmp, path); err != nil {
		os.Remove(tmp)
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	return nil
}

// An output is a file that is ready to be written.
type output struct {
	path  string
	bytes []byte
}

// writeAll writes files whole. None takes its name before all are written, so
// a run that fails leaves what was there before.
func writeAll(files []output) (err error) {
	var staged []string
	defer func() {
		if err != nil {
			for _, tmp := range staged {
				os.Remove(tmp)
			}
		}
	}()
	for _, f := range files {
		tmp, err := stage(f.path, func(w io.Writer) error {
			_, err := w.Write(f.bytes)
			return err
		})
		if err != nil {
			return err
		}
		staged = append(staged, tmp)
	}
	for i, f := range files {
		if err := settle(staged[i], f.path); err != nil {
			return err
		}
	}
	return nil
}

// An answer is one result in its three forms.
type answer struct {
	page, words, json bytes.Buffer
}

// hand writes an answer where the flags say: the page to out (page beside the
// logs or here when out is empty), the JSON to the file js, the words to
// standard output; with js "-" the JSON takes the words' place, and a page is
// written only when out asks for one.
func (c *console) hand(a *answer, out, page, js string) error {
	if out == "" && js != "-" {
		out = page
	}
	if out != "" && filepath.Clean(out) == filepath.Clean(js) {
		return usagef("the page and the JSON cannot both be %s", out)
	}
	var files []output
	if js != "" && js != "-" {
		files = append(files, output{js, a.json.Bytes()})
	}
	if out != "" {
		files = append(files, output{out, a.page.Bytes()})
	}
	for _, f := range files {
		if err := mayReplace(f.path); err != nil {
			return err
		}
	}
	if err := writeAll(files); err != nil {
		return err
	}
	if js == "-" {
		_, err := a.json.WriteTo(c.out)
		return err
	}
	if _, err := a.words.WriteTo(c.out); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "The page is %s\n", out)
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
