package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"evenfoot": func() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs the commands as a user does: exit status, message, and
// what was left on the disk.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"simulate": simulated, "status": status},
	})
}

// status checks the exit status of a command: status N evenfoot ARGS...
func status(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N command...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if err != nil {
		got = "?"
		if e, ok := err.(interface{ ExitCode() int }); ok {
			got = string(rune('0' + e.ExitCode()))
		}
	}
	if got != args[0] {
		ts.Fatalf("exit status %s, want %s (%v)", got, args[0], err)
	}
}

// simulated writes a short session: simulate KIND DIR, where KIND is
// outing (GPX, CSV and setup), half (the logger's file cut in the middle), gps
// (the watch alone), wrist, flightless, imu, phone (one file a sensor), or weightless
// (its accelerometer without gravity).
func simulated(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: simulate kind dir")
	}
	sc := simulate.Demo()[0]
	sc.Duration, sc.GPSRate, sc.IMURate = 900, 1, 50
	switch args[0] {
	case "outing", "gps", "imu", "half", "phone", "weightless":
	case "wrist":
		sc.Mounting = simulate.Wrist
	case "flightless":
		sc.SpeedLow, sc.SpeedHigh = 1, 1.2
		sc.Duration = 200
	default:
		ts.Fatalf("unknown kind %s", args[0])
	}
	s := simulate.Run(sc)
	dir := ts.MkAbs(args[1])
	ts.Check(os.MkdirAll(dir, 0o755))
	save := func(name string, fill func(f *os.File) error) {
		f, err := os.Create(filepath.Join(dir, name))
		ts.Check(err)
		ts.Check(fill(f))
		ts.Check(f.Close())
	}
	if args[0] == "weightless" {
		for k := range 3 {
			v := s.IMULog.IMU.Acc[k][:3000]
			rest := v[0]
			for i := range v {
				v[i] -= rest
			}
		}
	}
	if args[0] == "phone" || args[0] == "weightless" {
		u := &s.IMULog.IMU
		for name, v := range map[string]*[3][]float32{"accelerometer.csv": &u.Acc, "gyroscope.csv": &u.Gyr} {
			save(name, func(f *os.File) error {
				fmt.Fprintln(f, "seconds,x,y,z")
				for i := range 3000 {
					fmt.Fprintf(f, "%.2f,%g,%g,%g\n", u.Time[i], v[0][i], v[1][i], v[2][i])
				}
				return nil
			})
		}
		return
	}
	if args[0] != "imu" {
		save("watch.gpx", func(f *os.File) error { return write.GPX(f, s.GPSLog) })
	}
	if args[0] != "gps" {
		save("logger.csv", func(f *os.File) error {
			if err := write.CSV(f, s.IMULog); err != nil || args[0] != "half" {
				return err
			}
			size, err := f.Seek(0, io.SeekEnd)
			if err != nil {
				return err
			}
			return f.Truncate(size / 2)
		})
	}
	save("setup.toml", func(f *os.File) error {
		_, err := f.WriteString(s.SetupTOML(s.FeelNotes([]float64{6.5, 8.5, 10.5}, 0.04)))
		return err
	})
}
