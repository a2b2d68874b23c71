package main

import (
	"io"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/ingest/write"
	"evenfoot/report/words"
)

func exportCommand(c *console) *cobra.Command {
	var out string
	var pastOnly bool
	var src sources
	cmd := &cobra.Command{
		Use:   "export SESSION... [--out F.csv]",
		Short: "Write every sample with the board's pitch and heel as CSV",
		Long: `Write every sample as CSV: time_s since the start, position, speed, course, the
board's pitch and heel, the sensor's attitude (quaternion to east-north-up;
heading arbitrary without GPS), the ride it belongs to, and what was measured.
Rows with fix = 1 hold what the receiver gave; in the others speed and course
are interpolated between its fixes. It works on a log with only an IMU, and
without a setup. The file holds coordinates.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if out == "" && isTerminal(c.out) {
				return usagef("an export is every sample, many megabytes, and this is a screen: name a file with --out samples.csv, or --out - if you do want it here")
			}
			s, err := c.open(args, src)
			if err != nil {
				return err
			}
			if s.log == nil {
				return usagef("export needs a log; %s holds none", args[0])
			}
			if out == "" || out == "-" {
				return c.export(c.out, s, pastOnly)
			}
			if err := mayReplace(out); err != nil {
				return err
			}
			return writeWhole(output{out, func(w io.Writer) error { return c.export(w, s, pastOnly) }})
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "write to this `file` (- for standard output, where an export goes without it unless that is a screen)")
	cmd.Flags().BoolVar(&pastOnly, "causal", false, "attitude from the past only, without GPS, as a display on the board would have it")
	src.add(cmd.Flags(), "the setup `file`, for the level of the sensor")
	return cmd
}

func (c *console) export(w io.Writer, s *session, pastOnly bool) error {
	e := write.NewExport(w, s.log.Start)
	if s.log.GPS.SpeedFrom == "positions" {
		e.Computed()
	}
	warnings, err := analysis.Export(s.log, s.setup, pastOnly, e.Write)
	if err != nil {
		return err
	}
	for _, f := range warnings {
		c.warn("%s", words.Units{}.OrDefault().Say(f))
	}
	return e.Close()
}
