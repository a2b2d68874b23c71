package main

import (
	"io"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
	"evenfoot/report/words"
)

// exportFlags say what to export, and where to.
type exportFlags struct {
	out, gpx string
	pastOnly bool
	src      sources
}

func exportCommand(c *console) *cobra.Command {
	var f exportFlags
	cmd := &cobra.Command{
		Use:   "export SESSION... [--out F.csv] [--gpx F.gpx]",
		Short: "Write every sample, or the track, with the board's pitch and heel",
		Long: `Write every sample as CSV: time_s since the start, position, speed, course, the
board's pitch and heel, the sensor's attitude (quaternion to east-north-up;
heading arbitrary without GPS), the ride it belongs to, and what was measured.
Rows with fix = 1 hold what the receiver gave; in the others speed and course
are interpolated between its fixes. It works on a log with only an IMU, and
without a setup.

With --gpx it writes the track for a map: every point has speed, course, pitch,
heel and ride, and with a setup the front foot's share, as extensions.

Both files hold coordinates.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return c.export(args, f) },
	}
	cmd.Flags().StringVar(&f.out, "out", "", "write samples to this `file` (- for standard output, where they go without it unless that is a screen)")
	cmd.Flags().StringVar(&f.gpx, "gpx", "", "write the track to this `file`, and samples only where --out is given too")
	cmd.Flags().BoolVar(&f.pastOnly, "causal", false, "attitude of the samples from the past only, without GPS, as a display on the board would have it")
	f.src.add(cmd.Flags(), "the setup `file`, for the level of the sensor and the front share")
	return cmd
}

func (c *console) export(args []string, f exportFlags) error {
	if f.out == "" && f.gpx == "" && isTerminal(c.out) {
		return usagef("an export is every sample, many megabytes, and this is a screen: name a file with --out samples.csv, or --out - if you do want it here")
	}
	s, err := c.open(args, f.src)
	if err != nil {
		return err
	}
	if s.Log == nil {
		return usagef("export needs a log; %s holds none", args[0])
	}
	samples := func(w io.Writer) error { return c.exportSamples(w, s, f.pastOnly) }
	var files []output
	switch {
	case f.out != "" && f.out != "-":
		files = append(files, output{f.out, samples})
	case f.out == "-" || f.gpx == "":
		if err := samples(c.out); err != nil {
			return err
		}
	}
	if f.gpx != "" { // last: the analysis thins the samples
		files = append(files, output{f.gpx, func(w io.Writer) error { return c.exportTrack(w, s) }})
	}
	for _, o := range files {
		if err := mayReplace(o.path); err != nil {
			return err
		}
	}
	return writeWhole(files...)
}

func (c *console) exportSamples(w io.Writer, s *session, pastOnly bool) error {
	e := write.NewExport(w, s.Log.Start)
	if s.Log.GPS.SpeedFrom == ingest.FromPositions {
		e.Computed()
	}
	warnings, err := analysis.Export(s.Log, s.Setup, pastOnly, e.Write)
	if err != nil {
		return err
	}
	for _, f := range warnings {
		c.warn("%s", words.Units{}.OrDefault().Say(f))
	}
	return e.Close()
}

func (c *console) exportTrack(w io.Writer, s *session) error {
	if s.Log.Start.IsZero() || len(s.Log.GPS.Time) == 0 {
		return usagef("a GPX track needs positions and a date; %s has none", s.Name)
	}
	u := words.Units{}.OrDefault()
	r, err := s.analyse(analysis.Request{}, u)
	if err != nil && s.Setup != nil { // such as a foil that cannot fly at these speeds
		c.warn("without the front share: %v", err)
		r, err = analysis.Run(analysis.Request{Log: s.Log})
	}
	if err != nil {
		return err
	}
	c.tellWarnings(r, u)
	return write.GPX(w, s.Log, analysis.TrackColumns(r)...)
}
