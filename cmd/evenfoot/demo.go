package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
	"evenfoot/report/words"
)

// noteSpeeds are where the demo's rider notes how the feet feel, m/s, and
// noteSD is how well she tells the front foot's share.
var noteSpeeds = []float64{6.7, 8.2, 9.8, 10.8}

const noteSD = 0.04

// On her second outing she moves the foil to these places, m from where it was, after
// some seven minutes on the water each, and presses a button where the load feels even.
const placeRide = 405.0

var places = []float64{-0.015, -0.023, -0.031}

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
	scenarios := simulate.Demo()
	scenarios[1] = scenarios[1].InPlaces(placeRide, places...)
	err := each(len(scenarios), func(i int) error {
		s := simulate.Run(scenarios[i])
		for _, m := range s.Evens(simulate.UsualPresser()) {
			if i > 0 && m.At > scenarios[i].Changes[0].At {
				s.Log.Marks = append(s.Log.Marks, m)
			}
		}
		s.IMULog.Marks = s.Log.Marks
		toml := s.SetupTOML(s.FeelNotes(noteSpeeds, noteSD))
		if err := writeSession(filepath.Join(dir, demoFolders[i]), toml, map[string]func(io.Writer) error{
			"watch.gpx":  func(w io.Writer) error { return write.GPX(w, s.GPSLog) },
			"logger.csv": func(w io.Writer) error { return write.CSV(w, s.IMULog) },
		}); err != nil || i == 0 {
			return err
		}
		return writeSession(filepath.Join(dir, demoFolders[2]), toml, map[string]func(io.Writer) error{
			"outing.fit": func(w io.Writer) error { return write.FIT(w, s.Log) },
		})
	})
	if err != nil {
		return err
	}
	p.stage("analysing them")
	return c.tellDemo(dir)
}

func writeSession(dir, setupText string, logs map[string]func(io.Writer) error) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("cannot make the folder %s: %w", dir, ingest.Cause(err))
	}
	files := []output{{filepath.Join(dir, ingest.SetupName), func(w io.Writer) error {
		_, err := io.WriteString(w, setupText)
		return err
	}}}
	for name, fill := range logs {
		files = append(files, output{filepath.Join(dir, name), fill})
	}
	return writeWhole(files...)
}

// tellDemo analyses what was written as report, report --with and compare
// would, each log once.
func (c *console) tellDemo(dir string) error {
	units := words.Units{}.OrDefault()
	var outings [2]*session
	var alone [2]*analysis.Result
	err := each(len(outings), func(i int) (err error) {
		if outings[i], err = readSession([]string{filepath.Join(dir, demoFolders[i])}, sources{}); err == nil {
			alone[i], err = outings[i].analyse(analysis.Request{}, units)
		}
		return err
	})
	if err != nil {
		return err
	}
	first := analysis.Given{Name: outings[0].Name, Log: outings[0].Log, Setup: outings[0].Setup, Seen: alone[0]}
	both, err := outings[1].analyse(analysis.Request{Seen: alone[1], Earlier: []analysis.Given{first}}, units)
	if err != nil {
		return err
	}
	c.tellWarnings(both, units)
	for i, r := range []*analysis.Result{alone[0], both} {
		if err := c.deliver(r, outings[i], reportFlags{}, units); err != nil {
			return err
		}
		fmt.Fprintln(c.out)
	}
	side := filepath.Join(dir, "compare.html")
	if err := c.deliverComparison(alone[:], []string{outings[0].dir, outings[1].dir}, answerFlags{out: side}, units); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "\nThe reports: %s\n             %s\n             %s\n",
		filepath.Join(outings[0].dir, "report.html"), filepath.Join(outings[1].dir, "report.html"), side)
	fmt.Fprintf(c.out, "The second outing as one FIT file: evenfoot report %s\n", filepath.Join(dir, demoFolders[2]))
	return nil
}
