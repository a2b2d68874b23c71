package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
	"evenfoot/ingest/write"
)

var long = flag.Bool("long", false, "run the benchmark of a whole day at 200 Hz as well")

// TestBenchChild is a process of BenchmarkCommand; alone it does nothing.
func TestBenchChild(t *testing.T) {
	args := processArgs(t)
	collect()
	if status := run(args, strings.NewReader(""), io.Discard, os.Stderr); status != 0 {
		t.Fatalf("exit status %d", status)
	}
}

// benchSession writes a session of the demo's rider.
func benchSession(b *testing.B, dir string, sc simulate.Scenario, one bool) string {
	b.Helper()
	s := simulate.Run(sc)
	logs := map[string]func(io.Writer) error{
		"watch.gpx":  func(w io.Writer) error { return write.GPX(w, s.GPSLog) },
		"logger.csv": func(w io.Writer) error { return write.CSV(w, s.IMULog) },
	}
	if one {
		logs = map[string]func(io.Writer) error{"outing.fit": func(w io.Writer) error { return write.FIT(w, s.Log) }}
	}
	if err := writeSession(dir, s.SetupTOML(s.FeelNotes(noteSpeeds, noteSD)), logs); err != nil {
		b.Fatal(err)
	}
	return dir
}

// BenchmarkCommand runs whole commands, each in a process of its own: wall and
// processor time of a cold start, and peak resident memory. The test binary
// itself is in all of the figures. The inputs are simulated: two hours with
// 100 Hz inertial samples, as one FIT file with fixes at 1 Hz and as GPX at
// 10 Hz beside CSV; 40 sessions of 35 minutes; a day at 200 Hz (-long). No
// session lies beside another that would count as evidence.
//
// BenchmarkPaired holds reports against yardsticks instead.
func BenchmarkCommand(b *testing.B) {
	dir := b.TempDir()
	two, ten := twoHours()
	b.Run("report-fit-2h", func(b *testing.B) {
		benchProcess(b, "report", benchSession(b, filepath.Join(dir, "fit/session"), two, true))
	})
	b.Run("report-gpx-csv-2h", func(b *testing.B) {
		benchProcess(b, "report", benchSession(b, filepath.Join(dir, "pair/session"), ten, false))
	})
	b.Run("compare-40", func(b *testing.B) {
		args := []string{"compare", "--out", filepath.Join(dir, "compare.html")}
		for i := range 40 {
			sc := simulate.Demo()[i%2]
			sc.Seed += uint64(i)
			sc.GPSRate = 1
			sc.Gear.Title = fmt.Sprintf("%s %d", sc.Gear.Title, i)
			args = append(args, benchSession(b, filepath.Join(dir, fmt.Sprintf("forty/%02d", i)), sc, true))
		}
		benchProcess(b, args...)
	})
	b.Run("demo", func(b *testing.B) { benchProcess(b, "demo", filepath.Join(dir, "demo")) })
	b.Run("report-24h-200Hz", func(b *testing.B) {
		if !*long {
			b.Skip("a day of samples is simulated only with -long")
		}
		benchProcess(b, "report", benchDay(b, filepath.Join(dir, "day/session"), two))
	})
}

// twoHours are two hours with fixes at 1 Hz, and at 10 Hz by another clock.
func twoHours() (two, ten simulate.Scenario) {
	two = simulate.Demo()[1]
	two.Duration, two.GPSRate = 7200, 1
	ten = two
	ten.GPSRate, ten.ClockOffset, ten.DriftPPM = 10, 47.3, 18
	return two, ten
}

// BenchmarkPaired runs a report, or the reading alone, and a yardstick in turn: x-wall
// and x-cpu are how many times the yardstick's time it takes. The yardsticks are
// gpsbabel, a general converter, which turns the FIT file into GPX without
// reading the inertial samples, and numpy.loadtxt on the CSV file beside the
// GPX; each where it is installed.
func BenchmarkPaired(b *testing.B) {
	dir := b.TempDir()
	two, ten := twoHours()
	pair := func(name string, sc simulate.Scenario, one bool, has []string, yardstick ...string) {
		if err := exec.Command(yardstick[0], has...).Run(); err != nil {
			b.Logf("%s: %s cannot do that: %v", name, yardstick[0], err)
			return
		}
		session := filepath.Join(dir, name, "session")
		lay := sync.OnceFunc(func() { benchSession(b, session, sc, one) })
		against := func(what string, args func() []string) {
			b.Run(what+"-"+name, func(b *testing.B) {
				lay()
				a := args()
				processPair(b, func() *exec.Cmd { return processCommand(a[0], a[1:]...) }, func() *exec.Cmd {
					cmd := exec.Command(yardstick[0], yardstick[1:]...)
					cmd.Dir = session
					return cmd
				})
			})
		}
		against("report", func() []string { return []string{"TestBenchChild", "report", session} })
		against("read", func() []string {
			logs, _ := filepath.Glob(filepath.Join(session, "*.[fgc][ips][txv]"))
			return append([]string{"TestReadOnce", "evenfoot"}, logs...)
		})
	}
	pair("fit-2h", two, true, []string{"-V"}, "gpsbabel", "-i", "garmin_fit", "-f", "outing.fit", "-o", "gpx", "-F", filepath.Join(dir, "out.gpx"))
	pair("gpx-csv-2h", ten, false, []string{"-c", "import numpy"}, "python3", "-c", "import numpy; numpy.loadtxt('logger.csv', delimiter=',', skiprows=3)")
}

// benchDay writes a day at 200 Hz: a two-hour session twelve times over.
func benchDay(b *testing.B, dir string, sc simulate.Scenario) string {
	b.Helper()
	sc.IMURate = 200
	s := simulate.Run(sc)
	day := *s.Log
	day.IMU, day.GPS = ingest.IMU{Rate: s.Log.IMU.Rate}, ingest.GPS{Rate: 1, SpeedFrom: s.Log.GPS.SpeedFrom}
	for k := range 12 {
		shift := float64(k) * sc.Duration
		from := &s.Log.IMU
		for i := range from.Time {
			day.IMU.Time = append(day.IMU.Time, from.Time[i]+shift)
		}
		for k := range 3 {
			day.IMU.Acc[k] = append(day.IMU.Acc[k], from.Acc[k]...)
			day.IMU.Gyr[k] = append(day.IMU.Gyr[k], from.Gyr[k]...)
		}
		g, to := &s.Log.GPS, &day.GPS
		for i := range g.Time {
			to.Time = append(to.Time, g.Time[i]+shift)
		}
		to.Lat, to.Lon = append(to.Lat, g.Lat...), append(to.Lon, g.Lon...)
		to.Alt, to.Speed, to.Course = append(to.Alt, g.Alt...), append(to.Speed, g.Speed...), append(to.Course, g.Course...)
		to.Flags = append(to.Flags, g.Flags...)
	}
	if err := writeSession(dir, s.SetupTOML(s.FeelNotes(noteSpeeds, noteSD)), map[string]func(io.Writer) error{
		"outing.fit": func(w io.Writer) error { return write.FIT(w, &day) },
	}); err != nil {
		b.Fatal(err)
	}
	return dir
}

func benchProcess(b *testing.B, args ...string) {
	b.Helper()
	processBench(b, "TestBenchChild", args...)
}
