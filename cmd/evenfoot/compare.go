package main

import (
	"cmp"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
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
	if err := c.apart(folders); err != nil {
		return err
	}
	progress := c.newProgress()
	defer progress.done()
	results := make([]*analysis.Result, len(folders))
	odd := make([][]string, len(folders))
	sets := analysis.SetupsIn(folders)
	err = each(len(folders), func(i int) error {
		s, err := readSession(folders[i:i+1], sources{})
		if err != nil {
			return err
		}
		odd[i], s.Setup = s.Odd, cmp.Or(sets[i], s.Setup)
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
			c.warn("%s: %s", report.AthleteName(r), w)
		}
		for _, w := range r.Session.Warnings {
			c.found(w, report.AthleteName(r)+": "+units.Say(w))
		}
	}
	return c.deliverComparison(results, folders, f, units)
}

func (c *console) deliverComparison(results []*analysis.Result, folders []string, f answerFlags, units words.Units) error {
	all, err := analysis.Compare(results)
	if err != nil {
		return err
	}
	opt := report.Options{Units: units, Version: versionText(), Now: time.Now(), Sheets: sheetsBeside(cmp.Or(f.out, "compare.html"), folders)}
	return c.hand(f, "compare.html",
		func(w io.Writer) error { return report.CompareHTML(w, all, opt) },
		func(w io.Writer) error { return report.CompareJSON(w, all, units) },
		func(w io.Writer) error {
			return report.CompareText(w, all, report.TextOptions{Units: units, Color: c.color()})
		})
}

// sheetsBeside are the addresses of the sessions' sheets as seen from a page, ""
// where report has written none yet.
func sheetsBeside(page string, folders []string) []string {
	out := make([]string, len(folders))
	from, err := filepath.Abs(filepath.Dir(page))
	for i, dir := range folders {
		sheet, err2 := filepath.Abs(filepath.Join(dir, "report.html"))
		rel, err3 := filepath.Rel(from, sheet)
		if _, gone := os.Stat(sheet); cmp.Or(gone, err, err2, err3) == nil {
			out[i] = (&url.URL{Path: filepath.ToSlash(rel)}).EscapedPath()
		}
	}
	return out
}
