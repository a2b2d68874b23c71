package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/report"
	"evenfoot/report/words"
)

func compareCommand(c *console) *cobra.Command {
	var f answerFlags
	cmd := &cobra.Command{
		Use:   "compare FOLDER FOLDER...",
		Short: "Before and after, or several athletes side by side",
		Long: `Set two or more sessions side by side. Each FOLDER holds the logs of one session
and its setup.toml. Two sessions of one rider on one foil also get a verdict:
did the change do what was predicted?`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(_ *cobra.Command, args []string) error { return c.compare(args, f) },
	}
	f.add(cmd.Flags(), "compare.html")
	return cmd
}

func (c *console) compare(folders []string, f answerFlags) error {
	units, err := words.ParseUnits(f.units)
	if err != nil {
		return usageError{err}
	}
	if err := apart(folders); err != nil {
		return err
	}
	progress := c.newProgress()
	defer progress.done()
	results := make([]*analysis.Result, len(folders))
	odd := make([][]string, len(folders))
	err = each(len(folders), func(i int) error {
		s, err := readSession(folders[i:i+1], sources{})
		if err != nil {
			return err
		}
		odd[i] = s.odd
		r, err := s.analyse(analysis.Request{Progress: func(stage string) { progress.stage(folders[i] + ": " + stage) }}, units)
		if err != nil {
			return fmt.Errorf("%s: %w", folders[i], err)
		}
		results[i] = r.Light()
		return nil
	})
	if err != nil {
		return err
	}
	for i, r := range results {
		for _, w := range odd[i] {
			c.warn("%s", w)
		}
		c.tellWarnings(r, units)
	}
	return c.deliverComparison(results, f, units)
}

func (c *console) deliverComparison(results []*analysis.Result, f answerFlags, units words.Units) error {
	cmp, err := analysis.Compare(results)
	if err != nil {
		return err
	}
	opt := report.Options{Before: cmp.BeforeAfter, Units: units, Version: versionText(), Now: time.Now()}
	return c.hand(f, "compare.html",
		func(w io.Writer) error { return report.CompareHTML(w, cmp.Results, opt) },
		func(w io.Writer) error { return report.CompareJSON(w, cmp, units) },
		func(w io.Writer) error {
			return report.CompareText(w, cmp.Results, report.TextOptions{Before: cmp.BeforeAfter, Units: units, Color: c.color()})
		})
}
