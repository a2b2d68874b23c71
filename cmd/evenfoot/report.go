package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report"
	"evenfoot/report/words"
)

type reportFlags struct {
	answerFlags
	src         sources
	with        []string
	speeds      string
	rider       string
	coordinates bool
	alone       bool
}

func reportCommand(c *console) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report SESSION... [--setup F]",
		Short: "Analyse one session and say what to change",
		Long: `Analyse one session. SESSION is a folder that holds the logs and a setup.toml,
or log files that belong together. The answer goes to standard output, the page
to report.html in that folder, or, of log files and of a setup alone, in the
folder that you are in (or where --out says). With --rider, or --range where
there is a log, it goes to report-other.html, so that your own stays. Earlier sessions of the same rider
on the same foil whose folders lie beside this one count as evidence; --alone
leaves them out.

Without a log, --setup and --range give advice from the model and your notes.

In the JSON a number that is not known is null: of drag, cavitation_mps where a
wing does not cavitate at any speed that is looked at, and least_drag_speed_mps
where the drag only grows or only falls. Each warning has its kind, such as
"glides not counted", with its numbers and the words.`,
		RunE: func(_ *cobra.Command, args []string) error { return c.report(args, f) },
	}
	fl := cmd.Flags()
	f.src.add(fl, "the setup `file` (default: setup.toml where SESSION is a folder)")
	f.add(fl, "report.html in the session's folder")
	f.addEvidence(fl)
	fl.StringVar(&f.rider, "rider", "", `the same foil under somebody else, for example "mass=92kg,height=190cm,level=intermediate"`)
	fl.BoolVar(&f.coordinates, "coordinates", false, "let the page hold latitude and longitude")
	return cmd
}

// addEvidence adds the flags that say what an answer rests on: other sessions,
// and the speeds it is for.
func (f *reportFlags) addEvidence(fl *pflag.FlagSet) {
	fl.StringArrayVar(&f.with, "with", nil, "`folder` of an earlier session on the same foil, taken as evidence; may be repeated")
	fl.BoolVar(&f.alone, "alone", false, "leave out the earlier sessions of the same rider and foil that lie beside this one")
	fl.StringVar(&f.speeds, "range", "", "the `speeds` that matter most, for example 18:26kn")
}

func (c *console) report(args []string, f reportFlags) error {
	if len(args) == 0 && f.src.setup == "" {
		return usagef("report needs a session (a folder or log files), or --setup with --range; see `evenfoot help report`")
	}
	s, req, units, err := c.gather(args, f)
	if err != nil {
		return err
	}
	r, err := c.analyse(s, req, units)
	if err != nil {
		return err
	}
	return c.deliver(r, s, f, units)
}

// gather reads a session and all that its answer rests on.
func (c *console) gather(args []string, f reportFlags) (s *session, req analysis.Request, units words.Units, err error) {
	if units, err = words.ParseUnits(f.units); err != nil {
		return nil, req, units, usageError{err}
	}
	if req.Range, err = parseRange(f.speeds, units.Speed); err != nil {
		return nil, req, units, err
	}
	if s, err = c.open(args, f.src); err != nil {
		return nil, req, units, err
	}
	if s.Setup == nil && s.folder == "" {
		c.tellUnused(args)
	}
	if f.rider != "" {
		if s.Setup == nil {
			return nil, req, units, usagef("--rider needs a setup: the foil that the other rider would stand on")
		}
		if req.Other, err = setup.ParseRider(f.rider, s.Setup); err != nil {
			return nil, req, units, usagef("--rider: %w", err)
		}
	}
	if err = c.apart(append(args[:len(args):len(args)], f.with...)); err != nil {
		return nil, req, units, err
	}
	if req.Earlier, err = c.earlier(f.with, f.src.columnMap); err != nil {
		return nil, req, units, err
	}
	for _, e := range req.Earlier {
		if s.Log != nil && e.Log != nil && !s.Log.Start.IsZero() && e.Log.Start.After(s.Log.Start) {
			c.warn("%s was ridden after this session; --with takes it as evidence all the same", e.Name)
		}
	}
	if !f.alone {
		req.Earlier = append(req.Earlier, c.beside(s, f.with)...)
	}
	return s, req, units, nil
}

// tellUnused warns of a setup beside log files that were named one by one: only
// a folder brings its own.
func (c *console) tellUnused(logs []string) {
	for _, l := range logs {
		beside := filepath.Join(filepath.Dir(l), ingest.SetupName)
		if _, err := os.Stat(beside); err == nil {
			c.warn("%s is not used: name its folder in place of the log, or give --setup %s", beside, beside)
			return
		}
	}
}

// earlier reads the sessions of --with.
func (c *console) earlier(folders []string, columnMap string) ([]analysis.Given, error) {
	var out []analysis.Given
	for _, dir := range folders {
		s, err := c.open([]string{dir}, sources{columnMap: columnMap})
		if err != nil {
			return nil, err
		}
		if s.Setup == nil {
			return nil, fmt.Errorf("%s holds no setup.toml; an earlier session is evidence only with the shim and mast position that it was ridden with", dir)
		}
		out = append(out, analysis.Given{Name: baseName(dir), Log: s.Log, Setup: s.Setup})
	}
	return out, nil
}

func (c *console) deliver(r *analysis.Result, s *session, f reportFlags, units words.Units) error {
	opt := report.Options{Units: units, Coordinates: f.coordinates, Version: versionText(), Now: time.Now()}
	page := "report.html"
	if f.rider != "" || f.speeds != "" && s.Log != nil {
		page = "report-other.html" // the rider's own stays
	}
	return c.hand(f.answerFlags, filepath.Join(s.dir, page),
		func(w io.Writer) error { return report.HTML(w, r, opt) },
		func(w io.Writer) error { return report.JSON(w, r, units) },
		func(w io.Writer) error { return report.Text(w, r, report.TextOptions{Units: units, Color: c.color()}) })
}
