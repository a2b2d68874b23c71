package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

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
	head := make([]byte, 256)
	n := 0
	if err == nil {
		defer f.Close()
		n, err = io.ReadFull(f, head)
	}
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

// An output is a file to be written: fill writes what it holds.
type output struct {
	path string
	fill func(io.Writer) error
}

// writeWhole writes files whole or not at all: none takes its name before all are
// written to a neighbour, so a run that fails leaves what was there before.
func writeWhole(files ...output) (err error) {
	var staged []string
	defer func() {
		if err != nil {
			for _, tmp := range staged {
				os.Remove(tmp)
			}
		}
	}()
	for _, f := range files {
		tmp, err := f.stage()
		if tmp != "" {
			staged = append(staged, tmp)
		}
		if err != nil {
			return err
		}
	}
	for i, f := range files {
		if err := os.Rename(staged[i], f.path); err != nil {
			return f.cannot(err)
		}
	}
	return nil
}

func (f output) cannot(err error) error { return fmt.Errorf("cannot write %s: %w", f.path, cause(err)) }

// stage writes what path shall hold to a neighbour, and gives its name.
func (f output) stage() (tmp string, err error) {
	if info, err := os.Stat(f.path); err == nil && !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s is a folder, or no plain file; give the name of a file to write", f.path)
	}
	file, err := os.CreateTemp(filepath.Dir(f.path), ".evenfoot-*")
	if err != nil {
		return "", f.cannot(err)
	}
	err = f.fill(file)
	// In this order, and both in any case.
	if failed := cmp.Or(file.Chmod(0o644), file.Close()); err == nil && failed != nil {
		err = f.cannot(failed)
	}
	return file.Name(), err
}

// holding fills a file with bytes.
func holding(b []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	}
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
		files = append(files, output{js, holding(a.json.Bytes())})
	}
	if out != "" {
		files = append(files, output{out, holding(a.page.Bytes())})
	}
	for _, f := range files {
		if err := mayReplace(f.path); err != nil {
			return err
		}
	}
	if err := writeWhole(files...); err != nil {
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
