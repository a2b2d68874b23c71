// What work costs that has a process to itself: a cold start, processor time
// and peak resident memory. The test binary starts itself again, so that it is
// in all of the figures.

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
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

// processBench runs the test named name, which takes its [processArgs], as a process for each
// turn of the benchmark, and reports cpu-s/op and peak-MB beside its wall time.
func processBench(b *testing.B, name string, args ...string) {
	b.Helper()
	var peak int
	var cpu time.Duration
	for b.Loop() {
		cmd := exec.Command(os.Args[0], "-test.run=^"+name+"$")
		cmd.Env = append(os.Environ(), processEnv+"="+strings.Join(args, "\n"))
		out, err := cmd.CombinedOutput()
		if err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		if _, after, ok := bytes.Cut(out, []byte("peak ")); ok {
			var kB int
			fmt.Sscan(string(after), &kB)
			peak = max(peak, kB)
		}
		cpu += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	b.ReportMetric(cpu.Seconds()/float64(b.N), "cpu-s/op")
	if peak > 0 {
		b.ReportMetric(float64(peak)*1024/1e6, "peak-MB")
	}
}
