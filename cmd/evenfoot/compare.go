package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/report"
)

type compareFlags struct {
	out, json, units string
}

func compareCommand(c *console) *cobra.Command {
	var f compareFlags
	cmd := &cobra.Command{
		Use:   "compare FOLDER FOLDER...",
		Short: "Before and after, or several athletes side by side",
		Long: `Set two or more sessions side by side. Each FOLDER holds the logs of one session
and its setup.toml. Two sessions of one rider on one foil also get a verdict:
did the change do what was predicted?`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(_ *cobra.Command, args []string) error { return c.compare(args, f) },
	}
	fl := cmd.Flags()
	fl.StringVar(&f.out, "out", "", "write the page to this `file` (default: compare.html)")
	fl.StringVar(&f.json, "json", "", "write the result as JSON to this `file`; - is standard output")
	fl.StringVar(&f.units, "units", "kn,cm,kg", "units of the words and the page: kn|kmh|mph|mps, cm|in, kg|lb")
	return cmd
}

func (c *console) compare(folders []string, f compareFlags) error {
	units, err := report.ParseUnits(f.units)
	if err != nil {
		return usageError{err}
	}
	progress := c.newProgress()
	defer progress.done()
	var results []*analysis.Result
	for _, dir := range folders {
		s, err := c.open([]string{dir}, sources{})
		if err != nil {
			return err
		}
		r, err := c.analyse(s, analysis.Request{SpeedText: units.SpeedText, Progress: func(stage string) { progress.stage(dir + ": " + stage) }})
		if err != nil {
			return fmt.Errorf("%s: %w", dir, err)
		}
		results = append(results, r)
	}
	cmp, err := analysis.Compare(results)
	if err != nil {
		return err
	}
	return c.deliverComparison(cmp, f, units)
}

func (c *console) deliverComparison(cmp *analysis.Comparison, f compareFlags, units report.Units) error {
	var page, words, js bytes.Buffer
	if err := report.CompareHTML(&page, cmp.Results, report.Options{Before: cmp.BeforeAfter, Units: units, Version: versionText(), Now: time.Now()}); err != nil {
		return err
	}
	if err := report.CompareText(&words, cmp.Results, report.TextOptions{Before: cmp.BeforeAfter, Units: units, Color: c.color()}); err != nil {
		return err
	}
	enc := json.NewEncoder(&js)
	enc.SetIndent("", "  ")
	if err := enc.Encode(cmp); err != nil {
		return fmt.Errorf("making the JSON: %w", err)
	}
	out := f.out
	if out == "" && f.json != "-" {
		out = "compare.html"
	}
	var files []output
	if f.json != "" && f.json != "-" {
		files = append(files, output{f.json, js.Bytes()})
	}
	if out != "" {
		files = append(files, output{out, page.Bytes()})
	}
	if err := writeAll(files); err != nil {
		return err
	}
	if f.json == "-" {
		_, err := js.WriteTo(c.out)
		return err
	}
	if _, err := words.WriteTo(c.out); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "The page is %s\n", out)
	return nil
}
