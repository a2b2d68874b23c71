// Command evenfoot reads the logs of a ride on a hydrofoil board and says what
// to change so that both feet press evenly.
//
// It imports report, analysis, ingest and the command-line library; one file a
// command.
package main

import (
	"os"
	"runtime/debug"
)

// gcPercent is how much garbage may stand beside what is in use before it is
// collected, %: at Go's 100 two hours of log peak at 123 MB, at 50 at 98 MB for
// a few hundredths of the time, and at 25 no lower.
const gcPercent = 50

// collect sets the garbage collector, unless the environment does.
func collect() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}

func main() {
	collect()
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
