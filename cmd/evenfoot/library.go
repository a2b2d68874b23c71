package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"evenfoot/report/site"
	"evenfoot/report/words"
)

func libraryCommand(c *console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:   "library",
		Short: "Export, import, check or back up the library that serve shows",
		Long: `The library is a folder: each session is a folder under sessions/ with its logs
as they came and its setup.toml, which report and compare read too.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return usagef("name what to do: library export, import, check or backup")
		},
	}
	cmd.PersistentFlags().StringVar(&data, "data", "", dataHelp)
	add := func(use, short, long string, args cobra.PositionalArgs, reading bool, work func(l *site.Library, args []string) error) {
		cmd.AddCommand(&cobra.Command{Use: use, Short: short, Long: long, Args: usageArgs(args), RunE: func(_ *cobra.Command, args []string) error {
			dir, err := c.libraryFolder(data)
			if err != nil {
				return err
			}
			l, err := site.OpenLibrary(dir, versionText(), reading, c.warn)
			if err != nil {
				return err
			}
			return errors.Join(work(l, args), l.Close())
		}})
	}
	add("export DIR-OUT", "Copy every session to a folder of its own", `Copy every session to DIR-OUT, a new folder: one folder a session, which
report and compare read, and import takes back. What is damaged is copied as it
is, what is lost left out: both are named, and the exit status is 1. While
evenfoot serves it works too.`,
		cobra.ExactArgs(1), true, func(l *site.Library, args []string) error {
			faults, err := l.Export(args[0])
			return c.saved(l, "exported to "+args[0], faults, err)
		})
	add("import DIR-OR-ZIP...", "Take sessions from folders or backups", `Take every session's folder below DIR, or in a backup: what export and backup
wrote, and any folder that report reads. An outing that is in the library
already, by what its logs hold, is passed over; what is damaged or lost of it in
the library is put back. What is damaged or lost in a session is named, and the
rest of it taken.`,
		cobra.MinimumNArgs(1), false, c.importAll)
	add("check", "Say what is damaged or lost, and where", `Read every file of the library and compare it with what came: exit status 1 where
something is damaged or lost. Nothing is changed. While evenfoot serves it works too.`,
		cobra.NoArgs, true, func(l *site.Library, _ []string) error {
			faults, notes := l.Check()
			for _, f := range append(notes, faults...) {
				fmt.Fprintln(c.out, f)
			}
			if len(faults) > 0 {
				return fmt.Errorf("the library has %s", words.Counted(len(faults), "fault"))
			}
			fmt.Fprintf(c.out, "%s, all as they came\n", words.Counted(l.Len(), "session"))
			return nil
		})
	add("backup FILE.zip", "Write the whole library into one file", `Write every session into FILE.zip, whole or not at all; import takes it back.
What is damaged is copied as it is, what is lost left out: both are named, and
the exit status is 1. While evenfoot serves it works too.`,
		cobra.ExactArgs(1), true, func(l *site.Library, args []string) error {
			faults, err := l.Backup(args[0])
			return c.saved(l, "backed up in "+args[0], faults, err)
		})
	return cmd
}

// saved says what was saved, and what of it is damaged or lost.
func (c *console) saved(l *site.Library, done string, faults []error, err error) error {
	if err != nil {
		return err
	}
	for _, f := range faults {
		c.warn("%v", f)
	}
	fmt.Fprintf(c.out, "%s %s\n", words.Counted(l.Len(), "session"), done)
	if len(faults) > 0 {
		return fmt.Errorf("the library has %s; all else is %s", words.Counted(len(faults), "fault"), done)
	}
	return nil
}

// importAll takes sessions from each of the places, and says what became of them.
func (c *console) importAll(l *site.Library, from []string) error {
	taken, again, failed := 0, 0, 0
	for _, at := range from {
		all, err := l.Import(at)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			return fmt.Errorf("%s holds no session: no folder with a log or a setup.toml", at)
		}
		for _, one := range all {
			for _, f := range one.Odd {
				c.warn("%s: %v", one.From, f)
			}
			switch {
			case one.Err != nil:
				failed++
				c.warn("%s is not taken: %v", one.From, one.Err)
			case len(one.Restored) > 0:
				again++
				fmt.Fprintf(c.out, "%s is here already, as session %d; restored: %s\n", one.From, one.ID, strings.Join(one.Restored, ", "))
			case one.Again:
				again++
				fmt.Fprintf(c.out, "%s is here already, as session %d\n", one.From, one.ID)
			default:
				taken++
				fmt.Fprintf(c.out, "%s is session %d now\n", one.From, one.ID)
			}
		}
	}
	fmt.Fprintf(c.out, "%s taken, %d here already\n", words.Counted(taken, "session"), again)
	if failed > 0 {
		return fmt.Errorf("%s could not be taken", words.Counted(failed, "session"))
	}
	return nil
}

const dataHelp = "`folder` of the library (default: evenfoot in the folder that your system has for data)"

// libraryFolder is the folder of the library: the one asked for, else the usual
// one, or that of an earlier evenfoot where only that is there.
func (c *console) libraryFolder(asked string) (string, error) {
	if asked != "" {
		return asked, nil
	}
	usual, err := dataFolder(runtime.GOOS, os.Getenv)
	if err != nil {
		return "", err
	}
	if old, err := os.UserConfigDir(); err == nil {
		old = filepath.Join(old, "evenfoot")
		if old != usual && site.HoldsLibrary(old) && !site.HoldsLibrary(usual) {
			c.note("the library stays in %s, where an earlier evenfoot put it; move it to %s if you like", old, usual)
			return old, nil
		}
	}
	return usual, nil
}

// dataFolder is where a system has programs keep a user's data.
func dataFolder(system string, env func(string) string) (string, error) {
	var base string
	switch home := env("HOME"); {
	case system == "windows":
		base = env("LocalAppData")
	case system == "darwin" && home != "":
		base = filepath.Join(home, "Library", "Application Support")
	case filepath.IsAbs(env("XDG_DATA_HOME")):
		base = env("XDG_DATA_HOME")
	case home != "":
		base = filepath.Join(home, ".local", "share")
	}
	if base == "" {
		return "", usagef("there is no folder for data on this system; give the library's with --data")
	}
	return filepath.Join(base, "evenfoot"), nil
}
