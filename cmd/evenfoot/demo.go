package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
)

// noteSpeeds are where the demo's rider notes how the feet feel, m/s, and
// noteSD is how well she tells the front foot's share.
var noteSpeeds = []float64{6.7, 8.2, 9.8, 10.8}

const noteSD = 0.04

func demoCommand(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Two outings of an invented rider: written, analysed, reported",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			dir := "evenfoot-demo"
			if len(args) > 0 {
				dir = args[0]
			}
			return c.demo(dir)
		},
	}
}

// demoFolders are the two outings, and the second once more as one FIT file.
var demoFolders = [3]string{"1-no-shim", "2-one-card", "2-one-card-as-fit"}

func (c *console) demo(dir string) error {
	p := c.newProgress()
	defer p.done()
	p.stage("simulating two outings")
	for i, sc := range simulate.Demo() {
		s := simulate.Run(sc)
		toml := s.SetupTOML(s.FeelNotes(noteSpeeds, noteSD))
		if err := writeSession(filepath.Join(dir, demoFolders[i]), toml, map[string]func(io.Writer) error{
			"watch.gpx":  func(w io.Writer) error { return write.GPX(w, s.GPSLog) },
			"logger.csv": func(w io.Writer) error { return write.CSV(w, s.IMULog) },
		}); err != nil {
			return err
		}
		if i == 1 {
			if err := writeSession(filepath.Join(dir, demoFolders[2]), toml, map[string]func(io.Writer) error{
				"outing.fit": func(w io.Writer) error { return write.FIT(w, s.Log) },
			}); err != nil {
				return err
			}
		}
	}
	p.done()
	return c.tellDemo(dir)
}

func writeSession(dir, setupText string, logs map[string]func(io.Writer) error) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("cannot make the folder %s: %w", dir, cause(err))
	}
	for name, fill := range logs {
		if err := writeWhole(filepath.Join(dir, name), fill); err != nil {
			return err
		}
	}
	return writeAll([]output{{filepath.Join(dir, "setup.toml"), []byte(setupText)}})
}

// tellDemo analyses what was written, as a user would.
func (c *console) tellDemo(dir string) error {
	first, second := filepath.Join(dir, demoFolders[0]), filepath.Join(dir, demoFolders[1])
	if err := c.report([]string{first}, reportFlags{}); err != nil {
		return err
	}
	fmt.Fprintln(c.out)
	if err := c.report([]string{second}, reportFlags{with: []string{first}}); err != nil {
		return err
	}
	fmt.Fprintln(c.out)
	if err := c.compare([]string{first, second}, compareFlags{out: filepath.Join(dir, "compare.html")}); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "\nThe reports: %s\n             %s\n             %s\n",
		filepath.Join(first, "report.html"), filepath.Join(second, "report.html"), filepath.Join(dir, "compare.html"))
	fmt.Fprintf(c.out, "The second outing as one FIT file: evenfoot report %s\n", filepath.Join(dir, demoFolders[2]))
	return nil
}
