package main

import (
	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/report"
	"evenfoot/report/words"
)

func planCommand(c *console) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "plan SESSION... [--setup F]",
		Short: "The next outing: what to fit, ride and mark",
		Long: `Say what the next outing should bring, the most doubt of the best stabilizer
angle removed per minute of trouble first: where to stand the foil, which speeds
to ride, how often to press, and what it will tell. SESSION is as for report.

Without a log, --setup plans the first outing, for the speeds of --range or for
those that such a foil is mostly ridden at.`,
		RunE: func(_ *cobra.Command, args []string) error { return c.plan(args, f) },
	}
	fl := cmd.Flags()
	f.src.add(fl, "the setup `file` (default: setup.toml where SESSION is a folder)")
	f.addEvidence(fl)
	fl.StringVar(&f.units, "units", "kn,cm,kg", "units of the words: kn|kmh|mph|mps, cm|in, kg|lb")
	return cmd
}

func (c *console) plan(args []string, f reportFlags) error {
	units, err := words.ParseUnits(f.units)
	if err != nil {
		return usageError{err}
	}
	req := analysis.Request{}
	if req.Range, err = parseRange(f.speeds, units.Speed); err != nil {
		return err
	}
	if len(args) == 0 && f.src.setup == "" {
		return usagef("plan needs a session (a folder or log files), or --setup; see `evenfoot help plan`")
	}
	s, err := c.open(args, f.src)
	if err != nil {
		return err
	}
	if s.Setup == nil {
		return usagef("a plan needs a setup: the foil that it is for; `evenfoot setup` prints one to fill in")
	}
	if req.Earlier, err = c.earlier(f.with, f.src.columnMap); err != nil {
		return err
	}
	if !f.alone {
		req.Earlier = append(req.Earlier, c.beside(s, f.with)...)
	}
	progress := c.newProgress()
	req.Progress = progress.stage
	if s.Log == nil && req.Range[1] == 0 {
		req.Range = analysis.UsualRange(s.Setup)
	}
	r, err := s.analyse(req, units)
	progress.done()
	if err != nil {
		return err
	}
	c.tellWarnings(r, units)
	return report.PlanText(c.out, r, report.TextOptions{Units: units, Color: c.color()})
}
