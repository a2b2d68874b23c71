// What work costs that has a process to itself: a cold start, processor time
// and peak resident memory. The test binary starts itself again, so that it is
// in all of the figures.

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

// processEnv holds the arguments, a line each, of the process that a test is to be.
const processEnv = "EVENFOOT_PROCESS"

// processArgs are what [processBench] started this process with; a test that was not started
// so is skipped.
func processArgs(t *testing.T) []string {
	args, ok := os.LookupEnv(processEnv)
	if !ok {
		t.Skip("only as a process of a benchmark")
	}
	t.Cleanup(tellPeak)
	return strings.Split(args, "\n")
}

// tellPeak writes this program's high-water mark, where Linux tells it. The
// resource usage that a parent sees of its child would count the parent's own
// from before exec.
func tellPeak() {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return
	}
	if _, after, ok := strings.Cut(string(status), "VmHWM:"); ok {
		var kB int
		fmt.Sscan(after, &kB)
		fmt.Printf("peak %d kB\n", kB)
	}
}

// processCommand is this test binary as a process that is the test named name
// alone, which takes its [processArgs].
func processCommand(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], "-test.run=^"+name+"$")
	cmd.Env = append(os.Environ(), processEnv+"="+strings.Join(args, "\n"))
	return cmd
}

// processBench runs the test named name, which takes its [processArgs], as a process for each
// turn of the benchmark, and reports cpu-s/op and peak-MB beside its wall time.
func processBench(b *testing.B, name string, args ...string) {
	b.Helper()
	var peak int
	var cpu time.Duration
	for b.Loop() {
		cmd := processCommand(name, args...)
		out, err := cmd.CombinedOutput()
		if err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		if _, after, ok := bytes.Cut(out, []byte("peak ")); ok {
			var kB int
			fmt.Sscan(string(after), &kB)
			peak = max(peak, kB)
		}
		cpu += used(cmd)
	}
	b.ReportMetric(cpu.Seconds()/float64(b.N), "cpu-s/op")
	if peak > 0 {
		b.ReportMetric(float64(peak)*1024/1e6, "peak-MB")
	}
}

// used is the processor time of a process that has ended.
func used(cmd *exec.Cmd) time.Duration {
	return cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
}

// processPair runs two processes in turn, so that a machine that drifts drifts for
// both, and reports how many times the second's wall and processor time the
// first takes: medians over the turns.
func processPair(b *testing.B, first, second func() *exec.Cmd) {
	b.Helper()
	var wall, cpu []float64
	for b.Loop() {
		var w, c [2]float64
		for k, command := range []func() *exec.Cmd{first, second} {
			cmd, start := command(), time.Now()
			if out, err := cmd.CombinedOutput(); err != nil {
				b.Fatalf("%v\n%s", err, out)
			}
			w[k], c[k] = time.Since(start).Seconds(), used(cmd).Seconds()
		}
		wall, cpu = append(wall, w[0]/w[1]), append(cpu, c[0]/c[1])
	}
	slices.Sort(wall)
	slices.Sort(cpu)
	b.ReportMetric(wall[len(wall)/2], "x-wall")
	b.ReportMetric(cpu[len(cpu)/2], "x-cpu")
}
