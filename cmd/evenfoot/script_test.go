package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
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

// An outing is a quarter of an hour or less of the demo's first rider, and its files.
type outing struct {
	imu       ingest.IMU
	gpx, csv  []byte
	setupText string
}

// outingOf plays the demo's first outing, cut short and otherwise changed.
func outingOf(change func(sc *simulate.Scenario)) outing {
	sc := simulate.Demo()[0]
	sc.Duration, sc.GPSRate, sc.IMURate = 900, 1, 50
	change(&sc)
	s := simulate.Run(sc)
	var gpx, csv bytes.Buffer
	if err := errors.Join(write.GPX(&gpx, s.GPSLog), write.CSV(&csv, s.IMULog)); err != nil {
		panic(err)
	}
	return outing{s.IMULog.IMU, gpx.Bytes(), csv.Bytes(), s.SetupTOML(s.FeelNotes([]float64{6.5, 8.5, 10.5}, 0.04))}
}

// short is enough where only files and commands matter, not what is found.
var short = sync.OnceValue(func() outing { return outingOf(func(sc *simulate.Scenario) { sc.Duration = 450 }) })

var outings = map[string]func() outing{
	"outing": short, "copy": short, "imu": short, "phone": short, "weightless": short,
	"":      sync.OnceValue(func() outing { return outingOf(func(*simulate.Scenario) {}) }),
	"wrist": sync.OnceValue(func() outing { return outingOf(func(sc *simulate.Scenario) { sc.Mounting = simulate.Wrist }) }),
	"flightless": sync.OnceValue(func() outing {
		return outingOf(func(sc *simulate.Scenario) { sc.SpeedLow, sc.SpeedHigh, sc.Duration = 1, 1.2, 200 })
	}),
}

// simulated writes a short session: simulate KIND DIR, where KIND is
// outing (GPX, CSV and setup), half (the logger's file cut in the middle), gps
// (the watch alone), copy (outing's watch alone), wrist, flightless, imu, phone
// (one file a sensor), or weightless (its accelerometer without gravity).
func simulated(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: simulate kind dir")
	}
	kind := args[0]
	of, own := outings[kind]
	if !own {
		of = outings[""]
	}
	o := of()
	dir := ts.MkAbs(args[1])
	ts.Check(os.MkdirAll(dir, 0o755))
	save := func(name string, data []byte) { ts.Check(os.WriteFile(filepath.Join(dir, name), data, 0o644)) }
	switch kind {
	case "phone", "weightless":
		for name, v := range map[string]*[3][]float32{"accelerometer.csv": &o.imu.Acc, "gyroscope.csv": &o.imu.Gyr} {
			var rest [3]float32
			if kind == "weightless" && v == &o.imu.Acc {
				rest = [3]float32{v[0][0], v[1][0], v[2][0]}
			}
			var b bytes.Buffer
			fmt.Fprintln(&b, "seconds,x,y,z")
			for i := range 3000 {
				fmt.Fprintf(&b, "%.2f,%g,%g,%g\n", o.imu.Time[i], v[0][i]-rest[0], v[1][i]-rest[1], v[2][i]-rest[2])
			}
			save(name, b.Bytes())
		}
		return
	case "half":
		save("logger.csv", o.csv[:len(o.csv)/2])
	case "outing", "imu", "wrist", "flightless":
		save("logger.csv", o.csv)
	case "gps", "copy":
	default:
		ts.Fatalf("unknown kind %s", kind)
	}
	if kind != "imu" {
		save("watch.gpx", o.gpx)
	}
	save("setup.toml", []byte(o.setupText))
}
