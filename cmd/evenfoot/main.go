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
// collected, %: of two hours of log 50 peaks at 111 MB, 40 at 107 MB, in the same
// time within a few hundredths.
const gcPercent = 40

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
