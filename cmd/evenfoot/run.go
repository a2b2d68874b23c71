package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// Exit statuses of the contract.
const (
	exitDone  = 0 // warnings included
	exitWork  = 1 // it could not be done
	exitUsage = 2 // the command line or the setup is wrong
)

// columns is the width that help is laid out for.
const columns = 80

// A usageError is a command line that makes no sense.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// console is where the answer and everything else go.
type console struct {
	out, err io.Writer
	known    map[string][]string // the logs of a session, by where it lies
}

// warn tells the user of something on standard error.
func (c *console) warn(format string, args ...any) {
	fmt.Fprintf(c.err, "evenfoot: warning: "+format+"\n", args...)
}

// note tells the user of something that is in order.
func (c *console) note(format string, args ...any) {
	fmt.Fprintf(c.err, "evenfoot: "+format+"\n", args...)
}

// wrapped breaks lines that are longer than the terminal is wide; a word, such as
// a path, is never cut.
func wrapped(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		n := 0
		for i, word := range strings.Split(line, " ") {
			long := utf8.RuneCountInString(strings.TrimSuffix(word, "\n"))
			switch {
			case i == 0:
			case n+1+long > columns && b.Len() > len("evenfoot:"):
				b.WriteString("\n  ")
				n = 2
			default:
				b.WriteByte(' ')
				n++
			}
			b.WriteString(word)
			n += long
		}
	}
	return b.String()
}

// run is the whole program but for the process: it returns the exit status.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	c := &console{out: stdout, err: stderr}
	root := &cobra.Command{
		Use:   "evenfoot",
		Short: "Even pressure on both feet, from the logs of a ride",
		Long: `evenfoot reads the GPS and IMU logs of a ride on a hydrofoil board and says
what to change so that both feet press evenly at the speeds you ride.

Start with  evenfoot demo  or with  evenfoot setup > setup.toml`,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cobra.AddTemplateFunc("narrow", func(f *pflag.FlagSet) string { return f.FlagUsagesWrapped(columns) })
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), "Flags.FlagUsages", "Flags | narrow"))
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(reportCommand(c), planCommand(c), compareCommand(c), demoCommand(c), exportCommand(c),
		inspectCommand(c), setupCommand(c), serveCommand(c), libraryCommand(c), pageCommand(c), versionCommand(c))
	for _, cmd := range root.Commands() {
		for _, each := range append(cmd.Commands(), cmd) {
			each.Args = usageArgs(each.Args)
		}
	}
	return c.status(root.Execute())
}

// usageArgs makes a wrong number of arguments an error of the command line.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if check == nil {
			return nil
		}
		if err := check(cmd, args); err != nil && cmd.HasSubCommands() {
			return usageError{err} // it names what is no command
		} else if err != nil {
			return usagef("write `%s`, not with %s; see `evenfoot help %s`", cmd.UseLine(), words.Plural(len(args), "argument"), strings.TrimPrefix(cmd.CommandPath(), "evenfoot "))
		}
		return nil
	}
}

func (c *console) status(err error) int {
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(c.err, wrapped("evenfoot: "+err.Error()))
	var usage usageError
	var badSetup *setup.Error
	if errors.As(err, &badSetup) {
		for _, more := range badSetup.More {
			fmt.Fprintln(c.err, wrapped("evenfoot: "+more.Error()))
		}
	}
	if badSetup != nil && badSetup.Missing {
		c.note("`evenfoot setup` prints a setup to fill in")
	}
	if errors.As(err, &usage) || errors.As(err, &badSetup) || strings.HasPrefix(err.Error(), "unknown command") {
		return exitUsage
	}
	return exitWork
}
