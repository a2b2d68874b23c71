package main

import (
	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/report"
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
	if len(args) == 0 && f.src.setup == "" {
		return usagef("plan needs a session (a folder or log files), or --setup; see `evenfoot help plan`")
	}
	s, req, units, err := c.gather(args, f)
	if err != nil {
		return err
	}
	if s.Setup == nil {
		return usagef("a plan needs a setup: the foil that it is for; `evenfoot setup` prints one to fill in")
	}
	if s.Log == nil && req.Range[1] == 0 {
		req.Range = analysis.UsualRange(s.Setup)
	}
	r, err := c.analyse(s, req, units)
	if err != nil {
		return err
	}
	return report.PlanText(c.out, r, report.TextOptions{Units: units, Color: c.color()})
}
