package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/pflag"

	"evenfoot/ingest"
	"evenfoot/ingest/write"
	"evenfoot/report/words"
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
	head := make([]byte, 512)
	n := 0
	if err == nil {
		defer f.Close()
		n, err = io.ReadFull(f, head)
	}
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("%s exists and cannot be read: %w; choose another name", path, ingest.Cause(err))
	}
	for _, sign := range ours {
		if bytes.HasPrefix(head[:n], []byte(sign)) {
			return nil
		}
	}
	if bytes.Contains(head[:n], []byte(`creator="`+write.ExportName+`"`)) {
		return nil
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
	staged := make([]string, len(files))
	defer func() {
		for _, tmp := range staged {
			os.Remove(tmp) // what took its name is not there any more
		}
	}()
	for i, f := range files {
		if staged[i], err = f.stage(); err != nil {
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

func (f output) cannot(err error) error {
	return fmt.Errorf("cannot write %s: %w", f.path, ingest.Cause(err))
}

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

// answerFlags are the flags that say where an answer goes, and in which units.
type answerFlags struct{ out, json, units string }

// answerFlags adds them to a command whose page has a usual place.
func (f *answerFlags) add(fl *pflag.FlagSet, usual string) {
	fl.StringVar(&f.out, "out", "", "write the page to this `file` (default: "+usual+")")
	fl.StringVar(&f.json, "json", "", "write the result as JSON to this `file`; - is standard output")
	fl.StringVar(&f.units, "units", "kn,cm,kg", "units of the words and the page: kn|kmh|mph|mps, cm|in, kg|lb")
}

// A writer writes one form of an answer.
type writer = func(io.Writer) error

// hand writes an answer where the flags say: the page to f.out (or where it
// usually goes), the JSON to the file f.json, the words to standard output;
// with f.json "-" the JSON takes the words' place, and a page is written only
// when f.out asks for one. All forms are made before any is written.
func (c *console) hand(f answerFlags, usual string, page, js, text writer) error {
	where := ""
	if f.out == "" && f.json != "-" {
		f.out, where = usual, words.Choose(filepath.Dir(usual) == ".", ", in the folder that you are in", "")
	}
	if f.out != "" && filepath.Clean(f.out) == filepath.Clean(f.json) {
		return usagef("the page and the JSON cannot both be %s", f.out)
	}
	said := text
	var files []output
	switch f.json {
	case "":
	case "-":
		said = js
	default:
		files = append(files, output{f.json, js})
	}
	if f.out != "" {
		files = append(files, output{f.out, page})
	}
	for _, o := range files {
		if err := mayReplace(o.path); err != nil {
			return err
		}
	}
	var answer bytes.Buffer
	if err := said(&answer); err != nil {
		return err
	}
	if err := writeWhole(files...); err != nil {
		return err
	}
	if _, err := answer.WriteTo(c.out); err != nil {
		return err
	}
	if f.json != "-" {
		fmt.Fprintf(c.err, "The page is %s%s\n", f.out, where)
	}
	return nil
}
