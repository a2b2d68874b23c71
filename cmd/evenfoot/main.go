// Command evenfoot reads the logs of a ride on a hydrofoil board and says what
// to change so that both feet press evenly.
//
// It imports report, analysis, ingest and the command-line library; one file a
// command.
package main

import "os"

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
